//! What the page asks beside the plan says what the library says.

use serde_json::{Value, json};

use crate::client::{Page, Program, page};
use crate::support::program::subwell;

fn draft(page: &Page, changes: Value) -> Value {
    let mut draft = page.draft();
    draft["changes"] = changes;
    draft
}

/// The sample with a target that has a position.
fn placed(page: &Page) -> Value {
    draft(
        page,
        json!([
            { "key": ["target", "name"], "value": "M33" },
            { "key": ["target", "altitude_deg"], "value": null },
            { "key": ["target", "surface_brightness_mag"], "value": null },
        ]),
    )
}

#[test]
fn the_course_of_a_night_has_the_plans_own_hours() {
    let page = page();
    let draft = placed(&page);
    let course = &page.address.post("/api/course", &draft).json()["course"];
    let plan = page.address.post("/api/plan", &draft).json();
    assert_eq!(course["date"], plan["night"]["date"]);
    assert_eq!(course["sun_below_deg"], plan["night"]["sun_below_deg"]);
    let spans = course["usable_h"].as_array().unwrap();
    let hours: f64 = spans.iter().map(|span| span[1].as_f64().unwrap() - span[0].as_f64().unwrap()).sum();
    assert!((hours - plan["night"]["usable_hours"].as_f64().unwrap()).abs() < 1e-6);
    let minutes = course["sun_deg"].as_array().unwrap().len();
    for list in ["moon_deg", "target_deg", "horizon_deg", "sky_mag_per_arcsec2"] {
        assert_eq!(course[list].as_array().unwrap().len(), minutes, "{list}");
    }
    let lit = course["moon_illuminated_percent"].as_f64().unwrap();
    assert!((lit - plan["night"]["moon_illuminated_percent"].as_f64().unwrap()).abs() < 3.0);
    let undated = self::draft(&page, json!([{ "key": ["goal", "date"], "value": null }]));
    assert_eq!(page.address.post("/api/course", &undated).json()["course"], Value::Null);
}

#[test]
fn starts_choices_and_targets_are_those_of_the_commands() {
    let page = page();
    let draft = placed(&page);
    let saved = page.address.post("/api/save", &json!({ "path": "placed.toml", "night": draft, "replace": false }));
    assert_eq!(saved.status, 200, "{saved:?}");
    let said = |words: &[&str]| -> Value {
        let mut command = subwell();
        let said = command.current_dir(page.folder.path()).args(words).arg("--json").output().unwrap().stdout;
        serde_json::from_slice(&said).unwrap()
    };
    let starts = page.address.post("/api/starts", &draft).json();
    assert_eq!(starts["starts"], said(&["plan", "placed.toml", "--starts"])["schedule"]["starts"]);
    assert_eq!(starts["starts"].as_array().unwrap().len(), 28);
    assert_eq!(page.address.post("/api/choices", &draft).json(), said(&["choices", "placed.toml"]));
    assert_eq!(page.address.post("/api/targets", &draft).json(), said(&["targets", "placed.toml"]));
    assert_eq!(page.address.post("/api/cooling", &draft).json(), said(&["cooling", "placed.toml"]));
    let mut darker = draft.clone();
    let darker_sky = json!({ "key": ["site", "sky"], "value": { "bortle": 3 } });
    darker["changes"].as_array_mut().unwrap().push(darker_sky);
    page.address.post("/api/save", &json!({ "path": "darker.toml", "night": darker, "replace": false }));
    let compared = page.address.post("/api/compare", &json!({ "night": draft, "against": "darker.toml" })).json();
    let command = said(&["compare", "placed.toml", "darker.toml"]);
    // The draft has the name of the file that it was opened from.
    for key in ["hours_ratio", "verdict", "factors", "a_wall_clock_s", "b_wall_clock_s", "a", "b", "caveats"] {
        assert_eq!(compared[key], command[key], "{key}");
    }
    assert_eq!(compared["names"][1], "darker");
    for outside in ["nothere.toml", "../darker.toml", "camera.toml"] {
        let answer = page.address.post("/api/compare", &json!({ "night": draft, "against": outside }));
        assert!((400..500).contains(&answer.status), "{outside}: {answer:?}");
    }
    let calendar = page.address.post("/api/evenings", &draft).json();
    assert!(calendar["calendar"].as_str().unwrap().starts_with("BEGIN:VCALENDAR"));
    let moons = page.address.post("/api/moons", &json!({ "night": draft, "from": "2026-10-01" })).json();
    assert_eq!(moons["moons"][25]["date"], "2026-10-26");
    assert!(moons["moons"][25]["illuminated_percent"].as_f64().unwrap() > 99.0);
}

