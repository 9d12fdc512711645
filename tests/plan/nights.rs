//! The nights of a plan: the hours that they take, what is shot in them, and by when it is done.

use approx::{assert_abs_diff_eq, assert_relative_eq};
use icalendar::{Calendar, CalendarComponent, CalendarDateTime, Component, DatePerhapsTime};
use subwell::camera::CameraProfile;
use subwell::night::Night;
use subwell::plan::{Plan, PlanError, Schedule, Session, WhyLeftOut, plan};
use subwell::report::{plan_text, schedule_csv, schedule_icalendar};

pub(crate) const CAMERA: &str = r#"
camera = "Sample cooled mono"
provenance = "published"
source = "made up for the tests"
[[modes]]
pixel_um = 3.5
width_px = 5000
height_px = 3600
[[modes.planes]]
plane = "mono"
gain_e_per_dn = 0.25
offset_dn = 500.0
read_noise_e = 1.5
saturation_e = 15000.0
[[modes.planes.dark_current]]
sensor_c = -10.0
e_per_s = 0.007
nonuniformity_percent = 40.0
"#;

const NIGHT: &str = r#"
[camera]
sensor_c = -10.0
[optics]
aperture_mm = 76.0
focal_length_mm = 440.0
[site]
latitude_deg = LATITUDE
longitude_deg = 0.0
utc_offset_h = 0.0
sky = { mag_per_arcsec2 = 20.5 }
FILTERS
[target]
surface_brightness_mag = 24.5
line_rayleigh = 20.0
TARGET
[mount]
longest_sub_s = 300.0
lost_subs_per_hour = 1.0
[goal]
GOAL
"#;

const ONE: &str = "[[filters]]\nname = \"luminance\"";
const TWO: &str = "[[filters]]\nname = \"luminance\"\n[[filters]]\nname = \"h-alpha\"";
/// A galaxy of autumn; ten hours of it in an October night.
const MOVING: &str = "ra_deg = 23.5\ndec_deg = 30.7";

fn planned(latitude: f64, filters: &str, target: &str, goal: &str) -> Result<Plan, PlanError> {
    let text = NIGHT.replace("LATITUDE", &latitude.to_string()).replace("FILTERS", filters);
    let night = Night::from_toml(&text.replace("TARGET", target).replace("GOAL", goal))?;
    plan(&night, &CameraProfile::from_toml(CAMERA).expect("a profile"))
}

fn schedule(plan: &Plan) -> &Schedule {
    plan.schedule.as_ref().expect("a schedule")
}

fn sessions(plan: &Plan) -> impl Iterator<Item = &Session> {
    schedule(plan).nights.iter().flat_map(|night| &night.sessions)
}

/// Minutes since the beginning of 2026, from `2026-10-12T18:44Z`; for times of the same year.
fn minutes(utc: &str) -> i64 {
    const BEFORE: [i64; 12] = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334];
    let part = |range: std::ops::Range<usize>| utc[range].parse::<i64>().expect("a number");
    let days = (part(0..4) - 2026) * 365 + BEFORE[part(5..7) as usize - 1] + part(8..10) - 1;
    (days * 24 + part(11..13)) * 60 + part(14..16)
}

/// Hours below −18° on the night of the 15th at longitude 0: astropy 8.0.2, as in `tests/published/astropy_night.rs`.
const DARK_HOURS: [(f64, u32, f64); 8] = [
    (35.0, 1, 10.964),
    (35.0, 4, 7.935),
    (35.0, 7, 6.294),
    (35.0, 10, 9.884),
    (50.0, 2, 10.226),
    (50.0, 5, 3.074),
    (50.0, 9, 7.661),
    (50.0, 12, 11.927),
];

