//! Which frames are alike: same camera mode, kind, exposure and temperature.

use std::cmp::Ordering;
use std::fmt;

use serde::{Serialize, Serializer};

use super::{FrameInfo, FrameKind};
use crate::units::{Celsius, Seconds};

/// Two exposures are the same if they differ by less than this share; headers round in the seventh digit.
pub const EXPOSURE_TOLERANCE: f64 = 1e-6;
/// Temperatures further apart than this, with none between, are different; a cooler this far off is not settled.
pub const TEMPERATURE_GAP_C: f64 = 2.0;
/// Flats are parted by temperature from this difference on.
const FLATS_APART_C: f64 = 4.0;
/// Set points further apart than this are different: drivers write -9.9 for -10.
const SET_POINT_GAP_C: f64 = 0.5;

/// What has to be equal for frames to be measured together: one camera, one way of reading it.
#[derive(Debug, Clone)]
pub struct ModeKey {
    /// The camera's name.
    pub camera: Option<String>,
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Horizontal and vertical binning.
    pub binning: [u32; 2],
    /// The driver's gain or ISO number.
    pub gain_setting: Option<f64>,
    /// The driver's offset.
    pub offset_setting: Option<f64>,
    /// The readout mode's name.
    pub readout_mode: Option<String>,
}

impl ModeKey {
    /// The mode that a frame was taken in.
    #[must_use]
    pub fn from_info(info: &FrameInfo) -> Self {
        Self {
            camera: info.camera.clone(),
            width: info.width,
            height: info.height,
            binning: info.binning,
            gain_setting: info.gain_setting,
            offset_setting: info.offset_setting,
            readout_mode: info.readout_mode.clone(),
        }
    }
}

impl ModeKey {
    /// In what it differs from another mode, in words: what it has, and what the other has.
    pub(crate) fn differences(&self, other: &Self) -> (String, String) {
        let number = |what: &str, value: Option<f64>| {
            value.map_or(format!("no {what} named"), |value| format!("{what} {value}"))
        };
        let parts = |key: &Self| {
            [
                number("gain", key.gain_setting),
                number("offset", key.offset_setting),
                key.readout_mode.clone().unwrap_or_else(|| "no readout mode named".into()),
                format!("binning {}x{}", key.binning[0], key.binning[1]),
                format!("{}x{} pixels", key.width, key.height),
                key.camera.clone().unwrap_or_else(|| "no camera named".into()),
            ]
        };
        let differ = parts(self).into_iter().zip(parts(other)).filter(|(own, other)| own != other);
        let (own, others): (Vec<String>, Vec<String>) = differ.unzip();
        (own.join(", "), others.join(", "))
    }
}

fn maybe(a: Option<f64>, b: Option<f64>) -> Ordering {
    match (a, b) {
        (Some(a), Some(b)) if a != b => a.total_cmp(&b),
        (Some(_), Some(_)) => Ordering::Equal,
        _ => a.is_some().cmp(&b.is_some()),
    }
}

impl Ord for ModeKey {
    fn cmp(&self, other: &Self) -> Ordering {
        (&self.camera, &self.readout_mode, self.binning, self.width, self.height)
            .cmp(&(&other.camera, &other.readout_mode, other.binning, other.width, other.height))
            .then_with(|| maybe(self.gain_setting, other.gain_setting))
            .then_with(|| maybe(self.offset_setting, other.offset_setting))
    }
}

impl PartialOrd for ModeKey {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for ModeKey {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for ModeKey {}

impl fmt::Display for ModeKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.camera.as_deref().unwrap_or("unnamed camera"))?;
        if let Some(gain) = self.gain_setting {
            write!(f, ", gain {gain}")?;
        }
        if let Some(offset) = self.offset_setting {
            write!(f, ", offset {offset}")?;
        }
        if let Some(mode) = &self.readout_mode {
            write!(f, ", {mode}")?;
        }
        if self.binning != [1, 1] {
            write!(f, ", binned {}x{}", self.binning[0], self.binning[1])?;
        }
        write!(f, ", {}x{}", self.width, self.height)
    }
}

