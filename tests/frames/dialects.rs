//! What headers and folders look like in the wild: dialects, slips, and the habits of three operating systems.
//!
//! All contents are invented; which variants occur is common practice, no source.
#![cfg(feature = "cli")]

use subwell::frames::header::not_raw;
use subwell::frames::{Cards, CfaPattern, FrameKind, Header, Inventory, Override, Seen, StripStatistics};
use subwell::units::{Celsius, Dn, Seconds};

use crate::support::folder::Folder;

fn header(lines: &str) -> Header {
    Header::from_cards(&Cards::from_lines(lines))
}

fn seen(file: &str, lines: &str) -> Seen {
    Seen { file: file.into(), cards: Cards::from_lines(lines), width: 10, height: 10, strip_statistics: None }
}

fn lit(file: &str, lines: &str, level: f64) -> Seen {
    let (level, noise) = (Dn(level), Dn(3.0));
    let strip_statistics = StripStatistics {
        mean: level,
        median: level,
        spread: noise,
        noise,
        sigma: noise,
        max: 9000,
        zero_share: 0.0,
        top_share: 0.0001,
        step: Dn(1.0),
    };
    Seen { strip_statistics: Some(strip_statistics), ..seen(file, lines) }
}

fn codes(inventory: &Inventory) -> Vec<&str> {
    inventory.caveats.iter().map(|caveat| caveat.code.as_str()).collect()
}

#[test]
fn kinds_in_the_words_of_many_programs() {
    let cases = [
        ("IMGTYPE = 'ZERO    '", FrameKind::Bias),
        ("IMAGETYPE= 'Bias Field'", FrameKind::Bias),
        ("IMAGETYP= 'offset'", FrameKind::Bias),
        ("imagetyp= \"Dark\"", FrameKind::Dark),
        ("FRAME   = 'FlatField'", FrameKind::Flat),
        ("OBSTYPE = 'FLATDARK'", FrameKind::DarkFlat),
        ("PICTTYPE= 'Dark Flat'", FrameKind::DarkFlat),
        ("HIERARCH ESO DPR TYPE = 'BIAS'", FrameKind::Bias),
        ("IMAGETYP= 'Light frame'", FrameKind::Light),
        ("OBSTYPE = 'science'", FrameKind::Light),
        ("IMAGETYP= ''\nFRAME   = 'dark_flat'", FrameKind::DarkFlat),
    ];
    for (lines, kind) in cases {
        assert_eq!(header(lines).kind.unwrap_or_else(|| panic!("{lines}")).0, kind, "{lines}");
    }
}

#[test]
fn times_in_three_units_and_temperatures_in_two() {
    for (lines, seconds) in [
        ("EXPOSURE= 1500 / milliseconds", 1.5),
        ("EXPOSURE= 1500 / [ms] exposure", 1.5),
        ("EXPOSURE= '0,25'", 0.25),
        ("EXP     = 20", 20.0),
        ("EXPOINUS= 250000", 0.25),
        ("EXPTIME = 2.5\nEXPOINUS= 7", 2.5),
        ("EXPTIME = 'unknown'\nEXPOSURE= 4", 4.0),
    ] {
        assert!((header(lines).exposure.unwrap().0 - seconds).abs() < 1e-12, "{lines}");
    }
    for (lines, celsius) in [
        ("CCD-TEMP= '-2.04E+001'", Some(-20.4)),
        ("CCD-TEMP= 263.15 / [K]", Some(-10.0)),
        ("DETTEMP1= 258.15", Some(-15.0)),
        ("DET-TEMP= '-9,5'", Some(-9.5)),
        ("CCD-TEMP= 999\nSENSOR-T= -3", Some(-3.0)),
        ("CCD-TEMP= -273.15", None),
        ("CCD-TEMP= -1000", None),
        ("AMBTEMP = 12\nFOCTEMP = 13\nFOCUSTEM= 14", None),
        // A camera with an ISO dial has no sensor thermometer.
        ("ISOSPEED= 800\nCCD-TEMP= 0.0", None),
        ("ISOSPEED= 800\nCCD-TEMP= 0.0\nSET-TEMP= 0.0", Some(0.0)),
        ("GAIN    = 120\nCCD-TEMP= 0.0", Some(0.0)),
    ] {
        let found = header(lines).sensor.map(|celsius| celsius.0);
        assert_eq!(found.map(|celsius| (celsius * 1e6).round() / 1e6), celsius, "{lines}");
    }
}

