//! The morning after: last night's lights against the night file, sub by sub.
//!
//! ```text
//! measured lights ──► moments ──► expected ──┐
//!         │                                  ├─► signs ──► worth ──► kept, dropped, SNR ──► advice
//!         └─────────► the same stars ────────┘
//! ```
//!
//! What is said of a sub is said against the best of its set: a cloud or dew that lasted all night is everybody's, and is
//! not seen.

mod advice;
mod answer;
mod assigned;
mod campaign;
mod error;
mod expected;
mod field;
mod memo;
mod moments;
mod running;
mod set;
mod signs;
mod trend;
mod words;
mod worth;

pub use answer::{FilterReview, PlaneOfSub, Review, ReviewNight, ReviewPlane, SkyToWrite, SubReview};
pub use campaign::{Campaign, CampaignFilter, CampaignNight, NightFilter, Reviewed};
pub use error::ReviewError;
pub use expected::dark_levels;
pub use memo::Memo;
pub use running::{Running, RunningStack, Said, Spoken, WatchLine, WatchedSub, Word};
pub use signs::Sign;
#[cfg(feature = "report")]
pub(crate) use worth::WORTH_DROPPING;

use crate::camera::{CameraProfile, MeasuredLight, PlaneName};
use crate::caveat::{Caveat, Rejected};
use crate::document::Stamp;
use crate::stats::Estimate;
use crate::units::{Degrees, Electrons, MAGNITUDES_PER_LOGARITHM, Seconds};

use crate::night::Night;
use crate::sky::night::Utc;

use assigned::assigned;
pub use moments::Clock;
use moments::{Moment, Moments};
use set::{Judged, Set};

/// A Moon of more than this share of the sky leaves too little to call the rest measured.
const MOST_MOON: f64 = 0.5;

impl Review {
    /// Judges the lights of a folder against a night.
    ///
    /// `left_out` are the files that could not be measured, `caveats` what is doubted already.
    ///
    /// # Errors
    /// When night and camera do not fit together, or no light is of a filter of the night.
    pub fn new(
        night: &Night,
        profile: &CameraProfile,
        lights: &[MeasuredLight],
        left_out: Vec<Rejected>,
        caveats: Vec<Caveat>,
    ) -> Result<Self, ReviewError> {
        Self::again(night, profile, lights, left_out, caveats, &mut Memo::default())
    }

    /// [`Review::new`] of lights most of which were reviewed before, against the same night and camera: the same answer, sooner.
    ///
    /// # Errors
    /// As [`Review::new`].
    pub fn again(
        night: &Night,
        profile: &CameraProfile,
        lights: &[MeasuredLight],
        mut left_out: Vec<Rejected>,
        mut caveats: Vec<Caveat>,
        memo: &mut Memo,
    ) -> Result<Self, ReviewError> {
        night.check()?;
        let moments = Moments::new(night, lights)?;
        caveats.extend(moments.caveats.iter().cloned());
        let assigned = assigned(night, profile, lights, &moments.of)?;
        caveats.extend(assigned.caveats);
        left_out.extend(assigned.left_out);
        let sets: Vec<Set<'_>> = assigned
            .sets
            .into_iter()
            .map(|(name, entries)| Set::new(night, &name, entries, memo))
            .collect::<Result<_, _>>()?;
        let shutter = |set: &&Set<'_>| set.subs.iter().map(|sub| sub.light.exposure_s.0).sum::<f64>();
        let Some(main) = sets.iter().max_by(|a, b| shutter(a).total_cmp(&shutter(b))) else {
            let why = left_out.first().map_or(String::new(), |file| format!(": {}", file.reason));
            return Err(ReviewError::NothingToReview { why });
        };
        let filters: Vec<FilterReview> = sets.iter().map(Set::review).collect();
        let own = filters.iter().find(|filter| filter.name == main.name).cloned();
        let Some(own) = own else { return Err(ReviewError::NothingToReview { why: String::new() }) };
        for set in &sets {
            caveats.extend(set.caveats());
        }
        let offset = night.utc_offset_h();
        let first = moments.of.iter().flatten().map(|moment| moment.at).min_by(|a, b| a.0.total_cmp(&b.0));
        let all = || sets.iter().flat_map(|set| &set.subs);
        let hours = |dropped: bool| {
            all().filter(|sub| sub.dropped == dropped).map(|sub| sub.light.exposure_s.0).sum::<f64>() / 3600.0
        };
        let effective = all().map(|sub| sub.light.exposure_s.0 * sub.worth_percent.min(100.0)).sum::<f64>() / 3.6e5;
        let mut review = Self {
            stamp: Stamp::new(),
            program: env!("CARGO_PKG_VERSION").into(),
            night: summary(&moments, offset),
            filter: main.name.clone(),
            plane: main.plane,
            sky_e_per_s: own.sky_e_per_s,
            predicted_sky_e_per_s: own.predicted_sky_e_per_s,
            sky_fainter_by_mag: fainter_by(&own),
            sky_to_write: main.sky_to_write(),
            achieved_snr: own.achieved_snr,
            snr_if_all_kept: own.snr_if_all_kept,
            predicted_snr: own.predicted_snr,
            goal_snr: own.goal_snr,
            hours_to_goal: own.hours_to_goal,
            hours_kept: hours(false),
            hours_dropped: hours(true),
            effective_hours: effective,
            subs_kept: all().filter(|sub| !sub.dropped).count(),
            subs_dropped: all().filter(|sub| sub.dropped).count(),
            subs: sets.iter().flat_map(|set| set.summaries(offset, first)).collect(),
            filters,
            advice: Vec::new(),
            left_out,
            caveats,
            fields: sets.iter().filter_map(Set::field).collect(),
        };
        review.advice = advice::advice(&review, night, profile);
        Ok(review)
    }
}

