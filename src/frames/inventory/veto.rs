//! Frames that cannot be what they are said to be, and what contradicts them.

use std::collections::BTreeMap;

use super::middles::{Choice, Peer, Peers};
use super::{Inventory, Judged};
use crate::caveat::{Caveat, Rejected};
use crate::frames::group::TEMPERATURE_GAP_C;
use crate::frames::{FrameKind, ModeKey, StripStatistics, same_exposure};
use crate::units::Seconds;

/// A frame this many times its like's pixel noise above their level is lit, not read.
const LIT_SIGMAS: f64 = 20.0;
/// A flat must stand at least this many times the pixel noise above the frames without light.
const UNLIT_SIGMAS: f64 = 0.1;
/// So many frames have to agree before one may be called odd.
const LEAST_PEERS: usize = 2;
/// A longer dark of the same temperature is brighter by no less than noise and a wandering level, in DN.
const WANDER_DN: f64 = 3.0;
/// A frame of whose pixels more than this share is 0, where others' are not, was not read out whole.
const EMPTY_SHARE: f64 = 0.9;
const NOT_EMPTY_SHARE: f64 = 0.5;
/// Bias frames are of two kinds where their noises part by this factor, and by so many times their scatter.
const TWO_NOISES: f64 = 1.12;
const TIMES_SCATTER: f64 = 5.0;
/// One frame alone is of another kind beside at least so many others, from this factor on and by so many times their scatter.
const OTHERS_OF_ONE: usize = 5;
const ONE_NOISE: f64 = 1.25;
const TIMES_SCATTER_OF_ONE: f64 = 4.0;

impl Inventory {
    pub(super) fn note_contradictions(&mut self, frames: &[Judged]) {
        let mut alike: BTreeMap<(String, String), Vec<&Judged>> = BTreeMap::new();
        for frame in frames {
            if let Some((other, words)) = &frame.contradicted {
                let said = format!("the {} says {}", frame.info.why, frame.info.kind);
                alike.entry((said, format!("the {words} says {other}"))).or_default().push(frame);
            }
        }
        for ((header, place), files) in alike {
            let first = &files[0].info.file;
            let about = if files.len() == 1 { first.clone() } else { format!("{first} and {} more", files.len() - 1) };
            let message = format!("{header}, {place}: the header was believed");
            let hint = "if the header is wrong, say so in sidecar.csv (columns file, kind) beside the frames";
            self.caveats.push(Caveat::new("conflicting-kind", message, hint).about(about));
        }
    }

    /// Even frames that their headers call lights, in a set without flats: a measurement leaves them out.
    pub(super) fn note_lights(&mut self, frames: &[Judged]) {
        let is = |kind: FrameKind| frames.iter().any(|frame| frame.info.kind == kind);
        if is(FrameKind::Flat) || !(is(FrameKind::Bias) || is(FrameKind::Dark)) {
            return;
        }
        let even = |frame: &&Judged| {
            frame.info.kind == FrameKind::Light
                && frame.strip_statistics.is_some_and(|strip_statistics| strip_statistics.is_even())
        };
        let lights: Vec<&Judged> = frames.iter().filter(even).collect();
        let Some(first) = lights.first() else { return };
        let message = format!(
            "there are no flats, but {} evenly lit frames that are said to be lights ({}): a measurement leaves lights out",
            lights.len(),
            first.info.why
        );
        let hint = "if they are flats, say so in sidecar.csv beside the frames (columns file, kind)";
        self.caveats.push(Caveat::new("lights-for-flats", message, hint).about(&first.info.file));
    }

    /// Leaves out frames whose pixels cannot be those of the kind they are said to be.
    pub(super) fn veto(&mut self, frames: Vec<Judged>) -> Vec<Judged> {
        let mut doubts = doubts(&frames);
        for (place, reason) in odd_biases(&frames) {
            doubts[place].get_or_insert(reason);
        }
        let mut kept = Vec::new();
        for (frame, doubt) in frames.into_iter().zip(doubts) {
            let Some(reason) = doubt else {
                kept.push(frame);
                continue;
            };
            let hint = "look at the frame; if it is right all the same, say its kind in sidecar.csv beside the frames";
            let file = frame.info.file;
            self.caveats.push(Caveat::new("conflicting-kind", format!("{reason}; it was left out"), hint).about(&file));
            self.rejected.push(Rejected { file, code: "conflicting-kind".into(), reason });
        }
        kept
    }

