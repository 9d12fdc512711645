//! How long each sub, how many, how often a dither, and how sure is that?
//!
//! [`Night`] is what the photographer wrote, [`Conditions`] what it means in electrons per
//! second, [`Search`] the one optimum over sub length and dither cadence, and [`plan`] the
//! whole way from a night and a camera to a [`Plan`]. [`Cooling`] and [`Comparison`] weigh what to buy and where to drive.

mod bright_core;
mod calendar;
mod calibration;
mod checklist;
mod conditions;
mod course;
mod decisions;
mod draft;
mod error;
mod evening;
mod fast_beam;
mod in_hand;
mod infrared_cut;
mod map;
mod measured_sky;
mod night;
mod optimum;
mod outcome;
mod range;
mod review;
mod settled;
mod sky_light;
mod star_light;

pub use bright_core::{BlendOfPlane, Burns, FilterShortSet, LongerSubs, ShortSet};
pub use calendar::{DoneBy, LeftOut, Schedule, ScheduledNight, Session, WhyLeftOut};
pub use calibration::{
    BetterWay, CalibrationAdvice, DarkLibrary, DarksOrMap, FilterCalibration, FlatExposure, FlatLevel, FlatPlane,
    FrameCount, least_for_rejection,
};
pub use checklist::{Checklist, ChecklistFor, ChecklistStep, StepKind, checklist};
pub use conditions::{Conditions, FilterConditions, PlaneConditions, Spread};
pub use course::{CourseMoment, NightCourse};
pub use decisions::{
    Against, Comparison, Cooling, Factor, FilterPurchase, MonthOfCooling, NoiseOfNight, ReadNoiseShare, Split,
    THRESHOLDS, USEFUL_SHARE, Verdict, WhichDark,
};
pub use error::{NoHours, OutOfReach, PlanError};
pub use evening::PlanNight;
pub use in_hand::{AlreadyHave, InHand};
pub use map::{CostMap, MapCell};
pub use night::{CalibrationCounts, CameraChoice, Cooler, Goal, Night, StackRules};
pub use optimum::{
    Chosen, Demand, Length, Limits, Optimum, ROUND_LENGTHS_S, Search, SetBy, WITHIN, best_cadence, best_sub, efficiency,
};
pub use outcome::{
    FilterAtSetting, FilterPlan, GainSetting, LargestUncertainty, Plan, PlanGoal, PlaneInputs, PlanePlan, RuleOfThumb,
    SubLimits, WithoutDither, cost_maps, plan, searches,
};
pub use review::{
    FilterReview, PlaneOfSub, Review, ReviewNight, ReviewPlane, Sign, SkyToWrite, SubReview, dark_levels, mode_of_light,
};
pub use sky_light::{ChainFactor, HoursRatio, PlaneSky, SkyAnswer, SkyWindow};
pub use star_light::{MeasuredStar, StarLight, star_light};
