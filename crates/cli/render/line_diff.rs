//! The lines that change between two texts, as hunks or as a unified diff.

use std::io::{self, Write};
use std::ops::Range;

use imara_diff::{Algorithm, Diff, InternedInput};

/// How many unchanged lines a unified diff shows around a change.
const CONTEXT: usize = 3;

/// The difference of two texts by lines.
pub(super) struct LineDiff<'t> {
    before: Vec<&'t str>,
    after: Vec<&'t str>,
    /// The changed lines: numbers from 0 in the first text and in the second.
    pub(super) hunks: Vec<(Range<usize>, Range<usize>)>,
}

impl<'t> LineDiff<'t> {
    pub(super) fn new(before: &'t str, after: &'t str) -> Self {
        let input = InternedInput::new(before, after);
        let mut diff = Diff::compute(Algorithm::Histogram, &input);
        diff.postprocess_lines(&input);
        let lines = |range: Range<u32>| range.start as usize..range.end as usize;
        Self {
            before: before.split_inclusive('\n').collect(),
            after: after.split_inclusive('\n').collect(),
            hunks: diff.hunks().map(|hunk| (lines(hunk.before), lines(hunk.after))).collect(),
        }
    }

    /// Lines of the first text, each with its number from 1.
    pub(super) fn removed(&self, lines: &Range<usize>) -> Vec<(usize, &'t str)> {
        numbered(&self.before, lines)
    }

    /// Lines of the second text, each with its number from 1.
    pub(super) fn added(&self, lines: &Range<usize>) -> Vec<(usize, &'t str)> {
        numbered(&self.after, lines)
    }

    /// Writes a unified diff (POSIX, `diff -u`), with one name for both texts.
    pub(super) fn unified(&self, out: &mut dyn Write, name: &str) -> io::Result<()> {
        writeln!(out, "--- {name}\n+++ {name}")?;
        for group in self.groups() {
            let (Some(first), Some(last)) = (group.first(), group.last()) else { continue };
            let start = first.0.start.saturating_sub(CONTEXT);
            let end = (last.0.end + CONTEXT).min(self.before.len());
            // What is unchanged before and after the group is as long in both texts.
            let new_start = first.1.start - (first.0.start - start);
            let new_end = last.1.end + (end - last.0.end);
            let (old, new) = (span(&(start..end)), span(&(new_start..new_end)));
            writeln!(out, "@@ -{old} +{new} @@")?;
            let mut at = start;
            for (removed, added) in group {
                lines(out, ' ', &self.before[at..removed.start])?;
                lines(out, '-', &self.before[removed.clone()])?;
                lines(out, '+', &self.after[added.clone()])?;
                at = removed.end;
            }
            lines(out, ' ', &self.before[at..end])?;
        }
        Ok(())
    }

    /// Hunks whose context touches are printed together.
    fn groups(&self) -> Vec<&[(Range<usize>, Range<usize>)]> {
        let near = |a: &(Range<usize>, Range<usize>), b: &(Range<usize>, Range<usize>)| {
            b.0.start - a.0.end <= 2 * CONTEXT
        };
        self.hunks.chunk_by(near).collect()
    }
}

fn lines(out: &mut dyn Write, sign: char, lines: &[&str]) -> io::Result<()> {
    for line in lines {
        write!(out, "{sign}{line}")?;
        if !line.ends_with('\n') {
            writeln!(out, "\n\\ No newline at end of file")?;
        }
    }
    Ok(())
}

fn numbered<'t>(lines: &[&'t str], range: &Range<usize>) -> Vec<(usize, &'t str)> {
    let bare = |line: &&'t str| line.trim_end_matches(['\r', '\n']);
    range.clone().zip(&lines[range.clone()]).map(|(index, line)| (index + 1, bare(line))).collect()
}

/// Lines as the header of a hunk names them: the first and how many. If there are none, the line
/// before them.
fn span(lines: &Range<usize>) -> String {
    match lines.len() {
        0 => format!("{},0", lines.start),
        1 => (lines.start + 1).to_string(),
        many => format!("{},{many}", lines.start + 1),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unified(before: &str, after: &str) -> String {
        let mut out = Vec::new();
        LineDiff::new(before, after).unified(&mut out, "f").expect("memory does not fail");
        String::from_utf8(out).expect("text")
    }

    /// Applies a unified diff, as its format defines.
    fn patched(before: &str, diff: &str) -> String {
        let old: Vec<&str> = before.split_inclusive('\n').collect();
        let (mut at, mut new) = (0, String::new());
        for line in diff.split_inclusive('\n').skip(2) {
            let (sign, text) = line.split_at(1);
            match sign {
                "@" => {
                    let numbers = text.trim_start_matches("@ -");
                    let old_span = numbers.split(' ').next().expect("a span");
                    let (start, count) = old_span.split_once(',').unwrap_or((old_span, "1"));
                    let start: usize = start.parse().expect("a number");
                    let start = if count == "0" { start } else { start - 1 };
                    old[at..start].iter().for_each(|line| new.push_str(line));
                    at = start;
                }
                " " => {
                    assert_eq!(old[at].trim_end_matches('\n'), text.trim_end_matches('\n'));
                    new.push_str(old[at]);
                    at += 1;
                }
                "-" => at += 1,
                "+" => new.push_str(text),
                _ => {
                    // The line before has no newline, whatever side it is on.
                    if !before.ends_with('\n') && at == old.len() && new.ends_with(old[at - 1]) {
                        continue;
                    }
                    new.truncate(new.trim_end_matches('\n').len());
                }
            }
        }
        old[at..].iter().for_each(|line| new.push_str(line));
        new
    }

    #[test]
    fn a_unified_diff_makes_the_second_text_of_the_first() {
        let mut random = fastrand::Rng::with_seed(3);
        for _ in 0..2000 {
            let lines = random.usize(0..30);
            let before: Vec<String> =
                (0..lines).map(|_| format!("{}\n", random.u8(0..9))).collect();
            let mut after = before.clone();
            for _ in 0..random.usize(0..4) {
                let at = random.usize(0..=after.len());
                match random.u8(0..3) {
                    0 => after.insert(at, "new\n".to_owned()),
                    1 if at < after.len() => drop(after.remove(at)),
                    _ if at < after.len() => after[at] = "other\n".to_owned(),
                    _ => {}
                }
            }
            let (before, after) = (before.concat(), after.concat());
            let diff = unified(&before, &after);
            assert_eq!(patched(&before, &diff), after, "{diff}");
        }
    }

    #[test]
    fn a_missing_newline_at_the_end_is_marked() {
        assert_eq!(
            unified("a\nb", "a\nc\n"),
            "--- f\n+++ f\n@@ -1,2 +1,2 @@\n a\n-b\n\\ No newline at end of file\n+c\n"
        );
        assert_eq!(unified("", "a\n"), "--- f\n+++ f\n@@ -0,0 +1 @@\n+a\n");
    }
}
