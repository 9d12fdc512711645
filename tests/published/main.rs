//! Numbers that others published or computed, one file for each source.

mod emva_1288;
mod nist_strd;
mod photon_transfer;
