//! Which codes occur at all? Padded bits, digital gain and lossy curves leave gaps.
//!
//! Each stack has a mean distance between the codes in use: constant and regular it is a digital gain, growing with the
//! level it is a lossy curve.

use ndarray::{Array2, ArrayView2, Axis, Slice};

use crate::caveat::Caveat;
use crate::frames::FrameKind;
use crate::stats::{Histogram, polynomial_fit};
use crate::units::Dn;

/// How many pixels of each stack are looked at.
const SAMPLED_PIXELS: usize = 65_536;
/// The middle of a stack's histogram: between these quantiles codes ought to be in use.
const MIDDLE: (f64, f64) = (0.02, 0.98);
/// Fewer codes than this in the middle show no spacing.
const FEWEST_CODES: f64 = 12.0;
/// Stacks with fewer different codes do not show their step.
const FEWEST_USED: usize = 8;
/// With fewer pixels for each code, codes stay empty by chance.
const PIXELS_PER_CODE: f64 = 8.0;
/// A code with less than this part of its neighbourhood's pixels is empty but for strays.
const STRAY: f64 = 0.1;
/// Pixels that show whether even codes are commoner, and by how much more than half their share must be: of means of 2 and 4 it is
/// 0.25 and 0.125.
const FOR_PARITY: f64 = 1000.0;
/// A noise whose middle spans no more codes than these may lie on even ones by chance: from one step on, its own share is within 1 %.
const FEWEST_FOR_PARITY: f64 = 5.0;
const EVEN: f64 = 0.08;
/// Spacing from which on codes are said to be missing, and how much it may differ from stack to stack.
const GAPS: f64 = 1.02;
const SPACING_LIKENESS: f64 = 1.15;
/// Spacing that a lossy curve reaches, and its growth.
const COARSE: f64 = 1.25;
const GROWTH: f64 = 1.3;
/// Between two brightnesses lies a valley without codes: so many times as wide as the other gaps, and at least so many steps.
const VALLEY: [f64; 2] = [6.0, 6.0];
/// Deviation in steps from a regular pattern of gaps: rounding leaves less than one.
const REGULAR: f64 = 1.3;

/// The codes of one stack's first frame.
#[derive(Debug, Clone)]
struct StackCodes {
    kind: FrameKind,
    /// Median code.
    level: f64,
    /// Step between codes; 1 where codes are not on a grid.
    step: u32,
    /// Different codes in use.
    used: usize,
    /// Mean distance of the codes in use, in steps; `None` where too few pixels tell.
    spacing: Option<f64>,
    /// Whether the gaps come at equal distances.
    regular: bool,
    /// Share of the pixels at even codes, in steps; `None` where too few tell.
    even: Option<f64>,
}

/// The codes in use, sampled from every stack.
#[derive(Debug, Clone)]
pub(super) struct Codes {
    all: Histogram,
    stacks: Vec<StackCodes>,
}

impl Codes {
    pub(super) fn new() -> Self {
        Self { all: Histogram::new(0, 65_535), stacks: Vec::new() }
    }

