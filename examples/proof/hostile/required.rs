//! Which worlds must pass: the one place to say so.

/// Names of the worlds whose failure fails the proof.
pub(crate) const REQUIRED: &[&str] = &[
    "colour array without BAYERPAT, 10 % apart",
    "flats at one level, the lamp drifts 0.5 %",
    "vignetted ladder up to saturation",
    "one exposure, dimmed lamp, vignetted",
    "flicker bands of 2 %",
    "response with a slope",
    "response under coupled neighbours",
    "typed gain that flats contradict",
    "dust moves between pairs",
    "leaf shutter, short flats",
    "two converters, even and odd columns",
    "darks of a steady sensor",
    "darks interleaved, +0.1 to 0.4 K a frame, told",
    "darks interleaved, +0.25 K a frame, no header",
    "dark current of 0.0001 e⁻/s",
    "three exposures, each its own temperature",
    "row noise",
    "black clipped at 0",
    "residual image after a saturated flat",
    "cooler settles, rising, told",
    "headers name temperatures that the sensor does not have",
    "headers name temperatures with the wrong sign",
    "darks clipped at 0",
    "level jumps by 3 DN from frame to frame",
];
