//! JSON lines, for pipelines that read one finding at a time.
//!
//! The first line is the report without its findings. Then comes one finding per line, in the
//! report's order. The last line shows that the file is complete. Every line is an object whose
//! `line` is `report`, `finding` or `end`.
//!
//! ```
//! use obvert_check::{Checker, MINIMAL, Settings, output};
//!
//! let report = Checker::new(Settings::default())?.check(MINIMAL.as_bytes())?;
//! let mut lines = Vec::new();
//! output::jsonl::write(&report, &mut lines)?;
//! assert_eq!(String::from_utf8(lines)?.lines().count(), 2);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::io::{self, Write};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use crate::finding::Finding;
use crate::report::{Report, Totals};

/// A line. Read a line with `serde_json::from_str`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "line", rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Line {
    /// The first line: the report with empty `findings`.
    Report(Box<Report>),
    /// A finding.
    Finding(Box<Finding>),
    /// The last line. If it is missing, the file is incomplete.
    End(End),
}

/// The last line.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct End {
    /// How many lines of findings there were.
    pub listed: usize,
    /// Findings by severity, exact whether listed or not.
    pub totals: Totals,
}

/// Writes a report as JSON lines.
///
/// # Errors
/// If the sink fails.
pub fn write(report: &Report, sink: &mut dyn Write) -> io::Result<()> {
    let mut head = report.clone();
    head.findings = Vec::new();
    line(sink, "report", &head)?;
    for finding in &report.findings {
        line(sink, "finding", finding)?;
    }
    line(sink, "end", &End { listed: report.findings.len(), totals: report.totals })
}

/// The schema of a line.
#[must_use]
pub fn schema() -> Value {
    let mut lines = Vec::new();
    if let Some(report) = crate::report::example::report() {
        // Writing to memory cannot fail.
        let _ = write(&report, &mut lines);
    }
    let examples =
        lines.split(|byte| *byte == b'\n').filter_map(|line| serde_json::from_slice(line).ok());
    obvert_model::schema::of::<Line>(
        "report-line",
        "A line of a report of a check in JSON lines",
        examples.collect(),
    )
}

fn line(sink: &mut dyn Write, kind: &str, value: &impl Serialize) -> io::Result<()> {
    let mut object = Map::new();
    object.insert("line".to_owned(), kind.into());
    if let Value::Object(fields) = serde_json::to_value(value)? {
        object.extend(fields);
    }
    serde_json::to_writer(&mut *sink, &object)?;
    sink.write_all(b"\n")
}
