//! Changes to good files: bits, cuts, insertions, and numbers where a format keeps them.

use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

pub(crate) type Chance = Xoshiro256PlusPlus;

/// Where a format keeps its numbers.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Grammar {
    /// Cards of 80 bytes, values from the eleventh on.
    Cards,
    /// Binary numbers of two and four bytes in the first bytes of the file.
    Tags { within: usize },
    /// Numbers in letters, in lines.
    Lines,
    /// None that could be found: packed bytes.
    None,
}

/// Numbers that have hurt programs.
const NUMBERS: [&str; 22] = [
    "0",
    "-1",
    "1",
    "-0.0",
    "65536",
    "32768",
    "-32769",
    "2147483647",
    "2147483648",
    "4294967297",
    "9223372036854775807",
    "18446744073709551616",
    "99999999999999999999999",
    "1e308",
    "-1e308",
    "1e-320",
    "NaN",
    "inf",
    "T",
    "''",
    "0x7f",
    "400000001",
];

pub(crate) fn chance(seed: u64) -> Chance {
    Chance::seed_from_u64(seed)
}

/// `good` with one to four changes; in text, half of the time only numbers change.
pub(crate) fn mutated(good: &[u8], grammar: Grammar, chance: &mut Chance) -> Vec<u8> {
    let mut bytes = good.to_vec();
    let first = if matches!(grammar, Grammar::Lines) && chance.random_bool(0.5) { 8 } else { 0 };
    for _ in 0..chance.random_range(1..=4) {
        if bytes.is_empty() {
            break;
        }
        match chance.random_range(first..16) {
            0..4 => flip(&mut bytes, grammar, chance),
            4 => {
                let at = place(&bytes, grammar, chance);
                bytes.truncate(at);
            }
            5 | 6 => insert(&mut bytes, grammar, chance),
            7 => remove(&mut bytes, grammar, chance),
            _ => renumber(&mut bytes, grammar, chance),
        }
    }
    bytes
}

/// A place in the file, half of the time where its numbers are.
fn place(bytes: &[u8], grammar: Grammar, chance: &mut Chance) -> usize {
    let head = match grammar {
        Grammar::Cards => header_end(bytes),
        Grammar::Tags { within } => within.min(bytes.len()),
        Grammar::Lines | Grammar::None => bytes.len(),
    };
    let limit = if chance.random_bool(0.6) { head.max(1) } else { bytes.len() };
    chance.random_range(0..limit)
}

/// The end of the last header: what follows the last card that looks like one is pixels.
fn header_end(bytes: &[u8]) -> usize {
    let mut ends = bytes.chunks_exact(80).enumerate().filter(|(_, card)| card.starts_with(b"END "));
    ends.next_back().map_or(bytes.len().min(2880), |(index, _)| 80 * (index + 1))
}

fn flip(bytes: &mut [u8], grammar: Grammar, chance: &mut Chance) {
    for _ in 0..chance.random_range(1..=8) {
        let at = place(bytes, grammar, chance);
        bytes[at] ^= 1 << chance.random_range(0..8);
    }
}

/// Something of the file once more, or nonsense; of every length, also where the lengths of blocks no longer fit.
fn insert(bytes: &mut Vec<u8>, grammar: Grammar, chance: &mut Chance) {
    let at = place(bytes, grammar, chance);
    let length = [1, 2, 80, 2880, 7, 300][chance.random_range(0..6)];
    let new: Vec<u8> = match chance.random_range(0..4) {
        0 => (0..length).map(|_| chance.random()).collect(),
        1 => vec![[0_u8, b'[', b'{', b'"', b' ', 0xff][chance.random_range(0..6)]; length],
        _ => {
            let from = chance.random_range(0..bytes.len());
            bytes[from..bytes.len().min(from + length)].to_vec()
        }
    };
    bytes.splice(at..at, new);
}

fn remove(bytes: &mut Vec<u8>, grammar: Grammar, chance: &mut Chance) {
    let at = place(bytes, grammar, chance);
    let end = bytes.len().min(at + [1, 2, 80, 2880, 33][chance.random_range(0..5)]);
    bytes.drain(at..end);
}

fn renumber(bytes: &mut Vec<u8>, grammar: Grammar, chance: &mut Chance) {
    let number = NUMBERS[chance.random_range(0..NUMBERS.len())];
    match grammar {
        Grammar::Cards => {
            let cards = header_end(bytes) / 80;
            let at = 80 * chance.random_range(0..cards.max(1));
            if let Some(value) = bytes.get_mut(at + 10..at + 80) {
                value.fill(b' ');
                value[..number.len()].copy_from_slice(number.as_bytes());
            }
        }
        Grammar::Tags { within } => {
            let at = 2 * chance.random_range(0..(within.min(bytes.len()) / 2).max(1));
            let value = [0, 1, 2, 255, 65535, 65536, 0x7fff_ffff, 0x8000_0000, u32::MAX, 12_345_678]
                [chance.random_range(0..10)];
            let wide = if chance.random_bool(0.5) { 4 } else { 2 };
            if let Some(target) = bytes.get_mut(at..at + wide) {
                target.copy_from_slice(&value.to_le_bytes()[..wide]);
            }
        }
        Grammar::Lines => {
            let runs = numbers_in(bytes);
            // Half of them plausible: what every parser refuses says nothing about what lies behind it.
            let plausible = format!("{:.2}", 10_f64.powf(chance.random_range(-2.0..4.0)));
            let number = if chance.random_bool(0.5) { plausible.as_str() } else { number };
            if let Some((start, end)) = runs.get(chance.random_range(0..runs.len().max(1))).copied() {
                bytes.splice(start..end, number.bytes());
            }
        }
        Grammar::None => flip(bytes, grammar, chance),
    }
}

/// Where the digits of a text stand, each run with its point.
fn numbers_in(bytes: &[u8]) -> Vec<(usize, usize)> {
    let mut runs = Vec::new();
    let mut start = None;
    for (at, byte) in bytes.iter().chain(b" ").enumerate() {
        let digit = byte.is_ascii_digit() || (start.is_some() && *byte == b'.');
        match (digit, start) {
            (true, None) => start = Some(at),
            (false, Some(from)) => {
                runs.push((from, at));
                start = None;
            }
            _ => {}
        }
    }
    runs
}
