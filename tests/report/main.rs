//! The report as a browser and a script see it: well-formed, closed to the network, every number twice.

use roxmltree::Node;
use subwell::camera::CameraProfile;
use subwell::decide::{Comparison, Cooling};
use subwell::night::Night;
use subwell::plan::{plan, searches};
use subwell::report::{camera_page, comparison_page, cooling_line, cooling_page, plan_page};

mod nights;
mod page;
mod pictures;
#[path = "../support/mod.rs"]
mod support;

use page::{cells, figure, has_class, parsed, same, text_of};
use support::program::{samples, subwell};

/// A mark may lie off the place that its table's number asks for: the number is rounded to four digits and the place to
/// a tenth of a unit; the picture is 360 units wide.
const PLACE: f64 = 0.35;

const LARGEST_BYTES: usize = 2_000_000;

/// The sample camera and night as reports, with what the program says of the night: camera page, plan page, text.
fn reports() -> (String, String, String, tempfile::TempDir) {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    let measure = ["--out", "camera.toml", "--report", "camera.html"];
    subwell().current_dir(&folder).arg("measure").arg(samples().join("cooled-mono")).args(measure).assert().success();
    std::fs::copy(samples().join("garden-night.toml"), path("night.toml")).unwrap();
    let run = subwell().current_dir(&folder).args(["plan", "night.toml", "--report", "plan.html"]).assert().success();
    let text = String::from_utf8(run.get_output().stdout.clone()).unwrap();
    let read = |name: &str| std::fs::read_to_string(path(name)).unwrap();
    (read("camera.html"), read("plan.html"), text, folder)
}

/// Second and third column of the rows that start with a word.
fn rows(figure: Node<'_, '_>, word: &str) -> Vec<(f64, f64)> {
    let rows = cells(figure).into_iter().filter(|row| row[0] == word);
    rows.map(|row| (row[1].parse().unwrap(), row[2].parse().unwrap())).collect()
}

fn attribute(node: &Node<'_, '_>, name: &str) -> f64 {
    node.attribute(name).unwrap().parse().unwrap()
}

/// Where circles of a class stand in the upper panel of a picture.
fn circles(figure: Node<'_, '_>, class: &str) -> Vec<(f64, f64)> {
    let picture = figure.children().find(|node| node.has_tag_name("svg")).unwrap();
    let circles = picture.descendants().filter(|node| node.has_tag_name("circle") && has_class(node, class));
    circles.map(|node| (attribute(&node, "cx"), attribute(&node, "cy"))).collect()
}

/// Where the points of the first line of a class stand.
fn line(figure: Node<'_, '_>, class: &str) -> Vec<(f64, f64)> {
    let line = figure.descendants().find(|node| node.has_tag_name("polyline") && has_class(node, class)).unwrap();
    let point = |text: &str| text.split_once(',').map(|(x, y)| (x.parse().unwrap(), y.parse().unwrap())).unwrap();
    line.attribute("points").unwrap().split(' ').map(point).collect()
}

/// Places follow from numbers by one straight line, fitted to the outermost two.
fn stand_in_line(numbers: &[f64], places: &[f64]) {
    assert_eq!(numbers.len(), places.len());
    let ends = |better: fn(&f64, &f64) -> bool| {
        (1..numbers.len()).fold(0, |best, i| if better(&numbers[i], &numbers[best]) { i } else { best })
    };
    let (low, high) = (ends(|a, b| a < b), ends(|a, b| a > b));
    let slope = (places[high] - places[low]) / (numbers[high] - numbers[low]);
    for (number, place) in numbers.iter().zip(places) {
        let wanted = places[low] + slope * (number - numbers[low]);
        assert!((place - wanted).abs() < PLACE, "{number} stands at {place}, not at {wanted}");
    }
}

type Scale = fn(f64) -> f64;

fn drawn_as_said(said: &[(f64, f64)], drawn: &[(f64, f64)], x: Scale, y: Scale) {
    assert!(said.len() > 2);
    let column = |of: &[(f64, f64)], f: &dyn Fn(&(f64, f64)) -> f64| of.iter().map(f).collect::<Vec<f64>>();
    stand_in_line(&column(said, &|point| x(point.0)), &column(drawn, &|point| point.0));
    stand_in_line(&column(said, &|point| y(point.1)), &column(drawn, &|point| point.1));
}

fn closed_and_small(page: &str) {
    closed_and_small_with(page, 2);
}