#[test]
fn electrons_per_count_are_never_a_gain_setting() {
    for lines in
        ["EGAIN   = 3.99", "EGAINSAV= 0.0076", "GAIN    = 2.28 / e/ADU", "GAIN = 0.9 / [electron/adu]", "CVF = 1.2"]
    {
        assert_eq!(header(lines).gain_setting, None, "{lines}");
    }
    assert_eq!(header("GAIN    = 120 / sensor gain\nEGAIN   = 1.0022").gain_setting, Some(120.0));
}

#[test]
fn colours_are_named_in_stored_order() {
    let cfa = |lines: &str| header(lines).cfa;
    assert_eq!(cfa("BAYERPAT= 'rggb    '"), Some(CfaPattern::Rggb));
    assert_eq!(cfa("COLORTYP= 2\nBAYERPAT= 'GBRG'"), Some(CfaPattern::Gbrg));
    assert_eq!(cfa("CFAIMAGE= 'no'"), None);
    assert_eq!(cfa("BAYERPAT= 'RGGB'\nROWORDER= 'TOP-DOWN'"), Some(CfaPattern::Rggb));
    assert_eq!(cfa("NAXIS2  = 100\nBAYERPAT= 'RGGB'\nROWORDER= 'BOTTOM-UP'"), Some(CfaPattern::Gbrg));
    // From either end of an odd number of rows the cell reads the same.
    assert_eq!(cfa("NAXIS2  = 101\nBAYERPAT= 'RGGB'\nROWORDER= 'BOTTOM-UP'"), Some(CfaPattern::Rggb));
}

#[test]
fn processed_and_overscanned_frames_are_refused() {
    for (lines, word) in [
        ("SWMODIFY= 'some program'", "changed"),
        ("TOTALEXP= 1200", "stack"),
        ("NAXIS1  = 2148\nNAXIS2  = 2048\nTRIMSEC = '[51:2098,1:2048]'", "overscan"),
        ("NAXIS1  = 2148\nNAXIS2  = 2048\nDATASEC = '[1:2048,1:2048]'", "overscan"),
    ] {
        let reason = not_raw(&Cards::from_lines(lines)).unwrap_or_else(|| panic!("{lines}"));
        assert!(reason.contains(word), "{reason}");
    }
    assert_eq!(not_raw(&Cards::from_lines("NAXIS1  = 20\nNAXIS2  = 10\nTRIMSEC = '[1:20,1:10]'")), None);
    assert_eq!(not_raw(&Cards::from_lines("NAXIS1  = 20\nNAXIS2  = 10\nDATASEC = 'none'")), None);
}

#[test]
fn flats_stamped_as_lights_are_reported() {
    let inventory = Inventory::new(
        vec![seen("Flats/a.fits", "IMAGETYP= 'Light Frame'\nEXPTIME = 1"), seen("Dark/b.fits", "EXPTIME = 30")],
        &[],
        "",
        Vec::new(),
    );
    assert!(codes(&inventory).contains(&"conflicting-kind"));
    assert_eq!(inventory.frames().filter(|frame| frame.kind == FrameKind::Dark).count(), 1);
}

/// A word that a program writes on everything says nothing of the faintest flats either.
#[test]
fn faint_flats_stamped_as_lights_are_flats() {
    let stamped = |file: String, exposure: f64, level: f64| {
        lit(&file, &format!("IMAGETYP= 'Light Frame'\nEXPTIME = {exposure}"), level)
    };
    let mut frames: Vec<Seen> = (0..4).map(|n| stamped(format!("bias/{n}.fits"), 0.0001, 500.0)).collect();
    frames.extend((0..4).map(|n| stamped(format!("dark/{n}.fits"), 30.0, 501.0)));
    // Ten times the noise of a pixel above the bias, and far above.
    frames.extend([530.0, 1_500.0, 6_000.0].iter().enumerate().flat_map(|(at, level)| {
        (0..2).map(move |n| stamped(format!("flats/{at}_{n}.fits"), 0.04 * 4_f64.powi(at as i32), *level))
    }));
    let inventory = Inventory::new(frames, &[], "", Vec::new());
    let count = |kind: FrameKind| inventory.frames().filter(|frame| frame.kind == kind).count();
    assert_eq!([FrameKind::Bias, FrameKind::Dark, FrameKind::Flat, FrameKind::Light].map(count), [4, 4, 6, 0]);
    let told = inventory.caveats.iter().filter(|caveat| caveat.code == "conflicting-kind");
    assert!(told.clone().all(|caveat| caveat.message.contains("the place was believed")), "{:?}", inventory.caveats);
    assert_eq!(told.count(), 3);
}

