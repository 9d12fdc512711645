//! The light of one star in a light frame, in an aperture.

use ndarray::ArrayView2;

use crate::camera::{Mode, Plane, PlaneName, StarFlux};
use crate::frames::Frame;
use crate::stats::Estimate;

use crate::sensor::stack::plane_view;

/// The star is looked for within so many pixels of the place that was given.
const REACH_PX: f64 = 8.0;
/// The aperture's radius in widths of the star, and its bounds in pixels.
const APERTURE: (f64, f64, f64) = (3.0, 4.0, 12.0);
/// The sky is taken from a ring that begins and ends so many pixels outside of the aperture.
const RING: (f64, f64) = (3.0, 11.0);
/// Pixels of the ring beyond this many sigmas are other stars.
const STAR_SIGMAS: f64 = 3.0;
/// A pixel filled beyond this share of the well no longer answers straight (common practice, no source).
pub(super) const STRAIGHT: f64 = 0.8;
/// Pixels below this share of the peak say nothing of a star's width, and so few of them neither.
const BELL_SHARE: f64 = 0.15;
const LEAST_BELL_PIXELS: usize = 5;
/// The pixels that a width is read from lie within this many widths of the middle, but within so many pixels at least.
const BELL_REACH: (f64, f64) = (0.8, 2.5);
/// Full width at half maximum of a Gaussian over its standard deviation: 2√(2 ln 2).
const FWHM_PER_SIGMA: f64 = 2.354_820_045_030_949;
/// A star with less light over its noise than this says little.
const LEAST_SNR: f64 = 20.0;

/// One star's electrons per second in one plane, the sky around it and the dark taken off.
///
/// ```text
/// F = g Σ (light − dark − ring) / t,   σ² = g Σ + n (1 + n/n_ring) σ_ring²
/// ```
///
/// The aperture has three times the star's width as radius, which holds 96 to 100 % of its light. `x` and `y` are
/// column and row of the stored frame, the first pixel being 1, 1; the star is looked for within 8 pixels.
///
/// # Source
/// The CCD equation with the ring's own scatter: Merline & Howell 1995, Experimental Astronomy 6, 163.
///
/// # Errors
/// A sentence: no such plane, no star there, one that is too faint, too bright or too near to the edge, or an exposure of
/// nothing.
pub fn star_flux(
    light: &Frame,
    dark: &Frame,
    mode: &Mode,
    plane: PlaneName,
    x: f64,
    y: f64,
) -> Result<StarFlux, String> {
    let plane = mode.plane(plane).ok_or_else(|| format!("the camera has no plane `{plane}`"))?;
    let seconds = light.info.exposure.0;
    if light.pixels.dim() != dark.pixels.dim() || seconds <= 0.0 {
        return Err("light and dark do not fit together".into());
    }
    let inside = |at: f64, end: usize| (0.5..end as f64 + 0.5).contains(&at);
    if !inside(x, light.pixels.ncols()) || !inside(y, light.pixels.nrows()) {
        return Err("it lies outside of the frame".into());
    }
    let cell = plane.plane.cell();
    let region = [0, 0, light.pixels.ncols(), light.pixels.nrows()];
    let image = Image { light: plane_view(&light.pixels, region, cell), dark: plane_view(&dark.pixels, region, cell) };
    let ((row, column), step) = cell.map_or(((0, 0), 1.0), |cell| (cell, 2.0));
    let near = ((y - 1.0 - row as f64) / step, (x - 1.0 - column as f64) / step);
    let star = image
        .star_near(near, REACH_PX / step)
        .ok_or("there is no star within 8 pixels, or it is too near to the edge")?;
    let apart = (star.centre.0 - near.0).hypot(star.centre.1 - near.1) * step;
    if apart > std::f64::consts::SQRT_2 * REACH_PX {
        return Err("there is no star within 8 pixels that stands alone".into());
    }
    let gain = plane.gain_e_per_dn.value.0;
    check_peak(&star, plane, gain)?;
    let electrons = star.counts * gain;
    let ring_variance = (star.ring_sigma * gain).powi(2);
    let variance = electrons.max(0.0) + star.pixels * (1.0 + star.pixels / star.ring_pixels) * ring_variance;
    if electrons < LEAST_SNR * variance.sqrt() {
        return Err(format!(
            "what is there has {:.0} electrons over a noise of {:.0}: too faint, or not alone",
            electrons.max(0.0),
            variance.sqrt()
        ));
    }
    let relative = (variance.sqrt() / electrons).hypot(plane.gain_e_per_dn.relative());
    Ok(StarFlux {
        plane: plane.plane,
        x_px: star.centre.1 * step + column as f64 + 1.0,
        y_px: star.centre.0 * step + row as f64 + 1.0,
        fwhm_px: star.fwhm * step,
        aperture_fwhm: star.radius / star.fwhm,
        pixel_share: 1.0 / (step * step),
        e_per_s: Estimate::within_factor(electrons / seconds, relative),
    })
}

