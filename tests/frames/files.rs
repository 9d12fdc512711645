//! Frames from disk: what is read, what is refused and why, and how frames fall into groups.
//!
//! All frames are made here, by hand or with the FITS library; all header contents are invented.
#![cfg(feature = "cli")]

use std::fs;
use std::io::Write;
use std::path::Path;

use fitsio::FitsFile;
use fitsio::images::{ImageDescription, ImageType};
use subwell::files::{FrameSet, read_frame, read_headers, write_whole};
use subwell::frames::{Cards, FrameKind, Header, Inventory, Seen};
use subwell::units::{Celsius, Micrometres, Seconds};

use crate::support::folder::Folder;
use crate::support::program::{decoder, real_frames};

const WIDTH: usize = 40;
const HEIGHT: usize = 36;

/// Counts that differ from each other and scatter like noise around `level`.
fn counts(level: u16, seed: u64) -> Vec<u16> {
    let mut state = seed.wrapping_mul(2).wrapping_add(1);
    let mut next = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 60) as u16
    };
    (0..WIDTH * HEIGHT).map(|_| level + next()).collect()
}

fn header(cards: &[&str]) -> Vec<u8> {
    let mut bytes: Vec<u8> = cards.iter().chain(&["END"]).flat_map(|card| format!("{card:<80}").into_bytes()).collect();
    bytes.resize(bytes.len().next_multiple_of(2880), b' ');
    bytes
}

fn with_data(mut bytes: Vec<u8>, data: impl IntoIterator<Item = u8>) -> Vec<u8> {
    bytes.extend(data);
    bytes.resize(bytes.len().next_multiple_of(2880), 0);
    bytes
}

/// A primary image of WIDTH x HEIGHT.
fn primary(bits: i32, more: &[&str], data: impl IntoIterator<Item = u8>) -> Vec<u8> {
    let bits = format!("BITPIX  = {bits:>20}");
    let (width, height) = (format!("NAXIS1  = {WIDTH:>20}"), format!("NAXIS2  = {HEIGHT:>20}"));
    let mut cards = vec!["SIMPLE  =                    T", &bits, "NAXIS   =                    2", &width, &height];
    cards.extend(more);
    with_data(header(&cards), data)
}

/// Unsigned 16-bit counts as cameras write them.
fn unsigned(pixels: &[u16], more: &[&str]) -> Vec<u8> {
    let mut cards = vec!["BZERO   =              32768.0", "BSCALE  =           1.0000E+00"];
    cards.extend(more);
    primary(16, &cards, pixels.iter().flat_map(|count| count.wrapping_sub(32768).to_be_bytes()))
}

const DARK: [&str; 2] = ["IMAGETYP= 'Dark Frame'", "EXPTIME = 30.0"];

fn tile_compressed(path: &Path, method: &str, pixels: &[u16]) {
    let mut file = FitsFile::create(format!("{}[compress {method}]", path.display())).open().unwrap();
    let description = ImageDescription { data_type: ImageType::UnsignedShort, dimensions: &[HEIGHT, WIDTH] };
    let hdu = file.create_image("FRAME", &description).unwrap();
    hdu.write_image(&mut file, pixels).unwrap();
    hdu.write_key(&mut file, "IMAGETYP", "Dark Frame").unwrap();
    hdu.write_key(&mut file, "EXPTIME", 30.0).unwrap();
}

fn gzipped(bytes: &[u8]) -> Vec<u8> {
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    packed.write_all(bytes).unwrap();
    packed.finish().unwrap()
}

/// The one frame of a folder, read whole.
fn only_frame(folder: &Folder) -> Vec<u16> {
    let set = folder.read();
    let frames: Vec<_> = set.inventory.frames().collect();
    assert_eq!(frames.len(), 1, "{:?}", set.rejected());
    assert_eq!((frames[0].kind, frames[0].exposure), (FrameKind::Dark, Seconds(30.0)));
    let frame = set.read(frames[0], &decoder()).unwrap();
    assert_eq!(frame.pixels.dim(), (HEIGHT, WIDTH));
    frame.pixels.into_raw_vec_and_offset().0
}

#[test]
fn every_way_of_storing_counts_gives_the_same_counts() {
    let pixels = counts(40_000, 1);
    let small: Vec<u16> = counts(100, 2);
    let cases: [(&str, Vec<u8>, &[u16]); 6] = [
        ("u16.fits", unsigned(&pixels, &DARK), &pixels),
        ("i16.FTS", primary(16, &DARK, small.iter().flat_map(|count| count.to_be_bytes())), &small),
        ("i32.fits", primary(32, &DARK, pixels.iter().flat_map(|count| u32::from(*count).to_be_bytes())), &pixels),
        ("f32.fits", primary(-32, &DARK, pixels.iter().flat_map(|count| f32::from(*count).to_be_bytes())), &pixels),
        ("f64.fits", primary(-64, &DARK, pixels.iter().flat_map(|count| f64::from(*count).to_be_bytes())), &pixels),
        ("frame.fits.gz", gzipped(&unsigned(&pixels, &DARK)), &pixels),
    ];
    for (name, bytes, pixels) in cases {
        let folder = Folder::new();
        folder.put(name, &bytes);
        assert_eq!(only_frame(&folder), pixels, "{name}");
    }
}

