//! The command line. Help, completions and the manual page are all made from these definitions.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use clap_complete::Shell;
use obvert::convert::Format;

use crate::formats::{convert_help, parse_input_format, parse_output_format};

/// Check, mend, explain and convert pipe inspection surveys in the open obvert format.
///
/// A clean check says that a record agrees with itself and with its format. It does not say that a
/// pipe is safe, nor that a located position is a safe place to dig: local codes and licensed
/// practice decide.
#[derive(Debug, Parser)]
#[command(name = "obvert", version, max_term_width = 100, arg_required_else_help = true)]
#[command(
    after_help = "Exit status: 0 nothing at or above the threshold, 1 findings, 2 it could not be done."
)]
pub(crate) struct Arguments {
    /// When to use colour; NO_COLOR is honoured.
    #[arg(long, global = true, value_enum, default_value_t = Colour::Auto, value_name = "WHEN")]
    pub(crate) colour: Colour,
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// When to use colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Colour {
    /// On a terminal.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Check surveys against the rules of the format. Media files themselves are not looked at.
    Check(Check),
    /// Mend what can be mended in surveys: shows what would change, and writes only when asked.
    Fix(Fix),
    /// Bring surveys of older versions of the format to this one: shows the steps, and writes only
    /// when asked.
    Migrate(Migrate),
    /// Convert a survey to another format.
    Convert(Convert),
    /// Keep many surveys in one file, a document a line.
    #[command(subcommand)]
    Archive(Archive),
    /// Print the digest that a later survey names this one by.
    Digest(Digest),
    /// Grade the pipes of surveys by a grade scheme.
    Grade(Grade),
    /// Judge or draft a submission profile.
    #[command(subcommand)]
    Profile(Profile),
    /// Judge or draft the layout of an office's own table.
    #[command(subcommand)]
    Layout(Layout),
    /// Explain a rule, a code, a field or a word of the trade.
    Explain(Explain),
    /// List the rules.
    Rules(Rules),
    /// Print a schema of the format.
    Schema(Schema),
    /// Print completions for a shell.
    Completions {
        /// The shell.
        shell: Shell,
    },
    /// Print the manual page (roff).
    Manual,
}

/// How a list is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum ListFormat {
    /// For reading.
    Text,
    /// For software.
    Json,
}

/// A format of a report.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum ReportFormat {
    /// For reading, on a terminal.
    Text,
    /// One JSON object (obvert schema report).
    Json,
    /// JSON lines: the report's head, a finding a line, an end.
    Jsonl,
    /// SARIF 2.1.0, for code hosts and editors.
    Sarif,
    /// JUnit XML, for build servers: a suite a survey, a case a rule.
    Junit,
    /// Annotations of GitHub Actions.
    Github,
    /// A table for a spreadsheet.
    Csv,
    /// A page for people, with each pipe drawn.
    Html,
}

/// A severity on the command line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Threshold {
    /// Errors only.
    Error,
    /// Warnings and errors.
    Warning,
    /// Anything.
    Note,
}

#[derive(Debug, Args)]
#[command(after_help = format!("{}\n\nExit status: 0 nothing at or above --deny, 1 findings, 2 it could not be done.",
    obvert::check::output::CAUTION))]
pub(crate) struct Check {
    /// Surveys: files, folders of CSV tables, or - for standard input.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// The format of the surveys; detected from name and content if not given.
    #[arg(long, value_parser = parse_input_format(), value_name = "FORMAT")]
    pub(crate) from: Option<&'static Format>,
    /// The layout (JSON) of surveys that are an office's own tables.
    #[arg(long, value_name = "LAYOUT")]
    pub(crate) layout: Option<PathBuf>,
    /// The format of the report on standard output.
    #[arg(long, value_enum, default_value_t = ReportFormat::Text, value_name = "FORMAT")]
    pub(crate) format: ReportFormat,
    /// Write the report to a file as well, in any format; may be given more than once.
    #[arg(long, value_name = "FORMAT=FILE")]
    pub(crate) also: Vec<String>,
    /// Replace files that --also names if they are there already.
    #[arg(long)]
    pub(crate) replace: bool,
    /// Show and count only what this earlier report (--format json) did not know already.
    #[arg(long, value_name = "REPORT")]
    pub(crate) baseline: Option<PathBuf>,
    /// The lightest severity that makes the exit status 1.
    #[arg(long, value_enum, default_value_t = Threshold::Error, value_name = "SEVERITY")]
    pub(crate) deny: Threshold,
    /// List every finding: fold none that are alike, and keep more than 1000 of a rule.
    #[arg(long)]
    pub(crate) all: bool,
    #[command(flatten)]
    pub(crate) judged: Judged,
}

