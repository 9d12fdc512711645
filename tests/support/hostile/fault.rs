//! Assumptions that do not hold: those of the light and of the charge.

use super::chance::Chance;
use super::field::Field;
use super::shot::{Kind, Shot};

/// One assumption that does not hold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Fault {
    /// The corners get less light: a share of the middle's.
    Vignette { loss: f64 },
    /// The light has a slope from one side of the frame to the other, a share of the middle's; `turning` from flat to flat.
    SkyGradient { across: f64, turning: bool },
    /// Dust shades spots of the flats; after each `moved_after` frames it lies elsewhere.
    Dust { spots: usize, moved_after: usize },
    /// A leaf shutter takes this long to open from the middle to the corner.
    Blades { opening_s: f64 },
    /// Stars in flats of the sky, the brightest with so many electrons; the sky moves by some pixels from frame to frame.
    Stars { count: usize, brightest: f64, drift_px: f64 },
    /// A lamp on alternating current makes bands so many rows apart, at another place in each frame.
    Flicker { depth: f64, rows: f64 },
    /// The pixels' response has a slope from side to side.
    ResponseGradient { across: f64 },
    /// Light leaks in, also without exposure to the lamp: e⁻/s in the mean, with a slope from side to side.
    Leak { e_per_s: f64, across: f64 },
    /// The places of each 2 × 2 cell get different light.
    Colours([f64; 4]),
    /// A saturated flat leaves a share of its charge behind, which comes out over this time.
    Ghost { share: f64, decay_s: f64 },
    /// Damp on the sensor's board: a patch leaks, more with every hour, in e⁻/s.
    Frost { per_hour: f64 },
    /// Each pixel shares this part of its signal with each of four neighbours.
    Coupling { share: f64 },
    /// Each row has its own level in each frame.
    Rows { steps: f64 },
    /// A wave over the rows, at another place in each frame.
    RollingBands { steps: f64, rows: f64 },
    /// Smooth blotches of this size, others in each frame.
    Blotches { steps: f64, pixels: f64 },
    /// Columns have their own level in each frame, and a share of them jump.
    Columns { steps: f64, jumping: f64, jump: f64 },
    /// The right half's gain grows with the clock.
    HalfDrift { per_hour: f64 },
    /// Even and odd columns have converters of their own whose gains lie this share apart.
    TwoConverters { apart: f64 },
    /// Slanted stripes from the power supply, at another place in each frame.
    Stripes { steps: f64, pixels: f64 },
    /// The level starts higher by so many steps and settles over this time.
    Settling { steps: f64, over_s: f64 },
    /// The camera writes no code below this one.
    Clamp { code: u16 },
    /// In exposures longer than this the camera leaves no pixel above all its eight neighbours.
    CutPeaks { from_s: f64 },
}

/// The taking of one frame, as a fault sees it.
pub(super) struct Taking<'a> {
    pub(super) shot: &'a Shot,
    /// Frames of this camera before it.
    pub(super) number: usize,
    /// Chance that is the same in all frames of a camera.
    pub(super) fixed: Chance,
}

impl Fault {
    /// Changes the light of a flat, in e⁻ in each pixel.
    pub(super) fn shape_light(self, light: &mut Field, taking: &Taking<'_>, chance: &mut Chance) {
        match self {
            Self::Vignette { loss } => light.each_placed(|x, y, value| *value *= 1.0 - loss * (x * x + y * y) / 2.0),
            Self::SkyGradient { across, turning } => {
                let angle = if turning { chance.between(0.0, std::f64::consts::TAU) } else { 0.6 };
                let (sine, cosine) = angle.sin_cos();
                light.each_placed(|x, y, value| *value *= 1.0 + across / 2.0 * (x * cosine + y * sine));
            }
            Self::Dust { spots, moved_after } => {
                let mut lying = taking.fixed.clone();
                (0..taking.number / moved_after.max(1)).for_each(|_| {
                    (0..3 * spots).for_each(|_| {
                        lying.share();
                    });
                });
                (0..spots).for_each(|_| shade(light, &mut lying));
            }
            Self::Blades { opening_s } => {
                let exposure = taking.shot.exposure_s;
                light.each_placed(|x, y, value| {
                    let late = opening_s * ((x * x + y * y) / 2.0).sqrt();
                    *value *= ((exposure - late) / exposure).max(0.0);
                });
            }
            Self::Stars { count, brightest, drift_px } => {
                let (dx, dy) = (chance.normal() * drift_px, chance.normal() * drift_px);
                let mut sky = taking.fixed.clone();
                for _ in 0..count {
                    let (x, y) = (sky.share() * light.width as f64 + dx, sky.share() * light.height as f64 + dy);
                    star(light, x, y, brightest * sky.share().powf(1.5));
                }
            }
            Self::Flicker { depth, rows } => {
                let phase = chance.between(0.0, std::f64::consts::TAU);
                light.each(|_, row, value| {
                    *value *= 1.0 + depth * (std::f64::consts::TAU * row as f64 / rows + phase).sin();
                });
            }
            Self::Colours(cells) => light.each(|column, row, value| *value *= cells[2 * (row % 2) + column % 2]),
            _ => {}
        }
    }

