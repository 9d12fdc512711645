//! Two nights side by side as text.

use crate::decide::{Comparison, NoiseOfNight, PurchaseTarget};
use crate::stats::Estimate;
use crate::units::Seconds;

use super::{caveats_text, duration, entry, paragraph, rounded, with_uncertainty, wrapped};

/// Columns of a name before what is said of it.
const NAME_WIDTH: usize = 20;

/// The answer in a line: which is quicker, by how much, and whether to change.
pub(super) fn comparison_line(answer: &Comparison) -> String {
    let ratio = answer.hours_ratio;
    let (low, high) = ratio.interval();
    let [a, b] = &answer.names;
    if is_certain(answer) && (0.995..=1.005).contains(&ratio.value) {
        return format!("{a} and {b} take the same hours\n");
    }
    let line = if (low..=high).contains(&1.0) {
        format!("which is quicker cannot be told: {a} takes {} times the hours of {b}", with_uncertainty(&ratio))
    } else if ratio.value > 1.0 {
        let times = with_uncertainty(&ratio);
        format!("{b} is quicker: {a} takes {times} times its hours; changing is {}", answer.verdict.words())
    } else {
        let turned: Estimate<f64> = Estimate::new(1.0 / ratio.value, ratio.uncertainty / ratio.value.powi(2));
        format!("{a} is quicker: {b} takes {} times its hours; changing is not worth it", with_uncertainty(&turned))
    };
    wrapped(&line, 2)
}

/// A line about one of the two; a long name goes before what is said of it.
fn about(name: &str, said: String) -> (String, String) {
    if name.chars().count() < NAME_WIDTH { (name.to_owned(), said) } else { (String::new(), format!("{name}: {said}")) }
}

/// The range of the ratio, the goal, both nights.
pub(super) fn comparison_entries(answer: &Comparison) -> Vec<(String, String)> {
    let (low, high) = answer.hours_ratio.interval();
    let [a, b] = &answer.names;
    let mut entries = vec![("first : second".into(), with_uncertainty(&answer.hours_ratio))];
    if !is_certain(answer) {
        let range = format!("between {} and {}", rounded(low, 3), rounded(high, 3));
        entries.push(("95 times in 100".into(), range));
    }
    entries.push(("for SNR".into(), rounded(answer.snr, 3)));
    entries.push(about(a, format!("{} with {}", duration(answer.a_wall_clock_s), night(&answer.a))));
    entries.push(about(b, format!("{} with {}", duration(answer.b_wall_clock_s), night(&answer.b))));
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
    let mut text = format!("{}\n", comparison_line(answer));
    for (name, value) in comparison_entries(answer) {
        text.push_str(&entry(2, &name, 2 + NAME_WIDTH, &value));
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
pub(super) fn noise_entries(answer: &Comparison) -> Vec<(String, String)> {
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
    let [a, b] = &answer.names;
    vec![about(a, shares(&answer.a)), about(b, shares(&answer.b))]
}

/// What the noise is made of, for that is why a darker sky helps much or little.
fn noise_text(answer: &Comparison) -> String {
    let mut text = String::from("\nnoise from\n");
    for (name, value) in noise_entries(answer) {
        text.push_str(&entry(2, &name, 2 + NAME_WIDTH, &value));
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
    let [a, b] = &answer.names;
    let (here_share, there_share) = (&answer.a.noise_share_percent, &answer.b.noise_share_percent);
    paragraph(
        &format!(
            "With {a} a pixel gets {} times as much sky light as with {b}. If the sky were all of the noise, the sky's factor would be \
                 that. It is {:.0} % of the variance with the one and {:.0} % with the other; what is left (the target's own light, dark \
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
    let b = &answer.names[1];
    match answer.break_even_travel_h {
        Some(hours) if by_sky(answer) => paragraph(
            &format!(
                "If {b} is a drive away: of a clear night of {} at home, {} on the road, there and back, eat what it gains. \
                 A shorter drive pays.",
                duration(clear),
                duration(Seconds(hours * 3600.0))
            ),
            2,
        ),
        None if by_sky(answer) => paragraph(&format!("No drive to {b} pays: it is not quicker."), 2),
        _ => String::new(),
    }
}

/// The title of [`purchase_entries`].
pub(super) const PURCHASE: &str = "the filters alone, hours with the first's : with the second's";

fn purchase_text(answer: &Comparison) -> String {
    if answer.filter_purchase.is_empty() {
        return String::new();
    }
    let rows = purchase_entries(answer);
    let lines: String = rows.iter().map(|(name, value)| entry(2, name, 2 + NAME_WIDTH, value)).collect();
    format!("\n{PURCHASE}\n{lines}")
}

/// What the filters alone do to light of all wavelengths and to lines, by the lamps.
pub(super) fn purchase_entries(answer: &Comparison) -> Vec<(String, String)> {
    let target = |target: PurchaseTarget| {
        let rows = answer.filter_purchase.iter().filter(|row| row.target == target);
        let said = rows.map(|row| {
            let ratio = row.hours_ratio.map_or_else(|| "shows nothing".into(), |ratio| rounded(ratio, 3));
            format!("{} {ratio}", row.lamps.word())
        });
        said.collect::<Vec<_>>().join(", ")
    };
    vec![("galaxy".into(), target(PurchaseTarget::Galaxy)), ("nebula".into(), target(PurchaseTarget::Nebula))]
}
