//! `[optics]` of `night.toml`, and the way from light before the telescope to electrons in a pixel, one factor after the other.

use std::f64::consts::PI;

use serde::{Deserialize, Serialize};

use crate::keys::{check_all, key};
use crate::stats::Estimate;
use crate::units::{
    Arcseconds, ElectronsPerSecond, EmissionLine, Magnitudes, MagnitudesPerSquareArcsecond, Micrometres, Millimetres,
    Nanometres, PHOTONS_OF_V_MAGNITUDE_0, PHOTONS_OF_V_MAGNITUDE_0_UNCERTAINTY, PhotonDensity, Quantity, Rayleighs,
    SquareCentimetres,
};

use super::{Beam, Detector, Filter, Passband, RigError};

/// Arcseconds in a radian.
const ARCSECONDS_PER_RADIAN: f64 = 648_000.0 / PI;

/// Relative standard uncertainty of quantum efficiency and transmissions together, typed from data sheets: common
/// practice, no source.
const THROUGHPUT_UNCERTAINTY: f64 = 0.10;
/// Relative standard uncertainty of a star's photons per nm in another band than V: a sunlike spectrum differs from V's by
/// up to 17 %, derived here.
const COLOUR_UNCERTAINTY: f64 = 0.10;

/// Transmission of the optics where none is given: a coated refractor, common practice, no source.
pub const DEFAULT_TRANSMISSION: f64 = key!(NIGHT, "optics.transmission").number();

/// `[optics]`: the telescope or lens.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct Optics {
    /// Diameter of the aperture.
    pub aperture_mm: Millimetres,
    /// Focal length, reducers included.
    pub focal_length_mm: Millimetres,
    /// Diameter of the central obstruction.
    #[serde(default)]
    pub obstruction_mm: Option<Millimetres>,
    /// Share of the light that reaches the filter: mirrors, lenses, windows.
    #[serde(default)]
    pub transmission: Option<f64>,
    /// Electrons that stars gave over those that the typed numbers promise, as `sky --star --write` found it.
    #[serde(default)]
    pub throughput_ratio: Option<Estimate<f64>>,
}

impl Optics {
    /// Checks what the types cannot.
    ///
    /// # Errors
    /// When a length is not above 0, the obstruction covers the aperture, or the transmission is no share.
    pub fn check(&self) -> Result<(), RigError> {
        check_all([
            (key!(NIGHT, "optics.aperture_mm"), Some(self.aperture_mm.0)),
            (key!(NIGHT, "optics.focal_length_mm"), Some(self.focal_length_mm.0)),
            (key!(NIGHT, "optics.obstruction_mm"), self.obstruction_mm.map(Quantity::get)),
            (key!(NIGHT, "optics.transmission"), self.transmission),
            (key!(NIGHT, "optics.throughput_ratio"), self.throughput_ratio.map(|ratio| ratio.value)),
        ])?;
        if self.obstruction() >= self.aperture_mm {
            return Err(RigError::Obstructed { aperture_mm: self.aperture_mm.0, obstruction_mm: self.obstruction().0 });
        }
        Ok(())
    }

    /// The obstruction's diameter, or 0 mm.
    #[must_use]
    pub fn obstruction(&self) -> Millimetres {
        self.obstruction_mm.unwrap_or(Millimetres(key!(NIGHT, "optics.obstruction_mm").number()))
    }

    /// The transmission, or [`DEFAULT_TRANSMISSION`].
    #[must_use]
    pub fn transmission(&self) -> f64 {
        self.transmission.unwrap_or(DEFAULT_TRANSMISSION)
    }

