//! The decoder's own records of some 1,600 real files of all makers, which lie in its source package: sizes, areas, levels,
//! what Exif says. Each goes through the reader of metadata as if its file lay here; where the package's source is not at
//! hand the test says so and passes.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use rawler::analyze::RawParams;
use rawler::decoders::RawMetadata;
use serde_json::Value;

use super::metadata::{exif_lines, of_mosaic};
use super::*;
use crate::frames::{Cards, FrameInfo, Inventory, Seen};

/// The folder of the records: in cargo's home, below the source of the decoder in the version that is built in.
fn records() -> Option<PathBuf> {
    let home = std::env::var_os("CARGO_HOME").map(PathBuf::from);
    let home = home.or_else(|| {
        Some(PathBuf::from(std::env::var_os("HOME").or(std::env::var_os("USERPROFILE"))?).join(".cargo"))
    })?;
    let lock = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.lock"));
    let version = lock.split("name = \"rawler\"").nth(1)?.lines().nth(1)?.strip_prefix("version = ")?.trim_matches('"');
    let package = format!("rawler-{version}/data/testdata/rawdb");
    let registries = std::fs::read_dir(home.join("registry/src")).ok()?.filter_map(Result::ok);
    registries.map(|registry| registry.path().join(&package)).find(|folder| folder.is_dir())
}

/// The little of YAML that the records are written in: maps and lists by indentation, one scalar to a line.
fn parsed(text: &str) -> Value {
    let lines: Vec<(usize, &str)> = (text.lines())
        .filter(|line| !line.trim().is_empty() && line.trim() != "---")
        .map(|line| (line.len() - line.trim_start().len(), line.trim()))
        .collect();
    block(&lines, &mut 0)
}

fn block(lines: &[(usize, &str)], at: &mut usize) -> Value {
    let Some((indent, first)) = lines.get(*at).copied() else { return Value::Null };
    if first.starts_with("- ") {
        let mut list = Vec::new();
        while let Some((_, line)) = lines.get(*at).filter(|(own, line)| *own == indent && line.starts_with("- ")) {
            list.push(scalar(&line[2..]));
            *at += 1;
        }
        return Value::Array(list);
    }
    let mut map = serde_json::Map::new();
    while let Some((_, line)) = lines.get(*at).copied().filter(|(own, line)| *own == indent && !line.starts_with("- "))
    {
        *at += 1;
        let (key, rest) = line.split_once(':').unwrap_or((line, ""));
        let deeper =
            lines.get(*at).is_some_and(|(own, line)| *own > indent || (*own == indent && line.starts_with("- ")));
        let value = if rest.trim().is_empty() && deeper { block(lines, at) } else { scalar(rest.trim()) };
        map.insert(key.trim_matches('"').to_owned(), value);
    }
    Value::Object(map)
}

fn scalar(text: &str) -> Value {
    match text {
        "~" | "null" => Value::Null,
        _ if text.starts_with(['"', '\'']) => {
            serde_json::from_str(text).unwrap_or_else(|_| text.trim_matches(['"', '\'']).into())
        }
        _ => serde_json::from_str::<Value>(text).ok().filter(Value::is_number).unwrap_or_else(|| text.into()),
    }
}

struct Record {
    name: String,
    params: RawParams,
    metadata: RawMetadata,
}

fn read(path: &Path) -> Option<Record> {
    let mut value = parsed(&std::fs::read_to_string(path).ok()?);
    let metadata = &mut value["data"]["metadata"];
    let mut said = metadata["rawMetadata"].take();
    // Lenses, places and people are none of our business, and the ways they are written are many.
    for name in [
        "lens_spec",
        "gps",
        "artist",
        "owner_name",
        "copyright",
        "user_comment",
        "serial_number",
        "lens_make",
        "lens_model",
        "lens_serial_number",
    ] {
        said["exif"][name] = Value::Null;
    }
    (said["lens"], said["unique_image_id"], said["rating"]) = (Value::Null, Value::Null, Value::Null);
    for name in ["model", "make"] {
        // A model that is a number.
        said[name] = said[name].as_str().map_or_else(|| said[name].to_string(), str::to_owned).into();
    }
    for name in [
        "date_time_original",
        "create_date",
        "modify_date",
        "sub_sec_time",
        "sub_sec_time_original",
        "sub_sec_time_digitized",
        "offset_time",
        "offset_time_original",
        "offset_time_digitized",
    ] {
        if said["exif"][name].is_number() {
            said["exif"][name] = said["exif"][name].to_string().into();
        }
    }
    // No use is made of the white balance, which may be infinite.
    metadata["rawParams"]["wbCoeffs"] = vec![Value::Null; 4].into();
    let name = path.file_name()?.to_string_lossy().replace(".analyze.yaml", "");
    let params = serde_json::from_value(metadata["rawParams"].take()).unwrap_or_else(|error| panic!("{name}: {error}"));
    let metadata = serde_json::from_value(said).unwrap_or_else(|error| panic!("{name}: {error}"));
    Some(Record { name, params, metadata })
}

