//! The commands, one file each.

mod archive;
mod check;
mod convert;
mod digest;
mod explain;
mod fix;
mod grade;
mod layout;
mod manual;
mod migrate;
mod outputs;
mod profile;
mod rules;
mod schema;

use std::io::Write;

use clap::CommandFactory;

use crate::args::{Arguments, Command};
use crate::{Failure, Status, render};

/// Runs the command that the arguments name.
pub(crate) fn run(arguments: &Arguments) -> Result<Status, Failure> {
    render::set_colour(arguments.colour);
    match &arguments.command {
        Command::Check(check) => check::run(check),
        Command::Fix(fix) => fix::run(fix),
        Command::Migrate(migrate) => migrate::run(migrate),
        Command::Convert(convert) => convert::run(convert),
        Command::Archive(archive) => archive::run(archive),
        Command::Digest(digest) => digest::run(digest),
        Command::Grade(grade) => grade::run(grade),
        Command::Profile(profile) => profile::run(profile),
        Command::Layout(layout) => layout::run(layout),
        Command::Explain(explain) => explain::run(&explain.name.join(" ")),
        Command::Rules(rules) => rules::run(rules.format),
        Command::Schema(schema) => schema::run(schema.name.as_deref()),
        Command::Completions { shell } => {
            let mut script = Vec::new();
            clap_complete::generate(*shell, &mut Arguments::command(), "obvert", &mut script);
            print(&script)
        }
        Command::Manual(manual) => manual::run(&manual.command),
    }
}

/// Prints to standard output. It is not an error if the reader closes the pipe early, as in
/// `obvert rules | head`.
pub(crate) fn print(bytes: &[u8]) -> Result<Status, Failure> {
    let mut out = std::io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Err(error.into()),
        _ => Ok(Status::Success),
    }
}