fn closed_and_small_with(page: &str, pictures_at_least: usize) {
    assert!(page.len() < LARGEST_BYTES, "{} bytes", page.len());
    for word in ["http:", "https:", "//", "<script", "src=", "@import", "url(", "<link"] {
        assert!(!page.contains(word), "`{word}` is in the page");
    }
    let document = parsed(page);
    let policy = document.descendants().find(|node| node.attribute("http-equiv") == Some("Content-Security-Policy"));
    assert_eq!(
        policy.unwrap().attribute("content"),
        Some("default-src 'none'; style-src 'unsafe-inline'; img-src data:")
    );
    let ids: Vec<&str> = document.descendants().filter_map(|node| node.attribute("id")).collect();
    let once: std::collections::BTreeSet<&str> = ids.iter().copied().collect();
    // Links lead from the contents to the sections, and nowhere else.
    let links: Vec<&str> = document.descendants().filter_map(|node| node.attribute("href")).collect();
    assert!(!links.is_empty() && page.matches("href=").count() == links.len());
    assert!(links.iter().all(|link| link.strip_prefix('#').is_some_and(|id| once.contains(id))), "{links:?}");
    assert_eq!(ids.len(), once.len(), "an id stands twice");
    let pictures = document.descendants().filter(|node| node.has_tag_name("svg") && has_class(node, "plot"));
    let mut seen = 0;
    for picture in pictures {
        seen += 1;
        let named = picture.attribute("aria-labelledby").unwrap();
        assert!(named.split(' ').all(|id| once.contains(id)), "{named}");
        assert!(picture.attribute("viewBox").is_some() && picture.attribute("width").is_none());
        assert!(text_of(picture).len() > 40);
    }
    assert!(seen >= pictures_at_least, "{seen} pictures");
}

#[test]
fn the_sample_reports_are_closed_well_formed_and_say_the_answer_word_for_word() {
    let (camera, plan, text, folder) = reports();
    closed_and_small(&camera);
    closed_and_small(&plan);
    let line = text.lines().next().unwrap();
    assert!(line.contains("subs of") && line.contains("dither every"));
    let document = parsed(&plan);
    let answer = document.descendants().find(|node| has_class(node, "answer")).unwrap();
    assert_eq!(text_of(answer), line);
    let file = folder.path().join("demo.html");
    let demo = subwell().args(["demo", "--report"]).arg(&file).assert().success();
    assert_eq!(std::fs::read_to_string(file).unwrap(), plan, "the demo reports another plan");
    let demo = String::from_utf8(demo.get_output().stdout.clone()).unwrap();
    assert!(demo.lines().any(|said| said == line), "the demo says another answer");
}

#[test]
fn every_mark_stands_where_its_table_says() {
    let (camera, plan, ..) = reports();
    let document = parsed(&camera);
    let transfer = figure(&document, "transfer-0-0");
    let used = rows(transfer, "used");
    drawn_as_said(&used, &circles(transfer, "used")[..used.len()], f64::ln, f64::ln);
    assert_eq!(rows(transfer, "not used").len(), circles(transfer, "unused").len());
    drawn_as_said(&rows(transfer, "curve"), &line(transfer, "curve"), f64::ln, f64::ln);
    let dark = figure(&document, "dark-0-0");
    drawn_as_said(&rows(dark, "measured"), &circles(dark, "used"), |x| x, f64::ln);
    drawn_as_said(&rows(dark, "law"), &line(dark, "curve"), |x| x, f64::ln);
    let document = parsed(&plan);
    let hours = figure(&document, "hours-0");
    drawn_as_said(&rows(hours, "curve"), &line(hours, "curve"), |x| x, |y| y);
    let length = figure(&document, "length-0");
    let shown = line(length, "curve");
    let said = rows(length, "curve");
    // What costs three times the least is in the table alone.
    drawn_as_said(&said[said.len() - shown.len()..], &shown, f64::ln, |y| y);
}

#[test]
fn tables_say_what_the_profile_says() {
    let (camera, .., folder) = reports();
    let profile =
        CameraProfile::from_toml(&std::fs::read_to_string(folder.path().join("camera.toml")).unwrap()).unwrap();
    let document = parsed(&camera);
    let said = rows(figure(&document, "transfer-0-0"), "used");
    let used = profile.modes[0].photon_transfer.iter().filter(|point| point.used && point.mean_dn.0 > 0.0);
    let used: Vec<(f64, f64)> = used.map(|point| (point.mean_dn.0, point.variance_dn2)).collect();
    assert_eq!(used.len(), said.len());
    for (is, says) in used.iter().zip(&said) {
        approx::assert_relative_eq!(is.0, says.0, max_relative = 1e-4);
        approx::assert_relative_eq!(is.1, says.1, max_relative = 1e-4);
    }
}

