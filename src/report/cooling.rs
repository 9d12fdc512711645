//! Whether a cooled camera is worth it, as text: the verdict, why, the months, what would change it.

use crate::decide::{Against, Cooling, MonthOfCooling};

use super::{caveats_text, duration, entry, paragraph, rounded, wrapped};

/// The whole answer of `cooling`.
#[must_use]
pub fn cooling_text(answer: &Cooling) -> String {
    let mut text = String::new();
    if let Some(against) = &answer.against {
        text.push_str(&wrapped(&against_head(answer, against), 2));
    }
    text.push_str(&format!("cooling the {}: {}\n\n", answer.camera, answer.verdict.words()));
    text.push_str(&entries_text(&year_entries(answer)));
    text.push_str(&months_text(&answer.months));
    text.push_str(&entries_text(&where_entries(answer)));
    text.push_str(&read_noise_text(answer));
    if let Some(against) = &answer.against {
        text.push_str(&format!("\nwhat of the {}'s hours is cooling\n", against.camera));
        text.push_str(&entries_text(&against_entries(answer, against)));
    }
    text.push_str(&caveats_text(&answer.caveats));
    text
}

/// The answer in a few lines: the verdict, its ratio, where it turns.
#[must_use]
pub fn cooling_line(answer: &Cooling) -> String {
    let year = answer.time_ratio_year.map_or_else(
        || "without it no number of hours is enough".into(),
        |year| format!("without it the year takes {} times the hours", ratio(year)),
    );
    let sky = answer.sky_mag_where_it_pays.map_or_else(
        || answer.sky_mag_why.clone().unwrap_or_default().into_owned(),
        |sky| format!("it pays under skies darker than {sky:.1} mag/arcsec2"),
    );
    wrapped(
        &format!(
            "cooling the {}: {}; {year}, {} of {} h are saved; {sky}",
            answer.camera,
            answer.verdict.words(),
            rounded(answer.hours_saved_per_year, 2),
            rounded(answer.imaging_hours_per_year, 3)
        ),
        2,
    )
}

fn ratio(value: f64) -> String {
    if value < 10.0 { format!("{value:.2}") } else { rounded(value, 3) }
}

/// Names with their values, the values in a column.
fn entries_text(entries: &[(&str, String)]) -> String {
    entries.iter().map(|(name, value)| entry(2, name, 22, value)).collect()
}

/// The year: its ratio, the thresholds, what is saved.
pub(super) fn year_entries(answer: &Cooling) -> Vec<(&'static str, String)> {
    let mut entries = Vec::new();
    let mut line = |name: &'static str, value: String| entries.push((name, value));
    let [low, middle, high] = answer.thresholds_time_ratio;
    let year = match (answer.time_ratio_year, answer.time_ratio_year_interval_95) {
        (Some(year), Some([least, most])) if ratio(least) != ratio(most) => format!(
            "{} times the hours without cooling ({} to {} by what is known of the dark current)",
            ratio(year),
            ratio(least),
            ratio(most)
        ),
        (Some(year), _) => format!("{} times the hours without cooling", ratio(year)),
        (None, _) => "without cooling no number of hours is enough".into(),
    };
    line("over the year", year);
    line("thresholds", format!("{low} marginal, {middle} worth it, {high} clearly worth it"));
    line(
        "saved",
        format!(
            "{} h of the {} h that you use in a year",
            rounded(answer.hours_saved_per_year, 2),
            rounded(answer.imaging_hours_per_year, 3)
        ),
    );
    if let Some(price) = answer.price_per_hour_saved {
        let five = rounded(price / 5.0, 3);
        line("price", format!("{} for each hour saved in the first year, {five} over five", rounded(price, 3)));
    }
    entries
}

fn months_text(months: &[MonthOfCooling]) -> String {
    const NAMES: [&str; 12] = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
    let mut text = String::from(
        "\n        dark   air   sensor, °C      dark current, e-/s    its share, %   hours\n\
         \x20          h    °C   bare  cooled     bare     cooled     bare  cooled  ratio\n",
    );
    for (month, name) in months.iter().zip(NAMES) {
        let hours = month.dark_hours_per_night.map_or_else(|| "?".into(), |hours| format!("{hours:.1}"));
        let share = |share: Option<f64>| share.map_or_else(|| "-".into(), |share| format!("{share:.1}"));
        let times = month.time_ratio.map_or_else(|| "never".into(), ratio);
        text.push_str(&format!(
            "  {name}  {hours:>5} {:>5.1}  {:>5.1}  {:>6.1}  {:>8}  {:>8}   {:>5}   {:>5}  {times:>5}\n",
            month.ambient_c,
            month.uncooled_sensor_c,
            month.cooled_sensor_c,
            rounded(month.uncooled_dark_e_per_s, 2),
            rounded(month.cooled_dark_e_per_s, 2),
            share(month.uncooled_dark_share_percent),
            share(month.cooled_dark_share_percent),
        ));
    }
    text.push('\n');
    text
}

