//! `subwell sky`: a brightness from words, from the night, or from a light frame.

use std::path::PathBuf;

use clap::Args;
use subwell::camera::{Background, CameraProfile, Mode, Plane};
use subwell::caveat::{Caveat, push_once};
use subwell::decide::{SkyAnswer, star_light};
use subwell::frames::{Frame, FrameKind};
use subwell::night::Night;
use subwell::rig::StarBand;
use subwell::sensor::{BackgroundOptions, background, star_flux};
use subwell::sky::{GivenSky, SkyError, from_meter};
use subwell::stats::Estimate;
use subwell::units::{Degrees, ElectronsPerDn, Magnitudes, MagnitudesPerSquareArcsecond};
use subwell::{files, report};

use super::output::{Answer, Failure};

/// A frame that is called a flat and filled to this share of the well is one: skies seldom get there.
const FLAT_SHARE: f64 = 0.1;
/// A frame filled to this share of the well is no measurement of a sky, whatever it is called: it does not answer
/// straight any more.
const FULL_SHARE: f64 = 0.9;

type Brightness = Estimate<MagnitudesPerSquareArcsecond>;

#[derive(Args)]
pub(super) struct SkyArgs {
    /// The Bortle class, 1 to 9
    #[arg(long, value_name = "N", group = "given")]
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
    /// How high the light's field stood, in degrees; left out, as high as the night's target
    #[arg(long, value_name = "DEGREES", requires = "star")]
    altitude: Option<f64>,
    /// Write the measured sky into the night file
    #[arg(long, requires = "light", requires = "night")]
    write: bool,
    /// Hours for the night's target against a sky of this Bortle class
    #[arg(long, value_name = "N", requires = "night", group = "against")]
    against_bortle: Option<u8>,
    /// Hours for the night's target against a sky of this magnitude
    #[arg(long, value_name = "X", requires = "night", group = "against")]
    against_mag: Option<f64>,
}

/// Answers `subwell sky`.
pub(super) fn sky(args: &SkyArgs) -> Result<Answer, Failure> {
    let given = args.given()?;
    let Some(path) = &args.night else {
        return args.without_night(given);
    };
    let (mut night, camera) = files::read_night(path)?;
    let light = args.light()?;
    let mode = mode_of(&night, &camera, light.as_ref().and_then(|(light, _)| light.info.gain_setting))?;
    let mut measured = None;
    let mut note = String::new();
    if let Some((light, dark)) = &light {
        let options = BackgroundOptions { mode: Some(mode), gain: args.gain_e_per_dn.map(ElectronsPerDn), cfa: None };
        let background = background(light, dark, options)?;
        no_flat(light, &background, mode)?;
        let filter = args.filter_of(&night, &background, mode)?;
        if let Some(best) = background.best_plane() {
            let plane = Some(best.plane.clone());
            night.site.sky = Some(GivenSky::Measured { e_per_s: best.e_per_s, filter: filter.clone(), plane });
            if args.write {
                files::write_measured_sky(path, &best.e_per_s, &filter, &best.plane)?;
                note = format!("\nwritten to {}: subwell plan uses it from now on\n", path.display());
            }
        }
        measured = Some(background);
    }
    let mut answer = SkyAnswer::of_night(&night, mode, given.as_ref())?;
    answer.caveats.extend(args.given_caveat());
    if let Some(background) = &measured {
        answer.caveats.extend(background.caveats.clone());
        if (light.iter()).any(|(light, _)| (light.info.width, light.info.height) != (mode.width_px, mode.height_px)) {
            let message = "the light has another size than the frames of the profile's mode";
            let hint = "measure the camera with the binning and region of the light";
            push_once(&mut answer.caveats, Caveat::new("conflicting-mode", message, hint));
        }
    }
    answer.measured = measured;
    if let (Some(frames), false) = (&light, args.star.is_empty()) {
        args.add_stars(&mut answer, &night, mode, frames)?;
        if let (true, Some(ratio)) = (args.write, answer.throughput_ratio(&night)) {
            files::write_throughput_ratio(path, &ratio)?;
            note.push_str("and what the stars showed of the telescope, as throughput_ratio under [optics]\n");
        }
    }
    if let (Some(other), Some(own)) = (args.against()?, answer.mag_per_arcsec2) {
        answer.against = Some(SkyAnswer::hours_ratio(&night, &camera, &own, &other)?);
    }
    Ok(finished(&answer, &note))
}

