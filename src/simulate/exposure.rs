//! One exposure: light and heat make electrons, the well holds them, the converter counts them.

use std::collections::BTreeMap;

use ndarray::Array2;
use rand::RngExt;
use rand_distr::{Distribution, Exp1, Poisson};
use rand_xoshiro::Xoshiro256PlusPlus;

use crate::frames::{Frame, FrameInfo, FrameKind};

use super::pattern::{Pattern, Stream, chance, normal};
use super::scene::{Scene, Seen};
use crate::units::{Celsius, Colour};

use super::{Course, SensorTruth, clock};

/// Mean charge of a particle's hit; single hits are exponential about it. Made up: real ones
/// depend on the thickness of the silicon.
const MEAN_HIT_E: f64 = 1500.0;
/// Seconds between the end of one exposure and the start of the next.
const BETWEEN_FRAMES_S: i64 = 2;
/// More frames than this are never asked for; further readings of a frame draw their chance from beyond.
const BETWEEN_READINGS: usize = 1_000_000;

/// A sensor that exists only as numbers.
///
/// ```text
/// e  = min(Poisson((L·s·r·v·c + D·d + floor + glow)·t) + hits, full well)
/// DN = step · clip(round(offset/step + (e + level + row + telegraph + read)/g), 0, 2^bits − 1)
/// ```
///
/// `L` light and `D` dark current in e⁻/s, `s` the scene (gradient, stars, nebula; light frames only), `r` the pixel's response, `v` the vignetting, `c` the
/// colour's share of the light, `d` the pixel's dark current over the mean, `t` the exposure, `g` the
/// gain in e⁻ per step; level, row, telegraph and read are the dark pattern and the noises in e⁻.
/// Electrons are whole numbers; noise before the converter is normal, so it may carry a count below
/// the offset, and what falls below 0 is lost as in a real converter.
///
/// # Source
/// The linear model of EMVA Standard 1288, Release 4.0 Linear (2021), equation 15 (as quoted by
/// secondary texts): its mean and variance are those of these counts while nothing is clipped.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulatedSensor {
    truth: SensorTruth,
    pattern: Pattern,
    /// What a lossy tone curve makes of each converter code over the offset; empty without one.
    tone_curve: Vec<u16>,
}

/// The frames asked for, one at a time, in order.
#[must_use]
pub fn frames(truth: &SensorTruth) -> impl ExactSizeIterator<Item = Frame> + use<> {
    let sensor = SimulatedSensor::new(truth);
    let places: Vec<Place> = places(truth).collect();
    places.into_iter().map(move |place| sensor.exposed(&place))
}

/// The frame at `index` alone, the same as [`frames`] gives at that place; `None` past the end.
///
/// Where several are needed, [`SimulatedSensor`] makes the pattern only once.
#[must_use]
pub fn one_frame(truth: &SensorTruth, index: usize) -> Option<Frame> {
    SimulatedSensor::new(truth).frame(index)
}

/// Where a frame stands among those asked for.
#[derive(Clone, Copy)]
struct Place {
    index: usize,
    group: usize,
    /// Its number among the frames of its group, from 0.
    in_group: usize,
    /// Its number among the frames of its kind, from 1.
    number: usize,
    /// Seconds since 1970.
    taken: i64,
}

fn places(truth: &SensorTruth) -> impl Iterator<Item = Place> + '_ {
    let mut index = 0;
    let mut taken = clock::seconds(&truth.start).unwrap_or(0);
    let mut taken_of_kind = BTreeMap::new();
    let groups = truth.frames.iter().enumerate();
    let frames = groups.flat_map(|(group, asked)| (0..asked.count).map(move |in_group| (group, in_group, asked)));
    frames.map(move |(group, in_group, asked)| {
        let number = taken_of_kind.entry(asked.kind).and_modify(|number| *number += 1).or_insert(1);
        let place = Place { index, group, in_group, number: *number, taken };
        index += 1;
        taken += asked.exposure_s.0.ceil() as i64 + BETWEEN_FRAMES_S;
        place
    })
}

