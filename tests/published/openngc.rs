//! Positions of the catalogue against those of the OpenNGC list, from the Python package pyongc 1.2.2: `tests/data/openngc.csv`.
//! Sharpless numbers, Abell's planetaries and large remnants are not in that list; their positions are from memory, unchecked.

use subwell::target::{object, objects};

/// What a frame does not notice, in arcminutes; beside it a fifth of the object, whose middle is a matter of taste.
const UNNOTICED: f64 = 2.0;
const TASTE: f64 = 0.2;

/// Where our entry means more, or another part, than the list's: the nebulae W5, Sh2-54, Sh2-86 and about Lambda Centauri and
/// not what is numbered in them; the bow north of Cederblad 214.
const OTHERS: [&str; 5] = ["IC 1848", "NGC 6604", "Sh2-86", "IC 2944", "NGC 7822"];
/// Not even those lie further off than this many degrees.
const FAR: f64 = 1.5;

#[test]
fn positions_are_those_of_the_list() {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/openngc.csv");
    let text = std::fs::read_to_string(file).unwrap();
    let mut seen = 0;
    for line in text.lines().filter(|line| !line.starts_with('#')) {
        let columns: Vec<&str> = line.split(',').collect();
        let [name, _, ra, dec] = columns[..] else { panic!("{line}") };
        let ours = object(name).unwrap();
        let (ra, dec): (f64, f64) = (ra.parse().unwrap(), dec.parse().unwrap());
        let along = (ours.ra_deg.0 - ra + 180.0).rem_euclid(360.0) - 180.0;
        let apart = 60.0 * (along * dec.to_radians().cos()).hypot(ours.dec_deg.0 - dec);
        let allowed = UNNOTICED + TASTE * ours.size_arcmin[0];
        if OTHERS.contains(&name) {
            assert!(apart > allowed && apart < 60.0 * FAR, "{name}: {apart:.1} arcmin");
        } else {
            assert!(apart < allowed, "{name}: {apart:.1} arcmin");
        }
        seen += 1;
    }
    assert!(seen > 140, "{seen}");
    let listed = |name: &str| name.starts_with('M') && name[1..].parse::<u32>().is_ok() || name.starts_with("NGC ");
    let all = objects().filter(|object| listed(object.name())).count();
    assert!(seen >= all, "{seen} of {all}");
}