fn check_peak(star: &Star, plane: &Plane, gain: f64) -> Result<(), String> {
    let filled = star.peak * gain / plane.saturation_e.value.0;
    if filled > STRAIGHT {
        return Err(format!("its brightest pixel is filled to {:.0} %, choose a fainter star", 100.0 * filled));
    }
    Ok(())
}

/// Light less dark of one plane.
pub(super) struct Image<'a, D> {
    pub(super) light: ArrayView2<'a, u16>,
    pub(super) dark: ArrayView2<'a, D>,
}

/// What an aperture found, in pixels and counts of the plane.
pub(super) struct Star {
    pub(super) centre: (f64, f64),
    fwhm: f64,
    radius: f64,
    counts: f64,
    pixels: f64,
    pub(super) peak: f64,
    /// Width of the bell that its inner pixels follow; steadier than `fwhm`, which counts whole pixels.
    pub(super) bell: Option<f64>,
    pub(super) ring_sigma: f64,
    pub(super) ring_pixels: f64,
    /// Level of the ring.
    pub(super) sky: f64,
}

impl<D: Copy + Into<f64>> Image<'_, D> {
    pub(super) fn at(&self, row: i64, column: i64) -> Option<f64> {
        let place = (usize::try_from(row).ok()?, usize::try_from(column).ok()?);
        Some(f64::from(*self.light.get(place)?) - (*self.dark.get(place)?).into())
    }

    /// Counts and distance of the pixels within a radius; `None` where the frame ends before.
    fn around(&self, centre: (f64, f64), radius: f64) -> Option<Vec<(f64, f64, f64, f64)>> {
        let (top, left) = ((centre.0 - radius).floor() as i64, (centre.1 - radius).floor() as i64);
        let side = (2.0 * radius).ceil() as i64 + 2;
        let mut found = Vec::new();
        for row in top..top + side {
            for column in left..left + side {
                let (down, across) = (row as f64 - centre.0, column as f64 - centre.1);
                let distance = down.hypot(across);
                if distance <= radius {
                    found.push((self.at(row, column)?, distance, down, across));
                }
            }
        }
        Some(found)
    }

    pub(super) fn star_near(&self, near: (f64, f64), reach: f64) -> Option<Star> {
        let mut centre = self.brightest(near, reach)?;
        let widest = APERTURE.2 + RING.1;
        let (sky, ..) = ring(&self.around(centre, widest)?, APERTURE.2 + RING.0)?;
        // The light's own middle, with a window that follows it.
        for _ in 0..5 {
            let window = self.around(centre, APERTURE.1)?;
            let sum = |of: fn(&(f64, f64, f64, f64)) -> f64| {
                window.iter().map(|pixel| (pixel.0 - sky).max(0.0) * of(pixel)).sum::<f64>()
            };
            let light = sum(|_| 1.0);
            if light <= 0.0 {
                return None;
            }
            centre = (centre.0 + sum(|pixel| pixel.2) / light, centre.1 + sum(|pixel| pixel.3) / light);
        }
        let peak = self.around(centre, 1.5)?.iter().map(|pixel| pixel.0).fold(f64::MIN, f64::max);
        let fwhm = self.width(centre, sky, peak)?;
        let radius = (APERTURE.0 * fwhm).clamp(APERTURE.1, APERTURE.2);
        let pixels = self.around(centre, radius + RING.1)?;
        let (sky, ring_sigma, ring_pixels) = ring(&pixels, radius + RING.0)?;
        // A pixel on the rim counts with the part of it that lies inside.
        let inside = |distance: f64| (radius + 0.5 - distance).clamp(0.0, 1.0);
        Some(Star {
            centre,
            bell: self.bell_width(centre, sky, peak),
            fwhm,
            radius,
            counts: pixels.iter().map(|pixel| (pixel.0 - sky) * inside(pixel.1)).sum(),
            pixels: pixels.iter().map(|pixel| inside(pixel.1)).sum(),
            peak,
            ring_sigma,
            ring_pixels,
            sky,
        })
    }

    /// Full width at half maximum of the bell through the pixels above 0.15 of the peak.
    ///
    /// ```text
    /// ln I = ln I0 − r²/2σ²,   weights I²,   FWHM = 2.3548 σ
    /// ```
    ///
    /// A star with wings is some per cent narrower than the bell says, the same in every frame. Source: the logarithm of
    /// a Gaussian; a least-squares line.
    pub(super) fn bell_width(&self, centre: (f64, f64), sky: f64, peak: f64) -> Option<f64> {
        let least = BELL_SHARE * (peak - sky);
        let fitted = |radius: f64| {
            let [mut w, mut wx, mut wy, mut wxx, mut wxy] = [0.0; 5];
            let mut count = 0;
            for (value, distance, ..) in self.around(centre, radius)? {
                let light = value - sky;
                if light > least && light > 0.0 {
                    let (weight, x, y) = (light * light, distance * distance, light.ln());
                    (w, wx, wy) = (w + weight, wx + weight * x, wy + weight * y);
                    (wxx, wxy) = (wxx + weight * x * x, wxy + weight * x * y);
                    count += 1;
                }
            }
            let slope = (w * wxy - wx * wy) / (w * wxx - wx * wx);
            let width = FWHM_PER_SIGMA * (-0.5 / slope).sqrt();
            (count >= LEAST_BELL_PIXELS && slope < 0.0 && width.is_finite()).then_some(width)
        };
        // Neighbours and noise beyond the star's own pixels are kept out: the reach follows the width.
        let mut width = fitted(BELL_REACH.1)?;
        for _ in 0..4 {
            width = fitted((BELL_REACH.0 * width).clamp(BELL_REACH.1, APERTURE.2))?;
        }
        Some(width)
    }

    /// Counts over a level and number of the pixels within a radius, those on the rim in part.
    pub(super) fn counts_within(&self, centre: (f64, f64), radius: f64, sky: f64) -> Option<(f64, f64)> {
        let pixels = self.around(centre, radius + 0.5)?;
        let inside = |distance: f64| (radius + 0.5 - distance).clamp(0.0, 1.0);
        let counts = pixels.iter().map(|pixel| (pixel.0 - sky) * inside(pixel.1)).sum();
        Some((counts, pixels.iter().map(|pixel| inside(pixel.1)).sum()))
    }

    /// The middle of the brightest square of nine pixels.
    fn brightest(&self, near: (f64, f64), reach: f64) -> Option<(f64, f64)> {
        let (row, column) = (near.0.round() as i64, near.1.round() as i64);
        let reach = reach.round().max(1.0) as i64;
        let nine = |row: i64, column: i64| -> Option<f64> {
            let places = (row - 1..=row + 1).flat_map(|r| (column - 1..=column + 1).map(move |c| (r, c)));
            places.map(|(r, c)| self.at(r, c)).sum()
        };
        let places = (row - reach..=row + reach).flat_map(|r| (column - reach..=column + reach).map(move |c| (r, c)));
        let sums = places.filter_map(|(r, c)| nine(r, c).map(|sum| (sum, r, c)));
        sums.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, row, column)| (row as f64, column as f64))
    }

    /// Full width at half maximum: the disc of the pixels above half of the peak has it as its diameter.
    fn width(&self, centre: (f64, f64), sky: f64, peak: f64) -> Option<f64> {
        let half = sky + (peak - sky) / 2.0;
        let above = self.around(centre, APERTURE.2)?.iter().filter(|pixel| pixel.0 > half).count();
        (peak > sky && above > 0).then(|| 2.0 * (above as f64 / std::f64::consts::PI).sqrt())
    }
}