/// Frames that are alike in mode, kind, filter, exposure and temperature, in the order they were taken.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// The camera mode.
    pub mode: ModeKey,
    /// What they were taken for.
    pub kind: FrameKind,
    /// Why they were judged so.
    pub why: String,
    /// How long the shutter was open.
    pub exposure: Seconds,
    /// The mean temperature of the sensor in these frames.
    pub sensor: Option<Celsius>,
    /// The temperature that stands for all groups of this mode that belong together: the set point, or the mean.
    pub temperature: Option<Celsius>,
    /// The frames: by time if all headers have one, else by name.
    pub frames: Vec<FrameInfo>,
}

#[derive(Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
struct GroupEntry<'a> {
    kind: FrameKind,
    why: &'a str,
    camera: Option<&'a str>,
    gain_setting: Option<f64>,
    offset_setting: Option<f64>,
    readout_mode: Option<&'a str>,
    binning: [u32; 2],
    width_px: usize,
    height_px: usize,
    exposure_s: f64,
    sensor_c: Option<f64>,
    count: usize,
    files: Vec<&'a str>,
}

#[cfg(feature = "schema")]
impl schemars::JsonSchema for Group {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Group".into()
    }

    fn json_schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
        GroupEntry::json_schema(generator)
    }
}

impl Serialize for Group {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        GroupEntry {
            kind: self.kind,
            why: &self.why,
            camera: self.mode.camera.as_deref(),
            gain_setting: self.mode.gain_setting,
            offset_setting: self.mode.offset_setting,
            readout_mode: self.mode.readout_mode.as_deref(),
            binning: self.mode.binning,
            width_px: self.mode.width,
            height_px: self.mode.height,
            exposure_s: self.exposure.0,
            sensor_c: self.sensor.map(|sensor| sensor.0),
            count: self.frames.len(),
            files: self.frames.iter().map(|frame| frame.file.as_str()).collect(),
        }
        .serialize(serializer)
    }
}

/// The groups that frames fall into, by mode, then kind, temperature, filter where light came in, and exposure.
#[must_use]
pub fn groups(frames: Vec<FrameInfo>) -> Vec<Group> {
    let mut by_mode: Vec<(ModeKey, FrameInfo)> =
        frames.into_iter().map(|info| (ModeKey::from_info(&info), info)).collect();
    by_mode.sort_by(|a, b| a.0.cmp(&b.0));
    by_mode.chunk_by(|a, b| a.0 == b.0).flat_map(|mode| groups_of_mode(&mode[0].0, mode)).collect()
}

fn groups_of_mode(mode: &ModeKey, frames: &[(ModeKey, FrameInfo)]) -> Vec<Group> {
    let infos: Vec<&FrameInfo> = frames.iter().map(|(_, info)| info).collect();
    let temperatures = flats_together(&infos, temperatures(&infos));
    let mut placed: Vec<(Option<f64>, &FrameInfo)> = temperatures.into_iter().zip(infos).collect();
    placed.sort_by(|(t, a), (u, b)| {
        let by_light = || light_filter(a).cmp(&light_filter(b));
        let by_exposure = || a.exposure.0.total_cmp(&b.exposure.0);
        a.kind.cmp(&b.kind).then_with(|| maybe(*t, *u)).then_with(by_light).then_with(by_exposure)
    });
    let alike = |(t, a): &(Option<f64>, &FrameInfo), (u, b): &(Option<f64>, &FrameInfo)| {
        a.kind == b.kind && t == u && light_filter(a) == light_filter(b) && same_exposure(a.exposure, b.exposure)
    };
    placed.chunk_by(alike).map(|run| group(mode, run)).collect()
}

/// The filter, where light passed it: behind another filter a flat of the same exposure has another level.
fn light_filter(info: &FrameInfo) -> Option<&str> {
    info.filter.as_deref().filter(|_| matches!(info.kind, FrameKind::Flat | FrameKind::Light))
}