/// A target's name is no kind: what no frame without light denies stays what its header says.
#[test]
fn lights_of_a_dark_nebula_stay_lights() {
    let light = |number: usize| {
        lit(&format!("Dark Nebula/light_{number}.fits"), "IMAGETYP= 'Light Frame'\nEXPTIME = 120", 900.0)
    };
    let alone = Inventory::new((0..4).map(light).collect(), &[], "", Vec::new());
    assert!(alone.frames().all(|info| info.kind == FrameKind::Light) && alone.frames().count() == 4);
    let bias = |number: usize| lit(&format!("bias/{number}.fits"), "IMAGETYP= 'Bias'\nEXPTIME = 0", 500.0);
    let with_bias = Inventory::new((0..4).map(light).chain((0..4).map(bias)).collect(), &[], "", Vec::new());
    assert_eq!(with_bias.frames().filter(|info| info.kind == FrameKind::Light).count(), 4);
    assert!(codes(&with_bias).contains(&"conflicting-kind"));
}

/// The flats of an invented dial camera: each time by name, the level by the true time.
fn dial_flats(card: &str, times: &[&str], true_time: fn(f64) -> f64) -> Inventory {
    let mut frames = vec![lit("bias/1.fits", &format!("EXPTIME = '1/4096'\n{card}"), 512.0)];
    frames.push(lit("bias/2.fits", &format!("EXPTIME = '1/4096'\n{card}"), 512.0));
    for time in times {
        let lines = format!("EXPTIME = '{time}'\n{card}");
        let named = header(&lines).exposure.unwrap().0;
        frames.push(lit(&format!("flat/{}.fits", time.replace('/', "_")), &lines, 512.0 + 300.0 * true_time(named)));
    }
    Inventory::new(frames, &[], "", Vec::new())
}

const DIAL: [&str; 8] = ["1/60", "1/30", "1/15", "1/8", "1/4", "1/2", "15", "30"];

fn times(inventory: &Inventory) -> Vec<f64> {
    inventory.frames().filter(|frame| frame.kind == FrameKind::Flat).map(|frame| frame.exposure.0).collect()
}

#[test]
fn dial_names_become_powers_of_two_unless_the_levels_deny_it() {
    let rungs = |named: f64| named.log2().round().exp2();
    let corrected = dial_flats("ISOSPEED= 800", &DIAL, rungs);
    assert_eq!(times(&corrected), [1.0 / 64.0, 1.0 / 32.0, 1.0 / 16.0, 0.125, 0.25, 0.5, 16.0, 32.0]);
    let caveat = corrected.caveats.iter().find(|caveat| caveat.code == "nominal-times").unwrap();
    assert!(caveat.message.contains(" for ") && caveat.hint.contains("sidecar.csv"), "{}", caveat.message);
    let honest = dial_flats("ISOSPEED= 800", &DIAL, |named| named);
    assert_eq!(times(&honest)[6..], [15.0, 30.0]);
    assert!(!codes(&honest).contains(&"nominal-times"));
    // A camera whose computer times the frames means what it says, and so does a short list.
    assert_eq!(times(&dial_flats("GAIN    = 100", &DIAL, rungs))[6..], [15.0, 30.0]);
    assert_eq!(times(&dial_flats("ISOSPEED= 800", &DIAL[6..], rungs)), [15.0, 30.0]);
}

