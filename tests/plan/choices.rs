//! What to change and what to photograph: each row is what a person gets who writes the files by hand.

use approx::assert_relative_eq;
use subwell::camera::CameraProfile;
use subwell::decide::{Choice, Choices, Comparison, Cooling, Targets, TargetsAsked, Verdict, WORDS_OF_CHOICES};
use subwell::night::{Night, NightChoice, Picture};
use subwell::plan::{SetBy, plan};
use subwell::target::{ObjectKind, objects};

use crate::nights::CAMERA;

/// A single-colour camera, with a law of its dark current.
fn mono() -> CameraProfile {
    CameraProfile::from_toml(CAMERA).unwrap()
}

/// A colour camera of the same size: the planes of a stored cell alike.
fn colour() -> CameraProfile {
    let (head, plane) = CAMERA.split_once("[[modes.planes]]").unwrap();
    let cells = [("r0c0", "R", 0.25), ("r0c1", "G", 0.5), ("r1c0", "G", 0.5), ("r1c1", "B", 0.25)];
    let plane = |(name, colour, sampling): (&str, &str, f64)| {
        let named = format!("plane = \"{name}\"\ncolour = \"{colour}\"\nsampling = {sampling}");
        format!("[[modes.planes]]{}", plane.replace("plane = \"mono\"", &named))
    };
    let text = format!("{}{}", head.replace("cooled mono", "colour"), cells.map(plane).concat());
    CameraProfile::from_toml(&text).unwrap()
}

/// The night of the samples, without what the samples' own cameras need.
fn sample(file: &str) -> String {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-calibration").join(file);
    let text = std::fs::read_to_string(path).unwrap();
    text.lines().filter(|line| !line.starts_with("gain_setting")).collect::<Vec<_>>().join("\n")
}

fn night(text: &str) -> Night {
    Night::from_toml(text).unwrap()
}

fn choices(text: &str, camera: &CameraProfile) -> Choices {
    let night = night(text);
    let with = |choice: &NightChoice| Some((night.with(&choice.keys()?).unwrap(), camera.clone()));
    let chosen: Vec<_> = night.choices.iter().filter_map(with).collect();
    Choices::new(&night, camera, &chosen).unwrap()
}

fn row<'a>(answer: &'a Choices, word: &str) -> &'a Choice {
    answer.choices.iter().find(|choice| choice.word == word).unwrap_or_else(|| panic!("no {word}"))
}

/// What a person changes in the file, each with the word of the row that says the same.
#[track_caller]
fn as_by_hand(text: &str, camera: &CameraProfile, changes: &[(&str, &[(&str, &str)])]) {
    let answer = choices(text, camera);
    for (word, lines) in changes {
        let mut by_hand = text.to_owned();
        for (old, new) in *lines {
            assert!(by_hand.contains(old), "{old}");
            by_hand = by_hand.replacen(old, new, 1);
        }
        let compared = Comparison::new((&night(text), camera), (&night(&by_hand), camera)).unwrap();
        let row = row(&answer, word);
        assert_relative_eq!(row.hours_ratio.value, compared.hours_ratio.value, max_relative = 1e-9);
        assert_relative_eq!(
            row.hours_ratio.uncertainty,
            compared.hours_ratio.uncertainty,
            max_relative = 1e-6,
            epsilon = 1e-12
        );
        assert_relative_eq!(row.wall_clock_s.0, compared.b_wall_clock_s.0, max_relative = 1e-9);
        // A year does not hang on one evening's Moon: without the date, and of a cooler in the nights of its climate.
        let undated = |text: &str| night(&text.replace("date = \"2026-10-12\"", ""));
        let of_year = if *word == "cooling" {
            let cooling = Cooling::new(&night(text), camera, None).unwrap();
            assert_eq!(row.verdict, cooling.verdict);
            cooling.time_ratio_year.unwrap()
        } else {
            let compared = Comparison::new((&undated(text), camera), (&undated(&by_hand), camera)).unwrap();
            assert_eq!(row.verdict, compared.verdict, "{word}");
            compared.hours_ratio.value
        };
        assert_relative_eq!(row.hours_ratio_of_year.value, of_year, max_relative = 1e-9);
        let saved = answer.imaging_hours_per_year * (1.0 - 1.0 / of_year);
        assert_relative_eq!(row.hours_saved_per_year, saved, max_relative = 1e-9, epsilon = 1e-9);
    }
}

