//! Camera raw files: DNG written here and by another library, read through the program's own worker.
//!
//! All cameras are invented. `tests/data/packed-12.dng` was written by pidng; `tests/data/make_dng.py` says how.
#![cfg(feature = "cli")]

use std::path::Path;
use std::sync::LazyLock;

use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;
use subwell::files::read_headers;
use subwell::frames::{CfaPattern, FrameKind};
use subwell::units::{Celsius, Colour, Seconds};

use crate::support::dng::Dng;
use crate::support::folder::Folder;
use crate::support::program::{decoder, json_of, measure};

const WIDTH: usize = 808;
const HEIGHT: usize = 643;
const TOP: usize = 3;
const LEFT: usize = 8;
/// By place in the cell of the active area, read row by row.
const GAIN: [f64; 4] = [0.5, 0.8, 1.1, 1.7];
const READ_NOISE: [f64; 4] = [2.0, 3.0, 4.0, 6.0];
const OFFSET: [f64; 4] = [500.0, 520.0, 540.0, 560.0];

/// A frame of the invented camera; `electrons` is the light, in the active area only.
fn frame(electrons: f64, seed: u64) -> Dng {
    let mut chance = Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut normal = || -> f64 { chance.sample(StandardNormal) };
    let mut pixels = vec![0; WIDTH * HEIGHT];
    for (at, pixel) in pixels.iter_mut().enumerate() {
        let (row, column) = (at / WIDTH, at % WIDTH);
        let place = 2 * ((row + TOP) % 2) + (column + LEFT) % 2;
        let light = if row >= TOP && column >= LEFT { electrons } else { 0.0 };
        // For so many electrons the Poisson distribution is as good as normal.
        let got = light + light.sqrt() * normal() + READ_NOISE[place] * normal();
        *pixel = (OFFSET[place] + got / GAIN[place]).round().max(0.0) as u16;
    }
    let mut dng = Dng::new(WIDTH, HEIGHT, pixels);
    dng.active = Some([TOP as u32, LEFT as u32, HEIGHT as u32, WIDTH as u32]);
    dng
}

const SHARES: [f64; 10] = [0.02, 0.05, 0.1, 0.15, 0.22, 0.3, 0.4, 0.5, 0.6, 0.7];
const FULL_E: f64 = 7000.0;

/// Bias frames and pairs of pairs of flats, with their names. The noise of twenty-five million pixels takes its time: it
/// is made once for all tests.
static RAMP: LazyLock<Vec<(String, Dng)>> = LazyLock::new(|| {
    let mut frames = Vec::new();
    let mut seed = 1;
    let mut add = |name: String, electrons: f64, exposure: (u32, u32)| {
        seed += 1;
        let mut dng = frame(electrons, seed);
        dng.exposure = exposure;
        dng.date = format!("2026:01:02 20:{:02}:{:02}", seed / 60, seed % 60);
        frames.push((name, dng));
    };
    for number in 0..8 {
        add(format!("bias/IMG_{number:04}.DNG"), 0.0, (1, 4096));
    }
    for (step, share) in SHARES.into_iter().enumerate() {
        for number in 0..4 {
            add(format!("flats/IMG_{step:02}{number:02}.DNG"), share * FULL_E, ((share * 100.0) as u32, 64));
        }
    }
    frames
});

fn ramp(folder: &Folder, change: impl Fn(Dng) -> Dng) {
    for (name, dng) in RAMP.iter() {
        folder.put(name, &change(dng.clone()).bytes());
    }
}

pub(crate) fn measured(folder: &Folder) -> serde_json::Value {
    json_of(&measure(folder.path(), &[]))
}

