//! The same picture from two cameras: in colours, or in the same lines.

use crate::camera::Mode;
use crate::caveat::Caveat;
use crate::night::Night;
use crate::rig::{Filter, FilterName};

use super::is_array;

/// What a monochrome camera needs for the picture of a colour camera without a narrow filter.
const COLOURS: [&str; 3] = ["red", "green", "blue"];
/// The same where the colour camera sees two lines.
const LINES: [&str; 2] = ["h-alpha", "oiii"];
/// A window narrower than this is taken for a line's (nanometres).
const NARROW_NM: f64 = 60.0;

/// Gives the monochrome one of two cameras the filters for the picture that the colour camera takes: red, green and blue,
/// and luminance where it has that; or the two lines of a dual filter. A word where it did.
///
/// A night that has as many filters already keeps its own.
pub(super) fn same_picture(sides: [(&mut Night, &Mode); 2]) -> Option<Caveat> {
    let arrays = [is_array(sides[0].1), is_array(sides[1].1)];
    let [first, second] = sides.map(|(night, _)| night);
    let (colour, mono) = match arrays {
        [true, false] => (first, second),
        [false, true] => (second, first),
        _ => return None,
    };
    let needed = shown_by(&colour.filters(true))?;
    let own = mono.filters(false);
    let has = |name: &str| own.iter().any(|filter| filter.label() == name);
    if needed.iter().all(|name| has(name)) || own.iter().filter(|filter| !is_narrow(filter)).count() >= COLOURS.len() {
        return None;
    }
    let luminance = (has("luminance") && needed == COLOURS).then_some("luminance");
    let names: Vec<&str> = luminance.into_iter().chain(needed.iter().copied()).collect();
    let named = |name: &&str| {
        let known = own.iter().find(|filter| filter.label() == **name).or(own.first());
        let quantum_efficiency = known.and_then(|filter| filter.quantum_efficiency);
        Filter { name: Some((*name).to_owned()), quantum_efficiency, ..Filter::default() }
    };
    mono.filters = names.iter().map(named).collect();
    let had: Vec<String> = own.iter().map(Filter::label).collect();
    let message = format!(
        "{} alone is not the picture of the colour camera: the monochrome one is weighed with {}, each to the same signal \
         over noise",
        had.join(" and "),
        listed(&names)
    );
    let hint = "to weigh other filters, write them in the monochrome night";
    Some(Caveat::new("colours-against-fewer", message, hint))
}

/// The filters that show a monochrome camera what these show a colour camera; `None` where they need none but their own.
fn shown_by(filters: &[Filter]) -> Option<&'static [&'static str]> {
    if filters.iter().any(|filter| filter.label() == "dual") {
        return Some(&LINES);
    }
    filters.iter().any(|filter| !is_narrow(filter)).then_some(&COLOURS)
}

/// Whether a filter shows one line alone.
pub(super) fn is_narrow(filter: &Filter) -> bool {
    let one_line = |name: FilterName| name.is_line() && name != FilterName::Dual;
    FilterName::from_name(&filter.label()).is_ok_and(one_line)
        || filter.width_nm.is_some_and(|width| width.0 < NARROW_NM)
}

/// `red, green and blue`.
fn listed(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [only] => (*only).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}
