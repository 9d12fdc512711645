//! What a filter and the sensor behind it pass, as a window with numbers.

use crate::keys::key;
use crate::reading::OutOfRange;
use crate::units::{Band, Colour, EmissionLine, Micrometres, Nanometres};

use super::RigError;
use super::TransmissionCurve;
use super::array::{self, Window};
use super::curve::CurveWindow;
use super::fast_beam::Beam;
use super::filter::{DEFAULT_QUANTUM_EFFICIENCY, Filter, QuantumEfficiency};
use super::lines::{LEAST_RESPONSE, Lines, flanked};

/// Width of a line filter where none is given: filters of 3 to 12 nm are sold, common practice, no source.
pub const DEFAULT_LINE_WIDTH: Nanometres = Nanometres(6.0);
/// Peak transmission of a filter where none is given, common practice, no source.
pub const DEFAULT_FILTER_TRANSMISSION: f64 = 0.95;
/// Peak transmission of a line filter where none is given (0.85 to 0.95), from memory.
pub const DEFAULT_LINE_TRANSMISSION: f64 = 0.90;

/// Hα in air (NIST Atomic Spectra Database).
pub const H_ALPHA: Nanometres = Nanometres(656.3);
/// The stronger line of the [O III] pair (NIST).
pub const OIII: Nanometres = Nanometres(500.7);
/// The middle of the [S II] pair 671.6 and 673.1 (NIST).
pub const SII: Nanometres = Nanometres(672.4);

/// A filter up to this wide is one for a line; it is a word for messages, no number hangs on it.
const NARROW: Nanometres = Nanometres(30.0);

/// Windows of the known filters. Luminance and the colours by their trade definition, from memory: 400–700,
/// 590–690, 495–580, 395–505 nm; red is centred where the sky's red factor holds.
const LUMINANCE: Window = Window { centre: 550.0, width: 300.0, spread: 0.03 };
const RED: Window = Window { centre: 640.0, width: 100.0, spread: 0.05 };
const GREEN: Window = Window { centre: 538.0, width: 82.0, spread: 0.08 };
const BLUE: Window = Window { centre: 450.0, width: 108.0, spread: 0.06 };

/// The sensor behind the filter, as far as light is concerned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Detector {
    /// Side of a (binned) pixel.
    pub pixel: Micrometres,
    /// The colour of the plane; `None` for a monochrome sensor.
    pub colour: Option<Colour>,
    /// Whether a colour camera has lost its infrared-cut filter.
    pub modified: bool,
}

/// The filters that are known by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FilterName {
    /// `luminance`
    Luminance,
    /// `red`
    Red,
    /// `green`
    Green,
    /// `blue`
    Blue,
    /// `h-alpha`
    HAlpha,
    /// `oiii`
    Oiii,
    /// `sii`
    Sii,
    /// `dual`: Hα and [O III]
    Dual,
    /// `none`: a colour array alone
    None,
}

/// A window with what a plane sees of it.
struct SeenWindow {
    centre: Nanometres,
    width: Nanometres,
    transmission: f64,
    /// The mean response of the plane in it, of its peak.
    mean: f64,
    band: Band,
}

impl Lines<'_> {
    /// The passband of a window, where `passed` is the share of its peak that the filter passes at a wavelength.
    fn passband(&self, own: Option<Nanometres>, window: SeenWindow, passed: &impl Fn(f64) -> f64) -> Passband {
        let SeenWindow { centre, width, transmission, mean, band } = window;
        let (line, line_efficiency) = self.typed(own, [centre, width], passed);
        Passband {
            centre,
            width,
            width_relative: self.detector.colour.map_or(0.0, |_| array::RESPONSE_UNCERTAINTY),
            transmission,
            quantum_efficiency: self.peak * mean,
            line_efficiency,
            line,
            lines: self.all(passed),
            line_relative: self.relative(line, passed),
            beam_relative: self.beam.spread(line, passed),
            band,
        }
    }
}

