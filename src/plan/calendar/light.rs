//! What every plane receives at any moment of a night: the light of a few evenings, taken apart and put together again.
//!
//! Sky, twilight and moonlight add up, each in proportion to its own brightness, and the target fades with the air: so
//! the conditions of a few made-up evenings tell those of every ten minutes of two months.

use crate::camera::Mode;
use crate::night::evening::Evening;
use crate::night::{Conditions, Night, SensorNoise};
use crate::noise::Rates;
use crate::plan::PlanError;
use crate::sky::night::NightSample;
use crate::sky::{Brightening, NATURAL_SKY, magnitude_of_nanolambert};
use crate::units::ElectronsPerSecond;

/// Airmasses at which the target's light is known; between them its logarithm is a straight line, which it is for one
/// wavelength and very nearly for a band.
const AIRMASSES: [f64; 8] = [1.0, 1.3, 1.8, 2.6, 4.0, 7.0, 14.0, 40.0];
/// Moonlight of the made-up evening, in nanolamberts.
const MOON_NANOLAMBERT: f64 = 100.0;

/// One plane of one filter.
#[derive(Debug, Clone)]
struct PlaneLight {
    /// Logarithms of the target's rate at [`AIRMASSES`]; `None` where it gives no light.
    target: Option<[f64; AIRMASSES.len()]>,
    /// The sky that no height changes, the natural one and that of lamps, each at the zenith.
    sky: [f64; 3],
    /// For each unit of the natural dark sky.
    twilight: f64,
    /// For each nanolambert.
    moon: f64,
    dark: f64,
}

/// What the filters of a night receive.
pub(super) struct NightLight {
    filters: Vec<Vec<PlaneLight>>,
}

impl NightLight {
    pub(super) fn new(night: &Night, mode: &Mode) -> Result<Self, PlanError> {
        let sensor = SensorNoise::new(night, mode);
        let at = |evening: &Evening| Conditions::with(night, mode, &sensor, evening);
        let evening = |airmass: f64, brightening: Brightening| Evening::made_up(night, airmass, brightening);
        let zenith = Brightening::ZENITH;
        let by_air = AIRMASSES.map(|airmass| at(&evening(airmass, zenith)));
        let by_air: Vec<Conditions> = by_air.into_iter().collect::<Result<_, _>>()?;
        let natural = at(&evening(1.0, Brightening { natural: 2.0, ..zenith }))?;
        let lamps = at(&evening(1.0, Brightening { lamps: 2.0, ..zenith }))?;
        let twilight = at(&evening(1.0, zenith).with_twilight(NATURAL_SKY))?;
        let moonlight = magnitude_of_nanolambert(MOON_NANOLAMBERT).unwrap_or(NATURAL_SKY);
        let moon = at(&evening(1.0, zenith).with_moon(Some(crate::stats::Estimate::new(moonlight.0, 0.0))))?;
        let plane = |f: usize, p: usize| {
            let rates = |conditions: &Conditions| conditions.filters[f].planes[p].noise.rates;
            let base = rates(&by_air[0]);
            let [natural, lamps] = [&natural, &lamps].map(|more| (rates(more).sky - base.sky).0);
            let logarithms: Vec<f64> = by_air.iter().map(|conditions| rates(conditions).target.0.ln()).collect();
            let target = <[f64; AIRMASSES.len()]>::try_from(logarithms).ok();
            PlaneLight {
                target: target.filter(|logarithms| logarithms.iter().all(|logarithm| logarithm.is_finite())),
                sky: [base.sky.0 - natural - lamps, natural, lamps],
                twilight: (rates(&twilight).sky - base.sky).0,
                moon: rates(&moon).moon.0 / MOON_NANOLAMBERT,
                dark: base.dark.0,
            }
        };
        let filters = by_air[0].filters.iter().enumerate();
        let filters = filters.map(|(f, filter)| (0..filter.planes.len()).map(|p| plane(f, p)).collect()).collect();
        Ok(Self { filters })
    }

    /// The mean rates of every plane of every filter over some samples.
    pub(super) fn rates(&self, samples: &[NightSample]) -> Vec<Vec<Rates>> {
        let of_plane = |plane: &PlaneLight| plane.mean(samples);
        self.filters.iter().map(|planes| planes.iter().map(of_plane).collect()).collect()
    }
}

