//! A maker's own raw files, written here in the layout that the decoder knows from it: white level as the header states
//! it and as the pixels show it, files cut off, pixel size, ISO number.

use std::path::{Path, PathBuf};
use std::process::Command;

use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;
use serde_json::Value;

use crate::raw::measured;
use crate::support::cr2::{BODY, MakersRaw};
use crate::support::folder::Folder;
use crate::support::program::subwell;

const GAIN: f64 = 2.0;
const OFFSET: f64 = 2048.0;
const NOISE_DN: f64 = 6.0;
/// Light of red, green, green, blue.
const SHARES: [f64; 4] = [0.6, 1.0, 1.0, 0.5];
const LIT: [usize; 2] = [560, 480];

/// The whole sensor under `level` DN of light in green, cut off at `clip`.
fn frame(level: f64, clip: u16, seed: u64) -> MakersRaw {
    let mut chance = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut normal = || -> f64 { chance.sample(StandardNormal) };
    let (width, rows) = (BODY.left + LIT[0], BODY.top + LIT[1]);
    let mut pixels = Vec::with_capacity(width * rows);
    for at in 0..width * rows {
        let (row, column) = (at / width, at % width);
        let lit = row >= BODY.top && column >= BODY.left;
        let electrons = if lit { level * SHARES[2 * (row % 2) + column % 2] * GAIN } else { 0.0 };
        // For so many electrons the Poisson distribution is as good as normal.
        let count = OFFSET + NOISE_DN * normal() + (electrons + electrons.sqrt() * normal()) / GAIN;
        pixels.push((count.round().max(0.0) as u16).min(if lit { clip } else { 16_383 }));
    }
    MakersRaw::new(width, pixels)
}

const LEVELS: [f64; 8] = [300.0, 800.0, 1500.0, 2500.0, 3500.0, 5000.0, 6500.0, 8000.0];

/// Bias frames, a ladder of flats, and a pair that saturates, each file as `change` makes it.
fn set(clip: u16, change: impl Fn(MakersRaw) -> MakersRaw) -> Folder {
    let folder = Folder::new();
    let mut seed = u64::from(clip);
    let mut put = |name: String, level: f64, exposure: (u32, u32)| {
        seed += 1;
        let mut raw = frame(level, clip, seed);
        raw.exposure = exposure;
        raw.date = format!("2026:01:02 20:{:02}:{:02}", seed / 60 % 60, seed % 60);
        folder.put(&name, &change(raw).bytes());
    };
    for number in 0..6 {
        put(format!("bias/IMG_{number}.CR2"), 0.0, (1, 4096));
    }
    for (step, level) in LEVELS.into_iter().chain([60_000.0]).enumerate() {
        for number in 0..2 {
            put(format!("flats/IMG_{step}_{number}.CR2"), level, (1, 4096 >> step));
        }
    }
    folder
}

fn codes(profile: &Value) -> Vec<&str> {
    profile["caveats"].as_array().unwrap().iter().filter_map(|caveat| caveat["code"].as_str()).collect()
}

/// Mean over the planes of a number of the profile.
fn mean(profile: &Value, pointer: &str) -> f64 {
    let planes = profile["modes"][0]["planes"].as_array().unwrap_or_else(|| panic!("{profile}"));
    let values = planes.iter().map(|plane| plane.pointer(pointer).and_then(Value::as_f64).unwrap());
    values.sum::<f64>() / planes.len() as f64
}

