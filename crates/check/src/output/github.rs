//! Workflow commands of GitHub Actions: lines that its runner shows as annotations of files.
//!
//! ```
//! use obvert_check::{Checker, MINIMAL, Settings, output};
//!
//! let report = Checker::new(Settings::default())?.check(MINIMAL.as_bytes())?;
//! let mut commands = Vec::new();
//! output::github::write(&report, &mut commands)?;
//! let first = "::notice title=obvert check::0 errors, 0 warnings, 0 notes";
//! assert!(String::from_utf8(commands)?.starts_with(first));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Source of the syntax and the escaping: GitHub's documentation, "Workflow commands for GitHub
//! Actions", and its `actions/toolkit`, `packages/core/src/command.ts`: `%`, CR and LF in a
//! message; also `:` and `,` in a property. The runner shows only the first few annotations of a
//! step, so the totals come first, then the most severe findings.

use std::fmt::Write as _;
use std::io::{self, Write};

use super::{advice_on, character_column, count, name_of, subject_of, thousands, unlisted};
use crate::finding::{Finding, Severity};
use crate::report::Report;

/// Writes a report as workflow commands.
///
/// # Errors
/// If the sink fails.
pub fn write(report: &Report, sink: &mut dyn Write) -> io::Result<()> {
    for document in &report.documents {
        if let Some(error) = &document.info.error {
            command(sink, "error", &[("file", name_of(document)), ("title", "not read")], error)?;
        }
    }
    let totals = Severity::ALL.map(|severity| count(report.totals.of(severity), severity.as_str()));
    let mut summary = format!("{}, {}, {}", totals[2], totals[1], totals[0]);
    if let Some(baseline) = &report.baseline {
        let _ = write!(
            summary,
            "; compared with an earlier report: {} already known, {} resolved",
            thousands(baseline.known),
            thousands(baseline.resolved)
        );
    }
    if let Some(profile) = &report.profile {
        let _ = write!(
            summary,
            "; checked against the profile {} {}, {}",
            profile.id, profile.version, profile.digest
        );
    }
    command(sink, "notice", &[("title", "obvert check")], &summary)?;
    for suppressed in &report.suppressed {
        let title = match suppressed.expired {
            true => "suppression has ended",
            false => "suppressed by the profile",
        };
        let count = thousands(suppressed.count);
        let message = format!("{count} of {}: {}", suppressed.rule, suppressed.reason);
        command(sink, "notice", &[("title", title)], &message)?;
    }
    for not_run in &report.not_run {
        let files: Vec<&str> = not_run
            .documents
            .iter()
            .filter_map(|index| report.documents.get(*index))
            .map(name_of)
            .collect();
        let rules = not_run.rules.join(", ");
        let message = format!(
            "{} not run on {}: {}\n{rules}",
            count(not_run.rules.len(), "rule"),
            files.join(", "),
            not_run.why
        );
        command(sink, "warning", &[("title", "rules not run")], &message)?;
    }
    for document in &report.documents {
        if let Some(incomplete) = document.incomplete() {
            let message = format!("{}: {incomplete}", name_of(document));
            command(sink, "warning", &[("title", "a part could not be read")], &message)?;
        }
    }
    for (rule, listed, total) in unlisted(&report.rules) {
        let message =
            format!("{rule}: {} of {} findings are listed", thousands(listed), thousands(total));
        command(sink, "warning", &[("title", "not all listed")], &message)?;
    }
    for severity in Severity::ALL.into_iter().rev() {
        for finding in report.findings.iter().filter(|finding| finding.severity == severity) {
            annotate(report, finding, sink)?;
        }
    }
    Ok(())
}

fn annotate(report: &Report, finding: &Finding, sink: &mut dyn Write) -> io::Result<()> {
    let kind = match finding.severity {
        Severity::Error => "error",
        Severity::Warning => "warning",
        Severity::Note => "notice",
    };
    let document = report.documents.get(finding.document);
    let mut message = finding.message.clone();
    if let Some(subject) = subject_of(finding, report) {
        let _ = write!(message, "\n{subject}");
    }
    if let Some(help) = finding.help.clone().or_else(|| advice_on(report, &finding.rule)) {
        let _ = write!(message, "\n{help}");
    }
    let (line, column);
    let mut properties = Vec::new();
    match &finding.at {
        Some(at) => {
            properties.push(("file", at.file.as_str()));
            line = at.line.to_string();
            properties.push(("line", line.as_str()));
            if let Some(number) = character_column(at) {
                column = number.to_string();
                properties.push(("col", column.as_str()));
            }
        }
        None => properties.extend(
            document.and_then(|document| document.info.file.as_deref()).map(|file| ("file", file)),
        ),
    }
    properties.push(("title", &finding.rule));
    command(sink, kind, &properties, &message)
}

fn command(
    sink: &mut dyn Write,
    kind: &str,
    properties: &[(&str, &str)],
    message: &str,
) -> io::Result<()> {
    let properties: Vec<String> =
        properties.iter().map(|(name, value)| format!("{name}={}", property(value))).collect();
    writeln!(sink, "::{kind} {}::{}", properties.join(","), data(message))
}

fn data(text: &str) -> String {
    text.replace('%', "%25").replace('\r', "%0D").replace('\n', "%0A")
}

fn property(text: &str) -> String {
    data(text).replace(':', "%3A").replace(',', "%2C")
}
