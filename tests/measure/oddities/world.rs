//! A sensor and its light, written apart from the simulator of the library: what the frames show is what is said here.

use ndarray::Array2;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Poisson, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;
use subwell::camera::Mode;
use subwell::caveat::Caveat;
use subwell::frames::{Frame, FrameInfo, FrameKind};
use subwell::sensor::{MeasureError, MeasureOptions, ModeMeasurement, StackKey};
use subwell::units::Seconds;

/// A sensor of known truth.
pub(super) struct World {
    pub(super) gain: f64,
    pub(super) offset: f64,
    pub(super) read: f64,
    /// Electrons at which a pixel is full.
    pub(super) well: f64,
    /// The highest and the lowest code.
    pub(super) codes: (f64, f64),
    /// Curvature of the transfer curve per electron.
    pub(super) curvature: f64,
    /// Share of its charge that a pixel gives to each of four neighbours.
    pub(super) share: f64,
    /// What each pixel makes of light, and its own level in electrons.
    pub(super) response: Array2<f64>,
    pub(super) dsnu: Array2<f64>,
    pub(super) random: Xoshiro256PlusPlus,
    pub(super) frames: Vec<Frame>,
}

impl World {
    /// 1.1 e⁻/DN, 3 e⁻ read noise, 14 bits, a well that the converter does not reach, PRNU 0.6 %.
    pub(super) fn new(rows: usize, columns: usize, seed: u64) -> Self {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut normal = |sigma: f64| -> f64 { sigma * Distribution::<f64>::sample(&StandardNormal, &mut random) };
        let response = Array2::from_shape_fn((rows, columns), |_| 1.0 + normal(0.006));
        let dsnu = Array2::from_shape_fn((rows, columns), |_| normal(0.6));
        Self {
            gain: 1.1,
            offset: 300.0,
            read: 3.0,
            well: f64::INFINITY,
            codes: (16_383.0, 0.0),
            curvature: 0.0,
            share: 0.0,
            response,
            dsnu,
            random,
            frames: Vec::new(),
        }
    }

