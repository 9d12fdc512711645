//! Two nights as they differ: mixtures that have some of the one and some of the other.

use std::sync::{Arc, OnceLock};

use crate::camera::{CameraProfile, Mode};
use crate::caveat::{Caveat, push_once};
use crate::rig::Filter;
use crate::sky::{GivenSky, Lamps};
use crate::target::{Brightness, Target};
use crate::units::{MagnitudesPerSquareArcsecond, Rayleighs};

use super::compare::{Factor, FilterPurchase, PurchaseTarget};
use super::hours::{Hours, hours, hours_moved};
use super::plan_light::{PlanLight, same_evenings};
use super::sky_answer::in_magnitudes;
use super::weighed::best_mode;
use super::{factors, is_array, losses_assumed};
use crate::night::{Conditions, Night};
use crate::plan::range::{Sensitivity, Source};
use crate::plan::{OutOfReach, PlanError, conditions_over_nights, plan};

/// From this difference on between the hours here and the plan's the rules of a short target are worth a word.
const PLAN_DIFFERS: f64 = 0.15;
/// Beyond this time whole numbers weigh no more, in seconds.
const A_LONG_PLAN_S: f64 = 4.0 * 3600.0;
/// A galaxy's outskirts, where the night's target is none.
const GALAXY: MagnitudesPerSquareArcsecond = MagnitudesPerSquareArcsecond(23.0);
/// A nebula of middling brightness, from memory, where the night's target has no line.
const NEBULA: Rayleighs = Rayleighs(100.0);

/// What two nights can differ in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reason {
    Sky,
    AirTemperature,
    Target,
    Aperture,
    Sampling,
    Filter,
    Camera,
    Mount,
    Calibration,
    Habits,
}

impl Reason {
    const ALL: [Self; 10] = [
        Self::Sky,
        Self::AirTemperature,
        Self::Target,
        Self::Aperture,
        Self::Sampling,
        Self::Filter,
        Self::Camera,
        Self::Mount,
        Self::Calibration,
        Self::Habits,
    ];
}

/// One of the two nights with its camera's mode.
pub(super) struct Side {
    pub(super) night: Night,
    pub(super) mode: Mode,
    /// The light that both nights are weighed in, where they are the same evenings.
    light: Option<Arc<PlanLight>>,
    /// What [`Side::conditions`] has found.
    found: OnceLock<Conditions>,
}

/// A copy is there to be changed: it finds its conditions anew.
impl Clone for Side {
    fn clone(&self) -> Self {
        let (night, mode) = (self.night.clone(), self.mode.clone());
        Self { night, mode, light: self.light.clone(), found: OnceLock::new() }
    }
}

impl Side {
    /// The night with its camera in the mode that it names, else in the quickest.
    pub(super) fn new(night: &Night, camera: &CameraProfile) -> Result<Self, PlanError> {
        Ok(Self::of(night.clone(), best_mode(night, camera)?.clone()))
    }

    /// The night with its camera in this mode.
    pub(super) fn of(night: Night, mode: Mode) -> Self {
        Self { night, mode, light: None, found: OnceLock::new() }
    }

    fn is_array(&self) -> bool {
        is_array(&self.mode)
    }

    fn filters(&self) -> Vec<Filter> {
        self.night.filters(self.is_array())
    }

    /// The conditions of the night; with a date, under the light of the hours that its plan takes.
    pub(super) fn conditions(&self) -> Result<&Conditions, PlanError> {
        if let Some(found) = self.found.get() {
            return Ok(found);
        }
        // Without a plan there is the first evening's light.
        let found = if let Some(light) = &self.light {
            light.on(&self.night, &self.mode)?
        } else if let Ok(Some(found)) = conditions_over_nights(&self.night, &self.mode) {
            found
        } else {
            Conditions::new(&self.night, &self.mode)?
        };
        Ok(self.found.get_or_init(|| found))
    }

    pub(super) fn hours(&self) -> Result<Hours, PlanError> {
        self.hours_moved(None)
    }

    fn hours_moved(&self, moved: Option<(Source, f64)>) -> Result<Hours, PlanError> {
        let conditions = self.conditions()?;
        let found = match moved {
            Some(_) => hours_moved(&self.night, &self.mode, conditions, moved)?,
            None => hours(&self.night, &self.mode, conditions)?,
        };
        found.ok_or_else(|| PlanError::OutOfReach {
            filter: self.filters().first().map_or_else(String::new, Filter::label),
            reach: OutOfReach::Endless,
        })
    }
}

/// The two nights, and which of their differences go together.
pub(super) struct Pair {
    pub(super) sides: [Side; 2],
}

