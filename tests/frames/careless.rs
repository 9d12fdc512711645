//! Folders of photographers who take no care: no headers, ISO numbers in folder names, times in file names, and other
//! things lying about. Measured, or asked for one file.

use std::fs;
use std::path::Path;

use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;
use serde_json::Value;
use subwell::frames::{Cards, Inventory, Seen, StripStatistics};

const WIDTH: usize = 128;
const HEIGHT: usize = 96;
const OFFSET: f64 = 500.0;
const NOISE_E: f64 = 2.0;

/// FITS with nothing in its header but what makes it one.
fn bare(electrons: f64, e_per_dn: f64, seed: u64) -> Vec<u8> {
    let mut chance = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut normal = || -> f64 { chance.sample(StandardNormal) };
    let mut bytes = Vec::new();
    let head =
        ["SIMPLE  = T", "BITPIX  = 16", "NAXIS   = 2", "NAXIS1  = 128", "NAXIS2  = 96", "BZERO   = 32768", "END"];
    for line in head {
        bytes.extend(format!("{line:<80}").into_bytes());
    }
    bytes.resize(2880, b' ');
    for _ in 0..WIDTH * HEIGHT {
        let got = electrons + electrons.sqrt() * normal() + NOISE_E * normal();
        let count = (OFFSET + got / e_per_dn).round().clamp(0.0, 65_535.0);
        bytes.extend(((count - 32_768.0) as i16).to_be_bytes());
    }
    bytes.resize(bytes.len().next_multiple_of(2880), 0);
    bytes
}

fn put(folder: &Path, name: &str, bytes: &[u8]) {
    let path = folder.join(name);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, bytes).unwrap();
}

const TIMES: [(&str, f64); 5] =
    [("1-100s", 0.01), ("1-50s", 0.02), ("1-25s", 0.04), ("1-13s", 0.0769), ("1-6s", 0.1667)];

/// Bias frames and flats of two gains; `place` is the folder for an ISO number.
fn two_gains(folder: &Path, place: impl Fn(u32) -> String) {
    for (iso, e_per_dn) in [(400, 1.0), (1600, 0.25)] {
        for number in 0..4 {
            let name = format!("bias/{}b_{iso}{number}.fits", place(iso));
            put(folder, &name, &bare(0.0, e_per_dn, u64::from(iso) + number));
        }
        for (step, (time, seconds)) in TIMES.iter().enumerate() {
            for number in 0..2 {
                let name = format!("flats/{}flat_{time}_{}.fits", place(iso), iso + number);
                let seed = u64::from(iso * 7 + number) + 100 * step as u64;
                put(folder, &name, &bare(50_000.0 * seconds, e_per_dn, seed));
            }
        }
    }
}

fn litter(folder: &Path) {
    put(folder, "flats/iso400/photo.JPG", b"\xff\xd8\xff\xe0 a picture");
    put(folder, "notes.txt", b"flats from the kitchen window\n");
    put(folder, "darks/master_dark_60s.fits", &bare(0.0, 1.0, 9));
}

/// Exit code and JSON.
fn measured(folder: &Path, words: &[&str]) -> (i32, Value) {
    let mut program = assert_cmd::Command::cargo_bin("subwell").unwrap();
    let run = program.arg("measure").arg(folder).args(words).arg("--json").assert();
    let output = run.get_output();
    (output.status.code().unwrap(), crate::support::schemas::valid(&output.stdout))
}