    /// Counts the codes of some rows in the middle of a stack's first frame, each colour plane for itself: between
    /// the levels of two colours there are no codes, and none are missing.
    pub(super) fn sample(&mut self, kind: FrameKind, pixels: &Array2<u16>, coloured: bool) {
        if !coloured {
            return self.sample_plane(kind, pixels.view());
        }
        let part = |view: &mut ArrayView2<'_, u16>, axis: usize, from: usize| {
            view.slice_axis_inplace(Axis(axis), Slice::from(from..).step_by(2));
        };
        for (row, column) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
            let mut plane = pixels.view();
            part(&mut plane, 0, row);
            part(&mut plane, 1, column);
            self.sample_plane(kind, plane);
        }
    }

    fn sample_plane(&mut self, kind: FrameKind, pixels: ArrayView2<'_, u16>) {
        let (rows, columns) = pixels.dim();
        let wanted = (SAMPLED_PIXELS / columns.max(1)).clamp(1, rows.max(1));
        let top = (rows - wanted.min(rows)) / 2;
        let mut codes = Histogram::new(0, 65_535);
        for &code in pixels.slice_axis(Axis(0), Slice::from(top..top + wanted.min(rows))) {
            codes.push(i32::from(code));
            self.all.push(i32::from(code));
        }
        self.stacks.extend(StackCodes::new(kind, &codes));
    }

    /// The step between the codes of all stacks.
    pub(super) fn step(&self) -> u32 {
        self.all.step().0
    }

    /// Level in DN from which on a lossy tone curve leaves codes out.
    pub(super) fn lossy_from(&self) -> Option<Dn> {
        if self.off_grid().is_some() {
            return None;
        }
        let distances = || self.stacks.iter().filter_map(|stack| Some((stack.level, stack.distance()?)));
        let coarsest = distances().max_by(|a, b| a.1.total_cmp(&b.1))?;
        let finest = distances().min_by(|a, b| a.1.total_cmp(&b.1))?;
        let grows = coarsest.1 > GROWTH * finest.1 && coarsest.0 > finest.0;
        let coarse = distances().filter(|(_, distance)| *distance > COARSE * finest.1).map(|(level, _)| level);
        grows.then(|| Dn(coarse.fold(f64::INFINITY, f64::min)))
    }

    /// The factor by which codes were multiplied after conversion.
    fn digital_gain(&self) -> Option<f64> {
        let mut spacings: Vec<f64> =
            self.stacks.iter().filter(|stack| stack.regular).filter_map(|stack| stack.spacing).collect();
        spacings.sort_by(f64::total_cmp);
        let known = self.stacks.iter().filter(|stack| stack.spacing.is_some()).count();
        let (low, high) = (spacings.first()?, spacings.last()?);
        (2 * spacings.len() > known && *low > GAPS && high < &(SPACING_LIKENESS * low))
            .then(|| spacings[spacings.len() / 2])
    }

    /// A kind of frames that is off the one grid that all others keep, with that grid's step.
    fn off_grid(&self) -> Option<(FrameKind, u32)> {
        let with_codes = || self.stacks.iter().filter(|stack| stack.used >= FEWEST_USED);
        let step = with_codes().map(|stack| stack.step).max().filter(|step| *step > 1)?;
        let off = with_codes().find(|stack| stack.step < step)?;
        let kept = |stack: &StackCodes| stack.step == step && stack.spacing.is_none_or(|spacing| spacing < COARSE);
        let (mut on, mut of_others) = (0, 0);
        for stack in with_codes().filter(|stack| stack.kind != off.kind) {
            on += usize::from(kept(stack));
            of_others += 1;
        }
        (on > 0 && on == of_others).then_some((off.kind, step))
    }

    /// A kind of frames in which even codes are commoner than odd ones, as where halves are rounded to even numbers, and in no other
    /// kind; with the share of the even ones.
    ///
    /// ```text
    /// share = ½ + ¼ P(half),   P(half) = ½ of means of 2, ¼ of means of 4, 0 of 3
    /// ```
    fn rounded_halves(&self) -> Option<(FrameKind, f64)> {
        let of =
            |kind: FrameKind| self.stacks.iter().filter(move |stack| stack.kind == kind).filter_map(|stack| stack.even);
        let kinds = [FrameKind::Bias, FrameKind::Flat, FrameKind::Dark];
        let rounded = |kind: &FrameKind| of(*kind).next().is_some() && of(*kind).all(|share| share > 0.5 + EVEN);
        let kind = kinds.into_iter().find(rounded)?;
        let mut others = kinds.into_iter().filter(|other| *other != kind).flat_map(of).peekable();
        let least = of(kind).fold(1.0, f64::min);
        let told = others.peek().is_some() || least > 0.5 + 2.0 * EVEN;
        (told && others.all(|share| (share - 0.5).abs() < EVEN / 2.0)).then_some((kind, least))
    }

    /// Doubts about how the codes were made; `step` is 1 or what [`Codes::step`] says.
    pub(super) fn doubts(&self) -> Vec<Caveat> {
        let mut caveats = Vec::new();
        let step = self.step();
        if step > 1 {
            caveats.push(Caveat::new(
                "dn-step",
                format!("the stored codes are {step} DN apart: the converter's bits are padded"),
                "nothing to do: quantisation is computed with the step, gain is per stored DN",
            ));
        }
        if let Some((kind, step)) = self.off_grid() {
            caveats.push(Caveat::new(
                "averaged-frames",
                format!("{kind} frames have codes between the steps of {step} DN that other frames keep to: they were averaged or processed"),
                "measure from single raw frames, as the camera wrote them",
            ));
        }
        if let Some((kind, share)) = self.rounded_halves().filter(|_| self.off_grid().is_none()) {
            caveats.push(Caveat::new(
                "averaged-frames",
                format!(
                    "{:.0} % of the {kind} frames' pixels have even counts, as where the halves of means are rounded to even numbers, and \
                     other frames have not: they were averaged or processed",
                    100.0 * share
                ),
                "measure from single raw frames, as the camera wrote them",
            ));
        }
        if let Some(level) = self.lossy_from() {
            caveats.push(Caveat::new(
                "lossy-raw",
                format!(
                    "from {:.0} DN on codes are left out, the more the brighter: a lossy tone curve; flats above are not used",
                    level.0
                ),
                "store uncompressed or losslessly compressed raw frames, and measure again",
            ));
        } else if let Some(factor) = self.digital_gain() {
            caveats.push(Caveat::new(
                "digital-gain",
                format!(
                    "{:.1} % of the codes are missing at equal distances: the counts were multiplied by {factor:.3} after conversion",
                    100.0 * (1.0 - 1.0 / factor)
                ),
                "use a lower gain setting: multiplying adds no information and costs range",
            ));
        }
        caveats
    }
}