impl Pair {
    /// Both nights in the light of the first one's plan, where they are the same evenings.
    pub(super) fn in_one_light(mut self) -> Self {
        let [a, b] = &self.sides;
        if same_evenings(&a.night, &b.night) {
            let light = PlanLight::of(&a.night, &a.mode);
            for side in &mut self.sides {
                (side.light, side.found) = (light.clone(), OnceLock::new());
            }
        }
        self
    }

    /// A sky that was measured in one camera's electrons says nothing to another: where anything but the sky differs, both
    /// are taken as magnitudes.
    pub(super) fn with_comparable_skies(mut self) -> Result<Self, PlanError> {
        let measured = |side: &Side| matches!(side.night.site.sky(), GivenSky::Measured { .. });
        let only_sky = self.differing().iter().all(|reason| *reason == Reason::Sky);
        if only_sky || !self.sides.iter().any(measured) {
            return Ok(self);
        }
        let same = self.sides[0].night.site.sky == self.sides[1].night.site.sky;
        let magnitude = |side: &Side| in_magnitudes(&side.night, &side.mode);
        let first = magnitude(&self.sides[0])?;
        // The same rate in both files was measured once, with what the first night has.
        let second = if same { first.clone() } else { magnitude(&self.sides[1])? };
        for (side, sky) in self.sides.iter_mut().zip([first, second]) {
            side.night.site.sky = sky.or(side.night.site.sky.take());
            side.found = OnceLock::new();
        }
        Ok(self)
    }

    /// Whether the two cameras see colours in the same way; where they do not, filters belong to the camera.
    fn built_alike(&self) -> bool {
        let ratio_of =
            |side: &Side| side.mode.planes.iter().map(|plane| (plane.plane, plane.colour)).collect::<Vec<_>>();
        ratio_of(&self.sides[0]) == ratio_of(&self.sides[1])
    }

    /// A target that moves is up or down by date and place: where both differ, they change together.
    fn target_with_sky(&self) -> bool {
        let dated = self.sides.iter().any(|side| side.night.goal.date.is_some());
        dated && self.differs(Reason::Sky) && self.sides[0].night.target != self.sides[1].night.target
    }

    fn differs(&self, reason: Reason) -> bool {
        let [a, b] = &self.sides;
        let mut other = a.clone();
        self.put(&mut other, b, reason);
        other.night != a.night || other.mode != a.mode
    }

    fn differing(&self) -> Vec<Reason> {
        let merged = |reason: &Reason| *reason == Reason::Target && self.target_with_sky();
        Reason::ALL.into_iter().filter(|reason| self.differs(*reason) && !merged(reason)).collect()
    }

    /// Gives a night what another has in one respect.
    fn put(&self, to: &mut Side, from: &Side, reason: Reason) {
        let (night, other) = (&mut to.night, &from.night);
        match reason {
            Reason::Sky => {
                let (ambient, climate) = (night.site.ambient_c, night.site.climate.clone());
                night.site = other.site.clone();
                (night.site.ambient_c, night.site.climate) = (ambient, climate);
                night.goal.date.clone_from(&other.goal.date);
                night.goal.need_astronomical_night = other.goal.need_astronomical_night;
            }
            Reason::AirTemperature => night.site.ambient_c = other.site.ambient_c,
            Reason::Target => night.target = other.target.clone(),
            Reason::Aperture => {
                let focal_length = night.optics.focal_length_mm;
                night.optics = other.optics.clone();
                night.optics.focal_length_mm = focal_length;
            }
            Reason::Sampling => {
                night.optics.focal_length_mm = other.optics.focal_length_mm;
                let (mode, of) = (&mut to.mode, &from.mode);
                (mode.pixel_um, mode.width_px, mode.height_px, mode.binning) =
                    (of.pixel_um, of.width_px, of.height_px, of.binning);
            }
            Reason::Filter if self.built_alike() => put_filters(to, from),
            Reason::Filter => {}
            Reason::Camera => self.put_camera(to, from),
            Reason::Mount => night.mount = other.mount.clone(),
            Reason::Calibration => {
                night.calibration = other.calibration.clone();
                night.stack = other.stack.clone();
            }
            Reason::Habits => {
                night.goal.clear_hours_per_night = other.goal.clear_hours_per_night;
                night.goal.star_mag_kept = other.goal.star_mag_kept;
            }
        }
    }

