//! What the terminal shows. Colour goes through `anstream`, which removes it if the output is not a
//! terminal.

pub(crate) mod excerpt;
pub(crate) mod findings;
pub(crate) mod fixes;
pub(crate) mod grades;
mod line_diff;
pub(crate) mod losses;
pub(crate) mod problems;
pub(crate) mod progress;

use std::io::{self, Write};

use anstyle::{AnsiColor, Style};
use obvert::check::Severity;

use crate::args::Colour;
use crate::{Failure, Status, advice};

/// A count with its noun: `1 pipe`, `2 pipes`.
pub(crate) fn count(count: usize, word: &str) -> String {
    let plural = match count {
        1 => "",
        _ if word.ends_with('x') => "es",
        _ => "s",
    };
    format!("{count} {word}{plural}")
}

/// Sets when the whole program uses colour.
pub(crate) fn set_colour(colour: Colour) {
    match colour {
        // anstream respects NO_COLOR and detects a terminal.
        Colour::Auto => {}
        Colour::Always => anstream::ColorChoice::Always.write_global(),
        Colour::Never => anstream::ColorChoice::Never.write_global(),
    }
}

/// Prints to standard output. It is not an error if the reader closes the pipe early.
pub(crate) fn out(write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<Status, Failure> {
    let mut sink = io::BufWriter::new(anstream::stdout().lock());
    match write(&mut sink).and_then(|()| sink.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(error.into()),
        _ => Ok(Status::Success),
    }
}

/// Makes a text from a survey safe for the terminal: characters that control the terminal, break
/// the line or change the text direction become replacement characters.
pub(crate) fn plain(text: &str) -> String {
    text.chars()
        .map(|letter| if is_control(letter) { char::REPLACEMENT_CHARACTER } else { letter })
        .collect()
}

/// Whether a character is a control character, or changes the text direction (Unicode Standard
/// Annex 9).
fn is_control(letter: char) -> bool {
    let turns = matches!(letter, '\u{2028}'..='\u{202E}' | '\u{2066}'..='\u{2069}');
    letter.is_control() || turns
}

fn styled(style: Style, text: &str) -> String {
    format!("{style}{text}{style:#}")
}

/// Bold text.
pub(crate) fn strong(text: &str) -> String {
    styled(Style::new().bold(), text)
}

/// Dimmed text.
pub(crate) fn faint(text: &str) -> String {
    styled(Style::new().dimmed(), text)
}

/// Text in the colour of a severity. Colour never replaces the word.
pub(crate) fn severity(severity: Severity, text: &str) -> String {
    let colour = match severity {
        Severity::Error => AnsiColor::Red,
        Severity::Warning => AnsiColor::Yellow,
        Severity::Note => AnsiColor::Cyan,
    };
    styled(Style::new().bold().fg_color(Some(colour.into())), text)
}

/// An error with its causes.
pub(crate) fn with_causes(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(inner) = cause {
        text = format!("{text}: {inner}");
        cause = inner.source();
    }
    text
}

/// Prints an error with its causes.
pub(crate) fn failure(error: &(dyn std::error::Error + 'static)) {
    let mut sink = anstream::stderr().lock();
    let mut text = advice::without_number(&with_causes(error));
    if let Some(advice::InLine { excerpt, .. }) = error.downcast_ref() {
        text = format!("{text}\n{excerpt}");
    }
    let text = text.lines().map(plain).collect::<Vec<_>>().join("\n");
    let _ = writeln!(sink, "{} {text}", severity(Severity::Error, "obvert:"));
}

/// Prints a note.
pub(crate) fn note(text: &str) {
    let mut sink = anstream::stderr().lock();
    let _ = writeln!(sink, "{} {}", severity(Severity::Note, "note:"), plain(text));
}

/// Prints a text in lines of at most 100 characters. Paragraphs are kept, and each list item starts
/// on its own line. The further lines of an arrow or a list item are indented.
pub(crate) fn wrapped(out: &mut dyn Write, indent: &str, text: &str) -> io::Result<()> {
    let arrow = if text.starts_with("-> ") { "-> ".len() } else { 0 };
    let (mut hang, mut first) = (arrow, true);
    let mut line = String::new();
    let end =
        |out: &mut dyn Write, line: &mut String, first: &mut bool, hang: usize| -> io::Result<()> {
            if !line.is_empty() {
                let hang = if std::mem::take(first) { 0 } else { hang };
                writeln!(out, "{indent}{}{line}", " ".repeat(hang))?;
                line.clear();
            }
            Ok(())
        };
    for source in text.lines() {
        let item = source.trim_start().starts_with("- ");
        if source.trim().is_empty() {
            end(out, &mut line, &mut first, hang)?;
            writeln!(out)?;
            hang = arrow;
        }
        if item || source.trim_start().starts_with('|') {
            end(out, &mut line, &mut first, hang)?;
        }
        if item {
            (hang, first) = ("- ".len(), true);
        }
        for word in source.split_whitespace() {
            let word = &*plain(word);
            if !line.is_empty()
                && hang + line.chars().count() + 1 + word.chars().count() > 100 - indent.len()
            {
                end(out, &mut line, &mut first, hang)?;
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    end(out, &mut line, &mut first, hang)
}

/// A text that begins with a capital.
pub(crate) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map(|first| first.to_uppercase().chain(chars).collect()).unwrap_or_default()
}