#[test]
fn an_image_in_an_extension_is_found() {
    let pixels = counts(900, 3);
    let folder = Folder::new();
    let mut file = FitsFile::create(folder.path().join("extension.fits")).open().unwrap();
    let description = ImageDescription { data_type: ImageType::UnsignedShort, dimensions: &[HEIGHT, WIDTH] };
    let hdu = file.create_image("FRAME", &description).unwrap();
    hdu.write_image(&mut file, &pixels).unwrap();
    let primary = file.primary_hdu().unwrap();
    primary.write_key(&mut file, "IMAGETYP", "DARK").unwrap();
    primary.write_key(&mut file, "EXPTIME", 30.0).unwrap();
    drop(file);
    assert_eq!(only_frame(&folder), pixels);
}

#[test]
fn lossless_tile_compression_is_exact() {
    for method in ["R", "G", "P", "HS"] {
        let level = if method == "P" { 900 } else { 40_000 };
        let pixels = counts(level, 4);
        let folder = Folder::new();
        tile_compressed(&folder.path().join("tiles.fits.fz"), method, &pixels);
        let bytes = fs::read(folder.path().join("tiles.fits.fz")).unwrap();
        assert!(bytes.windows(6).any(|word| word == b"ZIMAGE"), "{method} did not compress");
        assert_eq!(only_frame(&folder), pixels, "{method}");
    }
}

#[test]
fn a_compressed_file_may_be_gzipped_and_names_may_hold_commands() {
    let pixels = counts(500, 5);
    let folder = Folder::new();
    let tiles = Folder::new();
    tile_compressed(&tiles.path().join("t.fz"), "R", &pixels);
    folder.put("night [gain 120]/x(2)+3.gz", &gzipped(&fs::read(tiles.path().join("t.fz")).unwrap()));
    assert_eq!(only_frame(&folder), pixels);
    let folder = Folder::new();
    folder.put("night [gain 120]/x(2).fits+3", &unsigned(&pixels, &DARK));
    assert_eq!(only_frame(&folder), pixels);
}

#[test]
fn what_is_no_raw_frame_is_refused_with_the_reason() {
    let zeros = || vec![0_u8; WIDTH * HEIGHT * 8];
    let float = |value: f32| primary(-32, &DARK, (0..WIDTH * HEIGHT).flat_map(move |_| value.to_be_bytes()));
    let planes = header(&[
        "SIMPLE  = T",
        "BITPIX  = 16",
        "NAXIS   = 3",
        "NAXIS1  = 40",
        "NAXIS2  = 36",
        "NAXIS3  = 3",
        "BAYERPAT= 'RGGB'",
    ]);
    let master = ["IMAGETYP= 'Master Dark'", "EXPTIME = 30"];
    let cases: Vec<(&str, Vec<u8>, &str)> = vec![
        ("fraction.fits", float(0.5), "fractional"),
        ("nan.fits", float(f32::NAN), "NaN"),
        ("large.fits", float(70_000.0), "outside"),
        ("negative.fits", primary(16, &DARK, (0..WIDTH * HEIGHT).flat_map(|_| (-5_i16).to_be_bytes())), "below 0"),
        ("wide.fits", primary(32, &DARK, (0..WIDTH * HEIGHT).flat_map(|_| 70_000_i32.to_be_bytes())), "above 65535"),
        ("scaled.fits", primary(8, &["BSCALE  = 0.5"], zeros()), "rescaled"),
        ("planes.fits", with_data(planes, zeros()), "3 planes"),
        ("master.fits", unsigned(&counts(1000, 1), &master), "Master Dark"),
        ("stack.fits", unsigned(&counts(1000, 1), &["IMAGETYP= 'LIGHT'", "STACKCNT= 187"]), "stack of 187"),
        ("masterDark_30s.fits", unsigned(&counts(1000, 1), &[]), "name"),
        ("eight.fits", primary(8, &DARK, counts(100, 2).iter().map(|count| *count as u8)), "8 bits"),
        ("done.fits", unsigned(&counts(1000, 1), &["CALSTAT = 'BD'"]), "calibrated"),
    ];
    for (name, bytes, word) in cases {
        let folder = Folder::new();
        folder.put(name, &bytes);
        let (code, reason) = folder.only_rejected();
        assert_eq!(code, "not-raw", "{name}: {reason}");
        assert!(reason.contains(word), "{name}: {reason}");
    }
}

#[test]
fn lossy_compression_is_refused() {
    let folder = Folder::new();
    let path = folder.path().join("lossy.fits");
    let mut file = FitsFile::create(format!("{}[compress R; q 4]", path.display())).open().unwrap();
    let description = ImageDescription { data_type: ImageType::Float, dimensions: &[HEIGHT, WIDTH] };
    let hdu = file.create_image("FRAME", &description).unwrap();
    let pixels: Vec<f32> = counts(1000, 6).into_iter().map(f32::from).collect();
    hdu.write_image(&mut file, &pixels).unwrap();
    drop(file);
    let (code, reason) = folder.only_rejected();
    assert_eq!(code, "not-raw");
    assert!(reason.contains("lossy"), "{reason}");
}

