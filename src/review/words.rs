//! Why a sub is named or dropped, in words.

use super::set::Judged;
use super::signs::Sign;

/// The reasons of one sub, with numbers; empty for a sub like the best.
pub(super) fn why(sub: &Judged<'_>) -> String {
    let mut parts: Vec<String> = sub.against.signs.iter().map(|sign| reason(sub, *sign)).collect();
    if sub.dropped && !sub.against.signs.contains(&Sign::OtherField) {
        parts.push(format!(
            "an hour of it is worth {:.0} % of a good one, and the stack is better without",
            sub.worth_percent
        ));
    } else if sub.against.signs.iter().any(|sign| sign.is_a_fault()) && !sub.dropped {
        parts.push(format!("kept: an hour of it is worth {:.0} % of a good one", sub.worth_percent));
    }
    parts.join("; ")
}

fn reason(sub: &Judged<'_>, sign: Sign) -> String {
    let against = &sub.against;
    let at_most = if against.hidden { "at most " } else { "" };
    let light = against.light.map(|share| format!("{at_most}{:.0} % of the starlight", 100.0 * share.min(1.0)));
    let wide = against.width.map(|width| format!("stars {width:.2} times as wide"));
    let sky = Some(format!("sky {:.2} times the quiet one", against.sky));
    let word = sign.word();
    match sign {
        Sign::Cloud => with_numbers(word, [light, sky]),
        Sign::Dew => with_numbers(word, [light, wide]),
        Sign::WideStars => with_numbers(word, [wide, light]),
        Sign::Moon | Sign::Twilight | Sign::BrightSky => with_numbers(word, [sky, None]),
        Sign::Nebula => {
            let share =
                sub.light.planes.iter().map(|plane| plane.background.not_background_percent).fold(0.0, f64::max);
            format!("{word}: {share:.0} % of the field is brighter than the sky, which is measured beside it")
        }
        Sign::OtherField => "other stars than in the rest: no part of this stack".into(),
    }
}

/// The word, and behind a colon the numbers that there are.
fn with_numbers(word: &str, numbers: [Option<String>; 2]) -> String {
    let numbers: Vec<String> = numbers.into_iter().flatten().collect();
    if numbers.is_empty() { word.to_owned() } else { format!("{word}: {}", numbers.join(", ")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_without_numbers_stands_alone() {
        assert_eq!(with_numbers("dew or fog", [None, None]), "dew or fog");
        assert_eq!(with_numbers("dew or fog", [None, Some("wide".into())]), "dew or fog: wide");
        assert_eq!(with_numbers("cloud", [Some("a".into()), Some("b".into())]), "cloud: a, b");
    }
}
