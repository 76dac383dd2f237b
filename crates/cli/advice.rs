//! What an error advises: only options that the command has, plain words for the errors of the
//! operating system, and the line in which JSON is broken.

use std::collections::BTreeSet;
use std::fmt;
use std::io::{self, ErrorKind};
use std::sync::OnceLock;

use clap::{ArgMatches, Command};
use obvert::check::Location;

use crate::Failure;
use crate::render::excerpt::{SourceLines, Texts};

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

/// An error with the line that it is about, if the source has lines to show.
pub(crate) fn with_line(source: &dyn Texts, at: Option<&Location>, message: String) -> Failure {
    // The column of a table is a cell, which the message names.
    let at = at.filter(|at| at.column.is_some() && at.heading.is_none());
    match at.and_then(|at| SourceLines::new(source).unstyled(at)) {
        Some(excerpt) => InLine { message, excerpt }.into(),
        None => message.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::system;

    #[test]
    fn no_number_of_a_system_error_is_shown() {
        for number in 1..120 {
            let error = std::io::Error::from_raw_os_error(number);
            assert!(!system(&error).contains("os error"), "{}", system(&error));
        }
    }
}
