//! A report for reading: each finding with its line of the source, what it concerns, what to do,
//! and the name to explain. Findings that are alike fold into one with a count; totals are always
//! exact.

use std::collections::BTreeMap;
use std::io::{self, Write};

use obvert::check::report::CheckedDocument;
use obvert::check::{Finding, Location, Report, Severity, find};
use obvert::model::read::ProblemKind;

use super::{faint, plain, severity, strong, wrapped};
use crate::input::Input;

/// How many findings of one rule are shown before they fold.
const SHOWN: usize = 3;
/// How many characters of a source line are shown.
const WINDOW: usize = 96;

/// Prints the findings of one document.
pub(crate) fn document(
    out: &mut dyn Write,
    source: &Input<'_>,
    report: &Report,
    all: bool,
) -> io::Result<()> {
    let mut lines =
        SourceLines { source, document: report.documents.first(), ..SourceLines::new(source) };
    let mut alike: BTreeMap<_, usize> = BTreeMap::new();
    report.findings.iter().for_each(|finding| *alike.entry(fold(finding)).or_default() += 1);
    let mut seen: BTreeMap<_, usize> = BTreeMap::new();
    let mut shown: BTreeMap<&str, usize> = BTreeMap::new();
    for finding in &report.findings {
        let total = report.rules.iter().find(|rule| rule.rule == finding.rule);
        let hidden = total.map_or(0, |rule| rule.total - rule.listed);
        let count = seen.entry(fold(finding)).or_default();
        *count += 1;
        // A fold of one would take as much room as what it hides.
        if !all && *count > SHOWN && alike[&fold(finding)] + hidden > SHOWN + 1 {
            continue;
        }
        let of_rule = shown.entry(&finding.rule).or_default();
        *of_rule += 1;
        one(out, &mut lines, finding, *of_rule == 1)?;
        writeln!(out)?;
    }
    for rule in &report.rules {
        let shown = shown.get(rule.rule.as_str()).copied().unwrap_or_default();
        if shown < rule.total {
            let more = rule.total - shown;
            let listed = if all { " (not listed)" } else { "; --all prints them" };
            writeln!(
                out,
                "{} {more} more of {}{listed}",
                severity(rule.severity, "and"),
                strong(&rule.rule)
            )?;
        }
    }
    for not_run in &report.not_run {
        let rules = if not_run.rules.len() > 4 {
            format!("{} rules", not_run.rules.len())
        } else {
            not_run.rules.join(", ")
        };
        wrapped(out, "", &format!("not run: {rules}, because {}", not_run.why))?;
    }
    for idle in report.not_applicable.iter().filter(|_| all) {
        wrapped(out, "", &format!("not needed: {}, since {}", idle.rules.join(", "), idle.why))?;
    }
    for said in report.documents.iter().filter_map(CheckedDocument::incomplete) {
        wrapped(out, "", &said)?;
    }
    for held in &report.suppressed {
        let until = held.until.as_ref().map(|until| format!(", until {until}")).unwrap_or_default();
        let said = if held.expired {
            format!(
                "not suppressed any more: {} of {}{until}: {}",
                held.count, held.rule, held.reason
            )
        } else {
            format!(
                "suppressed by the profile: {} of {}{until}: {}",
                held.count, held.rule, held.reason
            )
        };
        wrapped(out, "", &said)?;
    }
    Ok(())
}

/// What folds together: the findings of a rule, and of those that say which field a profile speaks
/// of, the ones of a field. A field that is missing in every row must not hide another one.
fn fold(finding: &Finding) -> (&str, Option<&str>) {
    (&finding.rule, finding.params.get("field").and_then(|field| field.as_str()))
}

fn one(
    out: &mut dyn Write,
    lines: &mut SourceLines<'_>,
    finding: &Finding,
    first: bool,
) -> io::Result<()> {
    let word = severity(finding.severity, finding.severity.as_str());
    writeln!(
        out,
        "{word}: {} {}",
        strong(&plain(&finding.message)),
        faint(&format!("[{}]", finding.rule))
    )?;
    let unit = lines.document.and_then(|document| document.info.length_unit.as_deref());
    let subject = finding
        .subject
        .describe(unit)
        .map(|subject| format!("  {}", plain(&subject)))
        .unwrap_or_default();
    writeln!(out, "  {}{subject}", faint(&plain(&finding.location())))?;
    if let Some(at) = &finding.at {
        lines.show(out, at, finding.severity)?;
    }
    // The general advice is said once a rule, advice for the case every time.
    if let Some(help) = &finding.help {
        wrapped(out, "  ", &format!("-> {help}"))?;
    } else if let Some(rule) = find(&finding.rule).filter(|_| first) {
        wrapped(out, "  ", &format!("-> {}", rule.advice()))?;
    }
    Ok(())
}

