//! A colour array has two green planes: alike in gain, or read through two channels that are not.

use crate::camera::Plane;
use crate::caveat::Caveat;
use crate::units::Colour;

/// Combined standard uncertainties beyond which two gains are different.
const SIGMAS: f64 = 3.0;
/// A smaller difference matters to nobody; both are our choice, no source.
const SHARE: f64 = 0.02;

/// The doubt about two greens whose gains differ by more than 3 combined uncertainties and 2 %.
pub(super) fn doubt(planes: &[Plane]) -> Option<Caveat> {
    let mut greens = planes.iter().filter(|plane| plane.colour == Some(Colour::Green));
    let (first, second) = (greens.next()?, greens.next()?);
    let (a, b) = (&first.gain_e_per_dn, &second.gain_e_per_dn);
    let apart = (a.value.0 - b.value.0).abs();
    let share = 2.0 * apart / (a.value.0 + b.value.0);
    (apart > SIGMAS * a.uncertainty.0.hypot(b.uncertainty.0) && share > SHARE).then(|| {
        Caveat::new(
            "greens-differ",
            format!(
                "the two green planes have gains {:.1} % apart ({} and {}): they are read through different channels",
                100.0 * share,
                first.plane,
                second.plane
            ),
            "use the numbers of each green plane for itself; where one green is wanted, the mean of both is off by half as much",
        )
    })
}