#[test]
fn files_that_are_no_frames_or_are_damaged_are_listed_with_the_reason() {
    let whole = unsigned(&counts(1000, 1), &DARK);
    let axis = |length: &str| {
        let mut bytes = whole.clone();
        bytes[240..320].copy_from_slice(format!("{:<80}", format!("NAXIS1  = {length:>20}")).as_bytes());
        bytes
    };
    let packed = gzipped(&whole);
    let cases: Vec<(&str, Vec<u8>, &str, &str)> = vec![
        ("empty.fits", Vec::new(), "unreadable", "empty"),
        ("notes.txt", b"clear night\n".to_vec(), "not-an-image", "text"),
        ("dark_1.fits", b"not a frame at all".to_vec(), "not-an-image", "text"),
        ("cut.fits", whole[..4000].to_vec(), "unreadable", "cut off"),
        ("cut_header.fits", whole[..500].to_vec(), "unreadable", "inside its header"),
        ("huge.fits", axis("9000000000000"), "over-limit", "megapixels"),
        ("negative.fits", axis("-40"), "unreadable", "NAXIS1 = -40"),
        ("cut.fits.gz", packed[..packed.len() / 2].to_vec(), "unreadable", "gzip"),
        ("archive.gz", gzipped(b"something else"), "not-an-image", "text"),
        ("raw.nef", vec![0, 1, 2, 3], "unreadable", "camera raw"),
        ("blob.bin", vec![0, 200, 2, 3], "not-an-image", "not a FITS file"),
    ];
    for (name, bytes, code, word) in cases {
        let folder = Folder::new();
        folder.put(name, &bytes);
        let (found, reason) = folder.only_rejected();
        assert_eq!(found, code, "{name}: {reason}");
        assert!(reason.contains(word), "{name}: {reason}");
    }
    let folder = Folder::new();
    folder.put("night.toml", b"[camera]");
    folder.put(".hidden.fits", b"x");
    folder.put(".cache/x.fits", b"x");
    assert!(folder.read().rejected().is_empty());
    assert!(read_headers(Path::new("no/such/folder"), &decoder()).is_err());
}

/// Changed bytes anywhere in a compressed file may crash the C library; the reader goes on and names the file.
#[test]
fn damaged_compressed_files_cost_only_themselves() {
    let folder = Folder::new();
    let pixels = counts(1000, 7);
    tile_compressed(&folder.path().join("good.fits"), "R", &pixels);
    let whole = fs::read(folder.path().join("good.fits")).unwrap();
    let mut state = 12_345_u64;
    let mut next = |below: usize| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((state >> 33) as usize) % below
    };
    for seed in 0..60 {
        let mut bytes = whole.clone();
        // The header of the table, its rows, or the compressed pixels behind them.
        let rows = whole.len() - 2880;
        let (from, to) =
            [(2880, 2880 + 80 * 28), (rows, rows + 8 * HEIGHT), (rows + 8 * HEIGHT, whole.len())][seed % 3];
        for _ in 0..1 + seed {
            bytes[from + next(to - from)] = b"0123456789 -'TP\xff"[next(16)];
        }
        folder.put(&format!("bad_{seed:02}.fits"), &bytes);
    }
    let decoder = decoder();
    let set = read_headers(folder.path(), &decoder).unwrap();
    assert!(!set.rejected().is_empty());
    let mut refused = 0;
    let infos: Vec<_> = set.inventory.frames().cloned().collect();
    for info in &infos {
        match set.read(info, &decoder) {
            Ok(frame) if info.file == "good.fits" => assert_eq!(frame.pixels.into_raw_vec_and_offset().0, pixels),
            Ok(_) => {}
            Err(error) => {
                assert!(error.to_string().contains(&info.file), "{error}");
                refused += 1;
            }
        }
    }
    assert!(infos.iter().any(|info| info.file == "good.fits"));
    eprintln!("{} rejected at first look, {refused} when read whole", set.rejected().len());
}

#[test]
fn frames_can_be_read_on_two_threads_with_one_decoder() {
    let folder = Folder::new();
    for seed in 0..6 {
        tile_compressed(&folder.path().join(format!("d{seed}.fits")), "R", &counts(1000, seed));
    }
    let (set, decoder) = (folder.read(), decoder());
    let infos: Vec<_> = set.inventory.frames().collect();
    assert_eq!(infos.len(), 6);
    std::thread::scope(|scope| {
        for half in [0, 1] {
            let (set, decoder, infos) = (&set, &decoder, &infos);
            scope.spawn(move || {
                for info in infos.iter().skip(half).step_by(2) {
                    let frame = set.read(info, decoder).unwrap();
                    let seed = info.file[1..2].parse().unwrap();
                    assert_eq!(frame.pixels.into_raw_vec_and_offset().0, counts(1000, seed));
                }
            });
        }
    });
}

#[test]
fn a_frame_that_changed_size_is_an_error() {
    let folder = Folder::new();
    folder.put("d.fits", &unsigned(&counts(1000, 1), &DARK));
    let set = folder.read();
    let mut info = set.inventory.frames().next().unwrap().clone();
    info.width += 1;
    let error = read_frame(&folder.path().join("d.fits"), &info, &decoder()).unwrap_err();
    assert!(error.to_string().contains("its header said"), "{error}");
}

