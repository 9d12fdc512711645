//! How long each sub, how many, how often a dither, and how sure is that?
//!
//! [`Search`] is the one optimum over sub length and dither cadence of a filter's [`Conditions`](crate::night::Conditions), and
//! [`plan`] the whole way from a night and a camera to a [`Plan`].

pub(crate) mod brief;
mod bright_core;
mod calendar;
mod calibration;
mod checklist;
pub(crate) mod draft;
mod drafted;
mod error;
mod filter_solution;
mod map;
mod outcome;
mod prior_stack;
pub(crate) mod range;
mod within_reach;

pub use crate::optimum::{
    Asked, Chosen, Demand, Length, Optimum, OutOfReach, ROUND_LENGTHS_S, Search, SetBy, WITHIN, best_cadence, best_sub,
    efficiency,
};
pub use bright_core::{BlendOfPlane, Burns, FilterShortSet, LongerSubs, ShortSet};
pub use calendar::{DoneBy, LeastTime, LeftOut, Schedule, ScheduledNight, Session, Start, WhyLeftOut};
pub use calibration::{
    BetterWay, CalibrationAdvice, DarkLibrary, DarksOrMap, FilterCalibration, FlatExposure, FlatLevel, FlatPlane,
    FrameCount, least_for_rejection,
};
pub use checklist::{Checklist, ChecklistFor, ChecklistStep, StepKind, checklist};
#[cfg(feature = "report")]
pub(crate) use draft::filter::RULES_OF_THUMB_PERCENT;
pub(crate) use drafted::conditions_over_nights;
pub use error::PlanError;
pub use map::{CostMap, MapCell};
pub use outcome::{
    FilterAtSetting, FilterPlan, GainSetting, GoalKind, LargestUncertainty, Plan, PlanGoal, PlaneInputs, PlanePlan,
    RuleOfThumb, SubLimits, WithoutDither, cost_maps, plan, searches, starts,
};
pub use prior_stack::PriorStack;
pub use range::Source;
