//! Numbers that others published, one file for each source.

mod ccd_equation;
