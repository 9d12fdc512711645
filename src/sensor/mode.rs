//! One mode of a camera, measured frame by frame.

use std::collections::BTreeSet;

use ndarray::Array2;

use crate::camera::{FrameCounts, Mode};
use crate::caveat::{Caveat, push_once};
use crate::frames::{CfaPattern, Frame, FrameInfo, FrameKind};
use crate::units::{ElectronsPerDn, Seconds};

use crate::sensor::codes::Codes;
use crate::sensor::colours::{self, has_colours};
use crate::sensor::duplicates::Seen;
use crate::sensor::halves::{self, Halves};
use crate::sensor::plane::{Assembled, PlaneMeter};
use crate::sensor::repeated::Repeated;
use crate::sensor::stack::{plane_mean, plane_view};
use crate::sensor::{MeasureError, NoGainCause, PairStatistics, StackKey};
use crate::stats::Moments;

/// Levels within a pair that differ by more than this are worth a word.
const PAIR_DRIFT: f64 = 0.01;
/// … where they differ by more than so many times what the level of single frames without light scatters by.
const JUMPS: f64 = 5.0;
/// Flats of two exposures are paired up to this ratio of their signals.
const PAIRED_ACROSS: f64 = 1.6;
/// Of those that differ by more than this the mean does not show the pattern of the pixels.
const UNLIKE: f64 = 0.1;
/// A flat with a larger share of its pixels at the highest code tells nothing of its halves.
const SATURATED: f64 = 1e-3;
/// At most this many rows in the middle are looked at for them.
const ROWS_FOR_COLOURS: usize = 128;
/// Sides of a region smaller than this hold too few pixels.
const SMALLEST_SIDE: usize = 16;
/// A plane with fewer pixels than this knows its noise to no better than a tenth.
const FEWEST_PIXELS: usize = 256;

/// What the photographer may say about the frames.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct MeasureOptions {
    /// A gain to believe, for sets without flats.
    pub gain: Option<ElectronsPerDn>,
    /// The colour pattern, where the headers do not give it.
    pub cfa: Option<CfaPattern>,
    /// The part of the frame to use: left, top, width, height in pixels.
    pub region: Option<[usize; 4]>,
}

/// The measurement of one mode, fed one frame at a time.
///
/// Stacks come in the order of [`StackKey::order`]; within a stack the frames come in the
/// order they were taken, and each two make a pair.
pub struct ModeMeasurement {
    options: MeasureOptions,
    first: FrameInfo,
    region: [usize; 4],
    planes: Vec<PlaneMeter>,
    stack: Option<StackKey>,
    previous: Option<(FrameInfo, Array2<u16>)>,
    /// Whether `previous` waits for the second half of its pair.
    waiting: bool,
    /// Whether the next frame begins a stack, whatever its key.
    fresh: bool,
    codes: Codes,
    seen: Seen,
    counts: FrameCounts,
    caveats: Vec<Caveat>,
    repeated: Repeated,
    /// The last flat without a partner of its own exposure.
    lone_flat: Option<(StackKey, FrameInfo, Array2<u16>)>,
    /// Filters of the flats, as far as they are named.
    filters: BTreeSet<String>,
    halves: Halves,
    /// Pixels that are needed no more.
    spent: Vec<Array2<u16>>,
}

impl ModeMeasurement {
    /// A measurement of the mode that `first` was taken in; the frame itself is not taken yet.
    ///
    /// # Errors
    /// [`MeasureError::RegionOutside`] when the region asked for is not inside the frame.
    pub fn new(first: &FrameInfo, options: MeasureOptions) -> Result<Self, MeasureError> {
        let cfa = options.cfa.or(first.cfa);
        let region = region(first, options.region, cfa.is_some())?;
        let planes = match cfa {
            None => vec![PlaneMeter::mono(options.gain)],
            Some(pattern) => [(0, 0), (0, 1), (1, 0), (1, 1)]
                .into_iter()
                .map(|(row, column)| PlaneMeter::of_cell(row, column, pattern.colour(row, column), options.gain))
                .collect(),
        };
        Ok(Self {
            options,
            first: first.clone(),
            region,
            planes,
            stack: None,
            previous: None,
            waiting: false,
            fresh: false,
            codes: Codes::new(),
            seen: Seen::default(),
            counts: FrameCounts::default(),
            caveats: Vec::new(),
            repeated: Repeated::default(),
            lone_flat: None,
            filters: BTreeSet::new(),
            halves: Halves::default(),
            spent: Vec::new(),
        })
    }

