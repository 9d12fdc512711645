//! A sky as text: every scale, then the way of its light to the electrons.

use crate::camera::Background;
use crate::decide::{HoursRatio, PlaneSky, SkyAnswer, StarLight};

use super::{caveats_text, duration, entry, rounded, with_uncertainty, wrapped};

/// The whole answer of `sky`.
#[must_use]
pub fn sky_text(answer: &SkyAnswer) -> String {
    let mut text = scales_text(answer);
    if let Some(measured) = &answer.measured {
        text.push_str(&measured_text(measured));
    }
    for plane in &answer.planes {
        text.push_str(&plane_text(plane));
    }
    for stars in &answer.stars {
        text.push_str(&stars_text(stars));
    }
    if let Some(against) = &answer.against {
        text.push_str(&against_text(against));
    }
    text.push_str(&caveats_text(&answer.caveats));
    text
}

fn scales_text(answer: &SkyAnswer) -> String {
    let mut text = String::from("the sky\n");
    let mut line = |name: &str, value: String| text.push_str(&entry(2, name, 22, &value));
    if let Some(magnitude) = &answer.mag_per_arcsec2 {
        line("brightness in V", format!("{} at the zenith", with_uncertainty(magnitude)));
        if let Some(altitude) = answer.altitude_deg {
            line("measured", format!("{:.0}° high; what a pixel gets is for there", altitude.0));
        }
    }
    if let Some(class) = answer.bortle {
        line("Bortle class", format!("{class}, the nearest; a class is about a magnitude wide"));
    }
    if answer.mag_per_arcsec2.is_some() {
        let said = |limit: crate::units::Magnitudes| format!("{:.1}, give or take 0.5", limit.0);
        line(
            "naked-eye limit",
            answer.limiting_mag.map_or_else(|| "outside 4.5 to 6.5, where it does not tell skies apart".into(), said),
        );
    }
    if let Some(luminance) = answer.candela_per_m2 {
        line("luminance", format!("{} mcd/m2", rounded(1e3 * luminance.0, 3)));
    }
    if let Some(ratio) = answer.artificial_ratio {
        line("artificial light", format!("{} times the natural", rounded(ratio, 2)));
    }
    text
}

fn measured_text(measured: &Background) -> String {
    let mut text = format!("\nmeasured on a light of {}, its dark taken off\n", duration(measured.exposure_s));
    for plane in &measured.planes {
        let colour = plane.colour.map_or_else(String::new, |colour| format!(" ({colour})"));
        let value = format!(
            "{} in a pixel; level {}, gradient {:.0} %, corners {:.0} % darker, {:.0} % of the field is no sky",
            with_uncertainty(&plane.e_per_s),
            with_uncertainty(&plane.level_dn),
            plane.gradient_percent,
            plane.falloff_percent,
            plane.not_background_percent
        );
        text.push_str(&entry(2, &format!("plane {}{colour}", plane.plane), 22, &value));
    }
    text
}

fn plane_text(plane: &PlaneSky) -> String {
    let colour = plane.colour.map_or_else(String::new, |colour| format!(" ({colour})"));
    let mut text = format!("\n{}, plane {}{colour}\n", plane.filter, plane.plane);
    for window in &plane.windows {
        for factor in &window.factors {
            let value = format!("{} {}", digits(factor.value), factor.unit);
            text.push_str(format!("  {:<20}{value:<24}{}", factor.name, factor.from).trim_end());
            text.push('\n');
        }
        text.push_str(&format!("  = {} e-/s in a pixel\n", digits(window.e_per_s)));
    }
    let how = if plane.measured { "measured" } else { "in all" };
    text.push_str(&entry(2, how, 22, &with_uncertainty(&plane.e_per_s)));
    text
}

fn stars_text(found: &StarLight) -> String {
    let mut text = format!(
        "\n{} through {}, plane {}, magnitudes in {}, {:.2} airmasses\n",
        if found.stars.len() == 1 { "one star".into() } else { format!("{} stars", found.stars.len()) },
        found.filter,
        found.plane,
        found.band.letter(),
        found.airmass
    );
    for star in &found.stars {
        let flux = &star.flux;
        let value = format!(
            "{}, {:.1} px wide: zero point {:.2}",
            with_uncertainty(&flux.e_per_s),
            flux.fwhm_px,
            star.zero_point_mag.0
        );
        text.push_str(&entry(2, &format!("{:.0},{:.0} of {:.2} mag", flux.x_px, flux.y_px, star.mag.0), 28, &value));
    }
    text.push_str(&entry(2, "zero point", 28, &with_uncertainty(&found.zero_point_mag)));
    let typed = format!("{}, typed {:.3}", with_uncertainty(&found.throughput), found.typed_throughput);
    text.push_str(&entry(2, "throughput", 28, &typed));
    text
}

fn against_text(against: &HoursRatio) -> String {
    let other = with_uncertainty(&against.mag_per_arcsec2);
    let mut text = format!("\nagainst a sky of {other}\n");
    text.push_str(&entry(
        2,
        "hours",
        22,
        &format!(
            "{} times as many ({} and {}), from the whole plan",
            with_uncertainty(&against.hours_ratio),
            duration(against.wall_clock_s),
            duration(against.other_wall_clock_s)
        ),
    ));
    text.push_str(&entry(2, "sky alone", 22, &format!("{} times as bright", with_uncertainty(&against.sky_ratio))));
    text.push_str(&wrapped("the uncertainty of both is that of the two skies", 2));
    text
}

/// Five digits, small numbers with an exponent.
fn digits(value: f64) -> String {
    if value != 0.0 && value.abs() < 1e-4 { format!("{value:.4e}") } else { rounded(value, 5) }
}
