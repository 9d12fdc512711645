//! One mode of a camera, measured frame by frame.

use ndarray::Array2;

use crate::camera::{FrameCounts, Mode};
use crate::caveat::{Caveat, push_once};
use crate::frames::{CfaPattern, Frame, FrameInfo, FrameKind};
use crate::units::ElectronsPerDn;

use crate::sensor::codes::Codes;
use crate::sensor::duplicates::Seen;
use crate::sensor::plane::{Assembled, PlaneMeter};
use crate::sensor::stack::plane_view;
use crate::sensor::{MeasureError, PairStatistics, StackKey};
use crate::stats::Moments;

/// Levels within a pair that differ by more than this are worth a word.
const PAIR_DRIFT: f64 = 0.01;
/// Places of the 2 × 2 cell whose light in a flat differs by more than this have colours …
const COLOURS_APART: f64 = 0.006;
/// … if that is as many sigmas of a place's mean, and not whole rows or columns, as two converters make them.
const COLOURS_SIGMAS: f64 = 6.0;
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
            if key.kind == FrameKind::Flat && self.planes.len() == 1 {
                self.note_colour_array(&frame.pixels);
            }
        }
        if let Some(before) = self.seen.before(&frame.info.file, &frame.pixels) {
            push_once(&mut self.caveats, duplicate(before, &frame.info.file));
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
            _ => push_once(
                &mut self.caveats,
                Caveat::new(
                    "few-frames",
                    format!("the {} of {} s has no partner and was left out", key.kind, key.exposure.0),
                    "take flats in pairs: two of the same exposure, one right after the other",
                )
                .about(info.file),
            ),
        }
    }

    /// Bias and flats: every two frames are a pair.
    fn add_half(&mut self, key: StackKey, frame: Frame) {
        let partner = if self.waiting { self.previous.take() } else { None };
        let Some((first_info, first)) = partner else {
            self.previous = Some((frame.info, frame.pixels));
            self.waiting = true;
            return;
        };
        self.waiting = false;
        let region = self.region;
        for meter in &mut self.planes {
            let frames = [meter.view(&first, region), meter.view(&frame.pixels, region)];
            let Some(pair) = PairStatistics::from_frames(frames[0], frames[1]) else { continue };
            if pair.is_duplicate() {
                push_once(&mut self.caveats, duplicate(&first_info.file, &frame.info.file));
                continue;
            }
            let apart = (pair.means[0] / pair.means[1] - 1.0).abs();
            let (pair, left_out) =
                if key.kind == FrameKind::Flat { meter.sound_part(pair, frames) } else { (pair, None) };
            let of_pair = (pair.mean().0, pair.event_limit);
            meter.correlate(key.kind, [&first, &frame.pixels], region, of_pair, left_out.as_ref());
            if key.kind == FrameKind::Flat && apart > PAIR_DRIFT {
                push_once(&mut self.caveats, drift(apart, &frame.info.file));
            }
            meter.pair_pattern(key, [&first, &frame.pixels], region, &pair);
            meter.pair(key, format!("`{}` and `{}`", first_info.file, frame.info.file), pair);
        }
        self.spent = vec![first, frame.pixels];
    }

    /// Darks: every frame counts, each is compared with the one before it.
    fn add_dark(&mut self, key: StackKey, frame: Frame) {
        let region = self.region;
        let partner = self.previous.take();
        for meter in &mut self.planes {
            let before = partner.as_ref().map(|(_, pixels)| meter.view(pixels, region));
            let known = meter.dark(key, &frame.info, before, meter.view(&frame.pixels, region));
            if !known && let Some((info, _)) = &partner {
                push_once(&mut self.caveats, duplicate(&info.file, &frame.info.file));
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

    /// A flat whose four places of the 2 × 2 cell have different levels is of a colour array.
    fn note_colour_array(&mut self, pixels: &Array2<u16>) {
        let [left, top, width, height] = self.region;
        let rows = height.min(ROWS_FOR_COLOURS);
        // Even steps keep the places of the cell.
        let region = [left, top + (((height - rows) / 2) & !1), width, rows];
        let dark = self.planes[0].dark_offset();
        let level = |row: usize, column: usize| {
            let moments: Moments =
                plane_view(pixels, region, Some((row, column))).iter().map(|&code| f64::from(code)).collect();
            (moments.mean().unwrap_or(0.0) - dark, moments.variance().unwrap_or(0.0) / moments.count().max(1) as f64)
        };
        if has_colours([level(0, 0), level(0, 1), level(1, 0), level(1, 1)]) {
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

    /// The numbers of the mode, and the doubts about them.
    ///
    /// # Errors
    /// [`MeasureError::TooFewFrames`] without pairs of bias (or short dark) frames,
    /// [`MeasureError::NoGain`] without flats at three levels or a typed gain.
    pub fn finish(mut self) -> Result<(Mode, Vec<Caveat>), MeasureError> {
        self.close();
        let step = self.codes.step();
        let mut caveats = std::mem::take(&mut self.caveats);
        caveats.extend(self.codes.doubts());
        for meter in &mut self.planes {
            meter.end();
            meter.lossy_from = self.codes.lossy_from();
        }
        let (mut planes, mut points, mut noise_by_scale, mut reference) = (Vec::new(), Vec::new(), Vec::new(), None);
        for meter in &self.planes {
            let Assembled { plane, transfer, noise_by_scale: tables, caveats: doubts, reference: temperature } =
                meter.assembled(step)?;
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
                "the gain was typed: every number in electrons is as good as that gain, whose own uncertainty is not in them",
                "take flats in pairs to measure it",
            ));
        }
        caveats.extend(super::greens::doubt(&planes));
        let info = &self.first;
        let mode = Mode {
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

/// Whether the means of the four places of the 2 × 2 cell, each with its variance, are those of a colour array.
///
/// Of a colour array the places of one diagonal have one colour, those of the other two; so the diagonals differ, or rows
/// and columns both do. Two converters that take turns at columns, or at rows, make whole columns or rows differ alone.
fn has_colours(places: [(f64, f64); 4]) -> bool {
    let mean = places.iter().map(|(level, _)| level).sum::<f64>() / 4.0;
    let sigma = (places.iter().map(|(_, variance)| variance).sum::<f64>() / 4.0).sqrt();
    if mean <= 0.0 {
        return false;
    }
    let [a, b, c, d] = places.map(|(level, _)| level);
    let apart = |part: f64| part.abs() / 2.0 > (COLOURS_APART * mean).max(COLOURS_SIGMAS * sigma);
    let (of_rows, of_columns, of_diagonals) = (a + b - c - d, a + c - b - d, a + d - b - c);
    apart(of_diagonals) || (apart(of_rows) && apart(of_columns))
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

fn duplicate(first: &str, second: &str) -> Caveat {
    Caveat::new(
        "duplicate-frame",
        format!("`{first}` and `{second}` hold the same pixels; the second was left out"),
        "remove one of the two files",
    )
    .about(second)
}

fn drift(apart: f64, file: &str) -> Caveat {
    Caveat::new(
        "pair-level-drift",
        format!("the levels within a pair of flats differ by {:.1} %; the difference was scaled away", 100.0 * apart),
        "let the lamp warm up, and use exposures that are multiples of the mains period",
    )
    .about(file)
}
