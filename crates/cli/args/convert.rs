//! The arguments of `obvert convert`.

use std::path::PathBuf;

use clap::Args;
use obvert::convert::Format;

use crate::formats::{convert_help, parse_input_format, parse_output_format};

#[derive(Debug, Args)]
#[command(after_help = convert_help())]
pub(crate) struct Convert {
    /// The survey: a file, a folder of CSV tables, or - for standard input.
    #[arg(value_name = "IN")]
    pub(crate) input: PathBuf,
    /// Write to this file, to this folder (for a format of several files), or - for standard
    /// output.
    #[arg(short, long, value_name = "OUT")]
    pub(crate) output: PathBuf,
    /// Read IN as this format instead of detecting it from name and content.
    #[arg(long, value_parser = parse_input_format(), value_name = "FORMAT")]
    pub(crate) from: Option<&'static Format>,
    /// Write this format instead of the one that the name of OUT implies.
    #[arg(long, value_parser = parse_output_format(), value_name = "FORMAT")]
    pub(crate) to: Option<&'static Format>,
    /// Read or write an office's own table by this layout (JSON): IN, OUT or both.
    #[arg(long, value_name = "LAYOUT")]
    pub(crate) layout: Option<PathBuf>,
    /// Write OUT by this layout (JSON), and use --layout for IN only.
    #[arg(long, value_name = "LAYOUT")]
    pub(crate) out_layout: Option<PathBuf>,
    /// Translate the observations to this code list: en-13508-2, obvert-terms, or the id of one
    /// that --code-list adds.
    #[arg(long, value_name = "LIST")]
    pub(crate) coding: Option<String>,
    /// Add a code list of your own (JSON), to translate from or to.
    #[arg(long = "code-list", value_name = "FILE")]
    pub(crate) code_lists: Vec<PathBuf>,
    /// Refuse to write if a value would be lost or changed; an added value is not a loss.
    #[arg(long)]
    pub(crate) lossless: bool,
    /// Write an account of the conversion (JSON, see `obvert schema account`): every value that was
    /// not carried over unchanged, with its location in IN.
    #[arg(long, value_name = "FILE")]
    pub(crate) account: Option<PathBuf>,
    /// Overwrite OUT and the account if they exist.
    #[arg(long)]
    pub(crate) replace: bool,
}
