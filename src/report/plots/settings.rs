//! The picture of the gain settings and what each costs.

use crate::plan::{GainSetting, Plan};
use crate::report::Table;
use crate::report::{duration, rounded};

use super::axis::Axis;
use super::canvas::Pen;
use super::figure::Figure;
use super::panel::{Bar, Panel, Shape};

/// Digits in a table.
const DIGITS: usize = 4;
/// Height of the axes, and of each bar.
const HEIGHT: (i32, i32) = (74, 34);

/// One bar for each gain setting from read noise to saturation, beside it the hours to the goal, or the signal over noise
/// where the hours are given; `None` where no setting is weighed.
#[must_use]
pub fn settings_figure(id: &str, plan: &Plan) -> Option<Figure> {
    let settings = &plan.by_gain_setting;
    if settings.is_empty() {
        return None;
    }
    let asked = plan.goal.hours.is_none();
    let is_planned = |setting: &GainSetting| setting.gain_setting == plan.gain_setting;
    let name = |setting: &GainSetting| setting.name(settings);
    let ends = |setting: &GainSetting| (setting.read_noise_e.0, setting.saturation_e.0);
    let bars = settings.iter().map(|setting| {
        let (from, to) = ends(setting);
        let star = if is_planned(setting) && settings.len() > 1 { "*" } else { "" };
        let words = format!("{}{star}: {} to {} e⁻", name(setting), rounded(from, 3), rounded(to, 3));
        let beside = if asked { duration(setting.wall_clock_s) } else { format!("SNR {}", rounded(setting.snr, 3)) };
        Bar { from, to, words, beside }
    });
    let x = Axis::logarithmic(settings.iter().flat_map(|setting| <[f64; 2]>::from(ends(setting))), 2.0);
    let height = HEIGHT.0 + HEIGHT.1 * settings.len() as i32;
    let title = if asked { "read noise to saturation; time" } else { "read noise to saturation; SNR" };
    let mut panel = Panel::new(x, Axis::bare(settings.len() as f64), ("electrons in one pixel", title), height);
    panel.bars = bars.collect();
    let rows = settings.iter().map(|setting| {
        let (from, to) = ends(setting);
        let planned = if is_planned(setting) { "planned" } else { "–" };
        let cells = [from, to, setting.wall_clock_s.0 / 3600.0, setting.snr].map(|value| rounded(value, DIGITS));
        [name(setting), planned.into()].into_iter().chain(cells).collect()
    });
    let head = ["setting", "plan", "read noise in e⁻", "saturation in e⁻", "hours on the clock", "SNR"];
    let table = Table { head: head.map(String::from).to_vec(), rows: rows.collect() };
    let what = if asked { "the time on the clock that reaches the goal" } else { "the SNR that the hours reach" };
    let description = format!(
        "A bar for each measured gain setting, on a logarithmic scale of electrons, from the read noise to the saturation that \
         all its planes have; beside it {what}. A long bar costs no time by itself: compare the numbers."
    );
    let title = if asked { "Gain settings and their hours" } else { "Gain settings and their SNR" };
    let figure = Figure::new(id.into(), title.into(), description, &[panel], table).with_key(
        Pen::Bar,
        Shape::Line,
        "from read noise to saturation",
    );
    Some(if settings.len() > 1 { figure.with_letter("*", "the setting of this plan") } else { figure })
}
