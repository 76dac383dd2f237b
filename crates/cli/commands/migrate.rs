//! `obvert migrate`: brings surveys of older versions to this one, and profiles to the names that
//! rules have now, or shows what would change.

use std::io::Write;
use std::path::Path;

use obvert::model::edit::{Edit, spelled};
use obvert::model::read::{Problem, ReadError};
use obvert::model::versions::{self, MigrateError, Migrated, MigratedDocument, Migration};

use super::print;
use crate::args::{ListFormat, Migrate};
use crate::input::{self, Input};
use crate::{Failure, Status, atomic_output, render};

/// How many places of one step are shown before the rest is only counted.
const SHOWN: usize = 5;

/// Migrates every file. One that cannot be migrated keeps no other from it, and stays as it is.
pub(crate) fn run(arguments: &Migrate) -> Result<Status, Failure> {
    if arguments.output.is_some() && arguments.files.len() > 1 {
        return Err(
            "--output takes one survey; give --write to migrate several in their places".into()
        );
    }
    if arguments.write && arguments.files.iter().any(|file| file == Path::new("-")) {
        return Err("--write: standard input has no place to write to; give -o OUT".into());
    }
    if !versions::KNOWN.contains(&arguments.to.as_str()) {
        let known = versions::KNOWN.join(", ");
        return Err(format!(
            "--to {}: there is no such version here; there are: {known}",
            arguments.to
        )
        .into());
    }
    if let Some(out) = arguments.output.as_deref().filter(|out| *out != Path::new("-")) {
        atomic_output::free(out, arguments.replace)?;
    }
    let mut documents = Vec::new();
    let mut status = Status::Good;
    for path in &arguments.files {
        documents.push(one(arguments, path).unwrap_or_else(|error| {
            render::failure(&*error);
            status = Status::Failed;
            MigratedDocument::failed(&path.display().to_string(), &error.to_string())
        }));
    }
    if arguments.format == ListFormat::Json {
        say(arguments, &(serde_json::to_string_pretty(&Migration::new(documents))? + "\n"))?;
    }
    Ok(status)
}

fn one(arguments: &Migrate, path: &Path) -> Result<MigratedDocument, Failure> {
    let source = input::open(path, None, None)?;
    let name = source.name();
    if !source.is_json() {
        let format = source.format();
        return Err(format!(
            "{name}: is {format}, and only JSON documents are migrated; convert it with the obvert that wrote it first"
        )
        .into());
    }
    let profile = versions::is_profile(source.bytes());
    let migrated = match profile {
        true => versions::migrate_profile(source.bytes()),
        false => versions::migrate(source.bytes(), &arguments.to),
    };
    let migrated = migrated.map_err(|error| {
        for problem in problems_before(&error).iter().skip(1) {
            render::failure(&*Failure::from(format!("{name}: {problem}")));
        }
        told(name, &error)
    })?;
    let mut document = MigratedDocument::of(name, &migrated);
    document.written = write(arguments, path, &source, &migrated)?;
    if arguments.format == ListFormat::Text {
        say(arguments, &text(arguments, &document, profile))?;
    }
    Ok(document)
}

/// The structural problems of a document of an older version, by its own schema.
fn problems_before(error: &MigrateError) -> &[Problem] {
    match error {
        MigrateError::InvalidInput { source: ReadError::Structure(problems), .. } => problems,
        _ => &[],
    }
}

fn told(name: &str, error: &MigrateError) -> String {
    format!("{name}: {}", render::with_causes(error))
}

/// Writes a migrated survey where it is to go. One that nothing is changed in is written to another
/// place only.
fn write(
    arguments: &Migrate,
    path: &Path,
    source: &Input<'_>,
    migrated: &Migrated,
) -> Result<Option<String>, Failure> {
    let bytes = migrated.text.as_bytes();
    match arguments.output.as_deref() {
        Some(out) if out == Path::new("-") => {
            print(bytes)?;
            Ok(Some("standard output".into()))
        }
        Some(out) => {
            atomic_output::write_file(out, arguments.replace, |sink| Ok(sink.write_all(bytes)?))?;
            Ok(Some(out.display().to_string()))
        }
        None if arguments.write && bytes != source.bytes() => {
            atomic_output::rewrite(path, source.bytes(), bytes)?;
            Ok(Some(source.name().to_owned()))
        }
        None => Ok(None),
    }
}

/// What was done, or would be, for reading.
fn text(arguments: &Migrate, document: &MigratedDocument, profile: bool) -> String {
    let (from, to) =
        (document.from.as_deref().unwrap_or_default(), document.to.as_deref().unwrap_or_default());
    let mut lines = Vec::new();
    lines.push(match (profile, document.steps.len()) {
        (true, 0) => format!("{}: a profile with no renamed rules", document.file),
        (true, 1) => format!("{}: a profile with 1 renamed rule", document.file),
        (true, rules) => format!("{}: a profile with {rules} renamed rules", document.file),
        (false, 0) => format!("{}: of version {to} already", document.file),
        (false, _) => format!("{}: from version {from} to {to}", document.file),
    });
    for step in &document.steps {
        let losing = if step.lossless { "" } else { ", with a loss" };
        lines.push(format!("  {}{losing}: {}", render::strong(&step.name), step.does));
        let shown = if arguments.all { usize::MAX } else { SHOWN };
        lines.extend(step.edits.iter().take(shown).map(|edit| format!("    {}", change(edit))));
        if step.edits.len() > shown {
            lines.push(format!("    and {} more; --all lists them", step.edits.len() - shown));
        }
    }
    match &document.written {
        Some(written) => lines.push(format!("written to {written}")),
        None if document.steps.is_empty() => {}
        None => lines.push(
            "nothing is written yet: --write migrates the file in its place, -o OUT writes another"
                .to_owned(),
        ),
    }
    lines.join("\n") + "\n"
}

fn change(edit: &Edit) -> String {
    match edit {
        Edit::Move { from, path } => format!("{from} -> {path}"),
        Edit::Replace { path, value } | Edit::Add { path, value } => {
            format!("{path}: {}", spelled(value))
        }
        Edit::Remove { path } => format!("{path}: taken out"),
    }
}

/// Prints the log: to standard output, unless that takes the migrated survey.
fn say(arguments: &Migrate, text: &str) -> Result<(), Failure> {
    if arguments.output.as_deref() == Some(Path::new("-")) {
        anstream::stderr().lock().write_all(text.as_bytes())?;
        return Ok(());
    }
    render::out(|out| out.write_all(text.as_bytes())).map(|_| ())
}