/// The header says 12,277; such bodies clip where their ISO number wants it.
#[test]
fn flats_beyond_the_stated_white_level_are_taken_and_show_where_the_camera_clips() {
    for clip in [13_583, 15_303, 16_383] {
        let profile = measured(&set(clip, |raw| raw));
        assert_eq!(profile["rejected"], serde_json::json!([]), "{clip}");
        for plane in profile["modes"][0]["planes"].as_array().unwrap() {
            assert_eq!(plane["saturation_is"], "reached", "{clip}");
            assert!((plane["saturation_dn"].as_f64().unwrap() - f64::from(clip)).abs() <= 1.0, "{clip}: {plane}");
        }
        let (gain, noise) = (mean(&profile, "/gain_e_per_dn/value"), mean(&profile, "/read_noise_e/value"));
        eprintln!("clip {clip}: gain {gain:.4}, read noise {noise:.3}");
        assert!((gain / GAIN - 1.0).abs() < 0.005, "{clip}: gain {gain}");
        assert!((noise / (NOISE_DN * GAIN) - 1.0).abs() < 0.01, "{clip}: read noise {noise}");
        assert!(codes(&profile).contains(&"white-level-differs"), "{:?}", codes(&profile));
        assert!(!codes(&profile).contains(&"black-level-differs"), "{:?}", codes(&profile));
    }
}

/// Where a file states the length of its one strip, and what it states.
fn strip_length(bytes: &[u8]) -> (usize, u32) {
    let place = bytes.windows(8).position(|entry| entry == [0x17, 1, 4, 0, 1, 0, 0, 0]).unwrap() + 8;
    (place, u32::from_le_bytes(bytes[place..place + 4].try_into().unwrap()))
}

#[test]
fn a_file_that_is_cut_off_is_named_and_costs_only_itself() {
    let whole = set(15_303, |raw| raw);
    let cut_file = whole.path().join("flats/IMG_3_1.CR2");
    let bytes = std::fs::read(&cut_file).unwrap();
    let numbers = |profile: &Value| (profile["modes"].clone(), profile["gain_law"].clone());
    let all = numbers(&measured(&whole));
    // The length of the strip stated wrongly in a file that is whole.
    for wrong in [-3000_i64, -1, 3000, 1 << 24] {
        let mut stated = bytes.clone();
        let (place, length) = strip_length(&bytes);
        stated[place..place + 4].copy_from_slice(&((i64::from(length) + wrong) as u32).to_le_bytes());
        std::fs::write(&cut_file, stated).unwrap();
        let profile = measured(&whole);
        assert_eq!(profile["rejected"], serde_json::json!([]), "{wrong}");
        assert_eq!(numbers(&profile), all, "{wrong}");
    }
    std::fs::remove_file(&cut_file).unwrap();
    let without = measured(&whole);
    for missing in [500, 3000, 100_000] {
        std::fs::write(&cut_file, &bytes[..bytes.len() - missing]).unwrap();
        let profile = measured(&whole);
        let rejected = profile["rejected"].as_array().unwrap();
        assert_eq!(rejected.len(), 1, "{rejected:?}");
        assert_eq!(rejected[0]["file"], "flats/IMG_3_1.CR2");
        assert!(rejected[0]["reason"].as_str().unwrap().contains("cut off"), "{}", rejected[0]);
        assert_eq!(numbers(&profile), numbers(&without), "{missing}");
    }
    // The right length, but the end never written; and the length in the header shortened with the file.
    let mut hollow = bytes.clone();
    let end = hollow.len() - 3000;
    hollow[end..].fill(0);
    let mut shortened = bytes[..bytes.len() - 3000].to_vec();
    let (place, length) = strip_length(&bytes);
    shortened[place..place + 4].copy_from_slice(&(length - 3000).to_le_bytes());
    for bytes in [hollow, shortened] {
        std::fs::write(&cut_file, bytes).unwrap();
        let profile = measured(&whole);
        let rejected = profile["rejected"].as_array().unwrap();
        assert!(rejected.len() == 1 && rejected[0]["reason"].as_str().unwrap().contains("no end"), "{rejected:?}");
        assert_eq!(numbers(&profile), numbers(&without));
    }
}

const NIGHT: &str = "[camera]\nprofile = \"camera.toml\"\n[optics]\naperture_mm = 76.0\nfocal_length_mm = 440.0\n[site]\n\
                     sky = { bortle = 6 }\n[target]\nsurface_brightness_mag = 23.0\n[goal]\nsnr = 5.0\n";

