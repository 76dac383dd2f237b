//! The `obvert` command: arguments, files and the terminal. What a survey means is the business of
//! the libraries.

mod advice;
mod args;
mod atomic_output;
mod commands;
mod destination;
mod formats;
mod input;
mod kinds;
mod lists;
mod media_audit;
mod media_folder;
mod render;

use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches};

fn main() -> ExitCode {
    let command = args::Arguments::command();
    let matches = command.clone().get_matches();
    advice::note_command(&command, &matches);
    let arguments =
        args::Arguments::from_arg_matches(&matches).unwrap_or_else(|error| error.exit());
    match commands::run(&arguments) {
        Ok(status) => status.into(),
        Err(error) => {
            render::failure(&*error);
            Status::Failed.into()
        }
    }
}

/// The outcome of a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Status {
    /// It succeeded.
    Success,
    /// It succeeded, and there are findings at or above the threshold.
    Findings,
    /// It failed.
    Failed,
}

impl From<Status> for ExitCode {
    fn from(status: Status) -> Self {
        Self::from(match status {
            Status::Success => 0,
            Status::Findings => 1,
            Status::Failed => 2,
        })
    }
}

/// Any error; it is printed with its causes.
pub(crate) type Failure = Box<dyn std::error::Error + Send + Sync>;
