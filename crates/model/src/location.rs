//! A location in a file of any format, as messages, findings and problems state it.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Where a value is in the file it was read from.
///
/// ```
/// use obvert_model::Location;
/// let location = Location { file: "survey.json".into(), line: 12, column: Some(7), heading: None };
/// assert_eq!(location.to_string(), "survey.json:12:7");
/// ```
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub struct Location {
    /// The file; the sheet for a workbook, the table for a GeoPackage.
    pub file: String,
    /// Line, from 1; the row of a sheet, the primary key in a table.
    pub line: usize,
    /// Column in characters, or the number of the column in a CSV file, sheet or table, from 1.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub column: Option<usize>,
    /// The heading of that column.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub heading: Option<String>,
}

impl fmt::Display for Location {
    /// The format of compiler messages, so that editors and terminals can jump to it:
    /// `survey.json:12:7`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.file, self.line)?;
        if let Some(column) = self.column {
            write!(f, ":{column}")?;
        }
        match &self.heading {
            Some(heading) => write!(f, " (column {heading})"),
            None => Ok(()),
        }
    }
}