/// 25.4 mm over 5,799 pixels are 4.38 µm each.
#[test]
fn the_pixel_size_is_the_one_of_exif_and_a_night_plans() {
    let folder = set(15_303, |mut raw| {
        raw.resolution = Some((57_991, 10));
        raw
    });
    let profile = measured(&folder);
    let side = profile["modes"][0]["pixel_um"].as_f64().unwrap();
    assert!((side - 4.38).abs() < 0.005, "{side}");
    assert!(codes(&profile).contains(&"pixel-size-rough"), "{:?}", codes(&profile));
    plans(&folder);
    // Typed in the sidecar, it is the photographer's own.
    folder.put("sidecar.csv", b"file;pixel_um\nbias/*.cr2;4,30\nflats/*;4,30\n");
    let typed = measured(&folder);
    assert_eq!(typed["modes"][0]["pixel_um"], 4.3);
    assert!(!codes(&typed).contains(&"pixel-size-rough") && !codes(&typed).contains(&"sidecar-unmatched"));
    let camera = folder.path().join("camera.toml");
    let mut measure = subwell();
    measure.arg("measure").arg(folder.path()).args(["--pixel-um", "4.35", "--force", "--out"]).arg(&camera);
    measure.assert().success();
    let kept = std::fs::read_to_string(&camera).unwrap();
    assert!(kept.contains("pixel_um = 4.35") && !kept.contains("pixel-size"), "{kept}");
    subwell().arg("plan").arg(folder.path().join("night.toml")).assert().success();
}

/// The camera of a folder is measured as it is, its rough pixel size with its mark, and a night plans from it.
fn plans(folder: &Folder) {
    let camera = folder.path().join("camera.toml");
    subwell().arg("measure").arg(folder.path()).arg("--out").arg(&camera).assert().success();
    let kept = std::fs::read_to_string(&camera).unwrap();
    assert!(kept.contains("pixel_um = 4.38") && kept.contains("pixel-size-rough"), "{kept}");
    folder.put("night.toml", NIGHT.as_bytes());
    let run = subwell().arg("plan").arg(folder.path().join("night.toml")).arg("--json").assert().success();
    let scale = mean_of_planes(&serde_json::from_slice(&run.get_output().stdout).unwrap());
    assert!((scale - 206.265 * 4.38 / 440.0).abs() < 0.01, "{scale}");
}

/// A pixel's side on the sky in a plan of one filter.
fn mean_of_planes(plan: &Value) -> f64 {
    plan["filters"][0]["planes"][0]["inputs"]["pixel_arcsec"].as_f64().unwrap_or_else(|| panic!("{plan}"))
}

#[test]
fn an_iso_number_beyond_the_short_tag_is_asked_for_and_read_from_folders() {
    let of_iso = |folder: &Folder, place: &str, noise: f64, seed: u64| {
        for number in 0..4 {
            let mut raw = frame(0.0, 16_383, seed + number);
            for count in &mut raw.pixels {
                *count = (OFFSET + (f64::from(*count) - OFFSET) * noise).round() as u16;
            }
            raw.iso = u16::MAX;
            folder.put(&format!("{place}IMG_{seed}_{number}.CR2"), &raw.bytes());
        }
    };
    let folder = Folder::new();
    of_iso(&folder, "bias/", 1.0, 10);
    let alone = folder.read();
    assert_eq!(alone.inventory.frames().count(), 4);
    assert!(alone.inventory.caveats.iter().any(|caveat| caveat.code == "gain-missing"));
    // Two ISO numbers in one folder show by their noise: asked, not averaged.
    of_iso(&folder, "bias/", 2.0, 20);
    let mixed = folder.read();
    assert_eq!(mixed.inventory.frames().count(), 0);
    assert!(mixed.rejected().iter().all(|file| file.code == "unknown-gain"), "{:?}", mixed.rejected());
    let asked = mixed.inventory.missing.join(" ");
    assert!(asked.contains("gain setting or ISO of 8 files") && asked.contains("sidecar.csv"), "{asked}");
    // Said by the sidecar, or by folders.
    folder.put("sidecar.csv", b"file,iso\nbias/IMG_10*,102400\nbias/IMG_20*,204800\n");
    assert_eq!(folder.read().inventory.modes().count(), 2);
    let named = Folder::new();
    of_iso(&named, "bias/iso102400/", 1.0, 10);
    of_iso(&named, "bias/ISO 204800/", 2.0, 20);
    let gains: Vec<_> = named.read().inventory.modes().map(|(mode, _)| mode.gain_setting).collect();
    assert_eq!(gains, [Some(102_400.0), Some(204_800.0)]);
}

