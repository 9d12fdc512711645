//! The files of the page itself, compiled in.

use super::Response;
use super::phone::offline_module;

const HTML: &str = "text/html; charset=utf-8";
const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
const PICTURE: &str = "image/svg+xml";
const PACKED: &str = "application/gzip";

macro_rules! asset {
    ($path:literal, $kind:expr, $file:literal) => {
        ($path, $kind, include_str!(concat!("assets/", $file)))
    };
}

const ASSETS: [(&str, &str, &str); 38] = [
    asset!("/", HTML, "page.html"),
    asset!("/page.css", CSS, "page.css"),
    asset!("/icon.svg", PICTURE, "icon.svg"),
    asset!("/theme.js", SCRIPT, "theme.js"),
    asset!("/main.js", SCRIPT, "main.js"),
    asset!("/server.js", SCRIPT, "server.js"),
    asset!("/planner.js", SCRIPT, "planner.js"),
    asset!("/dom.js", SCRIPT, "dom.js"),
    asset!("/format.js", SCRIPT, "format.js"),
    asset!("/night.js", SCRIPT, "night.js"),
    asset!("/drafts.js", SCRIPT, "drafts.js"),
    asset!("/route.js", SCRIPT, "route.js"),
    asset!("/reading.js", SCRIPT, "reading.js"),
    asset!("/words.js", SCRIPT, "words.js"),
    asset!("/labels.js", SCRIPT, "labels.js"),
    asset!("/filters.js", SCRIPT, "filters.js"),
    asset!("/sentence.js", SCRIPT, "sentence.js"),
    asset!("/calendar.js", SCRIPT, "calendar.js"),
    asset!("/moon.js", SCRIPT, "moon.js"),
    asset!("/starts.js", SCRIPT, "starts.js"),
    asset!("/target.js", SCRIPT, "target.js"),
    asset!("/horizon.js", SCRIPT, "horizon.js"),
    asset!("/answer.js", SCRIPT, "answer.js"),
    asset!("/labelled.js", SCRIPT, "labelled.js"),
    asset!("/picture.js", SCRIPT, "picture.js"),
    asset!("/map.js", SCRIPT, "map.js"),
    asset!("/evenings.js", SCRIPT, "evenings.js"),
    asset!("/files.js", SCRIPT, "files.js"),
    asset!("/camera.js", SCRIPT, "camera.js"),
    asset!("/begin.js", SCRIPT, "begin.js"),
    asset!("/sheet.js", SCRIPT, "sheet.js"),
    asset!("/choices.js", SCRIPT, "choices.js"),
    asset!("/weighing.js", SCRIPT, "weighing.js"),
    asset!("/morning.js", SCRIPT, "morning.js"),
    asset!("/watch.js", SCRIPT, "watch.js"),
    asset!("/measure.js", SCRIPT, "measure.js"),
    asset!("/report.js", SCRIPT, "report.js"),
    asset!("/places.js", SCRIPT, "places.js"),
];

/// What only a page has that is a file.
const ALONE: [(&str, &str, &str); 4] = [
    asset!("/alone.js", SCRIPT, "alone.js"),
    asset!("/alone_places.js", SCRIPT, "alone_places.js"),
    asset!("/card.js", SCRIPT, "card.js"),
    asset!("/home.js", SCRIPT, "home.js"),
];

/// What answers in the page when the program has ended.
const MODULE_PATH: &str = "/planner.wasm.gz";

/// The text of the file at this path.
pub(super) fn text_of(path: &str) -> Option<&'static str> {
    ASSETS.iter().chain(&ALONE).find(|(own, ..)| *own == path).map(|(.., text)| *text)
}

/// The file at this path.
pub(super) fn asset(path: &str) -> Option<Response> {
    if path == MODULE_PATH {
        // Empty where the program was built without it.
        return Some(Response { status: 200, kind: PACKED, body: offline_module().unwrap_or_default().to_vec() });
    }
    let (_, kind, text) = ASSETS.iter().find(|(own, ..)| *own == path)?;
    Some(Response { status: 200, kind, body: text.as_bytes().to_vec() })
}
