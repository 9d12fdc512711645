//! Two nights side by side as text.

use crate::plan::{Comparison, NoiseOfNight};
use crate::units::Seconds;

use super::{caveats_text, duration, entry, paragraph, rounded, with_uncertainty};

/// The whole answer of `compare`.
#[must_use]
pub fn comparison_text(answer: &Comparison) -> String {
    let ratio = answer.hours_ratio.value;
    let (low, high) = answer.hours_ratio.interval();
    let quicker = match ratio {
        _ if (low..=high).contains(&1.0) => "which is quicker cannot be told",
        ratio if ratio > 1.005 => "B is quicker",
        ratio if ratio < 0.995 => "A is quicker",
        _ => "both take the same",
    };
    let mut text = format!("hours of A : hours of B = {}: {quicker}\n\n", with_uncertainty(&answer.hours_ratio));
    let mut line = |name: &str, value: String| text.push_str(&entry(2, name, 22, &value));
    line("95 times in 100", format!("between {} and {}", rounded(low, 3), rounded(high, 3)));
    line("for SNR", rounded(answer.snr, 3));
    line("A", format!("{} with {}", duration(answer.a_wall_clock_s), night(&answer.a)));
    line("B", format!("{} with {}", duration(answer.b_wall_clock_s), night(&answer.b)));
    text.push_str("\nwhy, factor by factor\n");
    if answer.factors.is_empty() {
        text.push_str("  nothing that counts differs\n");
    }
    for factor in &answer.factors {
        text.push_str(&entry(2, &factor.name, 22, &rounded(factor.ratio, 3)));
    }
    text.push_str(&noise_text(answer));
    text.push_str(&travel_text(answer));
    text.push_str(&purchase_text(answer));
    text.push_str(&caveats_text(&answer.caveats));
    text
}

fn night(night: &NoiseOfNight) -> String {
    format!("{}, {}, subs of {}", night.camera, night.filter, duration(night.sub_s))
}

/// What the noise is made of, for that is why a darker sky helps much or little.
fn noise_text(answer: &Comparison) -> String {
    let mut text = String::from("\nnoise from\n");
    for (name, night) in [("A", &answer.a), ("B", &answer.b)] {
        let share = &night.noise_share_percent;
        let value = format!(
            "sky {:.0} %, target {:.0} %, dark {:.0} %, read {:.0} %, pattern and calibration {:.0} %",
            share.sky + share.moon,
            share.target,
            share.dark,
            share.read + share.quantisation,
            share.pattern + share.calibration
        );
        text.push_str(&entry(2, name, 6, &value));
    }
    let light = |night: &NoiseOfNight| (night.rates_e_per_s.sky + night.rates_e_per_s.moon).0;
    let (here, there) = (light(&answer.a), light(&answer.b));
    if by_sky(answer) && here > 0.0 && there > 0.0 {
        let (here_share, there_share) = (&answer.a.noise_share_percent, &answer.b.noise_share_percent);
        text.push_str(&paragraph(
            &format!(
                "A pixel gets {} times as much sky light in A as in B. If the sky were all of the noise, the sky's factor would be \
                 that. It is {:.0} % of the variance in A and {:.0} % in B; what is left (the target's own light, dark \
                 current, read noise) does not fall with the sky.",
                rounded(here / there, 3),
                here_share.sky + here_share.moon,
                there_share.sky + there_share.moon
            ),
            2,
        ));
    }
    text
}

/// Whether the sky is one of the reasons.
fn by_sky(answer: &Comparison) -> bool {
    answer.factors.iter().any(|factor| factor.name.starts_with("sky"))
}

fn travel_text(answer: &Comparison) -> String {
    let clear = Seconds(answer.clear_hours_per_night * 3600.0);
    match answer.break_even_travel_h {
        Some(hours) if by_sky(answer) => paragraph(
            &format!(
                "If B is a drive away: of a clear night of {} at A, {} on the road, there and back, eat what B gains. \
                 A shorter drive pays.",
                duration(clear),
                duration(Seconds(hours * 3600.0))
            ),
            2,
        ),
        None if by_sky(answer) => paragraph("No drive from A to B pays: B is not quicker.", 2),
        _ => String::new(),
    }
}

fn purchase_text(answer: &Comparison) -> String {
    if answer.filter_purchase.is_empty() {
        return String::new();
    }
    let mut text = String::from("\nthe filters alone, hours with A's : with B's\n");
    let target = |name: &str| {
        let of = answer.filter_purchase.iter().filter(|row| row.target == name);
        let said = of.map(|row| {
            let ratio = row.hours_ratio.map_or_else(|| "shows nothing".into(), |ratio| rounded(ratio, 3));
            format!("{} {ratio}", row.lamps)
        });
        said.collect::<Vec<_>>().join(", ")
    };
    text.push_str(&entry(2, "galaxy", 22, &target("galaxy")));
    text.push_str(&entry(2, "nebula", 22, &target("nebula")));
    text
}
