//! A world in which something does not hold: what is taken of it, what is true there, and what is asked.

use crate::whole_frames::{Body, Camera, Chance, Fault, Session, Shot};

/// A number that is asked of the program.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Quantity {
    /// Electrons per DN; of the mode with this setting where there are several.
    Gain(Option<f64>),
    /// Temporal noise of every pixel in the dark, in electrons.
    ReadNoise,
    /// Dark current of the mean pixel at each temperature that the profile has a point for.
    Dark,
    /// Dark current of the mean pixel at this temperature, as a plan would take it.
    DarkAt(f64),
    /// What cooling does not lower, e⁻/s.
    Floor,
    /// Electrons at saturation.
    Saturation,
    /// Spread of the pixels' response in percent.
    Prnu,
}

impl Quantity {
    pub(crate) fn name(self) -> String {
        match self {
            Self::Gain(None) => "gain".into(),
            Self::Gain(Some(setting)) => format!("gain at {setting}"),
            Self::ReadNoise => "read noise".into(),
            Self::Dark => "dark current".into(),
            Self::DarkAt(celsius) => format!("dark current at {celsius} °C"),
            Self::Floor => "floor".into(),
            Self::Saturation => "saturation".into(),
            Self::Prnu => "PRNU".into(),
        }
    }
}

/// How wide an interval may be in the middle of all runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Width {
    /// Half of it, in percent of the truth.
    Percent(f64),
    /// From its middle to its ends by this factor.
    Factor(f64),
    /// So many times that of the same quantity in another world.
    Times(f64, &'static str),
}

/// One number that is asked: its truth, and the range of what was true at some time or somewhere in the set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Asked {
    pub(crate) quantity: Quantity,
    pub(crate) truth: f64,
    /// Who names the cause may answer with any of these.
    pub(crate) reach: [f64; 2],
    pub(crate) at_most: Option<Width>,
    /// Percent of the truth that the value itself may be off, whatever its interval.
    pub(crate) within: Option<f64>,
    /// Percent of the intervals that hold the truth: no fewer and no more.
    pub(crate) exactly: Option<[f64; 2]>,
}

impl Asked {
    pub(crate) fn new(quantity: Quantity, truth: f64) -> Self {
        Self { quantity, truth, reach: [truth, truth], at_most: None, within: None, exactly: None }
    }

    /// Dark current: its truth is the law's, at the temperature that each point names.
    pub(crate) fn dark() -> Self {
        Self::new(Quantity::Dark, 0.0)
    }

    pub(crate) fn reaching(self, low: f64, high: f64) -> Self {
        Self { reach: [low, high], ..self }
    }

    pub(crate) fn within(self, percent: f64) -> Self {
        Self { within: Some(percent), ..self }
    }

    pub(crate) fn held_in(self, low: f64, high: f64) -> Self {
        Self { exactly: Some([low, high]), ..self }
    }

    pub(crate) fn at_most(self, width: Width) -> Self {
        Self { at_most: Some(width), ..self }
    }
}

/// One set of frames, what is true of it, and what is asked.
pub(crate) struct Set {
    pub(crate) camera: Camera,
    pub(crate) shots: Vec<Shot>,
    pub(crate) asked: Vec<Asked>,
    /// A gain that is typed, in e⁻/DN.
    pub(crate) typed_gain: Option<f64>,
}

impl Set {
    pub(crate) fn new(
        body: Body,
        faults: Vec<Fault>,
        session: Session,
        chance: &mut Chance,
        asked: Vec<Asked>,
    ) -> Self {
        let camera = Camera::new(body, faults, (chance.share() * 4e9) as u64);
        Self { camera, shots: session.shots, asked, typed_gain: None }
    }
}

/// A world in which something does not hold.
pub(crate) struct World {
    pub(crate) name: &'static str,
    /// Codes of caveats and refusals that name the true cause.
    pub(crate) causes: &'static [&'static str],
    /// Whether one of them must be said, however good the numbers are.
    pub(crate) must_say: bool,
    /// Codes that name a cause that is not there.
    pub(crate) never: &'static [&'static str],
    /// Whether nothing but the size of the number itself makes its interval wide.
    pub(crate) is_open: bool,
    /// How many times as many runs as others it takes to tell.
    pub(crate) times: usize,
    pub(crate) make: fn(&mut Chance) -> Set,
}

impl World {
    pub(crate) const fn new(name: &'static str, make: fn(&mut Chance) -> Set) -> Self {
        Self { name, causes: &[], must_say: false, never: &[], is_open: false, times: 1, make }
    }

    pub(crate) const fn caused(self, causes: &'static [&'static str]) -> Self {
        Self { causes, ..self }
    }

    pub(crate) const fn must_be_said(self) -> Self {
        Self { must_say: true, ..self }
    }

    pub(crate) const fn open(self) -> Self {
        Self { is_open: true, ..self }
    }

    pub(crate) const fn times(self, times: usize) -> Self {
        Self { times, ..self }
    }

    pub(crate) const fn never(self, codes: &'static [&'static str]) -> Self {
        Self { never: codes, ..self }
    }

    /// The set of frames that this seed draws; no two worlds draw the same.
    pub(crate) fn set(&self, seed: u64) -> Set {
        let own = self.name.bytes().fold(17_u64, |sum, byte| sum.wrapping_mul(31).wrapping_add(u64::from(byte)));
        (self.make)(&mut Chance::new(seed.wrapping_mul(1_000_003).wrapping_add(own)))
    }
}

/// Shares of saturation of a usual ladder of flats.
pub(crate) const LADDER: [f64; 8] = [0.03, 0.06, 0.12, 0.2, 0.3, 0.4, 0.5, 0.6];

/// A sensor drawn about the sound one.
pub(crate) fn body(chance: &mut Chance) -> Body {
    let gain = chance.spread(0.8, 3.0);
    let read = gain * chance.spread(1.5, 4.0);
    let dark = crate::whole_frames::DarkLaw::of_depletion(chance.spread(0.1, 0.5));
    Body { gain, read, dark, offset: 300.0 + chance.share(), ..Body::sound() }
}

/// Twelve bias frames and a ladder of eight pairs.
pub(crate) fn bias_and_flats(session: &mut Session, body: &Body) {
    session.bias(12);
    let saturation = body.saturation();
    session.flat_ladder(&LADDER.map(|share| share * saturation));
}

/// Gain and read noise, both without a fault.
pub(crate) fn gain_and_read(body: &Body) -> Vec<Asked> {
    vec![Asked::new(Quantity::Gain(None), body.gain_per_dn()), Asked::new(Quantity::ReadNoise, body.read)]
}

/// The same with the dark current.
pub(crate) fn everything(body: &Body) -> Vec<Asked> {
    let mut asked = gain_and_read(body);
    asked.push(Asked::dark());
    asked
}

/// Three darks of each exposure, short and long in turn, and the same backwards.
pub(crate) fn darks_in_turn(session: &mut Session) {
    [60.0, 180.0, 300.0, 300.0, 180.0, 60.0].into_iter().for_each(|exposure| session.dark(3, exposure));
}