/// Each plane within 1 % in gain and read noise, and half a DN in offset.
fn check_planes(profile: &serde_json::Value, expected: &[(&str, &str, usize)]) {
    let planes = profile["modes"][0]["planes"].as_array().unwrap_or_else(|| panic!("{profile}"));
    assert_eq!(planes.len(), 4);
    for (plane, (place, colour, truth)) in planes.iter().zip(expected) {
        assert_eq!((plane["plane"].as_str(), plane["colour"].as_str()), (Some(*place), Some(*colour)));
        let value = |name: &str| plane[name]["value"].as_f64().unwrap();
        assert!((value("gain_e_per_dn") / GAIN[*truth] - 1.0).abs() < 0.01, "{place}: {}", plane["gain_e_per_dn"]);
        assert!((value("read_noise_e") / READ_NOISE[*truth] - 1.0).abs() < 0.01, "{place}: {}", plane["read_noise_e"]);
        assert!((value("offset_dn") - OFFSET[*truth]).abs() < 0.5, "{place}: {}", plane["offset_dn"]);
    }
}

/// The pattern is counted from the active area, whose corner lies on an odd row.
#[test]
fn a_ramp_of_four_gains_is_measured_plane_by_plane() {
    let folder = Folder::new();
    // The cell at the active corner is that of sensor row 3: the places of the sensor's own cell, rows swapped.
    ramp(&folder, |mut dng| {
        dng.cfa = vec![1, 2, 0, 1];
        dng
    });
    let profile = measured(&folder);
    check_planes(&profile, &[("r0c0", "G", 0), ("r0c1", "B", 1), ("r1c0", "R", 2), ("r1c1", "G", 3)]);
    assert_eq!(profile["modes"][0]["gain_setting"], 800.0);
    assert_eq!(profile["camera"], "Invented One");
    let codes: Vec<&str> =
        profile["caveats"].as_array().unwrap().iter().filter_map(|caveat| caveat["code"].as_str()).collect();
    assert!(codes.contains(&"greens-differ"), "{codes:?}");
    assert_eq!((&profile["modes"][0]["width_px"], &profile["modes"][0]["height_px"]), (&800.into(), &640.into()));
}

/// The same camera with its rows stored the other way round: other places, the same colours.
#[test]
fn colours_follow_the_rows_when_they_are_stored_upside_down() {
    let folder = Folder::new();
    ramp(&folder, |mut dng| {
        let rows: Vec<&[u16]> = dng.pixels.chunks(WIDTH).rev().collect();
        dng.pixels = rows.concat();
        dng.active = Some([0, LEFT as u32, (HEIGHT - TOP) as u32, WIDTH as u32]);
        // The active area has an even number of rows: the last row of the cell comes first.
        dng.cfa = vec![0, 1, 1, 2];
        dng
    });
    let profile = measured(&folder);
    check_planes(&profile, &[("r0c0", "R", 2), ("r0c1", "G", 3), ("r1c0", "G", 0), ("r1c1", "B", 1)]);
}

/// pidng 4.0.9 wrote the files; rawpy 0.28.0 (`imread`, `raw_image`, `raw_colors`) gave these sums of the active area.
#[test]
fn files_of_another_writer_read_as_another_reader_reads_them() {
    read_as("packed-12.dng", (90, 61), CfaPattern::Grbg, &SUMS_PACKED);
    read_as("lossless-14.dng", (90, 60), CfaPattern::Bggr, &SUMS_LOSSLESS);
}

fn read_as(name: &str, size: (usize, usize), cfa: CfaPattern, sums: &[(usize, usize, usize, u64)]) {
    let folder = Folder::new();
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name);
    folder.put(&format!("flats/{name}"), &std::fs::read(data).unwrap());
    let set = folder.read();
    let info = set.inventory.frames().next().unwrap_or_else(|| panic!("{:?}", set.rejected()));
    assert_eq!((info.width, info.height), size);
    assert_eq!(info.cfa, Some(cfa));
    assert_eq!((info.kind, info.exposure, info.gain_setting), (FrameKind::Flat, Seconds(1.0 / 64.0), Some(800.0)));
    assert_eq!(info.taken.as_deref(), Some("2026-01-02T20:00:00"));
    let frame = set.read(info, &decoder()).unwrap();
    for (row, column, pixels, sum) in sums.iter().copied() {
        let plane: Vec<u64> = (frame.pixels.indexed_iter())
            .filter(|((r, c), _)| (r % 2, c % 2) == (row, column))
            .map(|(_, count)| u64::from(*count))
            .collect();
        let found: u64 = plane.iter().sum();
        assert_eq!((plane.len(), found), (pixels, sum), "r{row}c{column}");
    }
}

