//! One request after the other: what the page may ask, and what it gets.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use crate::camera::CameraProfile;
use crate::files::Decoder;
use crate::frames::FrameKind;
use crate::measure::{self, FrameSource};
use crate::night::Night;
use crate::planner::{Change, Draft, Named, Planner, Refusal, body_of, changed_text};
use crate::report::{json_text, json_value};

use super::assets::asset;
use super::job::{Job, Measure};
use super::kinds::{described, say};
use super::phone::kept;
use super::reports::report;
use super::watching::Watching;
use super::{Folder, Guard, Request};

/// No camera's frames lie in more folders.
const MOST_FOLDERS: usize = 64;
/// A camera with nothing in it but what a data sheet must fill.
const BARE_CAMERA: &str = include_str!("../planner/bare/camera.toml");
/// A night with nothing in it but what a photographer must fill.
const BARE_NIGHT: &str = include_str!("../planner/bare/night.toml");
/// The example that an empty folder is offered: names, and what is in them.
const EXAMPLE: [(&str, &str); 2] = [
    ("published-camera.toml", include_str!("../../sample-calibration/published-camera.toml")),
    ("published-night.toml", include_str!("../../sample-calibration/published-night.toml")),
];

/// What goes back through the socket.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Response {
    /// The status of HTTP.
    pub status: u16,
    /// The content type.
    pub kind: &'static str,
    /// The body.
    pub body: Vec<u8>,
}

impl Response {
    /// A JSON document, byte for byte as the command line prints it.
    fn document(status: u16, document: &Value) -> Self {
        Self { status, kind: "application/json", body: json_text(document).into_bytes() }
    }

    /// A JSON document for the page alone, without white space.
    fn dense(document: &Value) -> Self {
        Self { status: 200, kind: "application/json", body: document.to_string().into_bytes() }
    }
}

impl From<Refusal> for Response {
    fn from(error: Refusal) -> Self {
        Self::document(error.status, &error.document())
    }
}

/// The planner behind the page: a folder, a guard, a way to measure.
pub struct Api {
    folder: Folder,
    guard: Guard,
    measure: Arc<Measure>,
    job: Arc<Job>,
    watching: Arc<Watching>,
    /// The night that the page opens with.
    first: Option<String>,
    /// One save after the other: a text is compared and replaced in one step.
    saving: Mutex<()>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Watched {
    folder: String,
    night: Draft,
    /// What is there is judged, and nothing waited for.
    #[serde(default)]
    once: bool,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Save {
    path: String,
    night: Draft,
    /// Whether the file that was opened is to be replaced; otherwise none may be there.
    replace: bool,
}

/// Folders whose frames are measured together.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Measured {
    paths: Vec<String>,
}

/// What the frames of the folders below a folder were taken for; `.` is that folder itself.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Said {
    path: String,
    kinds: BTreeMap<String, FrameKind>,
}

/// A new file: a camera's, or a night's.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Begin {
    path: String,
    camera: bool,
    changes: Vec<Change>,
}

impl Api {
    /// An API that serves one folder. `first` is the night to open, as a path in the folder.
    #[must_use]
    pub fn new(folder: Folder, guard: Guard, first: Option<String>, measure: Arc<Measure>) -> Self {
        Self { folder, guard, measure, job: Arc::default(), watching: Arc::default(), first, saving: Mutex::new(()) }
    }

    /// Refuses a request for what its head says, before its body is read.
    ///
    /// # Errors
    /// As [`Guard::check`].
    pub fn check(&self, request: &Request) -> Result<(), Refusal> {
        self.guard.check(request)
    }

    /// Answers a request.
    #[must_use]
    pub fn answer(&self, request: &Request) -> Response {
        self.check(request).and_then(|()| self.routed(request)).unwrap_or_else(Response::from)
    }

    fn routed(&self, request: &Request) -> Result<Response, Refusal> {
        if request.method == "GET" && !request.is_of_the_folder() {
            return asset(&request.path).ok_or_else(|| nothing_there(request));
        }
        let answer = match (request.method.as_str(), request.path.as_str()) {
            ("GET", "/api/files") => self.files(),
            ("GET", "/api/measure") => self.job.document(),
            ("GET", "/api/watching") => self.watching.document(),
            ("POST", "/api/watch") => self.watch(read(request)?)?,
            ("POST", "/api/watch/stop") => self.watching.stop(),
            ("POST", "/api/frames") => frames(&self.folder.existing(Path::new(&read::<Named>(request)?.path))?)?,
            ("POST", "/api/kinds") => self.said(&read(request)?)?,
            ("POST", "/api/report") => {
                let text = |name: &Path| self.folder.text(name);
                let report = report(&read(request)?, &text, self.job.profile(), self.watching.review())?;
                json!({ "report": report })
            }
            ("POST", "/api/new") => self.begun(&read(request)?)?,
            ("POST", "/api/taken") => kept(&read(request)?, &|name: &Path| self.folder.text(name))?,
            ("POST", "/api/save") => self.save(&read(request)?)?,
            ("POST", "/api/example") => self.example()?,
            ("POST", "/api/measure") => self.measure(&read::<Measured>(request)?.paths)?,
            ("POST", "/api/stop") => {
                self.job.stop();
                self.job.document()
            }
            ("POST", "/api/profile") => self.save_profile(&read::<Named>(request)?.path)?,
            _ => return self.planned(request),
        };
        Ok(Response::dense(&answer))
    }

