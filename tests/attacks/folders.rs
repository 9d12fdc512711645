//! Folders of frames drawn at random: counts, kinds, temperatures, settings and labels as no checklist would have them.

use std::fs;
use std::path::{Path, PathBuf};

use super::whole_frames::{Body, Camera, Chance, DarkLaw, Fault, Kind, Says, Session, Shot, fits_bytes};

/// A folder of frames on the disk, and what was drawn for it.
pub(crate) struct Folder {
    place: tempfile::TempDir,
    /// More words for `measure`.
    pub(crate) words: Vec<String>,
    /// One line on what is in it.
    pub(crate) told: String,
}

impl Folder {
    /// The folder that this seed draws.
    pub(crate) fn drawn(seed: u64) -> Self {
        let mut chance = Chance::new(seed.wrapping_mul(6_364_136_223).wrapping_add(1));
        let body = body(&mut chance);
        let faults = faults(&mut chance, &body);
        let habits = Habits::drawn(&mut chance);
        let mut shots = Vec::new();
        for (number, setting) in habits.settings.iter().enumerate() {
            shots.extend(session(&mut chance, &body, &habits, (number, *setting)));
        }
        mislabel(&mut chance, &mut shots);
        let place = tempfile::tempdir().unwrap();
        write(place.path(), &shots, Camera::new(body, faults.clone(), seed), &mut chance);
        let words = words(&mut chance, &body);
        let told = format!("{} frames, {body:?}, {faults:?}, {habits:?}", shots.len());
        Self { place, words, told }
    }

    /// Of frames that lie in `place`.
    pub(crate) fn new(place: tempfile::TempDir, words: Vec<String>, told: String) -> Self {
        Self { place, words, told }
    }

    /// Where the frames stay.
    pub(crate) fn keep(self) -> PathBuf {
        self.place.keep()
    }

    pub(crate) fn path(&self) -> &Path {
        self.place.path()
    }

    /// A file beside the frames.
    pub(crate) fn beside(&self, name: &str) -> PathBuf {
        self.place.path().join(name)
    }
}

/// How the photographer keeps frames, and what the software writes; the same for the whole folder.
#[derive(Debug, Clone)]
struct Habits {
    /// Gain settings: the driver's number, and what it does to the electrons per step.
    settings: Vec<(f64, f64)>,
    /// Where the setting is told: header, ISO, folder, nowhere.
    setting_in: usize,
    /// Where the kind is told by the path: folder, name, nowhere.
    kind_in: usize,
    kind_in_header: bool,
    exposure_in_header: bool,
    /// Whether exposure and temperature stand in the names.
    in_names: bool,
    says: Says,
    /// Scatter of the sensor's temperature from frame to frame, and its climb, in kelvins.
    wander: f64,
    warming: f64,
    clock: bool,
    set_point: bool,
    pattern: bool,
    pixel: bool,
    /// Share of the cards that are lost at random.
    lost: f64,
}

impl Habits {
    fn drawn(chance: &mut Chance) -> Self {
        let settings = [(100.0, 1.0), (200.0, 0.5), (400.0, 0.25)];
        let count = [1, 1, 1, 2, 3][chance.below(5)];
        let says = match chance.below(4) {
            0 => Says::Nothing,
            1 => Says::Always(-10.0),
            _ => Says::Truth,
        };
        Self {
            settings: settings[..count].to_vec(),
            setting_in: chance.below(4),
            kind_in: chance.below(3),
            kind_in_header: chance.happens(0.85),
            exposure_in_header: chance.happens(0.9),
            in_names: chance.happens(0.3),
            says,
            wander: [0.0, 0.0, 0.02, 0.3, 2.0][chance.below(5)],
            warming: [0.0, 0.0, 0.01, 0.2][chance.below(4)],
            clock: chance.happens(0.8),
            set_point: chance.happens(0.3),
            pattern: chance.happens(0.15),
            pixel: chance.happens(0.95),
            lost: [0.0, 0.0, 0.0, 0.05][chance.below(4)],
        }
    }
}

