//! Well-known deep-sky objects: where they stand, how large they are, and how bright where that means something.
//!
//! What shines in lines is in [`super::REGIONS`] and [`super::PLANETARIES`].
//!
//! Compiled from facts. Rows marked [`Source::OpenNgc`] have magnitude and size from the OpenNGC list (V and the
//! ellipse of the 25th magnitude); all other numbers are from memory, sizes rounded as observing lists print them.
//! Positions are from memory, good to some arcminutes.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use crate::units::{Arcseconds, Degrees, Magnitudes, MagnitudesPerSquareArcsecond};

use super::colour::ColourName;
use super::mean_surface_brightness;
use super::nebulae::{NebulaLines, PLANETARIES, REGIONS};

/// How far catalogues differ in a mean surface brightness: 0.3 to 0.8 mag, mostly by the size that they give.
pub const CATALOGUE_UNCERTAINTY: Magnitudes = Magnitudes(0.5);

/// What an object is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ObjectKind {
    /// Stars by the billion; its mean brightness is that of the ellipse, arms are fainter, the core is brighter.
    Galaxy,
    /// A globular cluster.
    Globular,
    /// An open cluster: stars one by one, no surface.
    OpenCluster,
    /// A planetary nebula.
    Planetary,
    /// Dust that scatters starlight.
    Reflection,
    /// Glowing gas; a magnitude over its catalogue size says nothing.
    Emission,
    /// What a star left: filaments of glowing gas.
    Remnant,
}

/// Where an entry's magnitude and size are from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// The OpenNGC list, seen.
    OpenNgc,
    /// From memory.
    Memory,
}

/// One object of the catalogue.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Object {
    /// Its names, the usual one first.
    pub names: &'static [&'static str],
    /// Right ascension, J2000.
    pub ra_deg: Degrees,
    /// Declination, J2000.
    pub dec_deg: Degrees,
    /// Whole axes in arcminutes, the longer one first.
    pub size_arcmin: [f64; 2],
    /// Integrated V magnitude, where one is printed.
    pub magnitude: Option<Magnitudes>,
    /// What it is.
    pub kind: ObjectKind,
    /// Where magnitude and size are from.
    pub source: Source,
    /// How bright its lines are, where that is known.
    pub lines: Option<NebulaLines>,
}

impl Object {
    /// The name it is usually called by.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.names.first().copied().unwrap_or_default()
    }

    /// Mean V surface brightness over the catalogue ellipse, good to [`CATALOGUE_UNCERTAINTY`].
    ///
    /// `None` for what shines in [lines](Object::lines), for open clusters, where magnitude over size says nothing, and for
    /// reflection nebulae whose printed magnitude is that of the star in them.
    #[must_use]
    pub fn surface_brightness(&self) -> Option<MagnitudesPerSquareArcsecond> {
        use ObjectKind::{Galaxy, Globular, Reflection};
        let meaningful = matches!(self.kind, Galaxy | Globular | Reflection);
        let [a, b] = self.size_arcmin.map(|side| Arcseconds(60.0 * side));
        self.magnitude.filter(|_| meaningful).map(|magnitude| mean_surface_brightness(magnitude, a, b))
    }

    /// The colour of its stars: an elliptical's, a spiral's, an irregular's; else its kind's.
    #[must_use]
    pub fn colour(&self) -> ColourName {
        const OLD: [&str; 9] = ["M32", "M84", "M86", "M87", "M104", "M110", "NGC 147", "NGC 185", "NGC 5128"];
        const YOUNG: [&str; 4] = ["NGC 55", "NGC 4236", "Large Magellanic Cloud", "Small Magellanic Cloud"];
        match self.kind {
            ObjectKind::Galaxy if OLD.contains(&self.name()) => ColourName::Elliptical,
            ObjectKind::Galaxy if YOUNG.contains(&self.name()) => ColourName::Irregular,
            ObjectKind::Galaxy => ColourName::Spiral,
            ObjectKind::Globular => ColourName::Globular,
            ObjectKind::OpenCluster => ColourName::StarCluster,
            ObjectKind::Reflection => ColourName::Reflection,
            ObjectKind::Planetary | ObjectKind::Emission | ObjectKind::Remnant => ColourName::HIi,
        }
    }
}