    /// The angle that a pixel's side covers.
    ///
    /// ```text
    /// s = 206.265″ · p[µm] / f[mm]
    /// ```
    ///
    /// ```
    /// use subwell::{rig::Optics, units::{Micrometres, Millimetres}};
    /// let optics = Optics {
    ///     aperture_mm: Millimetres(72.0),
    ///     focal_length_mm: Millimetres(424.8),
    ///     obstruction_mm: None,
    ///     transmission: None,
    ///     throughput_ratio: None,
    /// };
    /// assert!((optics.pixel_scale(Micrometres(3.76)).0 - 1.82570).abs() < 5e-6);
    /// ```
    #[must_use]
    pub fn pixel_scale(&self, pixel: Micrometres) -> Arcseconds {
        Arcseconds(ARCSECONDS_PER_RADIAN * pixel.0 * 1e-3 / self.focal_length_mm.0)
    }

    /// The area that gathers light: the aperture without its obstruction.
    ///
    /// ```text
    /// A = π/4 (D² − d²)
    /// ```
    #[must_use]
    pub fn collecting_area(&self) -> SquareCentimetres {
        let square_mm = self.aperture_mm.0.powi(2) - self.obstruction().0.powi(2);
        SquareCentimetres(PI / 4.0 * square_mm / 100.0)
    }
}

/// What a target shines with, outside the atmosphere.
#[derive(Debug, Clone, PartialEq)]
pub struct TargetLight {
    /// Its continuum in V.
    pub continuum: Option<MagnitudesPerSquareArcsecond>,
    /// The continuum's photons per nm in the band over those in V, and how sure continuum and colour are.
    pub colour: Estimate<f64>,
    /// A line without a name.
    pub line: Option<Rayleighs>,
    /// Lines by name, in the order of [`EmissionLine::ALL`].
    pub lines: [Option<Estimate<Rayleighs>>; EmissionLine::ALL.len()],
}

impl Default for TargetLight {
    /// Nothing.
    fn default() -> Self {
        Self { continuum: None, colour: Estimate::new(1.0, 0.0), line: None, lines: [None; EmissionLine::ALL.len()] }
    }
}

/// Every factor between the light before the telescope and the electrons in one pixel, for one window of one plane.
///
/// ```text
/// continuum:  e⁻/s/px = photons s⁻¹ cm⁻² arcsec⁻² nm⁻¹ · A · s² · T_optics · T_filter · W · QE
/// line:       e⁻/s/px = photons s⁻¹ cm⁻² arcsec⁻²      · A · s² · T_optics · T_filter · QE_line
/// star:       e⁻/s    = photons s⁻¹ cm⁻² nm⁻¹          · A      · T_optics · T_filter · W · QE
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct LightChain {
    /// A pixel's side on the sky, `s`.
    pub pixel_scale: Arcseconds,
    /// `A`.
    pub collecting_area: SquareCentimetres,
    /// `T_optics`, times what stars showed of the typed numbers where that is known.
    pub optics_transmission: f64,
    /// Relative standard uncertainty of quantum efficiency and transmissions together.
    pub throughput_spread: f64,
    /// `T_filter`, `W`, `QE` and where they hold.
    pub passband: Passband,
}

impl LightChain {
    /// The chains of one filter on one plane, one for each window ([`Filter::passbands`]); the plane's rate is the sum
    /// over them ([`sum`]). Empty where the plane sees nothing through the filter.
    ///
    /// # Errors
    /// When optics or filter cannot be what they say.
    pub fn through(optics: &Optics, filter: &Filter, detector: &Detector) -> Result<Vec<Self>, RigError> {
        optics.check()?;
        key!(CAMERA, "modes.pixel_um").check(detector.pixel.0)?;
        let passbands = filter.passbands_in(detector, &Beam::of(optics))?;
        Ok(passbands.into_iter().map(|passband| Self::new(optics, detector.pixel, passband)).collect())
    }

    /// The chain of one window.
    #[must_use]
    pub fn new(optics: &Optics, pixel: Micrometres, passband: Passband) -> Self {
        Self {
            pixel_scale: optics.pixel_scale(pixel),
            collecting_area: optics.collecting_area(),
            optics_transmission: optics.transmission() * optics.throughput_ratio.map_or(1.0, |ratio| ratio.value),
            throughput_spread: optics.throughput_ratio.map_or(THROUGHPUT_UNCERTAINTY, |ratio| ratio.relative()),
            passband,
        }
    }

