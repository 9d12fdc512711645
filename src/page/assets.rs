//! The files of the page itself, compiled in.

use super::Response;

const HTML: &str = "text/html; charset=utf-8";
const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
const PICTURE: &str = "image/svg+xml";

macro_rules! asset {
    ($path:literal, $kind:expr, $file:literal) => {
        ($path, $kind, include_str!(concat!("assets/", $file)))
    };
}

const ASSETS: [(&str, &str, &str); 15] = [
    asset!("/", HTML, "page.html"),
    asset!("/page.css", CSS, "page.css"),
    asset!("/icon.svg", PICTURE, "icon.svg"),
    asset!("/calendar.svg", PICTURE, "calendar.svg"),
    asset!("/theme.js", SCRIPT, "theme.js"),
    asset!("/main.js", SCRIPT, "main.js"),
    asset!("/server.js", SCRIPT, "server.js"),
    asset!("/dom.js", SCRIPT, "dom.js"),
    asset!("/night.js", SCRIPT, "night.js"),
    asset!("/sentence.js", SCRIPT, "sentence.js"),
    asset!("/answer.js", SCRIPT, "answer.js"),
    asset!("/evenings.js", SCRIPT, "evenings.js"),
    asset!("/map.js", SCRIPT, "map.js"),
    asset!("/files.js", SCRIPT, "files.js"),
    asset!("/measure.js", SCRIPT, "measure.js"),
];

/// The file at this path.
pub(super) fn asset(path: &str) -> Option<Response> {
    let (_, kind, text) = ASSETS.iter().find(|(own, ..)| *own == path)?;
    Some(Response { status: 200, kind, body: text.as_bytes().to_vec() })
}