impl StackCodes {
    /// Mean distance of the codes in use, in DN.
    fn distance(&self) -> Option<f64> {
        Some(self.spacing? * f64::from(self.step))
    }

    fn new(kind: FrameKind, codes: &Histogram) -> Option<Self> {
        let (step, class) = codes.step();
        let [low, high] = [MIDDLE.0, MIDDLE.1].map(|share| codes.quantile(share).map(|code| code / f64::from(step)));
        let (low, high) = (low?.ceil(), high?.floor());
        // Counts on the grid, from one step below the middle's width to one above it.
        let wide = high - low + 1.0;
        let mut counts = vec![0.0; (wide.max(0.0)) as usize];
        let (mut used, mut inside) = (0, 0.0);
        for (code, count) in codes.occupied() {
            used += 1;
            let place = f64::from(code - class as i32) / f64::from(step) - low;
            if place >= 0.0
                && place.fract() == 0.0
                && let Some(bin) = counts.get_mut(place as usize)
            {
                *bin += f64::from(count);
                inside += f64::from(count);
            }
        }
        let enough = wide >= FEWEST_CODES && inside / wide >= PIXELS_PER_CODE;
        let (spacing, regular) = if enough { spacing(&counts) } else { (None, false) };
        let even = (wide >= FEWEST_FOR_PARITY).then(|| even_share(codes, step, class as i32)).flatten();
        Some(Self { kind, level: codes.quantile(0.5)?, step, used, spacing, regular, even })
    }
}

/// The share of even codes, in steps, of those on the grid; `None` of too few pixels.
fn even_share(codes: &Histogram, step: u32, class: i32) -> Option<f64> {
    let (mut evens, mut all) = (0.0, 0.0);
    for (code, count) in codes.occupied() {
        let steps = f64::from(code - class) / f64::from(step);
        if steps.fract() == 0.0 {
            all += f64::from(count);
            evens += if steps % 2.0 == 0.0 { f64::from(count) } else { 0.0 };
        }
    }
    (all >= FOR_PARITY).then(|| evens / all)
}