#[test]
fn links_in_circles_are_told_and_left() {
    let folder = Folder::new();
    folder.put("a/d.fits", &unsigned(&counts(1000, 1), &DARK));
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(folder.path(), folder.path().join("a/back")).unwrap();
        let set = folder.read();
        assert_eq!(set.inventory.frames().count(), 1);
        assert!(set.rejected()[0].reason.contains("link back"));
        // A link to a disk that is gone.
        std::os::unix::fs::symlink("/media/gone/dark.fits", folder.path().join("a/lost.fits")).unwrap();
        let set = folder.read();
        let lost = set.rejected().iter().find(|file| file.file.ends_with("lost.fits")).unwrap();
        assert!(lost.reason.starts_with("a link to a file or folder that is not there"), "{}", lost.reason);
    }
}

#[test]
fn a_file_is_written_whole_and_never_over_another_unless_forced() {
    let folder = Folder::new();
    let path = folder.path().join("camera.toml");
    write_whole(&path, b"one", false).unwrap();
    let error = write_whole(&path, b"two", false).unwrap_err();
    assert!(error.to_string().ends_with("exists already") && error.hint().contains("--force"));
    assert_eq!(fs::read(&path).unwrap(), b"one");
    write_whole(&path, b"two", true).unwrap();
    assert_eq!(fs::read(&path).unwrap(), b"two");
    assert!(write_whole(&folder.path().join("no/folder.toml"), b"", true).is_err());
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "no temporary file is left");
}

/// One header in one dialect, and what it means.
struct Dialect {
    name: &'static str,
    lines: &'static str,
    kind: Option<FrameKind>,
    exposure: Option<f64>,
    sensor: Option<f64>,
    gain: Option<f64>,
    binning: Option<[u32; 2]>,
}

#[test]
fn header_dialects_are_understood() {
    let dialects = [
        Dialect {
            name: "cooled camera under a common control program",
            lines: "IMAGETYP= 'LIGHT   '\nEXPTIME = 120.0 / [s] exposure\nCCD-TEMP= -9.9\nSET-TEMP= -10\nGAIN    = 120\nOFFSET  = 8\nXBINNING= 1\nYBINNING= 1\nXPIXSZ  = 3.8",
            kind: Some(FrameKind::Light),
            exposure: Some(120.0),
            sensor: Some(-9.9),
            gain: Some(120.0),
            binning: Some([1, 1]),
        },
        Dialect {
            name: "driver framework that writes FRAME only",
            lines: "FRAME   = 'Dark    '\nEXPTIME = 3.000E+01\nCCD-TEMP= -1.0000000E+01\nISOSPEED= 'ISO 800'",
            kind: Some(FrameKind::Dark),
            exposure: Some(30.0),
            sensor: Some(-10.0),
            gain: Some(800.0),
            binning: None,
        },
        Dialect {
            name: "older driver with milliseconds",
            lines: "IMAGETYP= 'Flat Field'\nEXPOSURE= 1500 / exposure in milliseconds\nCCDTEMP = '-2.04E+001'\nBINNING = '2*2'",
            kind: Some(FrameKind::Flat),
            exposure: Some(1.5),
            sensor: Some(-20.4),
            gain: None,
            binning: Some([2, 2]),
        },
        Dialect {
            name: "planetary driver with microseconds and tenths of dB",
            lines: "EXPOINUS= 20000\nGAINRAW = 250\nTEMPERAT= 31.5",
            kind: None,
            exposure: Some(0.02),
            sensor: Some(31.5),
            gain: Some(250.0),
            binning: None,
        },
        Dialect {
            name: "decimal commas in strings",
            lines: "imagetyp= 'offset'\nexptime = ' 9,78E-03'\nccd-temp= '12,5'",
            kind: Some(FrameKind::Bias),
            exposure: Some(0.00978),
            sensor: Some(12.5),
            gain: None,
            binning: None,
        },
        Dialect {
            name: "observatory with HIERARCH and kelvin",
            lines: "HIERARCH ESO DPR TYPE = 'FLAT,SKY'\nEXPTIME = 4.5\nDETTEMP1= 253.15\nGAIN    = 0.9 / e-/ADU\nCCDXBIN = 1\nCCDYBIN = 2",
            kind: Some(FrameKind::Flat),
            exposure: Some(4.5),
            sensor: Some(-20.0),
            gain: None,
            binning: Some([1, 2]),
        },
        Dialect {
            name: "kind in the target's place, unknown temperature",
            lines: "OBJECT  = 'bias 1x2'\nEXPTIME = 0\nCCD-TEMP= -273.15\nBINNING = '(1 x 2)'",
            kind: Some(FrameKind::Bias),
            exposure: Some(0.0),
            sensor: None,
            gain: None,
            binning: Some([1, 2]),
        },
        Dialect {
            name: "small telescope with its own words",
            lines: "OBSTYPE = 'DARKFLAT'\nEXP     = 10.0\nDET-TEMP= 999\nGAIN    = '80'",
            kind: Some(FrameKind::DarkFlat),
            exposure: Some(10.0),
            sensor: None,
            gain: Some(80.0),
            binning: None,
        },
        Dialect {
            name: "first kind word is no kind",
            lines: "FRAME   = 'full'\nPICTTYPE= 'flat_dark'\nEXP-TIME= 2\nCAMTEMP = 5",
            kind: Some(FrameKind::DarkFlat),
            exposure: Some(2.0),
            sensor: Some(5.0),
            gain: None,
            binning: None,
        },
        Dialect {
            name: "set point alone",
            lines: "IMAGETYP= 'Zero'\nEXPTIME = 0.001\nSET-TEMP= -15.0\nBINX    = 1",
            kind: Some(FrameKind::Bias),
            exposure: Some(0.001),
            sensor: None,
            gain: None,
            binning: Some([1, 1]),
        },
    ];
    const ROUNDING_C: f64 = 1e-9; // kelvin to Celsius is a subtraction
    for Dialect { name, lines, kind, exposure, sensor, gain, binning } in dialects {
        let header = Header::from_cards(&Cards::from_lines(lines));
        assert_eq!(header.kind.map(|(kind, _)| kind), kind, "{name}");
        assert_eq!(header.exposure, exposure.map(Seconds), "{name}");
        let off = header.sensor.zip(sensor).map_or(0.0, |(found, is)| (found.0 - is).abs());
        assert!(header.sensor.is_some() == sensor.is_some() && off < ROUNDING_C, "{name}: {:?}", header.sensor);
        assert_eq!((header.gain_setting, header.binning), (gain, binning), "{name}");
    }
    let header = Header::from_cards(&Cards::from_lines(
        "PIX-SIZ = '9 microns square'\nDATE-OBS= '2024/04/12'\nTIME-OBS= '20:11:02.5'\nINSTRUME= '   '\nHEAD    = 'Some  Camera'",
    ));
    assert_eq!(header.pixel, Some(Micrometres(9.0)));
    assert_eq!(header.taken.as_deref(), Some("2024-04-12T20:11:02.5"));
    assert_eq!(header.camera.as_deref(), Some("Some Camera"));
}

