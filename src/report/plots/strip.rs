//! What is left of the noise after one sub, and after all of them: a strip to look at.

use std::fmt::Write;

use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

use crate::plan::{FilterPlan, Search};
use crate::report::{duration, rounded};

use super::canvas::TEXT;
use super::figure::{Figure, Table};
use super::panel::WIDTH;

/// Squares of the strip; each stands for one patch.
const COLUMNS: usize = 120;
const ROWS: usize = 22;
/// Rows over which the target fades by 1/e from the middle one.
const FADE: f64 = 5.0;
/// Shades between the darkest and the brightest.
const SHADES: usize = 12;
/// Brightness in units of the target that is drawn darkest and brightest.
const DARKEST: f64 = -1.0;
const BRIGHTEST: f64 = 2.0;
/// Numbers of subs that are written below.
const TICKS: usize = 4;
/// The same noise in every report.
const SEED: u64 = 20_260_412;

/// The target in the noise of ever more subs, from one on the left to all of them on the right; `None` where there are too
/// few to tell.
#[must_use]
pub fn strip_figure(id: &str, filter: &FilterPlan, search: &Search) -> Option<Figure> {
    let (sub, every, all) = (filter.sub_s, filter.dither_every_subs as f64, filter.subs_kept as f64);
    let subs = |share: f64| all.powf(share);
    let snr = |subs: f64| search.snr(sub, subs, every);
    if all < TICKS as f64 || !(snr(1.0) > 0.0 && snr(all).is_finite()) {
        return None;
    }
    let mut chance = Xoshiro256PlusPlus::seed_from_u64(SEED);
    let mut shades = vec![String::new(); SHADES];
    let side = f64::from(WIDTH) / COLUMNS as f64;
    for column in 0..COLUMNS {
        let noise = 1.0 / snr(subs((column as f64 + 0.5) / COLUMNS as f64));
        for row in 0..ROWS {
            let off = row as f64 - (ROWS as f64 - 1.0) / 2.0;
            let chance: f64 = StandardNormal.sample(&mut chance);
            let brightness = (-(off / FADE).powi(2)).exp() + noise * chance;
            let share = (brightness - DARKEST) / (BRIGHTEST - DARKEST);
            let shade = (share * SHADES as f64).clamp(0.0, SHADES as f64 - 1.0) as usize;
            let (x, y) = (column as f64 * side, row as f64 * side);
            // Writing to a text cannot fail.
            let _ = write!(shades[shade], "M{x} {y}h{side}v{side}h-{side}z");
        }
    }
    let mut drawing = String::new();
    for (shade, path) in shades.iter().enumerate() {
        let share = shade as f64 / (SHADES as f64 - 1.0);
        let _ = writeln!(drawing, "<path class=\"shade\" fill-opacity=\"{share:.2}\" d=\"{path}\"/>");
    }
    let bottom = ROWS as f64 * side;
    let mut rows = Vec::new();
    for tick in 0..TICKS {
        let share = tick as f64 / (TICKS - 1) as f64;
        let count = subs(share).round();
        let (x, anchor) = match tick {
            0 => (0.0, "start"),
            tick if tick == TICKS - 1 => (f64::from(WIDTH), "end"),
            _ => (share * f64::from(WIDTH), "middle"),
        };
        let found = rounded(snr(count), 3);
        let word = if count == 1.0 { "sub" } else { "subs" };
        for (line, text) in [format!("{count} {word}"), format!("SNR {found}")].into_iter().enumerate() {
            let y = bottom + f64::from(TEXT) * (1.4 + 1.3 * line as f64);
            let _ = writeln!(drawing, "<text x=\"{x}\" y=\"{y:.1}\" text-anchor=\"{anchor}\">{text}</text>");
        }
        rows.push(vec![count.to_string(), found]);
    }
    let description = format!(
        "SNR {} in one sub of {}, {} in all {all}. Each square stands for a patch, the middle row for the target's brightness, \
         and the noise is made up to the plan's own SNR: a drawing, not a photograph.",
        rounded(snr(1.0), 3),
        duration(sub),
        rounded(snr(all), 3),
    );
    let head = ["subs in the stack", "SNR in a patch"].map(String::from).to_vec();
    let title = format!("What the subs do to the noise, filter {}", filter.name);
    let height = bottom as i32 + 3 * TEXT;
    Some(Figure::of_drawing(id.into(), title, description, (drawing, height), Table { head, rows }))
}