    /// Rows stored the other way round put each pixel's pattern on another pixel: the fewer are left out.
    pub(super) fn same_row_order(&mut self, frames: Vec<Judged>) -> Vec<Judged> {
        let mut counts: BTreeMap<&ModeKey, [usize; 2]> = BTreeMap::new();
        for (mode, order) in frames.iter().filter_map(|frame| Some((&frame.mode, frame.bottom_up?))) {
            counts.entry(mode).or_default()[usize::from(order)] += 1;
        }
        let odd = |frame: &Judged| {
            let order = frame.bottom_up?;
            let of_mode = counts.get(&frame.mode)?;
            let (same, other) = (of_mode[usize::from(order)], of_mode[usize::from(!order)]);
            (other > same || (other == same && order)).then_some(other)
        };
        let others: Vec<Option<usize>> = frames.iter().map(odd).collect();
        let mut kept = Vec::new();
        for (frame, others) in frames.into_iter().zip(others) {
            let Some(others) = others else {
                kept.push(frame);
                continue;
            };
            let reason =
                format!("its rows are stored upside down (ROWORDER) to those of {others} others of this camera");
            self.rejected.push(Rejected { file: frame.info.file, code: "row-order".into(), reason });
        }
        kept
    }
}

/// For each frame why its pixels cannot be those of the kind that it is said to be, if they cannot.
fn doubts(frames: &[Judged]) -> Vec<Option<String>> {
    let mut modes: BTreeMap<&ModeKey, Vec<(usize, Glance)>> = BTreeMap::new();
    for (place, frame) in frames.iter().enumerate() {
        let glance = frame.strip_statistics.map(|strip| (place, Glance { frame, strip }));
        modes.entry(&frame.mode).or_default().extend(glance);
    }
    let mut doubts: Vec<Option<String>> = frames.iter().map(|_| None).collect();
    for glances in modes.into_values() {
        let (places, glances): (Vec<usize>, Vec<Glance>) = glances.into_iter().unzip();
        for (place, doubt) in places.into_iter().zip(Mode::new(&glances).doubts()) {
            doubts[place] = doubt;
        }
    }
    doubts
}

fn is_dark(kind: FrameKind) -> bool {
    matches!(kind, FrameKind::Dark | FrameKind::DarkFlat)
}

/// A frame at whose pixels somebody looked.
#[derive(Clone, Copy)]
struct Glance<'a> {
    frame: &'a Judged,
    strip: StripStatistics,
}

impl Glance<'_> {
    fn kind(&self) -> FrameKind {
        self.frame.info.kind
    }

    fn exposure(&self) -> f64 {
        self.frame.info.exposure.0
    }

    fn sensor(&self) -> Option<f64> {
        self.frame.info.sensor.map(|sensor| sensor.0)
    }

    fn said(&self) -> String {
        format!("it is said to be a {} ({})", self.kind(), self.frame.info.why)
    }

    /// Whether a dark is brighter than longer ones, whose level and noise these are.
    fn brighter_than_longer(&self, (level, noise): (f64, f64)) -> Option<String> {
        let (own, mean) = (self.exposure(), self.strip.mean.0);
        (mean - level > LIT_SIGMAS * noise + WANDER_DN).then(|| {
            let said = self.said();
            format!(
                "{said}, but after {own} s it is at {mean:.1} DN, longer ones at {level:.1} DN: it has seen light, as a flat \
                 has"
            )
        })
    }

    /// The longest of all: against what shorter ones gather in its time, and a level that wanders as much.
    fn brighter_than_its_time(&self, bias: f64, (level, noise): (f64, f64), time: f64) -> Option<String> {
        let (own, mean) = (self.exposure(), self.strip.mean.0);
        let most = bias + ((level - bias).max(0.0) + WANDER_DN) * own / time.max(1e-6);
        (mean - most > LIT_SIGMAS * noise && mean - bias > 3.0 * (level - bias)).then(|| {
            let said = self.said();
            format!(
                "{said}, but after {own} s it is at {mean:.1} DN, where shorter ones promise at most {most:.1} DN: it has \
                 seen light, as a flat has"
            )
        })
    }

    fn lit(&self, (level, noise): (f64, f64)) -> Option<String> {
        (self.strip.mean.0 - level > LIT_SIGMAS * noise).then(|| {
            let (said, mean) = (self.said(), self.strip.mean.0);
            let how = if self.strip.is_even() { "evenly lit, as a flat is" } else { "far brighter than they" };
            format!("{said}, but at {mean:.1} DN against {level:.1} DN of its like it is {how}")
        })
    }

    fn unlit(&self, (level, noise): (f64, f64)) -> Option<String> {
        (self.strip.mean.0 - level < UNLIT_SIGMAS * noise).then(|| {
            let (said, mean) = (self.said(), self.strip.mean.0);
            format!("{said}, but at {mean:.1} DN is as dark as the frames without light")
        })
    }
}