impl PlaneLight {
    fn target(&self, airmass: f64) -> f64 {
        let Some(logarithms) = &self.target else { return 0.0 };
        let right = AIRMASSES.partition_point(|knot| *knot < airmass).clamp(1, AIRMASSES.len() - 1);
        let (from, to) = (AIRMASSES[right - 1], AIRMASSES[right]);
        let share = (airmass - from) / (to - from);
        (logarithms[right - 1] + share * (logarithms[right] - logarithms[right - 1])).exp()
    }

    fn mean(&self, samples: &[NightSample]) -> Rates {
        let hours: f64 = samples.iter().map(|sample| sample.hours).sum();
        let mean = |of: &dyn Fn(&NightSample) -> f64| {
            ElectronsPerSecond(samples.iter().map(|sample| sample.hours * of(sample)).sum::<f64>() / hours)
        };
        let [constant, natural, lamps] = self.sky;
        Rates {
            target: mean(&|sample| self.target(sample.airmass)),
            sky: mean(&|sample| {
                let towards = sample.brightening;
                constant + natural * towards.natural + lamps * towards.lamps + self.twilight * sample.twilight
            }),
            moon: mean(&|sample| self.moon * sample.moon_nanolambert),
            dark: ElectronsPerSecond(self.dark),
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::camera::CameraProfile;
    use crate::night::evening::track;
    use crate::sky::night::Tonight;

    use super::*;

    const CAMERA: &str = "camera = \"a\"\nprovenance = \"published\"\n[[modes]]\npixel_um = 3.8\nwidth_px = 100\n\
                          height_px = 100\n[[modes.planes]]\nplane = \"mono\"\ngain_e_per_dn = 1.0\nread_noise_e = 2.0\n\
                          saturation_e = 20000.0\n";
    const NIGHT: &str = "[optics]\naperture_mm = 80.0\nfocal_length_mm = 400.0\n[site]\nlatitude_deg = 50.0\n\
                         longitude_deg = 10.0\nutc_offset_h = 1.0\nsky = { mag_per_arcsec2 = 20.3 }\n[[filters]]\n\
                         name = \"blue\"\n[[filters]]\nname = \"dual\"\n[target]\nsurface_brightness_mag = 22.0\n\
                         line_rayleigh = 40.0\nra_deg = 23.5\ndec_deg = 30.7\n[goal]\nsnr = 5.0\ndate = \"DATE\"\n";

    #[test]
    fn the_light_put_together_is_that_of_the_evening_itself() {
        let profile = CameraProfile::from_toml(CAMERA).unwrap();
        // Full Moon, new Moon, and a summer night in twilight.
        for date in ["2026-10-26", "2026-10-10", "2026-06-20"] {
            let night = Night::from_toml(&NIGHT.replace("DATE", date)).unwrap();
            let light = NightLight::new(&night, &profile.modes[0]).unwrap();
            let (first, place) = night.dated().unwrap().unwrap();
            let tonight = Tonight::new(place, first, 1.0).unwrap();
            let limit = crate::night::evening::counted(&night, &tonight).unwrap();
            for span in tonight.usable(limit, &track(&night)) {
                let samples = tonight.samples(&[span], &track(&night), night.site.extinction());
                let whole = Conditions::on(&night, &profile.modes[0], &Evening::of_samples(&night, &samples)).unwrap();
                for (filter, rates) in whole.filters.iter().zip(light.rates(&samples)) {
                    for (plane, rates) in filter.planes.iter().zip(rates) {
                        let known = plane.noise.rates;
                        approx::assert_relative_eq!(rates.target.0, known.target.0, max_relative = 1e-3);
                        approx::assert_relative_eq!(rates.sky.0, known.sky.0, max_relative = 1e-6);
                        // Nanolamberts and magnitudes are told to five digits.
                        approx::assert_relative_eq!(rates.moon.0, known.moon.0, max_relative = 1e-4);
                        assert_eq!(rates.dark, known.dark);
                    }
                }
            }
        }
    }
}
