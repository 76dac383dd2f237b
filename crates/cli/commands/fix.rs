//! `obvert fix`: surveys mended, or shown as they would be.

use std::io::Write;
use std::path::Path;

use obvert::check::Checker;
use obvert::check::fixing::{
    FixLog, FixOutcome, FixSettings, FixedDocument, MEDIA_FILE, MediaSource,
};

use super::check::{settings, severity};
use super::print;
use crate::args::{Fix, FixFormat};
use crate::input::{self, Input};
use crate::media_folder::MediaFolder;
use crate::render::fixes::{self, Shown};
use crate::{Failure, Status, atomic_output, render};

/// Mends every file, and says what was done and what was not.
pub(crate) fn run(arguments: &Fix) -> Result<Status, Failure> {
    if arguments.output.is_some() && arguments.files.len() > 1 {
        return Err(
            "--output takes one survey; give --write to mend several in their places".into()
        );
    }
    if arguments.write && arguments.files.iter().any(|file| file == Path::new("-")) {
        return Err("--write: standard input has no place to write to; give -o OUT".into());
    }
    if let Some(out) = arguments.output.as_deref().filter(|out| *out != Path::new("-")) {
        atomic_output::free(out, arguments.replace)?;
    }
    let checker = Checker::new(settings(&arguments.judged, true)?)?;
    let what = FixSettings::default()
        .with_confirmed(arguments.confirm)
        .with_only(arguments.only.iter().cloned());
    let mut documents = Vec::new();
    let mut status = Status::Good;
    for path in &arguments.files {
        match one(arguments, &checker, &what, path) {
            Ok((document, left)) => {
                documents.push(document);
                if left && status == Status::Good {
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
            serde_json::to_vec_pretty(&FixLog::new(arguments.judged.today.clone(), documents))?;
        log.push(b'\n');
        say(arguments, &log)?;
    }
    Ok(status)
}

/// Mends one survey; says with its log whether something at or above the threshold is left.
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
            "{name}: is {format}, and only JSON documents are mended; convert it first: obvert convert {} -o survey.obvert.json",
            path.display()
        )
        .into());
    }
    if source.is_older() {
        return Err(format!(
            "{name}: of an older version of the format, and only documents of this one are mended; migrate it first: obvert migrate {}",
            path.display()
        )
        .into());
    }
    let folder = if arguments.leave_media { None } else { MediaFolder::of(path) };
    let media = folder.as_ref().map(|folder| folder as &dyn MediaSource);
    let mut mended =
        checker.fix(source.bytes(), what, media).map_err(|error| format!("{name}: {error}"))?;
    mended.document.name_file(name);
    mended.document.written = write(arguments, path, &source, &mended)?;
    let shown = Shown {
        all: arguments.all,
        preview: !arguments.write && arguments.output.is_none(),
        confirmed: arguments.confirm,
    };
    let mut text = Vec::new();
    match arguments.format {
        FixFormat::Json => {}
        FixFormat::Text => fixes::document(&mut text, &source, &mended, &shown)?,
        FixFormat::Diff => fixes::difference(&mut text, &source, &mended.text, true)?,
    }
    say(arguments, &text)?;
    // A media file that is not the one that is recorded is no finding of the rules, and as bad as
    // an error.
    let media = mended.document.skipped.iter().any(|left| left.rule == MEDIA_FILE);
    let left =
        media || mended.report.worst().is_some_and(|worst| worst >= severity(arguments.deny));
    Ok((mended.document, left))
}

/// Writes a mended survey where it is to go, and says where that is. What has not changed is
/// written only to another place.
fn write(
    arguments: &Fix,
    path: &Path,
    source: &Input<'_>,
    mended: &FixOutcome,
) -> Result<Option<String>, Failure> {
    match arguments.output.as_deref() {
        Some(out) if out == Path::new("-") => {
            print(mended.text.as_bytes())?;
            Ok(Some("standard output".into()))
        }
        Some(out) => {
            atomic_output::write_file(out, arguments.replace, |sink| {
                Ok(sink.write_all(mended.text.as_bytes())?)
            })?;
            Ok(Some(out.display().to_string()))
        }
        None if arguments.write && mended.text.as_bytes() != source.bytes() => {
            atomic_output::rewrite(path, source.bytes(), mended.text.as_bytes())?;
            Ok(Some(source.name().to_owned()))
        }
        None => Ok(None),
    }
}

/// Prints the log: to standard output, unless that takes the mended survey.
fn say(arguments: &Fix, text: &[u8]) -> Result<(), Failure> {
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
