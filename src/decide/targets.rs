//! What a rig can reach under its sky: every target that is known by name, by the hours that it takes.

use rayon::iter::{Either, IntoParallelRefIterator, ParallelIterator};
use serde::{Deserialize, Serialize};

use crate::camera::CameraProfile;
use crate::caveat::Caveat;
use crate::document::{Format, Stamp};
use crate::night::{Conditions, Night};
use crate::plan::PlanError;
use crate::plan::brief::{Brief, Evenings};
use crate::rig::Filter;
use crate::target::{Object, ObjectKind, Target, objects};
use crate::units::Seconds;

use super::choices::NotWeighed;
use super::weighed::best_mode;
use super::{is_array, losses_assumed};

/// Why a target is not planned that is not up.
const DOWN: &str = "it does not rise above the horizon in the dark hours";

/// What is asked beside the night.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub struct TargetsAsked {
    /// Nights from the night's date on that may be used, at most 60.
    pub nights: u32,
}

impl Default for TargetsAsked {
    fn default() -> Self {
        Self { nights: 7 }
    }
}

/// What `targets --json` prints.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Targets {
    /// `format`, always `subwell.targets`, and `version`.
    #[serde(flatten)]
    pub stamp: Stamp<Self>,
    /// The program's version.
    pub program: String,
    /// The camera.
    pub camera: String,
    /// The signal over noise that each must reach.
    pub snr: f64,
    /// The evening; `null` where the night has no date or no place, so that all is of a usual moonless night.
    pub date: Option<String>,
    /// Nights from it on that may be used.
    pub nights: Option<u32>,
    /// The frame on the sky, the longer side first.
    pub field_arcmin: [f64; 2],
    /// What can be reached, those that the nights finish first, each by its hours.
    pub targets: Vec<TargetInReach>,
    /// What cannot, and why.
    pub out_of_reach: Vec<NotWeighed>,
    /// What the numbers rest on.
    pub caveats: Vec<Caveat>,
}

impl Format for Targets {
    const FORMAT: &'static str = "subwell.targets";
}

/// One target.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct TargetInReach {
    /// The name that it is usually called by.
    pub name: String,
    /// Its other names.
    pub also: Vec<String>,
    /// `galaxy`, `globular cluster`, `planetary nebula`, `reflection nebula`, `emission nebula`, `supernova remnant`.
    pub kind: String,
    /// Whole axes, the longer one first.
    pub size_arcmin: [f64; 2],
    /// Its longer axis along the frame's longer side: the share of the frame that it fills; above 1 it does not fit.
    pub share_of_field: f64,
    /// The night's filter of the least time.
    pub filter: String,
    /// Time on the clock in that filter.
    pub wall_clock_s: Seconds,
    /// Its range.
    pub wall_clock_range_s: [Seconds; 2],
    /// The time in each filter that reaches the goal, under the mean light of the first night.
    pub filters: Vec<FilterTime>,
    /// The last night that it needs; `null` where the nights do not finish it, or there is no date.
    pub done_on: Option<String>,
    /// Nights that are used.
    pub nights: Option<u32>,
    /// What of it the nights do.
    pub done_percent: Option<f64>,
    /// From when to when it can be photographed in the first night, local time.
    pub window: Option<[String; 2]>,
    /// Lowest and highest altitude in it.
    pub altitude_deg: Option<[f64; 2]>,
}

/// The time in one filter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct FilterTime {
    /// The filter.
    pub filter: String,
    /// Time on the clock.
    pub wall_clock_s: Seconds,
}

impl Targets {
    /// The time that every named target takes for the night's goal, each in the one of the night's filters that is quickest.
    ///
    /// The night's own target counts for nothing but its least altitude, and hours in hand are left out. Open clusters have no
    /// surface, and are not among them.
    ///
    /// # Errors
    /// When night and camera do not fit together.
    pub fn new(night: &Night, camera: &CameraProfile, asked: TargetsAsked) -> Result<Self, PlanError> {
        night.check()?;
        if night.goal.hours.is_some() {
            let why = "says nothing of targets, for each would take just these: ask for snr or a picture";
            return Err(PlanError::impossible("goal.hours", why));
        }
        let nights = asked.nights.clamp(1, 60);
        let dated = night.dated()?.is_some();
        let mut usual = of_target(night, objects().next().map_or("", Object::name));
        usual.goal.date = None;
        let mode = best_mode(&usual, camera)?;
        let scale = Conditions::new(&usual, mode)?.pixel_scale;
        let across = |pixels: usize| pixels as f64 * scale.0 / 60.0;
        let mut field = [across(mode.width_px), across(mode.height_px)];
        field.sort_by(|a, b| b.total_cmp(a));
        let filters = night.filters(is_array(mode));
        let surfaces: Vec<&Object> = objects().filter(|object| object.kind != ObjectKind::OpenCluster).collect();
        let evenings = Evenings::new(night, nights)?;
        if let Some(evenings) = &evenings {
            evenings.check_dark(night)?;
        }
        let rig = Rig { night, camera, filters: &filters, evenings: evenings.as_ref(), field };
        let (out_of_reach, mut targets): (Vec<NotWeighed>, Vec<TargetInReach>) =
            surfaces.par_iter().map(|object| rig.target(object)).partition_map(Either::from);
        let unfinished = |target: &TargetInReach| dated && target.done_on.is_none();
        targets.sort_by(|a, b| unfinished(a).cmp(&unfinished(b)).then(a.wall_clock_s.0.total_cmp(&b.wall_clock_s.0)));
        Ok(Self {
            stamp: Stamp::new(),
            program: env!("CARGO_PKG_VERSION").into(),
            camera: camera.camera.clone(),
            snr: night.goal.snr(),
            date: night.goal.date.clone().filter(|_| dated),
            nights: dated.then_some(nights),
            field_arcmin: field,
            targets,
            out_of_reach,
            caveats: losses_assumed(night).into_iter().collect(),
        })
    }
}

