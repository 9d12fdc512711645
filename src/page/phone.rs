//! The planner as one file, for a phone in the dark: camera, night and all that answers them stand in it.
//!
//! Nothing is fetched: scripts, styles and the module of WebAssembly are in the file, and its policy lets nothing else run or
//! load. What the photographer wrote goes in as data, with every `<` written otherwise, and is read as text alone.

use std::path::Path;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use rand::random;
use serde_json::{Value, json};

use crate::night::names_in;
use crate::planner::{Draft, Planner, Refusal};

use super::assets::text_of;
use super::link::linked;

/// The module, packed by gzip: there where `tools/make_offline_planner.sh` ran before the program was built.
#[cfg(offline_planner)]
const MODULE: Option<&[u8]> = Some(include_bytes!(concat!(env!("OUT_DIR"), "/planner.wasm.gz")));
#[cfg(not(offline_planner))]
const MODULE: Option<&[u8]> = None;

/// What the page for a phone has in place of what a served one has.
const INSTEAD: [(&str, &str); 2] = [("server.js", "alone.js"), ("places.js", "alone_places.js")];

/// What answers in a page that is a file; nothing where the program was built without it.
#[must_use]
pub fn offline_module() -> Option<&'static [u8]> {
    MODULE
}

/// The page with a night, its camera and its curves, whole: it opens from a mail or a cable and works without a network.
/// `module` is that of [`offline_module`], `path` the night's name, and `read` gets the text of a name.
///
/// # Errors
/// When a text is missing, and when the night cannot be opened.
pub fn planner_file(
    module: &[u8],
    path: &str,
    read: &dyn Fn(&Path) -> Result<String, Refusal>,
) -> Result<String, Refusal> {
    page(&taken(path, read)?, module)
        .map_err(|why| Refusal::new(500, "broken", why, "tell those who wrote this program"))
}

/// What is taken along, as the page's script reads it.
fn taken(path: &str, read: &dyn Fn(&Path) -> Result<String, Refusal>) -> Result<Value, Refusal> {
    let night = Path::new(path);
    // What cannot be opened at home cannot be opened in the field either.
    let opened = Planner::new(read).opened(path)?;
    let text = opened["text"].as_str().unwrap_or_default();
    let mut texts = named(text, night, read)?;
    let is_profile = |name: &&String| [".toml", ".json"].iter().any(|end| name.to_lowercase().ends_with(end));
    let profiles: Vec<String> = texts.keys().filter(is_profile).cloned().collect();
    texts.insert(slashed(night), text.into());
    // Drafts belong to one file: another one of the same name has words of its own.
    let made: u64 = random();
    Ok(json!({ "made": format!("{made:016x}"), "night": slashed(night), "profiles": profiles, "texts": texts }))
}

/// What a served page keeps for the time when no program answers it: the draft's night, its camera and curves by name.
pub(super) fn kept(draft: &Draft, read: &dyn Fn(&Path) -> Result<String, Refusal>) -> Result<Value, Refusal> {
    let mut texts = named(&draft.written()?, draft.at(), read)?;
    texts.insert(slashed(draft.at()), draft.opened_text().into());
    Ok(json!({ "texts": texts }))
}

/// Camera and curves of a night by name.
fn named(
    text: &str,
    night: &Path,
    read: &dyn Fn(&Path) -> Result<String, Refusal>,
) -> Result<serde_json::Map<String, Value>, Refusal> {
    names_in(text, night)?.iter().map(|name| Ok((slashed(name), read(name)?.into()))).collect()
}

/// A name with the slashes of the web.
fn slashed(name: &Path) -> String {
    name.iter().map(|part| part.to_string_lossy()).collect::<Vec<_>>().join("/")
}

fn page(taken: &Value, module: &[u8]) -> Result<String, String> {
    let missing = |name: &str| format!("the page lacks {name}");
    let asset = |name: &str| {
        let instead = INSTEAD.iter().find(|(own, _)| *own == name).map_or(name, |(_, other)| other);
        text_of(&format!("/{instead}"))
    };
    let script = linked("main.js", &asset)?;
    let theme = asset("theme.js").ok_or_else(|| missing("theme.js"))?;
    let style = asset("page.css").ok_or_else(|| missing("page.css"))?;
    let icon = asset("icon.svg").ok_or_else(|| missing("icon.svg"))?;
    for (name, text) in [("the script", script.as_str()), ("theme.js", theme), ("page.css", style)] {
        if text.contains("</") {
            return Err(format!("{name} would end its element early"));
        }
    }
    let once: String = random::<[u8; 16]>().iter().map(|byte| format!("{byte:02x}")).collect();
    let policy = format!(
        "default-src 'none'; script-src 'nonce-{once}' 'wasm-unsafe-eval'; style-src 'nonce-{once}'; img-src data:; \
         worker-src blob:; base-uri 'none'; form-action 'none'"
    );
    let data = taken.to_string().replace('<', "\\u003c");
    let module = STANDARD.encode(module);
    let head = [
        ("<html lang=\"en\">".to_owned(), "<html lang=\"en\" data-alone data-theme=\"night\">".to_owned()),
        (
            "<meta charset=\"utf-8\">".to_owned(),
            format!("<meta charset=\"utf-8\">\n<meta http-equiv=\"Content-Security-Policy\" content=\"{policy}\">"),
        ),
        (
            "<link rel=\"icon\" href=\"/icon.svg\" type=\"image/svg+xml\">".to_owned(),
            format!("<link rel=\"icon\" href=\"data:image/svg+xml;base64,{}\">", STANDARD.encode(icon)),
        ),
        (
            "<link rel=\"stylesheet\" href=\"/page.css\">".to_owned(),
            format!("<style nonce=\"{once}\">\n{style}</style>"),
        ),
        ("<script src=\"/theme.js\"></script>".to_owned(), format!("<script nonce=\"{once}\">\n{theme}</script>")),
        ("<script type=\"module\" src=\"/main.js\"></script>\n".to_owned(), String::new()),
        (
            "</body>".to_owned(),
            format!(
                "<script type=\"application/json\" id=\"taken\">{data}</script>\n\
                 <script type=\"text/plain\" id=\"module\">{module}</script>\n\
                 <script nonce=\"{once}\">\n{script}</script>\n</body>"
            ),
        ),
    ];
    let mut page = asset("").ok_or_else(|| missing("page.html"))?.to_owned();
    for (served, alone) in head {
        if page.matches(&served).count() != 1 {
            return Err(missing(&served));
        }
        page = page.replace(&served, &alone);
    }
    Ok(page)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_written_stays_text_and_nothing_is_fetched() {
        let hostile = "</script><script>alert(1)</script><img src=x onerror=alert(2)>";
        let taken = json!({ "night": "n.toml", "profiles": [], "texts": { "n.toml": hostile } });
        let page = page(&taken, b"module").unwrap();
        assert!(!page.contains("alert(1)</script>") && !page.contains("<img src=x"));
        assert_eq!(page.matches("<script").count(), page.matches("</script>").count());
        for reference in ["src=\"/", "href=\"/", "import ", "http://", "https://"] {
            let own = page.replace("http://www.w3.org/", "");
            let found = own.lines().find(|line| {
                line.trim_start().starts_with(reference) || line.contains(&format!("<script {reference}"))
            });
            assert!(found.is_none(), "{reference}: {found:?}");
        }
        assert!(!page.contains("<link rel=\"stylesheet\""));
    }
}
