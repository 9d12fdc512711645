//! Who may ask, and for what.

use std::io::Write;
use std::sync::Arc;

use serde_json::{Value, json};
use subwell::page::{Api, Folder, Guard, Request};
use subwell::planner::Refusal;

use crate::client::{Answer, TOKEN, page};

/// What a page must never do with a text: read it as markup or as a program.
const MARKUP: [&str; 9] = [
    "innerHTML",
    "outerHTML",
    "insertAdjacentHTML",
    "document.write",
    "eval(",
    "new Function",
    "DOMParser",
    "srcdoc",
    "createContextualFragment",
];

#[test]
fn a_name_that_was_pointed_here_gets_nothing() {
    let page = page();
    let port = page.address.port;
    for host in [
        "evil.example".to_owned(),
        format!("evil.example:{port}"),
        format!("127.0.0.1:{}", port ^ 1),
        "127.0.0.1".into(),
    ] {
        let answer = page.address.with("/api/plan", &page.draft(), "Host", Some(&host));
        assert_eq!((answer.status, answer.code().as_str()), (403, "wrong-host"), "{host}");
        // Not even the page, from which the other site's script could read on.
        let headers = [("Host".to_owned(), host), ("Connection".into(), "close".into())];
        assert_eq!(page.address.send("GET", "/", &headers, b"").status, 403);
    }
    // Two Hosts, or one in the request line: two readers could take two different ones.
    for start in [
        format!("GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nHost: evil.example\r\n"),
        format!("GET http://127.0.0.1:{port}/ HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n"),
    ] {
        let mut stream = page.address.connect();
        stream.write_all(format!("{start}Connection: close\r\n\r\n").as_bytes()).unwrap();
        let status = Answer::read(&mut stream).unwrap().status;
        assert!([400, 403].contains(&status), "{start}: {status}");
    }
    assert_eq!(page.address.with("/api/plan", &page.draft(), "Host", Some(&format!("LocalHost:{port}"))).status, 200);
}

#[test]
fn a_page_of_another_site_gets_nothing() {
    let page = page();
    for origin in
        ["https://evil.example", "null", "http://127.0.0.1", "http://127.0.0.1:1", "http://localhost.evil.example"]
    {
        let answer = page.address.with("/api/plan", &page.draft(), "Origin", Some(origin));
        assert_eq!((answer.status, answer.code().as_str()), (403, "wrong-origin"), "{origin}");
    }
    for site in ["cross-site", "same-site"] {
        let answer = page.address.with("/api/plan", &page.draft(), "Sec-Fetch-Site", Some(site));
        assert_eq!((answer.status, answer.code().as_str()), (403, "wrong-origin"), "{site}");
    }
    // What a form can send without asking first.
    let answer = page.address.with("/api/plan", &page.draft(), "Content-Type", Some("text/plain"));
    assert_eq!((answer.status, answer.code().as_str()), (415, "not-json"));
    assert!(!answer.head.contains("access-control-allow"), "{}", answer.head);
}

#[test]
fn without_the_key_nothing_of_the_folder_is_read_or_written() {
    let page = page();
    let save = json!({ "path": "new.toml", "night": page.draft(), "replace": false });
    let open = json!({ "path": "published-night.toml" });
    let asks = [
        ("/api/open", &open),
        ("/api/plan", &page.draft()),
        ("/api/map", &page.draft()),
        ("/api/save", &save),
        ("/api/example", &json!({})),
        ("/api/measure", &json!({ "paths": ["."] })),
        ("/api/stop", &json!({})),
        ("/api/profile", &json!({ "path": "p.toml" })),
        ("/api/camera", &json!({ "at": "", "profile": "published-camera.toml" })),
    ];
    for (path, body) in asks {
        for token in [None, Some(""), Some("0123456789abcdef0123456789abcdeF"), Some(&TOKEN[1..])] {
            let answer = page.address.with(path, body, "X-Subwell-Token", token);
            assert_eq!((answer.status, answer.code().as_str()), (401, "no-token"), "{path} with {token:?}");
        }
    }
    for path in ["/api/files", "/api/measure"] {
        let mut headers = page.address.headers();
        headers.retain(|(name, _)| name != "X-Subwell-Token");
        assert_eq!(page.address.send("GET", path, &headers, b"").status, 401, "{path}");
    }
    assert!(!page.path("new.toml").exists());
    // A link cannot change anything: what changes is POST alone.
    for path in ["/api/save", "/api/example", "/api/stop", "/api/profile"] {
        assert_eq!(page.address.get(path).status, 404, "{path}");
    }
}

