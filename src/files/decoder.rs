//! The reader's side of the workers: started when needed, kept, and replaced when one dies.

use std::io::{BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, sync_channel};
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::thread;
use std::time::Duration;

use ndarray::Array2;

use super::error::{Fault, FileError};
use super::worker::{Reply, Request, WORKER_WORD};

/// So long may one file take; the largest frames take a second.
const PATIENCE: Duration = Duration::from_secs(30);

/// Bytes of free memory that a worker keeps: more than any frame.
const MOST_KEPT: &str = "1073741824";

/// Decodes compressed frames and camera raw files in other processes; it may be shared between threads.
///
/// The bundled C library and the raw decoder can be brought down by damaged files. A worker that dies, says nonsense or takes
/// longer than 30 s costs the one file it was asked about.
#[derive(Debug)]
pub struct Decoder {
    program: PathBuf,
    most: usize,
    patience: Duration,
    pool: Mutex<Pool>,
    freed: Condvar,
    spare: Spare,
}

/// Memory of frames that are needed no more.
type Spare = Arc<Mutex<Vec<Vec<u16>>>>;

fn memory(spare: &Spare) -> Vec<u16> {
    spare.lock().unwrap_or_else(PoisonError::into_inner).pop().unwrap_or_default()
}

#[derive(Debug, Default)]
struct Pool {
    idle: Vec<Worker>,
    busy: usize,
}

impl Decoder {
    /// Workers are `program` with the word `--decode-worker`; at most `most` of them run at a time (0 is taken as 1).
    ///
    /// The program has to call [`super::run_worker_if_asked`] first of all.
    #[must_use]
    pub fn new(program: impl Into<PathBuf>, most: usize) -> Self {
        Self {
            program: program.into(),
            most: most.max(1),
            patience: PATIENCE,
            pool: Mutex::default(),
            freed: Condvar::new(),
            spare: Spare::default(),
        }
    }

    /// Workers are this very program, as many as the machine has cores, at most four.
    ///
    /// # Errors
    /// When the system does not say where this program is.
    pub fn this_program() -> Result<Self, FileError> {
        let none = |source| FileError::NoDecoder { program: "of this program".into(), source };
        Ok(Self::new(std::env::current_exe().map_err(none)?, cores()))
    }

    /// Takes the memory of frames, to read other ones into; of as many as are read at a time.
    pub fn keep(&self, spent: Vec<Array2<u16>>) {
        let mut spare = self.spare.lock().unwrap_or_else(PoisonError::into_inner);
        let room = self.most.saturating_sub(spare.len());
        spare.extend(spent.into_iter().take(room).map(|pixels| pixels.into_raw_vec_and_offset().0));
    }

    /// Memory of a frame that is needed no more; empty without any.
    pub(super) fn memory(&self) -> Vec<u16> {
        memory(&self.spare)
    }

    /// Asks about the file at `path`.
    pub(super) fn ask(&self, request: &Request, path: &Path) -> Result<Reply, FileError> {
        let kept = self.take();
        let answered = self.answer(request, kept);
        let (reply, worker) = match answered {
            // A damaged file may have harmed the worker unseen.
            Ok((reply, worker)) => {
                let sound = !matches!(reply, Reply::Fault(Fault::Damaged(_)));
                (Ok(reply), Some(worker).filter(|_| sound))
            }
            Err(failure) => (Err(failure), None),
        };
        self.give_back(worker);
        match reply {
            Ok(Reply::Fault(fault)) => Err(fault.at(path)),
            Ok(reply) => Ok(reply),
            Err(Failure::Start(source)) => Err(FileError::NoDecoder { program: self.program.clone(), source }),
            Err(Failure::Died) => Err(Fault::Damaged("the decoder crashed on it: the file is damaged".into()).at(path)),
            Err(Failure::Silent) => {
                Err(Fault::Damaged(format!("the decoder did not finish it within {} s", self.patience.as_secs()))
                    .at(path))
            }
        }
    }

    /// A kept worker may carry the harm of an earlier file, so its failure is tried again with a fresh one.
    fn answer(&self, request: &Request, kept: Option<Worker>) -> Result<(Reply, Worker), Failure> {
        if let Some(worker) = kept {
            match worker.answer(request, self.patience) {
                Err(Failure::Died) => {}
                other => return other,
            }
        }
        Worker::start(&self.program, &self.spare).map_err(Failure::Start)?.answer(request, self.patience)
    }