/// Mean distance of the codes in use, in steps, and whether the gaps are regular.
///
/// ```text
/// spacing = Σ (1 − e^−λ) / (codes in use)
/// ```
///
/// λ is the mean count about each code: what a smooth histogram would have. Regular gaps are those of a multiplied and
/// rounded counter, whose i-th code is `round(a + s i)`. Derived here.
fn spacing(counts: &[f64]) -> (Option<f64>, bool) {
    let half = (counts.len() / 12).max(4);
    let about = |place: usize| {
        let window = &counts[place.saturating_sub(half)..(place + half + 1).min(counts.len())];
        window.iter().sum::<f64>() / window.len() as f64
    };
    let mut hoped = Vec::with_capacity(counts.len());
    let mut used = Vec::new();
    for (place, &count) in counts.iter().enumerate() {
        let mean = about(place);
        hoped.push(1.0 - (-mean).exp());
        if count >= 1.0 && count > STRAY * mean {
            used.push(place as f64);
        }
    }
    if used.len() < 3 {
        return (None, false);
    }
    let mut widths: Vec<f64> = used.windows(2).map(|pair| pair[1] - pair[0]).collect();
    widths.sort_by(f64::total_cmp);
    let widest = (VALLEY[0] * widths[widths.len() / 2]).max(VALLEY[1]);
    for pair in used.windows(2).filter(|pair| pair[1] - pair[0] > widest) {
        hoped[pair[0] as usize + 1..pair[1] as usize].fill(0.0);
    }
    let expected: f64 = hoped.iter().sum();
    let numbers: Vec<f64> = (0..used.len()).map(|number| number as f64).collect();
    let line = polynomial_fit(&numbers, &used, &vec![1.0; used.len()], 1);
    let deviation =
        |(number, place): (&f64, &f64)| line.as_ref().map_or(f64::INFINITY, |line| place - line.at(*number));
    let deviations = numbers.iter().zip(&used).map(deviation);
    let (low, high) = deviations.fold((0.0_f64, 0.0_f64), |(low, high), d| (low.min(d), high.max(d)));
    let gaps = used.windows(2).filter(|pair| pair[1] - pair[0] > 1.0).count();
    (Some(expected / used.len() as f64), gaps >= 3 && high - low < REGULAR)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A histogram in which each of `codes` has 100 pixels.
    fn even(codes: impl Iterator<Item = i32>) -> Histogram {
        let mut histogram = Histogram::new(0, 65_535);
        codes.for_each(|code| (0..100).for_each(|_| histogram.push(code)));
        histogram
    }

    #[test]
    fn a_stray_pixel_hides_neither_step_nor_gaps() {
        let mut padded = even((0..200).map(|i| 1002 + 4 * i));
        padded.push(1003);
        assert_eq!(padded.step(), (4, 2));
        let mut gapped = even((0..400).map(|i| (1000.0 + 1.0837 * f64::from(i)).round() as i32));
        (1000..1400).for_each(|code| gapped.push(code));
        let stack = StackCodes::new(FrameKind::Flat, &gapped).unwrap();
        assert!(stack.regular && (stack.spacing.unwrap() / 1.0837 - 1.0).abs() < 0.005, "{stack:?}");
    }

    /// A bright part and a dark one: no codes between them, and none are missing.
    #[test]
    fn a_valley_between_two_brightnesses_is_no_gap() {
        let stack = StackCodes::new(FrameKind::Flat, &even((1000..1200).chain(1600..1750))).unwrap();
        assert!(stack.spacing.is_some_and(|spacing| spacing < GAPS), "{stack:?}");
        // A lossy curve leaves more out the brighter it is, also within a part.
        let stack = StackCodes::new(FrameKind::Flat, &even((0..50).map(|i| 1000 + 5 * i + i * i / 40))).unwrap();
        assert!(stack.distance().is_some_and(|distance| distance > 4.0), "{stack:?}");
    }

    #[test]
    fn gaps_at_random_are_not_regular() {
        let stack = StackCodes::new(FrameKind::Flat, &even((0..400).filter(|i| i * i % 13 != 1 || *i > 150))).unwrap();
        assert!(!stack.regular, "{stack:?}");
    }
}