#[test]
fn usable_hours_of_a_night_are_those_of_another_ephemeris() {
    for (latitude, month, hours) in DARK_HOURS {
        let goal = format!("snr = 3.0\ndate = \"2026-{month:02}-15\"\nclear_hours_per_night = 24");
        let plan = planned(latitude, ONE, "altitude_deg = 55.0", &goal).expect("a plan");
        let schedule = schedule(&plan);
        // The Moon may keep somebody at home, but not on a new Moon; the hours are told of nights that are listed.
        if let Some(night) = schedule.nights.first().filter(|night| night.date == format!("2026-{month:02}-15")) {
            assert_abs_diff_eq!(night.usable_hours, hours, epsilon = 2.0 / 60.0);
            assert_abs_diff_eq!(night.usable_hours, plan.night.as_ref().expect("hours").usable_hours, epsilon = 1e-9);
        } else {
            panic!("{month}: {:?}", schedule.left_out);
        }
    }
}

/// The sky's electrons, and how far the range of the hours reaches.
fn sky_and_range(target: &str, goal: &str) -> (f64, f64) {
    let plan = planned(45.0, ONE, target, goal).expect("a plan");
    let plan = serde_json::to_value(&plan).expect("a document");
    let number = |path: &str| plan.pointer(path).and_then(serde_json::Value::as_f64).expect("a number");
    let range = number("/wall_clock_range_s/1") / number("/wall_clock_range_s/0");
    (number("/filters/0/planes/0/rates_e_per_s/sky"), range)
}

#[test]
fn a_sky_without_date_is_that_of_a_dated_night_at_the_same_height() {
    for altitude in [25.0, 40.0, 70.0] {
        let target = format!("altitude_deg = {altitude}");
        let (undated, _) = sky_and_range(&target, "snr = 3.0");
        let (dated, _) = sky_and_range(&target, "snr = 3.0\ndate = \"2026-10-10\"");
        assert_relative_eq!(undated, dated, max_relative = 1e-9);
    }
    let sky = |altitude: &str| sky_and_range(altitude, "snr = 3.0").0;
    // A sky of 20.5: three quarters lamps, one natural. 0.94 mag of scattering air for the lamps, 0.34 mag for the rest.
    let brighter = sky("altitude_deg = 20.0") / sky("altitude_deg = 85.0");
    assert!((1.9..2.4).contains(&brighter), "{brighter}");
}

#[test]
fn a_saturation_that_was_not_reached_is_told_as_a_bound() {
    let text = |camera: &str| {
        let night = NIGHT.replace("LATITUDE", "45").replace("FILTERS", ONE).replace("TARGET", "altitude_deg = 55.0");
        let night = night.replace("[target]\n", "[target]\ncore_surface_brightness_mag = 12.0\n");
        let night = Night::from_toml(&night.replace("GOAL", "snr = 3.0\nstar_mag_kept = 9.0")).expect("a night");
        let plan = plan(&night, &CameraProfile::from_toml(camera).expect("a profile")).expect("a plan");
        let said = plan.caveats.iter().any(|caveat| caveat.code == "saturation-at-least");
        (plan_text(&plan).split_whitespace().collect::<Vec<_>>().join(" "), said)
    };
    let least = CAMERA.replace("saturation_e = 15000.0", "saturation_e = 15000.0\nsaturation_is = \"at-least\"");
    let ((known, unsaid), (bound, said)) = (text(CAMERA), text(&least));
    assert!(said && !unsaid);
    for (fact, least) in [
        ("star burns ", "star does not burn before "),
        ("sky half fills the well ", "sky does not half fill the well before "),
        ("% of the full well", "at most "),
        ("the core burns after ", "the core may burn after "),
    ] {
        assert!(known.contains(fact) && !known.contains(least), "{known}");
        assert!(bound.contains(least), "{bound}");
    }
}

#[test]
fn a_height_that_nobody_gave_widens_the_range() {
    let range = |target| sky_and_range(target, "snr = 3.0").1;
    let (known, unknown) = (range("altitude_deg = 50.0"), range(""));
    assert!(unknown > 1.05 * known, "{unknown} {known}");
    let dated = |target| sky_and_range(target, "snr = 3.0\ndate = \"2026-10-10\"").1;
    assert!(dated("") > 1.05 * dated("altitude_deg = 50.0"));
}

