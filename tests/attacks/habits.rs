//! A second kind of folder drawn at random: several cameras, sizes and binnings in nested folders, each block of frames with the
//! words of another software, kinds of one frame, kinds that are means, and cards that one kind alone lacks.

use std::fs;
use std::path::Path;

use super::folders::Folder;
use super::whole_frames::{Body, Camera, Chance, DarkLaw, Kind, Says, Session, Shot};

/// FITS Standard 4.0 (2018), section 3: blocks of so many bytes.
const BLOCK: usize = 2880;

/// How a software writes what it knows: keyword and word for each thing.
#[derive(Debug, Clone, Copy)]
struct Dialect {
    kind: Option<&'static str>,
    /// Bias, dark, flat.
    words: [&'static str; 3],
    exposure: Option<&'static str>,
    sensor: Option<&'static str>,
    set_point: Option<&'static str>,
    gain: Option<&'static str>,
    camera: Option<&'static str>,
    clock: Option<&'static str>,
}

const DIALECTS: [Dialect; 6] = [
    Dialect {
        kind: Some("IMAGETYP"),
        words: ["Bias Frame", "Dark Frame", "Flat Field"],
        exposure: Some("EXPTIME"),
        sensor: Some("CCD-TEMP"),
        set_point: Some("SET-TEMP"),
        gain: Some("GAIN"),
        camera: Some("INSTRUME"),
        clock: Some("DATE-OBS"),
    },
    Dialect {
        kind: Some("IMAGETYP"),
        words: ["BIAS", "DARK", "FLAT"],
        exposure: Some("EXPOSURE"),
        sensor: Some("CCD-TEMP"),
        set_point: None,
        gain: Some("GAIN"),
        camera: Some("INSTRUME"),
        clock: Some("DATE-OBS"),
    },
    Dialect {
        kind: Some("FRAME"),
        words: ["Bias", "Dark", "Flat"],
        exposure: Some("EXPTIME"),
        sensor: Some("CCD-TEMP"),
        set_point: None,
        gain: Some("GAIN"),
        camera: Some("INSTRUME"),
        clock: Some("DATE-OBS"),
    },
    Dialect {
        kind: Some("OBSTYPE"),
        words: ["zero", "dark", "dome flat"],
        exposure: Some("EXPOSED"),
        sensor: Some("TEMPERAT"),
        set_point: None,
        gain: None,
        camera: Some("CAMERA"),
        clock: None,
    },
    Dialect {
        kind: None,
        words: [""; 3],
        exposure: Some("EXP"),
        sensor: None,
        set_point: None,
        gain: Some("ISOSPEED"),
        camera: Some("INSTRUME"),
        clock: Some("DATE-OBS"),
    },
    Dialect {
        kind: None,
        words: [""; 3],
        exposure: None,
        sensor: None,
        set_point: None,
        gain: None,
        camera: None,
        clock: None,
    },
];

/// Frames of one camera in one way of reading it.
#[derive(Debug, Clone)]
struct Block {
    body: Body,
    camera: &'static str,
    binning: u32,
    gain: f64,
    celsius: f64,
    dialect: Dialect,
    /// Which kind lacks its gain, its exposure, or its whole header.
    lacks: [Option<Kind>; 3],
    /// Which kind holds means of several exposures, and of how many.
    means: Option<(Kind, usize)>,
    /// The folder of a frame is this, its kind's name before or behind it.
    place: &'static str,
    kind_first: bool,
    names: usize,
}

const KINDS: [Kind; 3] = [Kind::Bias, Kind::Dark, Kind::Flat];

impl Block {
    fn drawn(chance: &mut Chance, number: usize, like: Option<&Self>) -> Self {
        let mut body = like.map_or_else(|| body(chance), |block| block.body);
        let binning = if chance.happens(0.15) { 2 } else { 1 };
        if chance.happens(0.2) {
            (body.width, body.height) = [(32, 32), (40, 30), (64, 48), (100, 20)][chance.below(4)];
        }
        let some = |chance: &mut Chance, share: f64| chance.happens(share).then(|| KINDS[chance.below(3)]);
        let same_camera = chance.happens(0.85);
        Self {
            body,
            camera: if same_camera { "Heron M" } else { ["Heron M Pro", "Egret", "Heron C"][chance.below(3)] },
            binning,
            gain: [100.0, 100.0, 200.0, 800.0][chance.below(4)],
            celsius: [-20.0, -10.0, -10.0, 0.0, 12.5, 31.0][chance.below(6)],
            dialect: like
                .filter(|_| chance.happens(0.6))
                .map_or_else(|| DIALECTS[chance.below(6)], |block| block.dialect),
            lacks: [some(chance, 0.15), some(chance, 0.12), some(chance, 0.08)],
            means: some(chance, 0.15).map(|kind| (kind, 2 + chance.below(4))),
            place: ["", "night 1", "2024-03-09/cam", "iso800", "-10C", "gain100/300s"][(chance.below(6) + number) % 6],
            kind_first: chance.happens(0.5),
            names: chance.below(4),
        }
    }

