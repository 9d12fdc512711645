//! Parts of a whole as one line of signs, for a terminal: each part by its first letter.

/// Cells of the bar.
const CELLS: usize = 58;

/// A bar of [`CELLS`] signs: every part with half a cell or more begins with the first letter of its name and is as
/// long as its share. Parts are percent of the whole; what rounding leaves goes to the parts that lost most by it.
///
/// `sky 75 %, target 25 %` becomes `S───────────T───`, only longer.
pub(super) fn bar(parts: &[(&str, f64)]) -> String {
    let whole: f64 = parts.iter().map(|(_, percent)| percent.max(0.0)).sum();
    if whole <= 0.0 {
        return String::new();
    }
    let exact: Vec<f64> = parts.iter().map(|(_, percent)| percent.max(0.0) / whole * CELLS as f64).collect();
    let mut cells: Vec<usize> = exact.iter().map(|share| share.round() as usize).collect();
    while cells.iter().sum::<usize>() != CELLS {
        let short = cells.iter().sum::<usize>() < CELLS;
        let owed = |i: usize| if short { exact[i] - cells[i] as f64 } else { cells[i] as f64 - exact[i] };
        // A part that shows does not vanish for the sake of the sum, nor does one appear.
        let may = |i: &usize| if short { cells[*i] > 0 } else { cells[*i] > 1 };
        let Some(most) = (0..cells.len()).filter(may).max_by(|&a, &b| owed(a).total_cmp(&owed(b))) else { break };
        cells[most] = if short { cells[most] + 1 } else { cells[most] - 1 };
    }
    parts
        .iter()
        .zip(cells)
        .filter(|(_, cells)| *cells > 0)
        .map(|((name, _), cells)| {
            let letter = name.chars().next().unwrap_or('?').to_uppercase();
            format!("{letter}{}", "─".repeat(cells - 1))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lengths(bar: &str) -> Vec<(char, usize)> {
        let mut found: Vec<(char, usize)> = Vec::new();
        for sign in bar.chars() {
            match (sign, found.last_mut()) {
                ('─', Some(part)) => part.1 += 1,
                _ => found.push((sign, 1)),
            }
        }
        found
    }

    #[test]
    fn every_part_is_as_long_as_its_share_to_a_cell_and_a_half() {
        let parts =
            [("sky", 61.3), ("Moon", 12.2), ("target", 3.9), ("dark", 9.6), ("read", 6.1), ("calibration", 6.9)];
        let drawn = lengths(&bar(&parts));
        assert_eq!(drawn.iter().map(|(_, cells)| cells).sum::<usize>(), CELLS);
        assert_eq!(drawn.len(), parts.len());
        for ((name, percent), (letter, cells)) in parts.iter().zip(drawn) {
            assert_eq!(name.to_uppercase().chars().next(), Some(letter));
            assert!((percent / 100.0 * CELLS as f64 - cells as f64).abs() < 1.5, "{name}: {cells}");
        }
    }

    #[test]
    fn what_is_less_than_half_a_cell_is_not_drawn_and_the_bar_stays_full() {
        assert_eq!(lengths(&bar(&[("sky", 99.5), ("dark", 0.5)])), [('S', CELLS)]);
        let thirteen: Vec<(&str, f64)> = (0..13).map(|_| ("part", 100.0 / 13.0)).collect();
        assert_eq!(bar(&thirteen).chars().count(), CELLS);
        assert_eq!(bar(&[("sky", 0.0)]), "");
    }
}
