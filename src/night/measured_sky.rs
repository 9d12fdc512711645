//! A sky that was measured in electrons: which filter and plane it was seen in, and what magnitude stands behind it.

use crate::camera::{Mode, Plane};
use crate::caveat::Caveat;
use crate::rig::{Detector, Filter, FilterName, LightChain};
use crate::sky::{Brightening, Lamps, magnitude_of, photon_density_towards};
use crate::stats::Estimate;
use crate::units::{ElectronsPerSecond, MagnitudesPerSquareArcsecond};

use super::Night;
use super::NightError;

/// The chains of one filter in front of one plane of a camera.
pub(crate) fn chains(
    night: &Night,
    mode: &Mode,
    filter: &Filter,
    plane: &Plane,
) -> Result<Vec<LightChain>, NightError> {
    let missing = || NightError::Impossible {
        key: "pixel_um".into(),
        why: "is missing in the camera profile: write it under [[modes]] there, or measure again with --pixel-um"
            .into(),
    };
    let detector = Detector {
        pixel: mode.pixel_um.ok_or_else(missing)?,
        colour: plane.colour,
        modified: night.camera.modified.unwrap_or(false),
    };
    Ok(LightChain::through(&night.optics, filter, &detector)?)
}

/// The plane that a measured sky names; left out, `mono`.
pub(crate) fn plane_named<'a>(mode: &'a Mode, name: Option<&str>) -> Result<&'a Plane, NightError> {
    let name = name.unwrap_or("mono");
    let is_named = |plane: &&Plane| plane.plane.as_str() == name || plane.colour.is_some_and(|c| c.to_string() == name);
    let why = || format!("is `{name}`, which is no plane of this camera");
    let missing = || NightError::Impossible { key: "site.sky.plane".into(), why: why() };
    mode.planes.iter().find(is_named).ok_or_else(missing)
}

/// The filter that a measured sky names: one of the night's, else one of the known names with its usual numbers and a
/// caveat that says so.
pub(crate) fn filter_named(night: &Night, mode: &Mode, name: &str) -> Result<(Filter, Option<Caveat>), NightError> {
    let filters = night.filters(mode.planes.iter().any(|plane| plane.colour.is_some()));
    if let Some(filter) = filters.iter().find(|filter| filter.label() == name) {
        return Ok((filter.clone(), None));
    }
    let known = filters.iter().map(|filter| format!("`{}`", filter.label())).collect::<Vec<_>>().join(", ");
    if FilterName::from_name(name).is_err() {
        let why = format!("is `{name}`, which is no filter of this night; it has {known}");
        return Err(NightError::Impossible { key: "site.sky.filter".into(), why });
    }
    let message = format!(
        "the sky was measured through {name}, which is not among the night's filters ({known}): its usual transmission, \
         width and quantum efficiency are taken"
    );
    let hint = "add the filter to the night with its numbers and share = 0, or measure through one of the night's";
    let filter = Filter { name: Some(name.to_owned()), ..Filter::default() };
    Ok((filter, Some(Caveat::new("assumed-value", message, hint).about("site.sky.filter"))))
}

/// The magnitude at the zenith of a sky that gives this rate through these chains, seen `towards` a direction; of several windows each has the share that the
/// lamps' spectrum gives it, and the brightest speaks.
///
/// The uncertainty holds the rate's, the throughput's and the spectrum's of the window it was measured in.
pub(crate) fn magnitude_behind(
    rate: &Estimate<ElectronsPerSecond>,
    chains: &[LightChain],
    lamps: Lamps,
    towards: Brightening,
) -> Result<Estimate<MagnitudesPerSquareArcsecond>, NightError> {
    let part = |chain: &LightChain, magnitude: f64| {
        let light = photon_density_towards(&Estimate::new(magnitude, 0.0), lamps, &chain.passband.band, towards);
        light.value.0 * chain.continuum_factor()
    };
    let nothing = || NightError::Impossible {
        key: "site.sky.plane".into(),
        why: "sees nothing through the filter of the measured sky".into(),
    };
    let brightest =
        |magnitude: f64| move |a: &&LightChain, b: &&LightChain| part(a, magnitude).total_cmp(&part(b, magnitude));
    let mut magnitude: Option<Estimate<MagnitudesPerSquareArcsecond>> = None;
    // The share of a window hardly depends on the brightness: a few rounds are enough, one where there is one window.
    for _ in 0..16 {
        let guess = magnitude.map_or(20.0, |magnitude| magnitude.value.0);
        let chain = chains.iter().max_by(brightest(guess)).ok_or_else(nothing)?;
        let share = part(chain, guess) / chains.iter().map(|chain| part(chain, guess)).sum::<f64>();
        magnitude = magnitude_of(&chain.photon_density_of(&rate.scaled(share)), lamps, &chain.passband.band, towards);
    }
    magnitude.ok_or_else(nothing)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::Optics;
    use crate::sky::photon_density;
    use crate::units::{Micrometres, Millimetres};

    /// Two windows on a monochrome sensor: the rate that comes back is the rate that was put in.
    #[test]
    fn two_windows_give_the_rate_back() {
        let optics = Optics {
            aperture_mm: Millimetres(80.0),
            focal_length_mm: Millimetres(400.0),
            obstruction_mm: None,
            transmission: None,
            throughput_ratio: None,
        };
        let dual = Filter { name: Some("dual".into()), ..Filter::default() };
        let detector = Detector { pixel: Micrometres(4.0), colour: None, modified: false };
        let chains = LightChain::through(&optics, &dual, &detector).unwrap();
        for rate in [1e-4, 0.01, 1.0] {
            let magnitude =
                magnitude_behind(&Estimate::new(rate, 0.0), &chains, Lamps::Sodium, Brightening::ZENITH).unwrap();
            let back = chains.iter().map(|chain| {
                let sky = Estimate::new(magnitude.value.0, 0.0);
                chain.sky_rate(&photon_density(&sky, Lamps::Sodium, &chain.passband.band)).value.0
            });
            approx::assert_relative_eq!(back.sum::<f64>(), rate, max_relative = 1e-6);
        }
    }
}