impl FilterName {
    const KNOWN: [(&'static str, Self); 9] = [
        ("luminance", Self::Luminance),
        ("red", Self::Red),
        ("green", Self::Green),
        ("blue", Self::Blue),
        ("h-alpha", Self::HAlpha),
        ("oiii", Self::Oiii),
        ("sii", Self::Sii),
        ("dual", Self::Dual),
        ("none", Self::None),
    ];

    /// The filter that is written so in `night.toml`.
    ///
    /// # Errors
    /// When there is none, with the nearest name.
    pub fn from_name(name: &str) -> Result<Self, RigError> {
        if let Some((_, filter)) = Self::KNOWN.into_iter().find(|(known, _)| *known == name) {
            return Ok(filter);
        }
        let written = name.to_lowercase();
        let likeness = |known: &str| strsim::jaro_winkler(known, &written);
        let nearest =
            Self::KNOWN.into_iter().map(|(known, _)| known).max_by(|a, b| likeness(a).total_cmp(&likeness(b)));
        Err(RigError::UnknownFilter { name: name.to_owned(), nearest: nearest.unwrap_or_default() })
    }

    /// Whether the filter isolates emission lines.
    #[must_use]
    pub fn is_line(self) -> bool {
        !self.lines().is_empty()
    }

    /// The lines it passes, of those that are known.
    fn lines(self) -> &'static [Nanometres] {
        match self {
            Self::HAlpha => &[H_ALPHA],
            Self::Oiii => &[OIII],
            Self::Sii => &[SII],
            Self::Dual => &[H_ALPHA, OIII],
            _ => &[],
        }
    }
}

/// One window through which one plane of the sensor sees light.
#[derive(Debug, Clone, PartialEq)]
pub struct Passband {
    /// Middle of the window.
    pub centre: Nanometres,
    /// Effective width: the area under the relative response over its peak.
    pub width: Nanometres,
    /// Relative standard uncertainty of the width.
    pub width_relative: f64,
    /// Peak transmission of the filter.
    pub transmission: f64,
    /// Quantum efficiency that goes with `width`: at the peak of the response, or its mean over a window given by numbers.
    pub quantum_efficiency: f64,
    /// Quantum efficiency at the emission line that a line without a name is taken for, times the share of it that the filter
    /// passes in its beam; `None` where there is none. A line filter has its own line, any other filter Hα.
    pub line_efficiency: Option<f64>,
    /// Where that line is.
    pub line: Nanometres,
    /// The same at each of [`EmissionLine::ALL`].
    pub lines: [f64; EmissionLine::ALL.len()],
    /// Relative standard uncertainty of the efficiencies at lines beyond that of the peak.
    pub line_relative: f64,
    /// The part of it that is of what the beam takes of the line.
    pub beam_relative: f64,
    /// Where in the spectrum the plane sees sky and target.
    pub band: Band,
}

impl Passband {
    /// Whether this is a filter for a line.
    #[must_use]
    pub fn is_narrow(&self) -> bool {
        self.width <= NARROW
    }
}

impl Filter {
    /// The windows of this filter on one plane in parallel light: one, two for `dual` on a monochrome sensor, none where the
    /// plane's colour sees nothing of it.
    ///
    /// # Errors
    /// As [`Filter::passbands_in`].
    pub fn passbands(&self, detector: &Detector) -> Result<Vec<Passband>, RigError> {
        self.passbands_in(detector, &Beam::PARALLEL)
    }

    /// The windows of this filter on one plane in the beam of a telescope.
    ///
    /// # Errors
    /// When [`Filter::check`] fails, the name is not known and centre and width are missing, or filter and sensor do
    /// not fit together.
    pub fn passbands_in(&self, detector: &Detector, beam: &Beam) -> Result<Vec<Passband>, RigError> {
        self.check()?;
        if let Some(file) = &self.curve {
            let why = "has not been read".into();
            let curve = self.transmission_curve.as_ref();
            return self.windows_of(curve.ok_or(RigError::Curve { file: file.clone(), why })?, detector, beam);
        }
        let known = self.name.as_deref().map(FilterName::from_name);
        let one = |window: Option<Passband>| window.into_iter().collect();
        match (known, self.centre_nm, self.width_nm) {
            (Some(Ok(name)), None, _) => self.named(name, detector, beam),
            (Some(Ok(name)), Some(centre), width) if name.is_line() => {
                let own = name.lines().iter().find(|_| name.lines().len() == 1).copied();
                self.custom([centre, width.unwrap_or(DEFAULT_LINE_WIDTH)], own, detector, beam).map(one)
            }
            (_, Some(centre), Some(width)) => self.custom([centre, width], None, detector, beam).map(one),
            (Some(Err(unknown)), _, _) => Err(unknown),
            _ => Err(RigError::NamelessFilter),
        }
    }

