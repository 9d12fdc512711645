//! The sky in a light frame: what is left over when stars, gradient and nebula are taken away.
//!
//! ```text
//! light − dark ──► tiles, stars clipped ──► the surface under most of them ──► level in the middle
//! ```
//!
//! Stars are clipped at three sigmas of the side without stars, about a mean, for the median of few electrons is off by
//! a sixth of one. Under the lower quarter of the tiles lies a surface with two slopes and a falloff (quantile
//! regression), then least squares over the tiles within three sigmas of it. Tiles that stand out together are no sky.
//! A falloff is priced at a sixth, since a nebula in the middle looks the same.

use nalgebra::{Matrix4, Vector4};
use ndarray::{Array2, ArrayView2, Axis, Slice};

use crate::camera::{Background, Mode, PlaneBackground, PlaneName};
use crate::caveat::Caveat;
use crate::frames::{CfaPattern, Frame, FrameInfo, FrameKind, same_exposure};
use crate::stats::{Estimate, median};
use crate::units::{Colour, Dn, ElectronsPerDn};

use crate::sensor::light::blank::{clipped_dark, not_blank};
use crate::sensor::row_blocks;
use crate::sensor::stack::plane_view;
use crate::sensor::{MeasureError, NoGainCause};

/// Tiles along the shorter side of a plane, and the bounds of a tile's side in pixels.
const TILES_ACROSS: usize = 16;
const TILE_SIDE: (usize, usize) = (8, 64);
/// Fewer tiles than this are no field.
const LEAST_TILES: usize = 16;
/// Pixels beyond this many sigmas of a tile are stars.
const STAR_SIGMAS: f64 = 3.0;
/// What clipping at three sigmas leaves of a normal spread: √0.9733, from the tables of the normal law.
const CLIPPED_SPREAD: f64 = 0.986_6;
/// The first surface lies under all but this share of the tiles: nebula may fill more than half of a field.
const LOW_SHARE: f64 = 0.25;
/// A tile belongs to the sky within this many of its sigmas of the surface.
const SKY_SIGMAS: f64 = 3.0;
/// What a flat field leaves in a tile, of the level (common practice, no source).
const TILE_SPREAD: f64 = 0.003;
/// A tile is no sky when it is brighter by this many sigmas and by this share of the level.
const BRIGHT: (f64, f64) = (5.0, 0.02);
/// More bright tiles than this, in percent, and the field is said to have a nebula: star fields have a few.
const NEBULA_PERCENT: f64 = 12.0;
/// More falloff than this, in percent of the level, cannot be told from a nebula in the middle.
const FALLOFF_PERCENT: f64 = 5.0;
/// How far the level of one frame wanders, in DN (common practice, no source).
const LEVEL_WANDER_DN: f64 = 0.3;
/// Relative standard uncertainty of a gain that was typed (common practice, no source).
const TYPED_GAIN_UNCERTAINTY: f64 = 0.05;
/// Light and dark may differ so much in temperature.
pub(super) const SAME_TEMPERATURE_K: f64 = 1.0;

/// What turns counts into electrons, and names the planes.
#[derive(Debug, Clone, Copy, Default)]
pub struct BackgroundOptions<'a> {
    /// The mode of the camera's profile that the light was taken in.
    pub mode: Option<&'a Mode>,
    /// A gain to believe instead of the profile's.
    pub gain: Option<ElectronsPerDn>,
    /// The colour pattern, where neither profile nor header has it.
    pub cfa: Option<CfaPattern>,
}

