//! One camera against another: the ratio of hours taken apart into what the cameras differ in.

use serde::{Deserialize, Serialize};

use crate::camera::{CameraProfile, Mode, Plane, PlaneName, Provenance};
use crate::caveat::Caveat;
use crate::rig::{ColourEfficiencies, DEFAULT_QUANTUM_EFFICIENCY, Filter, QuantumEfficiency};
use crate::stats::Estimate;
use crate::units::Colour;

use super::climate::{Cooling as Held, Darks, MeanDark, night_air};
use super::pair::{Pair, Side as SideOfPair};
use super::pictures::same_picture;
use super::sky_answer::asking_for_snr;
use super::weighed::{Weighed, as_run, best_mode, hours_with};
use super::{Verdict, factors, is_array};
use crate::night::Night;
use crate::plan::{OutOfReach, PlanError};

/// Peak of green pixels where a colour camera's filter gives none, common practice, no source.
const GREEN_PEAK: f64 = 0.5;

/// A ratio of hours in factors that multiply to it; none of them is what is left over.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Split {
    /// Dark current: the sensor's temperature and its own dark current at that temperature; `None` where only with cooling a
    /// number of hours is enough.
    pub cooling: Option<f64>,
    /// Read noise, with gain, quantisation and full well.
    pub read_noise: f64,
    /// Quantum efficiency.
    pub quantum_efficiency: f64,
    /// The infrared-cut filter before a stock colour sensor; a monochrome one has none.
    pub infrared_cut: f64,
    /// Pixel and frame size.
    pub pixel: f64,
    /// The colour array: which pixels see which colour, through which filter.
    pub sampling: f64,
}

impl Split {
    /// Of one camera with and without cooling.
    pub(super) fn of_cooling(ratio: f64) -> Self {
        let cooling = Some(ratio).filter(|ratio| ratio.is_finite());
        Self { cooling, read_noise: 1.0, quantum_efficiency: 1.0, infrared_cut: 1.0, pixel: 1.0, sampling: 1.0 }
    }

    /// The product of all factors; infinite where only with cooling a number of hours is enough.
    #[must_use]
    pub fn product(&self) -> f64 {
        self.cooling.unwrap_or(f64::INFINITY)
            * self.read_noise
            * self.quantum_efficiency
            * self.infrared_cut
            * self.pixel
            * self.sampling
    }
}

/// The own camera as its night runs it against another one as its night runs it, under the own sky and climate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Against {
    /// The other camera's name.
    pub camera: String,
    /// The other mode's gain setting.
    pub gain_setting: Option<f64>,
    /// Whether the other camera was measured or published.
    pub provenance: Provenance,
    /// Where a published profile is from.
    pub source: Option<String>,
    /// Hours of the year with the own camera over those with the other: what `split` multiplies to.
    pub time_ratio: f64,
    /// Its 95 % interval, by what the two cameras do not share.
    #[serde(default)]
    pub time_ratio_interval_95: [f64; 2],
    /// Of the hours in a year what the other camera saves; negative where it needs more.
    pub hours_saved_per_year: f64,
    /// The part of `split.cooling` that is the sensor's temperature.
    pub cooling_by_temperature: f64,
    /// The part of `split.cooling` that is the other sensor's dark current at the same temperature.
    pub cooling_by_sensor: f64,
    /// The verdict on the whole ratio.
    pub verdict: Verdict,
}

/// Against with the split beside it.
pub(super) struct AgainstWithSplit {
    pub(super) against: Against,
    pub(super) split: Split,
    pub(super) caveat: Option<Caveat>,
}

/// What cameras can differ in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Property {
    Temperature,
    DarkCurrent,
    ReadNoise,
    Efficiency,
    InfraredCut,
    Pixel,
    Sampling,
}

impl Property {
    const ALL: [Self; 7] = [
        Self::Temperature,
        Self::DarkCurrent,
        Self::ReadNoise,
        Self::Efficiency,
        Self::InfraredCut,
        Self::Pixel,
        Self::Sampling,
    ];
}

/// One of the two cameras with its night.
struct Side<'a> {
    night: Night,
    mode: &'a Mode,
    cooling: Held,
}

impl Side<'_> {
    fn is_array(&self) -> bool {
        is_array(self.mode)
    }

    fn filters(&self) -> Vec<Filter> {
        self.night.filters(self.is_array())
    }

    /// A monochrome sensor has no infrared-cut filter of its own.
    fn modified(&self) -> bool {
        !self.is_array() || self.night.camera.modified.unwrap_or(false)
    }

    fn structure(&self) -> Vec<(PlaneName, Option<Colour>, f64)> {
        self.mode.planes.iter().map(|plane| (plane.plane, plane.colour, plane.sampling)).collect()
    }
}

