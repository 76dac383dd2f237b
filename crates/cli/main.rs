//! The `obvert` command. It reads files, calls the libraries and prints; what a survey means is
//! decided there, not here.

mod args;
mod atomic_output;
mod commands;
mod formats;
mod input;
mod lists;
mod media_folder;
mod render;

use std::process::ExitCode;

use clap::Parser;

fn main() -> ExitCode {
    let arguments = args::Arguments::parse();
    match commands::run(&arguments) {
        Ok(status) => status.into(),
        Err(error) => {
            render::failure(&*error);
            Status::Failed.into()
        }
    }
}

/// What a command ends with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Status {
    /// Done, and nothing to say against it.
    Good,
    /// Done, and there are findings at or above the threshold.
    Findings,
    /// It could not be done.
    Failed,
}

impl From<Status> for ExitCode {
    fn from(status: Status) -> Self {
        Self::from(match status {
            Status::Good => 0,
            Status::Findings => 1,
            Status::Failed => 2,
        })
    }
}

/// Any error, to be shown with its causes.
pub(crate) type Failure = Box<dyn std::error::Error + Send + Sync>;
