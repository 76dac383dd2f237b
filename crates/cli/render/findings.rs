//! A report as text: each finding with its line of the source, its subject, what to do, and the
//! name of the rule. Similar findings are folded and counted; totals are always exact.

use std::collections::BTreeMap;
use std::io::{self, Write};

use obvert::check::report::CheckedDocument;
use obvert::check::{Finding, Report, Severity, find};
use obvert::model::read::ProblemKind;
use serde_json::Value;

use super::excerpt::SourceLines;
use super::{capital, count, faint, plain, severity, strong, wrapped};
use crate::input::Input;

/// How many similar findings are listed before they are folded.
const LISTED: usize = 3;

/// Prints the findings of one document.
pub(crate) fn document(
    out: &mut dyn Write,
    source: &Input<'_>,
    report: &Report,
    all: bool,
) -> io::Result<()> {
    let mut lines = SourceLines::new(source);
    let unit = report.documents.first().and_then(|document| document.info.length_unit.as_deref());
    let mut similar: BTreeMap<_, usize> = BTreeMap::new();
    report.findings.iter().for_each(|finding| *similar.entry(fold(finding)).or_default() += 1);
    let mut seen: BTreeMap<_, usize> = BTreeMap::new();
    let mut listed: BTreeMap<&str, usize> = BTreeMap::new();
    // The files of folded findings: who has to find a file needs its name, and no more.
    let mut folded: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for finding in &report.findings {
        let total = report.rules.iter().find(|rule| rule.rule == finding.rule);
        let hidden = total.map_or(0, |rule| rule.total - rule.listed);
        let count = seen.entry(fold(finding)).or_default();
        *count += 1;
        // Folding a single finding would save no space.
        if !all && *count > LISTED && similar[&fold(finding)] + hidden > LISTED + 1 {
            if let Some(file) = finding.params.get("file").and_then(Value::as_str) {
                folded.entry(&finding.rule).or_default().push(file);
            }
            continue;
        }
        let of_rule = listed.entry(&finding.rule).or_default();
        *of_rule += 1;
        one(out, &mut lines, finding, unit, *of_rule == 1)?;
        writeln!(out)?;
    }
    for rule in &report.rules {
        let listed = listed.get(rule.rule.as_str()).copied().unwrap_or_default();
        if listed < rule.total {
            let more = rule.total - listed;
            let names = folded.get(rule.rule.as_str()).filter(|names| names.len() == more);
            let hint = match (names, all) {
                (Some(_), _) => ":",
                (None, true) => " (not listed)",
                (None, false) => "; --all lists them",
            };
            let and = severity(rule.severity, "and");
            writeln!(out, "{and} {more} more of {}{hint}", strong(&rule.rule))?;
            for name in names.into_iter().flatten() {
                writeln!(out, "  {}", plain(name))?;
            }
        }
    }
    limits(out, report, all)
}

/// Prints what limits the result: rules that could not be run, parts that were left out, and
/// suppressions.
fn limits(out: &mut dyn Write, report: &Report, all: bool) -> io::Result<()> {
    for not_run in &report.not_run {
        let rules = match not_run.rules.len() {
            0..=4 => not_run.rules.join(", "),
            many => count(many, "rule"),
        };
        wrapped(out, "", &format!("skipped: {rules}, because {}", not_run.why))?;
    }
    for group in report.not_applicable.iter().filter(|_| all) {
        let rules = group.rules.join(", ");
        wrapped(out, "", &format!("not applicable: {rules}, because {}", group.why))?;
    }
    for incomplete in report.documents.iter().filter_map(CheckedDocument::incomplete) {
        wrapped(out, "", &incomplete)?;
    }
    for suppressed in &report.suppressed {
        let state = match (&suppressed.until, suppressed.expired) {
            (Some(until), true) => format!("suppression ended on {until}"),
            (Some(until), false) => format!("suppressed by the profile until {until}"),
            (None, _) => "suppressed by the profile".to_owned(),
        };
        let findings = count(suppressed.count, "finding");
        let (rule, reason) = (&suppressed.rule, &suppressed.reason);
        wrapped(out, "", &format!("{state}: {findings} of {rule}: {reason}"))?;
    }
    Ok(())
}

/// The key of similar findings: the rule, and the field if it is a requirement of a profile, so
/// that a field that every row lacks does not hide another one.
fn fold(finding: &Finding) -> (&str, Option<&str>) {
    (&finding.rule, finding.params.get("field").and_then(|field| field.as_str()))
}

fn one(
    out: &mut dyn Write,
    lines: &mut SourceLines<'_>,
    finding: &Finding,
    unit: Option<&str>,
    first: bool,
) -> io::Result<()> {
    let word = severity(finding.severity, finding.severity.as_str());
    writeln!(
        out,
        "{word}: {} {}",
        strong(&plain(&finding.message)),
        faint(&format!("[{}]", finding.rule))
    )?;
    let subject = finding
        .subject
        .describe(unit)
        .map(|subject| format!("  {}", plain(&subject)))
        .unwrap_or_default();
    writeln!(out, "  {}{subject}", faint(&plain(&finding.location())))?;
    if let Some(at) = &finding.at {
        lines.show(out, at, finding.severity)?;
    }
    // The advice of a rule is printed once, the advice for a finding each time.
    if let Some(help) = &finding.help {
        wrapped(out, "  ", &format!("-> {}", sentence(help)))?;
    } else if let Some(rule) = find(&finding.rule).filter(|_| first) {
        wrapped(out, "  ", &format!("-> {}", rule.advice()))?;
    }
    Ok(())
}

