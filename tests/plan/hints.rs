//! Goals out of reach: who follows the hint gets a plan.

use subwell::camera::CameraProfile;
use subwell::night::Night;
use subwell::plan::{OutOfReach, PlanError, plan};

use crate::draw::Draw;

/// A gain setting of a camera that nobody makes.
fn mode(gain_setting: f64, gain: f64, read_noise: f64, saturation: f64) -> String {
    format!(
        "[[modes]]\ngain_setting = {gain_setting:.1}\npixel_um = 3.8\nwidth_px = 3000\nheight_px = 2000\n[[modes.planes]]\n\
         plane = \"mono\"\ngain_e_per_dn = {gain:.2}\nread_noise_e = {read_noise:.1}\nsaturation_e = {saturation:.1}\n\
         [[modes.planes.dark_current]]\nsensor_c = 10.0\ne_per_s = 0.1\nnonuniformity_percent = 60.0\n"
    )
}

/// Two gain settings: the first is out of reach sooner.
fn modes() -> [String; 2] {
    [mode(0.0, 1.0, 6.0, 40_000.0), mode(100.0, 0.25, 1.5, 10_000.0)]
}

fn camera(modes: &[String]) -> CameraProfile {
    let head = "camera = \"Sample mono\"\nprovenance = \"published\"\nsource = \"made up for the tests\"\n";
    CameraProfile::from_toml(&format!("{head}{}", modes.concat())).expect("a profile")
}

const ALL: [&str; 5] = ["luminance", "red", "blue", "h-alpha", "oiii"];

/// A night that asks for much.
fn demanding(number: u64) -> Night {
    let mut random = Draw::from_state(number.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    (0..8).for_each(|_| {
        random.unit();
    });
    let count = 1 + (random.unit() * 3.0) as usize;
    let filters: String = ALL[..]
        .iter()
        .cycle()
        .skip((random.unit() * 5.0) as usize)
        .take(count)
        .map(|name| format!("[[filters]]\nname = \"{name}\"\n"))
        .collect();
    let goal = match (random.unit() * 4.0) as usize {
        0 => format!("hours = {:.4}", random.of_any_size(0.01, 1.0)),
        1 => {
            format!(
                "snr = {:.2}\nclear_hours_per_night = {:.3}",
                random.of_any_size(1.0, 20.0),
                random.of_any_size(0.05, 0.5)
            )
        }
        _ => format!("snr = {:.1}", random.of_any_size(20.0, 2000.0)),
    };
    let text = format!(
        "[camera]\nsensor_c = 10.0\n[optics]\naperture_mm = {:.0}\nfocal_length_mm = {:.0}\n\
         [site]\nsky = {{ bortle = {} }}\n{filters}[target]\nsurface_brightness_mag = {:.1}\nline_rayleigh = {:.1}\n\
         altitude_deg = 60.0\n[mount]\nlongest_sub_s = {:.0}\nlost_subs_per_hour = {:.1}\nsettle_s = {:.0}\n\
         [stack]\nmost_subs = {:.0}\nmin_positions_per_night = {:.0}\n[calibration]\ndarks = {:.0}\n\
         dark_mismatch_c = {:.1}\n[goal]\n{goal}\n",
        random.of_any_size(50.0, 200.0),
        random.of_any_size(300.0, 1200.0),
        2 + (random.unit() * 7.0) as u32,
        20.0 + 6.0 * random.unit(),
        random.of_any_size(2.0, 200.0),
        random.of_any_size(2.0, 600.0),
        3.0 * random.unit(),
        random.of_any_size(5.0, 60.0),
        random.of_any_size(40.0, 3000.0),
        random.of_any_size(2.0, 15.0),
        30.0 * random.unit(),
        3.0 * random.unit(),
    );
    Night::from_toml(&text).unwrap_or_else(|error| panic!("{error}\n{text}"))
}

/// What is asked for after the hint is followed; `None` where it names no number.
fn followed(night: &Night, reach: &OutOfReach) -> Vec<Night> {
    let with = |change: &dyn Fn(&mut Night)| {
        let mut asked = night.clone();
        change(&mut asked);
        asked
    };
    match reach {
        OutOfReach::Pattern { snr, .. } | OutOfReach::Held { snr, .. } => {
            vec![with(&|asked| asked.goal.snr = Some(*snr))]
        }
        OutOfReach::TooManySubs { snr, needed, .. } => vec![
            with(&|asked| asked.goal.snr = Some(*snr)),
            with(&|asked| {
                asked.stack.most_subs = Some(*needed as u32);
                asked.stack.most_gigabytes = Some(1e9);
            }),
        ],
        OutOfReach::TooShort { least_h, .. } => vec![with(&|asked| asked.goal.hours = Some(*least_h))],
        OutOfReach::NightTooShort { least_h, snr, .. } => vec![with(&|asked| {
            asked.goal.clear_hours_per_night = Some(*least_h);
            asked.goal.snr = snr.or(asked.goal.snr);
        })],
        _ => Vec::new(),
    }
}

/// Hints that were followed, and those that did not lead to a plan.
fn of_nights(numbers: std::ops::Range<u64>) -> (usize, usize) {
    let camera = camera(&modes());
    let (mut count, mut failed) = (0, 0);
    for number in numbers {
        let night = demanding(number);
        let Err(error) = plan(&night, &camera) else { continue };
        let PlanError::OutOfReach { reach, .. } = &error else { panic!("{number}: {error}") };
        for asked in followed(&night, reach) {
            count += 1;
            if let Err(again) = plan(&asked, &camera) {
                failed += 1;
                println!("{number}: {error} [{}], and then {again}", error.hint());
            }
        }
    }
    (count, failed)
}

#[test]
fn hints_that_are_followed_lead_to_plans() {
    let (count, failed) = of_nights(0..120);
    assert!(count > 40 && failed == 0, "{failed} of {count}");
}

#[test]
#[ignore = "thousands of nights"]
fn thousands_of_hints_that_are_followed_lead_to_plans() {
    let (count, failed) = of_nights(1_000..5_000);
    println!("{failed} of {count} hints do not lead to a plan");
    assert!(count >= 2_000 && failed * 100 <= count, "{failed} of {count}");
}

#[test]
fn of_several_gain_settings_the_one_that_reaches_furthest_is_told() {
    let [low, high] = modes();
    let reached = |camera: &CameraProfile| {
        let mut night = demanding(7);
        night.goal.hours = None;
        night.goal.snr = Some(5000.0);
        match plan(&night, camera) {
            Err(PlanError::OutOfReach {
                reach:
                    OutOfReach::TooManySubs { snr, .. } | OutOfReach::Pattern { snr, .. } | OutOfReach::Held { snr, .. },
                ..
            }) => snr,
            other => panic!("{other:?}"),
        }
    };
    let best = reached(&camera(&[low])).max(reached(&camera(&[high])));
    approx::assert_relative_eq!(reached(&camera(&modes())), best, max_relative = 1e-9);
}