/// Some of the frames of a mode, to be asked for the middle of choices of them.
struct Pool<'a> {
    frames: Vec<&'a Glance<'a>>,
    peers: Peers,
    /// Below half the mode's step noise does not show.
    least_noise: f64,
}

impl<'a> Pool<'a> {
    /// Level, noise or exposure of a frame.
    const LEVEL: fn(&Glance) -> f64 = |glance| glance.strip.mean.0;
    const NOISE: fn(&Glance) -> f64 = |glance| glance.strip.noise.0;
    const TIME: fn(&Glance) -> f64 = |glance| glance.exposure();

    fn new(frames: Vec<&'a Glance<'a>>, exposure: impl Fn(&Glance) -> f64, least_noise: f64) -> Self {
        let peer = |glance: &&Glance| Peer { exposure: exposure(glance), sensor: glance.sensor() };
        let peers = Peers::new(&frames.iter().map(peer).collect::<Vec<_>>());
        Self { frames, peers, least_noise }
    }

    /// The lower of the two middles of each choice, without the frame that asks where it is one of those chosen: one bright
    /// frame of two must not set the level. `None` where too few are left.
    fn middles(&self, asked: &[(Choice, Option<&Glance>)], value: fn(&Glance) -> f64) -> Vec<Option<f64>> {
        let choices: Vec<Choice> = asked.iter().map(|(choice, _)| choice.clone()).collect();
        let counts = self.peers.counts(&choices);
        let others = counts.iter().zip(asked).map(|(count, (_, own))| count - usize::from(own.is_some()));
        let ranks: Vec<Option<usize>> =
            others.map(|others| (others >= LEAST_PEERS).then(|| (others - 1) / 2)).collect();
        let both = choices.into_iter().zip(&ranks).flat_map(|(choice, rank)| {
            let rank = rank.unwrap_or(usize::MAX - 1);
            [(choice.clone(), rank), (choice, rank + 1)]
        });
        let values: Vec<f64> = self.frames.iter().map(|glance| value(glance)).collect();
        let ranked = self.peers.ranked(&values, &both.collect::<Vec<_>>());
        let pick = |(pair, (_, own)): (&[Option<f64>], &(Choice, Option<&Glance>))| match own {
            // Without its own value what comes after that moves down by one place.
            Some(own) => {
                pair[0].filter(|at| at.total_cmp(&value(own)).is_lt()).or(pair[1]).filter(|_| pair[0].is_some())
            }
            None => pair[0],
        };
        ranked.chunks(2).zip(asked).map(pick).collect()
    }

    /// The middle level and noise of each choice.
    fn usual(&self, asked: &[(Choice, Option<&Glance>)]) -> Vec<Option<(f64, f64)>> {
        let noises = self.middles(asked, Self::NOISE).into_iter().map(|noise| noise.map(|n| n.max(self.least_noise)));
        self.middles(asked, Self::LEVEL).into_iter().zip(noises).map(|(level, noise)| level.zip(noise)).collect()
    }

    fn everything(&self) -> Choice {
        self.peers.choice([&|_| false; 2], [&|_| false; 2])
    }
}

/// The frames of one mode.
struct Mode<'a> {
    glances: &'a [Glance<'a>],
    least_noise: f64,
}

