//! A table for a spreadsheet (RFC 4180): one row per finding, and rows for what could not be read,
//! was not run or is not listed.
//!
//! Texts come from the survey. A cell that a spreadsheet would read as a formula gets an apostrophe
//! in front. Source: OWASP, CSV Injection (cells that begin with `=`, `+`, `-`, `@`, tab, carriage
//! return, line feed). Numbers are not changed.

use std::io::{self, Write};

use serde_json::Value;

use super::{advice_on, name_of, unlisted};
use crate::report::Report;

/// The column headings.
pub const HEADINGS: [&str; 20] = [
    "entry",
    "severity",
    "rule",
    "message",
    "what_to_do",
    "document",
    "file",
    "line",
    "column",
    "heading",
    "path",
    "pipe",
    "run",
    "observation",
    "record",
    "distance",
    "unit",
    "facts",
    "fix",
    "fix_does",
];

/// Writes a report as a table.
///
/// # Errors
/// If the sink fails.
pub fn write(report: &Report, sink: &mut dyn Write) -> io::Result<()> {
    let mut table = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(sink);
    table.write_record(HEADINGS)?;
    let mut row =
        |cells: [&str; HEADINGS.len()]| table.write_record(cells.iter().map(|cell| harmless(cell)));
    for document in &report.documents {
        if let Some(error) = &document.error {
            let mut cells = [""; HEADINGS.len()];
            (cells[0], cells[1], cells[3], cells[5]) =
                ("not-read", "error", error, name_of(document));
            row(cells)?;
        }
    }
    if let Some(profile) = &report.profile {
        let message = format!(
            "checked against the profile {} {}, {}",
            profile.id, profile.version, profile.digest
        );
        let mut cells = [""; HEADINGS.len()];
        (cells[0], cells[3]) = ("profile", &message);
        row(cells)?;
    }
    for held in &report.suppressed {
        let document = report.documents.get(held.document).map(name_of).unwrap_or_default();
        let (count, entry) =
            (held.count.to_string(), if held.expired { "suppression-ended" } else { "suppressed" });
        let mut cells = [""; HEADINGS.len()];
        (cells[0], cells[2], cells[3], cells[5], cells[17]) =
            (entry, &held.rule, &held.reason, document, &count);
        row(cells)?;
    }
    for not_run in &report.not_run {
        for document in not_run.documents.iter().filter_map(|index| report.documents.get(*index)) {
            for rule in &not_run.rules {
                let mut cells = [""; HEADINGS.len()];
                (cells[0], cells[2], cells[3], cells[5]) =
                    ("not-run", rule, &not_run.why, name_of(document));
                row(cells)?;
            }
        }
    }
    for idle in &report.idle {
        for document in idle.documents.iter().filter_map(|index| report.documents.get(*index)) {
            for rule in &idle.rules {
                let mut cells = [""; HEADINGS.len()];
                (cells[0], cells[2], cells[3], cells[5]) =
                    ("not-needed", rule, &idle.why, name_of(document));
                row(cells)?;
            }
        }
    }
    for document in &report.documents {
        if let Some(said) = document.incomplete() {
            let mut cells = [""; HEADINGS.len()];
            (cells[0], cells[3], cells[5]) = ("part-not-read", &said, name_of(document));
            row(cells)?;
        }
    }
    for (rule, listed, total) in unlisted(report) {
        let message = format!("{listed} of {total} findings are listed");
        let mut cells = [""; HEADINGS.len()];
        (cells[0], cells[2], cells[3]) = ("not-listed", rule, &message);
        row(cells)?;
    }
    if let Some(baseline) = &report.baseline {
        let message = format!(
            "compared with an earlier report: {} already known, {} resolved",
            baseline.known, baseline.gone
        );
        let mut cells = [""; HEADINGS.len()];
        (cells[0], cells[3]) = ("baseline", &message);
        row(cells)?;
    }
    for finding in &report.findings {
        let document = report.documents.get(finding.document);
        let help =
            finding.help.clone().or_else(|| advice_on(report, &finding.rule)).unwrap_or_default();
        let at = finding.at.as_ref();
        let text =
            |number: Option<usize>| number.map(|number| number.to_string()).unwrap_or_default();
        let facts = match finding.params.is_empty() {
            true => String::new(),
            false => Value::from_iter(finding.params.clone()).to_string(),
        };
        let id = |id: &'_ Option<String>| id.clone().unwrap_or_default();
        row([
            "finding",
            finding.severity.as_str(),
            &finding.rule,
            &finding.message,
            &help,
            document.map_or("", name_of),
            at.map_or("", |at| &at.file),
            &text(at.map(|at| at.line)),
            &text(at.and_then(|at| at.column)),
            at.and_then(|at| at.heading.as_deref()).unwrap_or_default(),
            &finding.subject.path,
            &id(&finding.subject.pipe),
            &id(&finding.subject.run),
            &id(&finding.subject.observation),
            &id(&finding.subject.record),
            &finding.subject.distance.map(|distance| distance.to_string()).unwrap_or_default(),
            finding
                .subject
                .distance
                .and(document.and_then(|document| document.length_unit.as_deref()))
                .unwrap_or_default(),
            &facts,
            finding.fix.as_ref().map_or("", |fix| if fix.safe { "safe" } else { "to-confirm" }),
            finding.fix.as_ref().map_or("", |fix| &fix.does),
        ])?;
    }
    table.flush()
}

/// A cell that no spreadsheet reads as a formula (OWASP, CSV injection): an apostrophe quotes it if
/// necessary. Numbers are not changed.
#[must_use]
pub fn harmless(cell: &str) -> String {
    // Spreadsheets with East Asian settings read the full-width forms like the others (from
    // memory).
    let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠']);
    if formula && !is_number(cell) { format!("'{cell}") } else { cell.to_owned() }
}

/// Whether a text is a plain decimal number.
fn is_number(cell: &str) -> bool {
    let digits = cell.strip_prefix(['-', '+']).unwrap_or(cell);
    digits.starts_with(|c: char| c.is_ascii_digit())
        && digits.parse::<f64>().is_ok_and(f64::is_finite)
        && digits
            .bytes()
            .all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b'e' | b'E' | b'-'))
}