/// What surveys are judged by: the same for every command that judges.
#[derive(Debug, Args)]
pub(crate) struct Judged {
    /// What the receiving office demands: its submission profile (JSON).
    #[arg(long, value_name = "FILE")]
    pub(crate) profile: Option<PathBuf>,
    /// Take this date for today, as YYYY-MM-DD.
    #[arg(long, value_name = "DATE")]
    pub(crate) today: Option<String>,
    /// A rule's severity in this check, whatever the profile says: error, warning, note, or off.
    #[arg(long = "weigh", value_name = "RULE=SEVERITY")]
    pub(crate) weigh: Vec<String>,
    /// A rule's limit in this check, whatever the profile says, in the unit that `explain RULE`
    /// states.
    #[arg(long = "limit", value_name = "RULE.LIMIT=NUMBER")]
    pub(crate) limits: Vec<String>,
    /// A code list of your own (JSON).
    #[arg(long = "code-list", value_name = "FILE")]
    pub(crate) code_lists: Vec<PathBuf>,
    /// A grade scheme of your own (JSON).
    #[arg(long = "grade-scheme", value_name = "FILE")]
    pub(crate) grade_schemes: Vec<PathBuf>,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Without --write or --output nothing is written. Surveys are mended as JSON documents; others are converted \
first. A digest or size that a media file contradicts is reported and never written over.\n\n\
Exit status, of the surveys as they are or would be afterwards: 0 nothing at or above --deny is left, 1 something is, 2 it could \
not be done."
)]
pub(crate) struct Fix {
    /// Surveys: JSON documents, or - for standard input.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// Write the mended surveys in the place of their files.
    #[arg(long, conflicts_with = "output")]
    pub(crate) write: bool,
    /// Write the mended survey to this file instead, or - for standard output.
    #[arg(short, long, value_name = "OUT")]
    pub(crate) output: Option<PathBuf>,
    /// Replace OUT if it is there already.
    #[arg(long, requires = "output")]
    pub(crate) replace: bool,
    /// Apply the fixes that somebody must confirm as well: you state what each of them states.
    #[arg(long)]
    pub(crate) confirm: bool,
    /// Apply the fixes of this rule or structural problem only, or media-file for what media files
    /// say of themselves; may be given more than once.
    #[arg(long, value_name = "RULE")]
    pub(crate) only: Vec<String>,
    /// Do not look at the media files beside the survey.
    #[arg(long)]
    pub(crate) leave_media: bool,
    /// How to print what was done or would be.
    #[arg(long, value_enum, default_value_t = FixFormat::Text, value_name = "FORMAT")]
    pub(crate) format: FixFormat,
    /// List every fix and every changed line.
    #[arg(long)]
    pub(crate) all: bool,
    /// The lightest severity left that makes the exit status 1.
    #[arg(long, value_enum, default_value_t = Threshold::Error, value_name = "SEVERITY")]
    pub(crate) deny: Threshold,
    #[command(flatten)]
    pub(crate) judged: Judged,
}

/// How the log of `fix` is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum FixFormat {
    /// For reading: each fix, and in a preview the lines that would change.
    Text,
    /// One JSON object (obvert schema fix-log).
    Json,
    /// The changed lines alone, as a unified difference that patch(1) takes.
    Diff,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Without --write or --output nothing is written. Whatever no step speaks of stays byte for byte. Other commands read \
