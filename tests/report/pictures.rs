//! Pictures of many small fields and of pixels: what is drawn is what the results say.

use roxmltree::Node;
use subwell::camera::{CameraProfile, DarkCurrentSource, DarkPicture};
use subwell::night::Night;
use subwell::plan::{Plan, Search, plan, searches};
use subwell::report::{camera_page, duration, plan_page};
use subwell::sensor::{MeasureOptions, ModeMeasurement, StackKey};
use subwell::simulate::{SensorTruth, frames};

use super::page::{cells, figure, parsed, same, text_of};

const SIDES: [usize; 2] = [320, 192];

fn of_class<'a>(figure: Node<'a, 'a>, tag: &str, class: &str) -> Vec<Node<'a, 'a>> {
    let picture = figure.children().find(|node| node.has_tag_name("svg")).unwrap();
    picture.descendants().filter(|node| node.has_tag_name(tag) && node.attribute("class") == Some(class)).collect()
}

/// Every line of words in a picture.
fn words(figure: Node<'_, '_>) -> Vec<String> {
    let picture = figure.children().find(|node| node.has_tag_name("svg")).unwrap();
    picture.descendants().filter(|node| node.has_tag_name("text")).map(text_of).collect()
}

fn number(cell: &str) -> f64 {
    cell.parse().unwrap_or_else(|_| panic!("`{cell}`"))
}

/// Left, top and ink of every field of a picture, by columns and then from the top.
fn fields(figure: Node<'_, '_>) -> Vec<(f64, f64, f64)> {
    let paths = of_class(figure, "path", "ink");
    let mut found: Vec<(f64, f64, f64)> = paths
        .iter()
        .flat_map(|path| {
            let ink = number(path.attribute("fill-opacity").unwrap());
            let fields = path.attribute("d").unwrap().split('M').filter(|field| !field.is_empty());
            let place = |field: &str| {
                let (x, rest) = field.split_once(' ').unwrap();
                (number(x), number(rest.split_once('h').unwrap().0), ink)
            };
            fields.map(place).collect::<Vec<_>>()
        })
        .collect();
    found.sort_by(|a, b| (a.0, a.1).partial_cmp(&(b.0, b.1)).unwrap());
    found
}

fn cameras() -> CameraProfile {
    let mut text = String::from("camera = \"typed\"\nprovenance = \"published\"\n");
    for (gain, read, full) in [(0, 12.0, 50_000.0), (100, 1.5, 15_000.0), (200, 1.2, 7_000.0)] {
        text.push_str(&format!(
            "[[modes]]\ngain_setting = {gain}\npixel_um = 3.76\nwidth_px = 6000\nheight_px = 4000\n[[modes.planes]]\n\
             plane = \"mono\"\ngain_e_per_dn = 0.25\nread_noise_e = {read:?}\nsaturation_e = {full:?}\n"
        ));
    }
    CameraProfile::from_toml(&text).unwrap()
}

fn planned(goal: &str) -> (Plan, Vec<Search>) {
    let night = Night::from_toml(&format!(
        "optics = {{ aperture_mm = 72.0, focal_length_mm = 432.0 }}\nsite = {{ sky = {{ bortle = 7 }} }}\n\
         target = {{ surface_brightness_mag = 23.0 }}\ngoal = {{ {goal} }}\n"
    ))
    .unwrap();
    (plan(&night, &cameras()).unwrap(), searches(&night, &cameras()).unwrap())
}

/// Mean and standard deviation.
fn spread(values: &[f64]) -> (f64, f64) {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let squares = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
    (mean, (squares / (values.len() - 1) as f64).sqrt())
}