fn body(chance: &mut Chance) -> Body {
    let gain = chance.spread(0.05, 8.0);
    let (step, top) = [(1, 65_535.0), (1, 4_095.0), (4, 16_383.0), (16, 4_095.0)][chance.below(4)];
    let (width, height) = [(48, 40), (48, 40), (64, 32), (32, 30)][chance.below(4)];
    Body {
        width,
        height,
        gain,
        step,
        top,
        read: gain * chance.spread(0.2, 8.0),
        offset: if chance.happens(0.15) { chance.between(0.0, 5.0) } else { chance.spread(10.0, 1000.0) },
        offset_per_kelvin: if chance.happens(0.3) { chance.between(-0.5, 0.5) } else { 0.0 },
        jitter: chance.spread(0.001, 1.0),
        well: chance.spread(2_000.0, 120_000.0),
        curvature: 0.0,
        prnu: chance.spread(0.001, 0.03),
        dsnu: gain * chance.spread(0.01, 3.0),
        dark: DarkLaw::of_depletion(chance.spread(1e-4, 30.0)),
        dark_spread: chance.between(0.0, 1.0),
    }
}

fn faults(chance: &mut Chance, body: &Body) -> Vec<Fault> {
    let offset = body.offset as u16;
    let all = [
        Fault::Vignette { loss: 0.5 },
        Fault::Rows { steps: 0.5 },
        Fault::Columns { steps: 0.3, jumping: 0.05, jump: 5.0 },
        Fault::Settling { steps: 12.0, over_s: 900.0 },
        Fault::Leak { e_per_s: 0.05, across: 0.8 },
        Fault::Stars { count: 3, brightest: 50_000.0, drift_px: 3.0 },
        Fault::Clamp { code: offset.saturating_mul(body.step as u16) },
        Fault::Flicker { depth: 0.02, rows: 15.0 },
        Fault::TwoConverters { apart: 0.02 },
    ];
    all.into_iter().filter(|_| chance.happens(0.08)).collect()
}

/// The frames of one setting.
fn session(chance: &mut Chance, body: &Body, habits: &Habits, (number, setting): (usize, (f64, f64))) -> Vec<Shot> {
    let warm = [-10.0, 5.0, 20.0][chance.below(3)];
    let mut session = Session { says: habits.says, warming: habits.warming, ..Session::new(warm) };
    session.clock_s = 4000.0 * number as f64;
    session.bias([0, 1, 2, 3, 5, 8, 12][chance.below(7)]);
    flats(chance, body, setting.1, &mut session);
    darks(chance, &mut session);
    if chance.happens(0.2) {
        session.bias(chance.below(4));
    }
    let mut shots = session.shots;
    for (place, shot) in shots.iter_mut().enumerate() {
        let off = habits.wander * chance.normal();
        shot.celsius += off;
        if habits.says == Says::Truth {
            // Drivers write a tenth, a hundredth, or all digits.
            shot.told.celsius = Some([10.0, 100.0, 1e6].map(|per| (shot.celsius * per).round() / per)[number % 3]);
        }
        tell(chance, habits, setting, place, shot);
    }
    shots
}

fn flats(chance: &mut Chance, body: &Body, times: f64, session: &mut Session) {
    let full = body.saturation() * times.min(1.0);
    let levels = chance.below(9);
    let of_each = [1, 2, 2, 2, 3, 4, 10][chance.below(7)];
    let one_exposure = chance.happens(0.2);
    let highest = chance.spread(0.05, 1.6);
    for level in 0..levels {
        let share = highest * (level as f64 + 1.0) / levels as f64;
        for _ in 0..of_each {
            let lamp = 1.0 + 0.003 * chance.normal();
            let (exposure, light) = if one_exposure { (1.0, full * share) } else { (share, full) };
            session.take(Kind::Flat, exposure, light * lamp);
        }
    }
}

