//! What a night left out and what was taken for it; which of its keys have no effect.

use crate::caveat::Caveat;
use crate::rig::{
    DEFAULT_FILTER_TRANSMISSION, DEFAULT_LINE_TRANSMISSION, DEFAULT_LINE_WIDTH, DEFAULT_QUANTUM_EFFICIENCY,
    DEFAULT_TRANSMISSION, Filter, FilterName,
};
use crate::target::Target;

use super::evening::least_altitude;
use super::{AlreadyHave, CalibrationCounts, CameraChoice, Goal, Night};

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

    /// What was taken for keys that were left out, as `key = value`. The loss rate has a caveat of its own.
    #[must_use]
    pub fn assumed(&self) -> Vec<String> {
        let mut list = Vec::new();
        let mut add = |missing: bool, key: &str, value: String| {
            if missing {
                list.push(format!("{key} = {value}"));
            }
        };
        self.assumed_camera(&mut add);
        self.assumed_place(&mut add);
        self.assumed_rules(&mut add);
        list
    }

    fn assumed_camera(&self, add: &mut impl FnMut(bool, &str, String)) {
        let (camera, counts) = (&self.camera, &self.calibration);
        let cooled = camera.cooled();
        let temperature_known = camera.sensor_c.is_some();
        add(camera.cooled.is_none(), "camera.cooled", cooled.to_string());
        add(cooled && !temperature_known, "camera.sensor_c", CameraChoice::DEFAULT_SET_POINT.0.to_string());
        let rise_assumed = !cooled && !temperature_known && camera.rise_c.is_none();
        add(rise_assumed, "camera.rise_c", CameraChoice::DEFAULT_RISE.0.to_string());
        add(counts.darks.is_none(), "calibration.darks", counts.darks().to_string());
        add(counts.flats.is_none(), "calibration.flats", counts.flats().to_string());
        add(counts.biases.is_none(), "calibration.biases", counts.biases().to_string());
        let mismatch = counts.dark_mismatch_k(cooled).to_string();
        add(counts.dark_mismatch_c.is_none(), "calibration.dark_mismatch_c", mismatch);
        let share = CalibrationCounts::DEFAULT_SHARE_PERCENT.to_string();
        add(counts.share_percent.is_none(), "calibration.share_percent", share);
    }

    fn assumed_place(&self, add: &mut impl FnMut(bool, &str, String)) {
        let (optics, site) = (&self.optics, &self.site);
        add(optics.obstruction_mm.is_none(), "optics.obstruction_mm", optics.obstruction().0.to_string());
        add(optics.transmission.is_none(), "optics.transmission", DEFAULT_TRANSMISSION.to_string());
        add(site.sky.is_none(), "site.sky", "{ bortle = 6 }".into());
        let measured = matches!(site.sky, Some(crate::sky::GivenSky::Measured { .. }));
        add(site.lamps.is_none() && !measured, "site.lamps", "mixed".into());
        add(site.extinction_mag.is_none(), "site.extinction_mag", format!("{:.2}", site.extinction().0));
        let seeing_matters = self.goal.star_mag_kept.is_some();
        add(site.seeing_arcsec.is_none() && seeing_matters, "site.seeing_arcsec", site.seeing().0.to_string());
        let air_matters = !self.camera.cooled() && self.camera.sensor_c.is_none();
        add(site.ambient_c.is_none() && air_matters, "site.ambient_c", site.ambient().0.to_string());
        let (dated, placed) = (self.is_dated(), self.position().is_some());
        add(site.utc_offset_h.is_none() && dated, "site.utc_offset_h", self.utc_offset_h().to_string());
        let altitude_matters = !(dated && placed);
        add(
            self.target.altitude_deg.is_none() && altitude_matters,
            "target.altitude_deg",
            self.target.altitude().0.to_string(),
        );
        let no_horizon = self.target.min_altitude_deg.is_none() && site.horizon.is_none();
        add(dated && placed && no_horizon, "target.min_altitude_deg", least_altitude(self).0.to_string());
        add(self.filters.is_empty(), "filters", "luminance, or none for a colour camera".into());
        for filter in &self.filters {
            assumed_filter(filter, add);
        }
    }

    fn assumed_rules(&self, add: &mut impl FnMut(bool, &str, String)) {
        let Self { mount, stack, goal, .. } = self;
        add(mount.guided.is_none(), "mount.guided", mount.guided().to_string());
        let guiding_matters = mount.guided() && goal.star_mag_kept.is_some();
        add(
            mount.guide_rms_arcsec.is_none() && guiding_matters,
            "mount.guide_rms_arcsec",
            mount.guide_rms().0.to_string(),
        );
        add(mount.settle_s.is_none(), "mount.settle_s", mount.settle().0.to_string());
        add(mount.between_subs_s.is_none(), "mount.between_subs_s", mount.between_subs().0.to_string());
        add(stack.clip_sigma.is_none(), "stack.clip_sigma", stack.clip_sigma().to_string());
        add(stack.min_subs.is_none(), "stack.min_subs", stack.min_subs().to_string());
        let nightly = stack.min_positions_per_night;
        add(nightly.is_none(), "stack.min_positions_per_night", stack.min_positions_per_night().to_string());
        add(stack.min_positions.is_none(), "stack.min_positions", stack.min_positions().to_string());
        add(stack.most_subs.is_none(), "stack.most_subs", stack.most_subs().to_string());
        add(stack.most_gigabytes.is_none(), "stack.most_gigabytes", stack.most_gigabytes().to_string());
        add(goal.snr.is_none() && goal.hours.is_none(), "goal.snr", Goal::DEFAULT_SNR.to_string());
        let no_patch = goal.patch_arcsec.is_none() && goal.pixel != Some(true);
        add(no_patch, "goal.patch_arcsec", Goal::DEFAULT_PATCH.0.to_string());
        add(goal.clear_hours_per_night.is_none(), "goal.clear_hours_per_night", goal.clear_hours().to_string());
        let cadence_left_out = goal.already.iter().any(|stack| stack.dither_every_subs.is_none());
        add(cadence_left_out, "goal.already.dither_every_subs", AlreadyHave::DEFAULT_DITHER_EVERY.to_string());
        let dated = self.is_dated();
        add(dated && goal.clear_share.is_none(), "goal.clear_share", goal.clear_share().to_string());
        add(dated && goal.setup_min.is_none(), "goal.setup_min", goal.setup_min().to_string());
        let refocus = goal.refocus_min_per_hour().to_string();
        add(dated && goal.refocus_min_per_hour.is_none(), "goal.refocus_min_per_hour", refocus);
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
    let brightness = object.surface_brightness()?;
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

fn assumed_filter(filter: &Filter, add: &mut impl FnMut(bool, &str, String)) {
    let name = filter.label();
    let key = |word: &str| format!("{word} of the filter {name}");
    let line = FilterName::from_name(&name).is_ok_and(FilterName::is_line);
    let efficiency = format!("{DEFAULT_QUANTUM_EFFICIENCY}, or 0.5 at the green peak of a colour array");
    add(filter.quantum_efficiency.is_none(), &key("quantum_efficiency"), efficiency);
    let transmission = if line { DEFAULT_LINE_TRANSMISSION } else { DEFAULT_FILTER_TRANSMISSION };
    let typed = filter.transmission.is_some() || filter.curve.is_some();
    add(!typed && name != "none", &key("transmission"), transmission.to_string());
    add(
        line && filter.width_nm.is_none() && filter.curve.is_none(),
        &key("width_nm"),
        DEFAULT_LINE_WIDTH.0.to_string(),
    );
}