    pub(super) fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.random)
    }

    pub(super) fn uniform(&mut self) -> f64 {
        self.random.random()
    }

    /// A frame with so many electrons expected in each pixel of even response.
    pub(super) fn pixels(&mut self, electrons: impl Fn(usize, usize) -> f64) -> Array2<u16> {
        let (rows, columns) = self.response.dim();
        let mut charge = Array2::zeros((rows, columns));
        for ((row, column), charge) in charge.indexed_iter_mut() {
            let expected = (electrons(row, column) * self.response[(row, column)]).max(0.0);
            let drawn: f64 = if expected <= 0.0 {
                0.0
            } else if expected > 1000.0 {
                // A normal law is a Poisson law to a part in ten thousand of its skewness here.
                expected + expected.sqrt() * Distribution::<f64>::sample(&StandardNormal, &mut self.random)
            } else {
                Poisson::new(expected).unwrap().sample(&mut self.random)
            };
            *charge = expected + (drawn - expected) * (1.0 + self.curvature * expected).max(0.0).sqrt();
        }
        if self.share > 0.0 {
            let own: Array2<f64> = charge.clone();
            let at = |row: isize, column: isize| {
                own[(row.rem_euclid(rows as isize) as usize, column.rem_euclid(columns as isize) as usize)]
            };
            for ((row, column), charge) in charge.indexed_iter_mut() {
                let (row, column) = (row as isize, column as isize);
                let near = at(row - 1, column) + at(row + 1, column) + at(row, column - 1) + at(row, column + 1);
                *charge += self.share * (near - 4.0 * at(row, column));
            }
        }
        let mut codes = Array2::zeros((rows, columns));
        for (((row, column), charge), code) in charge.indexed_iter().zip(codes.iter_mut()) {
            let noise = self.read * Distribution::<f64>::sample(&StandardNormal, &mut self.random);
            let level = (charge.min(self.well) + self.dsnu[(row, column)] + noise) / self.gain + self.offset;
            *code = level.round().clamp(self.codes.1, self.codes.0) as u16;
        }
        codes
    }

    pub(super) fn take(&mut self, kind: FrameKind, exposure: f64, electrons: impl Fn(usize, usize) -> f64) {
        let pixels = self.pixels(electrons);
        let (height, width) = pixels.dim();
        let info = FrameInfo {
            file: format!("{kind}_{:03}.fits", self.frames.len()),
            kind,
            why: "header".into(),
            camera: None,
            width,
            height,
            gain_setting: None,
            offset_setting: None,
            readout_mode: None,
            binning: [1, 1],
            pixel: None,
            exposure: Seconds(exposure),
            sensor: None,
            set_point: None,
            cfa: None,
            taken: None,
            filter: None,
        };
        self.frames.push(Frame { info, pixels });
    }

    pub(super) fn biases(&mut self, count: usize) {
        (0..count).for_each(|_| self.take(FrameKind::Bias, 0.0, |_, _| 0.0));
    }

    /// Pairs of flats, `light` of so many electrons in the middle of a field that falls off by `vignetting` in the corners.
    pub(super) fn ladder(&mut self, levels: &[f64], vignetting: f64) {
        for &level in levels {
            for _ in 0..2 {
                let fall = self.falloff(vignetting);
                self.take(FrameKind::Flat, level / 1000.0, |row, column| level * fall(row, column));
            }
        }
    }

    /// 1 in the middle, less by `share` in the corners.
    pub(super) fn falloff(&self, share: f64) -> impl Fn(usize, usize) -> f64 + use<> {
        let (rows, columns) = self.response.dim();
        move |row, column| {
            let y = (row as f64 / rows as f64 - 0.5) * 2.0;
            let x = (column as f64 / columns as f64 - 0.5) * 2.0;
            1.0 - share * (x * x + y * y) / 2.0
        }
    }

    pub(super) fn measured(self) -> Result<(Mode, Vec<Caveat>), MeasureError> {
        self.measured_with(MeasureOptions::default())
    }

    /// Measures the frames as the program does: stack by stack.
    pub(super) fn measured_with(mut self, options: MeasureOptions) -> Result<(Mode, Vec<Caveat>), MeasureError> {
        let key = |info: &FrameInfo| StackKey { kind: info.kind, exposure: info.exposure, sensor: info.sensor };
        self.frames.sort_by_key(|frame| key(&frame.info).order());
        let mut measurement = ModeMeasurement::new(&self.frames[0].info, options)?;
        for frame in self.frames {
            measurement.add(key(&frame.info), frame)?;
        }
        measurement.finish()
    }
}

/// How many of some intervals held the truth, how wide they were, and how far off their middles.
#[derive(Default)]
pub(super) struct Tally {
    pub(super) held: usize,
    pub(super) of: usize,
    pub(super) widest: f64,
    pub(super) errors: Vec<f64>,
    pub(super) widths: Vec<f64>,
}

impl Tally {
    pub(super) fn add<Q: subwell::units::Quantity>(&mut self, estimate: &subwell::stats::Estimate<Q>, truth: f64) {
        let plain = estimate.scaled::<f64>(1.0);
        let (low, high) = plain.interval();
        self.held += usize::from((low..=high).contains(&truth));
        self.of += 1;
        let half = (high - low) / 2.0 / truth;
        self.widest = self.widest.max(half);
        self.widths.push(half);
        self.errors.push(plain.value / truth - 1.0);
    }

    pub(super) fn share(&self) -> f64 {
        self.held as f64 / self.of as f64
    }

    pub(super) fn worst(&self) -> f64 {
        self.errors.iter().fold(0.0, |worst, error| worst.max(error.abs()))
    }

    pub(super) fn print(&self, what: &str) {
        let mean = |values: &[f64]| 100.0 * values.iter().sum::<f64>() / values.len().max(1) as f64;
        println!(
            "{what}: held {} of {}, mean error {:+.2} %, worst {:.2} %, interval ± {:.2} % in the mean, ± {:.2} % at most",
            self.held,
            self.of,
            mean(&self.errors),
            100.0 * self.worst(),
            mean(&self.widths),
            100.0 * self.widest
        );
    }
}
