//! Changed frames, through the program: a folder of them for a run, and each alone where a run is too long or ends badly.

use std::ffi::OsStr;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use rand::RngExt;
use subwell::simulate::SensorTruth;

use super::mutate::{Chance, Grammar, chance, mutated};
use super::watch::{Fault, Limits, Run, Tally, run};

/// One way of storing frames.
pub(crate) struct Family {
    name: &'static str,
    ending: &'static str,
    /// Files in one run.
    batch: usize,
    seeds: fn() -> Vec<Vec<u8>>,
    mutation: fn(&[u8], &mut Chance) -> Vec<u8>,
}

pub(crate) const FAMILIES: [Family; 4] = [
    Family {
        name: "FITS",
        ending: "fits",
        batch: 200,
        seeds: || written(false),
        mutation: |good, chance| mutated(good, Grammar::Cards, chance),
    },
    Family { name: "gzip", ending: "fits.gz", batch: 50, seeds: || written(false), mutation: gzip_mutated },
    Family {
        name: "tiles",
        ending: "fits.fz",
        batch: 50,
        seeds: || written(true),
        mutation: |good, chance| mutated(good, Grammar::Cards, chance),
    },
    Family {
        name: "DNG",
        ending: "dng",
        batch: 10,
        seeds: raws,
        mutation: |good, chance| mutated(good, Grammar::Tags { within: 1200 }, chance),
    },
];

/// Small frames of each kind, as the program itself writes them; without a camera, or a changed name would be a
/// second camera and all would be refused unread.
fn written(compressed: bool) -> Vec<Vec<u8>> {
    let sensor = "width_px = 40\nheight_px = 36\nset_point = true\ngain_setting = 100\npixel_um = 3.8\n\
        gain_e_per_adc_step = 0.8\ndn_step = 1\nadc_bits = 14\noffset_dn = 240\nread_noise_e = 1.6\n\
        full_well_e = 12000\ndark_e_per_s = 0.02\ndark_at_c = 0.0\nactivation_ev = 0.62\nseed = 5\n";
    let of = |kind: &str, exposure: f64, light: f64| {
        format!(
            "[[frames]]\nkind = \"{kind}\"\ncount = 1\nexposure_s = {exposure:.1}\nsensor_c = -10.0\nlight_e_per_s = {light:.1}\n"
        )
    };
    let text = format!("{sensor}{}{}{}", of("bias", 0.0, 0.0), of("flat", 0.5, 4000.0), of("dark", 60.0, 0.0));
    let truth = SensorTruth::from_toml(&text).unwrap();
    let folder = tempfile::tempdir().unwrap();
    subwell::files::write_simulation(&truth, folder.path(), compressed, false, &mut |_, _| {}).unwrap();
    let files = walkdir::WalkDir::new(folder.path()).sort_by_file_name().into_iter().map(Result::unwrap);
    files
        .filter(|entry| entry.file_type().is_file())
        .map(|entry| without_camera(fs::read(entry.path()).unwrap()))
        .collect()
}

fn without_camera(mut bytes: Vec<u8>) -> Vec<u8> {
    for card in bytes.chunks_exact_mut(80).filter(|card| card.starts_with(b"INSTRUME=")) {
        card[..10].copy_from_slice(b"COMMENT   ");
    }
    bytes
}

fn raws() -> Vec<Vec<u8>> {
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data");
    ["packed-12.dng", "lossless-14.dng"].map(|name| fs::read(data.join(name)).unwrap()).to_vec()
}

/// Half of the changes are made before packing and half after.
fn gzip_mutated(good: &[u8], chance: &mut Chance) -> Vec<u8> {
    if chance.random_bool(0.5) {
        return packed(&mutated(good, Grammar::Cards, chance));
    }
    mutated(&packed(good), Grammar::None, chance)
}

fn packed(bytes: &[u8]) -> Vec<u8> {
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    packed.write_all(bytes).unwrap();
    packed.finish().unwrap()
}

/// `count` mutations of a family, given to `program` folder by folder.
pub(crate) fn attacked(program: &Path, family: &Family, count: usize, limits: Limits) -> Tally {
    let seeds = (family.seeds)();
    let mut chance = chance(20_261 + family.batch as u64);
    let mut tally = Tally::default();
    while tally.files < count {
        let files: Vec<Vec<u8>> = (tally.files..count.min(tally.files + family.batch))
            .map(|number| (family.mutation)(&seeds[number % seeds.len()], &mut chance))
            .collect();
        tally.add(batch(program, &files, family.ending, limits));
    }
    tally.print(family.name);
    tally
}

