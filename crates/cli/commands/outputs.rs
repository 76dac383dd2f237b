//! The outputs of `obvert check`: the report in one format on standard output, and in others in
//! files. Formats that need one survey at a time are written while the surveys are checked.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::ValueEnum;
use obvert::check::output::{Summary, csv, github, html, jsonl, junit, sarif};
use obvert::check::{Report, Severity, catalogue};

use super::check::severity;
use super::print;
use crate::args::{Check, ReportFormat};
use crate::atomic_output::AtomicFile;
use crate::input::Input;
use crate::{Failure, atomic_output, render};

/// A format that is written to a file.
struct Also {
    format: ReportFormat,
    path: PathBuf,
    /// The file, if it is written while the surveys are checked.
    file: Option<AtomicFile>,
}

/// A part of a report that is written survey by survey.
enum Piece<'r> {
    /// The report of a survey; that many surveys were written before.
    Documents(&'r Report, usize),
    /// What all surveys add up to.
    End(&'r Summary),
}

/// The requested formats.
pub(super) struct Outputs {
    format: ReportFormat,
    also: Vec<Also>,
    /// Whether formats that need one survey at a time are written at once; otherwise the report of
    /// each survey is kept until the end.
    streams: bool,
    replace: bool,
    all: bool,
    deny: Severity,
    /// The text for files. It is collected survey by survey, because it quotes the source.
    text: Vec<u8>,
}

impl Outputs {
    /// Refuses at the start what could not be written at the end.
    pub(super) fn new(arguments: &Check) -> Result<Self, Failure> {
        // Which findings are new is known at the end.
        let streams = arguments.baseline.is_none();
        let mut also: Vec<Also> = Vec::new();
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
            if also.iter().any(|other| atomic_output::is_same_file(&other.path, &file)) {
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
            also.push(Also { format, path: file, file: None });
        }
        for also in also.iter_mut().filter(|also| streams && is_streamed(also.format)) {
            also.file = Some(AtomicFile::begin(&also.path, arguments.replace)?);
        }
        Ok(Self {
            format: arguments.format,
            also,
            streams,
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
        self.also.iter().any(|also| also.format == ReportFormat::Text)
    }

    /// Whether the reports of all surveys are needed at the end.
    pub(super) fn wants_all(&self) -> bool {
        let formats = || self.also.iter().map(|also| also.format).chain([self.format]);
        !self.streams || formats().any(|format| !is_streamed(format))
    }

    /// Writes the report of one survey in the formats that need no more; `before` are those that
    /// were written already.
    pub(super) fn add(&mut self, report: &Report, before: usize) -> Result<(), Failure> {
        self.piece(&Piece::Documents(report, before))
    }

    fn piece(&mut self, piece: &Piece<'_>) -> Result<(), Failure> {
        if self.streams && is_streamed(self.format) {
            let mut bytes = Vec::new();
            write_piece(self.format, piece, &mut bytes)?;
            print(&bytes)?;
        }
        for also in &mut self.also {
            if let Some(file) = &mut also.file {
                file.write(|sink| write_piece(also.format, piece, sink))
                    .map_err(|error| atomic_output::named(&also.path, error.into()))?;
            }
        }
        Ok(())
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

    /// Writes everything else, once all surveys have been checked. `report` has them all if a
    /// format needs that.
    pub(super) fn finish(
        mut self,
        report: Option<&Report>,
        summary: &Summary,
    ) -> Result<(), Failure> {
        if self.streams {
            self.piece(&Piece::End(summary))?;
        }
        for also in &mut self.also {
            if let Some(file) = also.file.take() {
                file.keep()?;
            }
        }
        match report {
            Some(report) => self.whole(report),
            None => Ok(()),
        }
    }

    /// Writes the formats that need the reports of all surveys.
    fn whole(mut self, report: &Report) -> Result<(), Failure> {
        let readable = report.documents.iter().any(|document| document.info.error.is_none());
        let rules = catalogue().len();
        let streams = self.streams;
        let waits = |format: ReportFormat| !(streams && is_streamed(format));
        if self.format != ReportFormat::Text {
            if waits(self.format) {
                let mut bytes = Vec::new();
                self.write(self.format, report, &mut bytes)?;
                print(&bytes)?;
            }
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
        for also in self.also.iter().filter(|also| waits(also.format)) {
            atomic_output::write_file(&also.path, self.replace, |sink| {
                self.write(also.format, report, sink)
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

/// Whether a format is written survey by survey.
fn is_streamed(format: ReportFormat) -> bool {
    matches!(format, ReportFormat::Jsonl | ReportFormat::Csv)
}

fn write_piece(
    format: ReportFormat,
    piece: &Piece<'_>,
    sink: &mut dyn Write,
) -> std::io::Result<()> {
    match (format, piece) {
        (ReportFormat::Jsonl, Piece::Documents(report, before)) => {
            if *before == 0 {
                jsonl::begin(report, sink)?;
            }
            jsonl::documents(report, *before, sink)
        }
        (ReportFormat::Jsonl, Piece::End(summary)) => jsonl::end(summary, sink),
        (ReportFormat::Csv, Piece::Documents(report, before)) => {
            if *before == 0 {
                csv::begin(report, sink)?;
            }
            csv::documents(report, sink)
        }
        (ReportFormat::Csv, Piece::End(summary)) => csv::end(summary, sink),
        _ => Ok(()),
    }
}

fn word(format: ReportFormat) -> String {
    format.to_possible_value().map(|value| value.get_name().to_owned()).unwrap_or_default()
}