#[test]
fn the_strip_has_the_noise_that_the_plan_says() {
    let (plan, found) = planned("snr = 8.0");
    let page = plan_page(&plan, &found);
    assert_eq!(page, plan_page(&plan, &found), "the same plan gives another drawing");
    let document = parsed(&page);
    let strip = figure(&document, "strip-0");
    let filter = &plan.filters[0];
    let columns: Vec<Vec<String>> = cells(strip).into_iter().filter(|row| row[0] == "column").collect();
    same(&columns[0][1], 1.0);
    let last = columns.last().unwrap();
    same(&last[1], filter.subs_kept as f64);
    same(&last[2], filter.planes.iter().map(|plane| plane.snr.value).fold(f64::MAX, f64::min));
    assert!(text_of(strip).contains("A drawing, not a photograph"));
    let labels: Vec<String> = words(strip).into_iter().filter(|said| said.starts_with("SNR ")).skip(1).collect();
    let told: Vec<Vec<String>> = cells(strip).into_iter().filter(|row| row[0] == "label").collect();
    assert_eq!((labels.len(), told.len()), (3, 3), "{labels:?}");
    for (label, row) in labels.iter().zip(&told) {
        approx::assert_relative_eq!(number(&label[4..]), number(&row[2]), max_relative = 6e-3);
    }
    let drawn = fields(strip);
    let across = drawn.len() / columns.len();
    assert_eq!(across * columns.len(), drawn.len());
    // Four brightnesses of the target from no ink to all of it.
    let light = |column: usize, row: usize| 4.0 * drawn[column * across + row].2;
    let middle = across / 2;
    let sky: Vec<usize> = (0..across).filter(|row| row.abs_diff(middle) > 3).collect();
    let ends = [columns.len() / 2..columns.len() * 2 / 3, columns.len() * 3 / 4..columns.len()];
    for end in ends {
        let wanted = end.clone().map(|column| number(&columns[column][3]).powi(2)).sum::<f64>() / end.len() as f64;
        let light: Vec<f64> =
            end.flat_map(|column| sky.iter().map(move |row| (column, *row))).map(|(c, r)| light(c, r)).collect();
        // Some 200 fields tell their scatter to 5 %; a shade is a quarter of a brightness and adds its own.
        let (_, is) = spread(&light);
        let wanted = (wanted + 0.25_f64.powi(2) / 12.0).sqrt();
        assert!((is / wanted - 1.0).abs() < 0.16, "{is} for {wanted}");
    }
    let end = columns.len() * 3 / 4..columns.len();
    let lane: Vec<f64> = end.clone().map(|column| light(column, middle)).collect();
    let beside: Vec<f64> = end.map(|column| light(column, 1)).collect();
    let rise = spread(&lane).0 - spread(&beside).0;
    assert!((rise - 1.0).abs() < 0.2, "the lane is as bright as the target: {rise}");
}

#[test]
fn hours_stand_beside_the_bar_of_each_gain_setting() {
    let (plan, found) = planned("snr = 8.0");
    assert_eq!(plan.by_gain_setting.len(), 3);
    let page = plan_page(&plan, &found);
    let document = parsed(&page);
    let settings = figure(&document, "settings");
    let bars = of_class(settings, "rect", "bar");
    assert_eq!(bars.len(), 3);
    let attribute = |bar: &Node<'_, '_>, name: &str| number(bar.attribute(name).unwrap());
    let decade = attribute(&bars[0], "width") / (50_000.0_f64 / 12.0).log10();
    for ((row, setting), bar) in cells(settings).iter().zip(&plan.by_gain_setting).zip(&bars) {
        same(&row[2], setting.read_noise_e.0);
        same(&row[3], setting.saturation_e.0);
        same(&row[4], setting.wall_clock_s.0 / 3600.0);
        same(&row[5], setting.snr);
        assert_eq!(row[1] == "planned", setting.gain_setting == plan.gain_setting);
        let long = decade * (setting.saturation_e.0 / setting.read_noise_e.0).log10();
        assert!((attribute(bar, "width") - long).abs() < 0.3, "{row:?}");
    }
    let hours: Vec<String> = plan.by_gain_setting.iter().map(|setting| duration(setting.wall_clock_s)).collect();
    assert!(hours[0] != hours[1], "{hours:?}");
    let drawn: Vec<String> = words(settings).into_iter().filter(|said| hours.contains(said)).collect();
    assert_eq!(drawn, hours);
    // Where the hours are given, what they reach stands there.
    let (plan, found) = planned("hours = 3.0");
    let page = plan_page(&plan, &found);
    let document = parsed(&page);
    assert!(text_of(figure(&document, "settings")).contains("SNR that the hours reach"));
}

#[test]
fn rules_of_thumb_are_the_plans_own() {
    let (plan, found) = planned("snr = 8.0");
    let page = plan_page(&plan, &found);
    let document = parsed(&page);
    let table = cells(figure(&document, "length-0"));
    let drawn: Vec<&Vec<String>> = table.iter().filter(|row| row[0].starts_with("read noise adds")).collect();
    let mut rules = plan.filters[0].rules_of_thumb.clone();
    rules.sort_by(|a, b| a.sub_s.0.total_cmp(&b.sub_s.0));
    assert_eq!(drawn.len(), rules.len());
    for (row, rule) in drawn.iter().zip(&rules) {
        assert!(row[0].contains(&format!("adds {} %", rule.read_noise_adds_percent)), "{row:?}");
        same(&row[1], rule.sub_s.0);
    }
}