    fn put_camera(&self, to: &mut Side, from: &Side) {
        let kept = to.mode.clone();
        to.mode = Mode {
            pixel_um: kept.pixel_um,
            width_px: kept.width_px,
            height_px: kept.height_px,
            binning: kept.binning,
            ..from.mode.clone()
        };
        to.night.camera = from.night.camera.clone();
        // Where the profile lies says nothing of the camera.
        to.night.camera.profile.clone_from(&self.sides[0].night.camera.profile);
        if self.built_alike() {
            // The quantum efficiency stands beside the filter and belongs to the sensor.
            let theirs = from.filters();
            let mut own = to.filters();
            for (i, filter) in own.iter_mut().enumerate() {
                let named = theirs.iter().find(|known| known.label() == filter.label());
                if let Some(known) = named.or(theirs.get(i)).or(theirs.first()) {
                    filter.quantum_efficiency = known.quantum_efficiency;
                }
            }
            to.night.filters = own;
        } else {
            to.night.filters = from.filters();
        }
    }

    /// The nights' mixture that has these differences from the second night.
    fn mixed(&self, differing: &[Reason], set: u32) -> Side {
        let [a, b] = &self.sides;
        let mut side = a.clone();
        let chosen = differing.iter().enumerate().filter(|(bit, _)| set >> bit & 1 == 1);
        for (_, reason) in chosen {
            self.put(&mut side, b, *reason);
            if *reason == Reason::Sky && self.target_with_sky() {
                self.put(&mut side, b, Reason::Target);
            }
        }
        side
    }

    pub(super) fn factors(&self) -> Result<Vec<Factor>, PlanError> {
        let differing = self.differing();
        let value = |set: u32| Ok(self.mixed(&differing, set).hours()?.seconds.ln());
        let ratios = factors(differing.len(), value)?;
        let name = |reason: &Reason| match reason {
            Reason::Sky if self.target_with_sky() => "sky and target",
            Reason::Sky => "sky",
            Reason::AirTemperature => "air temperature",
            Reason::Target => "target",
            Reason::Aperture => "aperture",
            Reason::Sampling => "sampling",
            Reason::Filter => "filter",
            Reason::Camera if self.built_alike() => "camera",
            Reason::Camera => "camera and filter",
            Reason::Mount => "mount",
            Reason::Calibration => "calibration",
            Reason::Habits => "habits",
        };
        Ok(differing.iter().zip(ratios).map(|(reason, ratio)| Factor { name: name(reason).into(), ratio }).collect())
    }

    /// The sources of uncertainty that are as wrong in the one night as in the other.
    pub(super) fn shared_inputs(&self, same_profile: bool) -> Vec<Source> {
        let [a, b] = &self.sides;
        let same_camera = same_profile && a.mode == b.mode;
        // Lengths are exact; what the glass lets pass is not.
        let glass = |side: &Side| (side.night.optics.transmission(), side.night.optics.throughput_ratio);
        let same_light = glass(a) == glass(b) && a.filters() == b.filters() && same_camera;
        let shared = |source: &Source| match source {
            Source::Sky => a.night.site.sky() == b.night.site.sky(),
            Source::Lamps => a.night.site.lamps() == b.night.site.lamps() && a.filters() == b.filters(),
            Source::Moon => true,
            Source::Throughput => same_light,
            Source::Target => a.night.target == b.night.target,
            Source::Beam => a.night.optics == b.night.optics && a.filters() == b.filters(),
            Source::ReadNoise | Source::DarkCurrent => same_camera,
        };
        Source::ALL.into_iter().filter(shared).collect()
    }

    /// Standard uncertainty of the ratio's logarithm.
    pub(super) fn spread(&self, shared: &[Source]) -> Result<f64, PlanError> {
        let mut sum = 0.0;
        for source in Source::ALL {
            let seconds_of =
                |side: &Side, sigmas: f64| side.hours_moved(Some((source, sigmas))).map(|found| found.seconds);
            let mut halves = [0.0; 2];
            for (half, side) in halves.iter_mut().zip(&self.sides) {
                let middle = seconds_of(side, 0.0)?;
                // What cannot be reached with a source moved is mirrored from the other side.
                let ends = [seconds_of(side, -1.0).ok(), seconds_of(side, 1.0).ok()]
                    .map(|end| end.map(|seconds| seconds / middle));
                let sensitivity = Sensitivity::new(source, ends[0], ends[1]);
                *half = (sensitivity.up - sensitivity.down) / 2.0;
            }
            let [a, b] = halves;
            sum += if shared.contains(&source) { (a - b).powi(2) } else { a * a + b * b };
        }
        Ok(sum.sqrt())
    }

