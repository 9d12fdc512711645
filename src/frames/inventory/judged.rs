//! One frame with its kind, and what is needed to doubt it: sidecar before header, header before names.

use super::Seen;
use crate::caveat::Rejected;
use crate::frames::group::TEMPERATURE_GAP_C;
use crate::frames::header::{Header, not_raw};
use crate::frames::stated::{LOSS, Stated, stated};
use crate::frames::{FrameInfo, FrameKind, ModeKey, Override, StripStatistics, kind, names, shutter};
use crate::units::{Celsius, Dn, Micrometres, Seconds};

/// Names round: what differs by less than this share says nothing.
const OTHER_TIME: f64 = 0.15;

/// A frame with its kind, and what is needed to doubt it.
pub(super) struct Judged {
    pub(super) info: FrameInfo,
    pub(super) mode: ModeKey,
    pub(super) strip_statistics: Option<StripStatistics>,
    pub(super) contradicted: Option<(FrameKind, String)>,
    pub(super) bottom_up: Option<bool>,
    pub(super) assumed_settled: bool,
    pub(super) certain: bool,
    /// Whether a header named the kind.
    pub(super) kind_in_header: bool,
    /// Whether the exposure is a round name from a camera's dial.
    pub(super) named_time: bool,
    pub(super) raw_file: bool,
    pub(super) body_temperature: bool,
    /// Whether the temperature stands in the name only.
    pub(super) named_temperature: bool,
    pub(super) stated: Vec<Stated>,
    /// The level of the masked border.
    pub(super) masked: Option<Dn>,
    /// The temperature of the air.
    pub(super) ambient: Option<Celsius>,
    /// What a camera raw file states of its black and white level.
    pub(super) stated_levels: [Option<Dn>; 2],
    /// Whether the size of the pixel is a rough one.
    pub(super) rough_pixel: bool,
    /// A fraction of a second without a unit in the name, taken for the exposure.
    pub(super) dial_time: bool,
    /// A flat of which nothing says how long it was exposed: it has 0 s.
    pub(super) timeless: bool,
    /// Whether the header alone gives the exposure.
    pub(super) header_time: bool,
    /// Whether a folder around that of its kind gives the exposure.
    pub(super) outer_time: bool,
    /// What the name states beside another value in the header: gain setting, seconds, °C.
    pub(super) other_gain: Option<f64>,
    pub(super) other_time: Option<Seconds>,
    pub(super) other_sensor: Option<Celsius>,
    /// How the compression of a camera raw file may lose counts.
    pub(super) loses: Option<String>,
}

/// How long a frame was exposed, and who says so.
struct Time {
    seconds: Seconds,
    /// A name of the camera's dial, of which the rung behind it is not known yet.
    named: bool,
    without_unit: bool,
    unknown: bool,
    by_header: bool,
    /// A folder around that of the frame's kind says it.
    outside: bool,
}