surveys of older versions as they are. In a profile the new names of renamed rules are written.\n\nExit status: 0 done, or nothing to do, 2 a survey could not be migrated."
)]
pub(crate) struct Migrate {
    /// Surveys or profiles: JSON, or - for standard input.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// Write the migrated surveys in the place of their files.
    #[arg(long, conflicts_with = "output")]
    pub(crate) write: bool,
    /// Write the migrated survey to this file instead, or - for standard output.
    #[arg(short, long, value_name = "OUT")]
    pub(crate) output: Option<PathBuf>,
    /// Replace OUT if it is there already.
    #[arg(long, requires = "output")]
    pub(crate) replace: bool,
    /// The version to bring them to.
    #[arg(long, default_value = obvert::model::versions::CURRENT, value_name = "VERSION")]
    pub(crate) to: String,
    /// How to print the steps: json is one object (obvert schema migration).
    #[arg(long, value_enum, default_value_t = ListFormat::Text, value_name = "FORMAT")]
    pub(crate) format: ListFormat,
    /// List every place that a step changes.
    #[arg(long)]
    pub(crate) all: bool,
}

#[derive(Debug, Args)]
#[command(after_help = convert_help())]
pub(crate) struct Convert {
    /// The survey: a file, a folder of CSV tables, or - for standard input.
    #[arg(value_name = "IN")]
    pub(crate) input: PathBuf,
    /// Where to write: a file, a folder for CSV tables, or - for standard output.
    #[arg(short, long, value_name = "OUT")]
    pub(crate) output: PathBuf,
    /// The format of the survey; detected from name and content if not given.
    #[arg(long, value_parser = parse_input_format(), value_name = "FORMAT")]
    pub(crate) from: Option<&'static Format>,
    /// The format to write; the name of OUT tells it if not given.
    #[arg(long, value_parser = parse_output_format(), value_name = "FORMAT")]
    pub(crate) to: Option<&'static Format>,
    /// The layout (JSON) of an office's own table, which IN or OUT is, or both.
    #[arg(long, value_name = "LAYOUT")]
    pub(crate) layout: Option<PathBuf>,
    /// The layout (JSON) of the table that OUT is to be, where another office's --layout is that of
    /// IN.
    #[arg(long, value_name = "LAYOUT")]
    pub(crate) out_layout: Option<PathBuf>,
    /// The code list to translate the observations to: en-13508-2, obvert-terms, or the id of one
    /// of your own.
    #[arg(long, value_name = "LIST")]
    pub(crate) coding: Option<String>,
    /// A code list of your own (JSON), to translate from or to.
    #[arg(long = "code-list", value_name = "FILE")]
    pub(crate) code_lists: Vec<PathBuf>,
    /// Refuse to write when something would be lost or changed; what is merely put in is no loss.
    #[arg(long)]
    pub(crate) lossless: bool,
    /// Write an account of the conversion as JSON (obvert schema account): every value that was not
    /// carried over as it was, with its place in IN.
    #[arg(long, value_name = "FILE")]
    pub(crate) account: Option<PathBuf>,
    /// Replace OUT if it is there already.
    #[arg(long)]
    pub(crate) replace: bool,
}

/// What to do with archives: JSON lines, a survey a line. Surveys are read and written one at a
/// time, so an archive may be of any size; `obvert check` takes archives as well.
#[derive(Debug, Subcommand)]
pub(crate) enum Archive {
    /// Put surveys into an archive, in any format and from other archives.
    Pack(Pack),
    /// Write every survey of an archive to a file of its own.
    Unpack(Unpack),
    /// List the surveys of archives.
    List(ArchiveList),
}

#[derive(Debug, Args)]
#[command(
    after_help = "A survey that was packed already is left out; another one with its id is refused, and then nothing is \
written. Exit status: 0 done, 2 it could not be done."
)]
pub(crate) struct Pack {
    /// Surveys in any format, archives (.jsonl), or - for a survey on standard input; with --layout
    /// also folders of an office's tables.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// The archive to write, .obvert.jsonl by custom, or - for standard output.
    #[arg(short, long, value_name = "OUT")]
    pub(crate) output: PathBuf,
    /// The layout (JSON) of surveys that are an office's own tables.
    #[arg(long, value_name = "LAYOUT")]
    pub(crate) layout: Option<PathBuf>,
    /// A code list of your own (JSON), which the tables of --layout are coded in.
    #[arg(long = "code-list", value_name = "FILE", requires = "layout")]
    pub(crate) code_lists: Vec<PathBuf>,
    /// Replace OUT if it is there already.
    #[arg(long)]
    pub(crate) replace: bool,
}