/// Prints what a check came to.
pub(crate) fn summary(out: &mut dyn Write, report: &Report, rules: usize) -> io::Result<()> {
    counts(out, report, rules)?;
    if let Some(profile) = &report.profile {
        let said = format!(
            "held against the profile {} {}, {}",
            profile.id, profile.version, profile.digest
        );
        writeln!(out, "{}", faint(&said))?;
    }
    Ok(())
}

fn counts(out: &mut dyn Write, report: &Report, rules: usize) -> io::Result<()> {
    let plural = super::count;
    for document in &report.documents {
        if document.info.error.is_some() {
            continue;
        }
        let name = document.info.file.as_deref().unwrap_or("the document");
        let size = format!(
            "{}, {}, {}",
            plural(document.pipes, "pipe"),
            plural(document.runs, "run"),
            plural(document.observations, "observation")
        );
        if report.documents.len() > 1 {
            writeln!(out, "{name}: {size}")?;
        } else if report.findings.is_empty() && report.baseline.is_none() {
            writeln!(out, "{name}: clean; {size}, {}", plural(rules, "rule"))?;
            return Ok(());
        } else {
            write!(out, "{name}: ")?;
        }
    }
    let totals = [
        (report.totals.error, Severity::Error),
        (report.totals.warning, Severity::Warning),
        (report.totals.note, Severity::Note),
    ];
    let said: Vec<String> = totals
        .into_iter()
        .filter(|(count, _)| *count > 0)
        .map(|(count, weight)| severity(weight, &plural(count, weight.as_str())))
        .collect();
    let (new, colon) = if report.baseline.is_some() { ("new", ": ") } else { ("", "") };
    let unread = report.documents.iter().filter(|document| document.info.error.is_some()).count();
    if unread > 0 {
        writeln!(
            out,
            "{unread} of {} could not be read",
            plural(report.documents.len(), "document")
        )?;
    }
    if said.is_empty() {
        writeln!(out, "nothing {}found", if new.is_empty() { "" } else { "new " })?;
    } else {
        writeln!(out, "{new}{colon}{}", said.join(", "))?;
    }
    if let Some(baseline) = &report.baseline {
        let file = baseline.file.as_deref().unwrap_or("an earlier report");
        writeln!(out, "held against {file}: {} known, {} gone", baseline.known, baseline.resolved)?;
        if !baseline.uncertain.is_empty() {
            let rules = baseline.uncertain.join(", ");
            wrapped(
                out,
                "",
                &format!("not all findings are listed of {rules}; known ones may count as new"),
            )?;
        }
    }
    if said.is_empty() {
        return Ok(());
    }
    if let Some(said) = mendable(report) {
        writeln!(out, "{said}")?;
    }
    if let Some(rule) = report.rules.first() {
        let named = ProblemKind::ALL.iter().any(|kind| kind.as_str() == rule.rule)
            || find(&rule.rule).is_some();
        if named {
            writeln!(
                out,
                "{}",
                faint(&format!("`obvert explain {}` says more of a rule", rule.rule))
            )?;
        }
    }
    Ok(())
}

/// How many of the findings `obvert fix` can mend, which takes JSON documents only.
fn mendable(report: &Report) -> Option<String> {
    let json = |finding: &&Finding| {
        let document = report.documents.get(finding.document);
        document.is_some_and(|document| document.format.as_deref() == Some("json"))
    };
    let fixes = report.findings.iter().filter(json).filter_map(|finding| finding.fix.as_ref());
    let (safe, to_confirm): (Vec<_>, Vec<_>) = fixes.partition(|fix| fix.safe);
    match (safe.len(), to_confirm.len()) {
        (0, 0) => None,
        (safe, 0) => Some(format!("{safe} of these can be mended: `obvert fix` shows how")),
        (0, more) => {
            Some(format!("{more} of these can be mended if you confirm it: `obvert fix` shows how"))
        }
        (safe, more) => Some(format!(
            "{safe} of these can be mended, {more} more if you confirm it: `obvert fix` shows how"
        )),
    }
}

/// What has the texts that locations name.
pub(crate) trait Texts {
    /// The text of a file; `None` if it has no lines to show.
    fn text_of(&self, file: &str) -> Option<&[u8]>;

    /// How many lines are before the text in its file.
    fn lines_before(&self) -> usize {
        0
    }
}