fn seen(file: &str, lines: &str) -> Seen {
    Seen { file: file.into(), cards: Cards::from_lines(lines), width: 10, height: 10, strip_statistics: None }
}

fn glanced(file: &str, lines: &str, level: u16, seed: u64) -> Seen {
    Seen {
        strip_statistics: subwell::frames::StripStatistics::from_strip(&counts(level, seed), WIDTH),
        ..seen(file, lines)
    }
}

fn inventory(seen: Vec<Seen>) -> Inventory {
    Inventory::new(seen, &[], "", Vec::new())
}

#[test]
fn frames_fall_into_groups_by_mode_kind_temperature_and_exposure() {
    let dark = |file: &str, gain: u32, exposure: &str, temperature: f64| {
        seen(file, &format!("IMAGETYP= 'Dark'\nGAIN = {gain}\nEXPTIME = {exposure}\nCCD-TEMP= {temperature}"))
    };
    let inventory = inventory(vec![
        dark("d10.fits", 0, "60.0", -9.5),
        dark("d9.fits", 0, "60.00001", -10.5),
        dark("e.fits", 0, "60.1", -10.0),
        dark("f.fits", 0, "60.0", -7.0),
        dark("g.fits", 100, "60.0", -10.0),
    ]);
    let groups: Vec<(f64, f64, Vec<&str>)> = (inventory.groups.iter())
        .map(|group| {
            (group.exposure.0, group.sensor.unwrap().0, group.frames.iter().map(|f| f.file.as_str()).collect())
        })
        .collect();
    assert_eq!(
        groups,
        [
            (60.0, -10.0, vec!["d9.fits", "d10.fits"]),
            (60.1, -10.0, vec!["e.fits"]),
            (60.0, -7.0, vec!["f.fits"]),
            (60.0, -10.0, vec!["g.fits"]),
        ]
    );
    assert_eq!(
        inventory.modes().map(|(mode, groups)| (mode.gain_setting, groups.len())).collect::<Vec<_>>(),
        [(Some(0.0), 3), (Some(100.0), 1),]
    );
}

#[test]
fn settled_frames_belong_to_their_set_point_others_to_gaps() {
    let dark = |file: &str, temperature: f64, set: f64| {
        seen(file, &format!("IMAGETYP= 'Dark'\nEXPTIME = 60\nCCD-TEMP= {temperature}\nSET-TEMP= {set}"))
    };
    let inventory = inventory(vec![
        dark("a.fits", -9.0, -10.0),
        dark("b.fits", -10.4, -10.0),
        // Within 2 degrees of the others, but told another temperature.
        dark("c.fits", -10.6, -12.0),
        // The cooler was off.
        dark("d.fits", 18.0, -10.0),
        // The header forgot the set point.
        seen("e.fits", "IMAGETYP= 'Dark'\nEXPTIME = 60\nCCD-TEMP= -9.6"),
    ]);
    let files: Vec<Vec<&str>> =
        inventory.groups.iter().map(|group| group.frames.iter().map(|frame| frame.file.as_str()).collect()).collect();
    assert_eq!(files, [vec!["c.fits"], vec!["a.fits", "b.fits", "e.fits"], vec!["d.fits"]]);
    assert_eq!(inventory.groups[1].temperature, Some(Celsius(-10.0)));
    assert!(inventory.caveats.iter().any(|caveat| caveat.code == "temperature-unsettled"));
}