fn finished(answer: &SkyAnswer, note: &str) -> Answer {
    Answer::new(report::sky_text(answer) + note, "subwell.sky", answer, answer.caveats.len())
}

/// The mode that the light was taken in, else the night's, else the first.
fn mode_of<'a>(night: &Night, camera: &'a CameraProfile, light: Option<f64>) -> Result<&'a Mode, Failure> {
    let with_gain =
        |gain: Option<f64>| gain.and_then(|gain| camera.modes.iter().find(|m| m.gain_setting == Some(gain)));
    let asked = || match night.camera.gain_setting {
        Some(gain) => camera.mode(Some(gain)),
        None => camera.modes.first().map_or_else(|| camera.mode(None), Ok),
    };
    Ok(with_gain(light).map_or_else(asked, Ok)?)
}

/// A star as it is typed.
fn star(word: &str) -> Result<[f64; 3], String> {
    let numbers: Option<Vec<f64>> = word.split(',').map(|part| part.trim().parse().ok()).collect();
    match numbers.as_deref() {
        Some([x, y, mag]) if x.is_finite() && y.is_finite() && (-2.0..=25.0).contains(mag) => Ok([*x, *y, *mag]),
        _ => Err("write column, row and magnitude, such as 1020.5,734,11.32".into()),
    }
}

fn band(word: &str) -> Result<StarBand, String> {
    let known = StarBand::ALL.into_iter().find(|band| band.letter().to_string() == word);
    known.ok_or_else(|| "the bands are B, V, R, I (Johnson, Cousins), g, r, i (AB) and G".into())
}

/// A flat is no sky: refused where its header says so, or where it is as bright as none.
fn no_flat(light: &Frame, background: &Background, mode: &Mode) -> Result<(), Failure> {
    let share = |measured: &subwell::camera::PlaneBackground| {
        let plane = mode.plane(&measured.plane)?;
        Some(measured.level_dn.value.0 * plane.gain_e_per_dn.value.0 / plane.saturation_e.value.0)
    };
    let fullest = background.planes.iter().filter_map(share).fold(0.0, f64::max);
    let said = light.info.kind == FrameKind::Flat;
    if !(said && fullest > FLAT_SHARE || fullest > FULL_SHARE) {
        return Ok(());
    }
    let why = if said { format!("is judged a flat by {}", light.info.why) } else { "holds no sky any more".into() };
    let message = format!("{}: it is filled to {:.0} % of the well and {why}", light.info.file, 100.0 * fullest);
    Err(Failure::words(
        &message,
        "give a light frame of the night sky with --light, in a sub that the sky does not fill",
    ))
}

/// What is wrong with a brightness, named as it was typed and not as a night file names it.
fn as_typed(error: SkyError) -> Failure {
    let word = match &error {
        SkyError::OutOfRange { key, .. } => format!("--{}", key.trim_start_matches("sky.").replace('_', "-")),
        _ => "the brightness".into(),
    };
    let message = error.to_string().replace("sky.", "").replace('_', "-");
    Failure::words(&message, &format!("correct {word} on the command line"))
}

impl SkyArgs {
    /// The sky that the words give.
    fn given(&self) -> Result<Option<Brightness>, Failure> {
        let magnitude = |x: f64| GivenSky::Magnitude(MagnitudesPerSquareArcsecond(x));
        let sky = (self.bortle.map(GivenSky::Bortle))
            .or(self.mag.map(magnitude))
            .or(self.limiting_mag.map(|x| GivenSky::LimitingMagnitude(Magnitudes(x))))
            .or(self.meter.map(magnitude));
        let Some(sky) = sky else { return Ok(None) };
        let brightness = sky.magnitude().map_err(as_typed)?;
        Ok(Some(self.meter.map_or(brightness, |reading| from_meter(MagnitudesPerSquareArcsecond(reading)))))
    }

