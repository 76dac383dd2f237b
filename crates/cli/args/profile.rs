//! The arguments of `obvert profile`.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::check::OwnLists;

/// The commands for profiles.
#[derive(Debug, Subcommand)]
pub(crate) enum Profile {
    /// Report the mistakes of a profile: unknown rules and fields, invalid patterns, contradictory
    /// requirements.
    Check(ProfileCheck),
    /// Draft a profile from surveys that an office has accepted.
    Draft(ProfileDraft),
}

#[derive(Debug, Args)]
#[command(after_help = "Exit status: 0 if there is no mistake, 1 if there is one, 2 on failure.")]
pub(crate) struct ProfileCheck {
    /// The profile (JSON).
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// Use this date (YYYY-MM-DD) as today; suppressions have an end date.
    #[arg(long, value_name = "DATE")]
    pub(crate) today: Option<String>,
    #[command(flatten)]
    pub(crate) own_lists: OwnLists,
}

#[derive(Debug, Args)]
#[command(
    after_help = "A draft requires whatever is true of all these surveys. Delete the requirements \
that hold only by chance before you use it.\n\n\
Exit status: 0 on success, 2 on failure."
)]
pub(crate) struct ProfileDraft {
    /// Accepted surveys: files, folders of CSV tables, or folders of surveys.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// Write the profile to this file instead of standard output.
    #[arg(short, long, value_name = "OUT")]
    pub(crate) output: Option<PathBuf>,
    /// Overwrite OUT if it exists.
    #[arg(long)]
    pub(crate) replace: bool,
    /// Set the id of the profile.
    #[arg(long, default_value = "drafted", value_name = "ID")]
    pub(crate) id: String,
    /// Require something of the rows of a table only if there are at least this many rows.
    #[arg(long, default_value_t = 10, value_name = "ROWS")]
    pub(crate) min_rows: usize,
    /// Require something that each survey has once only if there are at least this many surveys.
    #[arg(long, default_value_t = 3, value_name = "SURVEYS")]
    pub(crate) min_surveys: usize,
    /// Use this date (YYYY-MM-DD) as today.
    #[arg(long, value_name = "DATE")]
    pub(crate) today: Option<String>,
    #[command(flatten)]
    pub(crate) own_lists: OwnLists,
}