#[test]
fn each_choice_is_the_comparison_of_two_files() {
    let alike: &[(&str, &[(&str, &str)])] = &[
        ("darker-site", &[("bortle = 7", "bortle = 5")]),
        ("wider-aperture", &[("aperture_mm = 76.0", "aperture_mm = 107.0")]),
        (
            "larger-telescope",
            &[("aperture_mm = 76.0", "aperture_mm = 114.0"), ("focal_length_mm = 440.0", "focal_length_mm = 660.0")],
        ),
        ("reducer", &[("focal_length_mm = 440.0", "focal_length_mm = 330.0")]),
        ("dithering", &[("settle_s = 20.0", "settle_s = 10.0")]),
        ("calibration", &[("darks = 30", "darks = 60"), ("flats = 25", "flats = 50"), ("biases = 50", "biases = 100")]),
    ];
    as_by_hand(&sample("garden-night.toml"), &mono(), alike);
    as_by_hand(&sample("garden-night.toml"), &mono(), &[("set-point", &[("sensor_c = -10.0", "sensor_c = -20.0")])]);
    as_by_hand(&sample("garden-night-colour.toml"), &colour(), alike);
    let cooled =
        [("cooled = false\nrise_c = 8.0", "cooled = true\nsensor_c = -10.0"), ("dark_mismatch_c = 1.5", "# none")];
    as_by_hand(&sample("garden-night-colour.toml"), &colour(), &[("cooling", &cooled)]);
    let unguided = sample("garden-night.toml")
        .replace("guided = true", "guided = false")
        .replace("longest_sub_s = 300.0", "longest_sub_s = 20.0");
    as_by_hand(
        &unguided,
        &mono(),
        &[("guiding", &[("guided = false", "guided = true"), ("longest_sub_s = 20.0", "")])],
    );
}

/// A date in a lunation: what is saved in a year is the same on each, and what waiting saves is not.
#[test]
fn what_is_saved_in_a_year_does_not_hang_on_the_moon_of_the_date() {
    let mono = mono();
    let on = |date: &str| {
        let text = sample("garden-night.toml").replace("2026-10-12", date);
        choices(&text.replace("altitude_deg = 55.0", "ra_deg = 23.5\ndec_deg = 30.7"), &mono)
    };
    let new_moon = on("2026-11-08");
    for date in ["2026-11-14", "2026-11-20", "2026-11-26"] {
        let answer = on(date);
        for choice in answer.choices.iter().filter(|choice| choice.word != "wait") {
            let same = new_moon.choices.iter().find(|other| other.name == choice.name).unwrap();
            assert_relative_eq!(choice.hours_saved_per_year, same.hours_saved_per_year, max_relative = 1e-9);
        }
        assert!(answer.caveats.iter().any(|caveat| caveat.code == "moon-not-counted" && caveat.message.contains(date)));
    }
    let full = on("2026-11-22");
    assert!(full.wall_clock_s.unwrap().0 > 1.3 * new_moon.wall_clock_s.unwrap().0);
}

/// The hours of a comparison of dated nights are those of the first one's plan, in any phase of the Moon, and the other is
/// weighed in the same light: two plans of one evening can use other hours.
#[test]
fn dated_nights_are_compared_in_the_light_of_the_first_ones_plan() {
    let mono = mono();
    for (date, snr) in [("2026-11-08", 14.0), ("2026-11-16", 14.0), ("2026-11-20", 18.0), ("2026-11-26", 14.0)] {
        let text =
            sample("garden-night.toml").replace("2026-10-12", date).replace("snr = 8.0", &format!("snr = {snr}"));
        let a = text.replace("altitude_deg = 55.0", "ra_deg = 23.5\ndec_deg = 30.7");
        let b = a.replace("aperture_mm = 76.0", "aperture_mm = 102.0");
        let compared = Comparison::new((&night(&a), &mono), (&night(&b), &mono)).unwrap();
        let planned = plan(&night(&a), &mono).unwrap();
        assert!(planned.schedule.as_ref().is_some_and(|schedule| schedule.finished));
        assert_relative_eq!(compared.a_wall_clock_s.0, planned.wall_clock_s.0, max_relative = 0.1);
        // The same evenings: what the aperture gathers decides, not which of them the second plan would use.
        let gathered = (102.0_f64 / 76.0).powi(2);
        assert!((1.3..gathered * 1.1).contains(&compared.hours_ratio.value), "{date}: {}", compared.hours_ratio.value);
        let product: f64 = compared.factors.iter().map(|factor| factor.ratio).product();
        assert_relative_eq!(product, compared.hours_ratio.value, max_relative = 1e-9);
    }
}