/// Weighs the own camera against another.
pub(super) fn against(own: &Weighed, other: &Night, camera: &CameraProfile) -> Result<AgainstWithSplit, PlanError> {
    other.check()?;
    let mut nights = [own.night.clone(), asking_for_snr(other, camera)?];
    nights[1].goal = own.night.goal.clone();
    let mut modes = [own.mode, best_mode(&nights[1], camera)?];
    let [first, second] = &mut nights;
    let caveat = same_picture([(first, modes[0]), (second, modes[1])]);
    if caveat.is_some() {
        modes[1] = best_mode(&nights[1], camera)?;
    }
    let sides = [side(&nights[0], modes[0]), side(&nights[1], modes[1])];
    let differing: Vec<Property> = Property::ALL.into_iter().filter(|property| differ(&sides, *property)).collect();
    let years = Years::new(own, &sides);
    let value = |set: u32| {
        let from_other = |property: Property| {
            differing.iter().position(|known| *known == property).is_some_and(|bit| set >> bit & 1 == 1)
        };
        let hybrid = Hybrid { sides: &sides, from_other: &from_other };
        hybrid.seconds(own, &years).map(f64::ln)
    };
    let whole = value(0)? - value((1 << differing.len()) - 1)?;
    let factors = factors(differing.len(), value)?;
    let factor_of =
        |property: Property| differing.iter().position(|known| *known == property).map_or(1.0, |at| factors[at]);
    let time_ratio = whole.exp();
    let pair = Pair { sides: [0, 1].map(|at| SideOfPair::of(nights[at].clone(), modes[at].clone())) };
    let spread = pair.spread(&pair.shared_inputs(false))?;
    let (low, high) = Estimate::<f64>::within_factor(time_ratio, spread).interval();
    let hours = own.night.cooler.clone().unwrap_or_default().hours();
    let split = Split {
        cooling: Some(factor_of(Property::Temperature) * factor_of(Property::DarkCurrent)),
        read_noise: factor_of(Property::ReadNoise),
        quantum_efficiency: factor_of(Property::Efficiency),
        infrared_cut: factor_of(Property::InfraredCut),
        pixel: factor_of(Property::Pixel),
        sampling: factor_of(Property::Sampling),
    };
    let against = Against {
        camera: camera.camera.clone(),
        gain_setting: sides[1].mode.gain_setting,
        provenance: camera.provenance,
        source: camera.source.clone(),
        time_ratio,
        time_ratio_interval_95: [low, high],
        hours_saved_per_year: hours * (1.0 - 1.0 / time_ratio),
        cooling_by_temperature: factor_of(Property::Temperature),
        cooling_by_sensor: factor_of(Property::DarkCurrent),
        verdict: Verdict::from_interval(time_ratio, Some([low, high])),
    };
    Ok(AgainstWithSplit { against, split, caveat })
}

fn side<'a>(night: &Night, mode: &'a Mode) -> Side<'a> {
    let held = night.camera.cooled();
    Side { cooling: Held::new(night, held), night: as_run(night, held), mode }
}

/// Whether the two sides differ in a property.
fn differ(sides: &[Side; 2], property: Property) -> bool {
    let [own, other] = sides;
    match property {
        Property::Temperature => {
            let mismatch = |side: &Side| side.night.calibration.dark_mismatch_k(side.night.camera.cooled());
            own.cooling != other.cooling || mismatch(own) != mismatch(other)
        }
        Property::DarkCurrent => {
            let thermal = |plane: &Plane| (plane.dark_current.clone(), plane.thermal.clone());
            let thermals = |side: &Side| side.mode.planes.iter().map(thermal).collect::<Vec<_>>();
            thermals(own) != thermals(other)
        }
        Property::ReadNoise => {
            let readout = |plane: &Plane| Plane { dark_current: vec![], thermal: None, ..plane.clone() };
            let readouts = |side: &Side| (side.mode.dn_step, side.mode.planes.iter().map(readout).collect::<Vec<_>>());
            readouts(own) != readouts(other)
        }
        Property::Efficiency => {
            let efficiencies =
                |side: &Side| side.filters().iter().map(|filter| filter.quantum_efficiency).collect::<Vec<_>>();
            efficiencies(own) != efficiencies(other) || own.is_array() != other.is_array()
        }
        Property::InfraredCut => own.modified() != other.modified(),
        Property::Pixel => {
            let size = |mode: &Mode| (mode.pixel_um, mode.width_px, mode.height_px, mode.binning);
            size(own.mode) != size(other.mode)
        }
        Property::Sampling => own.structure() != other.structure(),
    }
}

/// The year's dark current of each plane, by whose temperature and whose sensor.
struct Years {
    darks: [[Vec<MeanDark>; 2]; 2],
}