fn summary(moments: &Moments, offset: f64) -> ReviewNight {
    let times = || moments.of.iter().flatten();
    let first = times().min_by(|a, b| a.at.0.total_cmp(&b.at.0));
    let last = times().max_by(|a, b| a.at.0.total_cmp(&b.at.0));
    let local = |moment: Option<&Moment>| moment.map(|moment| moment.at.local(offset));
    let middle = times().nth(times().count() / 2).and_then(|moment| moment.sample);
    ReviewNight {
        from: local(first),
        to: local(last),
        utc_offset_h: offset,
        headers_give: moments.clock,
        followed: times().any(|moment| moment.sample.is_some()),
        moon_illuminated_percent: middle.map(|sample| 100.0 * sample.moon.illuminated()),
    }
}

/// Measured over predicted in magnitudes: `−2.5 log₁₀(measured/predicted)`.
fn fainter_by(filter: &FilterReview) -> Option<Estimate<f64>> {
    let (measured, predicted) = (filter.sky_e_per_s?, filter.predicted_sky_e_per_s?);
    if measured.value.0 <= 0.0 || predicted.value.0 <= 0.0 {
        return None;
    }
    let ratio = measured.value.0 / predicted.value.0;
    let relative = measured.relative().hypot(predicted.relative());
    Some(Estimate::new(-2.5 * ratio.log10(), MAGNITUDES_PER_LOGARITHM * relative))
}