/// The sky of a light, plane by plane, its dark taken off.
///
/// ```text
/// S = g · level / t
/// ```
///
/// `level` is the difference of the frames in the middle of the field: tiles, their stars clipped at three sigmas, and
/// under the lower three quarters of the tiles a surface with a gradient and a falloff towards the corners; tiles that
/// stand out of it are not sky. `g` is the gain, `t` the exposure. The uncertainty holds the gain's, the tiles' scatter,
/// the wander of a frame's level, and a part of the falloff, which a nebula in the middle would look like. A nebula or
/// a Milky Way that fills the whole field cannot be told from sky.
///
/// # Source
/// The calibration equation of EMVA 1288 Release 4.0 with light and dark exchanged for their difference; the way to
/// the level: derived here.
///
/// # Errors
/// When the frames differ in size, are smaller than a few tiles or of one count alone, no gain is known, or in no plane the
/// light is brighter than the dark by two of its standard uncertainties; planes in which it is not are left out.
pub fn background(light: &Frame, dark: &Frame, options: BackgroundOptions<'_>) -> Result<Background, MeasureError> {
    if light.pixels.dim() != dark.pixels.dim() {
        let size = |frame: &Frame| format!("{} x {}", frame.pixels.ncols(), frame.pixels.nrows());
        return Err(MeasureError::SizeDiffers {
            file: dark.info.file.clone(),
            found: size(dark),
            expected: size(light),
        });
    }
    not_blank(light)?;
    not_blank(dark)?;
    let mut caveats = frame_caveats(&light.info, &dark.info);
    caveats.extend(clipped_dark(light, dark));
    let (mut planes, mut unseen) = (Vec::new(), Vec::new());
    for plane in planes_of(&light.info, options) {
        let gain = plane.gain.ok_or(MeasureError::NoGain { levels: 0, why: NoGainCause::Unknown })?;
        match seen(plane_background(light, &dark.pixels, &plane, &gain), light) {
            Ok(background) => planes.push(background),
            Err(error @ MeasureError::NoSky { .. }) => unseen.push((plane, error)),
            Err(error) => return Err(error),
        }
    }
    if let Some((plane, error)) = unseen.into_iter().next() {
        if planes.is_empty() {
            return Err(error);
        }
        caveats.push(Caveat::new("sky-undetermined", error.to_string(), error.hint()).about(plane.name));
    }
    for plane in &planes {
        caveats.extend(field_caveat(plane));
    }
    Ok(Background { exposure_s: light.info.exposure, filter: light.info.filter.clone(), planes, caveats })
}

/// The sky of a plane where it stands out of its own uncertainty.
fn seen(
    measured: Result<(PlaneBackground, f64), MeasureError>,
    light: &Frame,
) -> Result<PlaneBackground, MeasureError> {
    let (background, _) = measured?;
    let (level, exposure_s) = (background.level_dn, light.info.exposure.0);
    let unseen = MeasureError::NoSky { level_dn: level.value.0, uncertainty_dn: level.uncertainty.0, exposure_s };
    level.determined().map(|_| background).ok_or(unseen)
}

/// A plane to be measured.
pub(super) struct PlaneOf {
    pub(super) name: PlaneName,
    colour: Option<Colour>,
    pub(super) cell: Option<(usize, usize)>,
    pub(super) gain: Option<Estimate<ElectronsPerDn>>,
}

pub(super) fn planes_of(light: &FrameInfo, options: BackgroundOptions<'_>) -> Vec<PlaneOf> {
    let typed = options.gain.map(|gain| Estimate::new(gain.0, gain.0 * TYPED_GAIN_UNCERTAINTY));
    if let Some(mode) = options.mode {
        let from_profile = |plane: &crate::camera::Plane| PlaneOf {
            name: plane.plane,
            colour: plane.colour,
            cell: plane.plane.cell(),
            gain: typed.or(Some(plane.gain_e_per_dn)),
        };
        return mode.planes.iter().map(from_profile).collect();
    }
    let Some(pattern) = options.cfa.or(light.cfa) else {
        return vec![PlaneOf { name: PlaneName::Mono, colour: None, cell: None, gain: typed }];
    };
    let from_cell = |(row, column)| PlaneOf {
        name: PlaneName::from_cell(row, column),
        colour: Some(pattern.colour(row, column)),
        cell: Some((row, column)),
        gain: typed,
    };
    [(0, 0), (0, 1), (1, 0), (1, 1)].map(from_cell).into()
}

