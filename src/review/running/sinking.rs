//! When the target sinks behind its horizon, and when it dawns.

use crate::night::evening::{counted, least_altitude, track};
use crate::review::answer::SubReview;
use crate::review::moments::{night_of, written_time};
use crate::sky::night::{Span, Tonight, Utc};

use super::{Running, Spoken, Word};

/// So long before the end of its hours a target is worth a word, in hours.
const AHEAD_H: f64 = 0.25;
/// Ends that lie nearer to each other than this are one, in hours.
const SAME_END_H: f64 = 0.05;

impl Running<'_> {
    /// The end of the newest sub by the headers' clock; `None` without times.
    pub(super) fn at(&self, subs: &[&SubReview]) -> Option<Utc> {
        let newest = subs.last()?;
        let (date, hours) = written_time(newest.when.as_ref()?)?;
        Some(date.at(hours, self.night.utc_offset_h()).later(newest.exposure_s.0 / 7200.0))
    }

    /// A word shortly before the hours of the target end, or after.
    pub(super) fn sinking(&mut self, subs: &[&SubReview]) -> Option<Word> {
        // Who follows no minute knows no horizon.
        subs.last()?.target_altitude_deg?;
        let at = self.at(subs)?;
        let tonight = night_of(self.night, at)?;
        let limit = counted(self.night, &tonight)?;
        let usable = tonight.usable(limit, &track(self.night));
        let end = end_of_hours(&usable, at)?;
        if end.hours_since(at) > AHEAD_H {
            self.sinking = false;
            return None;
        }
        if std::mem::replace(&mut self.sinking, true) {
            return None;
        }
        Some(self.word_of_end(&tonight, limit, at, end))
    }

    fn word_of_end(&self, tonight: &Tonight, limit: crate::units::Degrees, at: Utc, end: Utc) -> Word {
        let clock = end.local(self.night.utc_offset_h());
        let clock = clock.split('T').nth(1).unwrap_or_default();
        let dawns = tonight.dark(limit).iter().any(|dark| dark.to.hours_since(end).abs() < SAME_END_H);
        let past = at.hours_since(end) > 0.0;
        let (about, what) = match (dawns, past) {
            (true, false) => (Spoken::Dawn, "the dark hours end at"),
            (true, true) => (Spoken::Dawn, "the dark hours ended at"),
            (false, false) => (Spoken::TargetSinks, "the target sinks LIMIT at"),
            (false, true) => (Spoken::TargetSinks, "the target is LIMIT since"),
        };
        let limit = match &self.night.site.horizon {
            Some(_) => "behind its horizon".to_owned(),
            None => format!("below {:.0}°", least_altitude(self.night).0),
        };
        Word::new(about, format!("{} {clock}", what.replace("LIMIT", &limit)))
    }
}

/// When the hours end that a moment lies in; of a moment outside, the end of those before it.
fn end_of_hours(usable: &[Span], at: Utc) -> Option<Utc> {
    let begun = usable.iter().filter(|span| at.hours_since(span.from) >= 0.0);
    begun.map(|span| span.to).max_by(|a, b| a.0.total_cmp(&b.0))
}
