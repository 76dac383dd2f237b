//! A table for a spreadsheet (RFC 4180): one row per finding, and rows for what could not be read
//! or run, is suppressed or is not listed.
//!
//! ```
//! use obvert_check::{Checker, MINIMAL, Settings, output};
//!
//! let report = Checker::new(Settings::default())?.check(MINIMAL.as_bytes())?;
//! let mut table = Vec::new();
//! output::csv::write(&report, &mut table)?;
//! assert!(table.starts_with(b"entry,severity,rule,message,"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Texts come from the survey. A cell that a spreadsheet would read as a formula gets an apostrophe
//! in front. Source: OWASP, CSV Injection (cells that begin with `=`, `+`, `-`, `@`, tab, carriage
//! return, line feed). Numbers are not changed.

use std::borrow::Cow;
use std::io::{self, Write};

use serde_json::Value;

use super::summary::by_document;
use super::{NotRunTotal, Summary, advice_on, count, unlisted};
use crate::finding::Finding;
use crate::report::{CheckedDocument, ProfileIdentity, Report, Suppressed};

/// The column headings.
const HEADINGS: [&str; 20] = [
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
    begin(report, sink)?;
    documents(report, sink)?;
    end(&Summary::of(report), sink)
}

/// Writes the headings, and a row for the profile, if there is one. To write any number of reports
/// without keeping them, call [`documents`] for each after this, and [`end`] with their [`Summary`].
///
/// # Errors
/// If the sink fails.
pub fn begin(report: &Report, sink: &mut dyn Write) -> io::Result<()> {
    let mut table = table(sink);
    table.write_record(HEADINGS)?;
    if let Some(ProfileIdentity { id, version, digest, .. }) = &report.profile {
        let message = format!("checked against the profile {id} {version}, {digest}").into();
        let entry = Entry { entry: "profile", message, ..Entry::default() };
        write_cells(&mut table, entry.cells())?;
    }
    table.flush()
}

/// Writes the rows of a report's documents: what limits the result, then the findings.
///
/// # Errors
/// If the sink fails.
pub fn documents(report: &Report, sink: &mut dyn Write) -> io::Result<()> {
    let mut table = table(sink);
    for (document, own) in report.documents.iter().zip(by_document(report)) {
        let suppressed = own.suppressed.into_iter().map(|part| suppressed(document, part));
        let entries = not_read(document).into_iter().chain(incomplete(document)).chain(suppressed);
        for entry in entries {
            write_cells(&mut table, entry.cells())?;
        }
        for finding in own.findings {
            write_cells(&mut table, finding_cells(report, finding))?;
        }
    }
    table.flush()
}

/// Writes the last rows: rules that could not be run, findings that are not listed, and the
/// comparison with an earlier report.
///
/// # Errors
/// If the sink fails.
pub fn end(summary: &Summary, sink: &mut dyn Write) -> io::Result<()> {
    let mut table = table(sink);
    let not_run = summary.not_run.iter().map(not_run);
    let not_listed = unlisted(&summary.rules).map(|(rule, listed, total)| {
        let message = format!("{listed} of {total} findings are listed").into();
        Entry { entry: "not-listed", rule: rule.into(), message, ..Entry::default() }
    });
    let baseline = summary.baseline.iter().map(|baseline| {
        let message = format!(
            "compared with an earlier report: {} already known, {} resolved",
            baseline.known, baseline.resolved
        );
        Entry { entry: "baseline", message: message.into(), ..Entry::default() }
    });
    for entry in not_run.chain(not_listed).chain(baseline) {
        write_cells(&mut table, entry.cells())?;
    }
    table.flush()
}

type Table<'s> = csv::Writer<&'s mut dyn Write>;

fn table(sink: &mut dyn Write) -> Table<'_> {
    csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(sink)
}

/// A row by column, in the order of [`HEADINGS`].
type Cells<'r> = [Cow<'r, str>; HEADINGS.len()];

fn write_cells(table: &mut Table<'_>, cells: Cells<'_>) -> io::Result<()> {
    Ok(table.write_record(cells.iter().map(|cell| harmless(cell)))?)
}

