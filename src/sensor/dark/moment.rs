//! Which moment of its exposure a header's temperature is of, and what the sensor had in the middle.

use crate::stats::{over_their_sum, polynomial_fit};
use crate::units::Celsius;

use super::current::DarkFrame;
use super::warmth::PER_KELVIN;

/// Moments that are looked at, as shares of the exposure.
const MOMENTS: usize = 21;
/// Courses of the temperature are polynomials up to this degree, of at least this many frames for each term.
const HIGHEST: usize = 5;
const FRAMES_FOR_EACH: usize = 2;
/// The chance beforehand that the temperature follows the number of frames, as where reading them heats: it then moves between
/// exposures alone. Frames that last equally long cannot tell that from a course in time, so it counts little.
const BY_NUMBER: f64 = 0.1;
/// The chance beforehand that the course of the temperature breaks between darks that are told at different ones (judgement, no
/// source).
const BREAK: f64 = 0.01;
/// Headers tell tenths of a kelvin: what rounding leaves.
const ROUNDING: f64 = 0.03;
/// Frames that follow each other within this many exposures are of one run.
const SAME_RUN: f64 = 3.0;
/// Clocks of headers are whole seconds.
const CLOCK_S: f64 = 1.0;

/// Darks with the temperatures that they had in the middle of their exposures.
#[derive(Debug, Clone)]
pub(super) struct Darks {
    pub(super) frames: Vec<DarkFrame>,
    /// Standard uncertainty of a rate, as a share of it, by the moment that is not known.
    pub(super) unread: f64,
}

/// The frames with the temperatures in the middle of their exposures, where headers tell those of an unknown moment of it;
/// `others` are darks of the same camera that were told at other temperatures.
///
/// ```text
/// Tᵢ = f(sᵢ + φ tᵢ) + eᵢ,    0 ≤ φ ≤ 1 alike for all,    Tᵢ(middle) = Tᵢ + f(sᵢ + tᵢ/2) − f(sᵢ + φ tᵢ)
/// p(φ) ∝ Π Σ_d (S_d/n + s²)^(−n/2) n^(−(d+1)/2),    u = 0.12/K · σ(Σ tᵢ (Tᵢ(middle) − Tᵢ) / Σ tᵢ)
/// ```
///
/// `s` is the beginning of an exposure of `t`, `f` a polynomial of degree `d` over each run of frames, `S_d` its residual squares, `s²` that
/// of rounding. The sum has one more member, `f` of the frame's number, where an exposure has one temperature. What moves is smooth: where long and short exposures are mixed, readings put at another moment
/// than they were taken zigzag about it, and `φ` is known from that. Where all last equally long, any `φ` fits, and `u` is that
/// of a rectangle, half an exposure to either side.
///
/// While a cooler settles few frames are of one temperature, and what moved is seen in all of them together: a run goes over all
/// temperatures, or each has its own, as where another one was set; both are weighed.
///
/// # Source
/// The weight of a degree: G. Schwarz, Annals of Statistics 6 (1978) 461 (from memory). The rest is derived here.
pub(super) fn at_middle(mut frames: Vec<DarkFrame>, others: &[Vec<DarkFrame>]) -> Darks {
    let own: Vec<Read> = read(&frames, 0).collect();
    let stages: Vec<Vec<Read>> = std::iter::once(own.clone())
        .chain(others.iter().map(|stage| read(stage, frames.len()).collect()))
        .filter(|stage: &Vec<Read>| !stage.is_empty())
        .collect();
    let mut together = stages.concat();
    together.sort_by(|a, b| a.start.total_cmp(&b.start));
    let late = stamped(&together);
    let joined = runs(together, late);
    let apart: Vec<Run> = stages.iter().flat_map(|stage| runs(stage.clone(), late)).collect();
    let breaks = apart.len() - joined.len();
    let mut courses = vec![(0.0, joined)];
    if breaks > 0 {
        courses.push((breaks as f64 * BREAK.ln(), apart));
    }
    let in_time = (0..MOMENTS).map(|number| Some(number as f64 / (MOMENTS as f64 - 1.0)));
    let of_all = |(ln_prior, runs): &(f64, Vec<Run>), moment: Option<f64>| {
        let prior = moment.map_or(BY_NUMBER, |_| (1.0 - BY_NUMBER) / MOMENTS as f64);
        // Of frames of other temperatures only the weight counts.
        let mut shifts = vec![0.0; frames.len()];
        let mut ln_weight = prior.ln() + ln_prior;
        for run in runs {
            let (ln_of_run, of_run) = run.read_at(moment);
            ln_weight += ln_of_run;
            for (one, shift) in run.frames.iter().zip(of_run).filter(|(one, _)| one.place < frames.len()) {
                shifts[one.place] = shift;
            }
        }
        (ln_weight, shifts)
    };
    let (ln_weights, moments): (Vec<f64>, Vec<Vec<f64>>) = in_time
        .chain([None])
        .flat_map(|moment| courses.iter().map(move |course| (course, moment)))
        .map(|(course, moment)| of_all(course, moment))
        .unzip();
    let (weights, _) = over_their_sum(&ln_weights);
    let weighed = |of: &dyn Fn(&[f64]) -> f64| -> f64 {
        weights.iter().zip(&moments).map(|(weight, shifts)| weight * of(shifts)).sum()
    };
    let exposed: f64 = own.iter().map(|one| one.exposure).sum::<f64>().max(f64::MIN_POSITIVE);
    let mean = |shifts: &[f64]| own.iter().map(|one| one.exposure * shifts[one.place]).sum::<f64>() / exposed;
    let middle = weighed(&mean);
    let unread = PER_KELVIN.mean * weighed(&|shifts| (mean(shifts) - middle).powi(2)).sqrt();
    for one in &own {
        let shift = weighed(&|shifts| shifts[one.place]);
        frames[one.place].temperature = frames[one.place].temperature.map(|celsius| Celsius(celsius.0 + shift));
    }
    Darks { frames, unread }
}