/// Row and column of the place in the cell, its pixels, the sum of their counts.
const SUMS_PACKED: [(usize, usize, usize, u64); 4] =
    [(0, 0, 1395, 1_619_492), (0, 1, 1395, 1_229_853), (1, 0, 1350, 2_604_879), (1, 1, 1350, 1_884_609)];
const SUMS_LOSSLESS: [(usize, usize, usize, u64); 4] =
    [(0, 0, 1350, 2_603_043), (0, 1, 1350, 1_883_002), (1, 0, 1350, 1_566_873), (1, 1, 1350, 1_190_310)];

/// The ramp that `tests/data/make_dng.py --ramp` writes with pidng, whose places by row are G, R, B, G from an odd row.
#[test]
#[ignore = "needs a ramp of another writer: tests/data/make_dng.py"]
fn a_ramp_of_another_writer_is_measured_plane_by_plane() {
    let folder = std::env::var_os("SUBWELL_DNG_RAMP").expect("SUBWELL_DNG_RAMP names its folder");
    let profile = json_of(&measure(Path::new(&folder), &[]));
    let planes = profile["modes"][0]["planes"].as_array().unwrap_or_else(|| panic!("{profile}"));
    let expected = [("r0c0", "G", 2), ("r0c1", "R", 3), ("r1c0", "B", 0), ("r1c1", "G", 1)];
    for (plane, (place, colour, truth)) in planes.iter().zip(expected) {
        assert_eq!((plane["plane"].as_str(), plane["colour"].as_str()), (Some(place), Some(colour)));
        let value = |name: &str| plane[name]["value"].as_f64().unwrap();
        let found = (value("gain_e_per_dn") / GAIN[truth], value("read_noise_e") / READ_NOISE[truth]);
        let offset = value("offset_dn") - (500.0 + 20.0 * truth as f64);
        eprintln!("{place} {colour}: gain × {:.4}, read noise × {:.4}, offset {offset:+.2} DN", found.0, found.1);
        assert!((found.0 - 1.0).abs() < 0.01 && (found.1 - 1.0).abs() < 0.01 && offset.abs() < 0.5);
    }
}

/// 3 rows and 8 columns at the edges of the sensor see no light.
#[test]
fn the_masked_border_tells_the_black_level_of_each_frame() {
    let folder = Folder::new();
    for number in 0..6_u16 {
        let mut dng = frame(4000.0, u64::from(number));
        dng.pixels.iter_mut().for_each(|count| *count += 2 * number);
        dng.masked = vec![[0, 0, TOP as u32, WIDTH as u32], [TOP as u32, 0, HEIGHT as u32, LEFT as u32]];
        folder.put(&format!("flats/IMG_{number}.DNG"), &dng.bytes());
    }
    let set = folder.read();
    let caveat = set.inventory.caveats.iter().find(|caveat| caveat.code == "black-level-moves").unwrap();
    // The mean of the four offsets is 530, and the level rises by 10.
    let numbers: Vec<f64> = caveat.message.split_whitespace().filter_map(|word| word.parse().ok()).collect();
    assert!((numbers[0] - 530.0).abs() < 0.5 && (numbers[1] - 540.0).abs() < 0.5, "{}", caveat.message);
}

