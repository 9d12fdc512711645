//! The worker's side: a process that unpacks compressed frames and camera raw files, so that a crash of the C library
//! or of the raw decoder costs one file.
//!
//! A request is one line of JSON on standard input, a reply one line of JSON on standard output, for pixels
//! followed by their counts as 16-bit numbers of this machine.

use std::env;
use std::io::{self, BufRead, BufReader, Read, Write};
use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use super::error::Fault;
use super::fits::MOST_PIXELS;
use super::preview::{self, Image, Preview};

/// The one word that makes the program a worker.
pub(super) const WORKER_WORD: &str = "--decode-worker";
/// No header fills a longer line.
const LONGEST_LINE: u64 = 64 << 20;
const CHUNK: usize = 1 << 18;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) enum Request {
    Preview(Named),
    Pixels(Named),
}

/// A path as it crosses the pipe: some systems allow names that are no text.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub(super) enum Named {
    Text(String),
    Bytes(Vec<u8>),
}

impl Named {
    pub(super) fn new(path: PathBuf) -> Self {
        match path.into_os_string().into_string() {
            Ok(text) => Self::Text(text),
            Err(other) => Self::Bytes(other.into_encoded_bytes()),
        }
    }

    fn path(self) -> PathBuf {
        match self {
            Self::Text(text) => text.into(),
            Self::Bytes(bytes) => path_of_bytes(bytes),
        }
    }
}

#[cfg(unix)]
fn path_of_bytes(bytes: Vec<u8>) -> PathBuf {
    use std::os::unix::ffi::OsStringExt;
    std::ffi::OsString::from_vec(bytes).into()
}

#[cfg(not(unix))]
fn path_of_bytes(bytes: Vec<u8>) -> PathBuf {
    // Broken UTF-16: nothing safe turns it back, so the file is said not to be found.
    String::from_utf8_lossy(&bytes).into_owned().into()
}

#[derive(Debug, Serialize, Deserialize)]
enum Head {
    Preview(Box<Preview>),
    Pixels { width: usize, height: usize },
    Fault(Fault),
}

/// What a worker answers.
#[derive(Debug)]
pub(super) enum Reply {
    Preview(Box<Preview>),
    Pixels(Image),
    Fault(Fault),
}

/// Serves as a decoding worker until standard input ends, if the program was started as one; call it first in `main`.
///
/// # Examples
/// ```no_run
/// if subwell::files::run_worker_if_asked() {
///     return;
/// }
/// ```
#[must_use]
pub fn run_worker_if_asked() -> bool {
    let asked = env::args_os().nth(1).is_some_and(|word| word == WORKER_WORD);
    if asked {
        // The raw decoder panics on damaged files; it is caught, and nobody reads what it has to say.
        std::panic::set_hook(Box::new(|_| {}));
        // A broken pipe means that nobody listens any more: the work is done.
        let _ = serve(io::stdin().lock(), output());
    }
    asked
}

/// Standard output without the search for line ends that it does in every write, and on Linux as a pipe of a megabyte: a
/// frame is hundreds of times what a pipe holds of itself.
#[cfg(unix)]
fn output() -> Box<dyn Write> {
    use std::os::fd::AsFd;
    #[cfg(target_os = "linux")]
    let _ = rustix::pipe::fcntl_setpipe_size(io::stdout(), 1 << 20);
    match io::stdout().as_fd().try_clone_to_owned() {
        Ok(own) => Box::new(std::fs::File::from(own)),
        Err(_) => Box::new(io::stdout()),
    }
}

#[cfg(not(unix))]
fn output() -> Box<dyn Write> {
    Box::new(io::stdout())
}

fn serve(input: impl BufRead, mut output: impl Write) -> io::Result<()> {
    for line in input.lines() {
        let request = serde_json::from_str(&line?)?;
        let answered = match request {
            Request::Preview(name) => {
                preview::unpacked_preview(&name.path()).map(|preview| Reply::Preview(Box::new(preview)))
            }
            Request::Pixels(name) => preview::unpacked_pixels(&name.path()).map(Reply::Pixels),
        };
        answered.unwrap_or_else(Reply::Fault).write(&mut output)?;
        output.flush()?;
    }
    Ok(())
}

impl Reply {
    fn write(self, output: &mut impl Write) -> io::Result<()> {
        let (head, pixels) = match self {
            Self::Preview(preview) => (Head::Preview(preview), Vec::new()),
            Self::Fault(fault) => (Head::Fault(fault), Vec::new()),
            Self::Pixels(Image { width, height, pixels }) => (Head::Pixels { width, height }, pixels),
        };
        let mut line = serde_json::to_vec(&head)?;
        line.push(b'\n');
        output.write_all(&line)?;
        // Both ends are the same program on the same machine: the order of the bytes is its own.
        output.write_all(bytemuck::cast_slice(&pixels))?;
        Ok(())
    }

    /// Reads one reply, its pixels into the memory of others; whatever a crashing process may have written, this neither
    /// panics nor allocates beyond limits.
    pub(super) fn read(input: &mut BufReader<impl Read>, memory: impl Fn() -> Vec<u16>) -> io::Result<Self> {
        let mut line = Vec::new();
        input.by_ref().take(LONGEST_LINE).read_until(b'\n', &mut line)?;
        Ok(match serde_json::from_slice(&line)? {
            Head::Preview(preview) => Self::Preview(preview),
            Head::Fault(fault) => Self::Fault(fault),
            Head::Pixels { width, height } => {
                let count = width.checked_mul(height).filter(|count| *count as u64 <= MOST_PIXELS);
                let count = count.ok_or_else(|| io::Error::other("the decoder promises too many pixels"))?;
                Self::Pixels(Image { width, height, pixels: read_pixels(input, count, memory())? })
            }
        })
    }
}

fn read_pixels(input: &mut impl Read, count: usize, memory: Vec<u16>) -> io::Result<Vec<u16>> {
    let mut pixels = memory;
    if pixels.len() == count {
        input.read_exact(bytemuck::cast_slice_mut(&mut pixels))?;
        return Ok(pixels);
    }
    pixels.clear();
    while pixels.len() < count {
        // A worker that promises much and sends little costs no more memory than it sends.
        let begun = pixels.len();
        pixels.resize(count.min(begun + CHUNK.max(begun)), 0_u16);
        input.read_exact(bytemuck::cast_slice_mut(&mut pixels[begun..]))?;
    }
    Ok(pixels)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reply_survives_the_pipe() {
        let image = Image { width: 3, height: 2, pixels: vec![0, 1, 256, 65535, 7, 8] };
        let mut bytes = Vec::new();
        Reply::Pixels(image.clone()).write(&mut bytes).unwrap();
        let read = Reply::read(&mut BufReader::new(bytes.as_slice()), Vec::new).unwrap();
        assert!(matches!(read, Reply::Pixels(read) if read == image));
        // Into the memory of another frame, of this size or not.
        for memory in [vec![9; 6], vec![9; 4], vec![9; 60]] {
            let read = Reply::read(&mut BufReader::new(bytes.as_slice()), || memory.clone()).unwrap();
            assert!(matches!(read, Reply::Pixels(read) if read == image));
        }
    }

    #[test]
    fn a_cut_or_absurd_reply_is_an_error() {
        for bytes in [
            "",
            "nonsense\n",
            "{\"Pixels\":{\"width\":2,\"height\":2}}\nabc",
            "{\"Pixels\":{\"width\":99999999,\"height\":99999999}}\n",
        ] {
            assert!(Reply::read(&mut BufReader::new(bytes.as_bytes()), Vec::new).is_err(), "{bytes}");
        }
    }
}