/// A measured sensor whose top left corner glows, as a profile.
fn glowing() -> CameraProfile {
    let mut text = format!(
        "width_px = {}\nheight_px = {}\nfull_well_e = 20000\nread_noise_e = 3.0\ndsnu_e = 0.5\ndark_e_per_s = 0.05\n\
         dark_at_c = -10.0\nhot_pixel_fraction = 0.002\nseed = 8\nglow_e_per_s = 0.4\nglow_scale_px = 60.0\n\
         [[frames]]\nkind = \"bias\"\ncount = 8\nsensor_c = -10.0\n",
        SIDES[0], SIDES[1]
    );
    for share in [0.02, 0.1, 0.3, 0.5, 0.8] {
        text.push_str(&format!(
            "[[frames]]\nkind = \"flat\"\ncount = 2\nexposure_s = {share}\nsensor_c = -10.0\nlight_e_per_s = 20000.0\n"
        ));
    }
    text.push_str("[[frames]]\nkind = \"dark\"\ncount = 4\nexposure_s = 300.0\nsensor_c = -10.0\n");
    let mut all: Vec<_> = frames(&SensorTruth::from_toml(&text).unwrap()).collect();
    let key =
        |info: &subwell::frames::FrameInfo| StackKey { kind: info.kind, exposure: info.exposure, sensor: info.sensor };
    all.sort_by_key(|frame| key(&frame.info).order());
    let mut measurement = ModeMeasurement::new(&all[0].info, MeasureOptions::default()).unwrap();
    for frame in all {
        measurement.add(key(&frame.info), frame).unwrap();
    }
    let mut profile = cameras();
    profile.modes = vec![measurement.finish().unwrap().0];
    profile
}

#[test]
fn darks_are_drawn_as_they_were_counted() {
    let profile = glowing();
    let page = camera_page(&profile);
    let document = parsed(&page);
    let plane = &profile.modes[0].planes[0];
    let [dark]: &[DarkPicture] = &plane.dark_pictures[..] else { panic!("{}", plane.dark_pictures.len()) };
    let pixels = (SIDES[0] * SIDES[1]) as f64;

    let histogram = figure(&document, "pixels-0");
    let bins = cells(histogram);
    assert_eq!(bins.iter().map(|row| number(&row[3])).sum::<f64>(), pixels);
    assert_eq!(bins.len(), dark.bins.len() + 1);
    for (row, bin) in bins[1..].iter().zip(&dark.bins) {
        same(&row[1], bin.from_e_per_s);
        same(&row[2], bin.to_e_per_s);
    }
    // The share of hot pixels that the profile has lies beyond ten medians, where the second mark stands.
    let beyond = 10.0 * dark.median_e_per_s.0;
    let tail: f64 = bins[1..].iter().filter(|row| number(&row[1]) > 0.999 * beyond).map(|row| number(&row[3])).sum();
    let hot = plane.dark_current[0].hot_pixel_fraction.unwrap() * pixels;
    assert!(hot > 50.0 && tail >= hot - 0.5 && tail < 1.2 * hot + 5.0, "{tail} {hot}");
    let line = of_class(histogram, "polyline", "curve")[0].attribute("points").unwrap();
    let heights: Vec<f64> = line.split(' ').map(|point| number(point.split_once(',').unwrap().1)).collect();
    assert_eq!(heights.len(), 2 * dark.bins.len());
    let most = (0..dark.bins.len()).max_by_key(|bin| dark.bins[*bin].pixels).unwrap();
    assert_eq!(heights[2 * most], heights.iter().copied().fold(f64::MAX, f64::min), "the fullest bin is the highest");

    let map = figure(&document, "map-0");
    let drawn = fields(map);
    let [down, across] = [dark.parts_e_per_s.len(), dark.parts_e_per_s[0].len()];
    assert_eq!((across, down, drawn.len()), (20, 12, 240));
    for (i, row) in cells(map).iter().enumerate() {
        assert_eq!(row.len(), across + 1);
        row[1..].iter().zip(&dark.parts_e_per_s[i]).for_each(|(said, is)| same(said, *is));
    }
    // The corner that glows has all ink, and the far corner little.
    assert_eq!(plane.glow_at.as_deref(), Some("top left"));
    assert!(drawn[0].2 > 0.99 && drawn[239].2 < 0.4, "{:?} {:?}", drawn[0], drawn[239]);
    assert!(text_of(map).contains("Amplifier glow: top left"));

    let lines = cells(figure(&document, "lines-0"));
    let of = |what: &str| lines.iter().filter(|row| row[0] == what).map(|row| number(&row[2])).collect::<Vec<f64>>();
    for (said, is) in [(of("columns"), &dark.columns_e_per_s), (of("rows"), &dark.rows_e_per_s)] {
        assert_eq!(said.len(), is.len());
        said.iter().zip(is).for_each(|(said, is)| approx::assert_relative_eq!(said, is, max_relative = 1e-3));
        assert!(said[0] > 1.5 * said[said.len() - 1], "{said:?}");
    }
    // A camera that holds its dark level shows no pixel's rate, but still where it differs.
    let mut pinned = profile.clone();
    pinned.modes[0].planes[0].dark_current[0].from = DarkCurrentSource::Variance;
    let page = camera_page(&pinned);
    assert!(!page.contains("pixels-0-t") && page.contains("map-0-t") && page.contains("only differences count"));
    // No file has the pictures, and a profile from a file draws none.
    let again = CameraProfile::from_toml(&profile.to_toml().unwrap()).unwrap();
    assert!(again.modes[0].planes[0].dark_pictures.is_empty());
    assert!(!camera_page(&again).contains("map-0-t"));
}
