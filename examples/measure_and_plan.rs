//! Measures the camera of a folder and plans a night with it: `measure-and-plan FOLDER night.toml`.

use subwell::files::{Decoder, read_text, run_worker_if_asked};
use subwell::measure::{CameraOptions, Folder, Silent, measure_camera};
use subwell::night::Night;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    // Compressed frames are decoded by this very program.
    if run_worker_if_asked() {
        return Ok(());
    }
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [folder, night] = words.as_slice() else { return Err("give a folder of frames and a night file".into()) };
    let decoder = Decoder::this_program()?;
    let camera = measure_camera(&Folder::open(&[folder], &decoder, &Silent)?, &CameraOptions::default())?.profile;
    let plan = subwell::plan::plan(&Night::from_toml(&read_text(night.as_ref())?)?, &camera)?;
    for filter in &plan.filters {
        let (count, length, cadence) = (filter.subs_to_shoot, filter.sub_s.0, filter.dither_every_subs);
        println!("{}: {count} subs of {length} s, dither every {cadence}", filter.name);
    }
    Ok(())
}
