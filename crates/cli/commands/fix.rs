//! `obvert fix`: fixes surveys, or shows what would change.

use std::io::Write;
use std::path::Path;

use obvert::check::Checker;
use obvert::check::fixing::{
    FixError, FixLog, FixOutcome, FixSettings, FixedDocument, MEDIA_FILE, MediaSource,
};

use super::check::{settings, severity};
use super::print;
use crate::args::{Fix, FixFormat};
use crate::input::{self, Input};
use crate::media_folder::MediaFolder;
use crate::render::fixes::{self, Shown};
use crate::{Failure, Status, atomic_output, render};

/// Fixes every file, and reports what was fixed and what was not.
pub(crate) fn run(arguments: &Fix) -> Result<Status, Failure> {
    if arguments.output.is_some() && arguments.files.len() > 1 {
        return Err(format!(
            "--output takes one file, but {} were given; give --write to fix files in place",
            arguments.files.len()
        )
        .into());
    }
    if arguments.write && arguments.files.iter().any(|file| file == Path::new("-")) {
        return Err("--write cannot write to standard input; give -o OUT".into());
    }
    if let Some(out) = arguments.output.as_deref().filter(|out| *out != Path::new("-")) {
        atomic_output::may_write(out, arguments.replace)?;
    }
    let checker = Checker::new(settings(&arguments.rules, true)?)?;
    let what = FixSettings::default()
        .with_confirmed(arguments.confirm)
        .with_only(arguments.only.iter().cloned());
    let mut documents = Vec::new();
    let mut status = Status::Success;
    for path in &arguments.files {
        match one(arguments, &checker, &what, path) {
            Ok((document, left)) => {
                documents.push(document);
                if left && status == Status::Success {
                    status = Status::Findings;
                }
            }
            Err(error) => {
                render::failure(&*error);
                documents
                    .push(FixedDocument::failed(&path.display().to_string(), &error.to_string()));
                status = Status::Failed;
            }
        }
    }
    if arguments.format == FixFormat::Json {
        let mut log =
            serde_json::to_vec_pretty(&FixLog::new(arguments.rules.today.clone(), documents))?;
        log.push(b'\n');
        print_log(arguments, &log)?;
    }
    Ok(status)
}

/// Fixes one survey. The result is its log, and whether findings at or above the threshold are
/// left.
fn one(
    arguments: &Fix,
    checker: &Checker,
    what: &FixSettings,
    path: &Path,
) -> Result<(FixedDocument, bool), Failure> {
    let source = input::open(path, None, None)?;
    let name = source.name();
    if !source.is_json() {
        let format = source.format();
        return Err(format!(
            "{name}: is {format}, but only JSON documents can be fixed; convert it first: obvert \
             convert {} \
             -o survey.obvert.json",
            path.display()
        )
        .into());
    }
    if source.is_older() {
        return Err(format!(
            "{name}: has an older version of the format, but only the current version can be \
             fixed; migrate \
             it first: obvert migrate {}",
            path.display()
        )
        .into());
    }
    let folder = if arguments.no_media { None } else { MediaFolder::of(path) };
    let media = folder.as_ref().map(|folder| folder as &dyn MediaSource);
    let mut fixed = checker.fix(source.bytes(), what, media).map_err(|error| match error {
        FixError::Read(error) => input::located(name, &error),
        error => format!("{name}: {error}"),
    })?;
    fixed.document.name_file(name);
    fixed.document.written = write(arguments, path, &source, &fixed)?;
    let shown = Shown {
        all: arguments.all,
        preview: !arguments.write && arguments.output.is_none(),
        confirmed: arguments.confirm,
    };
    let mut text = Vec::new();
    match arguments.format {
        FixFormat::Json => {}
        FixFormat::Text => fixes::document(&mut text, &source, &fixed, &shown)?,
        FixFormat::Diff => fixes::diff(&mut text, &source, &fixed.text)?,
    }
    print_log(arguments, &text)?;
    // A media file that contradicts the record is not a finding of a rule, but as serious as an
    // error.
    let media = fixed.document.skipped.iter().any(|left| left.rule == MEDIA_FILE);
    let left = media || fixed.report.worst().is_some_and(|worst| worst >= severity(arguments.deny));
    Ok((fixed.document, left))
}

/// Writes a fixed survey, and returns where. A survey without changes is written to OUT, but not in
/// place.
fn write(
    arguments: &Fix,
    path: &Path,
    source: &Input<'_>,
    fixed: &FixOutcome,
) -> Result<Option<String>, Failure> {
    match arguments.output.as_deref() {
        Some(out) if out == Path::new("-") => {
            print(fixed.text.as_bytes())?;
            Ok(Some("standard output".into()))
        }
        Some(out) => {
            atomic_output::write_file(out, arguments.replace, |sink| {
                Ok(sink.write_all(fixed.text.as_bytes())?)
            })?;
            Ok(Some(out.display().to_string()))
        }
        None if arguments.write && fixed.text.as_bytes() != source.bytes() => {
            atomic_output::rewrite(path, source.bytes(), fixed.text.as_bytes())?;
            Ok(Some(source.name().to_owned()))
        }
        None => Ok(None),
    }
}

/// Prints the log to standard output, or to standard error if the fixed survey goes to standard
/// output.
fn print_log(arguments: &Fix, text: &[u8]) -> Result<(), Failure> {
    let result = if arguments.output.as_deref() == Some(Path::new("-")) {
        anstream::stderr().lock().write_all(text)
    } else {
        let mut out = anstream::stdout().lock();
        out.write_all(text).and_then(|()| out.flush())
    };
    match result {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Err(error.into()),
        _ => Ok(()),
    }
}