impl Set<'_> {
    /// The quiet sky without the Moon that was predicted of it.
    fn sky_to_write(&self) -> Option<SkyToWrite> {
        let sky = self.quiet_sky(self.plane)?;
        let (of_moon, moon) = self.predicted(self.plane).map_or((0.0, 0.0), |(_, moon)| {
            let spread = self.quiet().first().and_then(|sub| sub.expected.plane(self.plane)).map(|p| p.spread.moon);
            (moon * spread.unwrap_or(0.0), moon)
        });
        let rest = sky.value.0 - moon;
        let relative = (sky.relative() * sky.value.0).hypot(of_moon) / rest;
        let e_per_s = Estimate::within_factor(rest, relative).determined()?;
        let (filter, plane) = (self.name.clone(), self.plane);
        let altitudes: Option<Vec<f64>> =
            self.quiet().iter().map(|sub| sub.moment.and_then(|m| m.sample).map(|sample| sample.target.0)).collect();
        let altitudes = altitudes.filter(|altitudes| !altitudes.is_empty());
        let altitude_deg = altitudes.map(|of| Degrees(of.iter().sum::<f64>() / of.len() as f64));
        (rest > (1.0 - MOST_MOON) * sky.value.0).then_some(SkyToWrite { e_per_s, filter, plane, altitude_deg })
    }

    fn summaries(&self, offset: f64, first: Option<Utc>) -> Vec<SubReview> {
        let gains = self.gains();
        self.subs.iter().zip(gains).map(|(sub, adds)| self.summary(sub, adds, offset, first)).collect()
    }

    fn summary(&self, sub: &Judged<'_>, adds_snr: Option<f64>, offset: f64, first: Option<Utc>) -> SubReview {
        let light = sub.light;
        let measured = light.plane(self.plane);
        let background = measured.map(|plane| &plane.background);
        let predicted = |plane: PlaneName| {
            sub.expected.plane(plane).map(|plane| (plane.noise.rates.sky + plane.noise.rates.moon).0)
        };
        let gain = sub.mode.plane(self.plane).map_or(0.0, |plane| plane.gain_e_per_dn.relative());
        let sample = sub.moment.and_then(|moment| moment.sample);
        let found = match &sub.found {
            Some(field::Found::Same { light, moved, turned }) => (Some(light.relative()), *moved, Some(turned.0)),
            _ => (None, None, None),
        };
        SubReview {
            file: light.file.clone(),
            when: sub.moment.map(|moment| moment.at.local(offset)),
            filter: self.name.clone(),
            exposure_s: light.exposure_s,
            gain_setting: light.frame_mode.gain_setting,
            sky_e_per_s: background.and_then(|b| b.e_per_s.determined()),
            predicted_sky_e_per_s: predicted(self.plane),
            sky_over_quiet: sub.against.sky,
            gradient_percent: background.map_or(0.0, |b| b.gradient_percent),
            not_background_percent: background.map_or(0.0, |b| b.not_background_percent),
            noise_e: measured.map(|p| Estimate::new(p.noise_e.0, p.noise_e.0 * gain)),
            predicted_noise_e: sub.predicted_noise(self.plane).map(|Electrons(noise)| noise),
            fwhm_px: sub.width_px,
            predicted_fwhm_px: sub.expected.width_px,
            star_count: light.star_count,
            starlight: sub
                .against
                .light
                .filter(|_| !sub.against.hidden)
                .map(|share| Estimate::new(share, share * found.0.unwrap_or(0.3))),
            moved_px: found.1,
            turned_deg: found.2,
            target_altitude_deg: sample.map(|sample| sample.target.0),
            moon_altitude_deg: sample.map(|sample| sample.moon.place.altitude.0),
            signs: sub.against.signs.clone(),
            keep: !sub.dropped,
            worth_percent: sub.worth_percent,
            adds_snr,
            hours_since_first: sub.moment.zip(first).map(|(moment, first)| moment.at.hours_since(first)),
            why: words::why(sub),
            planes: light
                .planes
                .iter()
                .map(|plane| PlaneOfSub {
                    plane: plane.background.plane,
                    colour: plane.background.colour,
                    sky_e_per_s: plane.background.e_per_s.determined(),
                    predicted_sky_e_per_s: predicted(plane.background.plane),
                })
                .collect(),
        }
    }

    /// What the judgement of a set rests on.
    fn caveats(&self) -> Vec<Caveat> {
        let mut caveats = Vec::new();
        if !self.has_stars {
            let message = "too few stars in these lights: cloud, dew and dithers cannot be told, and every sub's light is \
                           taken as whole and at a place of its own";
            let hint = "longer subs or a wider filter show more stars";
            caveats.push(Caveat::new("no-stars", message, hint).about(self.name.clone()));
        }
        if self.quiet_sky(self.plane).is_none() {
            let message = "the sky of these lights does not stand out of its uncertainty: it is not given";
            let hint = "take longer subs, and darks of their length and temperature beside them";
            caveats.push(Caveat::new("sky-undetermined", message, hint).about(self.name.clone()));
        }
        let count = self.subs.len();
        if count < 4 {
            let lights = if count == 1 { "one light has".to_owned() } else { format!("{count} lights have") };
            let message = format!("{lights} little to be compared with: what all share is not seen");
            let hint = "review the whole night";
            caveats.push(Caveat::new("few-lights", message, hint).about(self.name.clone()));
        }
        let mut lengths: Vec<Seconds> = self.subs.iter().map(|sub| sub.light.exposure_s).collect();
        lengths.sort_by(|a, b| a.0.total_cmp(&b.0));
        lengths.dedup_by(|a, b| (a.0 / b.0 - 1.0).abs() < 0.01);
        if lengths.len() > 1 {
            let words: Vec<String> = lengths.iter().map(|length| format!("{} s", length.0)).collect();
            let message = format!("subs of {} lie together: they are added as electrons", words.join(", "));
            let hint = "stack each length with darks of its own, and weight by exposure";
            caveats.push(Caveat::new("several-exposures", message, hint).about(self.name.clone()));
        }
        let others: Vec<&str> = self
            .subs
            .iter()
            .filter(|sub| sub.against.signs.contains(&Sign::OtherField))
            .map(|sub| sub.light.file.as_str())
            .collect();
        if let Some(first) = others.first() {
            let message = match others.len() {
                1 => "one light shows other stars than the rest: another field, or cloud that hides most stars".into(),
                count => format!(
                    "{count} lights show other stars than the rest: another field, or cloud that hides most stars"
                ),
            };
            let hint = "review each target in a folder of its own";
            caveats.push(Caveat::new("other-field", message, hint).about(*first));
        }
        caveats
    }
}