/// A frame whose header tells time and temperature.
#[derive(Debug, Clone, Copy)]
struct Read {
    place: usize,
    /// Beginning of the exposure, and its length, in seconds.
    start: f64,
    exposure: f64,
    celsius: f64,
}

/// Frames that were taken one after the other.
struct Run {
    frames: Vec<Read>,
}

/// The frames whose headers tell both, their places counted from `first`.
fn read(frames: &[DarkFrame], first: usize) -> impl Iterator<Item = Read> {
    frames.iter().enumerate().filter_map(move |(place, frame)| {
        let (start, celsius) = (frame.taken?, frame.temperature?.0);
        Some(Read { place: first + place, start, exposure: frame.exposure.0, celsius })
    })
}

/// Frames in the order of time, in runs; stamps are so late in their exposures.
fn runs(mut read: Vec<Read>, late: f64) -> Vec<Run> {
    read.sort_by(|a, b| a.start.total_cmp(&b.start));
    let longest = read.iter().map(|one| one.exposure).fold(0.0, f64::max);
    let apart = |a: &Read, b: &Read| b.start - a.start > SAME_RUN * longest.max(CLOCK_S);
    let of = |run: &[Read]| Run {
        frames: run.iter().map(|one| Read { start: one.start - late * one.exposure, ..*one }).collect(),
    };
    read.chunk_by(|a, b| !apart(a, b)).map(of).collect()
}

/// Which share of its exposure a frame's stamp lies behind its beginning: 0, unless the frames would then overlap.
fn stamped(read: &[Read]) -> f64 {
    let follow = |late: &f64| {
        let ends = |pair: &[Read]| pair[0].start + (1.0 - late) * pair[0].exposure;
        let begins = |pair: &[Read]| pair[1].start - late * pair[1].exposure;
        read.windows(2).all(|pair| ends(pair) <= begins(pair) + CLOCK_S)
    };
    [0.0, 1.0, 0.5].into_iter().find(follow).unwrap_or(0.0)
}

