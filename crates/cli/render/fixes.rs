//! The log of `obvert fix` as text: one entry per fix with the values before and after, the lines
//! of the file that change, and what is left to correct by hand.

use std::collections::BTreeMap;
use std::io::{self, Write};

use obvert::check::fixing::{AppliedEdit, AppliedFix, FixOutcome, MEDIA_FILE};
use obvert::check::{Edit, Finding, Severity, Subject};
use obvert::model::edit::spelled;

use super::line_diff::LineDiff;
use super::{count, faint, severity, strong, wrapped};
use crate::input::Input;

/// How many fixes of one rule are listed before they are folded.
const LISTED: usize = 5;
/// How many fixes to confirm are listed for each rule.
const TO_CONFIRM: usize = 2;
/// How many lines of the diff are shown; the rest is counted.
const LINES: usize = 60;
/// How many characters of a line are shown around its first change.
const WINDOW: usize = 110;

/// What is shown of a log.
pub(crate) struct Shown {
    /// Everything, without folding.
    pub(crate) all: bool,
    /// The changed lines, because nothing was written.
    pub(crate) preview: bool,
    /// Whether fixes that need confirmation were applied.
    pub(crate) confirmed: bool,
}

/// Prints the log of one survey.
pub(crate) fn document(
    out: &mut dyn Write,
    source: &Input<'_>,
    fixed: &FixOutcome,
    shown: &Shown,
) -> io::Result<()> {
    let log = &fixed.document;
    let mut of_rule: BTreeMap<&str, usize> = BTreeMap::new();
    for applied in &log.applied {
        let count = of_rule.entry(&applied.rule).or_default();
        *count += 1;
        if shown.all || *count <= LISTED {
            one(out, applied, fixed)?;
        }
    }
    for (rule, count) in of_rule.iter().filter(|(_, count)| !shown.all && **count > LISTED) {
        writeln!(out, "and {} more of {}; --all lists them", count - LISTED, strong(rule))?;
    }
    if shown.preview && !log.applied.is_empty() {
        changed_lines(out, source, &fixed.text, shown.all)?;
    }
    for left in &log.skipped {
        let about = describe(&left.subject, fixed).unwrap_or_default();
        let head = format!(
            "{} {} {}",
            strong("not fixed"),
            faint(&format!("[{}]", left.rule)),
            faint(&left.subject.path)
        );
        writeln!(out, "{head}  {about}")?;
        wrapped(out, "  ", &format!("{}: {}", left.does, left.why))?;
    }
    if let Some(first) = log.media_missing.first() {
        let (files, were) = match log.media_missing.len() {
            1 => ("1 media file".to_owned(), "was"),
            many => (count(many, "media file"), "were"),
        };
        let more = if log.media_missing.len() > 1 { ", …" } else { "" };
        writeln!(out, "{files} {were} not found next to the survey, so not read: {first}{more}")?;
    }
    if !shown.confirmed && log.fixable.to_confirm > 0 {
        to_confirm(out, fixed, shown)?;
    }
    summary(out, source, fixed, shown)
}

fn one(out: &mut dyn Write, applied: &AppliedFix, fixed: &FixOutcome) -> io::Result<()> {
    let at = applied.at.as_ref().map_or_else(|| applied.subject.path.clone(), ToString::to_string);
    let about =
        describe(&applied.subject, fixed).map(|about| format!("  {about}")).unwrap_or_default();
    let word = if applied.safe { "fixed" } else { "fixed as confirmed" };
    writeln!(
        out,
        "{} {} {}{about}",
        strong(word),
        faint(&format!("[{}]", applied.rule)),
        faint(&at)
    )?;
    // Some descriptions have the values already.
    let is_described = |change: &&AppliedEdit| match (&change.edit, &change.before) {
        (Edit::Replace { value, .. }, Some(before)) => {
            applied.does.contains(&spelled(before)) && applied.does.contains(&spelled(value))
        }
        (Edit::Add { path, value }, _) => {
            applied.does.contains(&format!("{}: {}", key(path), spelled(value)))
        }
        _ => false,
    };
    let changes = applied.changes.iter().filter(|change| !is_described(change));
    let changes: Vec<String> = changes.filter_map(values).take(3).collect();
    let more = match applied.changes.len() {
        0..=3 => String::new(),
        moves if applied.changes.iter().any(|change| matches!(change.edit, Edit::Move { .. })) => {
            format!(" ({moves} moves)")
        }
        many => format!(", … ({many} changes)"),
    };
    let does = &applied.does;
    let text = if changes.is_empty() {
        format!("{does}{more}")
    } else {
        format!("{does}: {}{more}", changes.join(", "))
    };
    wrapped(out, "  ", &text)
}