/// A row that is not a finding.
#[derive(Default)]
struct Entry<'r> {
    entry: &'static str,
    severity: &'static str,
    rule: Cow<'r, str>,
    message: Cow<'r, str>,
    document: Option<&'r CheckedDocument>,
    facts: String,
}

impl<'r> Entry<'r> {
    fn cells(self) -> Cells<'r> {
        let mut cells = <Cells<'r>>::default();
        cells[0] = self.entry.into();
        cells[1] = self.severity.into();
        cells[2] = self.rule;
        cells[3] = self.message;
        cells[5] = self.document.and_then(id_of).unwrap_or_default().into();
        cells[6] = self.document.and_then(file_of).unwrap_or_default().into();
        cells[17] = self.facts.into();
        cells
    }
}

fn id_of(document: &CheckedDocument) -> Option<&str> {
    document.info.id.as_deref()
}

fn file_of(document: &CheckedDocument) -> Option<&str> {
    document.info.file.as_deref()
}

fn not_read(document: &CheckedDocument) -> Option<Entry<'_>> {
    Some(Entry {
        entry: "not-read",
        severity: "error",
        message: document.info.error.as_deref()?.into(),
        document: Some(document),
        ..Entry::default()
    })
}

fn incomplete(document: &CheckedDocument) -> Option<Entry<'_>> {
    let message = document.incomplete()?.into();
    Some(Entry { entry: "part-not-read", message, document: Some(document), ..Entry::default() })
}

fn suppressed<'r>(document: &'r CheckedDocument, suppressed: &'r Suppressed) -> Entry<'r> {
    Entry {
        entry: if suppressed.expired { "suppression-ended" } else { "suppressed" },
        rule: suppressed.rule.as_str().into(),
        message: suppressed.reason.as_str().into(),
        document: Some(document),
        facts: suppressed.count.to_string(),
        ..Entry::default()
    }
}

fn not_run(not_run: &NotRunTotal) -> Entry<'_> {
    let NotRunTotal { why, rules, documents } = not_run;
    Entry {
        entry: "not-run",
        rule: rules.join(" ").into(),
        message: format!("{why}, in {}", count(*documents, "document")).into(),
        ..Entry::default()
    }
}

fn finding_cells<'r>(report: &'r Report, finding: &'r Finding) -> Cells<'r> {
    let document = report.documents.get(finding.document);
    let help = match &finding.help {
        Some(help) => Cow::from(help),
        None => advice_on(report, &finding.rule).unwrap_or_default().into(),
    };
    let (at, subject, fix) = (finding.at.as_ref(), &finding.subject, finding.fix.as_ref());
    let optional = |text: Option<&'r str>| Cow::from(text.unwrap_or_default());
    let number =
        |number: Option<usize>| Cow::from(number.map(|n| n.to_string()).unwrap_or_default());
    let facts = match finding.params.is_empty() {
        true => String::new(),
        false => Value::from_iter(finding.params.clone()).to_string(),
    };
    let unit = document.and_then(|document| document.info.length_unit.as_deref());
    [
        "finding".into(),
        finding.severity.as_str().into(),
        Cow::from(&*finding.rule),
        Cow::from(&finding.message),
        help,
        optional(document.and_then(id_of)),
        optional(at.map(|at| at.file.as_str()).or_else(|| document.and_then(file_of))),
        number(at.map(|at| at.line)),
        number(at.and_then(|at| at.column)),
        optional(at.and_then(|at| at.heading.as_deref())),
        Cow::from(&subject.path),
        optional(subject.pipe.as_deref()),
        optional(subject.run.as_deref()),
        optional(subject.observation.as_deref()),
        optional(subject.record.as_deref()),
        subject.distance.map(|distance| distance.to_string()).unwrap_or_default().into(),
        optional(subject.distance.and(unit)),
        facts.into(),
        optional(fix.map(|fix| if fix.safe { "safe" } else { "to-confirm" })),
        optional(fix.map(|fix| fix.does.as_str())),
    ]
}

/// A cell that no spreadsheet reads as a formula (OWASP, CSV Injection): with an apostrophe in front
/// if necessary. Numbers are not changed.
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