#[test]
fn iso_numbers_in_folders_and_times_in_names_are_enough() {
    let folder = tempfile::tempdir().unwrap();
    two_gains(folder.path(), |iso| format!("iso{iso}/"));
    litter(folder.path());
    let (code, profile) = measured(folder.path(), &[]);
    assert_eq!(code, 0, "{profile}");
    let modes = profile["modes"].as_array().unwrap();
    let found: Vec<(f64, f64, f64)> = (modes.iter())
        .map(|mode| {
            let plane = &mode["planes"][0];
            let number = |value: &Value| value.as_f64().unwrap();
            (
                number(&mode["gain_setting"]),
                number(&plane["gain_e_per_dn"]["value"]),
                number(&plane["read_noise_e"]["value"]),
            )
        })
        .collect();
    assert_eq!(found.len(), 2, "{found:?}");
    for ((iso, gain, noise), (true_iso, true_gain)) in found.iter().zip([(400.0, 1.0), (1600.0, 0.25)]) {
        assert!(
            *iso == true_iso && (gain / true_gain - 1.0).abs() < 0.06 && (noise / NOISE_E - 1.0).abs() < 0.06,
            "{found:?}"
        );
    }
    let rejected = profile["rejected"].as_array().unwrap();
    let files: Vec<&str> = rejected.iter().map(|file| file["file"].as_str().unwrap()).collect();
    assert_eq!(files, ["darks/master_dark_60s.fits", "flats/iso400/photo.JPG", "notes.txt"]);
    let times: Vec<f64> = modes[0]["photon_transfer"]
        .as_array()
        .unwrap()
        .iter()
        .map(|point| point["exposure_s"].as_f64().unwrap())
        .collect();
    assert!(times.iter().any(|time| (time - 0.01).abs() < 1e-9), "{times:?}");
}

/// Nothing tells the gains apart: the noise shows that there are several, no number is made of it, and one file is asked for.
#[test]
fn gains_that_nothing_tells_apart_are_asked_for_and_no_profile_is_written() {
    let folder = tempfile::tempdir().unwrap();
    two_gains(folder.path(), |_| String::new());
    litter(folder.path());
    let profile = folder.path().join("camera.toml");
    let (code, error) = measured(folder.path(), &["--out", profile.to_str().unwrap()]);
    assert_eq!((code, &error["code"]), (1, &"nothing-to-measure".into()), "{error}");
    let hint = error["hint"].as_str().unwrap();
    assert!(hint.contains("gain") && hint.contains("sidecar.csv"), "{hint}");
    assert!(!profile.exists());
    // The file that was asked for, with patterns and the habits of a spreadsheet.
    put(
        folder.path(),
        "sidecar.csv",
        b"\xef\xbb\xbffile;iso\r\n\"**/*_400*\";400\r\n**/*_401*;400\r\n**/*_160*;1600\r\n",
    );
    let (code, profile) = measured(folder.path(), &[]);
    assert_eq!(code, 0, "{profile}");
    let gains: Vec<f64> = (profile["modes"].as_array().unwrap().iter())
        .map(|mode| mode["planes"][0]["gain_e_per_dn"]["value"].as_f64().unwrap())
        .collect();
    assert!((gains[0] - 1.0).abs() < 0.06 && (gains[1] - 0.25).abs() < 0.02, "{gains:?}");
}

/// Flats alone show it too: of one level, but with twice the noise.
#[test]
fn flats_of_two_gains_between_biases_of_one_are_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    for number in 0..4 {
        put(folder.path(), &format!("bias/b_{number}.fits"), &bare(0.0, 1.0, number));
    }
    for (step, level) in [500.0, 1000.0, 2000.0, 4000.0].into_iter().enumerate() {
        for (half, e_per_dn) in [1.0, 0.25].into_iter().enumerate() {
            for number in 0..2 {
                let name = format!("flats/f_{step}{half}{number}_1s.fits");
                let seed = 50 + (step * 4 + half * 2 + number) as u64;
                put(folder.path(), &name, &bare(level * e_per_dn, e_per_dn, seed));
            }
        }
    }
    let (code, error) = measured(folder.path(), &[]);
    assert_eq!((code, &error["code"]), (1, &"nothing-to-measure".into()), "{error}");
    assert!(error["hint"].as_str().unwrap().contains("sidecar.csv"), "{error}");
}