/// Under which sky, in which nights and at which set point it pays.
pub(super) fn where_entries(answer: &Cooling) -> Vec<(&'static str, String)> {
    let mut entries = Vec::new();
    let mut line = |name: &'static str, value: String| entries.push((name, value));
    let pays = answer.thresholds_time_ratio[1];
    let own = answer.sky_mag_per_arcsec2.map_or_else(String::new, |sky| format!("; yours has {sky:.1}"));
    let sky = match (answer.sky_mag_where_it_pays, answer.sky_mag_why.as_deref()) {
        (Some(sky), _) => {
            let brighter = answer.sky_mag_per_arcsec2.is_some_and(|own| own < sky);
            let why = if brighter { ": lamp light hides dark current" } else { "" };
            format!("skies darker than {sky:.1} mag/arcsec2 (ratio {pays}){own}{why}")
        }
        (None, why) => format!("{}{own}", why.unwrap_or_default().trim_start_matches("it pays under ")),
    };
    line("it pays under", sky);
    let air = match (answer.night_c_where_it_pays, answer.night_c_why.as_deref()) {
        (Some(air), _) => format!("nights warmer than {air:.0} °C, under your sky"),
        (None, why) => why.unwrap_or_default().to_owned(),
    };
    line("and in", air);
    let useful = answer.useful_share_percent;
    let set_point = answer.warmest_useful_set_point_c.map_or_else(
        || "no set point matters: dark current costs too little".into(),
        |warmest| {
            format!(
                "{warmest:.0} °C: colder saves less than {useful:.0} % of the time ({:.0} °C is asked for)",
                answer.set_point_c.0
            )
        },
    );
    line("cold enough", set_point);
    let (night, reserve) = (answer.warmest_night_c.0, answer.cooler_reserve_k);
    let reached = if reserve >= 0.0 {
        format!("the cooler has {reserve:.0} K left at {:.0} °C", answer.set_point_c.0)
    } else {
        format!("the cooler gets only to {:.0} °C", answer.set_point_c.0 - reserve)
    };
    line("warmest nights", format!("{night:.0} °C, one in forty of the warmest month is warmer: {reached}"));
    line(
        "dark current is",
        format!(
            "the mean pixel's in {}, hot pixels included, as in the plan; averaged over warm and cold nights and the \
             body's warming",
            answer.dark_current.plane
        ),
    );
    entries
}

/// What cooling does not change.
pub(super) fn read_noise_text(answer: &Cooling) -> String {
    let read = &answer.read_noise;
    let measured = read.measured.map_or_else(String::new, |[(cold, at_cold), (warm, at_warm)]| {
        format!(
            " (measured {} at {:.0} °C, {} at {:.0} °C)",
            rounded(at_cold.0, 3),
            cold.0,
            rounded(at_warm.0, 3),
            warm.0
        )
    });
    let (cooled, of_cooled) = (read.cooled_share_percent, duration(read.cooled_sub_s));
    let shares = if read.uncooled_sub_s.0 > 0.0 {
        format!(
            "{:.0} % of the noise's variance without cooling and {cooled:.0} % with it, in subs of {} and {of_cooled}",
            read.uncooled_share_percent,
            duration(read.uncooled_sub_s),
        )
    } else {
        format!(
            "{cooled:.0} % of the noise's variance with cooling, in subs of {of_cooled}; without, no subs are enough"
        )
    };
    paragraph(
        &format!(
            "Cooling does not lower read noise: it is {} e- with and without{measured}. In the warmest month it makes \
             {shares}. Cooling lowers dark current and its shot noise.",
            rounded(read.read_noise_e.0, 3),
        ),
        2,
    )
}

/// The other camera with the verdict on it.
pub(super) fn against_head(answer: &Cooling, against: &Against) -> String {
    let (low, high) = (against.time_ratio_interval_95[0], against.time_ratio_interval_95[1]);
    let range = if ratio(low) == ratio(high) { String::new() } else { format!(" ({} to {})", ratio(low), ratio(high)) };
    let source = against.source.as_ref().map_or_else(String::new, |source| format!(" ({source})"));
    format!(
        "the {}{source} in place of the {}: {}; over the year yours takes {}{range} times its hours",
        against.camera,
        answer.camera,
        against.verdict.words(),
        ratio(against.time_ratio),
    )
}

/// The ratio against the other camera, and its factors.
pub(super) fn against_entries(answer: &Cooling, against: &Against) -> Vec<(&'static str, String)> {
    let mut entries = Vec::new();
    let mut line = |name: &'static str, value: String| entries.push((name, value));
    let split = &answer.split;
    line("hours, yours : its", format!("{} over the year", ratio(against.time_ratio)));
    line(
        "of that cooling",
        format!(
            "{} ({} its temperature, {} its sensor's own dark current)",
            split.cooling.map_or_else(|| "no end".into(), ratio),
            ratio(against.cooling_by_temperature),
            ratio(against.cooling_by_sensor)
        ),
    );
    line("read noise", format!("{}, with gain and full well", ratio(split.read_noise)));
    line("quantum efficiency", ratio(split.quantum_efficiency));
    line("infrared cut", ratio(split.infrared_cut));
    line("pixel", ratio(split.pixel));
    line("colour array", format!("{}: which pixels see which colour", ratio(split.sampling)));
    line("product", format!("{}: the factors multiply to the whole", ratio(split.product())));
    entries
}
