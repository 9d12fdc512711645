//! What a night left out and what was taken for it; which of its keys have no effect.

use crate::caveat::Caveat;
use crate::keys::{Key, key};
use crate::reading::short;
use crate::rig::{DEFAULT_LINE_WIDTH, Filter, FilterName};
use crate::target::{ColourName, LineSource, Object, Target};

use super::Night;

/// Focal ratios between a fast camera lens and a long one with an extender (common practice, no source).
const USUAL_RATIOS: [f64; 2] = [1.0, 30.0];

impl Night {
    /// The caveats of a night: what was assumed for missing keys, and which keys have no effect yet.
    #[must_use]
    pub fn caveats(&self) -> Vec<Caveat> {
        let mut caveats = Vec::new();
        let assumed = self.assumed();
        if !assumed.is_empty() {
            let message = format!("taken for keys that were left out: {}", assumed.join(", "));
            caveats.push(Caveat::new("assumed-value", message, "write the keys that you know into the night"));
        }
        caveats.extend(self.unusual_optics());
        caveats.extend(catalogue_caveat(&self.target));
        let unused = self.not_yet_used();
        if !unused.is_empty() {
            let message = format!("read, but without effect on this plan: {}", unused.join(", "));
            let hint = if unused.contains(&"site.horizon") {
                "a horizon counts where the night has a date and the target a place: ra_deg and dec_deg, or a name"
            } else {
                "nothing to do"
            };
            caveats.push(Caveat::new("not-yet-used", message, hint));
        }
        caveats
    }

    /// Optics as nobody photographs the sky with: the aperture may stand in another unit.
    fn unusual_optics(&self) -> Option<Caveat> {
        let (aperture, focal) = (self.optics.aperture_mm.0, self.optics.focal_length_mm.0);
        let ratio = focal / aperture;
        let [fast, slow] = USUAL_RATIOS;
        (!(fast..=slow).contains(&ratio)).then(|| {
            let message =
                format!("an aperture of {aperture} mm at {focal} mm is f/{}", short((10.0 * ratio).round() / 10.0));
            let hint = "check aperture_mm and focal_length_mm, both in millimetres";
            Caveat::new("unusual-optics", message, hint).about("optics.aperture_mm")
        })
    }

    /// What was taken for keys that were left out, as `key = value`. The loss rate has a caveat of its own.
    #[must_use]
    pub fn assumed(&self) -> Vec<String> {
        let mut list = Assumed(Vec::new());
        self.assumed_camera(&mut list);
        self.assumed_place(&mut list);
        self.assumed_rules(&mut list);
        list.0
    }

    fn assumed_camera(&self, list: &mut Assumed) {
        let (camera, counts) = (&self.camera, &self.calibration);
        let cooled = camera.cooled();
        let temperature_known = camera.sensor_c.is_some();
        list.add_computed(camera.cooled.is_none(), key!(NIGHT, "camera.cooled"), &cooled);
        list.add(cooled && !temperature_known, key!(NIGHT, "camera.sensor_c"));
        list.add(!cooled && !temperature_known && camera.rise_c.is_none(), key!(NIGHT, "camera.rise_c"));
        list.add(counts.darks.is_none(), key!(NIGHT, "calibration.darks"));
        list.add(counts.flats.is_none(), key!(NIGHT, "calibration.flats"));
        list.add(counts.biases.is_none(), key!(NIGHT, "calibration.biases"));
        let mismatch = counts.dark_mismatch_k(cooled);
        list.add_computed(counts.dark_mismatch_c.is_none(), key!(NIGHT, "calibration.dark_mismatch_c"), &mismatch);
        list.add(counts.share_percent.is_none(), key!(NIGHT, "calibration.share_percent"));
    }

