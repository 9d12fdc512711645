//! The second, short set as text.

use crate::camera::SaturationIs;
use crate::plan::{BlendOfPlane, Burns, FilterShortSet, ShortSet};

use super::plan::counted;
use super::{duration, entry, rounded};

/// Every short set, each under a heading of its own.
pub(super) fn short_set_text(short: &ShortSet) -> String {
    let mut text = String::new();
    for set in &short.sets {
        text.push_str(&format!("\nshort set for the {}, {}\n", word(set), set.name));
        for (name, value) in entries(set) {
            text.push_str(&entry(2, name, 18, &value));
        }
        for plane in &set.planes {
            let colour = plane.colour.map_or_else(String::new, |colour| format!(" ({colour})"));
            text.push_str(&format!("  plane {}{colour}\n", plane.plane));
            for (name, value) in blend_entries(plane) {
                text.push_str(&entry(4, name, 20, &value));
            }
        }
    }
    text
}

/// What burns in the long subs.
pub(super) fn word(set: &FilterShortSet) -> &'static str {
    match set.burns {
        Burns::Core => "core",
        Burns::Star => "star",
    }
}

/// Why a short set is needed, and how many subs of it.
pub(super) fn entries(set: &FilterShortSet) -> Vec<(&'static str, String)> {
    let (long, limit) = (duration(set.long_sub_s), duration(set.burns_after_s));
    let (after, unharmed) = match set.saturation_is {
        SaturationIs::Reached => ("burns after", "burns after"),
        SaturationIs::AtLeast => ("may burn after", "does not burn before"),
    };
    if !set.needed {
        return vec![("needed", format!("no: the {} {unharmed} {limit}, the subs are {long}", word(set)))];
    }
    let why = match set.burns {
        Burns::Core => format!("the core {after} {limit}, the subs of the plan are {long}"),
        Burns::Star => format!("the star {after} {limit} and keeps the plan's subs short"),
    };
    let mut entries = vec![("why", why)];
    let Some(sub) = set.sub_s else {
        entries.push(("subs", "none is short enough within the rules of [stack]".into()));
        return entries;
    };
    entries.push((
        "subs",
        format!(
            "{} of {}, {} to shoot, dither every {}: {} on the clock",
            set.subs_kept,
            duration(sub),
            set.subs_to_shoot,
            counted(set.dither_every_subs, "sub"),
            duration(set.wall_clock_s)
        ),
    ));
    if let Some(instead) = &set.instead {
        entries.push((
            "instead",
            format!(
                "of the plan above: subs of {} in {}, {} with the short set, {} less than the plan",
                duration(instead.long_sub_s),
                duration(instead.long_wall_clock_s),
                duration(instead.with_short_set_s),
                duration(instead.saves_s)
            ),
        ));
    }
    entries
}

/// Where a plane's two sets are joined.
pub(super) fn blend_entries(plane: &BlendOfPlane) -> Vec<(&'static str, String)> {
    let ends = match (plane.blend_mag_per_arcsec2, plane.blend_star_mag) {
        (Some([faint, bright]), _) => format!("{:.1} to {:.1} mag/arcsec2", faint.0, bright.0),
        (_, Some([faint, bright])) => format!("stars of {:.1} to {:.1} mag", faint.0, bright.0),
        _ => String::new(),
    };
    let [[low, high], [low_dn, high_dn]] = [plane.blend_e, plane.blend_dn.map(|dn| dn as f64)];
    let e = |e: f64| rounded(e, 3);
    vec![
        (
            "blend",
            format!(
                "{ends}, {:.1} mag that both sets hold: {} to {} e- of the long subs ({low_dn:.0} to {high_dn:.0} DN)",
                plane.overlap_mag,
                e(low),
                e(high)
            ),
        ),
        (
            "long set burns",
            format!(
                "above {} e- of {}{} e-",
                e(high),
                if plane.saturation_is == SaturationIs::AtLeast { "at least " } else { "" },
                e(plane.saturation_e.0)
            ),
        ),
        (
            "short set",
            format!(
                "SNR {} in the brightest pixel, {} where the long set ends",
                rounded(plane.snr_in_a_pixel, 3),
                rounded(plane.snr_at_the_seam, 3)
            ),
        ),
    ]
}