/// The object of this name; case, spaces, hyphens, leading zeros and "Messier" for M do not matter.
///
/// # Examples
/// ```
/// use subwell::target::object;
/// assert_eq!(object("ngc-0598").unwrap().name(), "M33");
/// assert_eq!(object("Messier 31").unwrap().name(), "M31");
/// assert!(object("my own nebula").is_none());
/// ```
#[must_use]
pub fn object(name: &str) -> Option<&'static Object> {
    static BY_NAME: OnceLock<BTreeMap<String, &'static Object>> = OnceLock::new();
    let names = || objects().flat_map(|object| object.names.iter().map(move |name| (plain(name), object))).collect();
    BY_NAME.get_or_init(names).get(&plain(name)).copied()
}

/// Every object that is known by name.
pub fn objects() -> impl Iterator<Item = &'static Object> {
    OBJECTS.iter().chain(REGIONS).chain(PLANETARIES)
}

/// The name of the catalogue that looks most like this one.
#[must_use]
pub(super) fn nearest_name(name: &str) -> &'static str {
    let name = plain(name);
    let likeness = |known: &&str| strsim::jaro_winkler(&plain(known), &name);
    let names = objects().flat_map(|object| object.names).copied();
    names.max_by(|a, b| likeness(a).total_cmp(&likeness(b))).unwrap_or_default()
}

/// A name without what people write differently.
fn plain(name: &str) -> String {
    let mut plain = String::new();
    for c in name.to_lowercase().chars().filter(|c| c.is_alphanumeric()) {
        let leading_zero = c == '0' && !plain.ends_with(|last: char| last.is_ascii_digit());
        if !leading_zero {
            plain.push(c);
        }
    }
    match plain.strip_prefix("messier") {
        Some(number) => format!("m{number}"),
        None => plain,
    }
}

const fn entry(
    kind: ObjectKind,
    names: &'static [&'static str],
    place: [f64; 2],
    size_arcmin: [f64; 2],
    magnitude: Option<f64>,
) -> Object {
    let magnitude = match magnitude {
        Some(magnitude) => Some(Magnitudes(magnitude)),
        None => None,
    };
    let [ra, dec] = place;
    let (ra_deg, dec_deg) = (Degrees(ra), Degrees(dec));
    Object { names, ra_deg, dec_deg, size_arcmin, magnitude, kind, source: Source::Memory, lines: None }
}

const fn galaxy(names: &'static [&'static str], place: [f64; 2], size: [f64; 2], magnitude: f64) -> Object {
    entry(ObjectKind::Galaxy, names, place, size, Some(magnitude))
}

/// A galaxy whose magnitude and size are OpenNGC's.
const fn listed(names: &'static [&'static str], place: [f64; 2], size: [f64; 2], magnitude: f64) -> Object {
    Object { source: Source::OpenNgc, ..galaxy(names, place, size, magnitude) }
}

const fn globular(names: &'static [&'static str], place: [f64; 2], diameter: f64, magnitude: f64) -> Object {
    entry(ObjectKind::Globular, names, place, [diameter, diameter], Some(magnitude))
}

const fn cluster(names: &'static [&'static str], place: [f64; 2], diameter: f64, magnitude: f64) -> Object {
    entry(ObjectKind::OpenCluster, names, place, [diameter, diameter], Some(magnitude))
}

const fn reflection(names: &'static [&'static str], place: [f64; 2], size: [f64; 2], magnitude: Option<f64>) -> Object {
    entry(ObjectKind::Reflection, names, place, size, magnitude)
}

const fn emission(names: &'static [&'static str], place: [f64; 2], size: [f64; 2]) -> Object {
    entry(ObjectKind::Emission, names, place, size, None)
}