/// Advice as a sentence, as the advice of a rule is. A name of a field stays as it is.
fn sentence(text: &str) -> String {
    let end = if text.ends_with(['.', '?', '!', ':']) { "" } else { "." };
    format!("{}{end}", capital(text))
}

/// Prints the totals of a check.
pub(crate) fn summary(out: &mut dyn Write, report: &Report, rules: usize) -> io::Result<()> {
    if !sizes(out, report, rules)? {
        totals(out, report)?;
    }
    for files in report.documents.iter().filter_map(|document| document.files.as_ref()) {
        writeln!(out, "{}", faint(&plain(&files.describe())))?;
    }
    if let Some(profile) = &report.profile {
        let line = format!(
            "checked against the profile {} {}, {}",
            profile.id, profile.version, profile.digest
        );
        writeln!(out, "{}", faint(&line))?;
    }
    Ok(())
}

/// Prints the size of each document. The result is whether that says everything, as for a single
/// document without findings.
fn sizes(out: &mut dyn Write, report: &Report, rules: usize) -> io::Result<bool> {
    for document in report.documents.iter().filter(|document| document.info.error.is_none()) {
        let name = document.info.file.as_deref().unwrap_or("the document");
        let size = format!(
            "{}, {}, {}",
            count(document.pipes, "pipe"),
            count(document.runs, "run"),
            count(document.observations, "observation")
        );
        if report.documents.len() > 1 {
            writeln!(out, "{name}: {size}")?;
        } else if report.findings.is_empty() && report.baseline.is_none() {
            writeln!(out, "{name}: clean; {size}, {}", count(rules, "rule"))?;
            return Ok(true);
        } else {
            write!(out, "{name}: ")?;
        }
    }
    Ok(false)
}

/// Prints the number of findings, the comparison with an earlier report, and what to do next.
fn totals(out: &mut dyn Write, report: &Report) -> io::Result<()> {
    let unread = report.documents.iter().filter(|document| document.info.error.is_some()).count();
    if unread > 0 {
        let documents = count(report.documents.len(), "document");
        writeln!(out, "{unread} of {documents} could not be read")?;
    }
    let totals = [
        (report.totals.error, Severity::Error),
        (report.totals.warning, Severity::Warning),
        (report.totals.note, Severity::Note),
    ];
    let counts: Vec<String> = totals
        .into_iter()
        .filter(|(count, _)| *count > 0)
        .map(|(number, weight)| severity(weight, &count(number, weight.as_str())))
        .collect();
    match (counts.is_empty(), &report.baseline) {
        (true, None) => writeln!(out, "no findings")?,
        (true, Some(_)) => writeln!(out, "no new findings")?,
        (false, None) => writeln!(out, "{}", counts.join(", "))?,
        (false, Some(_)) => writeln!(out, "new: {}", counts.join(", "))?,
    }
    comparison(out, report)?;
    if counts.is_empty() {
        return Ok(());
    }
    if let Some(fixable) = fixable(report) {
        writeln!(out, "{fixable}")?;
    }
    if let Some(rule) = report.rules.iter().find(|rule| is_explained(&rule.rule)) {
        let hint = format!("run `obvert explain {}` for details of a rule", rule.rule);
        writeln!(out, "{}", faint(&hint))?;
    }
    Ok(())
}

/// Prints the comparison with an earlier report, if there is one.
fn comparison(out: &mut dyn Write, report: &Report) -> io::Result<()> {
    let Some(baseline) = &report.baseline else { return Ok(()) };
    let file = baseline.file.as_deref().unwrap_or("an earlier report");
    let (known, resolved) = (baseline.known, baseline.resolved);
    writeln!(out, "compared with {file}: {known} already known, {resolved} resolved")?;
    if baseline.uncertain.is_empty() {
        return Ok(());
    }
    let rules = baseline.uncertain.join(", ");
    let text = format!(
        "one of the two reports does not list all findings of {rules}, so known findings may count \
         as new; make both with --all"
    );
    wrapped(out, "", &text)
}

/// Whether `obvert explain` knows a rule: a rule of your own is not in the catalogue.
fn is_explained(rule: &str) -> bool {
    ProblemKind::ALL.iter().any(|kind| kind.as_str() == rule) || find(rule).is_some()
}

/// How many findings `obvert fix` can fix. It takes JSON documents only.
fn fixable(report: &Report) -> Option<String> {
    let is_json = |finding: &&Finding| {
        let document = report.documents.get(finding.document);
        document.is_some_and(|document| document.format.as_deref() == Some("json"))
    };
    let fixes = report.findings.iter().filter(is_json).filter_map(|finding| finding.fix.as_ref());
    let (safe, to_confirm): (Vec<_>, Vec<_>) = fixes.partition(|fix| fix.safe);
    let fixable = match (safe.len(), to_confirm.len()) {
        (0, 0) => return None,
        (safe, 0) => format!("{safe} can be fixed automatically"),
        (0, more) => format!("{more} can be fixed if you confirm the fix"),
        (safe, more) => {
            format!("{safe} can be fixed automatically, {more} more if you confirm the fix")
        }
    };
    Some(format!("{fixable}; run `obvert fix` for a preview"))
}