#[test]
fn the_nights_of_the_schedule_do_the_plan_and_are_counted_by_it() {
    let plan = planned(45.0, TWO, MOVING, "snr = 10.0\ndate = \"2026-10-20\"").expect("a plan");
    let schedule = schedule(&plan);
    assert!(schedule.finished && schedule.nights.len() > 3, "{}", schedule.nights.len());
    assert_eq!(plan.nights as usize, schedule.nights.len());
    assert_relative_eq!(schedule.done_percent, 100.0);
    for filter in &plan.filters {
        let shot = sessions(&plan).filter(|session| session.filter == filter.name);
        let worth: f64 = shot.map(|session| session.subs as f64 * session.worth_percent / 100.0).sum();
        let needed = filter.subs_to_shoot as f64;
        assert_relative_eq!(worth, needed, max_relative = 1e-9);
    }
}

#[test]
fn sessions_fit_into_clear_hours_after_set_up_and_with_refocusing() {
    let goal =
        "snr = 10.0\ndate = \"2026-10-20\"\nclear_hours_per_night = 3.0\nsetup_min = 20\nrefocus_min_per_hour = 6";
    let plan = planned(45.0, TWO, MOVING, goal).expect("a plan");
    let night = plan.night.as_ref().expect("hours");
    assert!(night.planned_hours <= 3.0);
    for night in &schedule(&plan).nights {
        let (starts, ends) = (minutes(&night.starts_utc), minutes(&night.ends_utc));
        assert!(ends - starts <= 3 * 60 + 20 + 1, "{}: {} min", night.date, ends - starts);
        let mut last = starts + 20;
        for session in &night.sessions {
            let (from, to) = (minutes(&session.starts_utc), minutes(&session.ends_utc));
            assert!(from >= last - 1 && to > from && to <= ends, "{session:?} after {last}");
            last = to;
            let filter = plan.filters.iter().find(|filter| filter.name == session.filter).expect("a filter");
            let (settle, every) = (filter.settle_s.0, session.dither_every_subs as f64);
            let pace = filter.sub_s.0 + filter.between_subs_s.0 + settle / every;
            // Six minutes of an hour are not for subs; times are whole minutes.
            let there = (to - from) as f64 * 60.0 * 0.9;
            let taken = session.subs as f64 * pace;
            assert!(taken <= there + 60.0 + pace && taken > there - 2.0 * pace - 60.0, "{taken} of {there}");
        }
    }
}

#[test]
fn broad_light_is_shot_when_the_moon_is_down_and_a_line_under_it() {
    let plan = planned(45.0, TWO, MOVING, "snr = 10.0\ndate = \"2026-10-20\"").expect("a plan");
    let up = |name: &str| {
        let of: Vec<&Session> = sessions(&plan).filter(|session| session.filter == name).collect();
        let subs: f64 = of.iter().map(|session| session.subs as f64 * session.sub_s.0).sum();
        of.iter().map(|session| session.subs as f64 * session.sub_s.0 * session.moon_up_percent).sum::<f64>() / subs
    };
    assert!(up("luminance") < 5.0, "{}", up("luminance"));
    assert!(up("h-alpha") > 30.0, "{}", up("h-alpha"));
    // Either alone could not do it that way: the nights are fewer than those of the filters one after the other.
    let alone = |filter: &str| {
        let one = format!("[[filters]]\nname = \"{filter}\"");
        planned(45.0, &one, MOVING, "snr = 10.0\ndate = \"2026-10-20\"").expect("a plan").nights
    };
    assert!(plan.nights <= alone("luminance") + alone("h-alpha"));
}

#[test]
fn nights_of_bright_moonlight_are_left_out_where_they_are_not_needed() {
    // New Moon on 10 October 2026, full Moon on the 26th: what moonlit nights bring does not make the plan end earlier, or
    // they are left out.
    let plan = planned(45.0, ONE, MOVING, "snr = 14.0\ndate = \"2026-10-24\"").expect("a plan");
    let schedule = schedule(&plan);
    let moonlit = schedule.left_out.iter().filter(|night| night.why == WhyLeftOut::NotWorthIt);
    assert!(moonlit.clone().any(|night| night.date == "2026-10-26"), "{:?}", schedule.left_out);
    assert!(moonlit.clone().all(|night| ("2026-10-24".."2026-11-04").contains(&night.date.as_str())));
    let wait = schedule.wait_until.as_ref().expect("better nights");
    let time = wait.wall_clock_s.expect("hours");
    assert!(wait.date.as_str() > "2026-10-27" && time.0 < 0.8 * plan.wall_clock_s.0, "{wait:?}");
}

