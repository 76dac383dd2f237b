//! The arguments of `obvert grade`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use obvert::convert::Format;

use crate::formats::parse_survey_format;

/// The format of a table of grades.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum TableFormat {
    /// Text for a terminal.
    Text,
    /// JSON for programs (see `obvert schema grades`).
    Json,
    /// CSV for a spreadsheet: one row per pipe and aspect, or per observation with --observations.
    Csv,
}

/// An aspect on the command line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum AspectWord {
    /// The condition of the pipe itself.
    Structural,
    /// What impairs the flow.
    Operational,
}

#[derive(Debug, Args)]
#[command(
    after_help = "A recorded grade counts if there is one, otherwise the computed grade, as in \
ratings. A grade ranks pipes by how soon someone should look at them; it does not mean that a \
pipe is safe.\n\n\
Exit status: 0 on success, 2 on failure."
)]
pub(crate) struct Grade {
    /// Surveys: files, folders of CSV tables, or - for standard input.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// Read the surveys as this format instead of detecting it from name and content.
    #[arg(long, value_parser = parse_survey_format(), value_name = "FORMAT")]
    pub(crate) from: Option<&'static Format>,
    /// Print the table in this format.
    #[arg(long, value_enum, default_value_t = TableFormat::Text, value_name = "FORMAT")]
    pub(crate) format: TableFormat,
    /// Grade by this scheme (JSON) instead of the one that the survey names.
    #[arg(long = "grade-scheme", value_name = "FILE")]
    pub(crate) grade_scheme: Option<PathBuf>,
    /// Add a code list of your own (JSON).
    #[arg(long = "code-list", value_name = "FILE")]
    pub(crate) code_lists: Vec<PathBuf>,
    /// Ignore recorded grades and compute every grade.
    #[arg(long)]
    pub(crate) computed: bool,
    /// List every graded observation with the reason for its grade.
    #[arg(long)]
    pub(crate) observations: bool,
    /// Sort by this aspect, worst pipes first, instead of in the order of the survey.
    #[arg(long, value_enum, value_name = "ASPECT")]
    pub(crate) worst_first: Option<AspectWord>,
}