/// One folder looked at, measured and judged. A run that ends well within the patience for one file
/// proves it for each of its files; otherwise each file is given alone.
pub(crate) fn batch(program: &Path, files: &[Vec<u8>], ending: &str, limits: Limits) -> Tally {
    let mut tally = together(program, files, ending, limits, limits.patience * files.len() as u32);
    if tally.is_sound() && tally.slowest <= limits.patience || files.len() == 1 {
        return tally;
    }
    let alone: Vec<_> = files
        .iter()
        .flat_map(|file| together(program, std::slice::from_ref(file), ending, limits, limits.patience).faults)
        .collect();
    // What happened when they were together stands only where no single file explains it.
    if !alone.is_empty() {
        tally.faults = alone;
    }
    for (fault, _, _) in tally.faults.iter_mut().filter(|(_, file, _)| file.is_empty()) {
        *fault = Fault::OnlyTogether;
    }
    tally
}

fn together(program: &Path, files: &[Vec<u8>], ending: &str, limits: Limits, patience: std::time::Duration) -> Tally {
    let folder = tempfile::tempdir().unwrap();
    let flats = folder.path().join("flats");
    fs::create_dir(&flats).unwrap();
    for (number, bytes) in files.iter().enumerate() {
        fs::write(flats.join(format!("m{number:04}.{ending}")), bytes).unwrap();
    }
    let mut tally = Tally { files: files.len(), ..Tally::default() };
    let path = folder.path().as_os_str();
    let looked = run(program, &[OsStr::new("frames"), path, OsStr::new("--json")], patience);
    judge(&looked, files, limits, &mut tally);
    count(&looked, files, &mut tally);
    if looked.timed_out {
        return tally;
    }
    let words = ["measure", "--gain-e-per-dn", "1", "--json"].map(OsStr::new);
    let measured = run(program, &[words[0], path, words[1], words[2], words[3]], patience);
    judge(&measured, files, limits, &mut tally);
    tally
}

fn judge(run: &Run, files: &[Vec<u8>], limits: Limits, tally: &mut Tally) {
    tally.peak_kb = tally.peak_kb.max(run.peak_kb);
    tally.slowest = tally.slowest.max(run.took);
    // The program gives a worker half a minute; here that is a hang all the same.
    let fault = run.fault(limits).or_else(|| run.stdout.contains("did not finish").then_some(Fault::Hang));
    if let Some(fault) = fault {
        tally.faults.push((fault, culprit(files), run.words()));
    }
}

/// Where the one file is kept; nothing where there are several.
fn culprit(files: &[Vec<u8>]) -> String {
    if let [only] = files { kept(only).display().to_string() } else { String::new() }
}

/// Every file is either in a group or among the rejected.
fn count(run: &Run, files: &[Vec<u8>], tally: &mut Tally) {
    let Ok(document) = serde_json::from_str::<serde_json::Value>(&run.stdout) else { return };
    let groups = document["groups"].as_array().map(Vec::as_slice).unwrap_or_default();
    let taken: u64 = groups.iter().filter_map(|group| group["count"].as_u64()).sum();
    let rejected = document["rejected"].as_array().map(Vec::as_slice).unwrap_or_default();
    let crashed = |file: &&serde_json::Value| file["reason"].as_str().is_some_and(|reason| reason.contains("crashed"));
    tally.taken = taken as usize;
    tally.refused = rejected.len();
    tally.worker_deaths = rejected.iter().filter(crashed).count();
    if tally.taken + tally.refused != tally.files {
        let said = format!("{} files, {} taken, {} refused", tally.files, tally.taken, tally.refused);
        tally.faults.push((Fault::Nonsense, culprit(files), said));
    }
}

/// A file that does harm is kept for whoever mends it.
pub(crate) fn kept(bytes: &[u8]) -> PathBuf {
    let mut file = tempfile::Builder::new().prefix("culprit-").disable_cleanup(true).tempfile().unwrap();
    file.write_all(bytes).unwrap();
    file.path().to_owned()
}

/// What is attacked is good: unchanged, every file is taken and measured.
#[test]
fn unchanged_files_are_all_taken() {
    for family in &FAMILIES {
        let seeds = (family.seeds)();
        let files: Vec<Vec<u8>> = seeds.iter().map(|good| unchanged(family, good)).collect();
        let tally = batch(Path::new(super::PROGRAM), &files, family.ending, super::SLICE);
        assert!(tally.is_sound(), "{:#?}", tally.faults);
        assert_eq!((tally.taken, tally.refused), (files.len(), 0), "{}", family.name);
    }
}

fn unchanged(family: &Family, good: &[u8]) -> Vec<u8> {
    if family.name == "gzip" { packed(good) } else { good.to_vec() }
}

#[test]
fn the_mutator_changes_files_and_the_same_way_each_time() {
    let good = &written(false)[0];
    let of = |seed| mutated(good, Grammar::Cards, &mut chance(seed));
    assert_eq!(of(7), of(7));
    let changed = (0..100).filter(|seed| of(*seed) != *good).count();
    assert!(changed > 95, "{changed}");
    let changed = (0..100).filter(|seed| gzip_mutated(good, &mut chance(*seed)) != packed(good)).count();
    assert!(changed > 95, "{changed}");
}