#[test]
fn lines_ask_for_the_infrared_cut_and_for_narrow_filters() {
    let text = sample("garden-night-colour.toml").replace("surface_brightness_mag = 22.8", "line_rayleigh = 1500.0");
    let text = text.replace("core_surface_brightness_mag = 18.0\n", "");
    let answer = choices(&text, &colour());
    let cut = row(&answer, "infrared-cut");
    assert!(
        cut.hours_ratio.value > 2.0 && cut.caution.as_ref().is_some_and(|said| said.contains("qualified")),
        "{cut:?}"
    );
    as_by_hand(&text, &colour(), &[("infrared-cut", &[("modified = false", "modified = true")])]);
    let filters: Vec<&str> = answer.choices.iter().filter(|c| c.word == "filter").map(|c| c.name.as_str()).collect();
    assert!(
        filters.iter().any(|name| name.contains("h-alpha")) && filters.iter().any(|name| name.contains("dual")),
        "{filters:?}"
    );
    // A galaxy has no use for either.
    let galaxy = choices(&sample("garden-night-colour.toml"), &colour());
    assert!(galaxy.choices.iter().all(|choice| !["infrared-cut", "filter"].contains(&choice.word.as_str())));
}

#[test]
fn under_a_dark_sky_cooling_comes_before_the_drive() {
    let place = |answer: &Choices, word: &str| answer.choices.iter().position(|choice| choice.word == word).unwrap();
    let warm = sample("garden-night-colour.toml").replace("ambient_c = 8.0", "ambient_c = 20.0");
    let town = choices(&warm, &colour());
    assert!(place(&town, "darker-site") < place(&town, "cooling"));
    let dark = choices(&warm.replace("bortle = 7", "bortle = 3"), &colour());
    assert!(place(&dark, "cooling") < place(&dark, "darker-site"), "{:?}", dark.choices);
    assert!(row(&dark, "cooling").hours_saved_per_year > row(&town, "cooling").hours_saved_per_year);
    for answer in [&town, &dark] {
        assert!(answer.choices.is_sorted_by(|a, b| a.hours_saved_per_year >= b.hours_saved_per_year));
        assert!(answer.choices.iter().all(|choice| WORDS_OF_CHOICES.contains(&choice.word.as_str())));
    }
}

#[test]
fn own_choices_have_prices_and_roads() {
    let own = r#"
[[choices]]
name = "the hill"
travel_h = 1.0
set = { site = { sky = { bortle = 4 } } }
[[choices]]
name = "wider-aperture"
price = 800.0
"#;
    let text = format!("{}{own}", sample("garden-night.toml"));
    let answer = choices(&text, &mono());
    let hill = row(&answer, "own");
    let by_hand = night(&sample("garden-night.toml").replace("bortle = 7", "bortle = 4"));
    let compared = Comparison::new((&night(&text), &mono()), (&by_hand, &mono())).unwrap();
    assert_relative_eq!(hill.hours_ratio.value, compared.hours_ratio.value, max_relative = 1e-9);
    // Four clear hours of which one is on the road: the year's hours at home against nights of three hours there.
    let (year, clear) = (60.0, 4.0);
    let nights = year / compared.hours_ratio.value / (clear - 1.0);
    assert_relative_eq!(hill.hours_saved_per_year, year - nights * clear, max_relative = 1e-9);
    let wider = row(&answer, "wider-aperture");
    assert_relative_eq!(wider.hours_saved_per_price.unwrap(), wider.hours_saved_per_year / 800.0, max_relative = 1e-12);
    let stranger = night(&text.replace("\"wider-aperture\"", "\"bigger tube\""));
    let chosen = [(by_hand, mono())];
    let error = Choices::new(&stranger, &mono(), &chosen).unwrap_err().to_string();
    assert!(error.contains("bigger tube") && error.contains("wider-aperture"), "{error}");
}

