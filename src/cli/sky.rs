//! `subwell sky`: a brightness from words, from the night, or from a light frame.

use std::path::{Path, PathBuf};

use clap::Args;
use subwell::camera::{CameraProfile, Mode};
use subwell::caveat::Caveat;
use subwell::decide::SkyAnswer;
use subwell::document::Document;
use subwell::files::{self, Decoder};
use subwell::frames::Frame;
use subwell::measure::{SkyMeasurement, SkyOptions, measure_sky, measure_sky_without_night, read_light_and_dark};
use subwell::night::Night;
use subwell::report;
use subwell::rig::StarBand;
use subwell::sky::{GivenSky, Site, SkyError, from_meter};
use subwell::stats::Estimate;
use subwell::units::{Degrees, ElectronsPerDn, Magnitudes, MagnitudesPerSquareArcsecond};

use super::output::{Answer, Failure};

type Brightness = Estimate<MagnitudesPerSquareArcsecond>;

#[derive(Args)]
pub(super) struct SkyArgs {
    /// The Bortle class, 1 to 9
    #[arg(long, value_name = "N", group = "given", value_parser = bortle)]
    bortle: Option<u8>,
    /// V magnitude per square arcsecond
    #[arg(long, value_name = "X", group = "given")]
    mag: Option<f64>,
    /// The faintest star for the naked eye, 4.5 to 6.5
    #[arg(long, value_name = "X", group = "given")]
    limiting_mag: Option<f64>,
    /// A hand-held sky meter's reading
    #[arg(long, value_name = "X", group = "given")]
    meter: Option<f64>,
    /// A night: its sky unless one is given, and what it is in electrons
    #[arg(long, value_name = "night.toml")]
    night: Option<PathBuf>,
    /// Measure the sky on this light frame
    #[arg(long, value_name = "F", requires = "dark", conflicts_with = "given")]
    light: Option<PathBuf>,
    /// A dark of the light's exposure and temperature
    #[arg(long, value_name = "F", requires = "light")]
    dark: Option<PathBuf>,
    /// Believe this gain instead of the profile's
    #[arg(long, value_name = "X", value_parser = super::gain)]
    gain_e_per_dn: Option<f64>,
    /// The filter of the night that the light was taken through
    #[arg(long, value_name = "NAME", requires = "light")]
    filter: Option<String>,
    /// A star in the light: column, row (the first pixel is 1,1) and catalogue magnitude; five or more say what share of
    /// the light the telescope makes electrons of
    #[arg(long, value_name = "X,Y,MAG", value_parser = star, requires = "light", requires = "night")]
    star: Vec<[f64; 3]>,
    /// The band of the stars' magnitudes: B, V, R, I, or g, r, i, or G
    #[arg(long, value_name = "BAND", value_parser = band, requires = "star")]
    star_band: Option<StarBand>,
    /// How high --light or --mag was measured, in degrees; left out, a light as high as the night's target, a magnitude at the
    /// zenith
    #[arg(long, value_name = "DEGREES", conflicts_with_all = ["bortle", "limiting_mag", "meter"], value_parser = altitude)]
    altitude: Option<f64>,
    /// Write the measured sky into the night file
    #[arg(long, requires = "light", requires = "night")]
    write: bool,
    /// Hours for the night's target against a sky of this Bortle class
    #[arg(long, value_name = "N", requires = "night", group = "against", value_parser = bortle)]
    against_bortle: Option<u8>,
    /// Hours for the night's target against a sky of this magnitude
    #[arg(long, value_name = "X", requires = "night", group = "against")]
    against_mag: Option<f64>,
}

/// Answers `subwell sky`.
pub(super) fn sky(args: &SkyArgs) -> Result<Answer, Failure> {
    let Some(path) = &args.night else {
        return args.without_night(args.given(None)?);
    };
    let (night, camera) = files::read_night(path)?;
    let given = args.given(Some(&night.site))?;
    let (mut answer, measured) = match args.light()? {
        Some([light, dark]) => {
            let found = measure_sky(&light, &dark, &night, &camera, &args.options())?;
            (found.answer.clone(), Some(found))
        }
        None => (SkyAnswer::of_night(&night, usual_mode(&night, &camera)?, given.as_ref())?, None),
    };
    answer.caveats.extend(args.given_caveat());
    if let (Some(other), Some(own)) = (args.against()?, answer.mag_per_arcsec2) {
        let night = measured.as_ref().map_or(&night, |measured| &measured.night);
        answer.against = Some(SkyAnswer::hours_ratio(night, &camera, &own, &other)?);
    }
    let note = match &measured {
        Some(measured) if args.write => written(path, measured)?,
        _ => String::new(),
    };
    Ok(finished(&answer, &note))
}

fn finished(answer: &SkyAnswer, note: &str) -> Answer {
    Answer::document(report::sky_text(answer) + note, &Document::new(answer), answer.caveats.len())
}

/// Writes what was measured into the night file, and says so.
fn written(path: &Path, measured: &SkyMeasurement) -> Result<String, Failure> {
    let mut note = String::new();
    if let Some(sky) = &measured.to_write {
        files::write_measured_sky(path, &sky.e_per_s, &sky.filter, sky.plane, sky.altitude_deg)?;
        note = format!("\nwritten to {}: subwell plan uses it from now on\n", path.display());
    }
    if let Some(ratio) = &measured.throughput_ratio {
        files::write_throughput_ratio(path, ratio)?;
        note.push_str("and what the stars showed of the telescope, as throughput_ratio under [optics]\n");
    }
    Ok(note)
}

