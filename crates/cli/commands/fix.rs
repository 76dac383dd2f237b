//! `obvert fix`: fixes surveys, or shows what would change.

use std::path::Path;

use obvert::check::Checker;
use obvert::check::fixing::{
    FixError, FixLog, FixSettings, FixedDocument, MEDIA_FILE, MediaSource,
};

use super::check::{settings, severity};
use crate::args::{Fix, FixFormat};
use crate::input;
use crate::media_folder::MediaFolder;
use crate::render::fixes::{self, Shown};
use crate::{Failure, Status, advice, render};

/// Fixes every file, and reports what was fixed and what was not.
pub(crate) fn run(arguments: &Fix) -> Result<Status, Failure> {
    let files = input::surveys(&arguments.files);
    arguments.destination.check(&files, "fix")?;
    let checker = Checker::new(settings(&arguments.rules, true)?)?;
    let what = FixSettings::default()
        .with_confirmed(arguments.confirm)
        .with_only(arguments.only.iter().cloned());
    let mut documents = Vec::new();
    let mut status = Status::Success;
    for path in &files {
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
        arguments.destination.print_log(&log)?;
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
        FixError::Read(error) => {
            let place = input::place(name, &error);
            advice::with_line(&source, place.as_ref(), input::located(name, &error))
        }
        error => format!("{name}: {error}").into(),
    })?;
    fixed.document.name_file(name);
    fixed.document.written = arguments.destination.write(path, &source, fixed.text.as_bytes())?;
    let shown = Shown {
        all: arguments.all,
        preview: arguments.destination.is_preview(),
        confirmed: arguments.confirm,
    };
    let mut text = Vec::new();
    match arguments.format {
        FixFormat::Json => {}
        FixFormat::Text => fixes::document(&mut text, &source, &fixed, &shown)?,
        FixFormat::Diff => fixes::diff(&mut text, &source, &fixed.text)?,
    }
    arguments.destination.print_log(&text)?;
    // A media file that contradicts the record is not a finding of a rule, but as serious as an
    // error.
    let media = fixed.document.skipped.iter().any(|left| left.rule == MEDIA_FILE);
    let left = media || fixed.report.worst().is_some_and(|worst| worst >= severity(arguments.deny));
    Ok((fixed.document, left))
}