fn all(folder: &Path) -> Vec<Record> {
    let mut paths: Vec<PathBuf> = (walkdir::WalkDir::new(folder).into_iter().filter_map(Result::ok))
        .map(walkdir::DirEntry::into_path)
        .filter(|path| path.to_string_lossy().ends_with(".analyze.yaml"))
        .collect();
    paths.sort();
    paths.iter().filter_map(|path| read(path)).collect()
}

/// What became of a record: the frame as it would be taken, or what would be asked or refused, in a few words.
fn taken(record: &Record) -> Result<(FrameInfo, Vec<String>), String> {
    let RawParams { raw_width, raw_height, active_area, crop_area, blacklevels, whitelevels, .. } = &record.params;
    let words = |fault: Fault| match fault {
        Fault::NotRaw(why) if why.contains("samples") => "refused: several samples for each pixel".to_owned(),
        Fault::Unsupported(_) => "refused: a colour array that is not 2 x 2".to_owned(),
        other => format!("refused: {other:?}"),
    };
    if blacklevels.cpp != 1 {
        return Err(words(Fault::NotRaw(checks::several_samples(blacklevels.cpp))));
    }
    let area = area_of(*active_area, *crop_area, *raw_width, *raw_height).map_err(words)?;
    let cameras = LOADER.get_cameras();
    let camera = cameras.values().find(|known| {
        (&known.clean_make, &known.clean_model) == (&record.metadata.make, &record.metadata.model)
            && known.mode.is_empty()
    });
    let cfa = camera.map(|camera| pattern(&camera.cfa, area)).transpose().map_err(words)?.flatten();
    let mosaic = Mosaic {
        image: Image { width: area.d.w, height: area.d.h, pixels: Vec::new() },
        cfa,
        black: blacklevels.as_vec(),
        white: whitelevels.0.iter().copied().max().filter(|white| *white > 0),
        masked: Vec::new(),
        borders: [0; 4],
        name: record.metadata.model.clone(),
    };
    let mut cards: Cards = of_mosaic(&mosaic, "", None);
    for line in exif_lines(&record.metadata.exif, None) {
        cards.push_line(&line);
    }
    let seen = Seen {
        file: "lights/a.raw".into(),
        cards,
        width: mosaic.image.width,
        height: mosaic.image.height,
        strip_statistics: None,
    };
    let inventory = Inventory::new(vec![seen], &[], "", Vec::new());
    let codes = inventory.caveats.iter().map(|caveat| caveat.code.to_string()).collect();
    match inventory.frames().next() {
        Some(info) => Ok((info.clone(), codes)),
        None => Err(format!("asked: {}", inventory.rejected[0].code)),
    }
}

/// The tallest flat that a body of this model shows: counts at `clip` with a little noise below.
fn saturated(clip: u32) -> Image {
    let clip = clip.min(65_535) as u16;
    let pixels = (0..64_u16 * 64).map(|at| clip - (at % 97 * 31 % 5).min(clip)).collect();
    Image { width: 64, height: 64, pixels }
}

