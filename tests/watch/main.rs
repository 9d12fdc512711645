//! `subwell watch`: a folder that fills, the stack that grows, and what is said of it.

mod advice;
mod campaign;
#[cfg(unix)]
mod feeding;
mod growing;
mod strangers;

#[path = "../support/mod.rs"]
mod support;

/// A camera with one gain setting, of so many pixels.
fn camera(width: usize, height: usize, read_noise_e: f64) -> String {
    format!(
        "camera = \"made up\"\nprovenance = \"published\"\nsource = \"invented\"\n[[modes]]\ngain_setting = 100\n\
         pixel_um = 3.8\nwidth_px = {width}\nheight_px = {height}\n[[modes.planes]]\nplane = \"mono\"\n\
         gain_e_per_dn = {{ value = 0.8, uncertainty = 0.008 }}\noffset_dn = {{ value = 240.0, uncertainty = 0.1 }}\n\
         read_noise_e = {{ value = {read_noise_e:?}, uncertainty = 0.02 }}\nsaturation_e = 13000.0\n\
         [[modes.planes.dark_current]]\nsensor_c = -10.0\ne_per_s = {{ value = 0.0073, uncertainty = 0.0003 }}\n"
    )
}