fn group(mode: &ModeKey, run: &[(Option<f64>, &FrameInfo)]) -> Group {
    let (temperature, first) = run[0];
    let mut frames: Vec<FrameInfo> = run.iter().map(|(_, info)| (*info).clone()).collect();
    let timed = frames.iter().all(|frame| frame.taken.is_some());
    frames.sort_by(|a, b| {
        let by_time = if timed { a.taken.cmp(&b.taken) } else { Ordering::Equal };
        by_time.then_with(|| natural_order(&a.file, &b.file))
    });
    let known: Vec<f64> = frames.iter().filter_map(|frame| frame.sensor).map(|sensor| sensor.0).collect();
    let sensor = (!known.is_empty()).then(|| Celsius(known.iter().sum::<f64>() / known.len() as f64));
    Group {
        mode: mode.clone(),
        kind: first.kind,
        why: reasons(&frames),
        exposure: first.exposure,
        sensor,
        temperature: temperature.map(Celsius),
        frames,
    }
}

fn reasons(frames: &[FrameInfo]) -> String {
    let mut reasons: Vec<&str> = Vec::new();
    for frame in frames {
        if !reasons.contains(&frame.why.as_str()) {
            reasons.push(&frame.why);
        }
        // No more are told.
        if reasons.len() == 3 {
            break;
        }
    }
    match reasons.as_slice() {
        [first, _, _, ..] => format!("{first}; others likewise"),
        few => few.join("; "),
    }
}

/// Whether two exposures are the same but for rounding, see [`EXPOSURE_TOLERANCE`].
#[must_use]
pub fn same_exposure(a: Seconds, b: Seconds) -> bool {
    (a.0 - b.0).abs() <= EXPOSURE_TOLERANCE * a.0.max(b.0)
}

/// Whether the cooler had reached what it was set_point; `false` too if either is unknown.
#[must_use]
pub fn is_settled(info: &FrameInfo) -> bool {
    matches!((info.sensor, info.set_point), (Some(sensor), Some(set)) if (sensor.0 - set.0).abs() <= TEMPERATURE_GAP_C)
}

/// Flats of one exposure and filter stay together: their gain hardly knows the temperature, and a pair that is parted is
/// none. They are parted where the temperatures are as far apart as for darks, and each has two of them or more.
fn flats_together(infos: &[&FrameInfo], mut temperatures: Vec<Option<f64>>) -> Vec<Option<f64>> {
    let mut flats: Vec<usize> = (0..infos.len()).filter(|place| infos[*place].kind == FrameKind::Flat).collect();
    // Those of one filter and exposure lie side by side.
    flats.sort_by(|a, b| {
        let by_exposure = || infos[*a].exposure.0.total_cmp(&infos[*b].exposure.0);
        light_filter(infos[*a]).cmp(&light_filter(infos[*b])).then_with(by_exposure)
    });
    let alike = |a: usize, b: usize| {
        same_exposure(infos[a].exposure, infos[b].exposure) && light_filter(infos[a]) == light_filter(infos[b])
    };
    let before = temperatures.clone();
    let (mut start, mut end, mut together) = (0, 0, None);
    for (at, &own) in flats.iter().enumerate() {
        let was = (start, end);
        start += flats[start..at].iter().take_while(|other| !alike(**other, own)).count();
        end = end.max(at);
        end += flats[end..].iter().take_while(|other| alike(**other, own)).count();
        if (start, end) != was {
            // In the order in which they came, for the digits of their mean.
            let mut like = flats[start..end].to_vec();
            like.sort_unstable();
            together = one_temperature(&like.into_iter().map(|other| before[other]).collect::<Vec<_>>());
        }
        if let Some(celsius) = together {
            temperatures[own] = celsius;
        }
    }
    temperatures
}

/// The temperature that flats of one exposure have together; `None` where they are to be parted by theirs.
#[expect(clippy::option_option, reason = "they may have none together")]
fn one_temperature(like: &[Option<f64>]) -> Option<Option<f64>> {
    let known: Vec<f64> = like.iter().copied().flatten().collect();
    let far = known.iter().copied().fold(f64::NEG_INFINITY, f64::max)
        - known.iter().copied().fold(f64::INFINITY, f64::min)
        > FLATS_APART_C;
    let mut sorted = like.to_vec();
    sorted.sort_by(|a, b| maybe(*a, *b));
    let alone = sorted.chunk_by(|a, b| a == b).any(|part| part.len() < 2);
    let mean = || known[0] + known.iter().map(|c| c - known[0]).sum::<f64>() / known.len() as f64;
    (!far || alone).then(|| (!known.is_empty()).then(mean))
}