#[test]
fn frames_are_ordered_by_time_when_all_have_one() {
    let bias = |file: &str, time: &str| seen(file, &format!("IMAGETYP= 'Bias'\n{time}"));
    let order =
        |frames: Vec<Seen>| -> Vec<String> { inventory(frames).frames().map(|frame| frame.file.clone()).collect() };
    let timed =
        vec![bias("1.fits", "DATE-OBS= '2024-01-01T22:00:02'"), bias("2.fits", "DATE-OBS= '2024-01-01T22:00:01.5'")];
    assert_eq!(order(timed), ["2.fits", "1.fits"]);
    let partly = vec![bias("10.fits", "DATE-OBS= '2024-01-01T22:00:02'"), bias("2.fits", "")];
    assert_eq!(order(partly), ["2.fits", "10.fits"]);
}

#[test]
fn header_and_folder_that_disagree_are_both_named() {
    let inventory = inventory(vec![
        seen("flats/a.fits", "IMAGETYP= 'Light'\nEXPTIME = 1"),
        seen("flats/b.fits", "IMAGETYP= 'Light'\nEXPTIME = 1"),
        seen("darkflats/c.fits", "IMAGETYP= 'Dark'\nEXPTIME = 1\nCCD-TEMP= 1"),
        seen("x/d.fits", "EXPTIME = 1"),
    ]);
    let conflicts: Vec<_> = inventory.caveats.iter().filter(|caveat| caveat.code == "conflicting-kind").collect();
    assert_eq!(conflicts.len(), 1, "{conflicts:?}");
    assert_eq!(
        conflicts[0].message,
        "the header IMAGETYP = 'Light' says light, the folder `flats` says flat: the header was believed"
    );
    assert_eq!(conflicts[0].about, "flats/a.fits and 1 more");
    assert_eq!(inventory.groups[0].kind, FrameKind::DarkFlat);
    assert_eq!(
        (inventory.rejected[0].file.as_str(), inventory.rejected[0].code.as_str()),
        ("x/d.fits", "unknown-kind")
    );
}

#[test]
fn pixels_may_veto_what_header_or_folder_say() {
    let mut frames: Vec<Seen> = (0..4).map(|n| glanced(&format!("bias/{n}.fits"), "", 500, n)).collect();
    frames.extend((0..3).map(|n| glanced(&format!("flat/{n}.fits"), "EXPTIME = 1", 20_000, n)));
    frames.extend((0..3).map(|n| glanced(&format!("dark/{n}.fits"), "EXPTIME = 60", 505, n)));
    let sound = inventory(frames.clone());
    assert!(sound.rejected.is_empty() && !sound.caveats.iter().any(|caveat| caveat.code == "conflicting-kind"));
    frames.push(glanced("flat/dark one.fits", "EXPTIME = 1", 500, 9));
    frames.push(glanced("bias/bright.fits", "", 20_000, 9));
    frames.push(glanced("dark/bright.fits", "EXPTIME = 60", 20_000, 9));
    let inventory = inventory(frames);
    let files: Vec<&str> = inventory.rejected.iter().map(|rejected| rejected.file.as_str()).collect();
    assert_eq!(files, ["bias/bright.fits", "dark/bright.fits", "flat/dark one.fits"]);
    assert!(inventory.rejected[0].reason.contains("evenly lit, as a flat is"), "{}", inventory.rejected[0].reason);
    assert_eq!(inventory.caveats.iter().filter(|caveat| caveat.code == "conflicting-kind").count(), 3);
}

fn left_out(inventory: &Inventory) -> Vec<&str> {
    inventory.rejected.iter().map(|rejected| rejected.file.as_str()).collect()
}

/// Whatever the header says: a dark is no brighter than longer ones, a bias no brighter than its like.
#[test]
fn flats_that_are_stamped_dark_or_bias_are_left_out() {
    let dark = |file: &str, exposure: f64, level: u16, seed: u64| {
        glanced(file, &format!("IMAGETYP= 'Dark'\nEXPTIME = {exposure}\nCCD-TEMP= -10"), level, seed)
    };
    let sound = || {
        let mut frames: Vec<Seen> =
            (0..6).map(|n| glanced(&format!("b{n}.fits"), "IMAGETYP= 'Bias'\nEXPTIME = 0", 500, n)).collect();
        for (exposure, level) in [(60.0, 504), (300.0, 520), (600.0, 540)] {
            frames.extend((0..3).map(|n| dark(&format!("d{exposure}_{n}.fits"), exposure, level, n)));
        }
        frames
    };
    assert!(inventory(sound()).rejected.is_empty());
    let with = |more: Vec<Seen>| inventory(sound().into_iter().chain(more).collect());
    // Two flats of 1 s among darks: no other dark has their time.
    let short = with(vec![dark("f1.fits", 1.0, 9000, 5), dark("f2.fits", 1.0, 9100, 6)]);
    assert_eq!(left_out(&short), ["f1.fits", "f2.fits"]);
    assert!(short.rejected[0].reason.contains("longer ones at"), "{}", short.rejected[0].reason);
    // Longer than all darks.
    let long = with(vec![dark("f1.fits", 1200.0, 30_000, 5), dark("f2.fits", 1200.0, 31_000, 6)]);
    assert_eq!(left_out(&long), ["f1.fits", "f2.fits"]);
    // A true dark of 1200 s is kept, and so is a true short one.
    assert!(with(vec![dark("d.fits", 1200.0, 580, 5), dark("e.fits", 1.0, 500, 5)]).rejected.is_empty());
    // A flat that calls itself bias, with an exposure of its own.
    let bias = with(vec![glanced("f.fits", "IMAGETYP= 'Bias'\nEXPTIME = 0.5", 9000, 7)]);
    assert_eq!(left_out(&bias), ["f.fits"]);
}

