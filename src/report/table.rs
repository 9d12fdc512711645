//! Numbers in rows and columns: beside a picture, or for a spreadsheet.

/// Numbers under the names of their columns.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// Names of the columns, with units.
    pub head: Vec<String>,
    /// The cells, row by row.
    pub rows: Vec<Vec<String>>,
}
