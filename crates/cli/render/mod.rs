//! How things look on a terminal. Colour goes through `anstream`, which leaves it out where nobody can see it.

pub(crate) mod findings;
pub(crate) mod fixes;
pub(crate) mod grades;
pub(crate) mod losses;
pub(crate) mod problems;
pub(crate) mod progress;

use std::io::{self, Write};

use anstyle::{AnsiColor, Style};
use obvert::check::Severity;

use crate::args::Colour;
use crate::{Failure, Status};

/// How many of something, in words.
pub(crate) fn count(count: usize, word: &str) -> String {
    format!("{count} {word}{}", if count == 1 { "" } else { "s" })
}

/// Settles for the whole program when colour is used.
pub(crate) fn set_colour(colour: Colour) {
    match colour {
        // anstream honours NO_COLOR and asks whether it writes to a terminal.
        Colour::Auto => {}
        Colour::Always => anstream::ColorChoice::Always.write_global(),
        Colour::Never => anstream::ColorChoice::Never.write_global(),
    }
}

/// Prints to standard output; a reader that closes it early has what it wanted.
pub(crate) fn out(write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<Status, Failure> {
    let mut sink = io::BufWriter::new(anstream::stdout().lock());
    match write(&mut sink).and_then(|()| sink.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(error.into()),
        _ => Ok(Status::Good),
    }
}

/// A text of somebody's as a terminal may have it: what would command the terminal, break the line or turn the reading direction is
/// shown as a replacement character.
pub(crate) fn plain(text: &str) -> String {
    text.chars().map(|letter| if commands(letter) { char::REPLACEMENT_CHARACTER } else { letter }).collect()
}

/// Whether a character is a control character, or one of those that turn the direction of what stands around it (Unicode standard
/// annex 9).
fn commands(letter: char) -> bool {
    letter.is_control() || matches!(letter, '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{2028}' | '\u{2029}')
}

fn styled(style: Style, text: &str) -> String {
    format!("{style}{text}{style:#}")
}

/// Emphasised.
pub(crate) fn strong(text: &str) -> String {
    styled(Style::new().bold(), text)
}

/// Set back.
pub(crate) fn faint(text: &str) -> String {
    styled(Style::new().dimmed(), text)
}

/// In the colour of a severity. The word always stands beside it.
pub(crate) fn severity(severity: Severity, text: &str) -> String {
    let colour = match severity {
        Severity::Error => AnsiColor::Red,
        Severity::Warning => AnsiColor::Yellow,
        Severity::Note => AnsiColor::Cyan,
    };
    styled(Style::new().bold().fg_color(Some(colour.into())), text)
}

/// Prints what went wrong, with its causes.
pub(crate) fn failure(error: &dyn std::error::Error) {
    let mut sink = anstream::stderr().lock();
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(inner) = cause {
        text = format!("{text}: {inner}");
        cause = inner.source();
    }
    let text = text.lines().map(plain).collect::<Vec<_>>().join("\n");
    let _ = writeln!(sink, "{} {text}", severity(Severity::Error, "obvert:"));
}

/// Prints what is worth knowing beside what was asked for.
pub(crate) fn note(text: &str) {
    let mut sink = anstream::stderr().lock();
    let _ = writeln!(sink, "{} {}", severity(Severity::Note, "note:"), plain(text));
}

/// Prints a text in lines of at most 100 characters. Paragraphs and list items begin on lines of their own; the further
/// lines of a list item, and of a text that begins with an arrow, are indented to its words.
pub(crate) fn wrapped(out: &mut dyn Write, indent: &str, text: &str) -> io::Result<()> {
    let mut block = Block { indent, hang: 0, first: true, line: String::new() };
    for source in text.lines().map(str::trim) {
        let mark = ["-> ", "- "].into_iter().find(|mark| source.starts_with(mark));
        if source.is_empty() || mark.is_some() || source.starts_with('|') {
            block.end_line(out)?;
            (block.hang, block.first) = (mark.map_or(0, str::len), true);
        }
        if source.is_empty() {
            writeln!(out)?;
        }
        for word in source.split_whitespace() {
            block.add(out, &plain(word))?;
        }
    }
    block.end_line(out)
}

/// A paragraph or a list item that is being wrapped.
struct Block<'i> {
    indent: &'i str,
    /// By how many columns its further lines are indented.
    hang: usize,
    first: bool,
    line: String,
}

impl Block<'_> {
    fn add(&mut self, out: &mut dyn Write, word: &str) -> io::Result<()> {
        let room = 100 - self.indent.len() - self.hang;
        if !self.line.is_empty() && self.line.chars().count() + 1 + word.chars().count() > room {
            self.end_line(out)?;
        }
        if !self.line.is_empty() {
            self.line.push(' ');
        }
        self.line.push_str(word);
        Ok(())
    }

    fn end_line(&mut self, out: &mut dyn Write) -> io::Result<()> {
        if self.line.is_empty() {
            return Ok(());
        }
        let hang = if std::mem::take(&mut self.first) { 0 } else { self.hang };
        writeln!(out, "{}{:hang$}{}", self.indent, "", self.line)?;
        self.line.clear();
        Ok(())
    }
}
