//! Doubts that many frames raise alike: each is said once, with how many there are and which.

use crate::caveat::Caveat;
use crate::units::Seconds;

/// So many are named one by one.
const NAMED: usize = 3;

/// What was noticed of frames so far.
#[derive(Debug, Clone, Default)]
pub(super) struct Repeated {
    /// Relative differences of level within pairs of flats, with the second file.
    drifts: Vec<(f64, String)>,
    /// Files that hold the pixels of another, which is named first.
    copies: Vec<(String, String)>,
    /// Of those, flats.
    flat_copies: usize,
    /// Flats without a partner, with their exposures.
    alone: Vec<(Seconds, String)>,
    /// Pairs of flats of two exposures, with how far the levels are apart.
    unlike: Vec<(f64, String)>,
}

impl Repeated {
    /// Two flats of a pair whose levels are `apart`, relatively; of several planes the largest counts.
    pub(super) fn drift(&mut self, apart: f64, file: &str) {
        match self.drifts.iter_mut().find(|(_, known)| known == file) {
            Some((most, _)) => *most = most.max(apart),
            None => self.drifts.push((apart, file.to_owned())),
        }
    }

    /// A file that holds the pixels of another.
    pub(super) fn copy(&mut self, first: &str, second: &str, is_flat: bool) {
        if self.copies.iter().all(|(_, known)| known != second) {
            self.copies.push((first.to_owned(), second.to_owned()));
            self.flat_copies += usize::from(is_flat);
        }
    }

    /// A flat without a partner.
    pub(super) fn alone(&mut self, exposure: Seconds, file: String) {
        self.alone.push((exposure, file));
    }

    /// Flats of two exposures that were paired.
    pub(super) fn unlike(&mut self, apart: f64, file: &str) {
        self.unlike.push((apart, file.to_owned()));
    }

    /// How many flats are copies of others.
    pub(super) fn copies_of_flats(&self) -> usize {
        self.flat_copies
    }

    /// How many flats have no partner.
    pub(super) fn flats_alone(&self) -> usize {
        self.alone.len()
    }

    /// All of it in words.
    pub(super) fn caveats(&self) -> Vec<Caveat> {
        [self.of_copies(), self.of_alone(), self.of_drifts(), self.of_unlike()].into_iter().flatten().collect()
    }

    fn of_copies(&self) -> Option<Caveat> {
        let (first, second) = self.copies.first()?;
        let message = if let [_] = self.copies.as_slice() {
            format!("`{first}` and `{second}` hold the same pixels; the second was left out")
        } else {
            let pairs = self.copies.iter().take(NAMED).map(|(first, second)| format!("`{second}` those of `{first}`"));
            format!(
                "{} files hold the pixels of another and were left out: {}{}",
                self.copies.len(),
                pairs.collect::<Vec<_>>().join(", "),
                if self.copies.len() > NAMED { ", …" } else { "" }
            )
        };
        let hint = if self.copies.len() == 1 { "remove one of the two files" } else { "remove the copies" };
        Some(Caveat::new("duplicate-frame", message, hint).about(and_more(second, self.copies.len())))
    }

    fn of_alone(&self) -> Option<Caveat> {
        let (exposure, file) = self.alone.first()?;
        let message = if let [_] = self.alone.as_slice() {
            format!("the flat of {} s has no partner and was left out", exposure.0)
        } else {
            let times: Vec<String> = self.alone.iter().take(NAMED).map(|(time, _)| format!("{} s", time.0)).collect();
            let more = if self.alone.len() > NAMED { ", …" } else { "" };
            format!("{} flats ({}{more}) have no partner and were left out", self.alone.len(), times.join(", "))
        };
        let hint = "take flats in pairs: two of the same exposure, one right after the other";
        Some(Caveat::new("few-frames", message, hint).about(and_more(file, self.alone.len())))
    }

    fn of_drifts(&self) -> Option<Caveat> {
        let (_, file) = self.drifts.first()?;
        let most = 100.0 * self.drifts.iter().map(|(apart, _)| *apart).fold(0.0, f64::max);
        let message = if let [_] = self.drifts.as_slice() {
            format!("the levels within a pair of flats differ by {most:.1} %; the difference was scaled away")
        } else {
            let pairs = self.drifts.len();
            format!(
                "the levels within {pairs} pairs of flats differ, by up to {most:.1} %; the differences were scaled away"
            )
        };
        let hint = "let the lamp warm up, and use exposures that are multiples of the mains period";
        Some(Caveat::new("pair-level-drift", message, hint).about(and_more(file, self.drifts.len())))
    }

    fn of_unlike(&self) -> Option<Caveat> {
        let (_, file) = self.unlike.first()?;
        let most = 100.0 * self.unlike.iter().map(|(apart, _)| *apart).fold(0.0, f64::max);
        let count = self.unlike.len();
        let message = format!(
            "{} of flats of two exposures each, for they have no partner of their own: the levels within differ by up to \
             {most:.1} %, which was scaled away",
            if count == 1 { "a pair is".into() } else { format!("{count} pairs are") }
        );
        let hint = "take two flats at each exposure, one right after the other";
        Some(Caveat::new("pair-level-drift", message, hint).about(and_more(file, count)))
    }
}

/// The first of some files, and how many there are beside it.
fn and_more(first: &str, count: usize) -> String {
    if count == 1 { first.to_owned() } else { format!("{first} and {} more", count - 1) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_alike_are_one_caveat_with_their_number() {
        let mut repeated = Repeated::default();
        for (apart, file) in [(0.02, "a"), (0.05, "b"), (0.03, "b"), (0.011, "c")] {
            repeated.drift(apart, file);
        }
        (0..5).for_each(|number| repeated.copy("first", &format!("copy{number}"), number > 2));
        let caveats = repeated.caveats();
        assert_eq!(caveats.len(), 2);
        assert!(
            caveats[0].message.starts_with("5 files hold") && caveats[0].about == "copy0 and 4 more",
            "{caveats:?}"
        );
        assert!(caveats[1].message.contains("3 pairs of flats differ, by up to 5.0 %"), "{caveats:?}");
        assert_eq!(repeated.copies_of_flats(), 2);
    }
}