#[test]
fn a_bias_that_was_not_read_out_and_biases_of_another_gain_are_left_out() {
    let bias = |n: u64| glanced(&format!("bias/{n}.fits"), "GAIN    = 100", 500, n);
    let mut frames: Vec<Seen> = (0..6).map(bias).collect();
    frames.push(Seen {
        strip_statistics: subwell::frames::StripStatistics::from_strip(&[0; WIDTH * HEIGHT], WIDTH),
        ..seen("bias/empty.fits", "GAIN    = 100")
    });
    assert_eq!(left_out(&inventory(frames)), ["bias/empty.fits"]);
    // Noise of 16 codes, and of 24.
    let louder = |n: u64| {
        let counts: Vec<u16> = counts(0, 50 + n).into_iter().map(|count| 492 + count * 3 / 2).collect();
        Seen {
            strip_statistics: subwell::frames::StripStatistics::from_strip(&counts, WIDTH),
            ..seen(&format!("bias/other{n}.fits"), "GAIN    = 100")
        }
    };
    let mixed = inventory((0..8).map(bias).chain((0..5).map(louder)).collect());
    assert_eq!(
        left_out(&mixed),
        ["bias/other0.fits", "bias/other1.fits", "bias/other2.fits", "bias/other3.fits", "bias/other4.fits"]
    );
    assert!(mixed.rejected[0].reason.contains("another gain setting"), "{}", mixed.rejected[0].reason);
    assert!(inventory((0..14).map(bias).collect()).rejected.is_empty());
    // Where no header states a gain nobody knows which of the two the other frames are of: all are asked about.
    let silent = |seen: Seen| Seen { cards: Cards::default(), ..seen };
    let asked = inventory((0..8).map(bias).chain((0..5).map(louder)).map(silent).collect());
    assert_eq!(asked.rejected.len(), 13);
    assert!(asked.rejected.iter().all(|file| file.code == "unknown-gain"), "{:?}", asked.rejected);
}

#[test]
fn evenly_lit_lights_in_a_set_without_flats_are_named() {
    let mut frames: Vec<Seen> = (0..4).map(|n| glanced(&format!("bias/{n}.fits"), "", 500, n)).collect();
    frames.extend((0..4).map(|n| glanced(&format!("x/{n}.fits"), "IMAGETYP= 'Light Frame'\nEXPTIME = 1", 20_000, n)));
    let inventory = inventory(frames);
    let said = inventory.caveats.iter().find(|caveat| caveat.code == "lights-for-flats").expect("a word");
    assert!(said.message.contains("4 evenly lit frames") && said.hint.contains("sidecar.csv"), "{said:?}");
}

/// A pair of flats is a pair, 3 K apart or one header without a temperature; two pairs far apart are two.
#[test]
fn flats_are_not_parted_by_their_temperature() {
    let flat = |file: &str, celsius: Option<f64>| {
        let card = celsius.map_or_else(String::new, |celsius| format!("\nCCD-TEMP= {celsius}"));
        seen(file, &format!("IMAGETYP= 'Flat'\nEXPTIME = 1{card}"))
    };
    let counts =
        |frames: Vec<Seen>| -> Vec<usize> { inventory(frames).groups.iter().map(|g| g.frames.len()).collect() };
    assert_eq!(counts(vec![flat("a", Some(1.0)), flat("b", Some(4.0))]), [2]);
    assert_eq!(counts(vec![flat("a", Some(1.0)), flat("b", None)]), [2]);
    assert_eq!(counts(vec![flat("a", Some(-10.0)), flat("b", Some(15.0))]), [2]);
    let two = |celsius: f64, name: &str| (0..2).map(|n| flat(&format!("{name}{n}"), Some(celsius))).collect::<Vec<_>>();
    assert_eq!(counts([two(-10.0, "a"), two(15.0, "b")].concat()), [2, 2]);
}

#[test]
fn upside_down_frames_are_left_out() {
    let bias = |file: &str, order: &str| seen(file, &format!("IMAGETYP= 'Bias'\nROWORDER= '{order}'"));
    let inventory = inventory(vec![bias("a", "TOP-DOWN"), bias("b", "BOTTOM-UP"), bias("c", "TOP-DOWN")]);
    assert_eq!(inventory.frames().count(), 2);
    assert_eq!((inventory.rejected[0].file.as_str(), inventory.rejected[0].code.as_str()), ("b", "row-order"));
}

