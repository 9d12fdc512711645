//! One question after the other.

use std::path::Path;

use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use crate::night::{CalibrationCounts, CameraChoice, Goal, Night, StackRules, gathered, profile_of};
use crate::plan::{cost_maps, plan};
use crate::reading::check_depth;
use crate::report::json_value;
use crate::rig::Mount;
use crate::sky::Site;

use super::draft::Read;
use super::{Draft, Refusal, answers, name_of};

/// A night file is opened up to this size: it must travel back with every change.
const LARGEST_NIGHT: usize = 128 << 10;

/// A file or folder, by name.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Named {
    pub(crate) path: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct MoonsFrom {
    night: Draft,
    from: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Compared {
    night: Draft,
    against: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct CameraOf {
    at: String,
    profile: String,
}

/// Answers from the texts that `read` gets by name.
///
/// ```
/// use subwell::planner::{Planner, Refusal};
///
/// let no_file = |name: &std::path::Path| -> Result<String, Refusal> {
///     Err(Refusal::new(404, "not-found", format!("{} is not here", name.display()), "take it along"))
/// };
/// let planner = Planner::new(&no_file);
/// let sky = planner.answer("/api/sky", r#"{ "bortle": 7 }"#).expect("a question of the planner").expect("an answer");
/// assert_eq!(sky["bortle"], 7);
/// assert!(planner.answer("/api/save", "{}").is_none(), "only the program writes files");
/// ```
pub struct Planner<'a> {
    read: &'a Read<'a>,
}

impl<'a> Planner<'a> {
    /// A planner that gets its texts so.
    #[must_use]
    pub fn new(read: &'a Read<'a>) -> Self {
        Self { read }
    }

    /// The answer to a question, `None` where it is none of the planner's. What is asked without a body is asked with an empty one.
    ///
    /// # Errors
    /// When the body is none, and when night or camera cannot answer.
    #[must_use]
    pub fn answer(&self, path: &str, body: &str) -> Option<Result<Value, Refusal>> {
        Some(match path {
            "/api/open" => body_of(body).and_then(|asked: Named| self.opened(&asked.path)),
            "/api/camera" => body_of(body).and_then(|asked: CameraOf| self.camera(&asked)),
            "/api/text" => body_of(body).and_then(|draft: Draft| Ok(json!({ "text": draft.written()? }))),
            "/api/plan" => self.of_night(body, |drafted| Ok(json_value(&plan(&drafted.0, &drafted.1)?))),
            "/api/map" => self.of_night(body, |(night, camera)| {
                let filters = json_value(&cost_maps(&night, &camera)?);
                Ok(json!({ "format": "subwell.map", "version": 1, "filters": filters }))
            }),
            "/api/course" => self.of_night(body, |drafted| answers::course(drafted.0)),
            "/api/moons" => body_of(body)
                .and_then(|asked: MoonsFrom| answers::moons_from(&asked.night.night(self.read)?.0, &asked.from)),
            "/api/starts" => self.of_night(body, |drafted| answers::starts(&drafted)),
            "/api/evenings" => self.of_night(body, |drafted| answers::evenings(&drafted)),
            "/api/targets" => self.of_night(body, |drafted| answers::targets(&drafted)),
            "/api/choices" => body_of(body)
                .and_then(|draft: Draft| answers::choices(&draft.night(self.read)?, &draft.chosen(self.read)?)),
            "/api/cooling" => self.of_night(body, |drafted| answers::cooling(&drafted)),
            "/api/compare" => body_of(body).and_then(|asked: Compared| self.compared(&asked)),
            "/api/sky" => body_of(body).and_then(|given| answers::sky(&given)),
            "/api/catalogue" => Ok(answers::catalogue()),
            "/api/checklist" => Ok(answers::checklists()),
            _ => return None,
        })
    }

    fn of_night(
        &self,
        body: &str,
        answer: impl FnOnce(answers::Drafted) -> Result<Value, Refusal>,
    ) -> Result<Value, Refusal> {
        answer(body_of::<Draft>(body)?.night(self.read)?)
    }

    /// A night's text with what it says, what is taken for what it does not say, and what may be said.
    ///
    /// # Errors
    /// When it cannot be read, or is no night.
    pub fn opened(&self, path: &str) -> Result<Value, Refusal> {
        let text = (self.read)(Path::new(path))?;
        if text.len() > LARGEST_NIGHT {
            let message = format!("{path}: {} bytes are too many for a night", text.len());
            return Err(Refusal::new(422, "over-limit", message, "open the night file itself"));
        }
        let night = Night::from_toml(&text).map_err(Refusal::from).map_err(|mut error| {
            error.message = format!("{path}: {}", error.message);
            error
        })?;
        let (night, ranges) = (json_value(&night), answers::ranges());
        Ok(json!({ "path": path, "text": text, "night": night, "defaults": defaults(), "ranges": ranges }))
    }

    /// A night against that of another text.
    fn compared(&self, asked: &Compared) -> Result<Value, Refusal> {
        let first = asked.night.night(self.read)?;
        let path = Path::new(&asked.against);
        let second = gathered(&(self.read)(path)?, path, self.read)?;
        answers::compared(&first, &second, [asked.night.name(), name_of(path)])
    }

    /// A profile, with its settings for the list of gains.
    fn camera(&self, asked: &CameraOf) -> Result<Value, Refusal> {
        let beside = Path::new(&asked.at).parent().unwrap_or(Path::new("")).join(&asked.profile);
        let profile = profile_of(&(self.read)(&beside)?, &beside)?;
        let mode = |mode: &crate::camera::Mode| json!({ "gain_setting": mode.gain_setting, "label": mode.label() });
        let modes: Vec<Value> = profile.modes.iter().map(mode).collect();
        Ok(json!({ "camera": profile.camera, "modes": modes, "profile": json_value(&profile) }))
    }
}

/// What a body of JSON holds.
pub(crate) fn body_of<T: DeserializeOwned>(body: &str) -> Result<T, Refusal> {
    let bad = |message: String| Refusal::new(400, "bad-request", message, "load the page again");
    check_depth(body).map_err(|error| bad(error.message))?;
    serde_json::from_str(body).map_err(|error| bad(error.to_string()))
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