    fn session(&self, chance: &mut Chance) -> Vec<Shot> {
        let mut session = Session { says: Says::Truth, ..Session::new(self.celsius) };
        let few = |chance: &mut Chance| [1, 1, 2, 3, 4, 6][chance.below(6)];
        session.bias([0, 1, 2, 4, 10][chance.below(5)]);
        let (levels, of_each) = (chance.below(8), [1, 2, 2, 2, 3][chance.below(5)]);
        let full = self.body.saturation() * chance.spread(0.1, 1.3);
        for level in 0..levels {
            for _ in 0..of_each {
                let share = (level as f64 + 0.5) / levels as f64;
                session.take(Kind::Flat, share * 2.0, full / 2.0 * (1.0 + 0.002 * chance.normal()));
            }
        }
        for _ in 0..chance.below(5) {
            if chance.happens(0.3) {
                session.celsius = chance.between(-25.0, 35.0);
            }
            session.dark(few(chance), [0.01, 5.0, 60.0, 180.0, 300.0, 1200.0][chance.below(6)]);
        }
        session.shots
    }

    /// The cards and the name of a frame; `number` tells frames apart.
    fn told(&self, shot: &Shot, number: usize) -> (String, Vec<(&'static str, String)>) {
        let [no_gain, no_time, nothing] = self.lacks.map(|kind| kind == Some(shot.kind));
        let kind = KINDS.iter().position(|kind| *kind == shot.kind).unwrap();
        let Dialect { words, exposure, sensor, set_point, gain, camera, clock, .. } = self.dialect;
        let celsius = format!("{:.1}", shot.celsius);
        let cards = [
            self.dialect.kind.map(|key| (key, format!("'{:<8}'", words[kind]))),
            exposure.filter(|_| !no_time).map(|key| (key, format!("{:.4}", shot.exposure_s))),
            sensor.map(|key| (key, celsius.clone())),
            set_point.map(|key| (key, self.celsius.to_string())),
            gain.filter(|_| !no_gain).map(|key| (key, self.gain.to_string())),
            camera.map(|key| (key, format!("'{:<8}'", self.camera))),
            clock.map(|key| (key, clock_text(shot.at_s))),
            (self.binning > 1).then(|| ("XBINNING", self.binning.to_string())),
            (self.binning > 1).then(|| ("YBINNING", self.binning.to_string())),
            Some(("XPIXSZ", (3.8 * f64::from(self.binning)).to_string())),
        ];
        let cards = cards.into_iter().flatten().filter(|_| !nothing).collect();
        let folder = shot.kind.folder();
        let place = match (self.place, self.kind_first) {
            ("", _) => folder.to_owned(),
            (place, true) => format!("{folder}/{place}"),
            (place, false) => format!("{place}/{folder}"),
        };
        let (time, gain) = (shot.exposure_s, self.gain);
        let name = match self.names {
            0 => format!("{folder}_{time:.3}s_{celsius}C_gain{gain}_{number:03}"),
            1 => format!("{}-{number}", ["bias", "dark", "flat"][kind]),
            2 => format!("img_{number:05}"),
            _ => format!("{time:.3}sec_{number}"),
        };
        (format!("{place}/{name}.fits"), cards)
    }
}

fn body(chance: &mut Chance) -> Body {
    let gain = chance.spread(0.1, 5.0);
    let (step, top) = [(1, 65_535.0), (1, 16_383.0), (4, 16_383.0), (16, 4095.0)][chance.below(4)];
    Body {
        width: 48,
        height: 40,
        gain,
        step,
        top,
        read: gain * chance.spread(0.25, 6.0),
        offset: chance.spread(5.0, 400.0),
        jitter: chance.spread(0.001, 0.5),
        well: chance.spread(3_000.0, 90_000.0),
        prnu: chance.spread(0.001, 0.02),
        dsnu: gain * chance.spread(0.01, 2.0),
        dark: DarkLaw { floor: chance.spread(1e-6, 1e-2), ..DarkLaw::of_depletion(chance.spread(1e-4, 5.0)) },
        ..Body::sound()
    }
}

fn clock_text(seconds: f64) -> String {
    let minutes = (seconds / 60.0).floor();
    format!("'2024-03-09T{:02}:{:02}:{:06.3}'", (minutes / 60.0).floor() % 24.0, minutes % 60.0, seconds % 60.0)
}

/// The bytes of a file with these cards.
fn fits(cards: &[(&str, String)], codes: &[u16], width: usize) -> Vec<u8> {
    let height = codes.len() / width;
    let sizes = [("BITPIX", 16), ("NAXIS", 2), ("NAXIS1", width), ("NAXIS2", height), ("BZERO", 32_768), ("BSCALE", 1)];
    let sizes = sizes.map(|(key, value)| (key, value.to_string()));
    let mut text = format!("{:<80}", format!("{:<8}= {:>20}", "SIMPLE", "T"));
    for (key, value) in sizes.iter().chain(cards) {
        text += &format!("{:<80}", format!("{key:<8}= {value:>20}"));
    }
    text += &format!("{:<80}", "END");
    let mut bytes = text.into_bytes();
    bytes.resize(bytes.len().next_multiple_of(BLOCK), b' ');
    bytes.extend(codes.iter().flat_map(|code| (code ^ 0x8000).to_be_bytes()));
    bytes.resize(bytes.len().next_multiple_of(BLOCK), 0);
    bytes
}

/// The mean of several exposures, in whole counts.
fn mean_of(camera: &mut Camera, shot: &Shot, count: usize) -> Vec<u16> {
    let mut sums = vec![0_u32; camera.body.pixels()];
    for _ in 0..count {
        sums.iter_mut().zip(camera.expose(shot)).for_each(|(sum, code)| *sum += u32::from(code));
    }
    sums.into_iter().map(|sum| (f64::from(sum) / count as f64).round_ties_even() as u16).collect()
}

fn write(folder: &Path, block: &Block, camera: &mut Camera, (shots, first): (&[Shot], usize)) {
    for (place, shot) in shots.iter().enumerate() {
        let means = block.means.filter(|(kind, _)| *kind == shot.kind).map_or(1, |(_, count)| count);
        let codes = mean_of(camera, shot, means);
        let (file, cards) = block.told(shot, first + place);
        let path = folder.join(file);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, fits(&cards, &codes, camera.body.width)).unwrap();
    }
}

fn words(chance: &mut Chance) -> Vec<String> {
    let all: [&[&str]; 4] =
        [&["--sensor-c", "-5"], &["--cfa", "RGGB"], &["--region", "2,2,24,18"], &["--pixel-um", "4"]];
    let chosen = all.into_iter().filter(|_| chance.happens(0.08));
    chosen.flatten().map(|word| (*word).to_owned()).collect()
}

/// The folder that this seed draws.
pub(crate) fn drawn(seed: u64) -> Folder {
    let mut chance = Chance::new(seed.wrapping_mul(2_862_933_555).wrapping_add(3));
    let place = tempfile::tempdir().unwrap();
    let mut before: Option<Block> = None;
    let (mut told, mut written) = (String::new(), 0);
    for number in 0..1 + chance.below(3) {
        let block = Block::drawn(&mut chance, number, before.as_ref());
        let shots = block.session(&mut chance);
        let body = Body { gain: block.body.gain * 100.0 / block.gain, ..block.body };
        write(place.path(), &block, &mut Camera::new(body, Vec::new(), seed ^ number as u64), (&shots, written));
        written += shots.len();
        told += &format!("{} frames, {block:?}\n", shots.len());
        before = Some(block);
    }
    Folder::new(place, words(&mut chance), told)
}