/// The sky in one plane, and the noise of a pixel of it in DN: what light less dark scatters by in the tiles that are sky.
pub(super) fn plane_background<D: Copy + Into<f64> + Sync>(
    light: &Frame,
    dark: &Array2<D>,
    plane: &PlaneOf,
    gain: &Estimate<ElectronsPerDn>,
) -> Result<(PlaneBackground, f64), MeasureError> {
    let region = [0, 0, light.pixels.ncols(), light.pixels.nrows()];
    let (tiles, across) = tiles(plane_view(&light.pixels, region, plane.cell), plane_view(dark, region, plane.cell));
    if tiles.len() < LEAST_TILES {
        let size = format!("{} x {}", region[2], region[3]);
        return Err(MeasureError::RegionOutside { region: format!("{LEAST_TILES} tiles of 8 x 8 pixels"), size });
    }
    let field = Field::under(&tiles, across);
    let (level, exposure) = (field.level(), light.info.exposure.0);
    if level <= 0.0 || exposure <= 0.0 {
        let uncertainty_dn = field.standard_error.hypot(LEVEL_WANDER_DN * std::f64::consts::SQRT_2);
        return Err(MeasureError::NoSky { level_dn: level, uncertainty_dn, exposure_s: exposure });
    }
    let falloff = (-field.surface[3]).max(0.0);
    // A nebula in the middle would look the same: from none of it to all of it.
    let by_falloff = falloff / 6.0;
    let wander = LEVEL_WANDER_DN * std::f64::consts::SQRT_2;
    let uncertainty = field.standard_error.hypot(by_falloff).hypot(wander).hypot(field.typical_excess);
    let level_dn: Estimate<Dn> = Estimate::new(level, uncertainty);
    let rate = level / exposure * gain.value.0;
    let background = PlaneBackground {
        plane: plane.name,
        colour: plane.colour,
        level_dn,
        e_per_s: Estimate::within_factor(rate, level_dn.relative().hypot(gain.relative())),
        gradient_percent: 200.0 * field.surface[1].hypot(field.surface[2]) / level,
        falloff_percent: 100.0 * falloff / level,
        not_background_percent: 100.0 * field.bright_share,
    };
    Ok((background, field.noise))
}

/// One tile: its place in −1 to 1, its level without stars and how sure that is.
struct Tile {
    x: f64,
    y: f64,
    level: f64,
    sigma: f64,
    /// Standard deviation of its pixels.
    noise: f64,
}

impl Tile {
    /// What the surface is made of: a constant, two slopes, and a bowl that is 0 in the middle and 1 in the corners.
    fn basis(&self) -> Vector4<f64> {
        Vector4::new(1.0, self.x, self.y, (self.x * self.x + self.y * self.y) / 2.0)
    }
}

/// The tiles, row by row, and how many make a row.
fn tiles<D: Copy + Into<f64> + Sync>(light: ArrayView2<'_, u16>, dark: ArrayView2<'_, D>) -> (Vec<Tile>, usize) {
    let (rows, columns) = light.dim();
    let side = (rows.min(columns) / TILES_ACROSS).clamp(TILE_SIDE.0, TILE_SIDE.1);
    let (down, across) = (rows / side, columns / side);
    let middle = |start: usize, whole: usize| (2 * start + side) as f64 / whole as f64 - 1.0;
    let row_of_tiles = |top: usize| {
        let mut differences = Vec::with_capacity(side * side);
        let tile = |left: usize| {
            let part = Slice::from(left..left + side);
            differences.clear();
            for row in top..top + side {
                let (light, dark) = (light.row(row), dark.row(row));
                let pixels = light.slice_axis(Axis(0), part).into_iter().zip(dark.slice_axis(Axis(0), part));
                differences.extend(pixels.map(|(light, dark)| f64::from(*light) - (*dark).into()));
            }
            let (level, noise, kept) = without_stars(&mut differences);
            let sigma = noise / kept.sqrt();
            Tile { x: middle(left, columns), y: middle(top, rows), level, sigma, noise }
        };
        (0..across).map(|place| place * side).map(tile).collect::<Vec<_>>()
    };
    let tiles = row_blocks::each((0..down).map(|place| place * side).collect(), row_of_tiles);
    (tiles.into_iter().flatten().collect(), across)
}