    /// Takes one frame of the stack `key`.
    ///
    /// # Errors
    /// [`MeasureError::SizeDiffers`] when the frame has another size than the first one,
    /// [`MeasureError::WrongOrder`] when its kind comes too late.
    pub fn add(&mut self, key: StackKey, frame: Frame) -> Result<(), MeasureError> {
        let size = |rows: usize, columns: usize| format!("{columns} × {rows}");
        let (rows, columns) = frame.pixels.dim();
        if (rows, columns) != (self.first.height, self.first.width) {
            return Err(MeasureError::SizeDiffers {
                file: frame.info.file,
                found: size(rows, columns),
                expected: size(self.first.height, self.first.width),
            });
        }
        let fresh = std::mem::take(&mut self.fresh);
        if fresh || self.stack != Some(key) {
            self.begin(key)?;
            self.look(key, &frame.pixels);
            if key.kind == FrameKind::Flat {
                self.look_at_colours(&frame.pixels);
            }
        }
        if let Some(before) = self.seen.before(&frame.info.file, &frame.pixels) {
            self.repeated.copy(before, &frame.info.file, key.kind == FrameKind::Flat);
            return Ok(());
        }
        match key.kind {
            FrameKind::Bias => self.counts.bias += 1,
            FrameKind::Flat => self.counts.flat += 1,
            FrameKind::Dark | FrameKind::DarkFlat => self.counts.dark += 1,
            FrameKind::Light => return Ok(()),
        }
        if matches!(key.kind, FrameKind::Bias | FrameKind::Flat) {
            self.add_half(key, frame);
        } else {
            self.add_dark(key, frame);
        }
        Ok(())
    }

    /// The memory of frames that are needed no more, to read the next ones into.
    pub fn take_spent(&mut self) -> Vec<Array2<u16>> {
        std::mem::take(&mut self.spent)
    }

    /// Says that the next frame begins another stack even if its key is the same, as flats of
    /// one exposure behind different filters do: no pair is made across.
    pub fn next_stack(&mut self) {
        self.fresh = true;
    }

    /// Closes the stack before `key` and checks that `key` may follow it.
    fn begin(&mut self, key: StackKey) -> Result<(), MeasureError> {
        if let Some(before) = self.stack
            && key.order().0 < before.order().0
        {
            return Err(MeasureError::WrongOrder { kind: key.kind, after: before.kind });
        }
        self.close();
        if key.kind != FrameKind::Flat {
            self.leave_lone_flat();
        }
        // Darks of one temperature are one stage: the frame before is still a partner.
        let same_stage = self.stack.is_some_and(|before| before.order().0 == 2 && before.sensor == key.sensor);
        if !same_stage {
            self.previous = None;
        }
        self.stack = Some(key);
        Ok(())
    }

    /// Takes what is left of a stack: a frame without partner.
    fn close(&mut self) {
        self.planes.iter_mut().for_each(PlaneMeter::end_pattern);
        let (Some(key), true) = (self.stack, std::mem::take(&mut self.waiting)) else { return };
        let Some((info, pixels)) = self.previous.take() else { return };
        let region = self.region;
        match key.kind {
            FrameKind::Bias => {
                for meter in &mut self.planes {
                    meter.unpaired_bias(key.sensor, meter.view(&pixels, region));
                }
            }
            _ => self.pair_across(key, info, pixels),
        }
    }