/// The subject of a fix, in words.
fn describe(subject: &Subject, fixed: &FixOutcome) -> Option<String> {
    subject.describe(
        fixed.report.documents.first().and_then(|document| document.info.length_unit.as_deref()),
    )
}

/// The value before and after a change.
fn values(change: &AppliedEdit) -> Option<String> {
    let before = change.before.as_ref().map(spelled).unwrap_or_default();
    Some(match &change.edit {
        Edit::Replace { value, .. } => format!("{before} -> {}", spelled(value)),
        Edit::Add { path, value } => format!("{} = {}", key(path), spelled(value)),
        Edit::Remove { path } => format!("{} ({before}) is removed", key(path)),
        _ => return None,
    })
}

/// The last key of a pointer.
fn key(path: &str) -> &str {
    path.rsplit('/').next().unwrap_or_default()
}

/// Prints the changed lines as a unified diff.
pub(crate) fn diff(out: &mut dyn Write, source: &Input<'_>, after: &str) -> io::Result<()> {
    let before = String::from_utf8_lossy(source.bytes());
    if before == after {
        return Ok(());
    }
    LineDiff::new(&before, after).unified(out, source.name())
}

/// Prints the changed lines for a terminal: all as a unified diff, or else the first ones, cut to
/// what surrounds the change.
fn changed_lines(
    out: &mut dyn Write,
    source: &Input<'_>,
    after: &str,
    all: bool,
) -> io::Result<()> {
    if all {
        return diff(out, source, after);
    }
    let before = String::from_utf8_lossy(source.bytes());
    let diff = LineDiff::new(&before, after);
    let (mut printed, mut hidden) = (0, 0);
    for (removed, added) in &diff.hunks {
        let (removed, added) = (diff.removed(removed), diff.added(added));
        for index in 0..removed.len().max(added.len()) {
            if printed >= LINES {
                hidden += 1;
            } else {
                printed += pair(out, removed.get(index), added.get(index))?;
            }
        }
    }
    if hidden > 0 {
        writeln!(out, "  and {hidden} more lines change; --all shows them")?;
    }
    Ok(())
}

/// Prints a line before and after, each with its number. The result is how many were printed.
fn pair(
    out: &mut dyn Write,
    removed: Option<&(usize, &str)>,
    added: Option<&(usize, &str)>,
) -> io::Result<usize> {
    let from = match (removed, added) {
        (Some((_, removed)), Some((_, added))) => first_difference(removed, added),
        _ => 0,
    };
    let mut printed = 0;
    for (sign, weight, line) in [("-", Severity::Error, removed), ("+", Severity::Note, added)] {
        let Some((number, line)) = line else { continue };
        let gutter = faint(&format!("{number:>5} |"));
        let text = severity(weight, &format!("{sign} {}", window(line, from)));
        writeln!(out, "  {gutter} {text}")?;
        printed += 1;
    }
    Ok(printed)
}

/// The index of the first character in which two lines differ.
fn first_difference(one: &str, other: &str) -> usize {
    one.chars().zip(other.chars()).take_while(|(a, b)| a == b).count()
}

