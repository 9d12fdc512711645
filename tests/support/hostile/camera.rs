//! From a shot to its codes.

use super::body::Body;
use super::chance::Chance;
use super::fault::{Fault, Taking, Trapped};
use super::field::Field;
use super::shot::{Kind, Shot};

/// A body, what is wrong with it, and its own pattern of pixels.
#[derive(Debug, Clone)]
pub(crate) struct Camera {
    pub(crate) body: Body,
    faults: Vec<Fault>,
    seed: u64,
    /// Answer of each pixel to light, 1 in the mean.
    response: Field,
    /// Dark current of each pixel over the mean pixel's.
    dark: Field,
    /// Level of each pixel in electrons.
    zero: Field,
    trapped: Option<Trapped>,
    taken: usize,
}

impl Camera {
    pub(crate) fn new(body: Body, faults: Vec<Fault>, seed: u64) -> Self {
        let mut chance = Chance::new(seed);
        let even = |value| Field::even(body.width, body.height, value);
        let (mut response, mut dark, mut zero) = (even(1.0), even(0.0), even(0.0));
        response.each(|_, _, value| *value += body.prnu * chance.normal());
        faults.iter().for_each(|fault| fault.shape_response(&mut response));
        dark.each(|_, _, value| *value = (body.dark_spread * chance.normal()).exp());
        zero.each(|_, _, value| *value = body.dsnu * chance.normal());
        let mean = dark.mean();
        dark.scale(1.0 / mean);
        Self { body, faults, seed, response, dark, zero, trapped: None, taken: 0 }
    }

    /// Standard deviation of the pixels' answer over its mean, in percent.
    pub(crate) fn prnu_percent(&self) -> f64 {
        let mean = self.response.mean();
        let squares = self.response.values.iter().map(|value| (value / mean - 1.0).powi(2)).sum::<f64>();
        100.0 * (squares / self.response.values.len() as f64).sqrt()
    }

    /// Share of the columns that jump.
    pub(crate) fn jumping_share(&self) -> f64 {
        let of_fault = |(place, fault): (usize, &Fault)| {
            let Fault::Columns { jumping, .. } = fault else { return None };
            let mut which = self.fixed(place);
            Some((0..self.body.width).filter(|_| which.happens(*jumping)).count() as f64 / self.body.width as f64)
        };
        self.faults.iter().enumerate().find_map(of_fault).unwrap_or(0.0)
    }

    /// Chance of the fault at `place` that is the same in all frames.
    fn fixed(&self, place: usize) -> Chance {
        Chance::new(self.seed ^ (0xD1CE + place as u64))
    }

    /// The codes of one shot; shots come in the order they were taken.
    pub(crate) fn expose(&mut self, shot: &Shot) -> Vec<u16> {
        let number = self.taken;
        self.taken += 1;
        let mut chance = Chance::new(self.seed.wrapping_mul(0x9E37_79B9).wrapping_add(7 + number as u64));
        let mut charge = self.expected(shot, number, &mut chance);
        let full = self.body.saturation();
        let frames = f64::from(shot.mean_of);
        charge.each(|_, _, value| {
            let scatter = self.body.scatter(*value) * (chance.poisson(frames * *value) / frames - *value);
            *value = (*value + scatter).min(self.body.well);
        });
        for fault in &self.faults {
            if let Some(trapped) = Trapped::after(*fault, shot, &charge, full) {
                self.trapped = Some(trapped);
            }
        }
        let mut level = self.level(shot, number, &mut chance);
        self.faults.iter().for_each(|fault| fault.shape_signal(&mut charge, shot));
        let body = &self.body;
        let (gain, read) = (body.gain * shot.gain_times, body.read / frames.sqrt());
        let mut codes = Vec::with_capacity(body.pixels());
        for ((level, charge), zero) in level.values.iter_mut().zip(&charge.values).zip(&self.zero.values) {
            let steps = *level + (charge + zero + read * chance.normal()) / gain;
            codes.push((steps.round().clamp(0.0, body.top) * f64::from(body.step)).min(65_535.0) as u16);
        }
        self.spoil(shot, &mut codes);
        codes
    }

    /// Electrons expected in each pixel.
    fn expected(&self, shot: &Shot, number: usize, chance: &mut Chance) -> Field {
        let body = &self.body;
        let mut charge = Field::even(body.width, body.height, shot.light * shot.exposure_s);
        if shot.kind == Kind::Flat {
            for (place, fault) in self.faults.iter().enumerate() {
                fault.shape_light(&mut charge, &self.taking(shot, number, place), chance);
            }
            charge.values.iter_mut().zip(&self.response.values).for_each(|(value, response)| *value *= response);
        }
        let dark = body.dark.at(shot.celsius) * shot.exposure_s;
        charge.values.iter_mut().zip(&self.dark.values).for_each(|(value, factor)| *value += dark * factor);
        self.faults.iter().for_each(|fault| fault.add_charge(&mut charge, shot));
        if let Some(trapped) = &self.trapped {
            trapped.come_out(&mut charge, shot);
        }
        charge
    }

    /// The level of each pixel without charge, in steps.
    fn level(&self, shot: &Shot, number: usize, chance: &mut Chance) -> Field {
        let body = &self.body;
        let level =
            body.offset + shot.offset_plus + body.offset_per_kelvin * shot.celsius + body.jitter * chance.normal();
        let mut level = Field::even(body.width, body.height, level);
        for (place, fault) in self.faults.iter().enumerate() {
            fault.add_level(&mut level, &self.taking(shot, number, place), chance);
        }
        level
    }

    /// What the fault at `place` sees of a frame.
    fn taking<'a>(&self, shot: &'a Shot, number: usize, place: usize) -> Taking<'a> {
        Taking { shot, number, fixed: self.fixed(place) }
    }

    /// What happens to the codes after the converter.
    fn spoil(&self, shot: &Shot, codes: &mut [u16]) {
        for fault in &self.faults {
            if let Fault::Clamp { code } = fault {
                codes.iter_mut().for_each(|value| *value = (*value).max(*code));
            }
            if matches!(fault, Fault::CutPeaks { from_s } if shot.exposure_s > *from_s) {
                cut_peaks(codes, self.body.width);
            }
        }
        if shot.zeroed_block {
            let rows = self.body.height / 4;
            codes[..rows * self.body.width].fill(0);
        }
    }
}

/// Lowers each pixel to the highest of its eight neighbours where it is above all of them.
fn cut_peaks(codes: &mut [u16], width: usize) {
    let before = codes.to_vec();
    let height = before.len() / width;
    for (place, code) in codes.iter_mut().enumerate() {
        let (row, column) = (place / width, place % width);
        let rows = row.saturating_sub(1)..(row + 2).min(height);
        let around =
            rows.flat_map(|row| (column.saturating_sub(1)..(column + 2).min(width)).map(move |c| row * width + c));
        let highest = around.filter(|other| *other != place).map(|other| before[other]).max();
        *code = (*code).min(highest.unwrap_or(u16::MAX));
    }
}