    /// A flat without a partner of its own exposure, filter and temperature: the one before it may do, if it is of nearly the
    /// same light. Of a darkening sky each flat has an exposure of its own.
    fn pair_across(&mut self, key: StackKey, info: FrameInfo, pixels: Array2<u16>) {
        let meter = &self.planes[0];
        let signal = |pixels: &Array2<u16>| plane_mean(&meter.view(pixels, self.region)) - meter.dark_offset();
        let ratio = self.lone_flat.as_ref().map_or(f64::INFINITY, |(_, before, other)| {
            let ratio = signal(other) / signal(&pixels);
            if before.filter == info.filter && ratio > 0.0 { ratio.max(1.0 / ratio) } else { f64::INFINITY }
        });
        if ratio > PAIRED_ACROSS {
            self.leave_lone_flat();
            self.lone_flat = Some((key, info, pixels));
            return;
        }
        let Some((other, before, first)) = self.lone_flat.take() else { return };
        let exposure = Seconds((key.exposure.0 + other.exposure.0) / 2.0);
        self.repeated.unlike(ratio - 1.0, &info.file);
        self.take_pair(StackKey { exposure, ..key }, [(before, first), (info, pixels)], true);
        self.planes.iter_mut().for_each(PlaneMeter::end_pattern);
    }

    fn leave_lone_flat(&mut self) {
        if let Some((key, info, pixels)) = self.lone_flat.take() {
            self.repeated.alone(key.exposure, info.file);
            self.spent.push(pixels);
        }
    }

    /// Bias and flats: every two frames are a pair.
    fn add_half(&mut self, key: StackKey, frame: Frame) {
        if key.kind == FrameKind::Flat {
            self.filters.extend(frame.info.filter.clone());
        }
        let partner = if self.waiting { self.previous.take() } else { None };
        let Some(first) = partner else {
            self.previous = Some((frame.info, frame.pixels));
            self.waiting = true;
            return;
        };
        self.waiting = false;
        self.take_pair(key, [first, (frame.info, frame.pixels)], false);
    }

    /// Takes two frames as a pair, `across` two exposures or of one.
    fn take_pair(&mut self, key: StackKey, pair: [(FrameInfo, Array2<u16>); 2], across: bool) {
        let [(first_info, first), (info, second)] = pair;
        let region = self.region;
        let is_flat = key.kind == FrameKind::Flat;
        for (place, meter) in self.planes.iter_mut().enumerate() {
            let frames = [meter.view(&first, region), meter.view(&second, region)];
            let Some(pair) = PairStatistics::from_frames(frames[0], frames[1]) else { continue };
            if pair.is_duplicate() {
                self.repeated.copy(&first_info.file, &info.file, is_flat);
                continue;
            }
            // Against nothing but 0 all is apart.
            let apart = if pair.means[1] > 0.0 { (pair.means[0] / pair.means[1] - 1.0).abs() } else { 1.0 };
            // A level that jumps from frame to frame without light is no drift of the light.
            let is_light = (pair.means[0] - pair.means[1]).abs() > JUMPS * meter.level_scatter();
            if is_flat && place == 0 && pair.share_at_highest < SATURATED {
                for (info, frame) in [(&first_info, frames[0]), (&info, frames[1])] {
                    self.halves.take(info.taken.as_deref(), frame, meter.dark_offset());
                }
            }
            let (pair, left_out) =
                if is_flat { meter.sound_part(pair, frames) } else { (pair.with_waves(frames), None) };
            meter.correlate(key.kind, [&first, &second], region, &pair, left_out.as_ref());
            if is_flat && !across && is_light && apart > PAIR_DRIFT {
                self.repeated.drift(apart, &info.file);
            }
            if !across || apart < UNLIKE {
                meter.pair_pattern(key, [&first, &second], region, &pair);
            }
            meter.pair(key, format!("`{}` and `{}`", first_info.file, info.file), pair);
        }
        self.spent.extend([first, second]);
    }