/// Mean of the values without the stars among them, their standard deviation, and how many they are.
///
/// The spread is taken below the median, where there are no stars; the cut is on both sides alike, so that noise alone
/// does not move the mean, as it would move the median of few electrons.
fn without_stars(values: &mut [f64]) -> (f64, f64, f64) {
    let place = |share: f64| ((values.len() - 1) as f64 * share) as usize;
    let (half, low) = (place(0.5), place(0.1587));
    let (below, middle, _) = values.select_nth_unstable_by(half, f64::total_cmp);
    let mut centre = *middle;
    let low = if low < half { *below.select_nth_unstable_by(low, f64::total_cmp).1 } else { centre };
    // One step of the converter is the least spread: with less light the counts are nearly all the same.
    let mut sigma = (centre - low).max(0.5);
    let mut kept = values.len();
    for _ in 0..8 {
        let (from, to) = (centre - STAR_SIGMAS * sigma, centre + STAR_SIGMAS * sigma);
        let inside = |value: f64| value >= from && value <= to;
        // Without a branch: stars are few, but noise is cut at random places.
        let (sum, count) = values.iter().fold((0.0, 0_u32), |(sum, count), value| {
            let taken = inside(*value);
            (sum + if taken { *value } else { 0.0 }, count + u32::from(taken))
        });
        if count == 0 {
            break;
        }
        let mean = sum / f64::from(count);
        let (squares, below) = values.iter().fold((0.0, 0_u32), |(squares, below), value| {
            let taken = inside(*value) && *value < mean;
            (squares + if taken { (value - mean).powi(2) } else { 0.0 }, below + u32::from(taken))
        });
        let spread = (squares / f64::from(below.max(1))).sqrt().max(0.5);
        let settled = (mean, spread) == (centre, sigma);
        (centre, sigma, kept) = (mean, spread, count as usize);
        if settled {
            break;
        }
    }
    (centre, sigma, kept as f64)
}

/// The surface of the sky under the tiles.
struct Field {
    surface: Vector4<f64>,
    standard_error: f64,
    /// By how much the median tile is brighter than the surface.
    typical_excess: f64,
    bright_share: f64,
    /// Standard deviation of the pixels of the tiles that are sky, in DN.
    noise: f64,
}

impl Field {
    fn under(tiles: &[Tile], across: usize) -> Self {
        let of_tiles = typical(tiles.iter().map(|tile| tile.sigma));
        let sigma = |surface: &Vector4<f64>| of_tiles.hypot(TILE_SPREAD * surface[0]);
        let residual = |surface: &Vector4<f64>, tile: &Tile| tile.level - surface.dot(&tile.basis());
        let refined = |mut surface: Vector4<f64>| {
            let (mut kept, mut scatter) = (0, sigma(&surface));
            for _ in 0..20 {
                let limit = SKY_SIGMAS * sigma(&surface);
                let inside: Vec<&Tile> = tiles.iter().filter(|tile| residual(&surface, tile).abs() <= limit).collect();
                if inside.len() < LEAST_TILES / 2 {
                    break;
                }
                surface = fitted(inside.iter().map(|tile| (*tile, 1.0)));
                kept = inside.len();
                let squares: f64 = inside.iter().map(|tile| residual(&surface, tile).powi(2)).sum();
                scatter = (squares / (kept as f64 - 4.0).max(1.0)).sqrt();
            }
            (surface, kept, scatter)
        };
        // A nebula along one side drags a tilted start with it, a steep gradient a level one: the start that gathers
        // more tiles is right.
        let (tilted, level) = (refined(low_surface(tiles)), refined(low_level(tiles)));
        let (surface, kept, scatter) = if tilted.1 >= level.1 { tilted } else { level };
        let bright = (BRIGHT.0 * sigma(&surface)).max(BRIGHT.1 * surface[0]);
        let brighter: Vec<bool> = tiles.iter().map(|tile| residual(&surface, tile) > bright).collect();
        let own = |tile: &&Tile| residual(&surface, tile).abs() <= SKY_SIGMAS * sigma(&surface);
        Self {
            noise: typical(tiles.iter().filter(own).map(|tile| tile.noise)) / CLIPPED_SPREAD,
            // The middle of a surface of four terms is known twice less well than a mean.
            standard_error: 2.0 * scatter / (kept.max(1) as f64).sqrt(),
            typical_excess: typical(tiles.iter().map(|tile| residual(&surface, tile))).max(0.0) / 2.0,
            bright_share: in_company(&brighter, across) as f64 / tiles.len() as f64,
            surface,
        }
    }

