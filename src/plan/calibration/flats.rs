//! How bright the flats, and how long.

use serde::{Deserialize, Serialize};

use crate::camera::{Mode, PlaneName, SaturationIs, TransferPoint};
use crate::night::PlaneConditions;
use crate::night::conditions::FLAT_LEVEL;
use crate::plan::filter_solution::FilterSolution;
use crate::units::{Colour, Electrons, Seconds};

use super::price::Price;

/// Read noise may add so much to a flat's variance before photons no longer dominate.
const READ_SHARE: f64 = 0.05;
/// Up to this share of saturation a transfer curve is trusted (EMVA Standard 1288 Release 4.0 fits the gain up to 70 %).
const STRAIGHT_UP_TO: f64 = 0.7;
/// Levels over exposure that scatter by more than this were not taken under one lamp.
const ONE_LAMP: f64 = 0.1;
/// What biases and dark flats may add: a third, as the counts have it.
const PART: f64 = 3.0;

/// How bright flats should be.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct FlatLevel {
    /// The level to aim at, of the signal at saturation, in the plane that fills first.
    pub aim_percent_of_saturation: f64,
    /// Plane by plane.
    pub planes: Vec<FlatPlane>,
    /// Exposures of the lamp that the camera was measured with; `null` where the profile has no such flats, or of several
    /// lamps.
    pub exposure_of_measured_lamp_s: Option<FlatExposure>,
}

/// The levels of one plane, dark level taken off.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct FlatPlane {
    /// The plane.
    pub plane: PlaneName,
    /// Its colour.
    pub colour: Option<Colour>,
    /// From here on read noise adds less than 5 % to a flat's variance.
    pub from_e: Electrons,
    /// Half of saturation.
    pub aim_e: Electrons,
    /// 70 % of saturation: above it the curve may bend.
    pub to_e: Electrons,
    /// The same three as stored counts, offset included where the profile has it.
    pub from_dn: u64,
    /// See `aim_e`.
    pub aim_dn: u64,
    /// See `to_e`.
    pub to_dn: u64,
    /// Whether saturation was reached, or is the least that it can be: then the flats may be brighter.
    #[serde(default)]
    pub saturation_is: SaturationIs,
}

/// Exposures that keep every plane within its levels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct FlatExposure {
    /// The dimmest plane reaches its least level.
    pub from_s: Seconds,
    /// The brightest plane reaches half of saturation.
    pub aim_s: Seconds,
    /// The brightest plane reaches 70 % of saturation.
    pub to_s: Seconds,
}

/// The levels for one filter; what a lamp of the photographer's gives is told by the histogram alone.
///
/// ```text
/// from = (R² + q²)/0.05,   aim = ½ saturation,   to = 0.7 saturation
/// ```
///
/// # Source
/// Derived here from the variance `F + R² + q²` of a flat of `F` electrons.
pub(super) fn level(mode: &Mode, filter: &FilterSolution<'_>) -> FlatLevel {
    let planes = &filter.conditions.planes;
    FlatLevel {
        aim_percent_of_saturation: 100.0 * FLAT_LEVEL,
        planes: planes.iter().map(plane_levels).collect(),
        exposure_of_measured_lamp_s: exposure(mode, planes),
    }
}

fn ends(plane: &PlaneConditions) -> [f64; 3] {
    let read = plane.noise.read_noise.0.powi(2) + plane.noise.quantisation.0.powi(2);
    let [aim, to] = [FLAT_LEVEL, STRAIGHT_UP_TO].map(|share| share * plane.full_well.0);
    [(read / READ_SHARE).min(aim), aim, to]
}

fn plane_levels(plane: &PlaneConditions) -> FlatPlane {
    let levels = ends(plane);
    let offset = plane.offset.map_or(0.0, |offset| offset.0);
    let [from_e, aim_e, to_e] = levels.map(Electrons);
    let [from_dn, aim_dn, to_dn] = levels.map(|level| (offset + level / plane.gain.0).round().max(0.0) as u64);
    FlatPlane {
        plane: plane.plane,
        colour: plane.colour,
        from_e,
        aim_e,
        to_e,
        from_dn,
        aim_dn,
        to_dn,
        saturation_is: plane.full_well_is,
    }
}

fn exposure(mode: &Mode, planes: &[PlaneConditions]) -> Option<FlatExposure> {
    let mut found = FlatExposure { from_s: Seconds(0.0), aim_s: Seconds(f64::MAX), to_s: Seconds(f64::MAX) };
    for plane in planes {
        let rate = rate_of_lamp(&mode.photon_transfer, plane.plane)? * plane.gain.0;
        let [from, aim, to] = ends(plane).map(|level| level / rate);
        found.from_s.0 = found.from_s.0.max(from);
        found.aim_s.0 = found.aim_s.0.min(aim);
        found.to_s.0 = found.to_s.0.min(to);
    }
    (!planes.is_empty() && found.from_s <= found.to_s).then_some(found)
}

/// DN per second of the flats that the camera was measured with; `None` where they do not lie on one line.
fn rate_of_lamp(points: &[TransferPoint], plane: PlaneName) -> Option<f64> {
    let of_plane = points.iter().filter(|point| point.plane == plane && point.used && point.exposure_s.0 > 0.0);
    let lit = of_plane.filter(|point| point.mean_dn.0 > 0.0);
    let mut rates: Vec<f64> = lit.map(|point| point.mean_dn.0 / point.exposure_s.0).collect();
    rates.sort_by(f64::total_cmp);
    let middle = *rates.get(rates.len() / 2)?;
    let (first, last) = (rates.first()?, rates.last()?);
    (middle.is_finite() && last / first < 1.0 + 2.0 * ONE_LAMP).then_some(middle)
}

/// How long a flat may be for biases to serve as dark flats: what its own dark current leaves uneven in the lights.
///
/// ```text
/// L t · D s t_f / F  ≤  √(share V / 3 w)
/// ```
///
/// `L t` the light in a sub, `D s` the unevenness of the dark current, `t_f` the flat's length, `F` its level.
///
/// # Source
/// Derived here: a flat whose zero is wrong by `D s t_f` divides the light by that much too little.
pub(super) fn served_by_biases(price: &Price<'_>, share: f64) -> Option<Seconds> {
    let longest = |plane: &super::price::PlanePrice<'_>| {
        let uneven = plane.plane.dark.rate.value.0 * plane.plane.dark.nonuniformity;
        let flat = plane.plane.noise.calibration.electrons_per_flat.0;
        let length = plane.allowed(share / PART) * flat / (plane.light * uneven);
        (uneven > 0.0 && length.is_finite()).then_some(length)
    };
    price.least(longest).map(Seconds)
}