/// The night's mode, else the first.
fn usual_mode<'a>(night: &Night, camera: &'a CameraProfile) -> Result<&'a Mode, Failure> {
    Ok(match night.camera.gain_setting {
        Some(gain) => camera.mode(Some(gain)),
        None => camera.modes.first().map_or_else(|| camera.mode(None), Ok),
    }?)
}

/// A star as it is typed.
fn star(word: &str) -> Result<[f64; 3], String> {
    let numbers: Option<Vec<f64>> = word.split(',').map(|part| part.trim().parse().ok()).collect();
    match numbers.as_deref() {
        Some([x, y, mag]) if x.is_finite() && y.is_finite() && (-2.0..=25.0).contains(mag) => Ok([*x, *y, *mag]),
        _ => Err("write column, row and magnitude, such as 1020.5,734,11.32".into()),
    }
}

fn bortle(word: &str) -> Result<u8, String> {
    word.parse()
        .map_err(|_| "the classes are whole numbers, 1 to 9; give a brightness between two of them with --mag".into())
}

fn altitude(word: &str) -> Result<f64, String> {
    let degrees = word.parse().ok().filter(|degrees| (0.0..=90.0).contains(degrees));
    degrees.ok_or_else(|| "write degrees above the horizon, 0 to 90".into())
}

fn band(word: &str) -> Result<StarBand, String> {
    let known = StarBand::ALL.into_iter().find(|band| band.letter().to_string() == word);
    known.ok_or_else(|| "the bands are B, V, R, I (Johnson, Cousins), g, r, i (AB) and G".into())
}

/// What is wrong with a brightness, named as it was typed and not as a night file names it.
fn as_typed(error: SkyError) -> Failure {
    // The option has the short name of the key.
    let in_words = |text: &str| text.replace("site.sky.", "").replace("mag_per_arcsec2", "mag").replace('_', "-");
    let word = match &error {
        SkyError::OutOfRange(error) => format!("--{}", in_words(&error.key)),
        _ => "the brightness".into(),
    };
    let message = in_words(&error.to_string());
    Failure::words(&message, &format!("correct {word} on the command line"))
}

impl SkyArgs {
    /// The sky that the words give, at the zenith of this site.
    fn given(&self, site: Option<&Site>) -> Result<Option<Brightness>, Failure> {
        let magnitude = |x: f64| GivenSky::Magnitude(MagnitudesPerSquareArcsecond(x));
        let sky = (self.bortle.map(GivenSky::Bortle))
            .or(self.mag.map(magnitude))
            .or(self.limiting_mag.map(|x| GivenSky::LimitingMagnitude(Magnitudes(x))))
            .or(self.meter.map(magnitude));
        let Some(sky) = sky else { return Ok(None) };
        let brightness = sky.magnitude().map_err(as_typed)?;
        if let (Some(altitude), GivenSky::Magnitude(magnitude)) = (self.altitude, &sky) {
            let altitude = Degrees(altitude);
            let seen = GivenSky::MagnitudeAt { magnitude: *magnitude, altitude };
            let site = Site { sky: Some(seen), ..site.cloned().unwrap_or_default() };
            let (zenith, towards) = site.zenith_sky().map_err(as_typed)?;
            let uncertainty = zenith.uncertainty.0.hypot(towards.unsure_by(zenith.value).0);
            return Ok(Some(Estimate::new(zenith.value.0, uncertainty)));
        }
        Ok(Some(self.meter.map_or(brightness, |reading| from_meter(MagnitudesPerSquareArcsecond(reading)))))
    }

    fn options(&self) -> SkyOptions {
        let mut options = SkyOptions::default();
        options.gain = self.gain_e_per_dn.map(ElectronsPerDn);
        options.filter = self.filter.clone();
        options.stars = self.star.clone();
        options.star_band = self.star_band;
        options.altitude = self.altitude.map(Degrees);
        options
    }

    fn against(&self) -> Result<Option<Brightness>, Failure> {
        let magnitude = |x: f64| GivenSky::Magnitude(MagnitudesPerSquareArcsecond(x));
        let sky = self.against_bortle.map(GivenSky::Bortle).or(self.against_mag.map(magnitude));
        sky.map(|sky| sky.magnitude()).transpose().map_err(as_typed)
    }

    fn given_caveat(&self) -> Option<Caveat> {
        let class = self.bortle?;
        let message = format!("Bortle class {class} is a description, about a magnitude wide");
        Some(Caveat::new(
            "bortle-class",
            message,
            "measure your sky: subwell sky --light F --dark F --night night.toml",
        ))
    }

    fn light(&self) -> Result<Option<[Frame; 2]>, Failure> {
        let (Some(light), Some(dark)) = (&self.light, &self.dark) else { return Ok(None) };
        Ok(Some(read_light_and_dark(light, dark, &Decoder::this_program()?)?))
    }

    fn without_night(&self, given: Option<Brightness>) -> Result<Answer, Failure> {
        if let Some(brightness) = given {
            let mut answer = SkyAnswer::of_magnitude(&brightness);
            answer.caveats.extend(self.given_caveat());
            return Ok(finished(&answer, ""));
        }
        let Some([light, dark]) = self.light()? else {
            let hint = "give one of --bortle, --mag, --limiting-mag, --meter, --night, or --light with --dark";
            return Err(Failure::words("nothing says how bright the sky is", hint));
        };
        Ok(finished(&measure_sky_without_night(&light, &dark, &self.options())?, ""))
    }
}