    /// Darks: every frame counts, each is compared with the one before it.
    fn add_dark(&mut self, key: StackKey, frame: Frame) {
        let region = self.region;
        let partner = self.previous.take();
        for meter in &mut self.planes {
            let before = partner.as_ref().map(|(_, pixels)| meter.view(pixels, region));
            let known = meter.dark(key, &frame.info, before, meter.view(&frame.pixels, region));
            if !known && let Some((info, _)) = &partner {
                self.repeated.copy(&info.file, &frame.info.file, false);
            }
        }
        self.spent = partner.into_iter().map(|(_, pixels)| pixels).collect();
        self.previous = Some((frame.info, frame.pixels));
    }

    /// Looks at the first frame of a stack: its codes, and whether it was filtered.
    fn look(&mut self, key: StackKey, pixels: &Array2<u16>) {
        self.codes.sample(key.kind, pixels, self.planes.len() > 1);
        if !matches!(key.kind, FrameKind::Flat | FrameKind::Light) {
            let region = self.region;
            for meter in &mut self.planes {
                let plane = plane_view(pixels, region, meter.cell());
                meter.filtered.look(key.kind, key.exposure, plane);
            }
        }
    }

    /// Whether the four places of the 2 × 2 cell see light as the headers say, or say nothing of.
    fn look_at_colours(&mut self, pixels: &Array2<u16>) {
        let [left, top, width, height] = self.region;
        let rows = height.min(ROWS_FOR_COLOURS);
        // Even steps keep the places of the cell.
        let region = [left, top + (((height - rows) / 2) & !1), width, rows];
        let level = |row: usize, column: usize| {
            let dark = self.planes[if self.planes.len() == 4 { 2 * row + column } else { 0 }].dark_offset();
            let moments: Moments =
                plane_view(pixels, region, Some((row, column))).iter().map(|&code| f64::from(code)).collect();
            (moments.mean().unwrap_or(0.0) - dark, moments.variance().unwrap_or(0.0) / moments.count().max(1) as f64)
        };
        let places = [level(0, 0), level(0, 1), level(1, 0), level(1, 1)];
        if let Some(pattern) = self.options.cfa.or(self.first.cfa) {
            let known = self.caveats.iter().any(|caveat| caveat.code == "colour-pattern-differs");
            self.caveats.extend(colours::other_pattern(pattern, places).filter(|_| !known));
        } else if has_colours(places) {
            push_once(
                &mut self.caveats,
                Caveat::new(
                    "colour-array-suspected",
                    "flats have different levels at the four places of each 2 × 2 cell, and no header names colours: \
                     a colour array was measured as one plane",
                    "measure again with --cfa RGGB (or BGGR, GRBG, GBRG)",
                ),
            );
        }
    }

    /// An error for want of a gain, with what became of the flats.
    fn with_cause(&self, error: MeasureError) -> MeasureError {
        let MeasureError::NoGain { levels, why: NoGainCause::Unknown } = error else { return error };
        let why = match (self.repeated.copies_of_flats(), self.repeated.flats_alone(), self.counts.flat) {
            (0, 0, 0) => NoGainCause::NoFlats,
            (files, _, flats) if files > 0 && flats <= files + 1 => NoGainCause::Copies { files },
            (_, alone, _) if alone > 0 && self.filters.len() > 1 => {
                NoGainCause::Filters { names: self.filters.iter().cloned().collect() }
            }
            (_, alone, flats) if alone > 0 && alone == flats => NoGainCause::Alone { flats },
            _ => NoGainCause::Unknown,
        };
        MeasureError::NoGain { levels, why }
    }

