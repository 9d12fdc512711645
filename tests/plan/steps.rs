//! A thousandth more of any number: the hours follow, and do not jump.

use subwell::camera::CameraProfile;
use subwell::night::Night;
use subwell::plan::{GoalKind, Plan, plan};
use toml::{Table, Value};

use crate::draw::Draw;
use crate::random_nights::{camera_of, night_of};

/// A step in one number.
const STEP: f64 = 1e-3;
/// Times that a step is halved which moves them by more.
const HALVINGS: usize = 12;
/// What the hours may move by, beyond the rounding that a plan states.
const MOST: f64 = 0.03;
/// Steps in every run of the tests, and in the long one.
const A_FEW: usize = 150;
const MANY: usize = 5000;

/// The ways to all numbers with a fraction.
fn numbers(value: &Value, way: &mut Vec<String>, found: &mut Vec<Vec<String>>) {
    let each: Vec<(String, &Value)> = match value {
        Value::Float(_) => return found.push(way.clone()),
        Value::Table(table) => table.iter().map(|(key, value)| (key.clone(), value)).collect(),
        Value::Array(list) => list.iter().enumerate().map(|(i, value)| (i.to_string(), value)).collect(),
        _ => return,
    };
    for (key, value) in each {
        way.push(key);
        numbers(value, way, found);
        way.pop();
    }
}

fn number_at<'a>(value: &'a mut Value, way: &[String]) -> &'a mut f64 {
    let Some((key, rest)) = way.split_first() else {
        let Value::Float(number) = value else { panic!("a number") };
        return number;
    };
    match value {
        Value::Table(table) => number_at(table.get_mut(key).expect("a key"), rest),
        Value::Array(list) => number_at(&mut list[key.parse::<usize>().expect("a place")], rest),
        _ => panic!("a table"),
    }
}

/// What rounding may cost: the share by which a plan's length may cost more than the best one, a sub and a dither of each filter,
/// and of each of its sessions.
fn rounding(plan: &Plan) -> f64 {
    let total = plan.wall_clock_s.0.max(1.0);
    let sessions = |name: &str| {
        let nights = plan.schedule.iter().flat_map(|schedule| &schedule.nights);
        nights.flat_map(|night| &night.sessions).filter(|session| session.filter == name).count().max(1)
    };
    let of_filter = |filter: &subwell::plan::FilterPlan| {
        let whole = filter.sub_s.0 + filter.between_subs_s.0 + filter.settle_s.0;
        filter.sub_range_within_percent / 100.0 * filter.wall_clock_s.0 / total
            + sessions(&filter.name) as f64 * whole / total
    };
    plan.filters.iter().map(of_filter).sum()
}

fn done_on(plan: &Plan) -> Option<&str> {
    plan.schedule.as_ref().and_then(|schedule| schedule.nights.last()).map(|night| night.date.as_str())
}

fn in_words(plan: &Plan) -> String {
    let filter = |f: &subwell::plan::FilterPlan| {
        format!(
            "{}: {} of {} s (best {}), dither every {} within {} px, {} s",
            f.name, f.subs_to_shoot, f.sub_s.0, f.sub_optimum_s.0, f.dither_every_subs, f.dither_px, f.wall_clock_s.0
        )
    };
    plan.filters.iter().map(filter).collect::<Vec<_>>().join("; ")
}

/// Takes steps; how many could be compared.
fn stepped(seeds: impl IntoIterator<Item = u64>, steps: usize) -> usize {
    let (mut faults, mut compared, mut tried) = (Vec::new(), 0, 0);
    for seed in seeds {
        if tried >= steps {
            break;
        }
        let draw = &mut Draw::new(seed);
        let colour = draw.one_in(2);
        let texts = [camera_of(draw, colour), night_of(draw, colour)];
        let files = texts.map(|text| Value::Table(toml::from_str::<Table>(&text).expect("TOML")));
        let planned = |files: &[Value; 2]| -> Option<Plan> {
            let [camera, night] = files.each_ref().map(|file| toml::to_string(file).expect("TOML"));
            plan(&Night::from_toml(&night).ok()?, &CameraProfile::from_toml(&camera).ok()?).ok()
        };
        let Some(first) = planned(&files).filter(|plan| plan.goal.kind == GoalKind::Snr) else { continue };
        let mut ways = Vec::new();
        for (file, value) in files.iter().enumerate() {
            numbers(value, &mut vec![file.to_string()], &mut ways);
        }
        for _ in 0..10 {
            tried += 1;
            let way = &ways[(draw.unit() * ways.len() as f64) as usize];
            let mut moved = files.clone();
            *number_at(&mut moved[usize::from(way[0] == "1")], &way[1..]) *= 1.0 + STEP;
            let Some(after) = planned(&moved) else { continue };
            let before = &first;
            // Whole nights are nights: one more lets in better hours.
            if done_on(before) != done_on(&after) {
                continue;
            }
            compared += 1;
            let jump = |a: &Plan, b: &Plan| (b.wall_clock_s.0 / a.wall_clock_s.0).ln().abs();
            let most = |a: &Plan, b: &Plan| MOST + rounding(a).max(rounding(b));
            // A slope that is steep, near what can be reached at all, is no jump: of shorter and shorter steps it leaves nothing.
            let (mut before, mut after, mut ends) = (before.clone(), after, [1.0, 1.0 + STEP]);
            for _ in 0..HALVINGS {
                if jump(&before, &after) <= most(&before, &after) {
                    break;
                }
                let middle = f64::midpoint(ends[0], ends[1]);
                let mut between = files.clone();
                *number_at(&mut between[usize::from(way[0] == "1")], &way[1..]) *= middle;
                let Some(between) = planned(&between) else { break };
                if jump(&before, &between) > jump(&between, &after) {
                    (after, ends[1]) = (between, middle);
                } else {
                    (before, ends[0]) = (between, middle);
                }
            }
            let (jump, most) = (jump(&before, &after), most(&before, &after));
            if jump > most {
                faults.push(format!(
                    "{seed}: {} by a thousandth ({jump:.4} of {most:.4}):\n  {}\n  {}",
                    way.join("."),
                    in_words(&before),
                    in_words(&after)
                ));
            }
        }
    }
    println!("{compared} of {tried} steps compared, {} jumps", faults.len());
    assert!(faults.is_empty(), "{} jumps:\n{}", faults.len(), faults.join("\n"));
    compared
}

#[test]
fn a_thousandth_more_of_a_number_moves_the_hours_by_little() {
    assert!(stepped(0.., A_FEW) > A_FEW / 2);
}

#[test]
#[ignore = "5000 steps"]
fn five_thousand_steps_move_the_hours_by_little() {
    assert!(stepped(0.., MANY) > MANY / 2);
}

/// Nights in which a step once was a jump.
#[test]
fn where_a_step_was_a_jump_it_is_one_no_more() {
    assert!(stepped([602, 782, 3009, 3065, 3375], usize::MAX) > 20);
}
