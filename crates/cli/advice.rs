//! What an error advises: only options that the command has, plain words for the errors of the
//! operating system, and the line in which JSON is broken.

use std::collections::BTreeSet;
use std::fmt;
use std::io::{self, ErrorKind};
use std::sync::OnceLock;

use clap::{ArgMatches, Command};

use crate::Failure;

/// The long options of the command that runs.
static OPTIONS: OnceLock<BTreeSet<String>> = OnceLock::new();

/// Records the options of the command that runs.
pub(crate) fn note_command(command: &Command, matches: &ArgMatches) {
    let (mut command, mut matches) = (command, matches);
    while let Some((name, inner)) = matches.subcommand() {
        let Some(found) = command.find_subcommand(name) else { break };
        (command, matches) = (found, inner);
    }
    let options = command.get_arguments().filter_map(|argument| argument.get_long());
    let _ = OPTIONS.set(options.map(str::to_owned).collect());
}

/// Whether the command that runs has an option, named without its dashes.
pub(crate) fn has(option: &str) -> bool {
    OPTIONS.get().is_none_or(|options| options.contains(option))
}

/// How to read an office's own table.
pub(crate) fn for_table() -> &'static str {
    if has("layout") {
        "give its --layout"
    } else {
        "convert it first with obvert convert and its --layout"
    }
}

/// An error of the operating system in plain words.
pub(crate) fn system(error: &io::Error) -> String {
    let why = match error.kind() {
        ErrorKind::NotFound => "there is no such file or folder",
        ErrorKind::PermissionDenied => "you do not have the permission for it",
        ErrorKind::IsADirectory => "is a folder; name a file",
        ErrorKind::NotADirectory => "a part of its path is a file, not a folder",
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => "there is no space left",
        ErrorKind::ReadOnlyFilesystem => "its file system is read-only",
        ErrorKind::FileTooLarge => "the file is too large for its file system",
        ErrorKind::InvalidFilename => "its name is too long or not allowed",
        ErrorKind::InvalidInput | ErrorKind::Unsupported => {
            "the operating system cannot do that with this file"
        }
        ErrorKind::UnexpectedEof => "the file ends too early",
        _ => return without_number(&error.to_string()).to_lowercase(),
    };
    why.to_owned()
}

/// A message without the numbers that the operating system gives its errors.
pub(crate) fn without_number(message: &str) -> String {
    let mut parts = message.split(" (os error ");
    let mut text = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        text.push_str(part.split_once(')').map_or(part, |(_, rest)| rest));
    }
    text
}

/// The longest part of a line that is shown.
const WINDOW: usize = 80;

/// An error in a file, with the line that it is about. Only the terminal shows the line; a report
/// has the message.
#[derive(Debug)]
pub(crate) struct InLine {
    message: String,
    /// The line, and a mark under the place.
    pub(crate) excerpt: String,
}

impl fmt::Display for InLine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for InLine {}

/// An error with the line that it is about, if its message begins with the name of the file, a line
/// and a column.
pub(crate) fn with_line(name: &str, message: String, text: &[u8]) -> Failure {
    match excerpt(name, &message, text) {
        Some(excerpt) => InLine { message, excerpt }.into(),
        None => message.into(),
    }
}

fn excerpt(name: &str, message: &str, text: &[u8]) -> Option<String> {
    let mut parts = message.strip_prefix(name)?.strip_prefix(':')?.splitn(3, ':');
    let number: usize = parts.next()?.parse().ok()?;
    let column: usize = parts.next()?.parse().ok()?;
    let line = text.split(|byte| *byte == b'\n').nth(number.checked_sub(1)?)?;
    let line = String::from_utf8_lossy(line).replace('\t', " ");
    let chars: Vec<char> = line.trim_end_matches('\r').chars().collect();
    let at = column.saturating_sub(1).min(chars.len());
    let indent = chars.iter().take_while(|letter| letter.is_whitespace()).count().min(at);
    let from = if chars.len() - indent <= WINDOW {
        indent
    } else {
        at.saturating_sub(WINDOW / 2).max(indent)
    };
    let to = (from + WINDOW).min(chars.len());
    let (before, after) =
        (if from > indent { "…" } else { "" }, if to < chars.len() { "…" } else { "" });
    let shown: String = chars[from..to].iter().collect();
    let gap = " ".repeat(at - from + before.chars().count());
    Some(format!("{number:>5} | {before}{shown}{after}\n      | {gap}^"))
}

#[cfg(test)]
#[allow(clippy::expect_used)]
mod tests {
    use super::{excerpt, system};

    #[test]
    fn the_line_of_an_error_is_shown() {
        let text = b"{\n\t\"id\": 1,\r\n  // why\n}";
        let shown = excerpt("a.json", "a.json:3:3: expected a key", text);
        assert_eq!(shown.as_deref(), Some("    3 | // why\n      | ^"));
        let long = format!("{{\"a\": \"{}\" \"b\"}}", "x".repeat(500));
        let shown = excerpt("a.json", "a.json:1:510: expected a comma", long.as_bytes());
        let shown = shown.expect("a line");
        let lines: Vec<&str> = shown.lines().collect();
        let at = |line: &str, letter: char| line.chars().position(|one| one == letter);
        let mark = at(lines[1], '^').expect("a mark");
        assert_eq!(lines[0].chars().nth(mark), Some('"'), "{shown}");
        for message in ["b.json:1:1: x", "a.json: x", "a.json:9:1: x", "a.json:0:1: x"] {
            assert_eq!(excerpt("a.json", message, text), None, "{message}");
        }
    }

    #[test]
    fn no_number_of_a_system_error_is_shown() {
        for number in 1..120 {
            let error = std::io::Error::from_raw_os_error(number);
            assert!(!system(&error).contains("os error"), "{}", system(&error));
        }
    }
}
