//! What a camera's data sheet says and a night leaves out.

use crate::camera::{CameraProfile, Plane};
use crate::rig::{ColourEfficiencies, QuantumEfficiency};
use crate::units::Colour;

use super::Night;

impl Night {
    /// The night beside its camera: filters without a quantum efficiency have that of the camera's data sheet.
    ///
    /// Files are read so; who makes nights by hand calls it.
    #[must_use]
    pub fn beside(mut self, camera: &CameraProfile) -> Self {
        let Some(mode) = camera.modes.first() else { return self };
        let Some(peak) = peak(&mode.planes) else { return self };
        self.filters = self.filters(mode.planes.iter().any(|plane| plane.colour.is_some()));
        for filter in &mut self.filters {
            filter.quantum_efficiency = filter.quantum_efficiency.or(Some(peak));
        }
        self
    }
}

/// The peak of a monochrome sensor, or of each colour; `None` where the profile lacks one.
fn peak(planes: &[Plane]) -> Option<QuantumEfficiency> {
    let of = |colour: Colour| planes.iter().find(|plane| plane.colour == Some(colour))?.quantum_efficiency;
    if planes.iter().all(|plane| plane.colour.is_none()) {
        return planes.first()?.quantum_efficiency.map(QuantumEfficiency::One);
    }
    let (red, green, blue) = (of(Colour::Red)?, of(Colour::Green)?, of(Colour::Blue)?);
    Some(QuantumEfficiency::Colours(ColourEfficiencies { red, green, blue }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn filters_have_the_efficiency_of_the_data_sheet_unless_they_say_one() {
        let sheet = r#"
            camera = "Plover 62 C"
            provenance = "published"
            [[modes]]
            width_px = 4000
            height_px = 3000
            colours = { pattern = "RGGB", R = 0.5, G = 0.7, B = 0.6 }
            planes = [{ gain_e_per_dn = 0.8, read_noise_e = 1.6, saturation_e = 14000.0 }]
        "#;
        let camera = CameraProfile::from_toml(sheet).unwrap();
        let night = |filters: &str| {
            let text = "[optics]\naperture_mm = 80.0\nfocal_length_mm = 400.0\n[target]\nline_rayleigh = 30.0\n";
            Night::from_toml(&format!("{text}{filters}")).unwrap().beside(&camera)
        };
        let of_sheet = Some(QuantumEfficiency::Colours(ColourEfficiencies { red: 0.5, green: 0.7, blue: 0.6 }));
        let bare = night("");
        assert_eq!((bare.filters[0].label().as_str(), bare.filters[0].quantum_efficiency), ("none", of_sheet));
        let two = night("[[filters]]\nname = \"dual\"\n[[filters]]\nname = \"none\"\nquantum_efficiency = 0.3\n");
        assert_eq!(two.filters[0].quantum_efficiency, of_sheet);
        assert_eq!(two.filters[1].quantum_efficiency, Some(QuantumEfficiency::One(0.3)));
        let measured = CameraProfile::from_toml(&sheet.replace(", R = 0.5, G = 0.7, B = 0.6", "")).unwrap();
        assert_eq!(Night { filters: Vec::new(), ..bare }.beside(&measured).filters, []);
    }
}