#[test]
fn colour_against_mono_has_one_verdict_in_both_commands() {
    let with_climate = |text: String| night(&text.replace("ambient_c = 8.0", "ambient_c = 11.0"));
    let of_colour = with_climate(sample("garden-night-colour.toml"));
    let of_mono = with_climate(sample("garden-night.toml"));
    let sister = with_climate(
        sample("garden-night-colour.toml")
            .replace("cooled = false\nrise_c = 8.0", "cooled = true\nsensor_c = -10.0")
            .replace("dark_mismatch_c = 1.5", "dark_mismatch_c = 0.0"),
    );
    for (other, camera, worth) in [(&of_mono, mono(), Verdict::Marginal), (&sister, colour(), Verdict::NotWorthIt)] {
        let compared = Comparison::new((&of_colour, &colour()), (other, &camera)).unwrap();
        let cooling = Cooling::new(&of_colour, &colour(), Some((other, &camera))).unwrap();
        let against = cooling.against.as_ref().unwrap();
        assert_eq!(against.verdict, compared.verdict);
        assert!(compared.verdict >= worth, "{:?}", compared.verdict);
        // A year of one climate against one night of its mean air: the same within a few percent.
        assert_relative_eq!(against.time_ratio, compared.hours_ratio.value, max_relative = 0.05);
        let product: f64 = compared.factors.iter().map(|factor| factor.ratio).product();
        assert_relative_eq!(product, compared.hours_ratio.value, max_relative = 1e-9);
        assert_relative_eq!(cooling.split.product(), against.time_ratio, max_relative = 1e-9);
    }
    // The monochrome side takes the picture that the colour camera takes: three colours beside its luminance.
    let compared = Comparison::new((&of_colour, &colour()), (&of_mono, &mono())).unwrap();
    let mut four = of_mono.clone();
    let more =
        ["red", "green", "blue"].map(|name| format!("[[filters]]\nname = \"{name}\"\nquantum_efficiency = 0.78\n"));
    let text = sample("garden-night.toml")
        .replace("share = 1.0\n", "")
        .replace("[target]", &format!("{}[target]", more.concat()));
    four.filters = night(&text).filters;
    let by_hand = Comparison::new((&of_colour, &colour()), (&four, &mono())).unwrap();
    assert_relative_eq!(compared.hours_ratio.value, by_hand.hours_ratio.value, max_relative = 1e-9);
    assert!(compared.caveats.iter().any(|caveat| caveat.code == "colours-against-fewer"));
    assert!(by_hand.caveats.iter().all(|caveat| caveat.code != "colours-against-fewer"));
    assert_eq!(compared.names, ["Sample colour", "Sample cooled mono"]);
}

#[test]
fn a_length_and_a_cadence_that_are_asked_for_are_planned() {
    let text = sample("garden-night.toml");
    for dated in [text.clone(), text.replace("date = \"2026-10-12\"", "")] {
        let free = plan(&night(&dated), &mono()).unwrap();
        let asked = dated.replace("[goal]", "[goal]\nsub_s = 40.0\ndither_every = 9");
        let fixed = plan(&night(&asked), &mono()).unwrap();
        let (free, fixed) = (&free.filters[0], &fixed.filters[0]);
        assert_eq!((fixed.sub_s.0, fixed.dither_every_subs, fixed.set_by), (40.0, 9, SetBy::Requested));
        assert!(fixed.planes[0].snr.value >= 8.0 * 0.999, "{:?}", fixed.planes[0].snr);
        assert!(fixed.sub_stretches_s.iter().any(|[low, high]| (low.0..=high.0).contains(&40.0)));
        assert!(fixed.wall_clock_s.0 > 0.97 * free.wall_clock_s.0, "{} {}", fixed.wall_clock_s, free.wall_clock_s);
        // What is as good as the free plan costs no more than it.
        let same = format!("[goal]\nsub_s = {}\ndither_every = {}", free.sub_s.0, free.dither_every_subs);
        let again = plan(&night(&dated.replace("[goal]", &same)), &mono()).unwrap();
        assert_relative_eq!(again.wall_clock_s.0, free.wall_clock_s.0, max_relative = 0.01);
        assert!(again.caveats.iter().all(|caveat| caveat.code != "asked-beyond-bound"));
    }
    let beyond = plan(&night(&text.replace("[goal]", "[goal]\nsub_s = 900.0\ndither_every = 50")), &mono()).unwrap();
    let said: Vec<&str> =
        beyond.caveats.iter().filter(|c| c.code == "asked-beyond-bound").map(|c| c.message.as_str()).collect();
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(said[0].contains("900 s") && said[1].contains("every 50 subs"), "{said:?}");
    // Freeing them is a change like others.
    let answer = choices(&text.replace("[goal]", "[goal]\nsub_s = 5.0\ndither_every = 1"), &mono());
    assert!(row(&answer, "sub-length").hours_ratio.value > 1.2, "{:?}", row(&answer, "sub-length"));
    assert!(row(&answer, "dithering").hours_ratio.value > 1.2);
}