#[test]
fn what_a_measurement_lacks_is_said() {
    let lacks = |frames: Vec<Seen>, word: &str| {
        let missing = inventory(frames).missing;
        assert!(missing.iter().any(|line| line.contains(word)), "{missing:?} says nothing of {word}");
    };
    lacks(vec![], "no frames");
    lacks(vec![seen("bias/1.fits", "")], "no flat frames");
    lacks(vec![seen("bias/1.fits", "")], "no dark frames");
    lacks(vec![seen("bias/1.fits", "")], "read noise needs a pair");
    lacks(vec![seen("flat/1.fits", "EXPTIME = 1")], "no flat pairs");
    lacks(vec![seen("dark/1.fits", "EXPTIME = 1")], "one exposure");
}

#[test]
fn a_sidecar_overrides_headers() {
    let folder = Folder::new();
    folder.put("set/a.fits", &unsigned(&counts(1000, 1), &["IMAGETYP= 'Light'", "EXPTIME = 1", "CCD-TEMP= 999"]));
    folder.put("set/sidecar.csv", b"file,kind,exposure_s,sensor_c,gain_setting\na.fits,dark,30,-4.5,\nb.fits,,,,7\n");
    let set = folder.read();
    let info = set.inventory.frames().next().unwrap();
    assert_eq!((info.kind, info.exposure, info.sensor), (FrameKind::Dark, Seconds(30.0), Some(Celsius(-4.5))));
    assert_eq!((info.gain_setting, info.why.as_str()), (None, "sidecar.csv"));
    assert!(
        set.inventory.caveats.iter().any(|caveat| caveat.code == "sidecar-unmatched" && caveat.about == "set/b.fits")
    );
    folder.put("set/sidecar.csv", b"file,temperature\na.fits,1\n");
    assert!(read_headers(folder.path(), &decoder()).unwrap_err().to_string().contains("unknown column"));
}

#[test]
fn the_inventory_becomes_the_json_that_is_promised() {
    let inventory = inventory(vec![seen("dark/1.fits", "EXPTIME = 2\nINSTRUME= 'Cam'\nGAIN = 40\nCCD-TEMP= -10")]);
    let json = serde_json::to_value(&inventory).unwrap();
    let group = &json["groups"][0];
    for (key, value) in [
        ("kind", serde_json::json!("dark")),
        ("why", serde_json::json!("folder `dark`")),
        ("camera", serde_json::json!("Cam")),
        ("gain_setting", serde_json::json!(40.0)),
        ("exposure_s", serde_json::json!(2.0)),
        ("sensor_c", serde_json::json!(-10.0)),
        ("count", serde_json::json!(1)),
        ("files", serde_json::json!(["dark/1.fits"])),
    ] {
        assert_eq!(group[key], value, "{key}");
    }
    assert!(json["rejected"].is_array() && json["missing"].is_array() && json["caveats"].is_array());
}

fn real(set: &str) -> Option<FrameSet> {
    Some(read_headers(&real_frames(set)?, &decoder()).unwrap())
}

fn count(set: &FrameSet, kind: FrameKind) -> usize {
    set.inventory.frames().filter(|frame| frame.kind == kind).count()
}

#[test]
fn frames_of_a_real_cooled_ccd_fall_into_two_temperatures() {
    let Some(set) = real("ccd-darks") else { return };
    assert_eq!(set.rejected(), []);
    assert_eq!((count(&set, FrameKind::Bias), count(&set, FrameKind::Dark)), (11, 32));
    assert_eq!(set.inventory.modes().count(), 1);
    let of = |celsius: f64| {
        let groups = set.inventory.groups.iter().filter(move |group| group.temperature == Some(Celsius(celsius)));
        groups.map(|group| group.frames.len()).sum::<usize>()
    };
    assert_eq!((of(-5.0), of(0.0)), (25, 18));
    assert!(set.inventory.missing.iter().any(|line| line.contains("no flat frames")));
    let first = set.inventory.frames().next().unwrap();
    let frame = set.read(first, &decoder()).unwrap();
    assert_eq!(frame.pixels.dim(), (512, 512));
}

#[test]
fn frames_of_a_real_cmos_ramp_all_count() {
    let Some(set) = real("cmos-ramp") else { return };
    assert_eq!(set.rejected(), []);
    assert_eq!((count(&set, FrameKind::Flat), count(&set, FrameKind::Dark)), (42, 42));
    assert_eq!(set.inventory.modes().count(), 1);
    let flats = set.inventory.groups.iter().filter(|group| group.kind == FrameKind::Flat);
    assert!(flats.clone().all(|group| group.frames.len() >= 2));
    for group in &set.inventory.groups {
        eprintln!(
            "{} {:e} {:?} {:?} {}",
            group.kind,
            group.exposure.0,
            group.sensor,
            group.temperature,
            group.frames.len()
        );
    }
    eprintln!("{:?} {:?}", set.inventory.missing, set.inventory.caveats);
}