    fn assumed_place(&self, list: &mut Assumed) {
        let (optics, site) = (&self.optics, &self.site);
        list.add(optics.obstruction_mm.is_none(), key!(NIGHT, "optics.obstruction_mm"));
        list.add(optics.transmission.is_none(), key!(NIGHT, "optics.transmission"));
        list.add(site.sky.is_none(), key!(NIGHT, "site.sky"));
        let measured = matches!(site.sky, Some(crate::sky::GivenSky::Measured { .. }));
        list.add_computed(site.lamps.is_none() && !measured, key!(NIGHT, "site.lamps"), &site.lamps().word());
        let extinction = format!("{:.2}", site.extinction().0);
        list.add_computed(site.extinction_mag.is_none(), key!(NIGHT, "site.extinction_mag"), &extinction);
        let seeing_matters = self.goal.star_mag_kept.is_some();
        list.add(site.seeing_arcsec.is_none() && seeing_matters, key!(NIGHT, "site.seeing_arcsec"));
        let air_matters = !self.camera.cooled() && self.camera.sensor_c.is_none();
        list.add(site.ambient_c.is_none() && air_matters, key!(NIGHT, "site.ambient_c"));
        let (dated, placed) = (self.is_dated(), self.position().is_some());
        let offset = self.utc_offset_h();
        list.add_computed(site.utc_offset_h.is_none() && dated, key!(NIGHT, "site.utc_offset_h"), &offset);
        let altitude_matters = !(dated && placed);
        list.add(self.target.altitude_deg.is_none() && altitude_matters, key!(NIGHT, "target.altitude_deg"));
        let target = &self.target;
        let colourless = target.colour.is_none() && target.b_minus_v.is_none() && target.object().is_none();
        let word = format!("\"{}\"", ColourName::default().word());
        let continuum = target.surface_brightness_mag.is_some();
        list.add_computed(colourless && continuum, key!(NIGHT, "target.colour"), &word);
        let no_horizon = self.target.min_altitude_deg.is_none() && site.horizon.is_none();
        list.add(dated && placed && no_horizon, key!(NIGHT, "target.min_altitude_deg"));
        list.add(self.filters.is_empty(), key!(NIGHT, "filters"));
        for filter in &self.filters {
            assumed_filter(filter, list);
        }
    }

    fn assumed_rules(&self, list: &mut Assumed) {
        let Self { mount, stack, goal, .. } = self;
        list.add_computed(mount.guided.is_none(), key!(NIGHT, "mount.guided"), &mount.guided());
        let guiding_matters = mount.guided() && goal.star_mag_kept.is_some();
        list.add(mount.guide_rms_arcsec.is_none() && guiding_matters, key!(NIGHT, "mount.guide_rms_arcsec"));
        list.add(mount.settle_s.is_none(), key!(NIGHT, "mount.settle_s"));
        list.add(mount.between_subs_s.is_none(), key!(NIGHT, "mount.between_subs_s"));
        list.add(stack.clip_sigma.is_none(), key!(NIGHT, "stack.clip_sigma"));
        list.add(stack.min_subs.is_none(), key!(NIGHT, "stack.min_subs"));
        list.add(stack.min_positions_per_night.is_none(), key!(NIGHT, "stack.min_positions_per_night"));
        list.add(stack.min_positions.is_none(), key!(NIGHT, "stack.min_positions"));
        list.add(stack.most_subs.is_none(), key!(NIGHT, "stack.most_subs"));
        list.add(stack.most_gigabytes.is_none(), key!(NIGHT, "stack.most_gigabytes"));
        let no_goal = goal.snr.is_none() && goal.hours.is_none() && goal.picture.is_none();
        list.add(no_goal, key!(NIGHT, "goal.snr"));
        let no_patch = goal.patch_arcsec.is_none() && goal.picture.is_none() && goal.pixel != Some(true);
        list.add(no_patch, key!(NIGHT, "goal.patch_arcsec"));
        list.add(goal.clear_hours_per_night.is_none(), key!(NIGHT, "goal.clear_hours_per_night"));
        let cadence_left_out = goal.already.iter().any(|stack| stack.dither_every_subs.is_none());
        list.add(cadence_left_out, key!(NIGHT, "goal.already.dither_every_subs"));
        let dated = self.is_dated();
        let no_share = goal.clear_share.is_none() && goal.clear_share_by_month.is_none();
        list.add(dated && no_share, key!(NIGHT, "goal.clear_share"));
        list.add(dated && goal.setup_min.is_none(), key!(NIGHT, "goal.setup_min"));
        list.add(dated && goal.refocus_min_per_hour.is_none(), key!(NIGHT, "goal.refocus_min_per_hour"));
    }