/// What is known of a frame that lies in a folder named `root`.
pub(super) fn judged(seen: &Seen, row: Option<&Override>, root: &str) -> Result<Judged, Rejected> {
    let reject = |code: &str, reason: String| Rejected { file: seen.file.clone(), code: code.into(), reason };
    if let Some(reason) = not_raw(&seen.cards) {
        return Err(reject("not-raw", reason));
    }
    if kind::names_a_master(&seen.file) {
        return Err(reject("not-raw", "its name says that it is a master or a stack".into()));
    }
    let header = Header::from_cards(&seen.cards);
    // The folder asked about is the outermost of those that speak.
    let place = format!("{root}/{}", seen.file);
    let told = row.and_then(|row| row.kind);
    let by_sidecar = |kind| kind::Judgement { kind, why: "sidecar.csv".into(), contradicted: None };
    let judgement = (told.map(by_sidecar))
        .or_else(|| kind::judgement(header.kind.as_ref(), &seen.file, root))
        .ok_or_else(|| reject("unknown-kind", "neither header, folder nor name says what it was taken for".into()))?;
    let by_place = header.kind.is_none() && told.is_none();
    let time = time(&header, row, &place, (judgement.kind, by_place))
        .ok_or_else(|| reject("no-exposure", no_time(&header)))?;
    let read = row.and_then(|row| row.sensor).or(header.sensor);
    let named = names::temperature(&place).filter(|_| read.is_none() && header.set_point.is_none());
    let sensor = read.or(named);
    let named_gain = names::gain_setting(&place);
    let told_gain = row.and_then(|row| row.gain_setting);
    let binning = header.binning.unwrap_or([1, 1]);
    let binned = |side: Micrometres| Micrometres(side.0 * f64::from(binning[0]));
    let info = FrameInfo {
        file: seen.file.clone(),
        kind: judgement.kind,
        why: judgement.why,
        camera: header.camera,
        width: seen.width,
        height: seen.height,
        gain_setting: told_gain.or(header.gain_setting).or(named_gain),
        offset_setting: header.offset_setting,
        readout_mode: header.readout_mode,
        binning,
        pixel: row.and_then(|row| row.pixel).map(binned).or(header.pixel),
        exposure: time.seconds,
        sensor: sensor.or(header.set_point),
        set_point: header.set_point,
        cfa: header.cfa,
        taken: header.taken,
        filter: header.filter,
    };
    let in_header = header.gain_setting.filter(|_| told_gain.is_none());
    let own_time = header.exposure.filter(|_| row.is_none_or(|row| row.exposure.is_none()));
    let own_sensor = header.sensor.or(header.set_point).filter(|_| row.is_none_or(|row| row.sensor.is_none()));
    let far = |named: &Seconds| own_time.is_some_and(|own| (own.0 / named.0 - 1.0).abs() > OTHER_TIME);
    let elsewhere = |named: &Celsius| own_sensor.is_some_and(|own| (own.0 - named.0).abs() > TEMPERATURE_GAP_C);
    Ok(Judged {
        mode: ModeKey::from_info(&info),
        strip_statistics: seen.strip_statistics,
        contradicted: judgement.contradicted,
        bottom_up: header.bottom_up,
        assumed_settled: sensor.is_none() && header.set_point.is_some(),
        certain: told.is_some(),
        kind_in_header: header.kind.is_some(),
        named_time: time.named,
        raw_file: header.raw_file,
        body_temperature: header.body_temperature && row.and_then(|row| row.sensor).is_none(),
        named_temperature: named.is_some(),
        stated: stated(&seen.cards, &ModeKey::from_info(&info)),
        masked: header.masked,
        ambient: header.ambient,
        stated_levels: [header.stated_black, header.stated_white],
        rough_pixel: header.pixel_is_rough && row.and_then(|row| row.pixel).is_none(),
        dial_time: time.without_unit,
        timeless: time.unknown,
        header_time: time.by_header,
        outer_time: time.outside,
        other_gain: named_gain.filter(|named| in_header.is_some_and(|gain| gain != *named)),
        // The name of a bias frame may give the time of the darks beside it.
        other_time: names::exposure(&seen.file).filter(far).filter(|_| judgement.kind != FrameKind::Bias),
        other_sensor: names::temperature(&seen.file).filter(elsewhere),
        loses: seen.cards.text(&[LOSS]).map(str::to_owned),
        info,
    })
}

/// Why a frame has no exposure.
fn no_time(header: &Header) -> String {
    let said = match header.exposure {
        Some(_) => "its header says 0 s, and nothing else",
        None => "neither header nor name",
    };
    format!("{said} says how long it was exposed")
}

fn time(header: &Header, row: Option<&Override>, place: &str, (kind, by_place): (FrameKind, bool)) -> Option<Time> {
    let known = |seconds: Seconds| Time {
        seconds,
        named: false,
        without_unit: false,
        unknown: false,
        by_header: false,
        outside: false,
    };
    // Only a bias frame is exposed for no time; elsewhere 0 is how some write that they do not know.
    let said = header.exposure.filter(|seconds| seconds.0 > 0.0 || kind == FrameKind::Bias);
    let by_row = || row.and_then(|row| row.exposure).map(known);
    let by_apex = || shutter::time_by_apex(said?, header.shutter_apex).map(known);
    let by_header = || said.map(|seconds| Time { named: header.dial, by_header: true, ..known(seconds) });
    let inner = if by_place { within_its_kind(place, kind) } else { place };
    let by_name = || names::exposure(inner).map(|seconds| Time { named: header.dial, ..known(seconds) });
    let by_dial =
        || names::dial_time(place).map(|seconds| Time { named: header.dial, without_unit: true, ..known(seconds) });
    let without = || match kind {
        FrameKind::Bias => Some(known(Seconds(0.0))),
        FrameKind::Flat => Some(Time { unknown: true, ..known(Seconds(0.0)) }),
        // A folder around several kinds has the length of the subs, and darks are as long as they.
        FrameKind::Dark | FrameKind::Light => {
            names::exposure(place).map(|seconds| Time { named: header.dial, outside: true, ..known(seconds) })
        }
        FrameKind::DarkFlat => None,
    };
    by_row().or_else(by_apex).or_else(by_header).or_else(by_name).or_else(by_dial).or_else(without)
}

/// The place from the innermost folder on that names the kind; the file's own name where none does.
fn within_its_kind(place: &str, kind: FrameKind) -> &str {
    let ends: Vec<usize> = place.match_indices('/').map(|(at, _)| at).collect();
    let starts = std::iter::once(0).chain(ends.iter().map(|at| at + 1));
    let folders: Vec<(usize, &str)> = starts.zip(&ends).map(|(start, end)| (start, &place[start..*end])).collect();
    let named = folders.iter().rev().find(|(_, folder)| kind::in_words(folder) == Some(kind));
    &place[named.map_or(ends.last().map_or(0, |end| end + 1), |(start, _)| *start)..]
}
