//! How what was mended looks: a line a fix, what stood there and what stands there now, the lines
//! of the file that change, and what is left for a person to do.

use std::collections::BTreeMap;
use std::io::{self, Write};

use obvert::check::fixing::{AppliedEdit, AppliedFix, FixOutcome, MEDIA_FILE};
use obvert::check::{Edit, Finding, Severity, Subject};
use obvert::model::edit::spelled;
use similar::{ChangeTag, TextDiff};

use super::{faint, severity, strong, wrapped};
use crate::input::Input;

/// How many fixes of one rule are shown before they fold.
const SHOWN: usize = 5;
/// How many lines of the difference are shown before the rest is only counted.
const LINES: usize = 60;
/// How many characters of a line are shown around what changes in it.
const WINDOW: usize = 110;

/// What is to be shown.
pub(crate) struct Shown {
    /// Everything, however much it is.
    pub(crate) all: bool,
    /// The difference, since nothing was written.
    pub(crate) preview: bool,
    /// Whether fixes to confirm were applied.
    pub(crate) confirmed: bool,
}

/// Prints what was done to one survey, and what is left.
pub(crate) fn document(
    out: &mut dyn Write,
    source: &Input<'_>,
    mended: &FixOutcome,
    shown: &Shown,
) -> io::Result<()> {
    let log = &mended.document;
    let mut of_rule: BTreeMap<&str, usize> = BTreeMap::new();
    for applied in &log.applied {
        let count = of_rule.entry(&applied.rule).or_default();
        *count += 1;
        if shown.all || *count <= SHOWN {
            one(out, applied, mended)?;
        }
    }
    for (rule, count) in of_rule.iter().filter(|(_, count)| !shown.all && **count > SHOWN) {
        writeln!(out, "and {} more of {}; --all lists them", count - SHOWN, strong(rule))?;
    }
    if shown.preview && !log.applied.is_empty() {
        difference(out, source, &mended.text, shown.all)?;
    }
    for left in &log.skipped {
        let about = describe(&left.subject, mended).unwrap_or_default();
        let head = format!(
            "{} {} {}",
            strong("not mended"),
            faint(&format!("[{}]", left.rule)),
            faint(&left.subject.path)
        );
        writeln!(out, "{head}  {about}")?;
        wrapped(out, "  ", &format!("{}: {}", left.does, left.why))?;
    }
    if !log.media_missing.is_empty() {
        let missing = log.media_missing.len();
        writeln!(
            out,
            "{} not beside the survey, so nothing was learned from {}: {}{}",
            match missing {
                1 => "1 media file is".to_owned(),
                _ => format!("{missing} media files are"),
            },
            if missing == 1 { "it" } else { "them" },
            log.media_missing[0],
            if missing > 1 { ", …" } else { "" },
        )?;
    }
    summary(out, source, mended, shown)
}

fn one(out: &mut dyn Write, applied: &AppliedFix, mended: &FixOutcome) -> io::Result<()> {
    let place =
        applied.at.as_ref().map_or_else(|| applied.subject.path.clone(), ToString::to_string);
    let about =
        describe(&applied.subject, mended).map(|about| format!("  {about}")).unwrap_or_default();
    let word = if applied.safe { "mended" } else { "mended as you state" };
    writeln!(
        out,
        "{} {} {}{about}",
        strong(word),
        faint(&format!("[{}]", applied.rule)),
        faint(&place)
    )?;
    // Some words of what is done name the values already.
    let says_all = |change: &&AppliedEdit| match (&change.edit, &change.before) {
        (Edit::Replace { value, .. }, Some(before)) => {
            applied.does.contains(&spelled(before)) && applied.does.contains(&spelled(value))
        }
        _ => false,
    };
    let changes = applied.changes.iter().filter(|change| !says_all(change));
    let changes: Vec<String> = changes.filter_map(values).take(3).collect();
    let more = match applied.changes.len() {
        0..=3 => String::new(),
        count if applied.changes.iter().any(|change| matches!(change.edit, Edit::Move { .. })) => {
            format!(" ({count} change their place)")
        }
        count => format!(", … ({count} places)"),
    };
    let does = &applied.does;
    let text = if changes.is_empty() {
        format!("{does}{more}")
    } else {
        format!("{does}: {}{more}", changes.join(", "))
    };
    wrapped(out, "  ", &text)
}

/// What a fix is about, in words.
fn describe(subject: &Subject, mended: &FixOutcome) -> Option<String> {
    subject.describe(
        mended.report.documents.first().and_then(|document| document.info.length_unit.as_deref()),
    )
}

/// What stood in a place and what stands there now.
fn values(change: &AppliedEdit) -> Option<String> {
    let key = |path: &str| path.rsplit('/').next().unwrap_or_default().to_owned();
    let before = change.before.as_ref().map(spelled).unwrap_or_default();
    Some(match &change.edit {
        Edit::Replace { value, .. } => format!("{before} -> {}", spelled(value)),
        Edit::Add { path, value } => format!("{} is {}", key(path), spelled(value)),
        Edit::Remove { path } => format!("{} ({before}) is taken out", key(path)),
        _ => return None,
    })
}