/// Files in the format of one maker with the header of a real body, made when the test runs; minutes, so only on demand.
#[test]
#[ignore = "needs ../shared/real/raw (or $SUBWELL_REAL), and python3 with numpy (or $SUBWELL_PYTHON)"]
fn files_with_the_header_of_a_real_body_are_measured_right() {
    let root = std::env::var_os("SUBWELL_REAL")
        .map_or_else(|| PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/real"), PathBuf::from);
    let maker = root.join("raw/make_cr2.py");
    if !maker.is_file() {
        eprintln!("SKIPPED: {} is not there", maker.display());
        return;
    }
    let python = std::env::var_os("SUBWELL_PYTHON").unwrap_or_else(|| "python3".into());
    let make = |to: &Path, words: &[&str]| {
        std::fs::create_dir_all(to.parent().unwrap()).unwrap();
        let status = Command::new(&python).arg(&maker).arg(to).args(words).args(["--white", "12277"]).status();
        assert!(status.expect("python3").success(), "{words:?}");
    };
    let folder = Folder::new();
    for number in ["1", "2", "3", "4"] {
        make(&folder.path().join(format!("bias/{number}.cr2")), &["bias", "--seed", number]);
    }
    for (step, level) in ["600", "2000", "4500", "8000"].into_iter().enumerate() {
        for number in ["1", "2"] {
            let seed = format!("{number}{step}");
            let name = format!("flats/flat_{level}_{number}.cr2");
            make(&folder.path().join(name), &["flat", "--seed", &seed, "--level", level, "--clip", "15303"]);
        }
    }
    for clip in ["13583", "15303", "16383"] {
        for number in ["1", "2"] {
            let name = format!("flats/saturated_{number}.cr2");
            make(&folder.path().join(name), &["saturated", "--seed", number, "--clip", clip]);
        }
        let profile = measured(&folder);
        assert_eq!(profile["rejected"], serde_json::json!([]));
        let (gain, noise) = (mean(&profile, "/gain_e_per_dn/value"), mean(&profile, "/read_noise_e/value"));
        let (offset, full) = (mean(&profile, "/offset_dn/value"), mean(&profile, "/saturation_dn"));
        eprintln!("clip {clip}: gain {gain:.4}, read noise {noise:.3}, offset {offset:.2}, saturation {full:.1}");
        assert!((gain / 2.0 - 1.0).abs() < 0.005 && (noise / 12.0 - 1.0).abs() < 0.01 && (offset - 2048.0).abs() < 0.5);
        assert!((full - clip.parse::<f64>().unwrap()).abs() <= 1.0);
        let side = profile["modes"][0]["pixel_um"].as_f64().unwrap();
        assert!((side - 4.38).abs() < 0.01, "{side}");
    }
    plans(&folder);
    for written in ["camera.toml", "night.toml"] {
        std::fs::remove_file(folder.path().join(written)).unwrap();
    }
    let file = folder.path().join("flats/flat_4500_2.cr2");
    let bytes = std::fs::read(&file).unwrap();
    std::fs::remove_file(&file).unwrap();
    let without = measured(&folder)["modes"].clone();
    for missing in [500, 3000, 100_000] {
        std::fs::write(&file, &bytes[..bytes.len() - missing]).unwrap();
        let profile = measured(&folder);
        assert_eq!(profile["modes"], without, "{missing}");
        let rejected = profile["rejected"].clone();
        assert_eq!((&rejected[0]["file"], rejected.as_array().unwrap().len()), (&"flats/flat_4500_2.cr2".into(), 1));
        assert!(rejected[0]["reason"].as_str().unwrap().contains("cut off"), "{rejected}");
    }
}