/// 1.7 e⁻/DN and 4.2 e⁻ between 2047 and 15000 DN; the pair was computed with the formula of the tag and seen with a
/// Monte Carlo of its own (numpy).
#[test]
fn a_noise_profile_is_shown_in_electrons() {
    let folder = Folder::new();
    let mut dng = frame(1000.0, 1);
    (dng.black, dng.white, dng.noise_profile) = (2047, 15_000, vec![4.5413e-5, 3.6380e-8]);
    folder.put("flats/a.dng", &dng.bytes());
    let stated = folder.read().inventory.stated;
    assert_eq!((stated.len(), stated[0].from.as_str(), stated[0].colour), (1, "NoiseProfile", None));
    assert!((stated[0].e_per_dn - 1.700).abs() < 1e-3 && (stated[0].read_noise_e.unwrap() - 4.200).abs() < 1e-3);
    // That of another writer: three pairs for red, green, blue.
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/lossless-14.dng");
    let other = Folder::new();
    other.put("flats/lossless-14.dng", &std::fs::read(data).unwrap());
    let stated = other.read().inventory.stated;
    let found: Vec<_> = stated.iter().map(|said| (said.colour, (said.e_per_dn * 1e4).round() / 1e4)).collect();
    assert_eq!(found, [(Some(Colour::Red), 0.8), (Some(Colour::Green), 1.1), (Some(Colour::Blue), 1.7)]);
}

#[test]
fn what_is_no_mosaic_of_counts_is_refused_with_reason_and_cure() {
    let good = frame(1000.0, 1);
    let with = |change: &dyn Fn(&mut Dng)| {
        let mut dng = good.clone();
        change(&mut dng);
        dng.bytes()
    };
    let whole = good.bytes();
    let cases: Vec<(&str, Vec<u8>, &str, &str)> = vec![
        ("zeros.dng", with(&|dng| dng.pixels.fill(0)), "unreadable", "every pixel decodes to 0"),
        // The two bytes of each count the wrong way round.
        (
            "swapped.dng",
            with(&|dng| dng.pixels.iter_mut().for_each(|count| *count = count.swap_bytes())),
            "unreadable",
            "decoded wrongly",
        ),
        ("cut.dng", whole[..whole.len() / 2].to_vec(), "unreadable", "cut off"),
        (
            "six.dng",
            with(&|dng| {
                dng.cell = [6, 6];
                dng.cfa = [0, 1, 1, 2, 1, 1].repeat(6);
            }),
            "unsupported",
            "6 x 6",
        ),
        (
            "linear.dng",
            with(&|dng| {
                dng.samples = 3;
                dng.pixels = dng.pixels.repeat(3);
            }),
            "not-raw",
            "3 samples",
        ),
        (
            "huge.dng",
            with(&|dng| {
                dng.width = 4_000_000;
                dng.height = 4_000_000;
            }),
            "over-limit",
            "megapixels",
        ),
        ("larger.dng", with(&|dng| dng.height = 40_000), "unreadable", "shorter than it says"),
        ("area.dng", with(&|dng| dng.active = Some([0, 0, 4000, 4000])), "unreadable", ""),
        ("text.dng", b"not a frame".to_vec(), "unreadable", "finds none"),
        ("tiny.nef", vec![0, 1, 2, 3], "unreadable", "finds none"),
        ("empty.cr2", Vec::new(), "unreadable", "empty"),
        ("picture.tif", whole, "not-an-image", "developed picture"),
    ];
    for (name, bytes, code, words) in cases {
        let folder = Folder::new();
        folder.put(&format!("flats/{name}"), &bytes);
        let (found, reason) = folder.only_rejected();
        assert_eq!(found, code, "{name}: {reason}");
        assert!(reason.contains(words), "{name}: {reason}");
    }
}

#[test]
fn truncated_files_among_good_ones_cost_only_themselves() {
    let folder = Folder::new();
    for number in 0..4 {
        let bytes = frame(1000.0, number).bytes();
        folder.put(&format!("flats/good_{number}.dng"), &bytes);
        folder.put(&format!("flats/cut_{number}.dng"), &bytes[..bytes.len() * (number as usize + 1) / 5]);
    }
    let set = folder.read();
    let names: Vec<&str> = set.rejected().iter().map(|rejected| rejected.file.as_str()).collect();
    assert_eq!(names, ["flats/cut_0.dng", "flats/cut_1.dng", "flats/cut_2.dng", "flats/cut_3.dng"]);
    for info in set.inventory.frames() {
        assert!(info.file.contains("good"));
        set.read(info, &decoder()).unwrap();
    }
    assert_eq!(set.inventory.frames().count(), 4);
}

