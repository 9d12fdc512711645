//! The page says what the command says: body for body, for nights of all kinds.

use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use serde_json::{Value, json};

use crate::client::{Page, copy, page};
use crate::support::program::subwell;

const NIGHTS: usize = 50;

/// One of the words.
fn one<'a>(chance: &mut Xoshiro256PlusPlus, of: &[&'a str]) -> &'a str {
    of[chance.random_range(0..of.len())]
}

/// A number between two, with digits as people type them.
fn between(chance: &mut Xoshiro256PlusPlus, low: f64, high: f64) -> f64 {
    let value: f64 = chance.random_range(low..high);
    format!("{value:.3}").parse().unwrap()
}

fn some(chance: &mut Xoshiro256PlusPlus) -> bool {
    chance.random_range(0..2) == 0
}

/// Changes that make another night of the sample, and now and then one that cannot be planned.
fn changes(chance: &mut Xoshiro256PlusPlus) -> Value {
    let mut list = Vec::new();
    let mut set = |key: Value, value: Value| list.push(json!({ "key": key, "value": value }));
    let sky = match chance.random_range(0..3) {
        0 => json!({ "bortle": chance.random_range(1..10) }),
        1 => json!({ "mag_per_arcsec2": between(chance, 17.0, 22.0) }),
        _ => json!({ "limiting_mag": between(chance, 4.6, 6.4) }),
    };
    set(json!(["site", "sky"]), sky);
    set(json!(["site", "lamps"]), json!(one(chance, &["mixed", "led-3000", "led-4000", "sodium"])));
    set(json!(["target", "surface_brightness_mag"]), json!(between(chance, 19.0, 24.5)));
    set(json!(["target", "altitude_deg"]), json!(between(chance, 20.0, 89.0)));
    set(json!(["optics", "focal_length_mm"]), json!(between(chance, 150.0, 1500.0)));
    set(json!(["camera", "sensor_c"]), json!(between(chance, -20.0, 10.0)));
    if some(chance) {
        // One in five asks for more than any night gives.
        let much = if chance.random_range(0..5) == 0 { 300.0 } else { 1.0 };
        set(json!(["goal", "snr"]), json!(much * between(chance, 1.0, 30.0)));
    } else {
        set(json!(["goal", "snr"]), Value::Null);
        set(json!(["goal", "hours"]), json!(between(chance, 0.5, 12.0)));
    }
    if some(chance) {
        set(json!(["mount", "lost_subs_per_hour"]), Value::Null);
        set(json!(["goal", "already_have_h"]), json!(between(chance, 0.0, 2.0)));
    }
    if some(chance) {
        set(json!(["mount", "settle_s"]), json!(between(chance, 0.0, 60.0)));
        set(json!(["goal", "date"]), Value::Null);
        set(json!(["calibration", "darks"]), json!(chance.random_range(0..60)));
    }
    match chance.random_range(0..4) {
        0 => set(json!(["filters"]), json!([{ "name": "red" }, { "name": "green" }, { "name": "blue", "share": 1.5 }])),
        1 => {
            set(json!(["target", "line_rayleigh"]), json!(between(chance, 5.0, 300.0)));
            set(
                json!(["filters"]),
                json!([{ "name": "h-alpha", "width_nm": between(chance, 3.0, 12.0) }, { "name": "oiii" }]),
            );
        }
        _ => set(json!(["filters", 0, "quantum_efficiency"]), json!(between(chance, 0.3, 0.95))),
    }
    Value::Array(list)
}

/// What `plan --json` prints of a file in the page's folder.
fn said(page: &Page, night: &str) -> Vec<u8> {
    let mut command = subwell();
    command.current_dir(page.folder.path()).args(["plan", night, "--json"]).output().unwrap().stdout
}

#[test]
fn the_page_says_what_the_command_says() {
    let page = page();
    let mut chance = Xoshiro256PlusPlus::seed_from_u64(20_261_012);
    let (mut planned, mut refused) = (0, 0);
    for i in 0..NIGHTS {
        let mut draft = page.draft();
        draft["changes"] = changes(&mut chance);
        let answer = page.address.post("/api/plan", &draft);
        let name = format!("night-{i}.toml");
        let saved = page.address.post("/api/save", &json!({ "path": name, "night": draft, "replace": false }));
        assert_eq!(saved.status, 200, "{saved:?}");
        let said = said(&page, &name);
        assert_eq!(
            String::from_utf8_lossy(&answer.body),
            String::from_utf8_lossy(&said),
            "night {i}, asked with {}",
            draft["changes"]
        );
        // The same from the saved text, without any change.
        let draft = json!({ "at": name, "text": saved.json()["text"], "changes": [] });
        assert_eq!(page.address.post("/api/plan", &draft).body, said);
        if answer.status == 200 {
            planned += 1;
            agrees(&answer.json(), &page.address.post("/api/map", &draft).json());
        } else {
            assert_eq!((answer.status, &answer.json()["format"]), (422, &json!("subwell.error")));
            refused += 1;
        }
    }
    assert!(planned > 30 && refused > 0, "{planned} planned, {refused} refused");
}

/// The map has the plan's own numbers at the plan's own place, and nothing far cheaper anywhere.
fn agrees(plan: &Value, map: &Value) {
    for (filter, map) in plan["filters"].as_array().unwrap().iter().zip(map["filters"].as_array().unwrap()) {
        let place =
            |list: &str, value: &Value| map[list].as_array().unwrap().iter().position(|own| own == value).unwrap();
        let column = place("sub_s", &filter["sub_s"]);
        let row = place("dither_every_subs", &filter["dither_every_subs"]);
        let cell = &map["cells"][row][column];
        assert_eq!(cell["subs_to_shoot"], filter["subs_to_shoot"], "{cell}");
        assert_eq!(cell["wall_clock_s"], filter["wall_clock_s"]);
        let worst = filter["planes"]
            .as_array()
            .unwrap()
            .iter()
            .map(|plane| plane["snr"]["value"].as_f64().unwrap())
            .fold(f64::MAX, f64::min);
        // Planes that do not govern may be worse off; the one that governs is among them.
        assert!(cell["snr"].as_f64().unwrap() >= worst * (1.0 - 1e-9), "{cell} against {worst}");
        assert!(cell["extra_percent"].as_f64().unwrap().abs() < 1e-6);
        let cells = map["cells"].as_array().unwrap().iter().flat_map(|row| row.as_array().unwrap());
        for extra in cells.filter_map(|cell| cell["extra_percent"].as_f64()) {
            // The plan takes a round length that costs up to 10 % more than the best.
            assert!(extra > -100.0 * (1.0 - 1.0 / 1.1) - 1e-6, "{extra}");
        }
    }
}

/// A night in a folder of its own, its profile above it; both below the page's folder.
#[test]
fn a_profile_may_lie_beside_the_nights_folder() {
    let page = page();
    std::fs::create_dir(page.path("nights")).unwrap();
    copy("published-night.toml", &page.path("nights"));
    let text = std::fs::read_to_string(page.path("nights/published-night.toml")).unwrap();
    let text = text.replace("\"published-camera.toml\"", "\"../published-camera.toml\"");
    std::fs::write(page.path("nights/published-night.toml"), &text).unwrap();
    let draft = json!({ "at": "nights/published-night.toml", "text": text, "changes": [] });
    let answer = page.address.post("/api/plan", &draft);
    assert_eq!(answer.body, said(&page, "nights/published-night.toml"));
    assert_eq!(answer.status, 200);
}
