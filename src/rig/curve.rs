//! A filter's transmission as a curve, and the windows in it.

use crate::units::Nanometres;

/// What a silicon sensor sees: outside of it a curve must be dark.
const SEEN: (f64, f64) = (300.0, 1100.0);
/// Points further apart than this many nanometres leave a gap where the curve changes by more than this share of its
/// peak: a straight line would be a guess.
const GAP: (f64, f64) = (30.0, 0.2);
/// Below this share of the peak a filter is taken as dark: filters leak, curves have noise.
const DARK_SHARE: f64 = 0.05;
/// The curve is followed in steps of this many nanometres.
const STEP: f64 = 0.1;
/// The largest curve: 0.01 nm steps over all light that a sensor sees.
const MOST_POINTS: usize = 100_000;
/// A peak between 1 and this is a share that overshoots, not a filter of a few percent.
const LEAST_PERCENT: f64 = 2.0;

/// Transmission against wavelength: straight lines between points, nothing beyond the ends.
#[derive(Debug, Clone, PartialEq)]
pub struct TransmissionCurve {
    /// nm and transmission 0 to 1, ascending.
    points: Vec<(f64, f64)>,
}

/// One run of wavelengths that a curve lets through.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct CurveWindow {
    /// Mean wavelength, weighted with the transmission.
    pub(super) centre: Nanometres,
    /// Area under the curve over its peak.
    pub(super) width: Nanometres,
    /// The peak.
    pub(super) transmission: f64,
    /// Where it begins and ends.
    pub(super) ends: [f64; 2],
}

impl TransmissionCurve {
    /// Reads a curve: one point a line, `nm, transmission`, with `,`, `;` or blanks between; lines that start with `#`
    /// and one line of column names are skipped. When a value lies above 2 all are taken as percent; a peak between 1 and 2 is
    /// refused, and so are decimal commas.
    ///
    /// # Errors
    /// A sentence that names the line or the place: no two numbers, a wavelength that does not grow, a transmission below 0
    /// or above 100 %, fewer than two points, no light at all, light outside of 300 to 1100 nm, or an edge without points.
    ///
    /// # Examples
    /// ```
    /// use subwell::rig::TransmissionCurve;
    /// let curve = TransmissionCurve::from_csv("nm,transmission\n498,0\n500,0.9\n502,0.9\n504,0\n")?;
    /// assert!((curve.at(499.0) - 0.45).abs() < 1e-12);
    /// # Ok::<(), String>(())
    /// ```
    pub fn from_csv(text: &str) -> Result<Self, String> {
        let mut points: Vec<(f64, f64)> = Vec::new();
        let mut names_allowed = true;
        for (number, line) in text.lines().enumerate() {
            let line = line.trim_start_matches('\u{feff}').trim();
            if line.is_empty() || line.starts_with('#') {
                continue;
            }
            if line.contains(';') && line.contains(',') {
                return Err(format!("line {}: `{line}` has decimal commas; write a point", number + 1));
            }
            let columns: Vec<&str> = line.split([',', ';', '\t', ' ']).filter(|word| !word.is_empty()).collect();
            let numbers: Option<Vec<f64>> = columns.iter().take(2).map(|word| word.parse().ok()).collect();
            match numbers.as_deref() {
                Some([nm, transmission]) if nm.is_finite() && *transmission >= 0.0 && *transmission <= 100.0 => {
                    if points.last().is_some_and(|(before, _)| before >= nm) {
                        let line = number + 1;
                        return Err(format!(
                            "line {line}: the wavelength {nm} nm does not grow; sort the lines by wavelength"
                        ));
                    }
                    points.push((*nm, *transmission));
                }
                None if names_allowed && points.is_empty() => {}
                _ => return Err(format!("line {}: `{line}` is no wavelength in nm and transmission", number + 1)),
            }
            names_allowed = false;
        }
        Self::checked(points)
    }

    fn checked(mut points: Vec<(f64, f64)>) -> Result<Self, String> {
        let peak = points.iter().map(|(_, transmission)| *transmission).fold(0.0, f64::max);
        if points.len() < 2 || points.len() > MOST_POINTS || peak <= 0.0 {
            return Err(format!("{} points with a peak of {peak} are no filter curve", points.len()));
        }
        if peak > 1.0 && peak <= LEAST_PERCENT {
            return Err(format!("its peak of {peak} is neither a share of the light nor a percentage"));
        }
        let (first, last) = (points[0].0, points[points.len() - 1].0);
        if first < 100.0 || last > 5000.0 {
            return Err(format!("wavelengths from {first} to {last} are not in nm"));
        }
        if let Some((nm, _)) =
            points.iter().find(|(nm, part)| !(SEEN.0..=SEEN.1).contains(nm) && *part > DARK_SHARE * peak)
        {
            return Err(format!(
                "lets light through at {nm} nm, where no silicon sensor sees any; leave out what lies outside of {} to {} nm",
                SEEN.0, SEEN.1
            ));
        }
        let gap = |pair: &&[(f64, f64)]| pair[1].0 - pair[0].0 > GAP.0 && (pair[1].1 - pair[0].1).abs() > GAP.1 * peak;
        if let Some(pair) = points.windows(2).find(gap) {
            return Err(format!(
                "jumps from {} at {} nm to {} at {} nm without a point between; give points at most {} nm apart on its edges",
                pair[0].1, pair[0].0, pair[1].1, pair[1].0, GAP.0
            ));
        }
        if peak > 1.0 {
            points.iter_mut().for_each(|(_, transmission)| *transmission /= 100.0);
        }
        Ok(Self { points })
    }