    /// Throughput and zero point from the stars, in every plane that sees the light's filter.
    fn add_stars(
        &self,
        answer: &mut SkyAnswer,
        night: &Night,
        mode: &Mode,
        (light, dark): &(Frame, Frame),
    ) -> Result<(), Failure> {
        let Some(GivenSky::Measured { filter: name, .. }) = &night.site.sky else { return Ok(()) };
        let filters = night.filters(mode.planes.iter().any(|plane| plane.colour.is_some()));
        let Some(filter) = filters.iter().find(|filter| filter.label() == *name) else { return Ok(()) };
        let altitude = self.altitude.map_or_else(|| night.target.altitude(), Degrees);
        if self.altitude.is_none() {
            let message = format!("the stars are taken to stand {:.0} degrees high, as the night's target", altitude.0);
            answer.caveats.push(Caveat::new("assumed-value", message, "give --altitude"));
        }
        let sees = |plane: &&Plane| answer.planes.iter().any(|sky| sky.filter == *name && sky.plane == plane.plane);
        let planes: Vec<&Plane> = mode.planes.iter().filter(sees).collect();
        for plane in planes {
            let mut stars = Vec::new();
            for [x, y, mag] in &self.star {
                match star_flux(light, dark, mode, &plane.plane, *x, *y) {
                    Ok(flux) => stars.push((Magnitudes(*mag), flux)),
                    Err(why) => {
                        let about = format!("{x},{y} in {}", plane.plane);
                        let hint = "check column and row: the stored frame's first pixel is 1,1";
                        answer.caveats.push(Caveat::new("star-unusable", why, hint).about(about));
                    }
                }
            }
            if !stars.is_empty() {
                let found = star_light(night, mode, filter, altitude, self.star_band.unwrap_or_default(), &stars)?;
                answer.caveats.extend(found.caveats());
                answer.stars.push(found);
            }
        }
        if answer.stars.is_empty() {
            let why = answer.caveats.iter().rev().find(|caveat| caveat.code == "star-unusable");
            let message = format!("no star could be measured: {}", why.map_or("no plane sees them", |c| &c.message));
            return Err(Failure::words(&message, "give isolated stars that are neither faint nor saturated"));
        }
        Ok(())
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

    fn light(&self) -> Result<Option<(Frame, Frame)>, Failure> {
        let (Some(light), Some(dark)) = (&self.light, &self.dark) else { return Ok(None) };
        let decoder = files::Decoder::this_program()?;
        Ok(Some((files::read_one(light, &decoder)?, files::read_one(dark, &decoder)?)))
    }

    fn without_night(&self, given: Option<Brightness>) -> Result<Answer, Failure> {
        if let Some(brightness) = given {
            let mut answer = SkyAnswer::of_magnitude(&brightness);
            answer.caveats.extend(self.given_caveat());
            return Ok(finished(&answer, ""));
        }
        let Some((light, dark)) = self.light()? else {
            let hint = "give one of --bortle, --mag, --limiting-mag, --meter, --night, or --light with --dark";
            return Err(Failure::words("nothing says how bright the sky is", hint));
        };
        let Some(gain) = self.gain_e_per_dn else {
            let hint = "give --night night.toml, whose camera profile has it, or --gain-e-per-dn";
            return Err(Failure::words("without a gain counts are no electrons", hint));
        };
        let options = BackgroundOptions { gain: Some(ElectronsPerDn(gain)), ..BackgroundOptions::default() };
        let measured = background(&light, &dark, options)?;
        let mut answer = SkyAnswer { caveats: measured.caveats.clone(), ..SkyAnswer::default() };
        let filter = measured.filter.clone().or_else(|| self.filter.clone()).unwrap_or_else(|| "unknown".into());
        answer.planes = measured
            .planes
            .iter()
            .map(|plane| subwell::decide::PlaneSky {
                filter: filter.clone(),
                plane: plane.plane.clone(),
                colour: plane.colour,
                e_per_s: plane.e_per_s,
                measured: true,
                windows: Vec::new(),
            })
            .collect();
        answer.measured = Some(measured);
        Ok(finished(&answer, ""))
    }

    /// The filter of the night that the light was taken through: as said, as its header says, or the only one.
    fn filter_of(&self, night: &Night, background: &Background, mode: &Mode) -> Result<String, Failure> {
        let filters = night.filters(mode.planes.iter().any(|plane| plane.colour.is_some()));
        let known: Vec<String> = filters.iter().map(subwell::rig::Filter::label).collect();
        let named = |name: &String| known.iter().find(|label| label.eq_ignore_ascii_case(name)).cloned();
        if let Some(name) = &self.filter {
            let message = format!("the night has no filter `{name}`");
            let hint = format!("its filters are {}", known.join(", "));
            return named(name).ok_or_else(|| Failure::words(&message, &hint));
        }
        let said = background.filter.as_ref().and_then(named);
        said.or_else(|| (known.len() == 1).then(|| known[0].clone())).ok_or_else(|| {
            let hint = format!("say --filter with one of {}", known.join(", "));
            Failure::words("the night has several filters, and the light does not say which it was", &hint)
        })
    }
}
