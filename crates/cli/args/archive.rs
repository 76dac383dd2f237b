//! The arguments of `obvert archive`.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use obvert::convert::Format;

use super::ListFormat;
use crate::formats::parse_unpacked_format;

/// The commands for archives.
#[derive(Debug, Subcommand)]
pub(crate) enum Archive {
    /// Pack surveys of any format, or other archives, into one archive.
    Pack(Pack),
    /// Write each survey of an archive to its own file.
    Unpack(Unpack),
    /// List the surveys of archives.
    List(ArchiveList),
}

#[derive(Debug, Args)]
#[command(
    after_help = "A survey that was already packed, with the same id and content, is skipped and \
reported. If surveys have the id of a different one, each is reported and nothing is packed, unless \
--set-aside is given.\n\n\
Exit status: 0 on success, 2 on failure."
)]
pub(crate) struct Pack {
    /// Surveys in any format, archives (.jsonl), or - for a survey on standard input; with --layout
    /// also folders of an office's tables.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// Write the archive to this file, by convention .obvert.jsonl, or - for standard output.
    #[arg(short, long, value_name = "OUT")]
    pub(crate) output: PathBuf,
    /// Read an office's own tables by this layout (JSON).
    #[arg(long, value_name = "LAYOUT")]
    pub(crate) layout: Option<PathBuf>,
    /// Add a code list of your own (JSON) that the tables of --layout use.
    #[arg(long = "code-list", value_name = "FILE", requires = "layout")]
    pub(crate) code_lists: Vec<PathBuf>,
    /// Pack the first survey of each id, and write different surveys with the same id to this
    /// archive.
    #[arg(long, value_name = "FILE")]
    pub(crate) set_aside: Option<PathBuf>,
    /// Overwrite OUT, and the file of --set-aside, if they exist.
    #[arg(long)]
    pub(crate) replace: bool,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Each file is named after the id of its survey. A line that is not a survey is \
reported and skipped.\n\n\
Exit status: 0 on success, 2 if anything could not be unpacked."
)]
pub(crate) struct Unpack {
    /// The archive, or - for standard input.
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// Write to this folder; it is created if it does not exist.
    #[arg(short, long, value_name = "FOLDER")]
    pub(crate) output: PathBuf,
    /// Write this format instead of JSON; values that it cannot hold are reported.
    #[arg(long, value_parser = parse_unpacked_format(), value_name = "FORMAT")]
    pub(crate) to: Option<&'static Format>,
    /// Overwrite files that exist.
    #[arg(long)]
    pub(crate) replace: bool,
}

#[derive(Debug, Args)]
#[command(after_help = "Exit status: 0 on success, 2 if a line is not a survey.")]
pub(crate) struct ArchiveList {
    /// Archives, or - for standard input.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// Print the list in this format; json is one object per line.
    #[arg(long, value_enum, default_value_t = ListFormat::Text, value_name = "FORMAT")]
    pub(crate) format: ListFormat,
}
