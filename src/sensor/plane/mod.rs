//! One plane of a mode: what its pairs and darks add up to.

mod assembly;
mod curve;
mod darks;
pub(crate) mod doubts;
pub(crate) mod kinds;
mod zero;

use ndarray::{Array2, ArrayView2};

use crate::camera::{NoiseByScale, Plane, PlaneName, TransferPoint};
use crate::caveat::Caveat;
use crate::frames::FrameKind;
use crate::units::{Celsius, Colour, Dn, ElectronsPerDn, Seconds};

use crate::sensor::dark::current::{DarkStage, Expectation};
use crate::sensor::dark::gain::DarkGain;
use crate::sensor::pair::correlation::Correlation;
use crate::sensor::pair::field::FieldNoise;
use crate::sensor::pair::filtered::Filtered;
use crate::sensor::pair::sound::{Ceiling, LeftOut, SIDE_OF_BLOCK, Unlit};
use crate::sensor::pattern::stacks::Stacks;
use crate::sensor::stack::plane_view;
use crate::sensor::{PairStatistics, StackKey};

use zero::{ShortDark, ZeroStack};

/// The measurement of one plane: takes pairs and darks, gives the plane of a profile.
///
/// [`crate::sensor::ModeMeasurement`] feeds one for each plane with frames; a program that has only the frames' sums
/// feeds it with [`PlaneMeter::pair`] and [`PlaneMeter::dark_summary`].
pub struct PlaneMeter {
    cell: Option<(usize, usize)>,
    colour: Option<Colour>,
    typed_gain: Option<ElectronsPerDn>,
    bias: Vec<ZeroStack>,
    flats: Vec<(Seconds, PairStatistics)>,
    /// The temperature of each pair of flats.
    flat_sensors: Vec<Option<Celsius>>,
    short_darks: Vec<ShortDark>,
    darks: Vec<DarkStage>,
    /// Whether some of them are darks, not dark flats.
    has_own_darks: bool,
    expectation: Option<Expectation>,
    correlation: Correlation,
    ceiling: Ceiling,
    field: FieldNoise,
    /// Share of a flat's charge that is in stars.
    stars: Option<f64>,
    pub(crate) filtered: Filtered,
    /// Flats above this level have a lossy tone curve.
    pub(crate) lossy_from: Option<Dn>,
    /// By how much one half of the frame changed against the other while the flats were taken.
    pub(crate) halves_apart: f64,
    patterns: Stacks,
    dark_gain: DarkGain,
}

/// What a plane comes to.
#[derive(Debug, Clone)]
pub struct Assembled {
    /// The numbers.
    pub plane: Plane,
    /// The points of the transfer curve.
    pub transfer: Vec<TransferPoint>,
    /// How its noise falls when pixels are averaged.
    pub noise_by_scale: Vec<NoiseByScale>,
    /// Doubts about the numbers.
    pub caveats: Vec<Caveat>,
    /// The temperature at which read noise and offset were measured.
    pub reference: Option<Celsius>,
}

/// A dark frame in short, and how it differs from the one before it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DarkSummary {
    /// Mean level in DN.
    pub mean: f64,
    /// Median level in DN.
    pub median: f64,
    /// The sensor's temperature in the header.
    pub temperature: Option<Celsius>,
    /// When it was taken, in seconds from any moment; where none is told, the darks are taken for those of one moment.
    pub taken: Option<f64>,
    /// Temporal variance in DN² of this frame and the one before, where both are of one
    /// exposure and neither is in another pair, with its standard uncertainty.
    pub pair_variance: Option<(f64, f64)>,
}

impl PlaneMeter {
    /// A plane of all pixels; `typed_gain` is believed where there are no flats.
    #[must_use]
    pub fn mono(typed_gain: Option<ElectronsPerDn>) -> Self {
        Self {
            cell: None,
            colour: None,
            typed_gain,
            bias: Vec::new(),
            flats: Vec::new(),
            flat_sensors: Vec::new(),
            short_darks: Vec::new(),
            darks: Vec::new(),
            has_own_darks: false,
            expectation: None,
            correlation: Correlation::default(),
            ceiling: Ceiling::default(),
            field: FieldNoise::default(),
            stars: None,
            filtered: Filtered::default(),
            lossy_from: None,
            halves_apart: 0.0,
            patterns: Stacks::default(),
            dark_gain: DarkGain::default(),
        }
    }

    pub(crate) fn of_cell(row: usize, column: usize, colour: Colour, typed_gain: Option<ElectronsPerDn>) -> Self {
        Self { cell: Some((row, column)), colour: Some(colour), ..Self::mono(typed_gain) }
    }