/// Prints the lines that differ, as a unified difference. What is not meant for a program is cut to
/// what a person can read.
pub(crate) fn difference(
    out: &mut dyn Write,
    source: &Input<'_>,
    after: &str,
    all: bool,
) -> io::Result<()> {
    let before = String::from_utf8_lossy(source.bytes());
    if before == after {
        return Ok(());
    }
    let name = source.name();
    if all {
        let diff = TextDiff::from_lines(&*before, after);
        return write!(out, "{}", diff.unified_diff().context_radius(3).header(name, name));
    }
    let diff = TextDiff::from_lines(&*before, after);
    let mut printed = 0;
    let mut hidden = 0;
    for group in diff.grouped_ops(0) {
        let mut removed = Vec::new();
        let mut added = Vec::new();
        for change in group.iter().flat_map(|op| diff.iter_changes(op)) {
            let line = change.value().trim_end_matches(['\r', '\n']);
            match change.tag() {
                ChangeTag::Delete => {
                    removed.push((change.old_index().unwrap_or_default() + 1, line))
                }
                ChangeTag::Insert => added.push((change.new_index().unwrap_or_default() + 1, line)),
                ChangeTag::Equal => {}
            }
        }
        for index in 0..removed.len().max(added.len()) {
            if printed >= LINES {
                hidden += 1;
                continue;
            }
            let (old, new) = (removed.get(index), added.get(index));
            let from = match (old, new) {
                (Some((_, old)), Some((_, new))) => first_difference(old, new),
                _ => 0,
            };
            for (sign, weight, line) in [("-", Severity::Error, old), ("+", Severity::Note, new)] {
                if let Some((number, line)) = line {
                    writeln!(
                        out,
                        "  {} {}",
                        faint(&format!("{number:>5} |")),
                        severity(weight, &format!("{sign} {}", window(line, from)))
                    )?;
                    printed += 1;
                }
            }
        }
    }
    if hidden > 0 {
        writeln!(out, "  and {hidden} more lines change; --all shows them")?;
    }
    Ok(())
}

/// The first character in which two lines differ.
fn first_difference(one: &str, other: &str) -> usize {
    one.chars().zip(other.chars()).take_while(|(a, b)| a == b).count()
}

/// A line, cut to what stands around a character, without what a terminal would take for a command.
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

fn summary(
    out: &mut dyn Write,
    source: &Input<'_>,
    mended: &FixOutcome,
    shown: &Shown,
) -> io::Result<()> {
    let log = &mended.document;
    let plural =
        |count: usize, word: &str| format!("{count} {word}{}", if count == 1 { "" } else { "s" });
    let name = source.name();
    // What can be confirmed is listed, so that nobody confirms what he has not read.
    if !shown.confirmed && log.fixable.to_confirm > 0 {
        let mut of_rule: BTreeMap<&str, Vec<&Finding>> = BTreeMap::new();
        for finding in mended
            .report
            .findings
            .iter()
            .filter(|finding| finding.fix.as_ref().is_some_and(|fix| !fix.safe))
        {
            of_rule.entry(&finding.rule).or_default().push(finding);
        }
        writeln!(out, "{}", strong("can be mended if you confirm it:"))?;
        for (rule, findings) in &of_rule {
            for finding in findings.iter().take(if shown.all { usize::MAX } else { 2 }) {
                let about = describe(&finding.subject, mended)
                    .unwrap_or_else(|| finding.subject.path.clone());
                let does = finding.fix.as_ref().map(|fix| fix.does.as_str()).unwrap_or_default();
                wrapped(out, "  ", &format!("- [{rule}] {about}: {does}"))?;
            }
            if !shown.all && findings.len() > 2 {
                writeln!(out, "  - and {} more of {rule}", findings.len() - 2)?;
            }
        }
    }
    let totals = log.after;
    let left: Vec<String> = [Severity::Error, Severity::Warning, Severity::Note]
        .into_iter()
        .filter(|weight| totals.of(*weight) > 0)
        .map(|weight| severity(weight, &plural(totals.of(weight), weight.as_str())))
        .collect();
    let files = log.skipped.iter().filter(|left| left.rule == MEDIA_FILE).count();
    let files = (files > 0)
        .then(|| severity(Severity::Error, &format!("{} in doubt", plural(files, "media file"))));
    let left: Vec<String> = left.into_iter().chain(files).collect();
    let left = if left.is_empty() {
        "nothing left to correct".to_owned()
    } else {
        format!("left: {}", left.join(", "))
    };
    let fixes = match log.applied.len() {
        0 => "nothing to mend".to_owned(),
        count => plural(count, "fix").replace("fixs", "fixes"),
    };
    writeln!(out, "{name}: {fixes}; {} before, {left}", plural(log.before.all(), "finding"))?;
    if !shown.confirmed && log.fixable.to_confirm > 0 {
        let said = format!(
            "{} can be mended with --confirm; --only RULE takes one kind",
            log.fixable.to_confirm
        );
        writeln!(out, "{}", faint(&said))?;
    }
    match &log.written {
        Some(written) => writeln!(out, "written to {written}"),
        None if shown.preview && !log.applied.is_empty() => {
            writeln!(
                out,
                "nothing is written yet: --write mends the file in its place, -o OUT writes another"
            )
        }
        None => Ok(()),
    }
}
