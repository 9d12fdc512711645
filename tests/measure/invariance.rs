//! What must not change the electrons: how counts are padded, offset, turned, named and stored.

use std::path::{Path, PathBuf};

use fitsio::FitsFile;
use fitsio::images::{ImageDescription, ImageType};
use ndarray::Array2;
use serde_json::Value;
use subwell::camera::Plane;
use subwell::frames::Frame;
use subwell::sensor::{MeasureOptions, ModeMeasurement, StackKey};
use subwell::simulate::{SensorTruth, frames};

/// The same sums in another order of floating point.
const SAME: f64 = 1e-9;

const SENSOR: &str = "width_px = 128\nheight_px = 96\ngain_e_per_adc_step = 0.9\nadc_bits = 12\noffset_dn = 130.0\n\
    read_noise_e = 2.1\nfull_well_e = 3500\nprnu_percent = 0.8\ndsnu_e = 0.5\ndark_e_per_s = 0.3\ndark_at_c = 0.0\n\
    dark_nonuniformity = 0.4\nhot_pixel_fraction = 0.001\nlevel_jitter_dn = 0.05\nseed = 17\n";

fn truth(height_px: usize) -> SensorTruth {
    let mut text = SENSOR.replace("height_px = 96", &format!("height_px = {height_px}"));
    let mut add = |kind: &str, count: usize, exposure: f64, light: f64| {
        text.push_str(&format!(
            "[[frames]]\nkind = \"{kind}\"\ncount = {count}\nexposure_s = {exposure:?}\nsensor_c = 0.0\nlight_e_per_s = {light:?}\n"
        ));
    };
    add("bias", 6, 0.0, 0.0);
    for share in [0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65] {
        add("flat", 2, share, 3_500.0);
    }
    for exposure in [60.0, 180.0, 300.0] {
        add("dark", 4, exposure, 0.0);
    }
    SensorTruth::from_toml(&text).unwrap()
}

fn measured(changed: impl Fn(&mut Frame)) -> Plane {
    measured_of(&truth(96), changed)
}

fn measured_of(truth: &SensorTruth, changed: impl Fn(&mut Frame)) -> Plane {
    let key =
        |frame: &Frame| StackKey { kind: frame.info.kind, exposure: frame.info.exposure, sensor: frame.info.sensor };
    let mut all: Vec<Frame> = frames(truth).collect();
    all.iter_mut().for_each(&changed);
    all.sort_by_key(|frame| key(frame).order());
    let mut measurement = ModeMeasurement::new(&all[0].info, MeasureOptions::default()).unwrap();
    for frame in all {
        measurement.add(key(&frame), frame).unwrap();
    }
    measurement.finish().unwrap().0.planes.remove(0)
}

/// Every number of a plane that is in electrons, or without a unit.
fn electrons(plane: &Value) -> Vec<(String, f64)> {
    fn walk(at: &str, value: &Value, found: &mut Vec<(String, f64)>) {
        match value {
            Value::Number(number) => found.push((at.to_owned(), number.as_f64().unwrap())),
            Value::Array(items) => {
                items.iter().enumerate().for_each(|(i, item)| walk(&format!("{at}/{i}"), item, found));
            }
            Value::Object(fields) => fields
                .iter()
                .filter(|(name, _)| !name.contains("_dn"))
                .for_each(|(name, field)| walk(&format!("{at}/{name}"), field, found)),
            _ => {}
        }
    }
    let mut found = Vec::new();
    walk("", plane, &mut found);
    found
}

fn same(a: &Value, b: &Value, what: &str) {
    let (a, b) = (electrons(a), electrons(b));
    assert!(a.len() > 30 && a.len() == b.len(), "{what}: {} and {} numbers", a.len(), b.len());
    for ((name, a), (_, b)) in a.iter().zip(&b) {
        assert!((a - b).abs() <= SAME * a.abs().max(b.abs()).max(1e-6), "{what}: {name} {a} {b}");
    }
}

fn value(plane: &Plane) -> Value {
    serde_json::to_value(plane).unwrap()
}

#[test]
fn padding_offset_and_turning_leave_the_electrons() {
    let plain = value(&measured(|_| {}));
    // 12 bits in the upper part of 16: the saturation seen and the limits follow.
    same(&plain, &value(&measured(|frame| frame.pixels.mapv_inplace(|y| y * 4))), "padded by 4");
    same(&plain, &value(&measured(|frame| frame.pixels.mapv_inplace(|y| y + 1000))), "1000 DN higher");
    let turned = |frame: &mut Frame, rows: bool, columns: bool| {
        let (height, width) = frame.pixels.dim();
        let at = |n: usize, size: usize, turn: bool| if turn { size - 1 - n } else { n };
        frame.pixels = Array2::from_shape_fn((height, width), |(row, column)| {
            frame.pixels[(at(row, height, rows), at(column, width, columns))]
        });
    };
    same(&plain, &value(&measured(|frame| turned(frame, true, false))), "upside down");
    same(&plain, &value(&measured(|frame| turned(frame, false, true))), "mirrored");
}

/// Tall frames are cut into bands, which any number of threads may take.
#[test]
fn the_number_of_threads_leaves_every_digit() {
    let tall = truth(1300);
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| value(&measured_of(&tall, |_| {})))
    };
    let one = on(1);
    [2, 3, 8].into_iter().for_each(|threads| assert_eq!(one, on(threads), "{threads} threads"));
}

