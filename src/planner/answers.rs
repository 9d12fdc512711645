//! Each answer is one call of the library.

use serde_json::{Map, Value, json};

use crate::camera::CameraProfile;
use crate::decide::{Choices, Comparison, Cooling, Targets, TargetsAsked};
use crate::keys::NIGHT;
use crate::night::{Night, WholeNight, moons};
use crate::plan::{self, ChecklistFor, PlanError, checklist};
use crate::report::{self, json_value};
use crate::sky::{GivenSky, bortle_class, limiting_magnitude};
use crate::target::{CATALOGUE_UNCERTAINTY, Target, objects};

use super::Refusal;

/// Evenings of a calendar's page.
const MONTH_AND_MORE: u32 = 42;

/// A night and its camera.
pub(super) type Drafted = (Night, CameraProfile);

/// The goal's night from sunset to sunrise; `null` without a date or a place.
pub(super) fn course(night: Night) -> Result<Value, Refusal> {
    let course = WholeNight::new(&night).map_err(PlanError::from)?;
    Ok(json!({ "format": "subwell.course", "version": 1, "course": json_value(&course) }))
}

/// The Moon of six weeks of evenings.
pub(super) fn moons_from(night: &Night, from: &str) -> Result<Value, Refusal> {
    let moons = moons(night, from, MONTH_AND_MORE).map_err(PlanError::from)?;
    Ok(json!({ "format": "subwell.moons", "version": 1, "moons": json_value(&moons) }))
}

/// The plan begun on each evening of four weeks.
pub(super) fn starts((night, camera): &Drafted) -> Result<Value, Refusal> {
    Ok(json!({ "format": "subwell.starts", "version": 1, "starts": json_value(&plan::starts(night, camera)?) }))
}

/// The evenings of a plan as a file to keep: for a calendar, and as a table; `null` where it has no dates.
pub(super) fn evenings((night, camera): &Drafted) -> Result<Value, Refusal> {
    let plan = plan::plan(night, camera)?;
    let target = night.target.name.as_deref().unwrap_or("the target");
    let (calendar, table) = (report::schedule_icalendar(&plan, target), report::schedule_csv(&plan));
    Ok(json!({ "format": "subwell.evenings", "version": 1, "calendar": calendar, "table": table }))
}

/// Every known target with its hours.
pub(super) fn targets((night, camera): &Drafted) -> Result<Value, Refusal> {
    Ok(json_value(&Targets::new(night, camera, TargetsAsked::default())?))
}

/// What else could be done, by the hours that it saves.
pub(super) fn choices((night, camera): &Drafted, chosen: &[Drafted]) -> Result<Value, Refusal> {
    Ok(json_value(&Choices::new(night, camera, chosen)?))
}

/// What cooling brings through the year.
pub(super) fn cooling((night, camera): &Drafted) -> Result<Value, Refusal> {
    Ok(json_value(&Cooling::new(night, camera, None)?))
}

/// The hours of one night over those of another, under these names.
pub(super) fn compared(
    (night, camera): &Drafted,
    (other, its_camera): &Drafted,
    names: [String; 2],
) -> Result<Value, Refusal> {
    Ok(json_value(&Comparison::new((night, camera), (other, its_camera))?.called(names)))
}

/// One sky in the three scales in which it can be written. Beyond the ends of a scale its end is given.
pub(super) fn sky(given: &GivenSky) -> Result<Value, Refusal> {
    let magnitude = given.magnitude().map_err(PlanError::from)?.value;
    let range = |path: &str| crate::keys::row(NIGHT, path).map_or((f64::MIN, f64::MAX), |key| (key.low, key.high));
    let within = |value: f64, (low, high): (f64, f64)| (value.clamp(low, high) * 100.0).round() / 100.0;
    Ok(json!({
        "bortle": bortle_class(magnitude),
        "mag_per_arcsec2": within(magnitude.0, range("site.sky.mag_per_arcsec2")),
        "limiting_mag": within(limiting_magnitude(magnitude).0, range("site.sky.limiting_mag")),
    }))
}

/// Every object that is known by name. The brightness is what a night takes for it that names it and gives none.
pub(super) fn catalogue() -> Value {
    let entry = |object: &crate::target::Object| {
        let named = Target { name: Some(object.name().to_owned()), ..Target::default() };
        let light = named.brightness().ok();
        json!({
            "names": object.names,
            "kind": format!("{:?}", object.kind),
            "ra_deg": object.ra_deg,
            "dec_deg": object.dec_deg,
            "size_arcmin": object.size_arcmin,
            "surface_brightness_mag": light.and_then(|light| light.continuum),
            "uncertainty_mag": CATALOGUE_UNCERTAINTY,
            "line_rayleigh": light.and_then(|light| light.main_line()),
        })
    };
    json!({ "format": "subwell.catalogue", "version": 1, "objects": objects().map(entry).collect::<Vec<_>>() })
}

/// The three lists of frames to take.
pub(super) fn checklists() -> Value {
    let list = |kind| json_value(&checklist(kind));
    json!({
        "format": "subwell.checklists", "version": 1,
        "cooled": list(ChecklistFor::Cooled), "uncooled": list(ChecklistFor::Uncooled), "quick": list(ChecklistFor::Quick),
    })
}

/// The range of every key that has one.
pub(super) fn ranges() -> Value {
    let bounded = NIGHT.iter().filter(|key| key.is_bounded());
    let range = |key: &crate::keys::Key| (key.path.to_owned(), json!([key.low, key.high]));
    Value::Object(bounded.map(range).collect::<Map<_, _>>())
}