    /// The numbers of the mode, and the doubts about them.
    ///
    /// # Errors
    /// [`MeasureError::TooFewFrames`] without pairs of bias (or short dark) frames,
    /// [`MeasureError::NoGain`] without flats at three levels or a typed gain.
    pub fn finish(mut self) -> Result<(Mode, Vec<Caveat>), MeasureError> {
        self.close();
        self.leave_lone_flat();
        let step = self.codes.step();
        let mut caveats = std::mem::take(&mut self.caveats);
        caveats.extend(self.repeated.caveats());
        caveats.extend(self.codes.doubts());
        let change = self.halves.change();
        caveats.extend(change.map(|(change, half)| halves::caveat(change, half)));
        for meter in &mut self.planes {
            meter.end();
            meter.lossy_from = self.codes.lossy_from();
            meter.halves_apart = change.map_or(0.0, |(change, _)| change);
        }
        let (mut planes, mut points, mut noise_by_scale, mut reference) = (Vec::new(), Vec::new(), Vec::new(), None);
        for meter in &self.planes {
            let Assembled { plane, transfer, noise_by_scale: tables, caveats: doubts, reference: temperature } =
                meter.assembled(step).map_err(|error| self.with_cause(error))?;
            reference = reference.or(temperature);
            planes.push(plane);
            points.extend(transfer);
            noise_by_scale.extend(tables);
            for doubt in doubts {
                push_once(&mut caveats, doubt);
            }
        }
        let names: Vec<&str> = planes.iter().map(|plane| plane.plane.as_str()).collect();
        let mut caveats = once_for_all(caveats, &names);
        if self.options.gain.is_some() {
            caveats.push(Caveat::new(
                "assumed-value",
                if planes.iter().any(|plane| plane.gain_e_per_dn.uncertainty.0 > 0.0) {
                    "the gain was typed: every number in electrons is as good as that gain, and as uncertain as what contradicts \
                     it is apart"
                } else {
                    "the gain was typed: every number in electrons is as good as that gain, whose own uncertainty is not in them"
                },
                "take flats in pairs to measure it",
            ));
        }
        caveats.extend(super::greens::doubt(&planes));
        let info = &self.first;
        let mode = Mode {
            colours: None,
            gain_setting: info.gain_setting,
            offset_setting: info.offset_setting,
            readout_mode: info.readout_mode.clone(),
            binning: info.binning,
            pixel_um: info.pixel,
            width_px: info.width,
            height_px: info.height,
            dn_step: step,
            frames: self.counts,
            reference_sensor_c: reference,
            planes,
            photon_transfer: points,
            noise_by_scale,
        };
        Ok((mode, caveats))
    }
}

/// Doubts that all planes share word for word are one, about the place without the plane.
fn once_for_all(caveats: Vec<Caveat>, planes: &[&str]) -> Vec<Caveat> {
    let place = |caveat: &Caveat| {
        let plane = planes.iter().find(|plane| caveat.about.starts_with(**plane))?;
        Some(caveat.about[plane.len()..].trim_start_matches(" at ").to_owned())
    };
    let alike = |a: &Caveat, b: &Caveat| {
        (&a.code, &a.message, &a.hint) == (&b.code, &b.message, &b.hint) && place(a).is_some() && place(a) == place(b)
    };
    let mut kept: Vec<Caveat> = Vec::new();
    for caveat in &caveats {
        let of_all = planes.len() > 1 && caveats.iter().filter(|other| alike(other, caveat)).count() == planes.len();
        let about = place(caveat).filter(|_| of_all).unwrap_or_else(|| caveat.about.clone());
        push_once(&mut kept, caveat.clone().about(about));
    }
    kept
}

/// The region to use, with even corners for a colour array so that planes keep their place.
fn region(first: &FrameInfo, asked: Option<[usize; 4]>, colour: bool) -> Result<[usize; 4], MeasureError> {
    let [left, top, width, height] = asked.unwrap_or([0, 0, first.width, first.height]);
    let fits = |start: usize, length: usize, whole: usize| start.checked_add(length).is_some_and(|end| end <= whole);
    if !fits(left, width, first.width) || !fits(top, height, first.height) {
        return Err(MeasureError::RegionOutside {
            region: format!("{left},{top},{width},{height}"),
            size: format!("{} × {}", first.width, first.height),
        });
    }
    let planes = if colour { 4 } else { 1 };
    if width.min(height) < SMALLEST_SIDE || width * height < planes * FEWEST_PIXELS {
        let what =
            if asked.is_some() { format!("the region {left},{top},{width},{height}") } else { "the frame".into() };
        return Err(MeasureError::TooSmall { what, width, height });
    }
    Ok(if colour { [left & !1, top & !1, width & !1, height & !1] } else { [left, top, width, height] })
}