/// The lines of a source, by number, without a copy of it.
pub(crate) struct SourceLines<'s> {
    source: &'s dyn Texts,
    document: Option<&'s CheckedDocument>,
    /// The text of each file that is UTF-16.
    decoded: BTreeMap<String, Option<String>>,
    /// The starts of the lines of each file, found when the first finding asks for it.
    starts: BTreeMap<String, Vec<usize>>,
}

impl<'s> SourceLines<'s> {
    pub(crate) fn new(source: &'s dyn Texts) -> Self {
        Self { source, document: None, decoded: BTreeMap::new(), starts: BTreeMap::new() }
    }

    /// Prints the line of a place with a marker under its column.
    pub(crate) fn show(
        &mut self,
        out: &mut dyn Write,
        at: &Location,
        weight: Severity,
    ) -> io::Result<()> {
        let Some((number, text, marker)) = self.excerpt(at) else { return Ok(()) };
        let gutter = number.to_string();
        writeln!(out, "  {} {text}", faint(&format!("{gutter} |")))?;
        if let Some(marker) = marker {
            let bar = format!("{} |", " ".repeat(gutter.len()));
            writeln!(out, "  {} {}{}", faint(&bar), " ".repeat(marker), severity(weight, "^"))?;
        }
        Ok(())
    }

    fn excerpt(&mut self, at: &Location) -> Option<(usize, String, Option<usize>)> {
        let text = self.source.text_of(&at.file)?;
        let decoded = self.decoded.entry(at.file.clone()).or_insert_with(|| of_utf16(text));
        let text = decoded.as_deref().map_or(text, str::as_bytes);
        // Nothing of an archive can be shown as a line.
        if text.starts_with(b"PK") {
            return None;
        }
        let starts = self.starts.entry(at.file.clone()).or_insert_with(|| {
            let breaks = text
                .iter()
                .enumerate()
                .filter(|(_, byte)| **byte == b'\n')
                .map(|(index, _)| index + 1);
            std::iter::once(0).chain(breaks).collect()
        });
        let line = at.line - self.source.lines_before().min(at.line);
        let start = *starts.get(line.checked_sub(1)?)?;
        let end = starts.get(line).map_or(text.len(), |next| next - 1);
        let line = text.get(start..end)?;
        // A table that is no UTF-8 is most likely in one of the encodings of one byte a letter,
        // which agree on most.
        let letters = || line.iter().map(|byte| char::from(*byte)).collect::<String>();
        let line = std::str::from_utf8(line).map_or_else(|_| letters(), str::to_owned);
        let line = line.trim_start_matches('\u{FEFF}').trim_end_matches('\r');
        // A tab stands between words.
        let chars: Vec<char> = super::plain(&line.replace('\t', " ")).chars().collect();
        // The column of a CSV file is a field's number, not a character's.
        let column =
            at.column.filter(|_| at.heading.is_none()).map(|column| column.saturating_sub(1));
        let indent = chars.iter().take_while(|c| c.is_whitespace()).count();
        let focus = column.unwrap_or(indent).min(chars.len());
        let from = if chars.len() - indent <= WINDOW {
            indent
        } else {
            focus.saturating_sub(WINDOW / 3).max(indent)
        };
        let to = (from + WINDOW).min(chars.len());
        let before = if from > indent { "…" } else { "" };
        let after = if to < chars.len() { "…" } else { "" };
        let shown: String = chars[from..to].iter().collect();
        let marker = column.map(|_| focus - from.min(focus) + before.chars().count());
        Some((at.line, format!("{before}{shown}{after}"), marker))
    }
}

/// The text of a file in UTF-16, by its byte-order mark or by its zero bytes; `None` for any other.
fn of_utf16(bytes: &[u8]) -> Option<String> {
    let start = &bytes[..bytes.len().min(64)];
    let zeros = |odd: usize| {
        start.iter().skip(odd).step_by(2).filter(|byte| **byte == 0).count() * 4 > start.len()
    };
    let big = match start {
        [0xFE, 0xFF, ..] => true,
        [0xFF, 0xFE, ..] => false,
        [_, _, ..] if zeros(0) => true,
        [_, _, ..] if zeros(1) => false,
        _ => return None,
    };
    let units = bytes
        .as_chunks::<2>()
        .0
        .iter()
        .map(|pair| if big { u16::from_be_bytes(*pair) } else { u16::from_le_bytes(*pair) });
    Some(
        char::decode_utf16(units)
            .map(|letter| letter.unwrap_or(char::REPLACEMENT_CHARACTER))
            .collect(),
    )
}