    /// `A · T_optics · T_filter`: cm².
    fn throughput_area(&self) -> f64 {
        self.collecting_area.0 * self.optics_transmission * self.passband.transmission
    }

    /// Electrons per second and pixel for one photon s⁻¹ cm⁻² arcsec⁻² nm⁻¹.
    #[must_use]
    pub fn continuum_factor(&self) -> f64 {
        self.star_factor() * self.pixel_scale.0.powi(2)
    }

    /// Electrons per second in a whole star's image for one photon s⁻¹ cm⁻² nm⁻¹.
    fn star_factor(&self) -> f64 {
        self.throughput_area() * self.passband.width.0 * self.passband.quantum_efficiency
    }

    /// What the sky, or the Moon in it, gives each pixel; no extinction, for a sky is given as seen from the ground.
    #[must_use]
    pub fn sky_rate(&self, light: &Estimate<PhotonDensity>) -> Estimate<ElectronsPerSecond> {
        let relative = relative(light).hypot(self.throughput_relative());
        Estimate::within_factor(light.value.0 * self.continuum_factor(), relative)
    }

    /// The light that gives each pixel this rate: the inverse of [`LightChain::sky_rate`], for a measured sky.
    #[must_use]
    pub fn photon_density_of(&self, rate: &Estimate<ElectronsPerSecond>) -> Estimate<PhotonDensity> {
        let relative = relative(rate).hypot(self.throughput_relative());
        Estimate::within_factor(rate.value.0 / self.continuum_factor(), relative)
    }

    /// What a continuum with as many photons per nm here as in V gives each pixel; `air` is the share of light that the air lets
    /// pass.
    #[must_use]
    pub fn continuum_rate(&self, brightness: MagnitudesPerSquareArcsecond, air: f64) -> Estimate<ElectronsPerSecond> {
        let photons = PHOTONS_OF_V_MAGNITUDE_0 * 10_f64.powf(-0.4 * brightness.0);
        Estimate::within_factor(photons * self.continuum_factor() * air, self.source_relative())
    }

    /// What a coloured continuum gives each pixel; `colour` are its photons per nm in this [band](Passband::band) over those in V.
    #[must_use]
    pub fn coloured_rate(
        &self,
        brightness: MagnitudesPerSquareArcsecond,
        colour: &Estimate<f64>,
        air: f64,
    ) -> Estimate<ElectronsPerSecond> {
        let flat = self.continuum_rate(brightness, air);
        let of_rig = self.throughput_relative().hypot(PHOTONS_OF_V_MAGNITUDE_0_UNCERTAINTY);
        Estimate::within_factor(flat.value.0 * colour.value, of_rig.hypot(colour.relative()))
    }

    /// The same, as if it were known what the beam takes of lines.
    #[must_use]
    pub fn with_known_beam(&self) -> Self {
        let Passband { line_relative, beam_relative, .. } = self.passband;
        let line_relative = (line_relative.powi(2) - beam_relative.powi(2)).max(0.0).sqrt();
        Self { passband: Passband { line_relative, beam_relative: 0.0, ..self.passband.clone() }, ..self.clone() }
    }

    /// What an emission line gives each pixel; `None` where no line lies in the window.
    ///
    /// A line filter sees its own line at the stated brightness; any other filter takes the number as Hα. What its beam takes of the
    /// line is counted.
    #[must_use]
    pub fn line_rate(&self, brightness: Rayleighs, air: f64) -> Option<Estimate<ElectronsPerSecond>> {
        let efficiency = self.passband.line_efficiency?;
        let photons = brightness.photons_per_s_cm2_arcsec2();
        let rate = photons * self.throughput_area() * self.pixel_scale.0.powi(2) * efficiency * air;
        let relative = self.throughput_spread.hypot(self.passband.line_relative);
        Some(Estimate::within_factor(rate, relative))
    }

    /// Where the line is that the window sees: its own, or Hα in a broad one.
    #[must_use]
    pub fn line(&self) -> Nanometres {
        self.passband.line
    }