#[test]
fn a_kind_of_picture_is_its_ratio_and_its_patch() {
    let text = sample("garden-night.toml").replace("date = \"2026-10-12\"", "");
    let without: String = text
        .lines()
        .filter(|line| !line.starts_with("snr =") && !line.starts_with("patch_arcsec"))
        .map(|l| format!("{l}\n"))
        .collect();
    let mut hours = Vec::new();
    for (word, picture, snr, patch) in [
        ("first-look", Picture::FirstLook, 5.0, 20.0),
        ("clean", Picture::Clean, 10.0, 10.0),
        ("deep", Picture::Deep, 40.0, 20.0),
    ] {
        let by_word =
            plan(&night(&without.replace("[goal]", &format!("[goal]\npicture = \"{word}\""))), &mono()).unwrap();
        let numbers = format!("[goal]\nsnr = {snr}\npatch_arcsec = {patch}");
        let by_number = plan(&night(&without.replace("[goal]", &numbers)), &mono()).unwrap();
        assert_eq!(by_word.filters, by_number.filters);
        assert_eq!((by_word.goal.picture, by_word.goal.snr), (Some(picture), Some(snr)));
        hours.push(by_word.wall_clock_s.0);
    }
    assert!(hours[0] < hours[1] && hours[1] < hours[2], "{hours:?}");
    let both = Night::from_toml(&text.replace("[goal]", "[goal]\npicture = \"deep\"")).unwrap_err().to_string();
    assert!(both.contains("goal.picture") && both.contains("snr"), "{both}");
}

#[test]
fn every_target_takes_what_its_own_plan_takes() {
    let text = sample("garden-night.toml").replace("snr = 8.0", "snr = 4.0");
    let mut asked = TargetsAsked::default();
    asked.nights = 5;
    let rig = night(&text);
    let answer = Targets::new(&rig, &mono(), asked).unwrap();
    let count = objects().filter(|object| object.kind != ObjectKind::OpenCluster).count();
    assert_eq!(answer.targets.len() + answer.out_of_reach.len(), count);
    assert!(answer.targets.len() > 50, "{}", answer.targets.len());
    let finished: Vec<_> = answer.targets.iter().filter(|target| target.done_on.is_some()).collect();
    assert!(finished.len() > 10 && finished.len() < answer.targets.len(), "{}", finished.len());
    for target in finished.iter().step_by(finished.len() / 8) {
        let mut own = rig.clone();
        own.target = night(
            &text
                .replace("altitude_deg = 55.0", "")
                .replace("core_surface_brightness_mag = 18.0", "")
                .replace("surface_brightness_mag = 22.8", &format!("name = \"{}\"", target.name)),
        )
        .target;
        let planned = plan(&own, &mono()).unwrap();
        assert_relative_eq!(target.wall_clock_s.0, planned.wall_clock_s.0, max_relative = 0.02);
        assert_eq!(
            target.done_on,
            planned.schedule.unwrap().nights.last().map(|night| night.date.clone()),
            "{}",
            target.name
        );
        let [low, high] = target.wall_clock_range_s;
        assert!(low.0 <= target.wall_clock_s.0 && target.wall_clock_s.0 <= high.0, "{target:?}");
    }
    // Without a date it is the hours of a usual night, and no nights.
    let undated = Targets::new(&night(&text.replace("date = \"2026-10-12\"", "")), &mono(), asked).unwrap();
    assert!(
        undated.date.is_none()
            && undated.targets.iter().all(|target| target.done_on.is_none() && target.window.is_none())
    );
    assert!(undated.targets.is_sorted_by(|a, b| a.wall_clock_s.0 <= b.wall_clock_s.0));
}