/// Bits flipped anywhere, most of them among the tags: read or rejected, and the program goes on.
#[test]
fn damaged_tags_neither_hang_nor_harm() {
    let mut small = frame(1000.0, 1);
    small.pixels = small.pixels[..WIDTH * 20].to_vec();
    small.height = 20;
    small.active = None;
    let ours = small.bytes();
    let theirs = std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/packed-12.dng")).unwrap();
    let mut chance = Xoshiro256PlusPlus::seed_from_u64(99);
    let mut below = |limit: usize| chance.random_range(0..limit);
    let folder = Folder::new();
    for number in 0..300_usize {
        let mut bytes = if number % 3 == 0 { theirs.clone() } else { ours.clone() };
        for _ in 0..1 + number % 7 {
            let at = below(if number % 5 == 4 { bytes.len() } else { 700 });
            bytes[at] ^= 1 << below(8);
        }
        if number % 11 == 10 {
            bytes.truncate(below(bytes.len()));
        }
        folder.put(&format!("flats/bad_{number:03}.dng"), &bytes);
    }
    folder.put("flats/good.dng", &ours);
    let decoder = decoder();
    let set = read_headers(folder.path(), &decoder).unwrap();
    assert!(!set.rejected().is_empty());
    let (mut taken, mut refused) = (0, 0);
    for info in set.inventory.frames() {
        match set.read(info, &decoder) {
            Ok(_) => taken += 1,
            Err(_) => refused += 1,
        }
    }
    assert!(set.inventory.frames().any(|info| info.file == "flats/good.dng"));
    assert_eq!(taken + refused + set.rejected().len(), 301);
    eprintln!("{taken} read, {refused} refused when read whole, {} at first look", set.rejected().len());
}

#[test]
fn the_true_time_stands_in_the_metadata() {
    let plain = frame(1000.0, 1);
    let named = |exposure, apex| {
        let folder = Folder::new();
        let mut dng = plain.clone();
        (dng.exposure, dng.apex) = (exposure, apex);
        folder.put("lights/a.dng", &dng.bytes());
        let set = folder.read();
        let said = set.inventory.caveats.iter().any(|caveat| caveat.code == "nominal-times");
        (set.inventory.frames().next().unwrap().exposure.0, said)
    };
    assert_eq!(named((30, 1), Some((-5, 1))), (32.0, false));
    assert_eq!(named((1, 60), Some((6, 1))), (1.0 / 64.0, false));
    // No time value, or one computed from the name: the ladder, and a word about it.
    assert_eq!(named((30, 1), None), (32.0, true));
    assert_eq!(named((30, 1), Some((-4_906_891, 1_000_000))), (32.0, true));
    // Timed by hand.
    assert_eq!(named((121, 1), None), (121.0, false));
}

#[test]
fn a_body_temperature_is_taken_with_a_word_and_zero_is_none() {
    let plain = frame(0.0, 1);
    let dark = |celsius| {
        let folder = Folder::new();
        let mut dng = plain.clone();
        (dng.air_c, dng.exposure) = (celsius, (60, 1));
        folder.put("darks/a.dng", &dng.bytes());
        let set = folder.read();
        let codes: Vec<String> = set.inventory.caveats.iter().map(|caveat| caveat.code.to_string()).collect();
        (set.inventory.frames().next().unwrap().sensor, codes)
    };
    assert_eq!(dark(Some(17)), (Some(Celsius(17.0)), vec!["body-temperature".to_owned()]));
    for missing in [None, Some(0), Some(-1000), Some(999)] {
        assert_eq!(dark(missing), (None, vec!["temperature-missing".to_owned()]));
    }
}
