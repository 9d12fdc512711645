//! Numbers that others published or computed, one file for each source.

mod ab_magnitudes;
mod astropy_night;
mod bessell_1998;
mod bodhaine_1999;
mod ccd_equation;
mod day_arc;
mod emva_1288;
mod falchi_2016;
mod fast_beam;
mod kasten_young_1989;
mod krisciunas_schaefer_1991;
mod leinert_1998;
mod nist_strd;
mod openngc;
mod patat_2003;
mod patat_2006;
mod photon_transfer;
mod pickering_2002;
mod polar_axis;
mod schaefer_1990;
mod star_images;
mod sub_length;
mod surface_brightness;
mod throughput;
