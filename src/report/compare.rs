//! Two nights side by side as text.

use crate::decide::{Comparison, NoiseOfNight, PurchaseTarget};
use crate::units::Seconds;

use super::{caveats_text, duration, entry, paragraph, rounded, with_uncertainty};

/// The answer in a line: the ratio of hours and which night is quicker.
pub(super) fn comparison_line(answer: &Comparison) -> String {
    let ratio = answer.hours_ratio.value;
    let (low, high) = answer.hours_ratio.interval();
    let quicker = match ratio {
        _ if is_certain(answer) && (0.995..=1.005).contains(&ratio) => {
            return "hours of A : hours of B = 1: both take the same".into();
        }
        _ if (low..=high).contains(&1.0) => "which is quicker cannot be told",
        ratio if ratio > 1.005 => "B is quicker",
        ratio if ratio < 0.995 => "A is quicker",
        _ => "both take the same",
    };
    format!("hours of A : hours of B = {}: {quicker}", with_uncertainty(&answer.hours_ratio))
}

/// The range of the ratio, the goal, both nights.
pub(super) fn comparison_entries(answer: &Comparison) -> Vec<(&'static str, String)> {
    let (low, high) = answer.hours_ratio.interval();
    let range = ("95 times in 100", format!("between {} and {}", rounded(low, 3), rounded(high, 3)));
    let mut entries = if is_certain(answer) { Vec::new() } else { vec![range] };
    entries.extend([
        ("for SNR", rounded(answer.snr, 3)),
        ("A", format!("{} with {}", duration(answer.a_wall_clock_s), night(&answer.a))),
        ("B", format!("{} with {}", duration(answer.b_wall_clock_s), night(&answer.b))),
    ]);
    entries
}

/// Whether both ends of the range are written alike.
fn is_certain(answer: &Comparison) -> bool {
    let (low, high) = answer.hours_ratio.interval();
    rounded(low, 3) == rounded(high, 3)
}

/// The whole answer of `compare`.
#[must_use]
pub fn comparison_text(answer: &Comparison) -> String {
    let mut text = format!("{}\n\n", comparison_line(answer));
    for (name, value) in comparison_entries(answer) {
        text.push_str(&entry(2, name, 22, &value));
    }
    text.push_str(
        "\n  Hours of a target that takes nights: least subs and dither places, which bind\n  a short plan, are left out.\n",
    );
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

/// What the noise of both nights is made of.
pub(super) fn noise_entries(answer: &Comparison) -> Vec<(&'static str, String)> {
    let shares = |night: &NoiseOfNight| {
        let share = &night.noise_share_percent;
        format!(
            "sky {:.0} %, target {:.0} %, dark {:.0} %, read {:.0} %, pattern and calibration {:.0} %",
            share.sky + share.moon,
            share.target,
            share.dark,
            share.read + share.bands + share.quantisation,
            share.pattern + share.calibration
        )
    };
    vec![("A", shares(&answer.a)), ("B", shares(&answer.b))]
}

/// What the noise is made of, for that is why a darker sky helps much or little.
fn noise_text(answer: &Comparison) -> String {
    let mut text = String::from("\nnoise from\n");
    for (name, value) in noise_entries(answer) {
        text.push_str(&entry(2, name, 6, &value));
    }
    text.push_str(&sky_text(answer));
    text
}

/// Why the sky's factor is less than the ratio of its light; empty where the sky is no reason.
pub(super) fn sky_text(answer: &Comparison) -> String {
    let light = |night: &NoiseOfNight| (night.rates_e_per_s.sky + night.rates_e_per_s.moon).0;
    let (here, there) = (light(&answer.a), light(&answer.b));
    if !(by_sky(answer) && here > 0.0 && there > 0.0) {
        return String::new();
    }
    let (here_share, there_share) = (&answer.a.noise_share_percent, &answer.b.noise_share_percent);
    paragraph(
        &format!(
            "A pixel gets {} times as much sky light in A as in B. If the sky were all of the noise, the sky's factor would be \
                 that. It is {:.0} % of the variance in A and {:.0} % in B; what is left (the target's own light, dark \
                 current, read noise) does not fall with the sky.",
            rounded(here / there, 3),
            here_share.sky + here_share.moon,
            there_share.sky + there_share.moon
        ),
        2,
    )
}

/// Whether the sky is one of the reasons.
fn by_sky(answer: &Comparison) -> bool {
    answer.factors.iter().any(|factor| factor.name.starts_with("sky"))
}

/// How long a drive to the second night may be; empty where the sky is no reason.
pub(super) fn travel_text(answer: &Comparison) -> String {
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

/// The title of [`purchase_entries`].
pub(super) const PURCHASE: &str = "the filters alone, hours with A's : with B's";

fn purchase_text(answer: &Comparison) -> String {
    if answer.filter_purchase.is_empty() {
        return String::new();
    }
    let lines: String = purchase_entries(answer).iter().map(|(name, value)| entry(2, name, 22, value)).collect();
    format!("\n{PURCHASE}\n{lines}")
}

/// What the filters alone do to light of all wavelengths and to lines, by the lamps.
pub(super) fn purchase_entries(answer: &Comparison) -> Vec<(&'static str, String)> {
    let target = |target: PurchaseTarget| {
        let rows = answer.filter_purchase.iter().filter(|row| row.target == target);
        let said = rows.map(|row| {
            let ratio = row.hours_ratio.map_or_else(|| "shows nothing".into(), |ratio| rounded(ratio, 3));
            format!("{} {ratio}", row.lamps.word())
        });
        said.collect::<Vec<_>>().join(", ")
    };
    vec![("galaxy", target(PurchaseTarget::Galaxy)), ("nebula", target(PurchaseTarget::Nebula))]
}