/// A camera with one gain and no word for it is measured, however its lamp drifts.
#[test]
fn one_gain_without_a_name_is_measured() {
    let folder = tempfile::tempdir().unwrap();
    for number in 0..6 {
        put(folder.path(), &format!("bias/b_{number}.fits"), &bare(0.0, 0.5, number));
    }
    for (step, (time, seconds)) in TIMES.iter().enumerate() {
        for number in 0..2_u32 {
            let drift = 1.0 + 0.01 * f64::from(number);
            let name = format!("flats/flat_{time}_{number}.fits");
            put(folder.path(), &name, &bare(50_000.0 * seconds * drift, 0.5, 70 + 2 * step as u64 + u64::from(number)));
        }
    }
    let (code, profile) = measured(folder.path(), &[]);
    assert_eq!(code, 0, "{profile}");
    let gain = profile["modes"][0]["planes"][0]["gain_e_per_dn"]["value"].as_f64().unwrap();
    assert!((gain / 0.5 - 1.0).abs() < 0.06, "{gain}");
}

/// Bias frames of a converter whose codes are `step` DN apart, with `noise` and a level that wanders in steps.
fn padded_biases(step: u16, noise: f64, cards: &str, seed: u64) -> Vec<Seen> {
    let mut chance = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut normal = || -> f64 { chance.sample(StandardNormal) };
    let level = 60.0 + 0.5 * normal();
    let frame = |number: usize| {
        let own = level + 0.3 * normal();
        let strip: Vec<u16> = (0..4000).map(|_| (own + noise * normal()).round() as u16 * step).collect();
        Seen {
            file: format!("bias/{number}.fits"),
            cards: Cards::from_lines(cards),
            width: 50,
            height: 80,
            strip_statistics: StripStatistics::from_strip(&strip, 50),
        }
    };
    (0..12).map(frame).collect()
}

/// Twelve bits padded to sixteen: the noise is a step or less, and what is seen of it goes with the level. No good frame is thrown out.
#[test]
fn padded_bits_throw_no_bias_out() {
    let (mut sets, mut frames) = (0, 0);
    for step in [1, 4, 16, 64] {
        for noise in [0.1, 0.25, 0.4, 0.55, 0.7, 1.0, 1.6, 3.0] {
            for cards in ["GAIN = 100", ""] {
                for seed in 0..5 {
                    let inventory = Inventory::new(padded_biases(step, noise, cards, seed), &[], "", Vec::new());
                    if let Some(first) = inventory.rejected.first() {
                        println!("step {step}, noise {noise}, `{cards}`, seed {seed}: {}", first.reason);
                    }
                    sets += usize::from(!inventory.rejected.is_empty());
                    frames += inventory.rejected.len();
                }
            }
        }
    }
    println!("{sets} of 320 sets lose frames, {frames} in all");
    assert_eq!(sets, 0);
}

/// Two gains are still told apart in padded bits, where the noise is more than half a step.
#[test]
fn padded_bits_of_two_gains_are_told_apart() {
    let mut all = padded_biases(16, 0.9, "GAIN = 100", 1);
    all.extend(
        padded_biases(16, 1.8, "GAIN = 100", 2)
            .into_iter()
            .take(4)
            .map(|seen| Seen { file: format!("other/{}", seen.file), ..seen }),
    );
    let inventory = Inventory::new(all, &[], "", Vec::new());
    let files: Vec<&str> = inventory.rejected.iter().map(|file| file.file.as_str()).collect();
    assert!(files.len() == 4 && files.iter().all(|file| file.starts_with("other/")), "{files:?}");
}

/// Flats that are stacks by their headers: the answer says so, not that there are none.
#[test]
fn flats_that_were_left_out_as_stacks_are_why_there_is_no_gain() {
    let folder = tempfile::tempdir().unwrap();
    for number in 0..4 {
        put(folder.path(), &format!("bias/b_{number}.fits"), &bare(0.0, 1.0, number));
    }
    for number in 0..4_u64 {
        let mut flat = bare(5000.0, 1.0, 90 + number);
        let end = 6 * 80;
        flat.splice(end..end + 160, format!("{:<80}{:<80}", "NCOMBINE= 20", "END").into_bytes());
        put(folder.path(), &format!("flats/f_1s_{number}.fits"), &flat);
    }
    let (code, error) = measured(folder.path(), &[]);
    let message = error["message"].as_str().unwrap();
    assert!(code == 1 && message.contains("4 files left out") && message.contains("stack of 20 frames"), "{error}");
}