    fn take(&self) -> Option<Worker> {
        let mut pool = self.pool.lock().unwrap_or_else(PoisonError::into_inner);
        while pool.busy >= self.most {
            pool = self.freed.wait(pool).unwrap_or_else(PoisonError::into_inner);
        }
        pool.busy += 1;
        pool.idle.pop()
    }

    fn give_back(&self, worker: Option<Worker>) {
        let mut pool = self.pool.lock().unwrap_or_else(PoisonError::into_inner);
        pool.busy -= 1;
        pool.idle.extend(worker);
        self.freed.notify_one();
    }
}

/// How many threads it pays to read with.
pub(super) fn cores() -> usize {
    thread::available_parallelism().map_or(1, usize::from).min(4)
}

enum Failure {
    Start(std::io::Error),
    Died,
    Silent,
}

/// One running process, and a thread that reads what it says.
#[derive(Debug)]
struct Worker {
    child: Child,
    input: ChildStdin,
    replies: Receiver<Reply>,
}

impl Worker {
    fn start(program: &Path, spare: &Spare) -> std::io::Result<Self> {
        let mut command = Command::new(program);
        // For the allocator of glibc: keep the memory of one frame for the next, in place of new pages for each.
        command.env("MALLOC_MMAP_MAX_", "0").env("MALLOC_TRIM_THRESHOLD_", MOST_KEPT);
        let mut child =
            command.arg(WORKER_WORD).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::null()).spawn()?;
        let (Some(input), Some(output)) = (child.stdin.take(), child.stdout.take()) else {
            return Err(std::io::Error::other("no pipes to it"));
        };
        let (sender, replies) = sync_channel(1);
        let spare = Arc::clone(spare);
        thread::spawn(move || {
            let mut output = BufReader::new(output);
            // The first thing that is no reply ends the conversation; the asker then finds the channel closed.
            while let Ok(reply) = Reply::read(&mut output, || memory(&spare)) {
                if sender.send(reply).is_err() {
                    break;
                }
            }
        });
        Ok(Self { child, input, replies })
    }

    /// The answer and the worker itself; a worker that fails is ended.
    fn answer(mut self, request: &Request, patience: Duration) -> Result<(Reply, Self), Failure> {
        let mut line = serde_json::to_vec(request).map_err(|_| Failure::Died)?;
        line.push(b'\n');
        self.input.write_all(&line).and_then(|()| self.input.flush()).map_err(|_| Failure::Died)?;
        match self.replies.recv_timeout(patience) {
            Ok(reply) => Ok((reply, self)),
            Err(std::sync::mpsc::RecvTimeoutError::Timeout) => Err(Failure::Silent),
            Err(std::sync::mpsc::RecvTimeoutError::Disconnected) => Err(Failure::Died),
        }
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        // It may have ended by itself; without the wait it would stay as a zombie.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[cfg(all(test, unix))]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use std::os::unix::fs::PermissionsExt;

    use super::*;
    use crate::files::worker::Named;

    fn asked(script: &str, patience: Duration) -> String {
        let folder = tempfile::tempdir().unwrap();
        let program = folder.path().join("worker");
        std::fs::write(&program, script).unwrap();
        std::fs::set_permissions(&program, std::fs::Permissions::from_mode(0o755)).unwrap();
        let mut decoder = Decoder::new(&program, 1);
        decoder.patience = patience;
        let path = Path::new("x.fits");
        decoder.ask(&Request::Preview(Named::new(path.to_owned())), path).unwrap_err().to_string()
    }

    #[test]
    fn a_worker_that_is_silent_dies_or_says_nonsense_costs_one_file() {
        let long = Duration::from_secs(600);
        assert!(asked("#!/bin/sh\nexec sleep 600\n", Duration::from_millis(50)).contains("did not finish"));
        assert!(asked("#!/bin/sh\nkill -SEGV $$\n", long).contains("crashed"));
        assert!(asked("#!/bin/sh\necho nonsense\n", long).contains("crashed"));
        let missing = Decoder::new("no/such/program", 1);
        let path = Path::new("x.fits");
        let error = missing.ask(&Request::Preview(Named::new(path.to_owned())), path).unwrap_err();
        assert!(matches!(error, FileError::NoDecoder { .. }));
    }
}