#[test]
fn no_path_leads_out_of_the_folder() {
    let page = page();
    let outside = tempfile::tempdir().unwrap();
    let secret = outside.path().join("secret.toml");
    std::fs::copy(page.path("published-night.toml"), &secret).unwrap();
    std::fs::copy(page.path("published-camera.toml"), outside.path().join("camera.toml")).unwrap();
    std::fs::create_dir(page.path("below")).unwrap();
    let up = format!("../{}/secret.toml", outside.path().file_name().unwrap().to_str().unwrap());
    let absolute = secret.to_str().unwrap().to_owned();
    let mut ways = vec![
        up.clone(),
        format!("below/../../{}", &up[3..]),
        absolute,
        "..".into(),
        "c:\\secret.toml".into(),
        "below\\..\\..\\secret.toml".into(),
    ];
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(&secret, page.path("link.toml")).unwrap();
        std::os::unix::fs::symlink(outside.path(), page.path("folder")).unwrap();
        ways.extend(["link.toml".into(), "folder/secret.toml".into(), "folder/new.toml".into()]);
    }
    for way in &ways {
        let opened = page.address.post("/api/open", &json!({ "path": way }));
        assert!([403, 404].contains(&opened.status), "{way}: {opened:?}");
        let measured = page.address.post("/api/measure", &json!({ "paths": [way] }));
        assert!([403, 404].contains(&measured.status), "{way}: {measured:?}");
        for replace in [false, true] {
            let saved =
                page.address.post("/api/save", &json!({ "path": way, "night": page.draft(), "replace": replace }));
            assert!([403, 404, 409].contains(&saved.status) || saved.code() == "wrong-name", "{way}: {saved:?}");
        }
    }
    // Nor does a profile that a night names.
    let inside = |way: &String| !way.contains("camera") && way.ends_with(".toml");
    for way in ways.iter().filter(|way| inside(way)) {
        let mut draft = page.draft();
        draft["changes"] = json!([{ "key": ["camera", "profile"], "value": way.replace("secret", "camera") }]);
        let answer = page.address.post("/api/plan", &draft);
        assert!([403, 404].contains(&answer.status) || way == "link.toml", "{way}: {answer:?}");
        draft["changes"] = json!([{ "key": ["camera", "profile"], "value": way }]);
        assert!([403, 404].contains(&page.address.post("/api/plan", &draft).status), "{way}");
        let at = json!({ "at": "", "profile": way });
        assert!([403, 404].contains(&page.address.post("/api/camera", &at).status), "{way}");
    }
    let mut files: Vec<_> =
        std::fs::read_dir(outside.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    files.sort();
    assert_eq!(files, ["camera.toml", "secret.toml"]);
    let same = std::fs::read(&secret).unwrap() == std::fs::read(page.path("published-night.toml")).unwrap();
    assert!(same, "the file outside was changed");
}

#[test]
fn only_text_files_of_the_planners_kinds_are_written() {
    let page = page();
    for name in [
        "run.sh",
        ".bashrc",
        ".toml",
        "a.toml.exe",
        "page",
        "index.html",
        "camera.fits",
        " a.toml",
        "below",
        "new.json",
    ] {
        let saved = page.address.post("/api/save", &json!({ "path": name, "night": page.draft(), "replace": false }));
        assert_eq!(saved.code(), "wrong-name", "{name}: {saved:?}");
        assert!(!page.path(name).exists());
    }
}