#[test]
fn the_chance_is_that_of_clear_nights() {
    // One clear night is enough: 0.4, and 1 − 0.6ⁿ after n nights: 0.64 after 2, 0.8704 after 4, 0.92224 after 5.
    let plan = planned(45.0, ONE, "altitude_deg = 55.0", "snr = 3.0\ndate = \"2026-10-10\"").expect("a plan");
    let schedule = schedule(&plan);
    assert_eq!(plan.nights, 1);
    assert_relative_eq!(schedule.chance_by_last_night_percent, 40.0, max_relative = 1e-12);
    let nights: Vec<_> = schedule.done_by.iter().map(|done| done.calendar_nights).collect();
    assert_eq!(nights, [Some(2), Some(5)]);
    assert_eq!(schedule.done_by[1].date.as_deref(), Some("2026-10-14"));
}

#[test]
fn where_all_nights_are_clear_the_last_one_is_sure() {
    let goal = "snr = 10.0\ndate = \"2026-10-08\"\nclear_share = 1.0";
    let plan = planned(45.0, ONE, MOVING, goal).expect("a plan");
    let schedule = schedule(&plan);
    assert_relative_eq!(schedule.chance_by_last_night_percent, 100.0, max_relative = 1e-12);
    let last = &schedule.nights.last().expect("a night").date;
    assert!(schedule.done_by.iter().all(|done| done.date.as_ref() == Some(last)), "{:?}", schedule.done_by);
}

#[test]
fn more_set_up_fewer_clear_hours_and_more_focusing_never_shorten_a_plan() {
    let nights = |goal: &str| {
        let goal = format!("snr = 12.0\ndate = \"2026-10-08\"\n{goal}");
        planned(45.0, ONE, MOVING, &goal).expect("a plan").nights
    };
    let usual = nights("");
    assert!(nights("clear_hours_per_night = 2.0") > usual);
    assert!(nights("refocus_min_per_hour = 30") > usual);
    assert!(nights("clear_hours_per_night = 24\nsetup_min = 360") >= nights("clear_hours_per_night = 24"));
}

#[test]
fn hours_that_are_given_are_spent() {
    let plan = planned(45.0, ONE, MOVING, "hours = 9.0\ndate = \"2026-10-08\"").expect("a plan");
    let schedule = schedule(&plan);
    let subs: u64 = sessions(&plan).map(|session| session.subs).sum();
    let asked = plan.filters[0].subs_to_shoot;
    assert!(schedule.finished && subs.abs_diff(asked) <= 1, "{subs} of {asked}");
    // Nine hours at four a night, refocusing beside them.
    assert_eq!(plan.nights, 3);
}

#[test]
fn a_plan_that_never_ends_says_so() {
    let goal = "snr = 40.0\ndate = \"2026-10-08\"\nclear_hours_per_night = 0.5";
    let stack = format!("{goal}\n[stack]\nmost_subs = 1000000\nmost_gigabytes = 1e6");
    let plan = planned(45.0, ONE, MOVING, &stack).expect("a plan");
    let schedule = schedule(&plan);
    assert!(!schedule.finished && schedule.done_percent < 100.0 && schedule.done_by.iter().all(|d| d.date.is_none()));
    assert!(plan.nights <= 60 && plan.filters[0].planes[0].snr.value < 40.0);
    assert!(plan.caveats.iter().any(|caveat| caveat.code == "not-finished"));
}

#[test]
fn without_a_date_there_are_no_nights_to_name() {
    let plan = planned(45.0, ONE, MOVING, "snr = 10.0\nclear_share = 0.3").expect("a plan");
    assert_eq!((&plan.schedule, schedule_icalendar(&plan, "a"), schedule_csv(&plan)), (&None, None, None));
    let unused = plan.caveats.iter().find(|caveat| caveat.code == "not-yet-used").expect("a caveat");
    assert!(unused.message.contains("goal.clear_share"), "{}", unused.message);
}