impl SensorTruth {
    /// The sensor's temperature in a frame, to a tenth of a kelvin where it wanders: that is what headers hold.
    fn temperature(&self, place: &Place) -> Option<Celsius> {
        let asked = self.frames[place.group].sensor_c?;
        if self.temperature_jitter_c == 0.0 {
            return Some(asked);
        }
        // Numbers of its own, so that no other chance changes with it.
        let wander = self.temperature_jitter_c * normal(&mut chance(self.seed, Stream::WholeFrame(place.index), 1));
        Some(Celsius(((asked.0 + wander) * 10.0).round() / 10.0))
    }

    /// What a light frame sees of the sky; `None` for a frame of another kind.
    fn seen(&self, place: &Place) -> Option<Seen> {
        let group = &self.frames[place.group];
        let at = |course: Course| course.at(place.in_group, group.count);
        let moved = group.step_px.map(|step| f64::from(step) * place.in_group as f64);
        (group.kind == FrameKind::Light).then(|| Seen {
            sky: at(group.sky_factor),
            transparency: at(group.transparency),
            star_width: at(group.star_width_factor),
            nebula: group.nebula_fraction.unwrap_or(self.nebula_fraction),
            moved,
        })
    }

    /// The names of the frames asked for, in order, such as `flat/flat_0001.fits`.
    pub fn frame_names(&self) -> impl Iterator<Item = String> + '_ {
        places(self).map(|place| name(self.frames[place.group].kind, place.number))
    }
}

fn name(kind: FrameKind, number: usize) -> String {
    format!("{kind}/{kind}_{number:04}.fits")
}

/// A particle's hit.
struct Hit {
    row: usize,
    column: usize,
    electrons: f64,
}

impl SimulatedSensor {
    /// The sensor of this truth, with the pattern that its seed gives it.
    #[must_use]
    pub fn new(truth: &SensorTruth) -> Self {
        let highest = truth.highest_dn() / truth.dn_step.max(1);
        let tone_curve = truth.oddity.tone_curve(truth.gain_e_per_adc_step.0, highest);
        Self { truth: truth.clone(), pattern: Pattern::from_truth(truth), tone_curve }
    }

    /// What is fixed in it.
    #[must_use]
    pub fn pattern(&self) -> &Pattern {
        &self.pattern
    }

    /// The frame at `index` of those asked for; `None` past the end.
    #[must_use]
    pub fn frame(&self, index: usize) -> Option<Frame> {
        places(&self.truth).nth(index).map(|place| self.exposed(&place))
    }

    fn exposed(&self, place: &Place) -> Frame {
        let truth = &self.truth;
        let averaged = if truth.frames[place.group].kind == FrameKind::Dark { truth.oddity.averaged_darks } else { 1 };
        let mut pixels = self.read(place);
        if averaged > 1 {
            let mut sum = pixels.mapv(u32::from);
            for more in 1..averaged {
                let reading = self.read(&Place { index: place.index + more * BETWEEN_READINGS, ..*place });
                sum.zip_mut_with(&reading, |sum, &count| *sum += u32::from(count));
            }
            pixels = sum.mapv(|sum| (f64::from(sum) / averaged as f64).round() as u16);
        }
        Frame { info: self.info(place), pixels }
    }

    /// One reading of the sensor.
    fn read(&self, place: &Place) -> Array2<u16> {
        let truth = &self.truth;
        let exposure = Exposure::new(self, place);
        let mut pixels = Array2::zeros((truth.height_px, truth.width_px));
        let rng = |row: usize| chance(truth.seed, Stream::Frame(place.index), row);
        if truth.oddity.neighbour_coupling > 0.0 {
            let (mut charge, mut noise) = (Array2::zeros(pixels.dim()), Array2::zeros(pixels.dim()));
            for row in 0..truth.height_px {
                exposure.read_row(row, &mut rng(row), |column, held, row_e, level_e| {
                    charge[(row, column)] = held;
                    noise[(row, column)] = row_e + level_e;
                });
            }
            let seen = truth.oddity.shared(&charge) + noise;
            pixels.zip_mut_with(&seen, |count, &seen| *count = exposure.count(seen));
        } else {
            for (row, mut line) in pixels.outer_iter_mut().enumerate() {
                exposure.read_row(row, &mut rng(row), |column, held, row_e, level_e| {
                    line[column] = exposure.count(held + row_e + level_e);
                });
            }
        }
        truth.oddity.filtered(pixels, if truth.cfa.is_some() { 2 } else { 1 })
    }

