//! The arguments of `obvert check`, and the options that every command with a checker shares.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use obvert::convert::Format;

use crate::formats::parse_input_format;

/// The format of a report.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum ReportFormat {
    /// Text for a terminal.
    Text,
    /// One JSON object (see `obvert schema report`).
    Json,
    /// JSON Lines: a head, one finding per line, and an end.
    Jsonl,
    /// SARIF 2.1.0 for code hosts and editors.
    Sarif,
    /// JUnit XML for build servers: one suite per survey, one case per rule.
    Junit,
    /// GitHub Actions annotations.
    Github,
    /// A table for a spreadsheet.
    Csv,
    /// A web page that draws each pipe with its findings.
    Html,
}

/// The severity that makes a command fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Threshold {
    /// Errors.
    Error,
    /// Warnings and errors.
    Warning,
    /// All findings.
    Note,
}

#[derive(Debug, Args)]
#[command(after_help = format!("{}\n\n\
    Exit status: 0 if no finding is at or above --deny, 1 if one is, 2 on failure.",
    obvert::check::output::CAUTION))]
pub(crate) struct Check {
    /// Surveys: files, folders of CSV tables, archives (.jsonl), or - for standard input.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// Read the surveys as this format instead of detecting it from name and content.
    #[arg(long, value_parser = parse_input_format(), value_name = "FORMAT")]
    pub(crate) from: Option<&'static Format>,
    /// Read an office's own tables by this layout (JSON).
    #[arg(long, value_name = "LAYOUT")]
    pub(crate) layout: Option<PathBuf>,
    /// Look for the media files in this folder, instead of the one that the survey is in.
    #[arg(long, value_name = "DIR", conflicts_with = "no_media")]
    pub(crate) media: Option<PathBuf>,
    /// Do not open media files.
    #[arg(long)]
    pub(crate) no_media: bool,
    /// Keep a log of the media files in FILE; files that have not changed since are not read again.
    #[arg(long, value_name = "FILE", conflicts_with = "no_media")]
    pub(crate) media_log: Option<PathBuf>,
    /// Print the report in this format.
    #[arg(long, value_enum, default_value_t = ReportFormat::Text, value_name = "FORMAT")]
    pub(crate) format: ReportFormat,
    /// Write the report to a file as well, in any format; can be repeated.
    #[arg(long, value_name = "FORMAT=FILE")]
    pub(crate) also: Vec<String>,
    /// Overwrite the files of --also if they exist.
    #[arg(long)]
    pub(crate) replace: bool,
    /// Report only findings that this earlier report (--all --format json) does not have.
    #[arg(long, value_name = "REPORT")]
    pub(crate) baseline: Option<PathBuf>,
    /// Exit with status 1 for findings of this severity or worse.
    #[arg(long, value_enum, default_value_t = Threshold::Error, value_name = "SEVERITY")]
    pub(crate) deny: Threshold,
    /// List every finding: do not fold similar ones, and do not stop at 1000 per rule.
    #[arg(long)]
    pub(crate) all: bool,
    #[command(flatten)]
    pub(crate) rules: RuleOptions,
}

/// The options that decide which rules run, and how.
#[derive(Debug, Args)]
pub(crate) struct RuleOptions {
    /// Check the requirements of this submission profile (JSON) as well.
    #[arg(long, value_name = "FILE")]
    pub(crate) profile: Option<PathBuf>,
    /// Use this date (YYYY-MM-DD) as today.
    #[arg(long, value_name = "DATE")]
    pub(crate) today: Option<String>,
    /// Set the severity of a rule to error, warning, note or off; overrides the profile.
    #[arg(long = "severity", value_name = "RULE=SEVERITY")]
    pub(crate) severities: Vec<String>,
    /// Set a limit of a rule, in the unit that `obvert explain RULE` shows; overrides the profile.
    #[arg(long = "limit", value_name = "RULE.LIMIT=NUMBER")]
    pub(crate) limits: Vec<String>,
    #[command(flatten)]
    pub(crate) own_lists: OwnLists,
}

/// The code lists and grade schemes of an office.
#[derive(Debug, Args)]
pub(crate) struct OwnLists {
    /// Add a code list of your own (JSON).
    #[arg(long = "code-list", value_name = "FILE")]
    pub(crate) code_lists: Vec<PathBuf>,
    /// Add a grade scheme of your own (JSON).
    #[arg(long = "grade-scheme", value_name = "FILE")]
    pub(crate) grade_schemes: Vec<PathBuf>,
}