#[test]
fn every_record_of_a_real_file_is_read_right_or_asked_about() {
    let Some(folder) = records() else {
        eprintln!("SKIPPED: the decoder's records are not at hand (its source package holds them)");
        return;
    };
    let records = all(&folder);
    assert!(records.len() >= 1000, "{}", records.len());
    let mut table: BTreeMap<String, usize> = BTreeMap::new();
    let mut count = |what: &str| *table.entry(what.to_owned()).or_default() += 1;
    let mut wrong = Vec::new();
    let mut highest: BTreeMap<(&str, usize), u32> = BTreeMap::new();
    for record in &records {
        let white = record.params.whitelevels.0.iter().copied().max().unwrap_or(0);
        let known = highest.entry((&record.metadata.model, record.params.bit_depth)).or_default();
        *known = white.max(*known);
    }
    for record in &records {
        match taken(record) {
            Ok((info, codes)) => {
                count("taken");
                let others = highest[&(record.metadata.model.as_str(), record.params.bit_depth)];
                let faults = held_to(record, &info, &codes, others, &mut count);
                wrong.extend(faults.into_iter().map(|fault| format!("{}: {fault}", record.name)));
            }
            Err(words) => count(&words),
        }
    }
    eprintln!("{} records of real files:", records.len());
    for (what, count) in &table {
        eprintln!("{count:6}  {what}");
    }
    eprintln!("{:6}  silently wrong", wrong.len());
    assert!(wrong.is_empty(), "{} silently wrong: {:#?}", wrong.len(), &wrong[..wrong.len().min(40)]);
}

/// What is wrong with a frame as it was taken; `others` is the highest white level that another file of its model states.
fn held_to(
    record: &Record,
    info: &FrameInfo,
    codes: &[String],
    others: u32,
    count: &mut impl FnMut(&str),
) -> Vec<&'static str> {
    let (params, exif) = (&record.params, &record.metadata.exif);
    let mut checks = Vec::new();
    let short = exif.iso_speed_ratings.unwrap_or(0);
    let long = exif.recommended_exposure_index.or(exif.iso_speed).unwrap_or(0);
    match info.gain_setting {
        Some(iso) if short > 0 && short < u16::MAX => checks.push((iso == f64::from(short), "another ISO number")),
        Some(iso) => {
            count("  ISO number from a longer tag");
            checks.push((iso == f64::from(long) && long > 0 && long != 65_535, "another ISO number"));
        }
        None => {
            count("  no ISO number: asked for");
            checks.push((short == 0 || short == u16::MAX, "its ISO number was lost"));
            checks.push((codes.iter().any(|code| code == "gain-missing"), "not asked for its ISO number"));
        }
    }
    let named = exif.exposure_time.as_ref().map_or(f64::NAN, |time| f64::from(time.n) / f64::from(time.d));
    let stops = (info.exposure.0 / named).log2();
    checks.push((stops.abs() <= 0.1, "another exposure"));
    count(if stops.abs() < 1e-4 { "  exposure as named" } else { "  exposure: the power of two behind the name" });
    let area = params.active_area.or(params.crop_area);
    let inside = area.is_none_or(|area| {
        (area.p.x + area.d.w <= params.raw_width && area.p.y + area.d.h <= params.raw_height)
            && (area.d.w, area.d.h) == (info.width, info.height)
    });
    checks.push((inside && info.width > 0 && info.height > 0, "an odd active area"));
    if params.active_area.is_none() {
        count(if area.is_some() { "  no active area: the part for pictures" } else { "  no active area: the whole" });
    }
    if area.is_some_and(|area| area.p.x % 2 + area.p.y % 2 > 0) {
        count("  active area from an odd row or column: the colours shifted");
    }
    count(if info.cfa.is_some() { "  colours known" } else { "  colours not in the list by this name, or none" });
    let white = params.whitelevels.0.iter().copied().max().unwrap_or(0);
    let top = (white + 1).next_power_of_two() - 1;
    if white < others {
        count("  white level stated below another file of the model: a hint");
    } else if f64::from(white) < 0.95 * f64::from(top) {
        count("  white level stated more than 5 % below what the bits hold: a hint");
    }
    for clip in [white, others, top] {
        let counted = checks::counts(&saturated(clip), Some(white), params.bit_depth);
        checks.push((counted.is_ok(), "saturated flats are refused"));
    }
    let black = params.blacklevels.as_vec();
    let sound = black.iter().all(|level| level.is_finite() && *level >= 0.0 && *level < white.max(1) as f32);
    checks.push((sound, "an odd black level"));
    if black.iter().all(|level| *level == 0.0) {
        count("  no black level stated");
    }
    checks.into_iter().filter(|(right, _)| !right).map(|(_, what)| what).collect()
}