impl Run {
    /// Logarithm of the weight of readings at this share of the exposures, and the kelvins from them to the middles; `None`
    /// is the course by the number of the frame.
    fn read_at(&self, share: Option<f64>) -> (f64, Vec<f64>) {
        let count = self.frames.len();
        let (first, last) = (self.frames[0].start, self.frames[count - 1].start + self.frames[count - 1].exposure);
        let along = |at: f64, from: f64, to: f64| 2.0 * (at - from) / (to - from).max(f64::MIN_POSITIVE) - 1.0;
        let moment = |share: f64| -> Vec<f64> {
            self.frames.iter().map(|one| along(one.start + share * one.exposure, first, last)).collect()
        };
        let numbers =
            || -> Vec<f64> { (0..count).map(|number| along(number as f64, 0.0, count as f64 - 1.0)).collect() };
        let (read, middle) = share.map_or_else(|| (numbers(), numbers()), |share| (moment(share), moment(0.5)));
        let celsius: Vec<f64> = self.frames.iter().map(|one| one.celsius - self.frames[0].celsius).collect();
        let (frames, even) = (count as f64, vec![1.0; count]);
        let highest = (count / FRAMES_FOR_EACH).saturating_sub(1).clamp(usize::from(count > 1), HIGHEST);
        let course = |degree: usize| {
            let fit = polynomial_fit(&read, &celsius, &even, degree)?;
            let square = fit.chi2 / frames + ROUNDING * ROUNDING;
            let ln_weight = -0.5 * (frames * square.ln() + (degree + 1) as f64 * frames.ln());
            let shifts = read.iter().zip(&middle).map(|(read, middle)| fit.at(*middle) - fit.at(*read)).collect();
            Some((ln_weight, shifts))
        };
        let (ln_weights, courses): (Vec<f64>, Vec<Vec<f64>>) = (0..=highest).filter_map(course).unzip();
        if courses.is_empty() {
            return (0.0, vec![0.0; count]);
        }
        let (weights, ln_sum) = over_their_sum(&ln_weights);
        let mean = |frame: usize| weights.iter().zip(&courses).map(|(weight, shifts)| weight * shifts[frame]).sum();
        (ln_sum, (0..count).map(mean).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    const IN_TURN: [f64; 12] = [60.0, 180.0, 300.0, 300.0, 180.0, 60.0, 60.0, 180.0, 300.0, 300.0, 180.0, 60.0];

    /// Darks whose headers tell `read`, to a tenth of a kelvin, of the frame's number, its beginning and its exposure.
    fn darks(exposures: &[f64], read: impl Fn(f64, f64, f64) -> f64) -> Vec<DarkFrame> {
        let mut clock = 0.0;
        let frame = |(number, exposure): (usize, &f64)| {
            let told = (10.0 * read(number as f64, clock, *exposure)).round() / 10.0;
            let taken = clock;
            clock += exposure + 2.0;
            DarkFrame::told(Seconds(*exposure), Celsius(told), taken)
        };
        exposures.iter().enumerate().map(frame).collect()
    }

    fn temperatures(darks: &Darks) -> Vec<f64> {
        darks.frames.iter().map(|frame| frame.temperature.unwrap().0).collect()
    }

    /// 6 K in an hour: 0.25 K from the beginning to the middle of 300 s. Rounding to tenths may move a mean by half a tenth.
    #[test]
    fn readings_in_turn_tell_their_moment_and_are_carried_to_the_middle() {
        let warms = |at: f64| 15.0 + at / 600.0;
        for moment in [0.0, 0.5, 1.0] {
            let found = at_middle(darks(&IN_TURN, |_, start, exposure| warms(start + moment * exposure)), &[]);
            let middle =
                darks(&IN_TURN, |_, _, _| 0.0).into_iter().map(|one| warms(one.taken.unwrap() + one.exposure.0 / 2.0));
            let off: Vec<f64> = temperatures(&found).iter().zip(middle).map(|(found, truth)| found - truth).collect();
            let mean = off.iter().sum::<f64>() / off.len() as f64;
            println!("read at {moment}: {mean:+.3} K off the middle, {:.4} uncertain", found.unread);
            assert!(mean.abs() < 0.05 && off.iter().all(|off| off.abs() < 0.1), "{moment}: {off:?}");
            assert!(0.12 * mean.abs() < 3.0 * found.unread.max(0.002), "{moment}: {mean} {}", found.unread);
        }
    }

    #[test]
    fn a_temperature_that_follows_the_number_of_frames_is_that_of_the_exposure() {
        for kelvins in [0.1, 0.25, 0.4] {
            let told = darks(&IN_TURN, |number, _, _| 15.0 + kelvins * number);
            let found = at_middle(told.clone(), &[]);
            let before: Vec<f64> = told.iter().map(|frame| frame.temperature.unwrap().0).collect();
            assert!(temperatures(&found).iter().zip(before).all(|(now, before)| (now - before).abs() < 0.02));
            assert!(found.unread < 0.12 * 0.05 * kelvins, "{kelvins}: {}", found.unread);
        }
    }

    /// `κ t (dT/dt) / (2 √3)`, the standard uncertainty of a rectangle (JCGM 100, 4.3.7), less what the course by number takes of it.
    #[test]
    fn frames_of_one_exposure_do_not_tell_their_moment() {
        let found = at_middle(darks(&[120.0; 10], |_, start, _| 15.0 + start / 300.0), &[]);
        let rectangle = 0.12 * 120.0 / 300.0 / 12_f64.sqrt();
        assert!((0.85..1.1).contains(&(found.unread / rectangle)), "{} beside {rectangle}", found.unread);
    }

    #[test]
    fn steady_headers_move_nothing() {
        let flickers = |number: f64| 15.0 + 0.1 * (number * 2.4).sin();
        let found = at_middle(darks(&IN_TURN, |number, _, _| flickers(number)), &[]);
        assert!(found.unread < 1e-3, "{}", found.unread);
        let mut untold = darks(&IN_TURN, |_, _, _| 0.0);
        untold.iter_mut().for_each(|frame| frame.temperature = None);
        let found = at_middle(untold, &[]);
        assert!(found.unread == 0.0 && found.frames.iter().all(|frame| frame.temperature.is_none()));
    }

    /// A cooler that settles: the first frames are alone at their temperatures, and only the others tell how it went on.
    #[test]
    fn a_frame_alone_at_its_temperature_is_carried_to_the_middle_by_the_others() {
        let settles = |at: f64| -10.0 + 12.0 * (-at / 700.0).exp();
        let all = darks(&IN_TURN, |_, start, _| settles(start));
        for count in [1, 2, 4] {
            let (first, others) = all.split_at(count);
            let alone = at_middle(first.to_vec(), &[]);
            let found = at_middle(first.to_vec(), &[others.to_vec()]);
            let off = |found: &Darks| -> f64 {
                let middle = |frame: &DarkFrame| settles(frame.taken.unwrap() + frame.exposure.0 / 2.0);
                found
                    .frames
                    .iter()
                    .map(|frame| (frame.temperature.unwrap().0 - middle(frame)).abs())
                    .fold(0.0, f64::max)
            };
            println!(
                "{count}: {:.2} K off alone, {:.2} with the others, {:.4}",
                off(&alone),
                off(&found),
                found.unread
            );
            assert!(off(&found) < 0.25 && off(&alone) > 0.4, "{count}: {} {}", off(&found), off(&alone));
        }
    }

    /// Four temperatures that were set one after the other: the course between them is none.
    #[test]
    fn a_temperature_that_was_set_moves_none_of_its_frames() {
        let all = darks(&[IN_TURN, IN_TURN, IN_TURN].concat(), |number, _, _| -15.0 + 10.0 * (number / 12.0).floor());
        let (first, rest) = all.split_at(12);
        let found = at_middle(first.to_vec(), &[rest[..12].to_vec(), rest[12..].to_vec()]);
        assert!(temperatures(&found).iter().all(|celsius| (celsius + 15.0).abs() < 0.02) && found.unread < 1e-3);
    }

    /// Stamps of the end, which some programs write, are told from those of the beginning: the frames would overlap.
    #[test]
    fn stamps_of_the_end_are_known_as_such() {
        let read = |late: f64| -> Vec<Read> {
            let frames = darks(&IN_TURN, |_, start, _| 15.0 + start / 600.0);
            let of = |frame: DarkFrame| Read {
                place: 0,
                start: frame.taken.unwrap() + late * frame.exposure.0,
                exposure: frame.exposure.0,
                celsius: 15.0,
            };
            frames.into_iter().map(of).collect()
        };
        for late in [0.0, 0.5, 1.0] {
            assert_eq!(stamped(&read(late)), late);
        }
    }
}