const EVIL: &str = "<script>alert(\"1\")</script>&<b x='\u{1}'>";

fn typed_camera() -> CameraProfile {
    CameraProfile::from_toml(
        r#"
        camera = "typed"
        provenance = "published"
        [[modes]]
        gain_setting = 0
        pixel_um = 3.76
        width_px = 6000
        height_px = 4000
        [[modes.planes]]
        plane = "mono"
        gain_e_per_dn = 0.25
        read_noise_e = 3.5
        saturation_e = 50000.0
        [[modes]]
        gain_setting = 100
        pixel_um = 3.76
        width_px = 6000
        height_px = 4000
        [[modes.planes]]
        plane = "mono"
        gain_e_per_dn = 0.25
        read_noise_e = 1.5
        saturation_e = 15000.0
        "#,
    )
    .unwrap()
}

fn night(goal: &str) -> Night {
    Night::from_toml(&format!(
        "optics = {{ aperture_mm = 72.0, focal_length_mm = 432.0 }}\nsite = {{ sky = {{ bortle = 7 }} }}\n\
         target = {{ surface_brightness_mag = 22.0 }}\ngoal = {{ {goal} }}\n"
    ))
    .unwrap()
}

#[test]
fn names_from_files_are_text_and_nothing_else() {
    let mut profile = typed_camera();
    let night = night("snr = 10.0");
    let mut planned = plan(&night, &profile).unwrap();
    let found = searches(&night, &profile).unwrap();
    planned.filters[0].name = EVIL.into();
    planned.caveats[0].about = EVIL.into();
    profile.camera = EVIL.into();
    profile.source = Some(EVIL.into());
    profile.modes[0].readout_mode = Some(EVIL.into());
    profile.rejected.push(subwell::caveat::Rejected { file: EVIL.into(), code: "x".into(), reason: EVIL.into() });
    for page in [camera_page(&profile), plan_page(&planned, &found)] {
        assert!(!page.contains("<script") && !page.contains("<b x") && !page.contains('\u{1}'));
        let document = parsed(&page);
        assert!(!document.descendants().any(|node| node.has_tag_name("script")));
        assert!(text_of(document.root_element()).contains("<script>alert(\"1\")</script>&<b x='\u{fffd}'>"));
    }
}

#[test]
fn a_plan_for_hours_shows_signal_over_noise() {
    let (night, profile) = (night("hours = 3.0"), typed_camera());
    let page = plan_page(&plan(&night, &profile).unwrap(), &searches(&night, &profile).unwrap());
    let document = parsed(&page);
    assert!(text_of(figure(&document, "length-0")).contains("SNR in the hours given"));
}

#[test]
fn a_bar_for_each_gain_setting() {
    let page = camera_page(&typed_camera());
    let document = parsed(&page);
    let span = figure(&document, "span");
    let bars = span.descendants().filter(|node| node.has_tag_name("rect") && has_class(node, "bar")).count();
    assert_eq!(bars, 2);
    for word in ["gain 0", "gain 100", "3.5", "15000", "50000"] {
        assert!(text_of(span).contains(word), "{word}");
    }
}

#[test]
fn a_report_goes_over_no_file_and_has_one_ending() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    std::fs::copy(samples().join("published-night.toml"), path("night.toml")).unwrap();
    std::fs::copy(samples().join("published-camera.toml"), path("published-camera.toml")).unwrap();
    let run =
        |words: &[&str]| subwell().current_dir(&folder).args(["plan", "night.toml", "--report"]).args(words).assert();
    let refused = run(&["plan.pdf"]).code(2);
    let said = String::from_utf8(refused.get_output().stderr.clone()).unwrap();
    assert!(said.contains("hint: end the name in .html"), "{said}");
    assert!(!path("plan.pdf").exists());
    std::fs::write(path("plan.html"), "mine").unwrap();
    run(&["plan.html"]).code(2);
    assert_eq!(std::fs::read_to_string(path("plan.html")).unwrap(), "mine");
    run(&["plan.html", "--force"]).success();
    assert!(std::fs::read_to_string(path("plan.html")).unwrap().starts_with("<!DOCTYPE html>"));
    // The other commands refuse the same way, before they look at their files.
    let others: [&[&str]; 3] = [&["cooling", "nowhere.toml"], &["compare", "nowhere.toml", "nowhere.toml"], &["demo"]];
    for words in others {
        let run = |file: &str| {
            let run = subwell().current_dir(&folder).args(words).args(["--report", file]).assert().code(2);
            String::from_utf8(run.get_output().stderr.clone()).unwrap()
        };
        assert!(run("it.txt").contains(".html"), "{words:?}");
        assert!(run("plan.html").contains("plan.html"), "{words:?}");
    }
    // Before the work: a folder without frames is not even looked at.
    let said = subwell().current_dir(&folder).args(["measure", ".", "--report", "camera.txt"]).assert().code(2);
    assert!(String::from_utf8(said.get_output().stderr.clone()).unwrap().contains(".html"));
}

