//! Folders of many thousands of frames: four times as many take about four times as long, not sixteen times.

use std::time::{Duration, Instant};

use subwell::frames::{Cards, FrameKind, Inventory, Override, Seen, StripStatistics};
use subwell::units::{Celsius, Dn, Seconds};

/// Four times as much work and a few more levels of a tree; of what grows as the square, the ratio is 16.
const MOST_TIMES: f64 = 9.0;

fn strip(mean: f64, noise: f64) -> StripStatistics {
    let (mean, noise) = (Dn(mean), Dn(noise));
    StripStatistics {
        mean,
        median: mean,
        spread: noise,
        noise,
        sigma: noise,
        max: 60_000,
        zero_share: 0.0,
        top_share: 0.0,
        step: Dn(1.0),
    }
}

/// How the frames of a folder differ beside their dates, which all do.
#[derive(Debug, Clone, Copy)]
struct Differ {
    exposures: bool,
    temperatures: bool,
    rows: bool,
}

fn seen(count: usize, differ: Differ) -> Vec<Seen> {
    let one = |i: usize| {
        let (kind, level) = [("Bias", 500.0), ("Dark", 510.0), ("Flat", 20_000.0), ("Light", 900.0)][i % 4];
        let exposure = match (i % 4, differ.exposures) {
            (0, _) => 0.0,
            (_, true) => 1.0 + 0.01 * i as f64,
            (_, false) => [1.0, 10.0, 60.0, 300.0][i / 4 % 4],
        };
        let celsius = if differ.temperatures { -10.0 + (0.618 * i as f64).fract() } else { -10.0 };
        let (day, hour, minute, second) = (i / 86_400 + 1, i / 3600 % 24, i / 60 % 60, i % 60);
        let lines = format!(
            "IMAGETYP= '{kind} Frame'\nEXPTIME = {exposure}\nCCD-TEMP= {celsius:.4}\nINSTRUME= 'Heron M'\nGAIN = 100\n\
             ROWORDER= 'TOP-DOWN'\nDATE-OBS= '2026-10-{day:02}T{hour:02}:{minute:02}:{second:02}'"
        );
        let strip_statistics = Some(strip(level + (0.7 * i as f64).fract(), 3.0 + (0.3 * i as f64).fract()));
        Seen {
            file: format!("set/{i:06}.fits"),
            cards: Cards::from_lines(&lines),
            width: 100,
            height: 80,
            strip_statistics,
        }
    };
    (0..count).map(one).collect()
}

fn time_of(count: usize, differ: Differ) -> Duration {
    let frames = seen(count, differ);
    let row = |frame: &Seen| Override { file: frame.file.clone(), sensor: Some(Celsius(-10.0)), ..Override::default() };
    let rows: Vec<Override> = if differ.rows { frames.iter().map(row).collect() } else { Vec::new() };
    let start = Instant::now();
    let inventory = Inventory::new(frames, &rows, "root", Vec::new());
    let took = start.elapsed();
    assert_eq!(inventory.frames().count(), count, "{:?}", inventory.rejected.first());
    took
}

#[test]
fn four_times_the_frames_take_about_four_times_as_long() {
    let all = [false, true];
    for (exposures, temperatures, rows) in all.into_iter().flat_map(|e| all.map(|t| (e, t, t && e))) {
        let differ = Differ { exposures, temperatures, rows };
        // The quickest of several looks, each with one of the other size right after it: of load alone a ratio cannot
        // stay above the limit.
        let mut best = f64::INFINITY;
        let (mut small, mut large) = (Duration::MAX, Duration::MAX);
        for _ in 0..12 {
            small = small.min(time_of(2500, differ));
            large = large.min(time_of(10_000, differ));
            best = large.as_secs_f64() / small.as_secs_f64();
            if best < MOST_TIMES {
                break;
            }
        }
        eprintln!("{differ:?}: {small:.0?}, four times as many {large:.0?}");
        assert!(best < MOST_TIMES, "{differ:?}: {best:.1} times as long");
    }
}

/// Among many frames each odd one is still found, and no other.
#[test]
fn odd_frames_among_thousands_are_left_out() {
    let differ = Differ { exposures: true, temperatures: true, rows: false };
    let mut frames = seen(4000, differ);
    let odd = [(801, 900.0), (1600, 5000.0), (2002, 500.0)];
    for (place, level) in odd {
        frames[place].strip_statistics = Some(strip(level, 3.0));
    }
    let inventory = Inventory::new(frames, &[], "root", Vec::new());
    let mut left_out: Vec<(&str, &str)> =
        inventory.rejected.iter().map(|file| (file.file.as_str(), file.code.as_str())).collect();
    left_out.sort_unstable();
    let expected = odd.map(|(place, _)| (format!("set/{place:06}.fits"), "conflicting-kind"));
    assert_eq!(left_out, expected.each_ref().map(|(file, code)| (file.as_str(), *code)));
    let lights = inventory.groups.iter().filter(|group| group.kind == FrameKind::Light);
    assert_eq!(lights.map(|group| group.frames.len()).sum::<usize>(), 1000);
    assert!(inventory.frames().all(|frame| frame.exposure >= Seconds(0.0)));
}
