//! What a made-up sensor looks at in its light frames: a sky with a gradient, stars, a nebula.

use ndarray::Array2;
use rand::RngExt;

use super::SensorTruth;
use super::pattern::{Stream, chance};

/// Width of the stars in pixels: full width at half maximum.
const STAR_FWHM_PX: f64 = 3.0;
/// Exponent of the stars' wings (Moffat); real ones have 2.5 to 3.5 (Trujillo et al. 2001, from memory).
const STAR_BETA: f64 = 3.0;
/// A star is drawn out to so many pixels.
const STAR_REACH_PX: f64 = 20.0;
/// The faintest and brightest star, in seconds of sky in one pixel; between them the usual numbers: 2.5 times as many
/// for each magnitude, made up.
const STAR_RANGE: (f64, f64) = (20.0, 2e5);
/// The least and the most light of a nebula over the sky's.
const NEBULA_RANGE: (f64, f64) = (0.15, 0.6);

/// Light of the scene on each pixel over the sky's in the middle of the field.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Scene {
    light: Option<Array2<f32>>,
}

/// What one light frame sees otherwise than the sensor's truth says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Seen {
    /// The sky over the usual.
    pub(super) sky: f64,
    /// The share of the light of stars and nebula that arrives.
    pub(super) transparency: f64,
    /// Width of the stars over the usual.
    pub(super) star_width: f64,
    /// Share of the field that a nebula covers.
    pub(super) nebula: f64,
    /// How far the field is moved, in pixels to the right and down.
    pub(super) moved: [f64; 2],
}

impl Scene {
    /// The scene that a truth asks for, as one frame sees it.
    pub(super) fn from_truth(truth: &SensorTruth, seen: &Seen) -> Self {
        let even = truth.sky_gradient_percent == 0.0 && truth.stars_per_frame == 0 && seen.nebula == 0.0;
        if even && seen.sky == 1.0 {
            return Self { light: None };
        }
        let (rows, columns) = (truth.height_px, truth.width_px);
        let slope = truth.sky_gradient_percent / 100.0;
        let mut light = Array2::from_shape_fn((rows, columns), |(row, column)| {
            let across = share(column, columns) - 0.5;
            let down = share(row, rows) - 0.5;
            (seen.sky * (1.0 + slope * (0.8 * across + 0.6 * down))) as f32
        });
        add_nebula(&mut light, seen);
        add_stars(&mut light, truth, seen);
        Self { light: Some(light) }
    }

    /// Light at a place over the sky's in the middle.
    pub(super) fn at(&self, row: usize, column: usize) -> f64 {
        self.light.as_ref().map_or(1.0, |light| f64::from(light[(row, column)]))
    }
}

fn share(at: usize, of: usize) -> f64 {
    (at as f64 + 0.5) / of as f64
}

/// Fills the brightest `fraction` of a slow, irregular wave.
fn add_nebula(light: &mut Array2<f32>, seen: &Seen) {
    let fraction = seen.nebula;
    if fraction <= 0.0 {
        return;
    }
    let (rows, columns) = light.dim();
    let [right, down] = [seen.moved[0] / columns as f64, seen.moved[1] / rows as f64];
    let wave = Array2::from_shape_fn((rows, columns), |(row, column)| {
        let (x, y) = (share(column, columns) - right, share(row, rows) - down);
        (5.1 * x + 2.0 * y).sin() + 0.7 * (3.0 * x - 6.3 * y + 1.0).sin() + 0.3 * (11.0 * x + 9.0 * y).sin()
    });
    let mut sorted: Vec<f64> = wave.iter().copied().collect();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len() - 1;
    let (edge, top) = (sorted[((1.0 - fraction).clamp(0.0, 1.0) * last as f64) as usize], sorted[last]);
    light.zip_mut_with(&wave, |light, &height| {
        if height > edge {
            let inside = (height - edge) / (top - edge).max(f64::MIN_POSITIVE);
            let bright = NEBULA_RANGE.0 + (NEBULA_RANGE.1 - NEBULA_RANGE.0) * inside;
            *light += (seen.transparency * bright) as f32;
        }
    });
}

fn add_stars(light: &mut Array2<f32>, truth: &SensorTruth, seen: &Seen) {
    let (rows, columns) = light.dim();
    let mut rng = chance(truth.seed, Stream::Stars, 0);
    let width = seen.star_width * STAR_FWHM_PX / (2.0 * (2_f64.powf(1.0 / STAR_BETA) - 1.0).sqrt());
    for _ in 0..truth.stars_per_frame {
        let (y, x) = (rng.random::<f64>() * rows as f64, rng.random::<f64>() * columns as f64);
        let (y, x) = (y + seen.moved[1], x + seen.moved[0]);
        // Numbers fall as flux^-1: 2.5 times fewer for each magnitude.
        let place: f64 = rng.random();
        let (faint, bright) = STAR_RANGE;
        let flux = faint / (1.0 - place * (1.0 - faint / bright));
        let peak = seen.transparency * flux * (STAR_BETA - 1.0) / (std::f64::consts::PI * width * width);
        let reach = |centre: f64, end: usize| {
            let (first, last) = ((centre - STAR_REACH_PX).max(0.0), (centre + STAR_REACH_PX).max(0.0));
            (first as usize).min(end)..(last as usize).min(end)
        };
        for row in reach(y, rows) {
            for column in reach(x, columns) {
                let square = (row as f64 + 0.5 - y).powi(2) + (column as f64 + 0.5 - x).powi(2);
                light[(row, column)] += (peak * (1.0 + square / (width * width)).powf(-STAR_BETA)) as f32;
            }
        }
    }
}