const YEAR: &str = r#"
camera = { cooled = false, rise_c = 8.0 }
optics = { aperture_mm = 72.0, focal_length_mm = 432.0 }
target = { surface_brightness_mag = 22.5 }
goal = { snr = 8.0 }
[site]
sky = { mag_per_arcsec2 = 21.0 }
latitude_deg = 45.0
[site.climate]
mean_c = 14.0
amplitude_c = 10.0
warmest_month = 7
[cooler]
below_ambient_c = 35.0
set_point_c = -10.0
"#;

/// A camera whose dark current counts.
fn warm_camera() -> CameraProfile {
    let mut text = String::from(
        "camera = \"<b>warm</b>\"\nprovenance = \"published\"\n[[modes]]\ngain_setting = 100\npixel_um = 3.76\n\
         width_px = 3000\nheight_px = 2000\n[[modes.planes]]\nplane = \"mono\"\ngain_e_per_dn = 0.25\nread_noise_e = 1.5\n\
         saturation_e = 15000.0\n",
    );
    text.push_str("[[modes.planes.dark_current]]\nsensor_c = 20.0\ne_per_s = { value = 0.3, uncertainty = 0.01 }\n");
    CameraProfile::from_toml(&text).unwrap()
}

/// Two commands whose reports are written by the program itself.
#[test]
fn cooling_and_comparison_are_written_as_files() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    std::fs::write(path("camera.toml"), warm_camera().to_toml().unwrap()).unwrap();
    let night = YEAR.replace("cooled = false", "profile = \"camera.toml\", cooled = false");
    std::fs::write(path("a.toml"), &night).unwrap();
    std::fs::write(path("b.toml"), night.replace("21.0", "19.0")).unwrap();
    let commands: [(&[&str], &str); 2] =
        [(&["cooling", "a.toml"], "year"), (&["compare", "a.toml", "b.toml"], "factors")];
    for (words, id) in commands {
        let file = format!("{id}.html");
        let run = subwell().current_dir(&folder).args(words).args(["--report", &file]).assert().success();
        let said = String::from_utf8(run.get_output().stdout.clone()).unwrap();
        assert!(said.contains(&format!("report written to {file}")), "{said}");
        let page = std::fs::read_to_string(path(&file)).unwrap();
        closed_and_small_with(&page, 1);
        figure(&parsed(&page), id);
    }
}

#[test]
fn the_report_on_cooling_says_the_answer_and_its_twelve_months() {
    let night = Night::from_toml(YEAR).unwrap();
    let answer = Cooling::new(&night, &warm_camera(), None).unwrap();
    let page = cooling_page(&answer);
    closed_and_small_with(&page, 1);
    let document = parsed(&page);
    let said = text_of(document.descendants().find(|node| has_class(node, "answer")).unwrap());
    assert_eq!(said, cooling_line(&answer).split_whitespace().collect::<Vec<_>>().join(" "));
    let year = figure(&document, "year");
    let rows = cells(year);
    assert_eq!(rows.len(), 12);
    for (row, month) in rows.iter().zip(&answer.months) {
        same(&row[5], month.uncooled_dark_e_per_s);
        same(&row[6], month.cooled_dark_e_per_s);
        same(&row[9], month.time_ratio.unwrap());
    }
    // Drawn where the table says, in the logarithm.
    let bare: Vec<f64> = rows.iter().map(|row| row[5].parse::<f64>().unwrap().ln()).collect();
    stand_in_line(&bare, &circles(year, "used").iter().map(|place| place.1).collect::<Vec<_>>());
    let letters = text_of(year);
    for threshold in answer.thresholds_time_ratio {
        assert!(letters.contains(&format!("from {threshold}")), "{threshold}");
    }
}