    /// Its peak transmission: as given, or the usual one: that of a line filter by its name, else that of any other filter.
    #[must_use]
    pub fn transmission(&self) -> f64 {
        let known = self.name.as_deref().and_then(|name| FilterName::from_name(name).ok());
        self.transmission.unwrap_or(match known {
            Some(FilterName::None) => 1.0,
            Some(name) if name.is_line() => DEFAULT_LINE_TRANSMISSION,
            _ => DEFAULT_FILTER_TRANSMISSION,
        })
    }

    fn named(&self, name: FilterName, detector: &Detector, beam: &Beam) -> Result<Vec<Passband>, RigError> {
        let width = self.width_nm.unwrap_or(DEFAULT_LINE_WIDTH);
        let windows = match (name.lines(), detector.colour) {
            ([], Some(colour)) => vec![self.on_array(name, colour, detector)?],
            ([], None) => vec![Some(self.on_mono(name, detector)?)],
            (lines, _) => lines
                .iter()
                .map(|line| self.custom([*line, width], Some(*line), detector, beam))
                .collect::<Result<_, _>>()?,
        };
        Ok(windows.into_iter().flatten().collect())
    }

    fn on_mono(&self, name: FilterName, detector: &Detector) -> Result<Passband, RigError> {
        let (window, sees_h_alpha) = match name {
            FilterName::Red => (RED, true),
            FilterName::Green => (GREEN, false),
            FilterName::Blue => (BLUE, false),
            FilterName::None => return Err(RigError::NoFilterOnMono),
            _ => (LUMINANCE, true),
        };
        let efficiency = self.efficiency(None)?;
        // A width of one's own is the effective one of a filter that lies where its name says.
        let (centre, width) = (Nanometres(window.centre), Nanometres(window.width));
        let lines = Lines { detector, beam: &Beam::PARALLEL, peak: efficiency };
        Ok(Passband {
            centre,
            width: self.width_nm.unwrap_or(width),
            width_relative: window.spread,
            transmission: self.transmission(),
            quantum_efficiency: efficiency,
            line_efficiency: sees_h_alpha.then_some(efficiency),
            line: H_ALPHA,
            lines: lines.all(&flanked(centre, width)),
            line_relative: 0.0,
            beam_relative: 0.0,
            band: Band::window(centre, width),
        })
    }

    fn on_array(&self, name: FilterName, colour: Colour, detector: &Detector) -> Result<Option<Passband>, RigError> {
        let passes = match name {
            FilterName::Red => colour == Colour::Red,
            FilterName::Green => colour == Colour::Green,
            FilterName::Blue => colour == Colour::Blue,
            _ => true,
        };
        let modified = detector.modified;
        let Some(band) = array::band(colour, modified).filter(|_| passes) else { return Ok(None) };
        let efficiency = self.efficiency(Some(colour))?;
        let window = array::window(colour, modified);
        let at_h_alpha = array::response(colour, H_ALPHA, modified);
        let lines = Lines { detector, beam: &Beam::PARALLEL, peak: efficiency };
        Ok(Some(Passband {
            centre: Nanometres(window.centre),
            width: self.width_nm.unwrap_or(Nanometres(window.width)),
            width_relative: window.spread,
            transmission: self.transmission(),
            quantum_efficiency: efficiency,
            line_efficiency: (at_h_alpha >= LEAST_RESPONSE).then_some(efficiency * at_h_alpha),
            line: H_ALPHA,
            lines: lines.all(&|_| 1.0),
            line_relative: array::RESPONSE_UNCERTAINTY,
            beam_relative: 0.0,
            band,
        }))
    }

