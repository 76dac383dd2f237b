//! The arguments of `obvert layout`.

use std::path::PathBuf;

use clap::{Args, Subcommand};

/// The commands for layouts.
#[derive(Debug, Subcommand)]
pub(crate) enum Layout {
    /// Report the mistakes of a layout, and the values of a table that it cannot read.
    Check(LayoutCheck),
    /// Draft a layout from a table, a workbook or an XML file, with a confidence and a reason for
    /// each column.
    Draft(LayoutDraft),
}

#[derive(Debug, Args)]
#[command(after_help = "Exit status: 0 if there is no mistake, 1 if there is one, 2 on failure.")]
pub(crate) struct LayoutCheck {
    /// The layout (JSON).
    #[arg(value_name = "LAYOUT")]
    pub(crate) layout: PathBuf,
    /// A table to read by the layout.
    #[arg(value_name = "TABLE")]
    pub(crate) table: Option<PathBuf>,
    /// Add a code list of your own (JSON).
    #[arg(long = "code-list", value_name = "FILE")]
    pub(crate) code_lists: Vec<PathBuf>,
}

#[derive(Debug, Args)]
pub(crate) struct LayoutDraft {
    /// The table: delimited text, a workbook (.xlsx), or XML with a repeating element.
    #[arg(value_name = "TABLE")]
    pub(crate) table: PathBuf,
    /// Use this sheet of a workbook instead of the one whose columns are recognised best.
    #[arg(long, value_name = "NAME")]
    pub(crate) sheet: Option<String>,
    /// Write the layout to this file instead of standard output.
    #[arg(short, long, value_name = "OUT")]
    pub(crate) output: Option<PathBuf>,
    /// Overwrite OUT if it exists.
    #[arg(long)]
    pub(crate) replace: bool,
    /// Set the id of the layout; without it, draft- and the name of the table.
    #[arg(long, value_name = "ID")]
    pub(crate) id: Option<String>,
}