    /// What the filters alone do, by target and lamps; empty where they do not differ or belong to the camera.
    pub(super) fn filter_purchase(&self) -> Vec<FilterPurchase> {
        if !self.built_alike() || !self.differs(Reason::Filter) {
            return Vec::new();
        }
        let [a, b] = &self.sides;
        let given = a.night.target.brightness().ok();
        let galaxy = given.as_ref().and_then(|given| given.continuum).unwrap_or(GALAXY);
        let nebula = given.as_ref().and_then(Brightness::main_line).unwrap_or(NEBULA);
        let plain = Target {
            name: None,
            surface_brightness_mag: None,
            line_rayleigh: None,
            emission_measure_pc_cm6: None,
            core_surface_brightness_mag: None,
            ..a.night.target.clone()
        };
        let targets = [
            (PurchaseTarget::Galaxy, Target { surface_brightness_mag: Some(galaxy), ..plain.clone() }),
            (PurchaseTarget::Nebula, Target { line_rayleigh: Some(nebula), ..plain }),
        ];
        let mut table = Vec::new();
        for (kind, target) in targets {
            for lamps in [Lamps::Sodium, Lamps::Mixed, Lamps::Led3000, Lamps::Led4000] {
                let seconds = |with: Option<&Side>| {
                    let mut side = a.clone();
                    (side.night.target, side.night.site.lamps) = (target.clone(), Some(lamps));
                    // The position is kept: a name would bring its own brightness.
                    if let (Some((ra, dec)), Ok(None)) = (a.night.position(), side.night.target.place()) {
                        (side.night.target.ra_deg, side.night.target.dec_deg) = (Some(ra), Some(dec));
                    }
                    if let Some(other) = with {
                        self.put(&mut side, other, Reason::Filter);
                    }
                    side.hours().ok().map(|found| found.seconds)
                };
                let hours_ratio = seconds(None).zip(seconds(Some(b))).map(|(own, other)| own / other);
                table.push(FilterPurchase { target: kind, lamps, hours_ratio });
            }
        }
        table
    }

    pub(super) fn caveats(
        &self,
        given: [(&Night, &CameraProfile); 2],
        hours: [&Hours; 2],
        names: &[String; 2],
    ) -> Result<Vec<Caveat>, PlanError> {
        let mut caveats = Vec::new();
        for (((night, camera), side), (hours, name)) in given.iter().zip(&self.sides).zip(hours.iter().zip(names)) {
            if let Some(caveat) = losses_assumed(night) {
                push_once(&mut caveats, caveat);
            }
            let said =
                side.conditions()?.caveats.iter().cloned().chain(night.caveats()).chain(camera.caveats.iter().cloned());
            for caveat in said.filter(|caveat| caveat.code != "not-yet-used") {
                if caveats.iter().all(|known: &Caveat| (&known.code, &known.message) != (&caveat.code, &caveat.message))
                {
                    let about =
                        if caveat.about.is_empty() { name.clone() } else { format!("{name}: {}", caveat.about) };
                    caveats.push(caveat.about(about));
                }
            }
            caveats.extend(plan_differs(side, camera, hours.seconds).map(|caveat| caveat.about(name.clone())));
        }
        Ok(caveats)
    }
}

/// The other's filters with the own quantum efficiency, which belongs to the sensor.
fn put_filters(to: &mut Side, from: &Side) {
    let own = to.filters();
    let mut filters = from.filters();
    for (i, filter) in filters.iter_mut().enumerate() {
        let named = own.iter().find(|known| known.label() == filter.label());
        if let Some(known) = named.or(own.get(i)).or(own.first()) {
            filter.quantum_efficiency = known.quantum_efficiency;
        }
    }
    to.night.filters = filters;
}

/// A word where the plan of the same night needs another time, or has none.
fn plan_differs(side: &Side, camera: &CameraProfile, seconds: f64) -> Option<Caveat> {
    let mut night = side.night.clone();
    (night.goal.already_have_h, night.goal.already) = (None, Vec::new());
    let planned = plan(&night, camera).map(|plan| plan.wall_clock_s.0);
    let message = match planned {
        Ok(planned) if (planned / seconds).ln().abs() < PLAN_DIFFERS => return None,
        Ok(planned) => format!(
            "the plan of this night takes {:.1} h, not {:.1} h: {}",
            planned / 3600.0,
            seconds / 3600.0,
            if side.light.is_some() && planned > A_LONG_PLAN_S {
                "both nights are weighed in the mean light of the hours that the first one's plan takes"
            } else {
                "whole subs, dithers and the least number of them weigh in so short a time"
            }
        ),
        Err(error) => format!("this night alone would not be planned: {error}"),
    };
    Some(Caveat::new("plan-differs", message, "the ratio is that of a target that takes nights; see subwell plan"))
}