    /// Changes how the pixels answer to light, in shares.
    pub(super) fn shape_response(self, response: &mut Field) {
        if let Self::ResponseGradient { across } = self {
            response.each_placed(|x, _, value| *value += across / 2.0 * x);
        }
    }

    /// Adds electrons that are expected whatever the lamp does.
    pub(super) fn add_charge(self, charge: &mut Field, shot: &Shot) {
        match self {
            Self::Leak { e_per_s, across } => {
                charge.each_placed(|x, y, value| {
                    *value += e_per_s * shot.exposure_s * (1.0 + across / 2.0 * (x + 0.5 * y)).max(0.0);
                });
            }
            Self::Frost { per_hour } => {
                let rate = per_hour * (shot.at_s + shot.exposure_s / 2.0) / 3600.0;
                charge.each_placed(|x, y, value| {
                    let near = (-((x - 0.3).powi(2) + (y + 0.2).powi(2)) / 0.18).exp();
                    *value += rate * shot.exposure_s * near;
                });
            }
            _ => {}
        }
    }
}

/// The shadow of a grain of dust: a disc somewhere that takes up to an eighth of the light.
fn shade(light: &mut Field, lying: &mut Chance) {
    let (x, y) = (lying.share() * light.width as f64, lying.share() * light.height as f64);
    let depth = 0.03 + 0.1 * lying.share();
    let radius = light.width as f64 / 24.0;
    light.each(|column, row, value| {
        let distance = (column as f64 - x).hypot(row as f64 - y) / radius;
        if distance < 1.0 {
            *value *= 1.0 - depth * (1.0 - distance.powi(4));
        }
    });
}

/// A star of 1.5 px, cut at 8 px.
fn star(light: &mut Field, x: f64, y: f64, electrons: f64) {
    const SIGMA: f64 = 1.5;
    const REACH: i64 = 8;
    let (middle_x, middle_y) = (x.round() as i64, y.round() as i64);
    for row in (middle_y - REACH).max(0)..(middle_y + REACH + 1).min(light.height as i64) {
        for column in (middle_x - REACH).max(0)..(middle_x + REACH + 1).min(light.width as i64) {
            let square = (column as f64 - x).powi(2) + (row as f64 - y).powi(2);
            let share = (-square / (2.0 * SIGMA * SIGMA)).exp() / (std::f64::consts::TAU * SIGMA * SIGMA);
            light.values[row as usize * light.width + column as usize] += electrons * share;
        }
    }
}

/// What a saturated flat left behind.
#[derive(Debug, Clone)]
pub(super) struct Trapped {
    charge: Field,
    since_s: f64,
    decay_s: f64,
}

impl Trapped {
    /// What `charge` leaves where a flat fills pixels to `full`.
    pub(super) fn after(fault: Fault, shot: &Shot, charge: &Field, full: f64) -> Option<Self> {
        let Fault::Ghost { share, decay_s } = fault else { return None };
        let filled = shot.kind == Kind::Flat && charge.mean() > 0.9 * full;
        filled.then(|| {
            let mut left = charge.clone();
            left.scale(share);
            Self { charge: left, since_s: shot.at_s + shot.exposure_s, decay_s }
        })
    }

    /// Adds what comes out during an exposure.
    pub(super) fn come_out(&self, charge: &mut Field, shot: &Shot) {
        let left = |at: f64| (-(at - self.since_s).max(0.0) / self.decay_s).exp();
        let share = left(shot.at_s) - left(shot.at_s + shot.exposure_s);
        charge.values.iter_mut().zip(&self.charge.values).for_each(|(value, trapped)| *value += share * trapped);
    }
}
