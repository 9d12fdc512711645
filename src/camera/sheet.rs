//! A colour camera typed from a data sheet: four planes of one.

use crate::units::{CfaPattern, Colour};

use super::{CameraProfile, Mode, Plane, PlaneName, ProfileError, SheetColours};

/// The profile with all planes written out.
pub(super) fn written_out(mut profile: CameraProfile) -> Result<CameraProfile, ProfileError> {
    profile.modes.iter_mut().try_for_each(planes_of_colours)?;
    Ok(profile)
}

fn planes_of_colours(mode: &mut Mode) -> Result<(), ProfileError> {
    let Some(colours) = mode.colours.take() else { return Ok(()) };
    let impossible = |why: String| Err(ProfileError::Impossible { what: "modes.colours".into(), why });
    let Some(pattern) = CfaPattern::from_name(&colours.pattern) else {
        let known = CfaPattern::ALL.map(CfaPattern::name).join(", ");
        return impossible(format!("has the pattern `{}`, and it is one of {known}", colours.pattern));
    };
    let peaks = [colours.red, colours.green, colours.blue].iter().flatten().count();
    if ![0, 3].contains(&peaks) {
        return impossible(format!("has {peaks} of R, G and B: give the peaks of all three, or of none"));
    }
    let [plane] = mode.planes.as_slice() else {
        return impossible(format!("stands for four planes like one, and {} are given", mode.planes.len()));
    };
    if plane.plane != PlaneName::Mono {
        return impossible(format!("stands for four planes like one, and that is called {}", plane.plane));
    }
    let cell = [(0, 0), (0, 1), (1, 0), (1, 1)];
    mode.planes =
        cell.map(|(row, column)| plane_of(plane, &colours, (row, column), pattern.colour(row, column))).into();
    Ok(())
}

fn plane_of(plane: &Plane, colours: &SheetColours, (row, column): (usize, usize), colour: Colour) -> Plane {
    let efficiency = match colour {
        Colour::Red => colours.red,
        Colour::Green => colours.green,
        Colour::Blue => colours.blue,
    };
    Plane {
        plane: PlaneName::from_cell(row, column),
        colour: Some(colour),
        sampling: colour.sampling(),
        quantum_efficiency: efficiency.or(plane.quantum_efficiency),
        ..plane.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHEET: &str = r#"
camera = "Plover 62 C"
provenance = "published"
[[modes]]
pixel_um = 3.8
width_px = 4000
height_px = 3000
colours = { pattern = "GRBG", R = 0.5, G = 0.7, B = 0.6 }
planes = [{ gain_e_per_dn = 0.8, read_noise_e = 1.6, saturation_e = 14000.0 }]
"#;

    #[test]
    fn one_plane_and_a_pattern_are_four_planes() {
        let profile = CameraProfile::from_toml(SHEET).unwrap();
        let said = |plane: &Plane| (plane.plane.to_string(), plane.colour, plane.sampling, plane.quantum_efficiency);
        let planes: Vec<_> = profile.modes[0].planes.iter().map(said).collect();
        let expected = [
            ("r0c0", Colour::Green, 0.5, 0.7),
            ("r0c1", Colour::Red, 0.25, 0.5),
            ("r1c0", Colour::Blue, 0.25, 0.6),
            ("r1c1", Colour::Green, 0.5, 0.7),
        ];
        let expected = expected.map(|(name, colour, share, peak)| (name.to_owned(), Some(colour), share, Some(peak)));
        assert_eq!(planes, expected);
        assert_eq!(CameraProfile::from_toml(&profile.to_toml().unwrap()).unwrap(), profile);
    }

    #[test]
    fn a_pattern_that_is_none_and_planes_beside_it_are_refused() {
        for (good, bad) in [("GRBG", "GRGB"), ("planes = [{", "planes = [{ plane = \"r0c0\","), ("R = 0.5", "R = 50")] {
            let error = CameraProfile::from_toml(&SHEET.replace(good, bad)).unwrap_err().to_string();
            assert!(error.contains("colours") || error.contains("quantum_efficiency"), "{error}");
        }
    }
}