fn darks(chance: &mut Chance, session: &mut Session) {
    for _ in 0..[0, 1, 1, 2, 2, 3, 3, 4, 6][chance.below(9)] {
        if chance.happens(0.5) {
            session.celsius += chance.between(-8.0, 8.0);
        } else if chance.happens(0.2) {
            session.celsius += 0.1;
        }
        let exposure = [1.0, 10.0, 30.0, 60.0, 60.0, 120.0, 300.0, 300.0, 600.0][chance.below(9)];
        session.dark([1, 1, 2, 3, 4, 5, 8][chance.below(7)], exposure);
        session.wait([0.0, 0.0, 600.0, 40_000.0][chance.below(4)]);
    }
}

/// What header and path say of a frame.
fn tell(chance: &mut Chance, habits: &Habits, (setting, times): (f64, f64), place: usize, shot: &mut Shot) {
    let kept = |chance: &mut Chance, rule: bool| rule && !chance.happens(habits.lost);
    shot.gain_times = times;
    let told = &mut shot.told;
    told.kind = told.kind.filter(|_| kept(chance, habits.kind_in_header));
    told.exposure_s = told.exposure_s.filter(|_| kept(chance, habits.exposure_in_header));
    told.celsius = told.celsius.filter(|_| kept(chance, true));
    told.gain = kept(chance, habits.setting_in == 0).then_some(setting);
    told.iso = kept(chance, habits.setting_in == 1).then_some(setting);
    told.set_point = kept(chance, habits.set_point).then_some(-10.0);
    told.pixel_um = habits.pixel.then_some(3.8);
    told.pattern = habits.pattern.then_some("RGGB");
    told.clock = kept(chance, habits.clock);
    let folder = match (habits.setting_in, habits.kind_in) {
        (2, 0) => format!("{}/iso{setting}", shot.kind.folder()),
        (2, _) => format!("iso{setting}"),
        (_, 0) => shot.kind.folder().to_owned(),
        _ => "all".to_owned(),
    };
    let name = if habits.kind_in == 1 { shot.kind.folder() } else { "img" };
    let more = if habits.in_names { format!("_{:.3}s_{:.1}C", shot.exposure_s, shot.celsius) } else { String::new() };
    shot.file = format!("{folder}/{name}{more}_{setting}-{place:04}.fits");
}

/// In some folders a few frames are called what they are not.
fn mislabel(chance: &mut Chance, shots: &mut [Shot]) {
    if !chance.happens(0.25) {
        return;
    }
    for shot in shots {
        if chance.happens(0.04) {
            let others = ["Bias Frame", "Dark Frame", "Flat Frame", "Light Frame"];
            shot.told.kind = Some(others[chance.below(4)]);
        }
    }
}

/// Writes the frames; a few are broken off, empty, or copies of others.
fn write(folder: &Path, shots: &[Shot], mut camera: Camera, chance: &mut Chance) {
    let spoiled = if chance.happens(0.15) { 0.05 } else { 0.0 };
    let mut before: Option<Vec<u16>> = None;
    for shot in shots {
        let mut codes = camera.expose(shot);
        if chance.happens(spoiled)
            && let Some(before) = &before
        {
            codes.clone_from(before);
        }
        let mut bytes = fits_bytes(shot, &codes, camera.body.width);
        if chance.happens(spoiled) {
            bytes.truncate(chance.below(bytes.len()));
        }
        if chance.happens(spoiled) {
            codes.fill(0);
            bytes = fits_bytes(shot, &codes, camera.body.width);
        }
        before = Some(codes);
        let path = folder.join(&shot.file);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }
}

/// Options of `measure`, seldom.
fn words(chance: &mut Chance, body: &Body) -> Vec<String> {
    let mut words = Vec::new();
    if chance.happens(0.1) {
        words.extend(["--sensor-c".into(), "5".into()]);
    }
    if chance.happens(0.1) {
        words.extend(["--gain-e-per-dn".into(), format!("{:.3}", body.gain_per_dn() * chance.spread(0.8, 1.2))]);
    }
    if chance.happens(0.1) {
        words.extend(["--region".into(), "4,4,20,20".into()]);
    }
    words
}
