//! Night files: opened, changed, saved; never over what somebody else wrote.

use serde_json::json;

use crate::client::page;
use crate::support::program::samples;

fn with(page: &crate::client::Page, key: serde_json::Value, value: serde_json::Value) -> serde_json::Value {
    let mut draft = page.draft();
    draft["changes"] = json!([{ "key": key, "value": value }]);
    draft
}

#[test]
fn a_change_is_saved_and_all_else_stays() {
    let page = page();
    let night = with(&page, json!(["goal", "snr"]), json!(9.5));
    let saved =
        page.address.post("/api/save", &json!({ "path": "published-night.toml", "night": night, "replace": true }));
    assert_eq!(saved.status, 200, "{saved:?}");
    let old = std::fs::read_to_string(samples().join("published-night.toml")).unwrap();
    let new = std::fs::read_to_string(page.path("published-night.toml")).unwrap();
    assert_eq!(new, old.replace("snr = 8.0 ", "snr = 9.5 "));
    assert_eq!(saved.json()["night"]["goal"]["snr"], 9.5);
}

#[test]
fn what_was_changed_on_the_disk_is_not_overwritten() {
    let page = page();
    let night = with(&page, json!(["goal", "snr"]), json!(9.5));
    let others = format!("{}# a line from an editor\n", page.draft()["text"].as_str().unwrap());
    std::fs::write(page.path("published-night.toml"), &others).unwrap();
    let save = |path: &str, replace: bool| {
        page.address.post("/api/save", &json!({ "path": path, "night": night, "replace": replace }))
    };
    let refused = save("published-night.toml", true);
    assert_eq!((refused.status, refused.code().as_str()), (409, "changed-on-disk"));
    let refused = save("published-night.toml", false);
    assert_eq!((refused.status, refused.code().as_str()), (409, "exists"));
    assert_eq!(save("gone.toml", true).code(), "changed-on-disk");
    assert_eq!(std::fs::read_to_string(page.path("published-night.toml")).unwrap(), others);
    assert_eq!(save("another.toml", false).status, 200);
    // Nothing is left of the way there.
    let mut names: Vec<_> = std::fs::read_dir(page.folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    names.sort();
    assert_eq!(names, ["another.toml", "published-camera.toml", "published-night.toml"]);
}

#[test]
fn what_could_not_be_opened_again_is_not_saved() {
    let page = page();
    for (key, value) in
        [(json!(["goal", "snr"]), json!(-3)), (json!(["goal", "snrr"]), json!(3)), (json!(["goal", "hours"]), json!(3))]
    {
        let night = with(&page, key, value);
        let refused = page.address.post("/api/save", &json!({ "path": "new.toml", "night": night, "replace": false }));
        assert_eq!(refused.status, 422, "{refused:?}");
        assert!(!page.path("new.toml").exists());
    }
}

#[test]
fn an_empty_folder_is_offered_an_example() {
    let page = page();
    std::fs::remove_file(page.path("published-night.toml")).unwrap();
    assert_eq!(page.address.get("/api/files").json()["nights"], json!([]));
    let opened = page.address.post("/api/example", &json!({}));
    assert_eq!(opened.json()["path"], "published-night.toml");
    let files = page.address.get("/api/files").json();
    assert_eq!(files["nights"], json!(["published-night.toml"]));
    assert_eq!(files["profiles"], json!(["published-camera.toml"]));
}
