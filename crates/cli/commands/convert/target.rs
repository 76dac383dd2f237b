//! The target of a conversion: a format of the registry, or an office's own table.

use std::path::Path;

use obvert::convert::{self, ConvertError, Format, LossReport};
use obvert::model::read::RunReader;
use obvert::model::tables::Document;
use obvert::open::LAYOUT;

use crate::Failure;
use crate::args::Convert;
use crate::formats::{endings, folder_hint, formats};
use crate::input::{self, ByLayout};

/// The format to write, with the layout of an office's own table.
pub(super) struct Target<'l> {
    pub(super) format: &'static Format,
    layout: Option<&'l ByLayout>,
    /// Whether an office's own table is written as a workbook.
    workbook: bool,
}

impl<'l> Target<'l> {
    pub(super) const fn of_format(format: &'static Format) -> Self {
        Self { format, layout: None, workbook: false }
    }

    /// The target that the options and the name of OUT select.
    pub(super) fn new(
        arguments: &Convert,
        layout: Option<&'l ByLayout>,
        out_layout: Option<&'l ByLayout>,
    ) -> Result<Self, Failure> {
        let format = match out_layout {
            Some(by) => {
                check_out_layout(arguments, by)?;
                &LAYOUT
            }
            None => selected_format(arguments, layout)?,
        };
        // With a layout, .xlsx is the office's own workbook, not the one of this format.
        let workbook =
            arguments.output.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("xlsx"));
        Ok(Self { format, layout: out_layout.or(layout), workbook })
    }

    /// Whether it is an office's own table.
    pub(super) fn is_by_layout(&self) -> bool {
        self.format == &LAYOUT
    }

    /// Writes a survey.
    pub(super) fn write(
        &self,
        survey: &mut dyn RunReader<Error = ConvertError>,
        mut output: convert::Output<'_>,
    ) -> Result<LossReport, ConvertError> {
        if !self.is_by_layout() {
            return self.format.write(survey, output);
        }
        let Some(by) = self.layout else {
            return Err(ConvertError::Refused {
                message: "an office's own table needs a layout; give it with --layout".to_owned(),
            });
        };
        // The layout writer reads its own table back to find what it lost, so it needs the whole
        // document.
        let mut runs = Vec::new();
        while let Some(run) = survey.next_run()? {
            runs.push(run);
        }
        let document = Document { head: survey.head().clone(), runs };
        let write =
            if self.workbook { obvert::layout::write_workbook } else { obvert::layout::write };
        let (table, losses) = write(&document, &by.layout, &by.lists)?;
        output.sink()?.write_all(&table)?;
        Ok(losses)
    }
}

/// Refuses options that contradict --out-layout.
fn check_out_layout(arguments: &Convert, by: &ByLayout) -> Result<(), Failure> {
    if let Some(to) = arguments.to.filter(|to| *to != &LAYOUT) {
        return Err(format!(
            "--out-layout writes an office's own table, but --to is {to}; omit one of them"
        )
        .into());
    }
    let out = &arguments.output;
    if out.is_dir() {
        return Err(format!(
            "{}: is a folder, but an office's own table is one file; name the file",
            out.display()
        )
        .into());
    }
    let ending =
        out.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_ascii_lowercase();
    if ["xls", "xlsm", "xlsb", "ods", "pdf", "doc", "docx"].contains(&ending.as_str()) {
        return Err(format!(
            "{}: .{ending} files cannot be written; use the extension .csv or .xlsx",
            out.display()
        )
        .into());
    }
    match input::by_name(out).filter(|format| arguments.to.is_none() && !by.shares(format)) {
        Some(named) => Err(format!(
            "{}: its name implies {named}, but --out-layout writes an office's own table; use the \
             extension {}, or give --to layout",
            out.display(),
            by.endings()
        )
        .into()),
        None => Ok(()),
    }
}

/// The format that --to names, or that the name of OUT implies.
fn selected_format(
    arguments: &Convert,
    layout: Option<&ByLayout>,
) -> Result<&'static Format, Failure> {
    let out: &Path = &arguments.output;
    if let Some(to) = arguments.to {
        return Ok(to);
    }
    let Some(named) = input::by_name(out) else {
        // An existing folder holds tables.
        let folder =
            formats().iter().find(|format| format.is_written() && format.folder().is_some());
        return folder.filter(|_| out.is_dir()).ok_or_else(|| {
            let endings = endings(formats());
            format!(
                "{}: the name does not imply a format; use the extension {endings}, or give --to",
                out.display()
            )
            .into()
        });
    };
    let own = layout.is_some_and(|by| named.extensions.contains(&by.extensions()[0]));
    if own && !out.is_dir() {
        return Ok(&LAYOUT);
    }
    if named.folder().is_some() && !(out.is_dir() && named.is_read()) {
        return Err(format!("{}: {}", out.display(), folder_hint(named, false)).into());
    }
    Ok(named)
}
