//! The frames of a session: what they really were, and what their headers say.

/// What a frame was really taken for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Bias,
    Dark,
    Flat,
}

impl Kind {
    /// The word that cameras put into headers.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Bias => "Bias Frame",
            Self::Dark => "Dark Frame",
            Self::Flat => "Flat Frame",
        }
    }

    /// The folder that the checklists advise.
    pub(crate) fn folder(self) -> &'static str {
        match self {
            Self::Bias => "bias",
            Self::Dark => "darks",
            Self::Flat => "flats",
        }
    }
}

/// What a header says; `None` leaves the card out.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Told {
    pub(crate) kind: Option<&'static str>,
    pub(crate) exposure_s: Option<f64>,
    pub(crate) celsius: Option<f64>,
    pub(crate) set_point: Option<f64>,
    pub(crate) gain: Option<f64>,
    pub(crate) iso: Option<f64>,
    pub(crate) offset: Option<f64>,
    pub(crate) pattern: Option<&'static str>,
    pub(crate) filter: Option<&'static str>,
    pub(crate) camera: Option<&'static str>,
    pub(crate) binning: Option<u32>,
    pub(crate) pixel_um: Option<f64>,
    /// Whether the time is told.
    pub(crate) clock: bool,
}

/// One frame.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Shot {
    /// Where it lies in the folder.
    pub(crate) file: String,
    pub(crate) kind: Kind,
    pub(crate) exposure_s: f64,
    /// e⁻/s in the middle of the frame.
    pub(crate) light: f64,
    /// The sensor's temperature.
    pub(crate) celsius: f64,
    /// What the header says above what the sensor had: when it was read if it tells the truth, else in the middle of the exposure.
    pub(crate) header_off: f64,
    /// Start of the exposure, seconds after the session began.
    pub(crate) at_s: f64,
    /// Another setting: the body's electrons per step are times this.
    pub(crate) gain_times: f64,
    /// Another setting: steps on top of the body's level.
    pub(crate) offset_plus: f64,
    /// So many frames were averaged before they were stored.
    pub(crate) mean_of: u32,
    /// A block of the file holds zeros.
    pub(crate) zeroed_block: bool,
    pub(crate) told: Told,
}

/// Frames as they were taken, one after the other.
#[derive(Debug, Clone)]
pub(crate) struct Session {
    pub(crate) shots: Vec<Shot>,
    pub(crate) clock_s: f64,
    /// The sensor's temperature.
    pub(crate) celsius: f64,
    /// Kelvins that it warms with each frame.
    pub(crate) warming: f64,
    /// Kelvins above `celsius` at the beginning, and the seconds over which they fall to 1/e.
    pub(crate) settles: (f64, f64),
    /// What headers say of the temperature: the truth, or what was told to be said.
    pub(crate) says: Says,
    /// Seconds between two frames.
    pub(crate) pause_s: f64,
}

/// What headers say of the temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Says {
    /// The sensor's own, to a tenth of a kelvin.
    Truth,
    /// Nothing.
    Nothing,
    /// Always this.
    Always(f64),
    /// As far on the other side of this.
    Reversed(f64),
}

impl Session {
    pub(crate) fn new(celsius: f64) -> Self {
        Self {
            shots: Vec::new(),
            clock_s: 0.0,
            celsius,
            warming: 0.0,
            settles: (0.0, 1.0),
            says: Says::Truth,
            pause_s: 2.0,
        }
    }

    /// Takes a frame; it may be changed afterwards.
    pub(crate) fn take(&mut self, kind: Kind, exposure_s: f64, light: f64) -> &mut Shot {
        let (kelvins, over_s) = self.settles;
        let at = |clock: f64| self.celsius + kelvins * (-clock / over_s).exp();
        let rounded = |celsius: f64| (celsius * 10.0).round() / 10.0;
        let middle = at(self.clock_s + exposure_s / 2.0);
        let had = if self.says == Says::Truth { at(self.clock_s) } else { middle };
        let celsius = match self.says {
            Says::Truth => Some(rounded(at(self.clock_s))),
            Says::Nothing => None,
            Says::Always(celsius) => Some(celsius),
            Says::Reversed(about) => Some(rounded(2.0 * about - at(self.clock_s))),
        };
        let told = Told {
            kind: Some(kind.word()),
            exposure_s: Some(exposure_s),
            celsius,
            set_point: None,
            gain: Some(10.0),
            iso: None,
            offset: None,
            pattern: None,
            filter: None,
            camera: Some("Made-up camera"),
            binning: None,
            pixel_um: Some(3.8),
            clock: true,
        };
        self.shots.push(Shot {
            file: format!("{}/{:04}.fits", kind.folder(), self.shots.len() + 1),
            kind,
            exposure_s,
            light: if kind == Kind::Flat { light } else { 0.0 },
            celsius: middle,
            header_off: celsius.map_or(0.0, |told| told - had),
            at_s: self.clock_s,
            gain_times: 1.0,
            offset_plus: 0.0,
            mean_of: 1,
            zeroed_block: false,
            told,
        });
        self.clock_s += exposure_s + self.pause_s;
        self.celsius += self.warming;
        self.shots.last_mut().expect("one was taken")
    }

    /// Takes `count` frames without light.
    pub(crate) fn dark(&mut self, count: usize, exposure_s: f64) {
        (0..count).for_each(|_| {
            self.take(Kind::Dark, exposure_s, 0.0);
        });
    }

    /// Takes `count` bias frames.
    pub(crate) fn bias(&mut self, count: usize) {
        (0..count).for_each(|_| {
            self.take(Kind::Bias, 0.0, 0.0);
        });
    }

    /// Takes a pair of flats at each level, in electrons, by longer exposures of a steady lamp of 20,000 e⁻/s.
    pub(crate) fn flat_ladder(&mut self, levels: &[f64]) {
        for level in levels {
            for _ in 0..2 {
                self.take(Kind::Flat, level / 20_000.0, 20_000.0);
            }
        }
    }

    /// Lets time pass.
    pub(crate) fn wait(&mut self, seconds: f64) {
        self.clock_s += seconds;
    }
}