#[test]
fn the_best_filter_of_a_nebula_is_its_line() {
    let text = sample("garden-night.toml").replace("share = 1.0\n", "");
    let text = text.replace("[[filters]]", "[[filters]]\nname = \"h-alpha\"\nquantum_efficiency = 0.78\n[[filters]]");
    let answer = Targets::new(&night(&text), &mono(), TargetsAsked::default()).unwrap();
    let of = |name: &str| answer.targets.iter().find(|target| target.name == name).unwrap_or_else(|| panic!("{name}"));
    assert_eq!(of("M33").filter, "luminance");
    let nebula = of("NGC 7000");
    assert_eq!((nebula.filter.as_str(), nebula.filters.len()), ("h-alpha", 2), "{nebula:?}");
    // 5000 by 3600 pixels of 3.5 µm at 440 mm: 137 by 98 arcminutes.
    assert_relative_eq!(answer.field_arcmin[0], 5000.0 * 3.5e-3 / 440.0 * 3437.75, max_relative = 1e-3);
    assert!(
        (nebula.share_of_field
            - (nebula.size_arcmin[0] / answer.field_arcmin[0]).max(nebula.size_arcmin[1] / answer.field_arcmin[1]))
        .abs()
            < 1e-9
    );
}

#[test]
fn months_have_their_own_share_of_clear_nights() {
    let text = sample("garden-night.toml").replace("snr = 8.0", "snr = 40.0");
    let with = |shares: &str| {
        let asked = night(&text.replace("[goal]", &format!("[goal]\n{shares}")));
        plan(&asked, &mono()).unwrap().schedule.unwrap()
    };
    let all =
        |share: f64| format!("clear_share_by_month = [{}]", [share; 12].map(|share| share.to_string()).join(", "));
    assert_eq!(with("clear_share = 0.6"), with(&all(0.6)));
    // October clear, November not: what October leaves waits.
    let autumn = with("clear_share_by_month = [0.6, 0.6, 0.6, 0.6, 0.6, 0.6, 0.6, 0.6, 0.6, 0.6, 0.1, 0.6]");
    let always = with(&all(0.6));
    assert!(always.nights.len() > 3);
    assert_eq!(autumn.chance_by_last_night_percent, always.chance_by_last_night_percent);
    let late = |schedule: &subwell::plan::Schedule| schedule.done_by.last().and_then(|done| done.calendar_nights);
    assert!(late(&autumn) >= late(&always), "{:?} {:?}", autumn.done_by, always.done_by);
    for (wrong, said) in [
        ("clear_share_by_month = [0.5]", "12"),
        (&all(1.5), "clear_share_by_month"),
        (&format!("clear_share = 0.5\n{}", all(0.5)), "not beside it"),
    ] {
        let error = Night::from_toml(&text.replace("[goal]", &format!("[goal]\n{wrong}"))).unwrap_err().to_string();
        assert!(error.contains(said), "{error}");
    }
}

#[test]
fn a_sky_that_was_measured_in_one_rig_is_no_other_rigs() {
    let text = sample("garden-night.toml").replace("date = \"2026-10-12\"", "");
    let measured = text.replace("{ bortle = 7 }", "{ e_per_s = 9.84, filter = \"luminance\" }");
    let answer = choices(&measured, &mono());
    let sky = subwell::decide::SkyAnswer::of_night(&night(&measured), &mono().modes[0], None).unwrap();
    let magnitude = sky.mag_per_arcsec2.unwrap().value.0;
    let typed = choices(&text.replace("{ bortle = 7 }", &format!("{{ mag_per_arcsec2 = {magnitude} }}")), &mono());
    for choice in &typed.choices {
        let same =
            answer.choices.iter().find(|other| other.name == choice.name).unwrap_or_else(|| panic!("{}", choice.name));
        assert_relative_eq!(same.hours_ratio.value, choice.hours_ratio.value, max_relative = 1e-9);
    }
    // Twice the light of sky and target: half the hours, where the sky is all of the noise.
    let wider = row(&answer, "wider-aperture").hours_ratio.value;
    assert!((1.7..2.1).contains(&wider), "{wider}");
}