    fn info(&self, place: &Place) -> FrameInfo {
        let (truth, group) = (&self.truth, &self.truth.frames[place.group]);
        FrameInfo {
            file: name(group.kind, place.number),
            kind: group.kind,
            why: "simulated".into(),
            camera: Some(truth.camera.clone()),
            width: truth.width_px,
            height: truth.height_px,
            gain_setting: truth.gain_setting,
            offset_setting: truth.offset_setting,
            readout_mode: None,
            binning: [1, 1],
            pixel: truth.pixel_um,
            exposure: group.exposure_s,
            sensor: truth.temperature(place),
            set_point: group.sensor_c.filter(|_| truth.set_point),
            cfa: truth.cfa,
            taken: Some(clock::written(place.taken)),
            filter: group.filter.clone(),
        }
    }
}

/// One frame about to be written: what all its pixels share, as plain numbers in electrons.
struct Exposure<'a> {
    sensor: &'a SimulatedSensor,
    light_e: f64,
    scene: Option<Scene>,
    dark_e: f64,
    floor_e: f64,
    glow_e: f64,
    level_steps: f64,
    highest_step: f64,
    hits: Vec<Hit>,
}

impl<'a> Exposure<'a> {
    fn new(sensor: &'a SimulatedSensor, place: &Place) -> Self {
        let (truth, group) = (&sensor.truth, &sensor.truth.frames[place.group]);
        let mut rng = chance(truth.seed, Stream::WholeFrame(place.index), 0);
        let pedestal = truth.oddity.flat_pedestal_dn.filter(|_| group.kind == FrameKind::Flat);
        let drifted = (place.index % BETWEEN_READINGS) as f64 / (truth.frame_count() as f64 - 1.0).max(1.0);
        let level_dn = pedestal.unwrap_or(truth.offset_dn).0
            + truth.level_jitter_dn.0 * normal(&mut rng)
            + truth.oddity.level_drift_dn.0 * drifted;
        let dark_law = truth.dark_law(truth.temperature(place).unwrap_or(truth.dark_at_c));
        let exposure_s = group.exposure_s.0;
        Self {
            sensor,
            light_e: group.light_e_per_s.0 * exposure_s,
            scene: truth.seen(place).map(|seen| Scene::from_truth(truth, &seen)),
            dark_e: truth.dark_e_per_s.0 * dark_law * exposure_s,
            floor_e: truth.dark_floor_e_per_s.0 * exposure_s,
            glow_e: truth.glow_e_per_s.0 * exposure_s,
            level_steps: level_dn / f64::from(truth.dn_step),
            highest_step: f64::from(truth.highest_dn() / truth.dn_step.max(1)),
            hits: hits(truth, exposure_s, &mut rng),
        }
    }

    /// Charge, row noise and dark level of each pixel of a row, in electrons.
    fn read_row(&self, row: usize, rng: &mut Xoshiro256PlusPlus, mut take: impl FnMut(usize, f64, f64, f64)) {
        let truth = &self.sensor.truth;
        let hits: Vec<&Hit> = self.hits.iter().filter(|hit| hit.row == row).collect();
        let row_e = truth.row_noise_e.0 * normal(rng);
        for column in 0..truth.width_px {
            let struck: f64 = hits.iter().filter(|hit| hit.column == column).map(|hit| hit.electrons).sum();
            let held = (electrons(self.mean_e(row, column), rng) + struck).min(truth.full_well_e.0);
            take(column, held, row_e, self.dark_level_e(row, column, rng));
        }
    }