#[test]
fn shares_of_clear_nights_that_cannot_be_are_refused() {
    for key in
        ["clear_share = 0", "clear_share = 1.5", "setup_min = -1", "refocus_min_per_hour = 60", "clear_share = nan"]
    {
        let goal = format!("snr = 10.0\ndate = \"2026-10-08\"\n{key}");
        let error = planned(45.0, ONE, MOVING, &goal).expect_err(key).to_string();
        assert!(error.contains(key.split(' ').next().expect("a word")), "{error}");
    }
}

#[test]
fn another_reader_finds_the_nights_in_the_calendar() {
    let plan = planned(45.0, TWO, MOVING, "snr = 10.0\ndate = \"2026-10-20\"").expect("a plan");
    let file = schedule_icalendar(&plan, "Nebula, \"east\"; a\\b\nand more").expect("a calendar");
    assert_eq!(file, schedule_icalendar(&plan, "Nebula, \"east\"; a\\b\nand more").expect("the same"));
    assert!(
        file.ends_with("END:VCALENDAR\r\n") && file.split("\r\n").all(|line| line.len() <= 75 && !line.contains('\n'))
    );
    // No coordinates, and no clock: the stamp is the plan's date.
    assert!(!file.contains("GEO") && !file.contains("LOCATION") && file.contains("DTSTAMP:20261020T000000Z"));
    let calendar: Calendar = file.parse().expect("a calendar");
    let nights = &schedule(&plan).nights;
    assert_eq!(calendar.components.len(), nights.len());
    let mut names = std::collections::BTreeSet::new();
    for (component, night) in calendar.components.iter().zip(nights) {
        let CalendarComponent::Event(event) = component else { panic!("{component:?}") };
        let time = |time: Option<DatePerhapsTime>| match time {
            // Minutes since 2026-01-01T00:00Z, which is 1767225600 s of Unix time.
            Some(DatePerhapsTime::DateTime(CalendarDateTime::Utc(at))) => (at.timestamp() - 1_767_225_600) / 60,
            other => panic!("{other:?}"),
        };
        assert_eq!(time(event.get_start()), minutes(&night.starts_utc));
        assert_eq!(time(event.get_end()), minutes(&night.ends_utc));
        let summary = event.get_summary().expect("a summary");
        assert!(summary.starts_with("Nebula, \"east\"; a\\b\nand more: "), "{summary}");
        for session in &night.sessions {
            assert!(summary.contains(&format!("{} {} ×", session.filter, session.subs)), "{summary}");
        }
        assert!(event.get_description().expect("a description").contains("% of the plan done"));
        names.insert(event.get_uid().expect("a name").to_owned());
    }
    assert_eq!(names.len(), nights.len(), "each event has a name of its own");
}

#[test]
fn the_table_has_a_row_for_each_night_and_filter() {
    let plan = planned(45.0, TWO, MOVING, "snr = 10.0\ndate = \"2026-10-20\"").expect("a plan");
    let table = schedule_csv(&plan).expect("a table");
    let rows: Vec<Vec<&str>> = table.lines().map(|line| line.split(',').collect()).collect();
    assert_eq!(rows.len(), 1 + sessions(&plan).count());
    assert!(rows.iter().all(|row| row.len() == rows[0].len()) && table.ends_with("\r\n"));
    for (row, session) in rows[1..].iter().zip(sessions(&plan)) {
        assert_eq!(
            (row[1], row[4], row[7]),
            (session.filter.as_str(), session.starts_utc.as_str(), &*session.subs.to_string())
        );
    }
}

#[test]
fn the_nights_fit_the_page() {
    let plan = planned(45.0, TWO, MOVING, "snr = 10.0\ndate = \"2026-10-20\"").expect("a plan");
    let text = plan_text(&plan);
    assert!(text.contains("nights, if all are clear") && text.contains("2026-10-20"), "{text}");
    let wide: Vec<&str> = text.lines().filter(|line| line.chars().count() > 80).collect();
    assert!(wide.is_empty(), "{wide:?}");
}