    /// What emission lines of known names give each pixel; `air` as for [`LightChain::target_rate`]. `None` where the window
    /// sees none of them.
    #[must_use]
    fn lines_rate(
        &self,
        brightnesses: &[Option<Estimate<Rayleighs>>; EmissionLine::ALL.len()],
        air: impl Fn(Nanometres) -> f64,
    ) -> Option<Estimate<ElectronsPerSecond>> {
        let seen = self.throughput_area() * self.pixel_scale.0.powi(2);
        let of_rig = self.throughput_spread.hypot(self.passband.line_relative);
        let lines = EmissionLine::ALL.into_iter().zip(brightnesses).zip(self.passband.lines);
        let rates = lines.filter_map(|((line, brightness), efficiency)| {
            let brightness = brightness.filter(|_| efficiency > 0.0)?;
            let photons = brightness.value.photons_per_s_cm2_arcsec2();
            let rate = photons * seen * efficiency * air(line.wavelength());
            Some(Estimate::within_factor(rate, of_rig.hypot(relative(&brightness))))
        });
        sum(&rates.collect::<Vec<_>>())
    }

    /// What a target gives each pixel: its continuum and its line, as far as they pass; `None` when neither does.
    ///
    /// `air` says what share of the light the air lets pass at a wavelength: the middle of the window for the continuum,
    /// [its line](Self::line) for the line.
    #[must_use]
    pub fn target_rate(
        &self,
        light: &TargetLight,
        air: impl Fn(Nanometres) -> f64,
    ) -> Option<Estimate<ElectronsPerSecond>> {
        let coloured = |brightness| self.coloured_rate(brightness, &light.colour, air(self.passband.centre));
        let line = light.line.and_then(|brightness| self.line_rate(brightness, air(self.line())));
        let lines = self.lines_rate(&light.lines, &air);
        let parts: Vec<_> = light.continuum.map(coloured).into_iter().chain(line).chain(lines).collect();
        sum(&parts)
    }

    /// What a star gives all its pixels together.
    #[must_use]
    pub fn star_rate(&self, magnitude: Magnitudes, air: f64) -> Estimate<ElectronsPerSecond> {
        let photons = PHOTONS_OF_V_MAGNITUDE_0 * 10_f64.powf(-0.4 * magnitude.0);
        Estimate::within_factor(photons * self.star_factor() * air, self.source_relative())
    }

    fn throughput_relative(&self) -> f64 {
        self.throughput_spread.hypot(self.passband.width_relative)
    }

    fn source_relative(&self) -> f64 {
        self.throughput_relative().hypot(PHOTONS_OF_V_MAGNITUDE_0_UNCERTAINTY).hypot(COLOUR_UNCERTAINTY)
    }
}

/// Uncertainty over value, 0 where there is no light at all.
fn relative<Q: Quantity>(estimate: &Estimate<Q>) -> f64 {
    if estimate.value.get() > 0.0 { estimate.relative() } else { 0.0 }
}

