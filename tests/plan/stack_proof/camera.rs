//! The made-up camera of the proofs, monochrome or with a colour array.

use subwell::camera::CameraProfile;

pub(crate) fn camera(colour: bool) -> CameraProfile {
    let plane = |name: &str, colour: &str, sampling: f64| {
        format!(
            "[[modes.planes]]\nplane = \"{name}\"\n{colour}sampling = {sampling}\ngain_e_per_dn = 0.3\noffset_dn = 500.0\n\
             read_noise_e = 1.8\nsaturation_e = 15000.0\ndsnu_e = 0.8\nprnu_percent = 0.6\n\
             [[modes.planes.dark_current]]\nsensor_c = -10.0\ne_per_s = 0.008\nnonuniformity_percent = 50.0\n\
             [modes.planes.thermal]\nactivation_ev = 0.62\ndoubling_k_at_0_c = 7.0\nreference_c = -10.0\n\
             reference_e_per_s = 0.0075\nfloor_e_per_s = 0.0005\nmeasured_c = [-20.0, 25.0]\n"
        )
    };
    let head = "camera = \"Made up\"\nprovenance = \"published\"\nsource = \"made up for the tests\"\n[[modes]]\n\
                pixel_um = 3.8\nwidth_px = 6000\nheight_px = 4000\ndn_step = 4\n";
    let planes = if colour {
        let of = |name: &str, letter: char, share: f64| plane(name, &format!("colour = \"{letter}\"\n"), share);
        [of("r0c0", 'R', 0.25), of("r0c1", 'G', 0.5), of("r1c0", 'G', 0.5), of("r1c1", 'B', 0.25)].concat()
    } else {
        plane("mono", "", 1.0)
    };
    CameraProfile::from_toml(&(head.to_owned() + &planes)).expect("a profile")
}
