//! How long each sub, how many, how often a dither, and how sure is that?
//!
//! [`Search`] is the one optimum over sub length and dither cadence of a filter's [`Conditions`](crate::night::Conditions), and
//! [`plan`] the whole way from a night and a camera to a [`Plan`].

mod bright_core;
mod calendar;
mod calibration;
mod checklist;
pub(crate) mod draft;
mod drafted;
mod error;
mod filter_solution;
mod map;
pub(crate) mod optimum;
mod outcome;
mod prior_stack;
pub(crate) mod range;
mod within_reach;

pub use bright_core::{BlendOfPlane, Burns, FilterShortSet, LongerSubs, ShortSet};
pub use calendar::{DoneBy, LeastTime, LeftOut, Schedule, ScheduledNight, Session, Start, WhyLeftOut};
pub use calibration::{
    BetterWay, CalibrationAdvice, DarkLibrary, DarksOrMap, FilterCalibration, FlatExposure, FlatLevel, FlatPlane,
    FrameCount, least_for_rejection,
};
pub use checklist::{Checklist, ChecklistFor, ChecklistStep, StepKind, checklist};
#[cfg(feature = "report")]
pub(crate) use draft::filter::RULES_OF_THUMB_PERCENT;
pub use error::{OutOfReach, PlanError};
pub use map::{CostMap, MapCell};
pub use optimum::{
    Chosen, Demand, Length, Optimum, ROUND_LENGTHS_S, Search, SetBy, WITHIN, best_cadence, best_sub, efficiency,
};
pub use outcome::{
    FilterAtSetting, FilterPlan, GainSetting, GoalKind, LargestUncertainty, Plan, PlanGoal, PlaneInputs, PlanePlan,
    RuleOfThumb, SubLimits, WithoutDither, cost_maps, plan, searches, starts,
};
pub use prior_stack::PriorStack;
pub use range::Source;