impl<'a> Mode<'a> {
    fn new(glances: &'a [Glance<'a>]) -> Self {
        // A frame of one code does not show its step: that of its mode.
        Self { glances, least_noise: 0.5 * glances.iter().map(|glance| glance.strip.step.0).fold(1.0, f64::max) }
    }

    fn pool(&self, of: impl Fn(&Glance) -> bool) -> Pool<'a> {
        Pool::new(self.glances.iter().filter(|glance| of(glance)).collect(), Pool::TIME, self.least_noise)
    }

    fn doubts(&self) -> Vec<Option<String>> {
        let mut doubts = self.empty();
        let bias = self.pool(|glance| glance.kind() == FrameKind::Bias);
        let bias = bias.usual(&[(bias.everything(), None)])[0];
        let mut round = |of: &dyn Fn(FrameKind) -> bool, judge: &dyn Fn(&[&Glance]) -> Vec<Option<String>>| {
            let judged = |place: &usize| {
                let glance = &self.glances[*place];
                of(glance.kind()) && !glance.frame.certain && doubts[*place].is_none()
            };
            let places: Vec<usize> = (0..self.glances.len()).filter(judged).collect();
            let asking: Vec<&Glance> = places.iter().map(|place| &self.glances[*place]).collect();
            for (place, doubt) in places.iter().zip(judge(&asking)) {
                doubts[*place] = doubt;
            }
        };
        round(&|kind| kind == FrameKind::Flat, &|flats| self.unlit(flats, bias));
        round(&|kind| kind == FrameKind::Bias || is_dark(kind), &|unlit| self.lit(unlit));
        round(&is_dark, &|darks| self.too_bright(darks, bias));
        doubts
    }

    /// Nothing but 0, where others of its kind have a level.
    fn empty(&self) -> Vec<Option<String>> {
        let mut shares: BTreeMap<FrameKind, Vec<f64>> = BTreeMap::new();
        for glance in self.glances {
            shares.entry(glance.kind()).or_default().push(glance.strip.zero_share);
        }
        shares.values_mut().for_each(|shares| shares.sort_by(f64::total_cmp));
        let doubt = |glance: &Glance| {
            let (own, like) = (glance.strip.zero_share, shares.get(&glance.kind())?);
            // The upper of the two middles of the others.
            let at = (like.len() - 1) / 2;
            let usual = if like[at].total_cmp(&own).is_lt() { like[at] } else { *like.get(at + 1)? };
            let judged = glance.kind() != FrameKind::Light && !glance.frame.certain;
            (judged && own > EMPTY_SHARE && usual < NOT_EMPTY_SHARE).then(|| {
                let (share, kind) = (100.0 * own, glance.kind());
                format!("{share:.0} % of its pixels are 0, where other {kind} frames have a level: it was not read out")
            })
        };
        self.glances.iter().map(doubt).collect()
    }

    /// Flats as dark as the bias frames; where those are few, as the darks that are no longer than they.
    fn unlit(&self, flats: &[&Glance], bias: Usual) -> Vec<Option<String>> {
        if let Some(usual) = bias {
            return flats.iter().map(|flat| flat.unlit(usual)).collect();
        }
        // Darks that gather charge for longer than the flat are brighter than it.
        let unlit = self.glances.iter().filter(|glance| is_dark(glance.kind()) || glance.kind() == FrameKind::Bias);
        let time = |glance: &Glance| if is_dark(glance.kind()) { glance.exposure() } else { f64::NEG_INFINITY };
        let pool = Pool::new(unlit.collect(), time, self.least_noise);
        let up_to = |flat: &&Glance| {
            let most = flat.exposure().max(1.0);
            (pool.peers.choice([&|_| false, &|time| time > most], [&|_| false; 2]), None)
        };
        let usual = pool.usual(&flats.iter().map(up_to).collect::<Vec<_>>());
        flats.iter().zip(usual).map(|(flat, usual)| flat.unlit(usual?)).collect()
    }

    /// Frames far above those of their kind, time and temperature.
    fn lit(&self, unlit: &[&Glance]) -> Vec<Option<String>> {
        let mut doubts: Vec<Option<String>> = unlit.iter().map(|_| None).collect();
        for kind in [FrameKind::Bias, FrameKind::Dark, FrameKind::DarkFlat] {
            let pool = self.pool(|glance| glance.kind() == kind);
            let like = |glance: &Glance| {
                let (own, sensor) = (glance.exposure(), glance.sensor());
                let other = |time: f64| !same_exposure(Seconds(time), Seconds(own));
                // A bias frame has no time, whatever its header says of it.
                let timed = kind != FrameKind::Bias;
                let apart = |celsius: f64| sensor.is_some_and(|own| (celsius - own).abs() > TEMPERATURE_GAP_C);
                // Darks of a warmer sensor are brighter, and right.
                let (cold, warm) = (
                    |celsius: f64| apart(celsius) && sensor.is_some_and(|own| celsius < own),
                    |celsius: f64| apart(celsius) && sensor.is_some_and(|own| celsius > own),
                );
                let (short, long) =
                    (|time: f64| timed && other(time) && time < own, |time: f64| timed && other(time) && time > own);
                pool.peers.choice([&short, &long], [&cold, &warm])
            };
            let places: Vec<usize> = (0..unlit.len()).filter(|place| unlit[*place].kind() == kind).collect();
            let asked = places.iter().map(|place| (like(unlit[*place]), Some(unlit[*place])));
            let asked: Vec<(Choice, Option<&Glance>)> = asked.collect();
            for (place, usual) in places.into_iter().zip(pool.usual(&asked)) {
                doubts[place] = usual.and_then(|usual| unlit[place].lit(usual));
            }
        }
        doubts
    }

    /// Darks that are brighter than longer ones, or than their time allows.
    fn too_bright(&self, darks: &[&Glance], bias: Usual) -> Vec<Option<String>> {
        let pool = self.pool(|glance| is_dark(glance.kind()));
        let not_colder = |dark: &Glance, [short, long]: [&dyn Fn(f64) -> bool; 2]| {
            let sensor = dark.sensor();
            let colder = |celsius: f64| sensor.is_some_and(|own| celsius < own - TEMPERATURE_GAP_C);
            (pool.peers.choice([short, long], [&colder, &|_| false]), None)
        };
        let longer = |dark: &&Glance| {
            let own = dark.exposure();
            not_colder(dark, [&|time| time <= 1.5 * own, &|_| false])
        };
        let of_longer = pool.usual(&darks.iter().map(longer).collect::<Vec<_>>());
        let shorter = |dark: &&Glance| {
            let own = dark.exposure();
            not_colder(dark, [&|_| false, &|time| time >= own / 1.5])
        };
        let longest: Vec<&Glance> =
            darks.iter().zip(&of_longer).filter(|(_, usual)| usual.is_none()).map(|(dark, _)| *dark).collect();
        let asked: Vec<(Choice, Option<&Glance>)> = longest.iter().map(shorter).collect();
        let times = pool.middles(&asked, Pool::TIME);
        let mut of_shorter = pool.usual(&asked).into_iter().zip(times);
        let doubt = |(dark, usual): (&&Glance, Option<(f64, f64)>)| match usual {
            Some(usual) => dark.brighter_than_longer(usual),
            None => {
                let (usual, time) = of_shorter.next()?;
                dark.brighter_than_its_time(bias?.0, usual?, time?)
            }
        };
        darks.iter().zip(of_longer).map(doubt).collect()
    }
}