/// The files of a folder and its folders, in the order of their names.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(files(&path));
        } else if path.extension().is_some_and(|e| e == "fits") {
            found.push(path);
        }
    }
    found.sort();
    found
}

/// The cards of a FITS file as the program writes them, and where its data begin.
fn cards(bytes: &[u8]) -> (Vec<String>, usize) {
    let cards: Vec<String> = bytes.chunks(80).map(|card| String::from_utf8_lossy(card).into_owned()).collect();
    let end = cards.iter().position(|card| card.trim_end() == "END").unwrap();
    (cards[..end].to_vec(), (end * 80 / 2880 + 1) * 2880)
}

fn header(cards: &[String]) -> Vec<u8> {
    let mut text: String = cards.iter().map(|card| format!("{card:<80}")).collect();
    text.push_str(&format!("{:<80}", "END"));
    let whole = text.len().div_ceil(2880) * 2880;
    format!("{text:<whole$}").into_bytes()
}

fn gzip(bytes: &[u8], path: &Path) {
    use std::io::Write as _;
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    packed.write_all(bytes).unwrap();
    std::fs::write(path.with_extension("fits.gz"), packed.finish().unwrap()).unwrap();
}

/// The same image as the first extension behind an empty primary part.
fn extension(bytes: &[u8], path: &Path) {
    let (mut own, data) = cards(bytes);
    own[0] = "XTENSION= 'IMAGE   '".into();
    let axes = own.iter().position(|card| card.starts_with("NAXIS2")).unwrap();
    own.splice(axes + 1..axes + 1, ["PCOUNT  =                    0".into(), "GCOUNT  =                    1".into()]);
    let empty = ["SIMPLE  =                    T", "BITPIX  =                    8", "NAXIS   =                    0"];
    let mut file = header(&empty.map(str::to_owned));
    file.extend(header(&own));
    file.extend(&bytes[data..]);
    std::fs::write(path.with_extension("fits"), file).unwrap();
}

/// The same image in Rice-compressed tiles.
fn tiles(bytes: &[u8], path: &Path) {
    let (own, data) = cards(bytes);
    let keyed = |name: &str| own.iter().find(|card| card.starts_with(name)).map(|card| card[10..].trim().to_owned());
    let size = |name: &str| keyed(name).unwrap().split('/').next().unwrap().trim().parse::<usize>().unwrap();
    let (width, height) = (size("NAXIS1"), size("NAXIS2"));
    let pixels: Vec<u16> = bytes[data..data + 2 * width * height]
        .chunks(2)
        .map(|pair| (i32::from(i16::from_be_bytes([pair[0], pair[1]])) + 32_768) as u16)
        .collect();
    let mut file =
        FitsFile::create(format!("{}[compress R]", path.with_extension("fits.fz").display())).open().unwrap();
    let description = ImageDescription { data_type: ImageType::UnsignedShort, dimensions: &[height, width] };
    let hdu = file.create_image("FRAME", &description).unwrap();
    hdu.write_image(&mut file, &pixels).unwrap();
    let structure = ["SIMPLE", "BITPIX", "NAXIS", "BZERO", "BSCALE", "EXTEND", "COMMENT"];
    for card in own.iter().filter(|card| !structure.iter().any(|name| card.starts_with(name))) {
        let (name, value) = (card[..8].trim(), card[10..].split(" /").next().unwrap().trim());
        match value.parse::<f64>() {
            Ok(number) => hdu.write_key(&mut file, name, number).unwrap(),
            Err(_) => hdu.write_key(&mut file, name, value.trim_matches('\'').trim()).unwrap(),
        }
    }
}

fn profile(folder: &Path) -> Value {
    let output = assert_cmd::Command::cargo_bin("subwell").unwrap().arg("measure").arg(folder).arg("--json").output();
    let output = output.unwrap();
    serde_json::from_slice::<Value>(&output.stdout).expect("a profile")["modes"][0]["planes"][0].clone()
}

#[test]
fn names_and_ways_of_storing_leave_the_electrons() {
    let folder = tempfile::tempdir().unwrap();
    let plain = folder.path().join("plain");
    std::fs::write(folder.path().join("sensor.toml"), toml::to_string(&truth(96)).unwrap()).unwrap();
    let made = assert_cmd::Command::cargo_bin("subwell")
        .unwrap()
        .arg("simulate")
        .arg(folder.path().join("sensor.toml"))
        .arg("--out")
        .arg(&plain)
        .output()
        .unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let expected = profile(&plain);
    let files = files(&plain);
    type Store = fn(&[u8], &Path);
    let ways: [(&str, Store); 4] = [
        ("other names", |bytes, path| std::fs::write(path.with_extension("fits"), bytes).unwrap()),
        ("gzip", gzip),
        ("an extension", extension),
        ("tile compression", tiles),
    ];
    for (what, store) in ways {
        let other = folder.path().join(what);
        for (number, file) in files.iter().enumerate() {
            // Names that say nothing, in an order that has nothing to do with the time.
            let name = format!("{:04}", (number * 31 + 7) % files.len());
            let kind = file.parent().unwrap().file_name().unwrap();
            std::fs::create_dir_all(other.join(kind)).unwrap();
            store(&std::fs::read(file).unwrap(), &other.join(kind).join(name));
        }
        same(&expected, &profile(&other), what);
    }
}