/// Level, spread and number of the pixels outside of a radius, stars clipped.
fn ring(pixels: &[(f64, f64, f64, f64)], inner: f64) -> Option<(f64, f64, f64)> {
    let mut values: Vec<f64> = pixels.iter().filter(|pixel| pixel.1 > inner).map(|pixel| pixel.0).collect();
    for _ in 0..6 {
        if values.len() < 30 {
            return None;
        }
        values.sort_by(f64::total_cmp);
        let at = |share: f64| values[((values.len() - 1) as f64 * share) as usize];
        let (middle, sigma) = (at(0.5), (at(0.5) - at(0.1587)).max(0.5));
        values.retain(|value| (value - middle).abs() <= STAR_SIGMAS * sigma);
    }
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let variance = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (count - 1.0);
    Some((mean, variance.sqrt(), count))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn image_of(star: f64) -> (ndarray::Array2<u16>, ndarray::Array2<u16>) {
        // A bell of σ = 1.3 pixels in the middle of pixel row 30, column 40.
        let bell = |row: f64, column: f64| {
            let square = (row - 30.0).powi(2) + (column - 40.0).powi(2);
            star / (2.0 * std::f64::consts::PI * 1.69) * (-square / 3.38).exp()
        };
        let light = ndarray::Array2::from_shape_fn((64, 80), |(row, column)| {
            (1000.0 + (row * 7 + column * 13) as f64 % 5.0 + bell(row as f64, column as f64)).round() as u16
        });
        (light, ndarray::Array2::from_elem((64, 80), 500))
    }

    #[test]
    fn a_bells_light_its_middle_and_its_width() {
        let (light, dark) = image_of(40_000.0);
        let image = Image { light: light.view(), dark: dark.view() };
        let star = image.star_near((27.0, 43.0), 8.0).unwrap();
        assert!((star.centre.0 - 30.0).abs() < 0.05 && (star.centre.1 - 40.0).abs() < 0.05, "{:?}", star.centre);
        assert!((star.counts / 40_000.0 - 1.0).abs() < 0.01, "{}", star.counts);
        approx::assert_relative_eq!(star.bell.unwrap(), 3.06, max_relative = 0.02);
        // 2.3548 σ = 3.06, whole pixels counted.
        assert!((star.fwhm - 3.06).abs() < 0.4, "{}", star.fwhm);
    }

    #[test]
    fn an_edge_is_no_place_for_an_aperture() {
        let (light, dark) = image_of(40_000.0);
        let image = Image { light: light.view(), dark: dark.view() };
        assert!(image.star_near((2.0, 2.0), 8.0).is_none());
        assert!(image.star_near((-500.0, 1e9), 8.0).is_none());
    }
}