    /// What needs no more than the texts of the folder.
    fn planned(&self, request: &Request) -> Result<Response, Refusal> {
        let asks = match request.path.as_str() {
            "/api/catalogue" | "/api/checklist" => "GET",
            _ => "POST",
        };
        let known = (request.method == asks).then(|| text_of(request)).transpose()?;
        let read = |name: &Path| self.folder.text(name);
        let answer = known.and_then(|body| Planner::new(&read).answer(&request.path, body));
        let answer = answer.ok_or_else(|| nothing_there(request))??;
        // The plan is byte for byte what the command line prints.
        Ok(if request.path == "/api/plan" { Response::document(200, &answer) } else { Response::dense(&answer) })
    }

    fn opened(&self, path: &str) -> Result<Value, Refusal> {
        Planner::new(&|name: &Path| self.folder.text(name)).opened(path)
    }

    /// What is told of a watched folder, if that is asked for.
    ///
    /// # Errors
    /// As [`Api::check`].
    pub fn events(&self, request: &Request) -> Result<Option<Arc<Watching>>, Refusal> {
        self.check(request)?;
        let asked = request.method == "GET" && request.path == "/api/watch";
        Ok(asked.then(|| Arc::clone(&self.watching)))
    }

    fn watch(&self, asked: Watched) -> Result<Value, Refusal> {
        let path = self.folder.existing(Path::new(&asked.folder))?;
        let drafted = asked.night.night(&|name: &Path| self.folder.text(name))?;
        Watching::start(&self.watching, asked.folder, path, drafted, asked.once)
    }

    fn files(&self) -> Value {
        let mut document = json!({
            "format": "subwell.folder", "version": 1, "name": self.folder.name(), "first": self.first,
        });
        if let (Some(fields), Value::Object(contents)) = (document.as_object_mut(), json_value(&self.folder.contents()))
        {
            fields.extend(contents);
        }
        document
    }

    fn save(&self, request: &Save) -> Result<Value, Refusal> {
        let text = request.night.written()?;
        if !request.path.to_lowercase().ends_with(".toml") {
            let message = format!("{}: a night is written as .toml", request.path);
            return Err(Refusal::new(422, "wrong-name", message, "give a name such as my-night.toml"));
        }
        let _one_at_a_time = self.saving.lock().unwrap_or_else(PoisonError::into_inner);
        self.folder.write(&request.path, &text, request.replace.then_some(request.night.opened_text()))?;
        self.opened(&request.path)
    }

    /// A camera from a data sheet or a first night: the bare text of it with the page's words put in, checked and written.
    fn begun(&self, begin: &Begin) -> Result<Value, Refusal> {
        let text = changed_text(if begin.camera { BARE_CAMERA } else { BARE_NIGHT }, &begin.changes)?;
        if begin.camera {
            CameraProfile::from_toml(&text)?;
        } else {
            Night::from_toml(&text)?;
        }
        let _one_at_a_time = self.saving.lock().unwrap_or_else(PoisonError::into_inner);
        self.folder.write(&begin.path, &text, None)?;
        if begin.camera { Ok(json!({ "path": begin.path })) } else { self.opened(&begin.path) }
    }

    fn example(&self) -> Result<Value, Refusal> {
        let _one_at_a_time = self.saving.lock().unwrap_or_else(PoisonError::into_inner);
        for (name, text) in EXAMPLE {
            let there = self.folder.existing(Path::new(name)).is_ok();
            if !there {
                self.folder.write(name, text, None)?;
            }
        }
        self.opened(EXAMPLE[1].0)
    }

    fn measure(&self, folders: &[String]) -> Result<Value, Refusal> {
        if folders.is_empty() || folders.len() > MOST_FOLDERS {
            let message = format!("{} folders cannot be measured together", folders.len());
            return Err(Refusal::new(422, "bad-request", message, format!("name 1 to {MOST_FOLDERS}")));
        }
        let paths = folders.iter().map(|folder| self.folder.existing(Path::new(folder)));
        Job::start(&self.job, folders, paths.collect::<Result<_, _>>()?, Arc::clone(&self.measure))
    }

    /// What the frames of folders were taken for is written down; what is in the folder then.
    fn said(&self, said: &Said) -> Result<Value, Refusal> {
        let folder = self.folder.existing(Path::new(&said.path))?;
        let _one_at_a_time = self.saving.lock().unwrap_or_else(PoisonError::into_inner);
        let decoder = Decoder::this_program()?;
        say(&folder, measure::Folder::open(&[&folder], &decoder, &measure::Silent)?.inventory(), &said.kinds)?;
        frames(&folder)
    }

    fn save_profile(&self, path: &str) -> Result<Value, Refusal> {
        let Some(profile) = self.job.profile() else {
            let message = "there is no measured profile to save";
            return Err(Refusal::new(409, "no-profile", message, "measure a folder of frames first"));
        };
        let json = path.to_lowercase().ends_with(".json");
        let text = if json { profile.to_json() } else { profile.to_toml() }?;
        let _one_at_a_time = self.saving.lock().unwrap_or_else(PoisonError::into_inner);
        self.folder.write(path, &text, None)?;
        Ok(json!({ "path": path }))
    }
}

fn nothing_there(request: &Request) -> Refusal {
    let message = format!("{} {}: there is no such thing here", request.method, request.path);
    Refusal::new(404, "not-found", message, "open the address that `subwell page` printed")
}

/// What is in a folder of frames.
fn frames(folder: &Path) -> Result<Value, Refusal> {
    let decoder = Decoder::this_program()?;
    let frames = measure::Folder::open(&[folder], &decoder, &measure::Silent)?;
    Ok(described(folder, frames.inventory()))
}

fn text_of(request: &Request) -> Result<&str, Refusal> {
    let bad = |error: std::str::Utf8Error| Refusal::new(400, "bad-request", error.to_string(), "load the page again");
    std::str::from_utf8(&request.body).map_err(bad)
}

fn read<T: DeserializeOwned>(request: &Request) -> Result<T, Refusal> {
    body_of(text_of(request)?)
}