    /// The transmission at a wavelength in nm.
    #[must_use]
    pub fn at(&self, nm: f64) -> f64 {
        let next = self.points.partition_point(|(x, _)| *x < nm);
        match (next.checked_sub(1).and_then(|before| self.points.get(before)), self.points.get(next)) {
            (Some((x0, y0)), Some((x1, y1))) => y0 + (y1 - y0) * (nm - x0) / (x1 - x0),
            (None, Some((x, y))) if *x == nm => *y,
            _ => 0.0,
        }
    }

    /// The mean of `response` over a window of the curve, weighted with the transmission.
    pub(super) fn mean_over(&self, window: &CurveWindow, response: impl Fn(f64) -> f64) -> f64 {
        let (mut area, mut seen) = (0.0, 0.0);
        for nm in steps(window.ends) {
            let transmission = self.at(nm);
            area += transmission;
            seen += transmission * response(nm);
        }
        if area > 0.0 { seen / area } else { 0.0 }
    }

    /// The windows of the curve, from blue to red.
    pub(super) fn windows(&self) -> Vec<CurveWindow> {
        let peak = self.points.iter().map(|(_, transmission)| *transmission).fold(0.0, f64::max);
        let ends = [self.points[0].0, self.points[self.points.len() - 1].0];
        let mut runs: Vec<[f64; 2]> = Vec::new();
        for nm in steps(ends).filter(|nm| self.at(*nm) > DARK_SHARE * peak) {
            match runs.last_mut() {
                Some(run) if nm - run[1] < 1.5 * STEP => run[1] = nm,
                _ => runs.push([nm, nm]),
            }
        }
        runs.into_iter().map(|run| self.window([run[0] - STEP / 2.0, run[1] + STEP / 2.0])).collect()
    }

    fn window(&self, ends: [f64; 2]) -> CurveWindow {
        let (mut area, mut moment, mut peak) = (0.0, 0.0, 0.0_f64);
        for nm in steps(ends) {
            let transmission = self.at(nm);
            area += transmission * STEP;
            moment += nm * transmission * STEP;
            peak = peak.max(transmission);
        }
        CurveWindow { centre: Nanometres(moment / area), width: Nanometres(area / peak), transmission: peak, ends }
    }
}

/// The middles of steps between two wavelengths.
fn steps(ends: [f64; 2]) -> impl Iterator<Item = f64> {
    let count = ((ends[1] - ends[0]) / STEP).round().max(1.0) as usize;
    (0..count).map(move |step| ends[0] + (step as f64 + 0.5) * STEP)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_may_be_misread_is_refused() {
        let comma = TransmissionCurve::from_csv("400,5;95,5\n401,5;95,5\n").unwrap_err();
        assert!(comma.contains("decimal commas"), "{comma}");
        let over = TransmissionCurve::from_csv("399,0\n400,1.005\n700,0.95\n701,0\n").unwrap_err();
        assert!(over.contains("neither"), "{over}");
    }

    #[test]
    fn light_that_no_sensor_sees_and_gaps_are_refused() {
        let infrared = curve("nm,T\n690,0\n700,0.9\n1200,0.9\n").unwrap_err();
        assert!(infrared.contains("1200 nm"), "{infrared}");
        assert!(curve("280,0.9\n290,0.9\n400,0.9\n").is_err());
        // Dark beyond the ends is no harm: a data sheet goes on for longer than a sensor sees.
        assert!(curve("200,0\n390,0\n400,0.9\n700,0.9\n710,0\n1200,0.01\n").is_ok());
        let gap = curve("nm,T\n400,0\n500,0.9\n600,0\n").unwrap_err();
        assert!(gap.contains("400 nm") && gap.contains("500 nm"), "{gap}");
    }

    fn curve(text: &str) -> Result<TransmissionCurve, String> {
        TransmissionCurve::from_csv(text)
    }

    #[test]
    fn a_box_has_its_own_width_centre_and_peak() {
        let windows = curve("wavelength;T\n649.9;0\n650;0.8\n660;0.8\n660.1;0\n").unwrap().windows();
        assert_eq!(windows.len(), 1);
        approx::assert_relative_eq!(windows[0].width.0, 10.1, epsilon = 0.11);
        approx::assert_relative_eq!(windows[0].centre.0, 655.0, epsilon = 0.01);
        approx::assert_relative_eq!(windows[0].transmission, 0.8, epsilon = 1e-9);
    }

    #[test]
    fn a_dual_curve_has_two_windows() {
        let text = "490,0\n497,0\n498,90\n504,90\n505,0\n650,0\n653,92\n659,92\n662,0\n";
        let windows = curve(text).unwrap().windows();
        assert_eq!(windows.len(), 2);
        approx::assert_relative_eq!(windows[1].width.0, 9.0, epsilon = 0.1);
    }

    #[test]
    fn what_is_no_curve_is_refused_with_its_line() {
        assert!(curve("nm,T\n500,0.9\n499,0.9\n").unwrap_err().contains("line 3"));
        assert!(curve("500,0.9\n510,no\n").unwrap_err().contains("line 2"));
        assert!(curve("500,0.9\n").is_err() && curve("").is_err() && curve("500,0\n600,0\n").is_err());
        assert!(curve("5000,0.1\n6000,0.9\n").unwrap_err().contains("nm"));
    }
}