    /// The stored count of `seen` electrons.
    fn count(&self, seen: f64) -> u16 {
        let truth = &self.sensor.truth;
        let steps = (self.level_steps + seen / truth.gain_e_per_adc_step.0).round();
        // A float beyond the type's range saturates, so the cast cannot wrap.
        let code = steps.clamp(0.0, self.highest_step);
        let code = (code * truth.oddity.digital_gain).round().min(self.highest_step) as u16;
        let black = self.level_steps as u16;
        let over = self.sensor.tone_curve.get(usize::from(code.saturating_sub(black)));
        let code = over.filter(|_| code > black).map_or(code, |over| black.saturating_add(*over));
        code.min(self.highest_step as u16) * truth.dn_step
    }

    /// Electrons expected from light and heat.
    fn mean_e(&self, row: usize, column: usize) -> f64 {
        let pattern = &self.sensor.pattern;
        let scene = self.scene.as_ref().map_or(1.0, |scene| scene.at(row, column));
        let light = self.light_e * scene * f64::from(pattern.response[(row, column)]) * self.light_share(row, column);
        let dark = self.dark_e * f64::from(pattern.dark_factor[(row, column)]) + self.floor_e;
        light + dark + self.glow_e(row, column)
    }

    /// Electrons expected from the amplifier in the corner.
    fn glow_e(&self, row: usize, column: usize) -> f64 {
        let truth = &self.sensor.truth;
        if self.glow_e == 0.0 {
            return 0.0;
        }
        self.glow_e * (-(row as f64).hypot(column as f64) / truth.glow_scale_px).exp()
    }

    /// Light on a pixel over that in the middle of the field, as its colour sees it.
    fn light_share(&self, row: usize, column: usize) -> f64 {
        let truth = &self.sensor.truth;
        let colour = match truth.cfa.map(|pattern| pattern.colour(row, column)) {
            Some(Colour::Red) => truth.light_colour.R,
            Some(Colour::Blue) => truth.light_colour.B,
            Some(_) => truth.light_colour.G,
            None => 1.0,
        };
        if truth.vignetting_percent == 0.0 {
            return colour;
        }
        let (y, x) = ((truth.height_px as f64 - 1.0) / 2.0, (truth.width_px as f64 - 1.0) / 2.0);
        let square = |dy: f64, dx: f64| dy * dy + dx * dx;
        let towards_corner = square(row as f64 - y, column as f64 - x) / square(y, x).max(1.0);
        colour * (1.0 - truth.vignetting_percent / 100.0 * towards_corner)
    }

    /// The pixel's level over the offset in this frame: pattern, telegraph jump and read noise.
    fn dark_level_e(&self, row: usize, column: usize, rng: &mut Xoshiro256PlusPlus) -> f64 {
        let (truth, pattern) = (&self.sensor.truth, &self.sensor.pattern);
        let half_jump = truth.telegraph_e.0 / 2.0;
        let jump = match pattern.telegraph[(row, column)] {
            true if rng.random::<bool>() => half_jump,
            true => -half_jump,
            false => 0.0,
        };
        f64::from(pattern.level_e[(row, column)]) + jump + truth.read_noise_e.0 * normal(rng)
    }
}

/// A whole number of electrons where `mean` are expected.
fn electrons(mean: f64, rng: &mut Xoshiro256PlusPlus) -> f64 {
    // The library refuses a mean of 0, which needs no chance.
    Poisson::new(mean).map_or(0.0, |poisson| poisson.sample(rng))
}

fn hits(truth: &SensorTruth, exposure_s: f64, rng: &mut Xoshiro256PlusPlus) -> Vec<Hit> {
    if truth.width_px == 0 || truth.height_px == 0 {
        return Vec::new();
    }
    let count = electrons(truth.cosmic_rays_per_s * exposure_s, rng) as usize;
    (0..count)
        .map(|_| {
            let charge: f64 = Exp1.sample(rng);
            Hit {
                row: rng.random_range(0..truth.height_px),
                column: rng.random_range(0..truth.width_px),
                electrons: (MEAN_HIT_E * charge).round(),
            }
        })
        .collect()
}