    pub(crate) fn view<'a>(&self, pixels: &'a Array2<u16>, region: [usize; 4]) -> ArrayView2<'a, u16> {
        plane_view(pixels, region, self.cell)
    }

    /// The plane's place in the 2 × 2 cell of a colour array.
    pub(crate) fn cell(&self) -> Option<(usize, usize)> {
        self.cell
    }

    /// The level of the first bias frames in DN, 0 before there are any.
    pub(crate) fn dark_offset(&self) -> f64 {
        self.reference_stack().map_or(0.0, |stack| stack.pairs[0].mean().0)
    }

    /// A pair of flats without what moved between its frames or is saturated, and where that is.
    pub(crate) fn sound_part(
        &mut self,
        pair: PairStatistics,
        frames: [ArrayView2<'_, u16>; 2],
    ) -> (PairStatistics, Option<LeftOut>) {
        let about_rows = self.filtered.left_about_rows(SIDE_OF_BLOCK);
        let (offset, of_rows) = self.reference_stack().map_or((0.0, 0.0), |stack| {
            // The middle one: a damaged frame is in one pair.
            let mut of_rows: Vec<f64> = stack.pairs.iter().map(|pair| pair.beyond_blocks(about_rows)).collect();
            of_rows.sort_by(f64::total_cmp);
            let middle = (of_rows[(of_rows.len() - 1) / 2] + of_rows[of_rows.len() / 2]) / 2.0;
            (stack.pairs[0].mean().0, middle.max(0.0))
        });
        let unlit = Unlit { offset, of_rows, about_rows, is_smoothed: self.filtered.is_smoothed };
        let (pair, left_out) = pair.sound_part(frames, &unlit, &self.ceiling, &mut self.field);
        self.ceiling.take(&pair, offset);
        (pair, left_out)
    }

    /// Looks at what neighbouring pixels of a pair share; `of_pair` are its statistics.
    pub(crate) fn correlate(
        &mut self,
        kind: FrameKind,
        pair: [&Array2<u16>; 2],
        region: [usize; 4],
        of_pair: &PairStatistics,
        left_out: Option<&LeftOut>,
    ) {
        // Stars that moved are shared by neighbours too.
        if of_pair.sound.as_ref().is_none_or(|sound| sound.moved <= 0.0) {
            let [first, second] = pair.map(|frame| plane_view(frame, region, self.cell));
            self.filtered.pair(kind, [first, second], of_pair.event_limit);
        }
        if kind == FrameKind::Flat {
            let offset = self.reference_stack().map_or(0.0, |stack| stack.pairs[0].mean().0);
            let found = kinds::stars(plane_view(pair[0], region, self.cell), offset);
            self.stars = found.into_iter().chain(self.stars).reduce(f64::max);
        }
        self.correlation.pair(kind == FrameKind::Flat, pair, (region, self.cell), of_pair, left_out);
    }

    fn name(&self) -> PlaneName {
        self.cell.map_or(PlaneName::Mono, |(row, column)| PlaneName::from_cell(row, column))
    }

    /// The share of all pixels that this plane's colour has.
    fn sampling(&self) -> f64 {
        self.colour.map_or(1.0, Colour::sampling)
    }

    /// Takes a pair of bias or flat frames; `files` names it in messages.
    pub fn pair(&mut self, key: StackKey, files: String, pair: PairStatistics) {
        match key.kind {
            FrameKind::Bias => {
                let stack = self.bias_stack(key.sensor);
                stack.pairs.push(pair);
                stack.files.push(files);
            }
            _ => {
                self.flats.push((key.exposure, pair));
                self.flat_sensors.push(key.sensor);
            }
        }
    }

    /// Adds both frames of a pair to the mean image of their stack.
    pub(crate) fn pair_pattern(
        &mut self,
        key: StackKey,
        frames: [&Array2<u16>; 2],
        region: [usize; 4],
        pair: &PairStatistics,
    ) {
        let cell = self.cell;
        if pair.is_partial() {
            self.patterns.note(pair);
            return;
        }
        self.patterns.push(key, frames.map(|frame| plane_view(frame, region, cell)), pair);
    }

    /// Ends a stack: its mean image is put into a few numbers.
    pub(crate) fn end_pattern(&mut self) {
        self.patterns.end();
    }

    /// Ends all stacks, and puts the flats into the order of their exposures, in whichever they came.
    pub(crate) fn end(&mut self) {
        self.patterns.settle(None);
        self.end_darks();
        let mut flats: Vec<_> = self.flats.drain(..).zip(self.flat_sensors.drain(..)).collect();
        flats.sort_by(|((a, _), _), ((b, _), _)| a.0.total_cmp(&b.0));
        (self.flats, self.flat_sensors) = flats.into_iter().unzip();
    }
}
