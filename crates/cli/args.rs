//! The command line. Help, completions and the manual page are all made from these definitions.

mod archive;
mod check;
mod convert;
mod fix;
mod grade;
mod layout;
mod profile;

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use clap_complete::Shell;
use obvert::convert::Format;

pub(crate) use self::archive::{Archive, ArchiveList, Pack, Unpack};
pub(crate) use self::check::{Check, OwnLists, ReportFormat, RuleOptions, Threshold};
pub(crate) use self::convert::Convert;
pub(crate) use self::fix::{Fix, FixFormat, Migrate};
pub(crate) use self::grade::{AspectWord, Grade, TableFormat};
pub(crate) use self::layout::{Layout, LayoutCheck, LayoutDraft};
pub(crate) use self::profile::{Profile, ProfileCheck, ProfileDraft};
use crate::formats::parse_survey_format;

/// Check, fix, convert and explain pipe inspection surveys in the open Obvert format.
///
/// A clean check means that a record agrees with itself and with the format. It does not mean that
/// a pipe is safe, or that a located position is a safe place to dig: follow local codes and leave
/// the work to licensed people.
#[derive(Debug, Parser)]
#[command(name = "obvert", version, max_term_width = 100, arg_required_else_help = true)]
#[command(after_help = "Exit status: 0 on success, 1 if a check has findings, 2 on failure.")]
pub(crate) struct Arguments {
    /// Set when to use colour; auto respects NO_COLOR.
    #[arg(long, global = true, value_enum, default_value_t = Colour::Auto, value_name = "WHEN")]
    pub(crate) colour: Colour,
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// When to use colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Colour {
    /// Only on a terminal.
    Auto,
    /// In every output.
    Always,
    /// In no output.
    Never,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Check surveys against the rules of the format; media files are not opened.
    Check(Check),
    /// Fix what can be fixed automatically; nothing is written without --write or --output.
    Fix(Fix),
    /// Migrate surveys to the current version of the format; nothing is written without --write or
    /// --output.
    Migrate(Migrate),
    /// Convert a survey to another format.
    Convert(Convert),
    /// Pack, unpack and list archives: files with one survey per line.
    ///
    /// Surveys are read and written one at a time, so an archive can be of any size. `obvert check`
    /// reads archives too.
    #[command(subcommand)]
    Archive(Archive),
    /// Print the digest by which another document refers to a survey.
    Digest(Digest),
    /// Grade the pipes of surveys by a grade scheme.
    Grade(Grade),
    /// Check or draft a submission profile.
    #[command(subcommand)]
    Profile(Profile),
    /// Check or draft a layout, which describes an office's own table.
    #[command(subcommand)]
    Layout(Layout),
    /// Explain a rule, a code, a field or a trade term.
    Explain(Explain),
    /// List the rules.
    Rules(Rules),
    /// List the schemas, or print one.
    Schema(Schema),
    /// Print completions for a shell.
    Completions {
        /// The shell.
        shell: Shell,
    },
    /// Print the manual page of obvert or of a command (roff).
    Manual(Manual),
}

#[derive(Debug, Args)]
pub(crate) struct Manual {
    /// The command, such as check or archive pack.
    #[arg(value_name = "COMMAND")]
    pub(crate) command: Vec<String>,
}

/// The format of a list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum ListFormat {
    /// Text for a terminal.
    Text,
    /// JSON for programs.
    Json,
}

#[derive(Debug, Args)]
#[command(
    after_help = "The digest is the SHA-256 of the survey's canonical form (RFC 8785). It covers \
the content: a survey has the same digest in every format, with any order of keys and any white \
space.\n\n\
Exit status: 0 on success, 2 on failure."
)]
pub(crate) struct Digest {
    /// Surveys: files, folders of CSV tables, or - for standard input.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// Read the surveys as this format instead of detecting it.
    #[arg(long, value_parser = parse_survey_format(), value_name = "FORMAT")]
    pub(crate) from: Option<&'static Format>,
    /// Print the canonical form instead, without a final newline.
    #[arg(long)]
    pub(crate) canonical: bool,
}

#[derive(Debug, Args)]
pub(crate) struct Explain {
    /// A rule (distance-decreases), a code (crack.longitudinal), a field (runs.observations.at,
    /// profile.fields.where) or a trade term (offset joint).
    #[arg(value_name = "NAME", required = true)]
    pub(crate) name: Vec<String>,
}

#[derive(Debug, Args)]
pub(crate) struct Rules {
    /// Print the list in this format.
    #[arg(long, value_enum, default_value_t = ListFormat::Text, value_name = "FORMAT")]
    pub(crate) format: ListFormat,
}

#[derive(Debug, Args)]
pub(crate) struct Schema {
    /// The schema to print; without a name, all schemas are listed.
    #[arg(value_name = "NAME")]
    pub(crate) name: Option<String>,
}