    /// A window given by its middle and width; on a colour array the part that the colour sees of it. `own` is the line that
    /// it is made for.
    fn custom(
        &self,
        [centre, width]: [Nanometres; 2],
        own: Option<Nanometres>,
        detector: &Detector,
        beam: &Beam,
    ) -> Result<Option<Passband>, RigError> {
        OutOfRange::check("filters.width_nm", width.0, key!(NIGHT, "filters.width_nm").low, centre.0)?;
        let peak = self.efficiency(detector.colour)?;
        let seen = match detector.colour {
            None => Some((1.0, Band::window(centre, width))),
            Some(colour) => array::seen(colour, centre, width, detector.modified),
        };
        let enough = |mean: f64| mean * width.0 >= LEAST_RESPONSE * self.most_seen(detector, width).0;
        let Some((mean, band)) = seen.filter(|(mean, _)| enough(*mean)) else { return Ok(None) };
        let window = SeenWindow { centre, width, transmission: self.transmission(), mean, band };
        Ok(Some(Lines { detector, beam, peak }.passband(own, window, &flanked(centre, width))))
    }

    /// The width that a plane sees at most of a window.
    fn most_seen(&self, detector: &Detector, width: Nanometres) -> Nanometres {
        let own = detector.colour.map_or(f64::INFINITY, |colour| array::window(colour, detector.modified).width);
        Nanometres(width.0.min(own))
    }

    /// The windows of a measured curve, each as far as the plane's colour sees it.
    fn windows_of(
        &self,
        curve: &TransmissionCurve,
        detector: &Detector,
        beam: &Beam,
    ) -> Result<Vec<Passband>, RigError> {
        let peak = self.efficiency(detector.colour)?;
        let response = |at: Nanometres| detector.colour.map_or(1.0, |c| array::response(c, at, detector.modified));
        let passband = |window: CurveWindow| {
            let mean = curve.mean_over(&window, |nm| response(Nanometres(nm)));
            let of_bell = array::bell_share(window.width);
            let weight = |nm: Nanometres| curve.at(nm.0) * (mean + of_bell * (response(nm) - mean));
            let middle = Nanometres((window.ends[0] + window.ends[1]) / 2.0);
            let band = Band::weighted(middle, Nanometres(window.ends[1] - window.ends[0]), weight)?;
            let inside = |nm: f64| (window.ends[0]..=window.ends[1]).contains(&nm);
            let passed = |nm: f64| if inside(nm) { curve.at(nm) / window.transmission } else { 0.0 };
            let enough = LEAST_RESPONSE * self.most_seen(detector, window.width).0;
            let CurveWindow { centre, width, transmission, .. } = window;
            let seen = SeenWindow { centre, width, transmission, mean, band };
            (mean * width.0 >= enough).then(|| Lines { detector, beam, peak }.passband(None, seen, &passed))
        };
        Ok(curve.windows().into_iter().filter_map(passband).collect())
    }

