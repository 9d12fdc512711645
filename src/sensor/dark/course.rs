//! When the frames were taken, as smooth courses that a drift may follow.

/// Courses that a drift is made of: Legendre's polynomials from the first to this degree.
pub(super) const COURSES: usize = 4;
/// How large each is expected to be beside the first: what settles is smooth.
pub(super) const SMOOTHNESS: [f64; COURSES] = [1.0, 0.5, 0.25, 0.125];

/// The courses at each frame, the mean over the frames taken off: what a drift does to the middle frame is no drift.
///
/// ```text
/// P₁ = u,  P₂ = (3u² − 1)/2,  P₃ = (5u³ − 3u)/2,  P₄ = (35u⁴ − 30u² + 3)/8,   u = −1 … 1 from first to last
/// ```
///
/// Any table of orthogonal polynomials.
pub(super) fn courses(clock: &[f64]) -> Vec<[f64; COURSES]> {
    let low = clock.iter().copied().fold(f64::INFINITY, f64::min);
    let high = clock.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let along = |at: f64| if high > low { 2.0 * (at - low) / (high - low) - 1.0 } else { 0.0 };
    let of = |u: f64| {
        let square = u * u;
        [u, (3.0 * square - 1.0) / 2.0, u * (5.0 * square - 3.0) / 2.0, ((35.0 * square - 30.0) * square + 3.0) / 8.0]
    };
    let mut all: Vec<[f64; COURSES]> = clock.iter().map(|&at| of(along(at))).collect();
    for course in 0..COURSES {
        let mean = all.iter().map(|values| values[course]).sum::<f64>() / all.len().max(1) as f64;
        all.iter_mut().for_each(|values| values[course] -= mean);
    }
    all
}

/// The clocks that a drift may follow: the time, and the number of the frame, as reading a frame heats too.
pub(super) fn clocks(clock: &[f64]) -> Vec<Vec<f64>> {
    let numbers: Vec<f64> = clock.iter().map(|at| clock.iter().filter(|other| *other < at).count() as f64).collect();
    let moves = clock.iter().any(|at| *at != clock[0]);
    if moves { vec![clock.to_vec(), numbers] } else { Vec::new() }
}