    fn not_yet_used(&self) -> Vec<&'static str> {
        let dated = self.is_dated();
        let tracked = dated && self.position().is_some();
        let keys = [
            ("site.horizon", self.site.horizon.is_some() && !tracked),
            ("target.ra_deg", self.position().is_some() && !tracked),
            ("target.min_altitude_deg", self.target.min_altitude_deg.is_some() && !tracked),
            ("goal.date", self.goal.date.is_some() && !dated),
            ("goal.clear_share", self.goal.clear_share.is_some() && !dated),
            ("goal.clear_share_by_month", self.goal.clear_share_by_month.is_some() && !dated),
            ("goal.setup_min", self.goal.setup_min.is_some() && !dated),
            ("goal.refocus_min_per_hour", self.goal.refocus_min_per_hour.is_some() && !dated),
            ("goal.need_astronomical_night", self.goal.need_astronomical_night.is_some() && !dated),
        ];
        keys.into_iter().filter(|(_, given)| *given).map(|(key, _)| key).collect()
    }
}

/// What a target's brightness rests on when only its name is given.
fn catalogue_caveat(target: &Target) -> Option<Caveat> {
    let object = target.object().filter(|_| target.from_catalogue())?;
    let Some(brightness) = object.surface_brightness() else { return nebula_caveat(object) };
    let message = format!(
        "{} is taken at {:.1} mag/arcsec2, the mean over {} by {} arcmin; catalogues differ by half a magnitude, its \
         core is brighter and its outskirts are fainter",
        object.name(),
        brightness.0,
        object.size_arcmin[0],
        object.size_arcmin[1]
    );
    let hint = "give surface_brightness_mag of the part that you want to see, such as 24 for outer arms";
    Some(Caveat::new("catalogue-brightness", message, hint).about(object.name()))
}

/// What a named nebula is taken for, and why the range is as wide as it is.
fn nebula_caveat(object: &Object) -> Option<Caveat> {
    let lines = object.lines?;
    let [h_alpha, oiii, sii] = lines.main().map(|line| format!("{:.0}", line.0));
    let from = match lines.source {
        LineSource::HAlphaSurvey => "from a survey in H-alpha with a beam of one degree",
        LineSource::HBetaFlux => "from its flux in H-beta over its disc",
        LineSource::Memory => "from memory",
    };
    let message = format!(
        "{} is taken at {h_alpha} R in H-alpha, {oiii} R in [O III], {sii} R in [S II], the mean of its bright part, {from}: good to \
         a factor of {} in H-alpha and {} beside it; its parts differ 10 to 100 times, hence the wide range",
        object.name(),
        lines.factor,
        lines.ratio_factor,
    );
    let hint = "give line_rayleigh of the part that you want to see";
    Some(Caveat::new("catalogue-brightness", message, hint).about(object.name()))
}

fn assumed_filter(filter: &Filter, list: &mut Assumed) {
    let name = filter.label();
    let line = FilterName::from_name(&name).is_ok_and(FilterName::is_line);
    let missing = filter.quantum_efficiency.is_none();
    let efficiency = key!(NIGHT, "filters.quantum_efficiency");
    list.add_of(&name, missing, efficiency, efficiency.default_text().unwrap_or_default());
    let transmission = filter.transmission();
    let typed = filter.transmission.is_some() || filter.curve.is_some();
    let missing = !typed && name != "none";
    list.add_of(&name, missing, key!(NIGHT, "filters.transmission"), transmission.to_string());
    let missing = line && filter.width_nm.is_none() && filter.curve.is_none();
    list.add_of(&name, missing, key!(NIGHT, "filters.width_nm"), DEFAULT_LINE_WIDTH.0.to_string());
}

/// What was taken for keys that were left out.
struct Assumed(Vec<String>);

impl Assumed {
    /// The key's own default, where it is missing.
    fn add(&mut self, missing: bool, key: &Key) {
        self.add_computed(missing, key, &key.default_text().unwrap_or_default());
    }

    /// What follows for the key from others.
    fn add_computed(&mut self, missing: bool, key: &Key, value: &dyn std::fmt::Display) {
        if missing {
            self.0.push(format!("{} = {value}", key.path));
        }
    }

    /// What is taken for a key of one filter.
    fn add_of(&mut self, filter: &str, missing: bool, key: &Key, value: String) {
        if missing {
            self.0.push(format!("{} of the filter {filter} = {value}", key.path.trim_start_matches("filters.")));
        }
    }
}