    /// Peak quantum efficiency of a plane: as given, or the defaults.
    fn efficiency(&self, colour: Option<Colour>) -> Result<f64, RigError> {
        match (self.quantum_efficiency, colour) {
            (None, None) => Ok(DEFAULT_QUANTUM_EFFICIENCY),
            (None, Some(colour)) => Ok(array::default_peak(colour)),
            (Some(QuantumEfficiency::One(one)), None) => Ok(one),
            (Some(QuantumEfficiency::One(green)), Some(colour)) => Ok(array::peak_beside_green(green, colour)),
            (Some(QuantumEfficiency::Colours(each)), Some(colour)) => Ok(match colour {
                Colour::Red => each.red,
                Colour::Green => each.green,
                Colour::Blue => each.blue,
            }),
            (Some(QuantumEfficiency::Colours(_)), None) => Err(RigError::ColoursOnMono),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn behind(name: &str, colour: Option<Colour>) -> Result<Vec<Passband>, RigError> {
        let filter = Filter { name: Some(name.into()), ..Filter::default() };
        filter.passbands(&Detector { pixel: Micrometres(4.0), colour, modified: false })
    }

    #[test]
    fn every_known_name_is_found_and_a_slip_gets_the_nearest() {
        for (name, filter) in FilterName::KNOWN {
            assert_eq!(FilterName::from_name(name), Ok(filter));
        }
        let slip = RigError::UnknownFilter { name: "luminence".into(), nearest: "luminance" };
        assert_eq!(FilterName::from_name("luminence"), Err(slip));
    }

    #[test]
    fn a_dual_filter_feeds_red_with_one_line_and_green_and_blue_with_the_other() {
        assert_eq!(behind("dual", None).unwrap().len(), 2);
        assert_eq!(behind("dual", Some(Colour::Red)).unwrap()[0].centre, H_ALPHA);
        assert_eq!(behind("dual", Some(Colour::Green)).unwrap()[0].centre, OIII);
        assert_eq!(behind("dual", Some(Colour::Blue)).unwrap()[0].centre, OIII);
    }

    #[test]
    fn green_and_blue_pixels_see_nothing_behind_h_alpha() {
        assert!(behind("h-alpha", Some(Colour::Green)).unwrap().is_empty());
        assert!(behind("h-alpha", Some(Colour::Blue)).unwrap().is_empty());
    }

    #[test]
    fn none_is_no_filter_for_a_monochrome_sensor() {
        assert_eq!(behind("none", None), Err(RigError::NoFilterOnMono));
    }

    #[test]
    fn a_filter_of_ones_own_needs_both_numbers() {
        let filter = Filter { centre_nm: Some(Nanometres(520.0)), ..Filter::default() };
        let detector = Detector { pixel: Micrometres(4.0), colour: None, modified: false };
        assert_eq!(filter.passbands(&detector), Err(RigError::NamelessFilter));
        let whole = Filter { width_nm: Some(Nanometres(10.0)), ..filter };
        let passband = whole.passbands(&detector).unwrap().swap_remove(0);
        assert_eq!((passband.band.centre().0.round(), passband.line_efficiency), (520.0, None));
    }

    /// A box of the luminance filter's window, as a curve.
    const WIDE_BOX: &str = "nm,T\n399.99,0\n400,0.95\n700,0.95\n700.01,0\n";
    const DUAL: &str = "nm,T\n497.69,0\n497.7,0.9\n503.7,0.9\n503.71,0\n653.29,0\n653.3,0.9\n659.3,0.9\n659.31,0\n";

    fn behind_curve(text: &str, colour: Option<Colour>, modified: bool) -> Vec<Passband> {
        let curve = TransmissionCurve::from_csv(text).unwrap();
        let filter = Filter { curve: Some("a.csv".into()), transmission_curve: Some(curve), ..Filter::default() };
        filter.passbands(&Detector { pixel: Micrometres(4.0), colour, modified }).unwrap()
    }

    #[test]
    fn a_curve_of_the_luminance_window_is_the_luminance_filter() {
        let (drawn, named) =
            (behind_curve(WIDE_BOX, None, false).swap_remove(0), behind("luminance", None).unwrap().swap_remove(0));
        approx::assert_relative_eq!(drawn.width.0, named.width.0, max_relative = 1e-3);
        assert_eq!(drawn.transmission, named.transmission);
        approx::assert_relative_eq!(drawn.band.width().0, named.band.width().0, max_relative = 1e-3);
        approx::assert_relative_eq!(
            drawn.line_efficiency.unwrap(),
            named.line_efficiency.unwrap(),
            max_relative = 1e-9
        );
    }

    #[test]
    fn a_dual_curve_feeds_the_colours_as_the_dual_filter_does() {
        for colour in [None, Some(Colour::Red), Some(Colour::Green), Some(Colour::Blue)] {
            let mut named = behind("dual", colour).unwrap();
            named.sort_by(|a, b| a.centre.0.total_cmp(&b.centre.0));
            let drawn = behind_curve(DUAL, colour, false);
            assert_eq!(drawn.len(), named.len(), "{colour:?}");
            for (drawn, named) in drawn.iter().zip(&named) {
                // Steps of 0.1 nm in a window of 6 nm.
                approx::assert_relative_eq!(drawn.width.0, named.width.0, max_relative = 0.02);
                approx::assert_relative_eq!(drawn.quantum_efficiency, named.quantum_efficiency, max_relative = 5e-3);
                let lines = (drawn.line_efficiency.unwrap(), named.line_efficiency.unwrap());
                approx::assert_relative_eq!(lines.0, lines.1, max_relative = 1e-9);
            }
        }
    }

    #[test]
    fn a_curve_that_was_not_read_is_no_filter() {
        let filter = Filter { name: Some("red".into()), curve: Some("a.csv".into()), ..Filter::default() };
        let detector = Detector { pixel: Micrometres(4.0), colour: None, modified: false };
        assert!(matches!(filter.passbands(&detector), Err(RigError::Curve { .. })));
    }
}
