//! The yard-stick of `benches/commands.py`: reads every frame of a folder into memory with the FITS library alone, on two
//! threads, and looks at nothing: `cargo run --release --example bare_reading FOLDER`.

use std::error::Error;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::{env, fs, thread};

use fitsio::FitsFile;

/// The cores that the comparison is made on.
const THREADS: usize = 2;

type Failure = Box<dyn Error + Send + Sync>;

fn main() -> Result<(), Failure> {
    let folder = env::args().nth(1).ok_or("which folder?")?;
    let mut files = Vec::new();
    frames(Path::new(&folder), &mut files)?;
    let next = AtomicUsize::new(0);
    let read = || -> Result<usize, Failure> {
        let mut pixels = 0;
        while let Some(file) = files.get(next.fetch_add(1, Ordering::Relaxed)) {
            pixels += pixels_of(file)?;
        }
        Ok(pixels)
    };
    let pixels = thread::scope(|scope| -> Result<usize, Failure> {
        let threads: Vec<_> = (0..THREADS).map(|_| scope.spawn(read)).collect();
        threads.into_iter().map(|thread| thread.join().map_err(|_| "a thread died")?).sum()
    })?;
    println!("{} frames, {pixels} pixels", files.len());
    Ok(())
}

fn frames(folder: &Path, files: &mut Vec<PathBuf>) -> Result<(), Failure> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            frames(&path, files)?;
        } else if path.extension().is_some_and(|extension| extension == "fits" || extension == "fz") {
            files.push(path);
        }
    }
    Ok(())
}

fn pixels_of(path: &Path) -> Result<usize, Failure> {
    let mut file = FitsFile::open(path)?;
    // A tile-compressed image stands behind an empty first part.
    let image = usize::from(path.extension().is_some_and(|extension| extension == "fz"));
    let image = file.hdu(image)?;
    let pixels: Vec<u16> = image.read_image(&mut file)?;
    Ok(pixels.len())
}