/// For each frame the temperature that stands for it and its like: settled frames by set point, others by gaps.
fn temperatures(infos: &[&FrameInfo]) -> Vec<Option<f64>> {
    let settled = |info: &&FrameInfo| info.set_point.filter(|_| is_settled(info)).map(|set| set.0);
    let by_set_point = means_of_clusters(infos.iter().filter_map(settled).collect(), SET_POINT_GAP_C);
    let measured = |info: &&FrameInfo| info.sensor.filter(|_| !is_settled(info)).map(|sensor| sensor.0);
    let by_gaps = means_of_clusters(infos.iter().filter_map(measured).collect(), TEMPERATURE_GAP_C);
    let place = |info: &&FrameInfo| {
        if let Some(set) = settled(info) {
            return nearest(&by_set_point, set);
        }
        let mean = nearest(&by_gaps, measured(info)?)?;
        // A frame whose header forgot the set point belongs to the frames that have one.
        let set_point = nearest(&by_set_point, mean).filter(|set| (set - mean).abs() <= TEMPERATURE_GAP_C);
        set_point.filter(|_| info.set_point.is_none()).or(Some(mean))
    };
    infos.iter().map(place).collect()
}

/// The means of runs of sorted values that have no gap wider than `gap` inside.
fn means_of_clusters(mut values: Vec<f64>, gap: f64) -> Vec<f64> {
    values.sort_by(f64::total_cmp);
    let mean = |run: &[f64]| run[0] + run.iter().map(|value| value - run[0]).sum::<f64>() / run.len() as f64;
    values.chunk_by(|a, b| b - a <= gap).map(mean).collect()
}

/// The cluster a value belongs to; gaps between clusters are wider than inside, so it is the nearest mean of a run.
fn nearest(means: &[f64], value: f64) -> Option<f64> {
    means.iter().copied().min_by(|a, b| (a - value).abs().total_cmp(&(b - value).abs()))
}

/// Order of names with their numbers counted, not spelt: `flat2` before `flat10`.
///
/// # Examples
/// ```
/// use subwell::frames::natural_order;
/// assert!(natural_order("flat2.fits", "flat10.fits").is_lt());
/// assert!(natural_order("a/b1", "a/b1").is_eq());
/// ```
#[must_use]
pub fn natural_order(a: &str, b: &str) -> Ordering {
    let (mut left, mut right) = (a.as_bytes(), b.as_bytes());
    loop {
        match (left.first(), right.first()) {
            (Some(x), Some(y)) if x.is_ascii_digit() && y.is_ascii_digit() => {
                let (m, rest_left) = leading_digits(left);
                let (n, rest_right) = leading_digits(right);
                let order = m.len().cmp(&n.len()).then_with(|| m.cmp(n));
                if order.is_ne() {
                    return order;
                }
                (left, right) = (rest_left, rest_right);
            }
            (Some(x), Some(y)) => {
                let order = x.to_ascii_lowercase().cmp(&y.to_ascii_lowercase());
                if order.is_ne() {
                    return order;
                }
                (left, right) = (&left[1..], &right[1..]);
            }
            // Alike but for case or leading zeros: plain order, so that equal means equal.
            (None, None) => return a.cmp(b),
            (x, y) => return x.is_some().cmp(&y.is_some()),
        }
    }
}

/// The digits at the start without leading zeros, and what follows.
fn leading_digits(text: &[u8]) -> (&[u8], &[u8]) {
    let end = text.iter().position(|byte| !byte.is_ascii_digit()).unwrap_or(text.len());
    let zeros = text[..end].iter().take_while(|byte| **byte == b'0').count();
    (&text[zeros..end], &text[end..])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_in_names_count() {
        let mut names = vec!["d10", "d9", "d010", "D1", "d", "e"];
        names.sort_by(|a, b| natural_order(a, b));
        assert_eq!(names, ["d", "D1", "d9", "d010", "d10", "e"]);
    }

    #[test]
    fn clusters_break_at_gaps_only() {
        assert_eq!(means_of_clusters(vec![1.0, 2.5, 4.0, 6.1], 2.0), [2.5, 6.1]);
        assert_eq!(means_of_clusters(vec![-10.0, -10.0], 0.5), [-10.0]);
    }
}
