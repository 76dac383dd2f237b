//! The arguments of the commands that change a file in place: `obvert fix` and `obvert migrate`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::ListFormat;
use super::check::{RuleOptions, Threshold};
use crate::destination::Destination;

#[derive(Debug, Args)]
#[command(
    after_help = "Nothing is written without --write or --output. Only JSON documents can be \
fixed; convert other formats first. A recorded digest or size that contradicts its media file is \
reported and never overwritten.\n\n\
Exit status, for the survey after the fixes: 0 if no finding at or above --deny is left, 1 if one \
is, 2 on failure."
)]
pub(crate) struct Fix {
    /// Surveys: JSON documents, or - for standard input.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    #[command(flatten)]
    pub(crate) destination: Destination,
    /// Also apply the fixes that need confirmation: you confirm what they state.
    #[arg(long)]
    pub(crate) confirm: bool,
    /// Apply only the fixes of this rule or structural problem, or those taken from media files
    /// (media-file); can be repeated.
    #[arg(long, value_name = "RULE")]
    pub(crate) only: Vec<String>,
    /// Do not open the media files next to the survey.
    #[arg(long)]
    pub(crate) no_media: bool,
    /// Print the log in this format.
    #[arg(long, value_enum, default_value_t = FixFormat::Text, value_name = "FORMAT")]
    pub(crate) format: FixFormat,
    /// List every fix and every changed line.
    #[arg(long)]
    pub(crate) all: bool,
    /// Exit with status 1 if findings of this severity or worse are left.
    #[arg(long, value_enum, default_value_t = Threshold::Error, value_name = "SEVERITY")]
    pub(crate) deny: Threshold,
    #[command(flatten)]
    pub(crate) rules: RuleOptions,
}

/// The format of the log of `fix`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum FixFormat {
    /// Text for a terminal: each fix, and in a preview the lines that would change.
    Text,
    /// One JSON object (see `obvert schema fix-log`).
    Json,
    /// A unified diff of the changed lines, for patch(1).
    Diff,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Nothing is written without --write or --output. Everything that no step changes \
stays the same, byte for byte. Other commands read older versions without migration. In a profile, \
the old names of renamed rules are replaced.\n\n\
Exit status: 0 on success, also if there is nothing to migrate, 2 on failure."
)]
pub(crate) struct Migrate {
    /// Surveys or profiles: JSON, or - for standard input.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    #[command(flatten)]
    pub(crate) destination: Destination,
    /// Migrate to this version.
    #[arg(long, default_value = obvert::model::versions::CURRENT, value_name = "VERSION")]
    pub(crate) to: String,
    /// Print the steps in this format; json is one object (see `obvert schema migration`).
    #[arg(long, value_enum, default_value_t = ListFormat::Text, value_name = "FORMAT")]
    pub(crate) format: ListFormat,
    /// List every location that a step changes.
    #[arg(long)]
    pub(crate) all: bool,
}