#[derive(Debug, Args)]
#[command(
    after_help = "A file is named by the id of its survey. A line that is no survey is said, and the others are unpacked. \
Exit status: 0 done, 2 not everything could be unpacked."
)]
pub(crate) struct Unpack {
    /// The archive, or - for standard input.
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// The folder to write to; made if it is not there.
    #[arg(short, long, value_name = "FOLDER")]
    pub(crate) output: PathBuf,
    /// The format to write; JSON if not given. Values the format cannot hold are reported.
    #[arg(long, value_parser = parse_output_format(), value_name = "FORMAT")]
    pub(crate) to: Option<&'static Format>,
    /// Replace files that are there already.
    #[arg(long)]
    pub(crate) replace: bool,
}

#[derive(Debug, Args)]
#[command(after_help = "Exit status: 0 done, 2 a line is no survey.")]
pub(crate) struct ArchiveList {
    /// Archives, or - for standard input.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// How to print them: json is an object a line.
    #[arg(long, value_enum, default_value_t = ListFormat::Text, value_name = "FORMAT")]
    pub(crate) format: ListFormat,
}

/// How a table of grades is printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum TableFormat {
    /// For reading.
    Text,
    /// For software.
    Json,
    /// For a spreadsheet: one row a pipe and aspect, or one an observation with --observations.
    Csv,
}

/// An aspect on the command line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum AspectWord {
    /// The fabric of the pipe.
    Structural,
    /// What hinders its working.
    Operational,
}

#[derive(Debug, Args)]
#[command(
    after_help = "A recorded grade is counted where there is one, a computed one elsewhere, as in ratings. \
A grade sorts pipes by how soon somebody should look at them; it does not say that a pipe is safe.\n\n\
Exit status: 0 done, 2 it could not be done."
)]
pub(crate) struct Grade {
    /// Surveys: files, folders of CSV tables, or - for standard input.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// The format of the surveys; detected from name and content if not given.
    #[arg(long, value_parser = parse_input_format(), value_name = "FORMAT")]
    pub(crate) from: Option<&'static Format>,
    /// How to print the table.
    #[arg(long, value_enum, default_value_t = TableFormat::Text, value_name = "FORMAT")]
    pub(crate) format: TableFormat,
    /// Grade by this scheme (JSON) instead of the one that the survey names.
    #[arg(long = "grade-scheme", value_name = "FILE")]
    pub(crate) grade_scheme: Option<PathBuf>,
    /// A code list of your own (JSON).
    #[arg(long = "code-list", value_name = "FILE")]
    pub(crate) code_lists: Vec<PathBuf>,
    /// Leave recorded grades out and compute every grade.
    #[arg(long)]
    pub(crate) computed: bool,
    /// Show every graded observation with what its grade rests on.
    #[arg(long)]
    pub(crate) observations: bool,
    /// The worst pipes first, by this aspect; otherwise in the order of the survey.
    #[arg(long, value_enum, value_name = "ASPECT")]
    pub(crate) worst_first: Option<AspectWord>,
}

#[derive(Debug, Args)]
#[command(
    after_help = "The digest is SHA-256 over the survey's canonical form (RFC 8785). It is of the content: the same survey has the \
same digest in every format, whatever the order of keys and white space.\n\nExit status: 0 done, 2 it could not be done."
)]
pub(crate) struct Digest {
    /// Surveys: files, folders of CSV tables, or - for standard input.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// The format of the surveys; detected from name and content if not given.
    #[arg(long, value_parser = parse_input_format(), value_name = "FORMAT")]
    pub(crate) from: Option<&'static Format>,
    /// Print the canonical form itself instead, without a newline at its end.
    #[arg(long)]
    pub(crate) canonical: bool,
}

/// What to do with a submission profile.
#[derive(Debug, Subcommand)]
pub(crate) enum Profile {
    /// Say what does not make sense in a profile: unknown rules and fields, bad patterns, demands
    /// that exclude each other.
    Check(ProfileCheck),
    /// Draft a profile from surveys that an office has accepted.
    Draft(ProfileDraft),
}

/// What to do with a layout.
#[derive(Debug, Subcommand)]
pub(crate) enum Layout {
    /// Say what does not make sense in a layout, and what of a table cannot be read by it.
    Check(LayoutCheck),
    /// Propose a layout from a table, a workbook or an XML file, with how sure each column is and
    /// why.
    Draft(LayoutDraft),
}