#[test]
fn factors_are_drawn_end_to_end_and_multiply_to_the_whole() {
    let darker = YEAR.replace("mag_per_arcsec2 = 21.0", "mag_per_arcsec2 = 19.0").replace("72.0", "60.0");
    let [here, there] = [&darker, YEAR].map(|text| Night::from_toml(text).unwrap());
    let camera = warm_camera();
    let answer = Comparison::new((&here, &camera), (&there, &camera)).unwrap();
    assert!(answer.factors.len() > 1);
    let page = comparison_page(&answer);
    closed_and_small_with(&page, 1);
    let document = parsed(&page);
    let factors = figure(&document, "factors");
    let rows = cells(factors);
    let number = |cell: &str| cell.parse::<f64>().unwrap();
    let mut at = 1.0;
    for (row, factor) in rows.iter().zip(&answer.factors) {
        assert_eq!(row[0], factor.name);
        same(&row[1], factor.ratio);
        same(&row[2], at);
        at *= factor.ratio;
        same(&row[3], at);
    }
    same(&rows.last().unwrap()[1], answer.hours_ratio.value);
    same(&rows.last().unwrap()[3], at);
    let bars: Vec<Node<'_, '_>> = factors
        .children()
        .find(|node| node.has_tag_name("svg"))
        .unwrap()
        .descendants()
        .filter(|node| node.has_tag_name("rect") && has_class(node, "bar"))
        .collect();
    assert_eq!(bars.len(), rows.len());
    let left = |row: &Vec<String>| number(&row[2]).min(number(&row[3])).ln();
    let (said, drawn): (Vec<f64>, Vec<f64>) =
        rows.iter().zip(&bars).map(|(row, bar)| (left(row), attribute(bar, "x"))).unzip();
    stand_in_line(&said, &drawn);
}

#[test]
fn a_dated_night_shows_target_and_moon_and_the_hours_that_can_be_used() {
    let place = YEAR
        .replace("latitude_deg = 45.0", "latitude_deg = 45.0\nlongitude_deg = 21.0\nutc_offset_h = 1.0")
        .replace("snr = 8.0", "snr = 8.0, date = \"2026-03-07\"")
        .replace("_mag = 22.5", "_mag = 22.5, ra_deg = 150.0, dec_deg = 40.0");
    let (night, camera) = (Night::from_toml(&place).unwrap(), warm_camera());
    let planned = plan(&night, &camera).unwrap();
    let page = plan_page(&planned, &searches(&night, &camera).unwrap());
    closed_and_small_with(&page, 4);
    let document = parsed(&page);
    let sky = figure(&document, "night");
    let rows = cells(sky);
    assert!(rows.len() > 30, "{}", rows.len());
    let told = planned.night.as_ref().unwrap();
    // The highest stand in the usable hours is in the table, to a degree.
    let highest = rows.iter().map(|row| row[1].parse::<f64>().unwrap()).fold(-90.0, f64::max);
    assert!((highest - told.target_altitude_deg[1]).abs() < 1.0, "{highest} {:?}", told.target_altitude_deg);
    // The Moon of that night, four days after full, rises late in the evening: it is down at first and up in the end.
    let moon: Vec<f64> = rows.iter().map(|row| row[2].replace('−', "-").parse().unwrap()).collect();
    assert!(moon[0] < 0.0 && moon[moon.len() - 1] > 0.0, "{moon:?}");
    let bands = sky.descendants().filter(|node| node.has_tag_name("polygon") && has_class(node, "band")).count();
    assert_eq!(bands, 2 * told.target_up.as_ref().unwrap().len());
    // What a sub's noise is made of adds by squares.
    for row in cells(figure(&document, "noise-0")) {
        let parts: Vec<f64> = row.iter().map(|cell| cell.parse().unwrap()).collect();
        let sum = parts[2..].iter().map(|part| part * part).sum::<f64>().sqrt();
        approx::assert_relative_eq!(sum, parts[1], max_relative = 2e-3);
    }
}

/// The picture's line is the standard's: on average its points lie off by the error that the profile gives.
#[test]
fn linearity_is_drawn_as_it_was_measured() {
    let (camera, .., folder) = reports();
    let profile =
        CameraProfile::from_toml(&std::fs::read_to_string(folder.path().join("camera.toml")).unwrap()).unwrap();
    let document = parsed(&camera);
    let off = rows(figure(&document, "linearity-0-0"), "flat");
    let mean = off.iter().map(|point| point.1.abs()).sum::<f64>() / off.len() as f64;
    let error = profile.modes[0].planes[0].linearity_error_percent.unwrap();
    assert!((mean - error).abs() < 0.05 * error + 1e-3, "{mean} {error}");
}
