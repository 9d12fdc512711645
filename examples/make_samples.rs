//! Makes the frames of `sample-calibration/` again from the two `sensor.toml` files:
//! `cargo run --release --example make-samples`, from the root of the repository.

use std::error::Error;
use std::fs;
use std::path::Path;

use subwell::files::write_simulation;
use subwell::simulate::SensorTruth;

fn main() -> Result<(), Box<dyn Error>> {
    for set in ["cooled-mono", "uncooled-colour"] {
        let folder = Path::new("sample-calibration").join(set);
        let truth = SensorTruth::from_toml(&fs::read_to_string(folder.join("sensor.toml"))?)?;
        let written = write_simulation(&truth, &folder, true, true, &mut |_, _| ())?;
        println!("{set}: {written} frames");
    }
    Ok(())
}