#[derive(Debug, Args)]
pub(crate) struct LayoutDraft {
    /// The table: a text with delimiters, a workbook (.xlsx), or XML in which an element repeats.
    #[arg(value_name = "TABLE")]
    pub(crate) table: PathBuf,
    /// The sheet of a workbook; the one whose columns make most sense when not given.
    #[arg(long, value_name = "NAME")]
    pub(crate) sheet: Option<String>,
    /// Where to write the layout; standard output when not given.
    #[arg(short, long, value_name = "OUT")]
    pub(crate) output: Option<PathBuf>,
    /// Replace OUT if it is there already.
    #[arg(long)]
    pub(crate) replace: bool,
    /// The layout's id.
    #[arg(long, default_value = "draft", value_name = "ID")]
    pub(crate) id: String,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Exit status: 0 nothing is wrong with it, 1 something is, 2 it could not be read."
)]
pub(crate) struct LayoutCheck {
    /// The layout (JSON).
    #[arg(value_name = "LAYOUT")]
    pub(crate) layout: PathBuf,
    /// A table to read by it.
    #[arg(value_name = "TABLE")]
    pub(crate) table: Option<PathBuf>,
    /// A code list of your own (JSON).
    #[arg(long = "code-list", value_name = "FILE")]
    pub(crate) code_lists: Vec<PathBuf>,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Exit status: 0 nothing is wrong with it, 1 something is, 2 it could not be read."
)]
pub(crate) struct ProfileCheck {
    /// The profile (JSON).
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// Take this date for today, as YYYY-MM-DD: suppressions end.
    #[arg(long, value_name = "DATE")]
    pub(crate) today: Option<String>,
    /// A code list of your own (JSON).
    #[arg(long = "code-list", value_name = "FILE")]
    pub(crate) code_lists: Vec<PathBuf>,
    /// A grade scheme of your own (JSON).
    #[arg(long = "grade-scheme", value_name = "FILE")]
    pub(crate) grade_schemes: Vec<PathBuf>,
}

#[derive(Debug, Args)]
#[command(
    after_help = "A draft demands what was so in all of these surveys. Strike out what is chance before you use it.\n\n\
Exit status: 0 done, 2 it could not be done."
)]
pub(crate) struct ProfileDraft {
    /// Accepted surveys: files, folders of CSV tables, or folders of surveys.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// Where to write the profile; standard output when not given.
    #[arg(short, long, value_name = "OUT")]
    pub(crate) output: Option<PathBuf>,
    /// Replace OUT if it is there already.
    #[arg(long)]
    pub(crate) replace: bool,
    /// The profile's id.
    #[arg(long, default_value = "drafted", value_name = "ID")]
    pub(crate) id: String,
    /// How many rows of a table must have been seen before anything is demanded of them.
    #[arg(long, default_value_t = 10, value_name = "ROWS")]
    pub(crate) least: usize,
    /// How many surveys must have been seen before anything is demanded that stands in each once.
    #[arg(long, default_value_t = 3, value_name = "SURVEYS")]
    pub(crate) least_surveys: usize,
    /// Take this date for today, as YYYY-MM-DD.
    #[arg(long, value_name = "DATE")]
    pub(crate) today: Option<String>,
    /// A code list of your own (JSON).
    #[arg(long = "code-list", value_name = "FILE")]
    pub(crate) code_lists: Vec<PathBuf>,
    /// A grade scheme of your own (JSON).
    #[arg(long = "grade-scheme", value_name = "FILE")]
    pub(crate) grade_schemes: Vec<PathBuf>,
}

#[derive(Debug, Args)]
pub(crate) struct Explain {
    /// A rule (distance-decreases), a code (crack.longitudinal), a field (runs.observations.at,
    /// profile.fields.where), or a word of the trade (offset joint).
    #[arg(value_name = "NAME", required = true)]
    pub(crate) name: Vec<String>,
}

#[derive(Debug, Args)]
pub(crate) struct Rules {
    /// How to print the list.
    #[arg(long, value_enum, default_value_t = ListFormat::Text, value_name = "FORMAT")]
    pub(crate) format: ListFormat,
}

#[derive(Debug, Args)]
pub(crate) struct Schema {
    /// Which schema; all are listed when no name is given.
    #[arg(value_name = "NAME")]
    pub(crate) name: Option<String>,
}
