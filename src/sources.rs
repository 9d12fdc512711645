//! Where the formulas and constants come from, and which of these texts were read.
//!
//! The key is what the doc comments of the formulas cite. "From memory" means that nobody looked it up: a test beside the formula
//! checks it against something else where that was possible.
//!
//! | key | reference | what we took | seen? |
//! |---|---|---|---|
//! | EMVA 1288 R4 | EMVA Standard 1288, Release 4.0 Linear, 2021 | model, pair and spatial variances, threshold, dynamic range, linearity, 0.24 DN² limit | formulas as quoted by secondary texts; the standard itself not read |
//! | EMVA 1288 R3.1 | the same, Release 3.1, 2016 | older forms, for comparison | as above |
//! | Janesick 2001, 2007 | J. R. Janesick, Scientific Charge-Coupled Devices; Photon Transfer (SPIE) | photon transfer, generation in the depletion region | from memory |
//! | Astier 2019 | P. Astier et al., A&A 629 A36 | curvature of the transfer curve | abstract read, formulas from memory |
//! | Howell 2000 | S. B. Howell, Handbook of CCD Astronomy | CCD equation and its worked example, pp 56–57 | values as quoted |
//! | Merline & Howell 1995 | Experimental Astronomy 6 | digitisation term of the CCD equation | topic only |
//! | Bessell 1998 | Bessell, Castelli & Plez, A&A 333, 231 | photon zero points | values as quoted |
//! | Kasten & Young 1989 | Applied Optics 28, 4735 | airmass | formula, checked against a general-purpose library's table |
//! | Falchi 2016 | Science Advances 2, e1600377 | natural sky brightness | text read |
//! | Krisciunas & Schaefer 1991; Schaefer 1990 | PASP 103, 1033; PASP 102, 212 | sky scales, limiting magnitude | constants from memory |
//! | Patat 2003 | A&A 400, 1183 | sky and extinction at a dark site; the natural sky against zenith distance | values and formula as quoted |
//! | Moonlight | Krisciunas & Schaefer 1991, PASP 103, 1033 | scattered moonlight, both airmasses, the full Moon's surge | equations as quoted twice, surge from memory |
//! | Patat, Ugolnikov & Postylyakov 2006 | A&A 455, 385 | brightness of the zenith in twilight, Sun at −5 to −15° | coefficients from memory, scale from the abstract |
//! | SOFA | IAU Standards of Fundamental Astronomy, through the `sofars` library | Sun, Moon, precession, nutation, sidereal time | used, not read; compared with astropy 8.0.2 |
//! | Leinert 1998 | A&AS 127, 1 | the rayleigh | definition |
//! | OpenNGC | the NGC/IC list of that name | V and size of six galaxies in the catalogue; positions, as a check | values as quoted, positions through pyongc 1.2.2; the rest of the catalogue from memory |
//! | Haffner 2003 | ApJS 149, 405; the sky survey in Hα, release of 2016 | Hα of nebulae | beams read from the survey's data |
//! | Acker 1992 | Strasbourg-ESO Catalogue of Galactic Planetary Nebulae | fluxes in Hβ and diameters | values as quoted |
//! | Ballesteros 2012 | EPL 97, 34008 | a star's temperature from its B−V | from memory, checked against the solar spectrum |
//! | Roberts & Haynes 1994 | ARA&A 32, 115 | colours of galaxies by type | from memory |
//! | CIE 15:2018 | illuminants HP1, LED-B2, LED-B3 | colours of lamps in the trade's filters | values computed elsewhere; the curves through them drawn here |
//! | Sánchez de Miguel 2017; den Outer 2011 | MNRAS 467, 2966; Sensors 11, 9603 | sky meters against V, their scatter | abstracts |
//! | Trujillo 2001 | MNRAS 328, 977 | wings of star images | from memory |
//! | NIST StRD | NIST Statistical Reference Datasets | NumAcc1, NumAcc2 | from memory, provable by hand |
//! | Birge 1932 | Physical Review 40, 207 | the ratio that widens | from memory |
//! | Welch 1947; Satterthwaite 1946 | Biometrika 34, 28; Biometrics Bulletin 2, 110 | degrees of freedom of unequal scatter | from memory |
//! | Šidák 1967 | JASA 62, 626 | limit for many numbers | from memory |
//! | Shapley 1953 | A value for n-person games | a split whose parts add up | from memory |
//! | Pickering 2002 | DIO 12 | airmass from the apparent altitude | formula as quoted |
//! | APE 6 | Astropy Proposal for Enhancement 6, ECSV 1.0 | the exported points | from memory, read back with astropy 8.0.2 |
//! | JCGM 101 | Supplement 1 to the Guide | standard uncertainty of a Student's t | from memory |
//! | JCGM 100 | Guide to the Expression of Uncertainty in Measurement | words and rules for uncertainty | from memory |
//! | Welford 1962 | Technometrics 4, 419 | running variance | from memory |
//! | DNG 1.7 | Digital Negative Specification | NoiseProfile, MaskedAreas | from memory |
//! | Shiffler 1988 | The American Statistician 42, 79 | frames that rejection needs | from memory |
//! | RFC 5545; FNV-1a | iCalendar; a hash | the calendar file and its names of events | from memory; read back by two libraries |
//! | Interference filters; emission measure | origin unknown | shift of a window in a fast beam; rayleighs of ionised gas | from memory |
//! | CODATA 2018 | Boltzmann's constant | exact | from memory |