/// The sum of rates that share their uncertainties (the same optics, the same sky): uncertainties add in full.
///
/// `None` when there are none.
#[must_use]
pub fn sum(rates: &[Estimate<ElectronsPerSecond>]) -> Option<Estimate<ElectronsPerSecond>> {
    let value: f64 = rates.iter().map(|rate| rate.value.get()).sum();
    let uncertainty: f64 = rates.iter().map(|rate| rate.uncertainty.get()).sum();
    match rates {
        [] => None,
        [one] => Some(*one),
        _ if value > 0.0 => Some(Estimate::within_factor(value, uncertainty / value)),
        _ => Some(Estimate::new(value, uncertainty)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Nanometres;

    fn optics() -> Optics {
        Optics {
            aperture_mm: Millimetres(80.0),
            focal_length_mm: Millimetres(400.0),
            obstruction_mm: None,
            transmission: None,
            throughput_ratio: None,
        }
    }

    fn detector() -> Detector {
        Detector { pixel: Micrometres(4.0), colour: None, modified: false }
    }

    fn chain(name: &str) -> LightChain {
        let filter = Filter { name: Some(name.into()), ..Filter::default() };
        LightChain::through(&optics(), &filter, &detector()).unwrap().swap_remove(0)
    }

    #[test]
    fn refuses_an_obstruction_that_covers_the_aperture() {
        let covered = Optics { obstruction_mm: Some(Millimetres(80.0)), ..optics() };
        assert!(matches!(covered.check(), Err(RigError::Obstructed { .. })));
    }

    #[test]
    fn refuses_an_aperture_of_nothing() {
        for aperture in [0.0, -80.0, f64::NAN] {
            let none = Optics { aperture_mm: Millimetres(aperture), ..optics() };
            assert!(matches!(none.check(), Err(RigError::OutOfRange(error)) if error.key == "optics.aperture_mm"));
        }
    }

    #[test]
    fn a_measured_rate_comes_back_from_the_light_it_stands_for() {
        let chain = chain("luminance");
        let light = chain.photon_density_of(&Estimate::new(3.3, 0.1));
        approx::assert_relative_eq!(chain.sky_rate(&light).value.0, 3.3, epsilon = 1e-12);
    }

    #[test]
    fn no_light_is_no_rate_and_no_nan() {
        let rate = chain("luminance").sky_rate(&Estimate::new(0.0, 0.0));
        assert_eq!((rate.value.0, rate.uncertainty.0), (0.0, 0.0));
    }

    #[test]
    fn a_pure_line_gives_nothing_through_green() {
        let line = TargetLight { line: Some(Rayleighs(100.0)), ..TargetLight::default() };
        assert_eq!(chain("green").target_rate(&line, |_| 1.0), None);
        assert!(chain("red").target_rate(&line, |_| 1.0).is_some());
    }

    #[test]
    fn named_lines_go_through_the_filters_that_they_lie_in() {
        let mut light = TargetLight::default();
        for (line, brightness) in EmissionLine::ALL.iter().zip(&mut light.lines) {
            let oiii = matches!(line, EmissionLine::Oiii);
            *brightness = oiii.then(|| Estimate::new(100.0, 30.0));
        }
        let rate = |name: &str| chain(name).target_rate(&light, |_| 1.0);
        assert!(rate("green").is_some() && rate("blue").is_some() && rate("luminance").is_some());
        assert!(rate("red").is_none() && rate("h-alpha").is_none());
        let alone = chain("oiii").line_rate(Rayleighs(100.0), 1.0).unwrap();
        approx::assert_relative_eq!(rate("oiii").unwrap().value.0, alone.value.0, max_relative = 1e-12);
        assert!(rate("oiii").unwrap().relative() > 0.3);
    }

    #[test]
    fn a_line_in_a_broad_window_goes_through_the_air_of_its_own_colour() {
        // Air that lets only the red pass.
        let red = |nm: Nanometres| if nm.0 > 600.0 { 0.8 } else { 0.0 };
        let (continuum, line) = (Some(MagnitudesPerSquareArcsecond(20.0)), Some(Rayleighs(9.0)));
        let through = chain("luminance").target_rate(&TargetLight { continuum, line, ..TargetLight::default() }, red);
        let line = chain("luminance").line_rate(Rayleighs(9.0), 0.8).unwrap();
        approx::assert_relative_eq!(through.unwrap().value.0, line.value.0, max_relative = 1e-12);
    }

    #[test]
    fn a_line_filter_passes_the_continuum_of_its_own_width() {
        let brightness = Some(MagnitudesPerSquareArcsecond(22.0));
        let light = TargetLight { continuum: brightness, line: Some(Rayleighs(100.0)), ..TargetLight::default() };
        let both = chain("h-alpha").target_rate(&light, |_| 1.0).unwrap();
        let line = chain("h-alpha").line_rate(Rayleighs(100.0), 1.0).unwrap();
        assert!(both.value > line.value);
        assert!(chain("h-alpha").passband.is_narrow());
    }
}