impl Years {
    fn new(own: &Weighed, sides: &[Side; 2]) -> Self {
        let climate = own.night.site.climate.clone().unwrap_or_default();
        let hours_of = |held: usize, sensor: usize| {
            let (way, mode) = (&sides[held], sides[sensor].mode);
            let darks = Darks::new(&way.night, mode);
            let months: Vec<_> =
                (1..=12).map(|month| darks.mean(&way.cooling, night_air(&climate, month), climate.spread())).collect();
            let year = |plane: usize| {
                let parts = own.weights.iter().zip(&months).map(|(weight, month)| (*weight, month[plane]));
                MeanDark::mean(&parts.collect::<Vec<_>>())
            };
            (0..mode.planes.len()).map(year).collect()
        };
        Self { darks: [[hours_of(0, 0), hours_of(0, 1)], [hours_of(1, 0), hours_of(1, 1)]] }
    }
}

/// A camera that has some properties of the one and some of the other.
struct Hybrid<'a> {
    sides: &'a [Side<'a>; 2],
    from_other: &'a dyn Fn(Property) -> bool,
}

impl Hybrid<'_> {
    fn side(&self, property: Property) -> &Side<'_> {
        &self.sides[usize::from((self.from_other)(property))]
    }

    fn mode(&self) -> Mode {
        let [structure, pixel] = [Property::Sampling, Property::Pixel].map(|property| self.side(property).mode);
        let [readout, dark] = [Property::ReadNoise, Property::DarkCurrent].map(|property| self.side(property).mode);
        let plane = |of: &Plane| {
            let (read, dark) = (&readout.planes[alike(readout, of)], &dark.planes[alike(dark, of)]);
            Plane {
                plane: of.plane,
                colour: of.colour,
                sampling: of.sampling,
                dark_current: dark.dark_current.clone(),
                thermal: dark.thermal.clone(),
                ..read.clone()
            }
        };
        Mode {
            pixel_um: pixel.pixel_um,
            width_px: pixel.width_px,
            height_px: pixel.height_px,
            binning: pixel.binning,
            dn_step: readout.dn_step,
            planes: structure.planes.iter().map(plane).collect(),
            ..structure.clone()
        }
    }

    fn night(&self, own: &Night) -> Night {
        let (structure, held) = (self.side(Property::Sampling), self.side(Property::Temperature));
        let mut night = own.clone();
        night.camera = held.night.camera.clone();
        night.camera.modified = Some(self.side(Property::InfraredCut).modified());
        night.calibration.dark_mismatch_c = held.night.calibration.dark_mismatch_c;
        // Of two sensors built alike the filters before them are no part of the camera.
        let alike = self.sides[0].structure() == self.sides[1].structure();
        night.filters = if alike { self.sides[0].filters() } else { structure.filters() };
        let efficiency = self.side(Property::Efficiency);
        for (i, filter) in night.filters.iter_mut().enumerate() {
            filter.quantum_efficiency = efficiency_for(efficiency, filter, i, structure.is_array());
        }
        night
    }

    fn seconds(&self, own: &Weighed, years: &Years) -> Result<f64, PlanError> {
        let (mode, night) = (self.mode(), self.night(&own.night));
        let index = |property: Property| usize::from((self.from_other)(property));
        let sensor = self.side(Property::DarkCurrent).mode;
        let year = &years.darks[index(Property::Temperature)][index(Property::DarkCurrent)];
        let darks: Vec<MeanDark> = mode.planes.iter().map(|plane| year[alike(sensor, plane)]).collect();
        let found = hours_with(&night, &mode, &darks)?;
        found.map(|hours| hours.seconds).ok_or_else(|| PlanError::OutOfReach {
            filter: night.filters.first().map_or_else(String::new, Filter::label),
            reach: OutOfReach::Endless,
        })
    }
}

/// The plane of a mode that stands for another's: of the same name, else of the same colour, else green, else the first.
fn alike(mode: &Mode, plane: &Plane) -> usize {
    let find = |is: &dyn Fn(&Plane) -> bool| mode.planes.iter().position(is);
    find(&|known| known.plane == plane.plane)
        .or_else(|| find(&|known| known.colour.is_some() && known.colour == plane.colour))
        .or_else(|| find(&|known| known.colour == Some(Colour::Green)))
        .unwrap_or(0)
}

/// The quantum efficiency of one side's filter of the same name, or in the same place, said for a sensor with or without a
/// colour array.
fn efficiency_for(side: &Side, filter: &Filter, place: usize, array: bool) -> Option<QuantumEfficiency> {
    let filters = side.filters();
    let named = filters.iter().find(|known| known.label() == filter.label());
    let given = named.or(filters.get(place)).or(filters.first()).and_then(|known| known.quantum_efficiency);
    match (given, side.is_array(), array) {
        // A colour array's green peak stands for the sensor.
        (Some(QuantumEfficiency::Colours(ColourEfficiencies { green, .. })), _, false) => {
            Some(QuantumEfficiency::One(green))
        }
        (None, true, false) => Some(QuantumEfficiency::One(GREEN_PEAK)),
        (None, false, true) => Some(QuantumEfficiency::One(DEFAULT_QUANTUM_EFFICIENCY)),
        (given, _, _) => given,
    }
}
