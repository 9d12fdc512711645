//! One request after the other: what the page may ask, and what it gets.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use crate::camera::CameraProfile;
use crate::files::{FileError, TextError, chosen_of, night_of};
use crate::night::{CalibrationCounts, CameraChoice, Goal, Night, StackRules};
use crate::plan::{cost_maps, plan};
use crate::reading::check_depth;
use crate::report::{json_text, json_value};
use crate::rig::Mount;
use crate::sky::Site;

use super::answers;
use super::assets::asset;
use super::edit::{Change, changed_text};
use super::job::{Job, Measure};
use super::watching::Watching;
use super::{ApiError, Folder, Guard, Request};

/// A night with more filters is none.
const MOST_FILTERS: usize = 24;
/// A night file is opened up to this size: it must travel back with every change.
const LARGEST_NIGHT: usize = 128 << 10;
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

impl From<ApiError> for Response {
    fn from(error: ApiError) -> Self {
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

/// A night as the page has it: the text that was opened, where, and what was changed since.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Draft {
    at: String,
    text: String,
    changes: Vec<Change>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Named {
    path: String,
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

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct MoonsFrom {
    night: Draft,
    from: String,
}

/// A new file: a camera's, or a night's.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Begin {
    path: String,
    camera: bool,
    changes: Vec<Change>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct CameraOf {
    at: String,
    profile: String,
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
    pub fn check(&self, request: &Request) -> Result<(), ApiError> {
        self.guard.check(request)
    }

    /// Answers a request.
    #[must_use]
    pub fn answer(&self, request: &Request) -> Response {
        self.check(request).and_then(|()| self.routed(request)).unwrap_or_else(Response::from)
    }

    fn routed(&self, request: &Request) -> Result<Response, ApiError> {
        if request.method == "GET" && !request.is_of_the_folder() {
            return asset(&request.path).ok_or_else(|| nothing_there(request));
        }
        let answer = match (request.method.as_str(), request.path.as_str()) {
            ("GET", "/api/files") => self.files(),
            ("GET", "/api/measure") => self.job.document(),
            ("GET", "/api/watching") => self.watching.document(),
            ("POST", "/api/watch") => self.watch(read(request)?)?,
            ("POST", "/api/watch/stop") => self.watching.stop(),
            ("POST", "/api/open") => self.opened(&read::<Named>(request)?.path)?,
            ("POST", "/api/plan") => {
                let (night, camera) = self.night(&read(request)?)?;
                return Ok(Response::document(200, &json_value(&plan(&night, &camera)?)));
            }
            ("POST", "/api/map") => {
                let (night, camera) = self.night(&read(request)?)?;
                json!({ "format": "subwell.map", "version": 1, "filters": json_value(&cost_maps(&night, &camera)?) })
            }
            ("POST", "/api/course") => answers::course(self.night(&read(request)?)?.0)?,
            ("POST", "/api/moons") => {
                let asked: MoonsFrom = read(request)?;
                answers::moons_from(&self.night(&asked.night)?.0, &asked.from)?
            }
            ("POST", "/api/starts") => answers::starts(&self.night(&read(request)?)?)?,
            ("POST", "/api/evenings") => answers::evenings(&self.night(&read(request)?)?)?,
            ("POST", "/api/targets") => answers::targets(&self.night(&read(request)?)?)?,
            ("POST", "/api/choices") => {
                let draft = read(request)?;
                answers::choices(&self.night(&draft)?, &self.chosen(&draft)?)?
            }
            ("POST", "/api/sky") => answers::sky(&read(request)?)?,
            ("GET", "/api/catalogue") => answers::catalogue(),
            ("GET", "/api/checklist") => answers::checklists(),
            ("POST", "/api/frames") => {
                answers::frames(&self.folder.existing(Path::new(&read::<Named>(request)?.path))?)?
            }
            ("POST", "/api/new") => self.begun(&read(request)?)?,
            ("POST", "/api/camera") => self.camera(&read(request)?)?,
            ("POST", "/api/save") => self.save(&read(request)?)?,
            ("POST", "/api/example") => self.example()?,
            ("POST", "/api/measure") => self.measure(read::<Named>(request)?.path)?,
            ("POST", "/api/stop") => {
                self.job.stop();
                self.job.document()
            }
            ("POST", "/api/profile") => self.save_profile(&read::<Named>(request)?.path)?,
            _ => return Err(nothing_there(request)),
        };
        Ok(Response::dense(&answer))
    }

    /// What is told of a watched folder, if that is asked for.
    ///
    /// # Errors
    /// As [`Api::check`].
    pub fn events(&self, request: &Request) -> Result<Option<Arc<Watching>>, ApiError> {
        self.check(request)?;
        let asked = request.method == "GET" && request.path == "/api/watch";
        Ok(asked.then(|| Arc::clone(&self.watching)))
    }

    fn watch(&self, asked: Watched) -> Result<Value, ApiError> {
        let path = self.folder.existing(Path::new(&asked.folder))?;
        let (night, camera) = self.night(&asked.night)?;
        Watching::start(&self.watching, asked.folder, path, (night, camera), asked.once)
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

    fn opened(&self, path: &str) -> Result<Value, ApiError> {
        let text = self.folder.text(path)?;
        if text.len() > LARGEST_NIGHT {
            let message = format!("{path}: {} bytes are too many for a night", text.len());
            return Err(ApiError::new(422, "over-limit", message, "open the night file itself"));
        }
        let night = Night::from_toml(&text).map_err(ApiError::from).map_err(|mut error| {
            error.message = format!("{path}: {}", error.message);
            error
        })?;
        Ok(
            json!({ "path": path, "text": text, "night": json_value(&night), "defaults": defaults(), "ranges": answers::ranges() }),
        )
    }

    /// What the draft says of files is looked for in the folder alone: `read` gets its text, and the way to each file.
    fn with_files<T>(
        &self,
        draft: &Draft,
        read: impl FnOnce(&str, &dyn Fn(&Path) -> Result<PathBuf, FileError>) -> Result<T, TextError>,
    ) -> Result<T, ApiError> {
        let text = changed_text(&draft.text, &draft.changes)?;
        // Two refusals would like to leave the closure; a file error can carry one of them as words only.
        let refused = Mutex::new(None);
        let place = |named: &Path| {
            self.folder.existing(named).map_err(|error| {
                let source = std::io::Error::other(error.message.clone());
                *refused.lock().unwrap_or_else(PoisonError::into_inner) = Some(error);
                FileError::Disk { path: named.to_owned(), source }
            })
        };
        let found = read(&text, &place);
        match (found, refused.into_inner().unwrap_or_else(PoisonError::into_inner)) {
            (_, Some(error)) => Err(error),
            (found, None) => Ok(found?),
        }
    }

    /// The night that a draft means, with its camera.
    fn night(&self, draft: &Draft) -> Result<(Night, CameraProfile), ApiError> {
        let at = Path::new(&draft.at);
        let (night, camera) = self.with_files(draft, |text, place| night_of(text, at, place))?;
        if night.filters.len() > MOST_FILTERS {
            let message = format!("{} filters are more than a night has hours for", night.filters.len());
            return Err(ApiError::new(422, "over-limit", message, format!("name at most {MOST_FILTERS}")));
        }
        Ok((night, camera))
    }

    /// The night with each of its own choices, with its camera.
    fn chosen(&self, draft: &Draft) -> Result<Vec<(Night, CameraProfile)>, ApiError> {
        self.with_files(draft, |text, place| chosen_of(text, Path::new(&draft.at), place))
    }

    /// A profile, with its settings for the list of gains.
    fn camera(&self, request: &CameraOf) -> Result<Value, ApiError> {
        let beside = Path::new(&request.at).parent().unwrap_or(Path::new("")).join(&request.profile);
        let profile = crate::files::read_profile(&self.folder.existing(&beside)?)?;
        let mode = |mode: &crate::camera::Mode| json!({ "gain_setting": mode.gain_setting, "label": mode.label() });
        let modes: Vec<Value> = profile.modes.iter().map(mode).collect();
        Ok(json!({ "camera": profile.camera, "modes": modes, "profile": json_value(&profile) }))
    }

    fn save(&self, request: &Save) -> Result<Value, ApiError> {
        let text = changed_text(&request.night.text, &request.night.changes)?;
        // Only what can be opened again is written.
        Night::from_toml(&text)?;
        if !request.path.to_lowercase().ends_with(".toml") {
            let message = format!("{}: a night is written as .toml", request.path);
            return Err(ApiError::new(422, "wrong-name", message, "give a name such as my-night.toml"));
        }
        let _one_at_a_time = self.saving.lock().unwrap_or_else(PoisonError::into_inner);
        self.folder.write(&request.path, &text, request.replace.then_some(request.night.text.as_str()))?;
        self.opened(&request.path)
    }

    /// A camera from a data sheet or a first night: the bare text of it with the page's words put in, checked and written.
    fn begun(&self, begin: &Begin) -> Result<Value, ApiError> {
        let text = changed_text(if begin.camera { answers::BARE_CAMERA } else { answers::BARE_NIGHT }, &begin.changes)?;
        if begin.camera {
            CameraProfile::from_toml(&text)?;
        } else {
            Night::from_toml(&text)?;
        }
        let _one_at_a_time = self.saving.lock().unwrap_or_else(PoisonError::into_inner);
        self.folder.write(&begin.path, &text, None)?;
        if begin.camera { Ok(json!({ "path": begin.path })) } else { self.opened(&begin.path) }
    }

    fn example(&self) -> Result<Value, ApiError> {
        let _one_at_a_time = self.saving.lock().unwrap_or_else(PoisonError::into_inner);
        for (name, text) in EXAMPLE {
            let there = self.folder.existing(Path::new(name)).is_ok();
            if !there {
                self.folder.write(name, text, None)?;
            }
        }
        self.opened(EXAMPLE[1].0)
    }

    fn measure(&self, folder: String) -> Result<Value, ApiError> {
        let path = self.folder.existing(Path::new(&folder))?;
        Job::start(&self.job, folder, path, Arc::clone(&self.measure))
    }

    fn save_profile(&self, path: &str) -> Result<Value, ApiError> {
        let Some(profile) = self.job.profile() else {
            let message = "there is no measured profile to save";
            return Err(ApiError::new(409, "no-profile", message, "measure a folder of frames first"));
        };
        let json = path.to_lowercase().ends_with(".json");
        let text = if json { profile.to_json() } else { profile.to_toml() }?;
        let _one_at_a_time = self.saving.lock().unwrap_or_else(PoisonError::into_inner);
        self.folder.write(path, &text, None)?;
        Ok(json!({ "path": path }))
    }
}

fn nothing_there(request: &Request) -> ApiError {
    let message = format!("{} {}: there is no such thing here", request.method, request.path);
    ApiError::new(404, "not-found", message, "open the address that `subwell page` printed")
}

fn read<T: DeserializeOwned>(request: &Request) -> Result<T, ApiError> {
    let bad = |message: String| ApiError::new(400, "bad-request", message, "load the page again");
    let text = std::str::from_utf8(&request.body).map_err(|error| bad(error.to_string()))?;
    check_depth(text).map_err(|error| bad(error.message))?;
    serde_json::from_str(text).map_err(|error| bad(error.to_string()))
}

/// What a night takes for keys that are left out, under the keys' names.
fn defaults() -> Value {
    let (site, mount, goal) = (Site::default(), Mount::default(), Goal::default());
    let (counts, stack) = (CalibrationCounts::default(), StackRules::default());
    json!({
        "camera": { "sensor_c": CameraChoice::DEFAULT_SET_POINT, "rise_c": CameraChoice::DEFAULT_RISE },
        "optics": { "obstruction_mm": 0.0, "transmission": crate::rig::DEFAULT_TRANSMISSION },
        "site": {
            "sky": site.sky(), "lamps": site.lamps(), "seeing_arcsec": site.seeing(), "ambient_c": site.ambient(),
            "height_m": site.height(),
        },
        "target": { "altitude_deg": crate::target::DEFAULT_ALTITUDE },
        "filter": { "share": 1.0, "quantum_efficiency": crate::rig::DEFAULT_QUANTUM_EFFICIENCY },
        "mount": {
            "guided": mount.guided(), "guide_rms_arcsec": mount.guide_rms(), "settle_s": mount.settle(),
            "between_subs_s": mount.between_subs(), "lost_subs_per_hour": mount.lost_subs_per_hour(),
        },
        "calibration": { "darks": counts.darks(), "flats": counts.flats(), "biases": counts.biases() },
        "stack": {
            "clip_sigma": stack.clip_sigma(), "min_subs": stack.min_subs(), "most_subs": stack.most_subs(),
            "most_gigabytes": stack.most_gigabytes(), "min_positions": stack.min_positions(),
            "min_positions_per_night": stack.min_positions_per_night(),
        },
        "goal": {
            "snr": Goal::DEFAULT_SNR, "patch_arcsec": Goal::DEFAULT_PATCH, "clear_hours_per_night": goal.clear_hours(),
            "already_have_h": goal.already_have(),
        },
    })
}