/// A line, cut to what surrounds a character, and made safe for the terminal.
fn window(line: &str, at: usize) -> String {
    let line = line.trim_start_matches('\u{FEFF}');
    let chars: Vec<char> = super::plain(&line.replace('\t', " ")).chars().collect();
    let indent = chars.iter().take_while(|c| c.is_whitespace()).count();
    let from = if chars.len() - indent <= WINDOW {
        indent
    } else {
        at.saturating_sub(WINDOW / 3).max(indent)
    };
    let from = from.min(chars.len());
    let to = (from + WINDOW).min(chars.len());
    let (before, after) =
        (if from > indent { "…" } else { "" }, if to < chars.len() { "…" } else { "" });
    format!("{before}{}{after}", chars[from..to].iter().collect::<String>())
}

/// Prints the fixes that need confirmation, so that they are read before they are confirmed.
fn to_confirm(out: &mut dyn Write, fixed: &FixOutcome, shown: &Shown) -> io::Result<()> {
    let mut of_rule: BTreeMap<&str, Vec<(&Finding, &str)>> = BTreeMap::new();
    for finding in &fixed.report.findings {
        if let Some(fix) = finding.fix.as_ref().filter(|fix| !fix.safe) {
            of_rule.entry(&finding.rule).or_default().push((finding, &fix.does));
        }
    }
    writeln!(out, "{}", strong("can be fixed if you confirm the fix:"))?;
    for (rule, findings) in &of_rule {
        let listed = if shown.all { usize::MAX } else { TO_CONFIRM };
        for (finding, does) in findings.iter().take(listed) {
            let about =
                describe(&finding.subject, fixed).unwrap_or_else(|| finding.subject.path.clone());
            wrapped(out, "  ", &format!("- [{rule}] {about}: {does}"))?;
        }
        if findings.len() > listed {
            writeln!(out, "  - and {} more of {rule}", findings.len() - listed)?;
        }
    }
    Ok(())
}

fn summary(
    out: &mut dyn Write,
    source: &Input<'_>,
    fixed: &FixOutcome,
    shown: &Shown,
) -> io::Result<()> {
    let log = &fixed.document;
    let totals = [Severity::Error, Severity::Warning, Severity::Note].map(|weight| {
        let number = log.after.of(weight);
        (number, weight, count(number, weight.as_str()))
    });
    let contradicted = log.skipped.iter().filter(|left| left.rule == MEDIA_FILE).count();
    let media = (contradicted, Severity::Error, count(contradicted, "media file") + " to check");
    let left: Vec<String> = totals
        .into_iter()
        .chain([media])
        .filter(|(number, ..)| *number > 0)
        .map(|(_, weight, text)| severity(weight, &text))
        .collect();
    let left = match left.is_empty() {
        true => "nothing left to correct".to_owned(),
        false => format!("left: {}", left.join(", ")),
    };
    let fixes = match log.applied.len() {
        0 => "nothing to fix".to_owned(),
        number => count(number, "fix"),
    };
    let name = source.name();
    match log.before.all() {
        0 if log.applied.is_empty() && contradicted == 0 => {
            writeln!(out, "{name}: {fixes}; no findings")?;
        }
        before => writeln!(out, "{name}: {fixes}; {} before; {left}", count(before, "finding"))?,
    }
    if log.after.all() > 0 {
        writeln!(out, "{}", faint("run `obvert check` to see the findings that are left"))?;
    }
    if !shown.confirmed && log.fixable.to_confirm > 0 {
        let hint = format!(
            "{} can be fixed with --confirm; --only RULE applies the fixes of one rule",
            log.fixable.to_confirm
        );
        writeln!(out, "{}", faint(&hint))?;
    }
    match &log.written {
        Some(written) => writeln!(out, "written to {written}"),
        None if shown.preview && !log.applied.is_empty() => {
            writeln!(
                out,
                "nothing is written yet: --write fixes the file in place, -o OUT writes a new one"
            )
        }
        None => Ok(()),
    }
}
