//! A table for a spreadsheet (RFC 4180): one row per finding, and rows for what could not be read,
//! was not run or is not listed.
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

use super::{advice_on, name_of, unlisted};
use crate::finding::Finding;
use crate::report::{NotRun, ProfileIdentity, Report};

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
    let mut table = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(sink);
    table.write_record(HEADINGS)?;
    let entries = not_read(report)
        .chain(profile(report))
        .chain(suppressed(report))
        .chain(not_run(report, "not-run", &report.not_run))
        .chain(not_run(report, "not-applicable", &report.not_applicable))
        .chain(not_read_in_part(report))
        .chain(not_listed(report))
        .chain(baseline(report));
    for entry in entries {
        write_cells(&mut table, entry.cells())?;
    }
    for finding in &report.findings {
        write_cells(&mut table, finding_cells(report, finding))?;
    }
    table.flush()
}

type Table<'s> = csv::Writer<&'s mut dyn Write>;

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
    rule: &'r str,
    message: Cow<'r, str>,
    document: &'r str,
    facts: String,
}

impl<'r> Entry<'r> {
    fn cells(self) -> Cells<'r> {
        let mut cells = <Cells<'r>>::default();
        cells[0] = self.entry.into();
        cells[1] = self.severity.into();
        cells[2] = self.rule.into();
        cells[3] = self.message;
        cells[5] = self.document.into();
        cells[17] = self.facts.into();
        cells
    }
}

fn not_read(report: &Report) -> impl Iterator<Item = Entry<'_>> {
    report.documents.iter().filter_map(|document| {
        Some(Entry {
            entry: "not-read",
            severity: "error",
            message: document.info.error.as_deref()?.into(),
            document: name_of(document),
            ..Entry::default()
        })
    })
}

fn profile(report: &Report) -> impl Iterator<Item = Entry<'_>> {
    report.profile.iter().map(|profile| {
        let ProfileIdentity { id, version, digest, .. } = profile;
        let message = format!("checked against the profile {id} {version}, {digest}").into();
        Entry { entry: "profile", message, ..Entry::default() }
    })
}

fn suppressed(report: &Report) -> impl Iterator<Item = Entry<'_>> {
    report.suppressed.iter().map(|suppressed| Entry {
        entry: if suppressed.expired { "suppression-ended" } else { "suppressed" },
        rule: &suppressed.rule,
        message: suppressed.reason.as_str().into(),
        document: report.documents.get(suppressed.document).map(name_of).unwrap_or_default(),
        facts: suppressed.count.to_string(),
        ..Entry::default()
    })
}

/// A row for each rule and document.
fn not_run<'r>(
    report: &'r Report,
    entry: &'static str,
    all: &'r [NotRun],
) -> impl Iterator<Item = Entry<'r>> {
    all.iter().flat_map(move |not_run| {
        let documents = not_run.documents.iter().filter_map(|index| report.documents.get(*index));
        let rows = move |document| {
            not_run.rules.iter().map(move |rule| Entry {
                entry,
                rule,
                message: not_run.why.as_str().into(),
                document: name_of(document),
                ..Entry::default()
            })
        };
        documents.flat_map(rows)
    })
}

fn not_read_in_part(report: &Report) -> impl Iterator<Item = Entry<'_>> {
    report.documents.iter().filter_map(|document| {
        let message = document.incomplete()?.into();
        let document = name_of(document);
        Some(Entry { entry: "part-not-read", message, document, ..Entry::default() })
    })
}

fn not_listed(report: &Report) -> impl Iterator<Item = Entry<'_>> {
    unlisted(report).map(|(rule, listed, total)| {
        let message = format!("{listed} of {total} findings are listed").into();
        Entry { entry: "not-listed", rule, message, ..Entry::default() }
    })
}

fn baseline(report: &Report) -> impl Iterator<Item = Entry<'_>> {
    report.baseline.iter().map(|baseline| {
        let message = format!(
            "compared with an earlier report: {} already known, {} resolved",
            baseline.known, baseline.resolved
        );
        Entry { entry: "baseline", message: message.into(), ..Entry::default() }
    })
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
        optional(document.map(name_of)),
        optional(at.map(|at| at.file.as_str())),
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