#[test]
fn answers_are_locked_and_the_page_asks_nobody_else() {
    let page = page();
    let html = String::from_utf8(page.address.get("/").body).unwrap();
    let files = html.split('"').filter(|word| word.starts_with('/')).map(str::to_owned).collect::<Vec<_>>();
    assert!(files.len() > 3, "{files:?}");
    let mut texts = vec![html];
    // Scripts name the scripts that they use: all are followed.
    let (mut waiting, mut seen) = (files, std::collections::BTreeSet::new());
    while let Some(path) = waiting.pop() {
        if !seen.insert(path.clone()) {
            continue;
        }
        let answer = page.address.get(&path);
        assert_eq!(answer.status, 200, "{path}");
        let text = String::from_utf8(answer.body).unwrap();
        let used = text.split("from \"./").skip(1).filter_map(|rest| rest.split('"').next());
        waiting.extend(used.map(|name| format!("/{name}")));
        texts.push(text);
    }
    assert!(texts.len() > 20, "{}", texts.len());
    for text in &texts {
        let text = text.replace("http://www.w3.org/2000/svg", "");
        for word in MARKUP.iter().chain(&[
            "http:",
            "https:",
            "//cdn",
            "@import",
            "<script>",
            " onclick=",
            " style=",
            "javascript:",
        ]) {
            assert!(!text.contains(word), "`{word}` is in the page");
        }
    }
    for path in ["/", "/main.js", "/api/files", "/nothing"] {
        let head = page.address.get(path).head;
        for line in [
            "default-src 'none'",
            "script-src 'self'",
            "frame-ancestors 'none'",
            "x-content-type-options: nosniff",
            "cache-control: no-store",
            "referrer-policy: no-referrer",
            "x-frame-options: deny",
            "cross-origin-resource-policy: same-origin",
        ] {
            assert!(head.contains(line), "{path} lacks {line}: {head}");
        }
        // The planner's own module runs; no script of words does.
        let head = head.replace("'self' 'wasm-unsafe-eval'", "'self'");
        assert!(!head.contains("unsafe") && !head.contains("access-control"), "{head}");
    }
}

/// A camera named like a program stays a name: it travels as JSON, which no browser takes for a page.
#[test]
fn script_in_a_profile_is_a_name() {
    let page = page();
    let name = "</script><script>alert(1)</script><img src=x onerror=alert(2)>\u{202e}";
    let profile = std::fs::read_to_string(page.path("published-camera.toml")).unwrap().replace("Sorrel M", name);
    std::fs::write(page.path("evil.toml"), profile).unwrap();
    let answer = page.address.post("/api/camera", &json!({ "at": "", "profile": "evil.toml" }));
    assert_eq!(answer.json()["camera"], name);
    assert!(answer.head.contains("content-type: application/json"), "{}", answer.head);
    let mut draft = page.draft();
    draft["changes"] = json!([{ "key": ["filters", 0, "name"], "value": name }, { "key": ["filters", 0, "centre_nm"], "value": 550 }, { "key": ["filters", 0, "width_nm"], "value": 100 }]);
    let plan = page.address.post("/api/plan", &draft);
    assert_eq!(plan.json()["filters"][0]["name"], name);
    assert!(plan.head.contains("content-type: application/json") && plan.head.contains("nosniff"), "{}", plan.head);
}

/// Requests that are no requests: an answer with a reason, never a panic.
#[test]
fn nonsense_gets_a_reason() {
    let folder = tempfile::tempdir().unwrap();
    let measure =
        Arc::new(|_: &[std::path::PathBuf], _: &subwell::page::Progress| Err(Refusal::new(422, "none", "", "")));
    let api = Api::new(Folder::new(folder.path()).unwrap(), Guard::new(80, TOKEN.into()), None, measure);
    let bodies: [&[u8]; 10] = [
        b"",
        b"{}",
        b"null",
        b"[]",
        b"\xff\xfe",
        b"{\"path\":7}",
        b"{\"path\":\"\"}",
        b"{\"at\":\"\",\"text\":\"\",\"changes\":[]}",
        b"{\"at\":\"x\",\"text\":\"[goal]\\nsnr=1\",\"changes\":[{\"key\":[],\"value\":1}]}",
        b"{\"at\":\"x\",\"text\":\"\",\"changes\":[{\"key\":[0],\"value\":null}]}",
    ];
    for path in ["open", "plan", "map", "camera", "save", "profile", "nothing"] {
        for body in bodies {
            let request = Request {
                method: "POST".into(),
                path: format!("/api/{path}"),
                host: Some("127.0.0.1:80".into()),
                content_type: Some("application/json".into()),
                token: Some(TOKEN.into()),
                body: body.to_vec(),
                ..Request::default()
            };
            let answered = api.answer(&request);
            let document: Value = crate::support::schemas::valid(&answered.body);
            assert!(answered.status >= 400 && document["format"] == "subwell.error", "{path}: {document}");
            assert!(!document["message"].as_str().unwrap().is_empty(), "{path}: {document}");
        }
    }
}