#[test]
fn a_sky_is_told_in_three_scales() {
    let page = page();
    let three = page.address.post("/api/sky", &json!({ "bortle": 7 })).json();
    assert_eq!((&three["bortle"], &three["mag_per_arcsec2"]), (&json!(7), &json!(18.5)));
    let back = page.address.post("/api/sky", &json!({ "limiting_mag": three["limiting_mag"] })).json();
    assert!((back["mag_per_arcsec2"].as_f64().unwrap() - 18.5).abs() < 0.15, "{three} {back}");
    assert_eq!(page.address.post("/api/sky", &json!({ "bortle": 12 })).status, 422);
}

#[test]
fn the_catalogue_says_what_a_night_takes_for_a_name() {
    let page = page();
    let objects = page.address.get("/api/catalogue").json();
    let found =
        objects["objects"].as_array().unwrap().iter().find(|object| object["names"][0] == "M33").unwrap().clone();
    assert!((found["surface_brightness_mag"].as_f64().unwrap() - 22.81).abs() < 0.005);
    let lists = page.address.get("/api/checklist").json();
    assert!(
        lists["cooled"]["steps"].as_array().unwrap().len() > 10
            && !lists["quick"]["cautions"].as_array().unwrap().is_empty()
    );
}

#[test]
fn a_data_sheet_becomes_a_camera_and_a_camera_a_night() {
    let page = page();
    let sheet = json!([
        { "key": ["camera"], "value": "Sorrel \"M\"" },
        { "key": ["modes", 0, "gain_setting"], "value": 120 },
        { "key": ["modes", 0, "planes", 0, "read_noise_e"], "value": 1.4 },
        { "key": ["modes", 0, "planes", 0, "dark_current"], "value": [{ "sensor_c": -10, "e_per_s": 0.004 }] },
    ]);
    let new = |path: &str, camera: bool, changes: &Value| {
        page.address.post("/api/new", &json!({ "path": path, "camera": camera, "changes": changes }))
    };
    assert_eq!(new("sorrel.toml", true, &sheet).status, 200);
    assert_eq!(new("sorrel.toml", true, &sheet).code(), "exists");
    let none = json!([{ "key": ["modes", 0, "planes", 0, "read_noise_e"], "value": -1 }]);
    assert_eq!(new("worse.toml", true, &none).status, 422);
    assert!(!page.path("worse.toml").exists());
    let first = json!([{ "key": ["camera", "profile"], "value": "sorrel.toml" }]);
    let opened = new("first.toml", false, &first).json();
    let planned = json!({ "at": "first.toml", "text": opened["text"], "changes": [] });
    assert_eq!(page.address.post("/api/plan", &planned).status, 200);
    let camera = page.address.post("/api/camera", &json!({ "at": "first.toml", "profile": "sorrel.toml" })).json();
    assert_eq!((&camera["camera"], &camera["modes"][0]["gain_setting"]), (&json!("Sorrel \"M\""), &json!(120.0)));
    assert!(opened["ranges"]["goal.snr"].is_array());
}

/// A browser keeps drafts by address: the folder finds its own again, and gives way where the port is taken.
#[test]
fn a_folder_has_a_port_of_its_own() {
    let folder = tempfile::tempdir().unwrap();
    let first = Program::on_its_own_port(folder.path());
    let port = first.address.port;
    assert!(port >= 49_152, "{port}");
    let beside = Program::on_its_own_port(folder.path());
    assert_ne!(beside.address.port, port);
    assert_eq!(beside.address.get("/api/files").status, 200);
    drop(first);
    assert_eq!(Program::on_its_own_port(folder.path()).address.port, port);
}