/// The night with another target in the place of its own.
fn of_target(night: &Night, name: &str) -> Night {
    let mut night = Night { choices: Vec::new(), ..night.clone() };
    night.target =
        Target { name: Some(name.to_owned()), min_altitude_deg: night.target.min_altitude_deg, ..Target::default() };
    night.goal.already.clear();
    night.goal.already_have_h = None;
    night
}

/// What all targets are photographed with.
struct Rig<'a> {
    night: &'a Night,
    camera: &'a CameraProfile,
    filters: &'a [Filter],
    evenings: Option<&'a Evenings>,
    field: [f64; 2],
}

impl<'a> Rig<'a> {
    fn target(&self, object: &Object) -> Result<TargetInReach, NotWeighed> {
        let missing = |why: String| NotWeighed { name: object.name().into(), why };
        let unreached = |error: PlanError| missing(error.to_string());
        let mut night = of_target(self.night, object.name());
        if self.evenings.is_none() && night.never_rises() {
            return Err(missing("it does not rise above the horizon at this latitude".into()));
        }
        // The plan begins on the first evening on which the target is up.
        let up = |evenings: &'a Evenings| evenings.since_it_is_up(&night).ok_or_else(|| missing(DOWN.into()));
        let evenings = self.evenings.map(up).transpose()?;
        if let Some((date, _)) = evenings.and_then(<[_]>::first) {
            night.goal.date = Some(date.to_string());
        }
        let (mut briefs, mut failure) = (Vec::new(), None);
        for found in Brief::through(&night, self.filters, self.camera).map_err(unreached)? {
            match found {
                Ok(brief) => briefs.push(brief),
                Err(error) => failure = failure.or(Some(error)),
            }
        }
        let Some(quickest) = briefs.iter().min_by(|a, b| a.wall_clock().0.total_cmp(&b.wall_clock().0)) else {
            return Err(unreached(failure.unwrap_or_else(|| PlanError::impossible("filters", "are none"))));
        };
        let calendar = evenings.map(|evenings| quickest.on(evenings)).transpose().map_err(unreached)?;
        let calendar = calendar.as_ref();
        let wall_clock = calendar.and_then(|calendar| calendar.wall_clock).unwrap_or(quickest.wall_clock());
        let [long, short] = object.size_arcmin;
        Ok(TargetInReach {
            name: object.name().into(),
            also: object.names.iter().skip(1).map(|name| (*name).to_owned()).collect(),
            kind: kind(object.kind).into(),
            size_arcmin: object.size_arcmin,
            share_of_field: (long / self.field[0]).max(short / self.field[1]),
            filter: quickest.filter(),
            wall_clock_s: wall_clock,
            wall_clock_range_s: quickest.range_factors().map(|factor| wall_clock * factor),
            filters: briefs
                .iter()
                .map(|brief| FilterTime { filter: brief.filter(), wall_clock_s: brief.wall_clock() })
                .collect(),
            done_on: calendar.and_then(|calendar| calendar.done_on.clone()),
            nights: calendar.map(|calendar| calendar.nights),
            done_percent: calendar.map(|calendar| calendar.done_percent),
            window: calendar.and_then(|calendar| calendar.window.clone()),
            altitude_deg: calendar.and_then(|calendar| calendar.altitude_deg),
        })
    }
}

fn kind(kind: ObjectKind) -> &'static str {
    match kind {
        ObjectKind::Galaxy => "galaxy",
        ObjectKind::Globular => "globular cluster",
        ObjectKind::OpenCluster => "open cluster",
        ObjectKind::Planetary => "planetary nebula",
        ObjectKind::Reflection => "reflection nebula",
        ObjectKind::Emission => "emission nebula",
        ObjectKind::Remnant => "supernova remnant",
    }
}