    /// The level in the middle of the field.
    fn level(&self) -> f64 {
        self.surface[0]
    }
}

/// How many bright tiles have at least half of their neighbours bright: a nebula is whole, stars stand apart.
fn in_company(bright: &[bool], across: usize) -> usize {
    let at = |row: usize, column: usize| bright.get(row * across + column).filter(|_| column < across).copied();
    let in_company = |place: usize| {
        let (row, column) = (place / across, place % across);
        let rows = row.saturating_sub(1)..=row + 1;
        let around = rows.flat_map(|r| (column.saturating_sub(1)..=column + 1).map(move |c| (r, c)));
        let around: Vec<bool> = around.filter(|near| *near != (row, column)).filter_map(|(r, c)| at(r, c)).collect();
        2 * around.iter().filter(|bright| **bright).count() >= around.len()
    };
    (0..bright.len()).filter(|place| bright[*place] && in_company(*place)).count()
}

/// The level surface that has [`LOW_SHARE`] of the tiles below it.
fn low_level(tiles: &[Tile]) -> Vector4<f64> {
    let mut levels: Vec<f64> = tiles.iter().map(|tile| tile.level).collect();
    levels.sort_by(f64::total_cmp);
    let low = levels.get((levels.len() as f64 * LOW_SHARE) as usize).copied().unwrap_or(0.0);
    Vector4::new(low, 0.0, 0.0, 0.0)
}

/// The surface that has [`LOW_SHARE`] of the tiles below it: quantile regression, by weights that are iterated.
fn low_surface(tiles: &[Tile]) -> Vector4<f64> {
    let least = typical(tiles.iter().map(|tile| tile.sigma)).max(1e-9);
    let mut surface = fitted(tiles.iter().map(|tile| (tile, 1.0)));
    for _ in 0..40 {
        let weight = |tile: &Tile| {
            let residual = tile.level - surface.dot(&tile.basis());
            (if residual > 0.0 { LOW_SHARE } else { 1.0 - LOW_SHARE }) / residual.abs().max(least)
        };
        let weighted: Vec<(&Tile, f64)> = tiles.iter().map(|tile| (tile, weight(tile))).collect();
        surface = fitted(weighted.into_iter());
    }
    surface
}

/// The weighted least-squares surface; corners brighter than the middle are no falloff, and fitted without one.
fn fitted<'a>(tiles: impl Iterator<Item = (&'a Tile, f64)>) -> Vector4<f64> {
    let (mut normal, mut right) = (Matrix4::zeros(), Vector4::zeros());
    for (tile, weight) in tiles {
        let basis = tile.basis();
        normal += basis * basis.transpose() * weight;
        right += basis * (weight * tile.level);
    }
    let surface = solved(normal, right);
    if surface[3] <= 0.0 {
        return surface;
    }
    for other in 0..3 {
        normal[(3, other)] = 0.0;
        normal[(other, 3)] = 0.0;
    }
    right[3] = 0.0;
    solved(normal, right)
}

/// The solution, or the mean alone where the tiles do not tell the terms apart.
fn solved(normal: Matrix4<f64>, right: Vector4<f64>) -> Vector4<f64> {
    let mean = || Vector4::new(right[0] / normal[(0, 0)].max(f64::MIN_POSITIVE), 0.0, 0.0, 0.0);
    normal.lu().solve(&right).filter(|surface| surface.iter().all(|term| term.is_finite())).unwrap_or_else(mean)
}

/// The median; 0 of nothing.
fn typical(values: impl Iterator<Item = f64>) -> f64 {
    median(values).unwrap_or(0.0)
}