#[test]
fn a_goal_out_of_reach_is_told_what_brings_it_within() {
    // A tripod: no number of its short subs is enough, a mount does it.
    let text = sample("garden-night.toml").replace("date = \"2026-10-12\"", "").replace("snr = 8.0", "snr = 30.0");
    let fixed = text.replace("guided = true", "kind = \"fixed\"").replace("longest_sub_s = 300.0", "");
    let answer = choices(&fixed, &mono());
    assert!(answer.out_of_reach.is_some() && answer.wall_clock_s.is_none() && answer.choices.is_empty(), "{answer:?}");
    let mount = answer.within_reach.iter().find(|change| change.word == "equatorial-mount").expect("a mount");
    let by_hand = night(&text.replace("longest_sub_s = 300.0", ""));
    let alone = Comparison::new((&by_hand, &mono()), (&by_hand, &mono())).unwrap();
    assert_relative_eq!(mount.wall_clock_s.0, alone.a_wall_clock_s.0, max_relative = 1e-9);
    let said = subwell::report::choices_text(&answer);
    assert!(said.contains("out of reach") && said.contains("an equatorial mount"), "{said}");
}

#[test]
fn what_cannot_be_a_choice_is_said() {
    let with = |choice: &str| choices(&format!("{}\n[[choices]]\n{choice}", sample("garden-night.toml")), &mono());
    let why =
        |answer: &Choices| answer.not_weighed.iter().map(|missing| missing.why.clone()).collect::<Vec<_>>().join("; ");
    assert!(why(&with("name = \"guiding\"\nprice = 100.0")).contains("nothing of it to change"));
    let far = "name = \"far\"\ntravel_h = 5.0\nset = { site = { sky = { bortle = 2 } } }";
    assert!(why(&with(far)).contains("a drive of 5 h"));
    let twice =
        format!("{}\n[[choices]]\nname = \"wait\"\n[[choices]]\nname = \"wait\"\n", sample("garden-night.toml"));
    assert!(Night::from_toml(&twice).unwrap_err().to_string().contains("`wait` twice"));
}

#[test]
fn goals_of_single_filters_are_asked_of_both_nights() {
    let text = sample("garden-night.toml");
    let more = night(&text.replace("share = 1.0", "snr = 16.0"));
    for pair in [(&more, &night(&text)), (&night(&text), &more)] {
        let compared = Comparison::new((pair.0, &mono()), (pair.1, &mono())).unwrap();
        assert_relative_eq!(compared.hours_ratio.value, 1.0, max_relative = 1e-9);
    }
}

#[test]
fn targets_that_rise_later_are_planned_from_then_on_and_those_of_no_night_are_not() {
    let text = sample("garden-night.toml").replace("snr = 8.0", "snr = 3.0");
    let within = |nights: u32| {
        let mut asked = TargetsAsked::default();
        asked.nights = nights;
        Targets::new(&night(&text), &mono(), asked).unwrap()
    };
    let (week, month) = (within(7), within(30));
    let late = |answer: &Targets| answer.targets.iter().any(|target| target.name == "M65");
    assert!(!late(&week) && late(&month));
    let midsummer = text.replace("latitude_deg = 45.0", "latitude_deg = 66.0").replace("2026-10-12", "2026-06-20");
    let error = Targets::new(&night(&midsummer), &mono(), TargetsAsked::default()).unwrap_err().to_string();
    assert!(error.contains("no darkness on 2026-06-20"), "{error}");
    let undated = text.replace("date = \"2026-10-12\"", "");
    let undated = Targets::new(&night(&undated), &mono(), TargetsAsked::default()).unwrap();
    assert!(undated.out_of_reach.iter().any(|target| target.name == "NGC 3372" && target.why.contains("latitude")));
    let hours = text.replace("snr = 3.0", "hours = 2.0");
    assert!(Targets::new(&night(&hours), &mono(), TargetsAsked::default()).is_err());
}