/// Middle level and noise of frames, if they are enough.
type Usual = Option<(f64, f64)>;

/// Bias frames of a mode whose noise is that of another gain: the places of the fewer, and why.
fn odd_biases(frames: &[Judged]) -> Vec<(usize, String)> {
    let mut modes: BTreeMap<&ModeKey, Vec<(StripStatistics, usize)>> = BTreeMap::new();
    for (place, frame) in frames.iter().enumerate().filter(|(_, frame)| frame.info.kind == FrameKind::Bias) {
        let strip = frame.strip_statistics.filter(|_| !frame.certain);
        modes.entry(&frame.mode).or_default().extend(strip.map(|strip| (strip, place)));
    }
    let mut odd = Vec::new();
    for strips in modes.into_values() {
        // A frame of one code does not show its step: that of its like.
        let step = strips.iter().map(|(strip, _)| strip.step.0).fold(1.0, f64::max);
        let noise = |strip: &StripStatistics| strip.sigma.0.max(0.5 * step);
        let mut noises: Vec<(f64, usize)> = strips.iter().map(|(strip, place)| (noise(strip), *place)).collect();
        noises.sort_by(|a, b| a.0.total_cmp(&b.0));
        let Some(split) = two_kinds(&noises.iter().map(|(noise, _)| *noise).collect::<Vec<_>>()) else { continue };
        let (quiet, loud) = noises.split_at(split);
        let middle = |part: &[(f64, usize)]| part[part.len() / 2].0;
        let (fewer, more) = if loud.len() > quiet.len() { (quiet, loud) } else { (loud, quiet) };
        let reason = format!(
            "its noise is {:.1} DN, that of {} other bias frames {:.1} DN: a dark, or of another gain setting that no header states?",
            middle(fewer),
            more.len(),
            middle(more)
        );
        odd.extend(fewer.iter().map(|(_, place)| (*place, reason.clone())));
    }
    odd
}

/// Where rising noises part into two kinds; `None` where they are of one.
fn two_kinds(noises: &[f64]) -> Option<usize> {
    let gap = |split: usize| (noises[split] / noises[split - 1]).ln();
    let split = (1..noises.len()).max_by(|a, b| gap(*a).total_cmp(&gap(*b)))?;
    let width = |part: &[f64]| (part[part.len() - 1] / part[0]).ln();
    let (low, high) = noises.split_at(split);
    let scatter = width(low).max(width(high));
    let fewer = low.len().min(high.len());
    let (factor, times) = match fewer {
        1 if noises.len() <= OTHERS_OF_ONE => return None,
        1 => (ONE_NOISE, TIMES_SCATTER_OF_ONE),
        _ => (TWO_NOISES, TIMES_SCATTER / 3.0),
    };
    (gap(split) > factor.ln() && gap(split) > times * scatter).then_some(split)
}