#[test]
fn darks_of_a_warming_camera_are_left_out_and_named() {
    let dark = |number: usize, celsius: f64, more: &str| {
        let lines = format!("EXPTIME = 120\nCCD-TEMP= {celsius:.1}\nDATE-OBS= '2026-01-02T20:{number:02}:00'\n{more}");
        seen(&format!("darks/{number}.fits"), &lines)
    };
    let warming = |more: &str| {
        let frames = (0..12).map(|number| dark(number, 20.0 - 8.0 * 0.55_f64.powi(number as i32), more)).collect();
        Inventory::new(frames, &[], "", Vec::new())
    };
    let uncooled = warming("ISOSPEED= 800");
    let left_out: Vec<&str> = uncooled.rejected.iter().map(|rejected| rejected.file.as_str()).collect();
    assert_eq!(left_out, ["darks/0.fits", "darks/1.fits", "darks/2.fits"]);
    assert_eq!(uncooled.frames().count(), 9);
    let caveat = uncooled.caveats.iter().find(|caveat| caveat.code == "temperature-unsettled").unwrap();
    assert!(caveat.message.contains("3 of them were left out"), "{}", caveat.message);
    // What a cooler does is judged by its set point.
    assert!(warming("SET-TEMP= 20").rejected.is_empty());
}

#[test]
fn rows_of_a_sidecar_that_contradict_each_other_are_said() {
    let row =
        |file: &str, seconds| Override { file: file.into(), exposure: Some(Seconds(seconds)), ..Override::default() };
    let read = |rows: &[Override]| {
        let darks = (1..3).map(|number| seen(&format!("darks/{number}.fits"), "EXPTIME = 5")).collect();
        Inventory::new(darks, rows, "", Vec::new())
    };
    let contradicted = read(&[row("darks/1.fits", 30.0), row("DARKS/1.FITS", 60.0)]);
    let said = contradicted.caveats.iter().find(|caveat| caveat.code == "conflicting-rows").unwrap();
    assert!(said.message.contains("exposure_s 30 and 60") && said.about == "darks/1.fits", "{said:?}");
    assert!(contradicted.frames().any(|info| info.exposure == Seconds(30.0)));
    // Patterns that overlap count alike; a file's own row goes before them.
    assert!(codes(&read(&[row("darks/*", 30.0), row("**/1*", 60.0)])).contains(&"conflicting-rows"));
    for rows in
        [[row("darks/*", 30.0), row("darks/1.fits", 60.0)], [row("darks/1.fits", 30.0), row("darks/1.fits", 30.0)]]
    {
        assert!(!codes(&read(&rows)).contains(&"conflicting-rows"), "{rows:?}");
    }
}

#[test]
fn a_time_in_the_sidecar_is_believed() {
    let row = Override { file: "FLAT/30.fits".into(), exposure: Some(Seconds(30.0)), ..Override::default() };
    let frames: Vec<Seen> = DIAL
        .iter()
        .map(|time| {
            seen(&format!("flat/{}.fits", time.replace('/', "_")), &format!("EXPTIME = '{time}'\nISOSPEED= 100"))
        })
        .collect();
    let inventory = Inventory::new(frames, &[row], "", Vec::new());
    assert_eq!(times(&inventory)[6..], [16.0, 30.0]);
}

#[test]
fn litter_is_passed_over_and_accents_and_case_do_not_matter() {
    let folder = Folder::new();
    for litter in [
        "._dark.fits",
        "darks/.DS_Store",
        "Thumbs.db",
        "desktop.ini",
        "__MACOSX/darks/._x.fits",
        "$RECYCLE.BIN/x.fits",
        "darks/ehthumbs.db",
    ] {
        folder.put(litter, b"\0\x01");
    }
    let mut card = String::new();
    for line in ["SIMPLE  = T", "BITPIX  = 16", "NAXIS   = 2", "NAXIS1  = 12", "NAXIS2  = 10", "EXPTIME = 30", "END"] {
        card.push_str(&format!("{line:<80}"));
    }
    let mut bytes = card.into_bytes();
    bytes.resize(2880, b' ');
    bytes.extend((0..120_u16).flat_map(|count| (200 + count * 7 % 13).to_be_bytes()));
    bytes.resize(5760, 0);
    // As macOS stores it: a letter, then its accent.
    folder.put("DARKS/E\u{301}te\u{301} 1.FIT", &bytes);
    folder.put("sidecar.csv", "file;sensor_c\r\n\"darks\\\u{c9}t\u{e9} 1.fit\";-4,5\r\n".as_bytes());
    let set = folder.read();
    assert!(set.rejected().is_empty(), "{:?}", set.rejected());
    let frames: Vec<_> = set.inventory.frames().collect();
    assert_eq!((frames.len(), frames[0].kind, frames[0].sensor), (1, FrameKind::Dark, Some(Celsius(-4.5))));
    assert!(!codes(&set.inventory).contains(&"sidecar-unmatched"));
}
