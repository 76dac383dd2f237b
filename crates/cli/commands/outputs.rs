//! The outputs of `obvert check`: the report in one format on standard output, and in others in
//! files.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::ValueEnum;
use obvert::check::output::{csv, github, html, jsonl, junit, sarif};
use obvert::check::{Report, Severity, catalogue};

use super::check::severity;
use super::print;
use crate::args::{Check, ReportFormat};
use crate::input::Input;
use crate::{Failure, atomic_output, render};

/// The requested formats.
pub(super) struct Outputs {
    format: ReportFormat,
    also: Vec<(ReportFormat, PathBuf)>,
    replace: bool,
    all: bool,
    deny: Severity,
    /// The text for files. It is collected survey by survey, because it quotes the source.
    text: Vec<u8>,
}

impl Outputs {
    /// Refuses at the start what could not be written at the end.
    pub(super) fn new(arguments: &Check) -> Result<Self, Failure> {
        let mut also: Vec<(ReportFormat, PathBuf)> = Vec::new();
        for text in &arguments.also {
            let known: Vec<String> =
                ReportFormat::value_variants().iter().map(|format| word(*format)).collect();
            let malformed = || {
                format!(
                    "--also {text:?}: expected FORMAT=FILE, such as html=report.html; the formats \
                     are {}",
                    known.join(", ")
                )
            };
            let (format, file) =
                text.split_once('=').filter(|(_, file)| !file.is_empty()).ok_or_else(malformed)?;
            let format = ReportFormat::from_str(format, false).map_err(|_| malformed())?;
            let file = PathBuf::from(file);
            if file == Path::new("-") {
                return Err(format!(
                    "--also {text:?}: standard output is taken by --format; name a file"
                )
                .into());
            }
            if also.iter().any(|(_, other)| atomic_output::is_same_file(other, &file)) {
                return Err(format!(
                    "--also {text:?}: another --also names that file; name another"
                )
                .into());
            }
            if arguments
                .files
                .iter()
                .chain(&arguments.baseline)
                .any(|input| atomic_output::is_same_file(input, &file))
            {
                return Err(format!(
                    "--also {text:?}: that file is an input of this command; name another"
                )
                .into());
            }
            atomic_output::may_write(&file, arguments.replace)?;
            also.push((format, file));
        }
        Ok(Self {
            format: arguments.format,
            also,
            replace: arguments.replace,
            all: arguments.all,
            deny: severity(arguments.deny),
            text: Vec::new(),
        })
    }

    pub(super) fn wants_text(&self) -> bool {
        self.format == ReportFormat::Text || self.text_to_file()
    }

    fn text_to_file(&self) -> bool {
        self.also.iter().any(|(format, _)| *format == ReportFormat::Text)
    }

    /// Writes the findings of one survey as text, if text is requested.
    pub(super) fn text(&mut self, input: &Input<'_>, report: &Report) -> Result<(), Failure> {
        let all = self.all;
        if self.format == ReportFormat::Text {
            render::out(|out| render::findings::document(out, input, report, all))?;
        }
        if self.text_to_file() {
            let mut plain = anstream::StripStream::new(&mut self.text);
            render::findings::document(&mut plain, input, report, all)?;
        }
        Ok(())
    }

    /// Writes everything else, once all surveys have been checked.
    pub(super) fn finish(mut self, report: &Report) -> Result<(), Failure> {
        let readable = report.documents.iter().any(|document| document.info.error.is_none());
        let rules = catalogue().len();
        if self.format != ReportFormat::Text {
            let mut bytes = Vec::new();
            self.write(self.format, report, &mut bytes)?;
            print(&bytes)?;
        } else if readable {
            render::out(|out| render::findings::summary(out, report, rules))?;
        }
        if self.text_to_file() {
            let mut text = std::mem::take(&mut self.text);
            let mut plain = anstream::StripStream::new(&mut text);
            for document in &report.documents {
                if let Some(error) = &document.info.error {
                    writeln!(plain, "not checked: {error}")?;
                }
            }
            if readable {
                render::findings::summary(&mut plain, report, rules)?;
            }
            self.text = text;
        }
        for (format, file) in &self.also {
            atomic_output::write_file(file, self.replace, |sink| {
                self.write(*format, report, sink)
            })?;
        }
        Ok(())
    }

    fn write(
        &self,
        format: ReportFormat,
        report: &Report,
        sink: &mut dyn Write,
    ) -> Result<(), Failure> {
        match format {
            ReportFormat::Text => sink.write_all(&self.text)?,
            ReportFormat::Json => {
                serde_json::to_writer_pretty(&mut *sink, report)?;
                sink.write_all(b"\n")?;
            }
            ReportFormat::Jsonl => jsonl::write(report, sink)?,
            ReportFormat::Sarif => sarif::write(report, sink)?,
            ReportFormat::Junit => junit::write(report, self.deny, sink)?,
            ReportFormat::Github => github::write(report, sink)?,
            ReportFormat::Csv => csv::write(report, sink)?,
            ReportFormat::Html => {
                let mut options = html::Options::default();
                if self.all {
                    options.per_rule = usize::MAX;
                }
                html::write(report, &options, sink)?;
            }
        }
        Ok(())
    }
}

fn word(format: ReportFormat) -> String {
    format.to_possible_value().map(|value| value.get_name().to_owned()).unwrap_or_default()
}