/// What the two frames' headers say against each other.
pub(super) fn frame_caveats(light: &FrameInfo, dark: &FrameInfo) -> Vec<Caveat> {
    let mut caveats = Vec::new();
    for (info, kind) in [(light, FrameKind::Light), (dark, FrameKind::Dark)] {
        if info.kind != kind {
            let message = format!("it is taken as a {kind}, and judged a {} by {}", info.kind, info.why);
            let hint = "check which file is the light and which the dark";
            caveats.push(Caveat::new("conflicting-kind", message, hint).about(&info.file));
        }
    }
    let mut differ = Vec::new();
    if !same_exposure(light.exposure, dark.exposure) {
        differ.push(format!("exposure {} s and {} s", light.exposure.0, dark.exposure.0));
    }
    let said = |setting: Option<f64>| setting.map_or_else(|| "unknown".into(), |setting| setting.to_string());
    for (name, a, b) in
        [("gain", light.gain_setting, dark.gain_setting), ("offset", light.offset_setting, dark.offset_setting)]
    {
        if a.is_some() && b.is_some() && a != b {
            differ.push(format!("{name} {} and {}", said(a), said(b)));
        }
    }
    match (light.sensor, dark.sensor) {
        (Some(a), Some(b)) if (a - b).0.abs() > SAME_TEMPERATURE_K => {
            differ.push(format!("sensor at {} and {} °C", a.0, b.0));
        }
        (Some(_), Some(_)) => {}
        _ => {
            let message = "light or dark does not say its sensor temperature";
            let hint = "use a dark taken right after the light";
            caveats.push(Caveat::new("temperature-missing", message, hint));
        }
    }
    if !differ.is_empty() {
        let message = format!("light and dark differ: {}; what the dark leaves is taken for sky", differ.join(", "));
        let hint = "take the dark with the settings, exposure and temperature of the light";
        caveats.push(Caveat::new("dark-mismatch", message, hint).about(&dark.file));
    }
    caveats
}

/// What the field says against its own sky.
fn field_caveat(plane: &PlaneBackground) -> Option<Caveat> {
    let about = plane.plane;
    if plane.not_background_percent > NEBULA_PERCENT {
        let message = format!(
            "{:.0} % of the field is brighter than its sky: nebula, galaxy or crowded stars; where it has no gaps it \
             is taken for sky",
            plane.not_background_percent
        );
        let hint = "measure on a frame of an empty field, at the same height above the horizon";
        return Some(Caveat::new("nebula-in-frame", message, hint).about(about));
    }
    (plane.falloff_percent > FALLOFF_PERCENT).then(|| {
        let message = format!(
            "the corners are {:.0} % darker than the middle: vignetting, or a nebula in the middle; taken as vignetting",
            plane.falloff_percent
        );
        let hint = "if there is a nebula in the middle, measure on a frame of an empty field";
        Caveat::new("uneven-field", message, hint).about(about)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stars_do_not_move_a_tile() {
        let mut values: Vec<f64> = (0..1000).map(|i| 100.0 + f64::from(i % 21) - 10.0).collect();
        values.extend((0..50).map(|i| 500.0 + 40.0 * f64::from(i)));
        assert!((without_stars(&mut values).0 - 100.0).abs() < 0.1);
    }

    #[test]
    fn the_surface_lies_under_a_nebula_that_fills_two_fifths() {
        let tile = |i: usize| {
            let (x, y) = ((i % 20) as f64 / 10.0 - 0.95, (i / 20) as f64 / 10.0 - 0.95);
            let nebula = if x > 0.2 { 300.0 } else { 0.0 };
            Tile { x, y, level: 1000.0 + 40.0 * y + nebula, sigma: 2.0, noise: 40.0 }
        };
        let tiles: Vec<Tile> = (0..400).map(tile).collect();
        let field = Field::under(&tiles, 20);
        assert!((field.level() - 1000.0).abs() < 5.0, "{}", field.level());
        assert!((field.bright_share - 0.35).abs() < 0.06, "{}", field.bright_share);
    }
}