/// Stars, dust, and the nebulae whose lines are not known: names, right ascension and declination in degrees, axes in arcminutes, V magnitude.
pub const OBJECTS: &[Object] = &[
    listed(&["M31", "NGC 224", "Andromeda Galaxy"], [10.685, 41.269], [177.83, 69.66], 3.44),
    galaxy(&["M32", "NGC 221"], [10.674, 40.865], [8.7, 6.5], 8.1),
    listed(&["M33", "NGC 598", "Triangulum Galaxy"], [23.462, 30.660], [62.09, 36.73], 5.79),
    listed(&["M51", "NGC 5194", "Whirlpool Galaxy"], [202.470, 47.195], [13.71, 11.67], 8.36),
    galaxy(&["M63", "NGC 5055", "Sunflower Galaxy"], [198.956, 42.029], [12.6, 7.2], 8.6),
    galaxy(&["M64", "NGC 4826", "Black Eye Galaxy"], [194.182, 21.683], [10.0, 5.4], 8.5),
    galaxy(&["M65", "NGC 3623"], [169.733, 13.092], [9.8, 2.9], 9.3),
    galaxy(&["M66", "NGC 3627"], [170.063, 12.992], [9.1, 4.2], 8.9),
    galaxy(&["M74", "NGC 628"], [24.174, 15.783], [10.5, 9.5], 9.4),
    galaxy(&["M77", "NGC 1068"], [40.670, -0.013], [7.1, 6.0], 8.9),
    listed(&["M81", "NGC 3031"], [148.888, 69.065], [21.63, 11.25], 6.92),
    galaxy(&["M82", "NGC 3034", "Cigar Galaxy"], [148.969, 69.680], [11.2, 4.3], 8.4),
    galaxy(&["M83", "NGC 5236"], [204.254, -29.866], [12.9, 11.5], 7.5),
    galaxy(&["M84", "NGC 4374"], [186.266, 12.887], [6.5, 5.6], 9.1),
    galaxy(&["M86", "NGC 4406"], [186.549, 12.946], [8.9, 5.8], 8.9),
    galaxy(&["M87", "NGC 4486"], [187.706, 12.391], [8.3, 6.6], 8.6),
    galaxy(&["M94", "NGC 4736"], [192.721, 41.120], [11.2, 9.1], 8.2),
    galaxy(&["M95", "NGC 3351"], [160.990, 11.704], [7.4, 5.0], 9.7),
    galaxy(&["M96", "NGC 3368"], [161.691, 11.820], [7.6, 5.2], 9.3),
    galaxy(&["M98", "NGC 4192"], [183.451, 14.900], [9.8, 2.8], 10.1),
    galaxy(&["M99", "NGC 4254"], [184.707, 14.416], [5.4, 4.7], 9.9),
    galaxy(&["M100", "NGC 4321"], [185.729, 15.822], [7.4, 6.3], 9.3),
    listed(&["M101", "NGC 5457", "Pinwheel Galaxy"], [210.802, 54.349], [23.99, 23.07], 7.90),
    listed(&["M104", "NGC 4594", "Sombrero Galaxy"], [189.998, -11.623], [8.45, 4.91], 8.59),
    galaxy(&["M106", "NGC 4258"], [184.740, 47.304], [18.6, 7.2], 8.4),
    galaxy(&["M108", "NGC 3556"], [167.879, 55.674], [8.7, 2.2], 10.0),
    galaxy(&["M109", "NGC 3992"], [179.400, 53.375], [7.6, 4.7], 9.8),
    galaxy(&["M110", "NGC 205"], [10.092, 41.685], [21.9, 11.0], 8.1),
    galaxy(&["NGC 55"], [3.723, -39.197], [32.4, 5.6], 7.9),
    galaxy(&["NGC 147"], [8.301, 48.509], [13.2, 7.8], 9.5),
    galaxy(&["NGC 185"], [9.742, 48.337], [11.7, 10.0], 9.2),
    galaxy(&["NGC 253", "Sculptor Galaxy"], [11.888, -25.288], [27.5, 6.8], 7.2),
    galaxy(&["NGC 300"], [13.723, -37.684], [21.9, 15.5], 8.1),
    galaxy(&["NGC 891"], [35.639, 42.349], [13.5, 2.5], 9.9),
    galaxy(&["NGC 925"], [36.820, 33.579], [10.5, 5.9], 10.1),
    galaxy(&["NGC 1365"], [53.402, -36.140], [11.2, 6.2], 9.6),
    galaxy(&["NGC 2403"], [114.214, 65.603], [21.9, 12.3], 8.5),
    galaxy(&["NGC 2841"], [140.511, 50.977], [8.1, 3.5], 9.2),
    galaxy(&["NGC 2903"], [143.042, 21.501], [12.6, 6.0], 9.0),
    galaxy(&["NGC 3184"], [154.570, 41.424], [7.4, 6.9], 9.8),
    galaxy(&["NGC 3521"], [166.452, -0.036], [11.0, 5.1], 9.0),
    galaxy(&["NGC 3628"], [170.071, 13.590], [14.8, 3.0], 9.5),
    galaxy(&["NGC 4236"], [184.176, 69.463], [21.9, 7.2], 9.6),
    galaxy(&["NGC 4244"], [184.374, 37.807], [16.6, 1.9], 10.2),
    galaxy(&["NGC 4565", "Needle Galaxy"], [189.087, 25.988], [15.9, 1.9], 9.6),
    galaxy(&["NGC 4631", "Whale Galaxy"], [190.533, 32.542], [15.5, 2.7], 9.2),
    galaxy(&["NGC 4725"], [192.611, 25.501], [10.7, 7.6], 9.4),
    galaxy(&["NGC 4945"], [196.364, -49.468], [20.0, 3.8], 8.6),
    galaxy(&["NGC 5128", "Centaurus A"], [201.365, -43.019], [25.7, 20.0], 6.8),
    galaxy(&["NGC 5907"], [228.974, 56.329], [12.8, 1.4], 10.3),
    galaxy(&["NGC 6744"], [287.442, -63.857], [20.1, 12.9], 8.5),
    galaxy(&["NGC 6946", "Fireworks Galaxy"], [308.718, 60.154], [11.5, 9.8], 8.8),
    galaxy(&["NGC 7331"], [339.267, 34.416], [10.5, 3.7], 9.5),
    galaxy(&["NGC 7793"], [359.458, -32.591], [9.3, 6.3], 9.1),
    galaxy(&["IC 342"], [56.702, 68.096], [21.4, 20.9], 8.4),
    galaxy(&["Large Magellanic Cloud", "LMC"], [80.894, -69.756], [645.0, 550.0], 0.4),
    galaxy(&["Small Magellanic Cloud", "SMC"], [13.158, -72.800], [319.0, 205.0], 2.3),
    globular(&["M2", "NGC 7089"], [323.363, -0.823], 16.0, 6.5),
    globular(&["M3", "NGC 5272"], [205.548, 28.377], 18.0, 6.2),
    globular(&["M4", "NGC 6121"], [245.897, -26.526], 36.0, 5.6),
    globular(&["M5", "NGC 5904"], [229.638, 2.081], 23.0, 5.6),
    globular(&["M10", "NGC 6254"], [254.288, -4.100], 20.0, 6.6),
    globular(&["M12", "NGC 6218"], [251.809, -1.949], 16.0, 6.7),
    globular(&["M13", "NGC 6205", "Hercules Cluster"], [250.424, 36.461], 20.0, 5.8),
    globular(&["M15", "NGC 7078"], [322.493, 12.167], 18.0, 6.2),
    globular(&["M22", "NGC 6656"], [279.100, -23.905], 32.0, 5.1),
    globular(&["M53", "NGC 5024"], [198.230, 18.168], 13.0, 7.6),
    globular(&["M55", "NGC 6809"], [294.999, -30.965], 19.0, 6.3),
    globular(&["M92", "NGC 6341"], [259.281, 43.136], 14.0, 6.4),
    globular(&["NGC 104", "47 Tucanae"], [6.024, -72.081], 50.0, 4.0),
    globular(&["NGC 5139", "Omega Centauri"], [201.697, -47.480], 55.0, 3.9),
    cluster(&["M7", "NGC 6475"], [268.46, -34.79], 80.0, 3.3),
    cluster(&["M11", "NGC 6705", "Wild Duck Cluster"], [282.77, -6.27], 14.0, 5.8),
    cluster(&["M35", "NGC 2168"], [92.24, 24.33], 28.0, 5.1),
    cluster(&["M36", "NGC 1960"], [84.08, 34.14], 12.0, 6.0),
    cluster(&["M37", "NGC 2099"], [88.07, 32.55], 24.0, 5.6),
    cluster(&["M38", "NGC 1912"], [82.18, 35.85], 21.0, 6.4),
    cluster(&["M44", "NGC 2632", "Beehive Cluster", "Praesepe"], [130.10, 19.67], 95.0, 3.1),
    cluster(&["M52", "NGC 7654"], [351.20, 61.59], 13.0, 6.9),
    cluster(&["M67", "NGC 2682"], [132.83, 11.81], 30.0, 6.9),
    cluster(&["NGC 869", "Double Cluster"], [34.75, 57.13], 30.0, 4.3),
    reflection(&["M45", "Pleiades"], [56.75, 24.12], [110.0, 110.0], None),
    reflection(&["M78", "NGC 2068"], [86.69, 0.08], [8.0, 6.0], Some(8.3)),
    reflection(&["NGC 1333"], [52.23, 31.37], [6.0, 3.0], None),
    reflection(&["NGC 7023", "Iris Nebula"], [315.40, 68.16], [18.0, 18.0], None),
    reflection(&["NGC 7129"], [325.70, 66.10], [7.0, 7.0], None),
    emission(&["IC 5146", "Cocoon Nebula"], [328.37, 47.27], [12.0, 12.0]),
];

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_object_is_on_the_sky_and_of_a_size() {
        assert!(objects().count() > 160, "{}", objects().count());
        for object in objects() {
            let [a, b] = object.size_arcmin;
            let name = object.name();
            assert!((0.0..360.0).contains(&object.ra_deg.0) && object.dec_deg.0.abs() < 90.0, "{name}");
            assert!(b > 0.0 && a >= b && a < 1000.0, "{name}");
            assert!(object.magnitude.is_none_or(|m| (0.0..12.0).contains(&m.0)), "{name}");
        }
    }

    #[test]
    fn no_name_and_no_place_is_there_twice() {
        let mut seen = BTreeSet::new();
        for name in objects().flat_map(|object| object.names) {
            assert!(seen.insert(plain(name)), "{name} twice");
        }
        for (i, a) in objects().enumerate() {
            for b in objects().skip(i + 1) {
                let along = (a.ra_deg - b.ra_deg).0 * a.dec_deg.radians().cos();
                // The Squid lies in the Flying Bat.
                assert!(along.hypot((a.dec_deg - b.dec_deg).0) > 0.03, "{} and {}", a.name(), b.name());
            }
        }
    }

    #[test]
    fn surface_brightness_is_that_of_something_faint_or_none() {
        for object in objects() {
            let Some(brightness) = object.surface_brightness() else { continue };
            assert!((17.5..24.5).contains(&brightness.0), "{} {}", object.name(), brightness.0);
        }
        assert_eq!(object("NGC 7000").unwrap().surface_brightness(), None);
        assert_eq!(object("M45").unwrap().surface_brightness(), None);
    }

    #[test]
    fn a_slip_gets_the_nearest_name() {
        assert_eq!(nearest_name("Andromeda Galaxi"), "Andromeda Galaxy");
    }
}
