//! `obvert migrate`: migrates surveys to the current version of the format, and profiles to the
//! current names of rules, or shows what would change.

use std::path::Path;

use obvert::model::edit::{Edit, spelled};
use obvert::model::read::Problem;
use obvert::model::versions::{self, MigrateError, MigratedDocument, Migration};

use crate::args::{ListFormat, Migrate};
use crate::input;
use crate::{Failure, Status, render};

/// How many locations of one step are listed; the rest is counted.
const SHOWN: usize = 5;

/// Migrates every file. If one cannot be migrated, it stays as it is, and the others are migrated.
pub(crate) fn run(arguments: &Migrate) -> Result<Status, Failure> {
    arguments.destination.check(&arguments.files, "migrate")?;
    if !versions::KNOWN.contains(&arguments.to.as_str()) {
        let known = versions::KNOWN.join(", ");
        return Err(format!("--to {}: unknown version; give one of {known}", arguments.to).into());
    }
    let mut documents = Vec::new();
    let mut status = Status::Success;
    for path in &arguments.files {
        documents.push(one(arguments, path).unwrap_or_else(|error| {
            render::failure(&*error);
            status = Status::Failed;
            MigratedDocument::failed(&path.display().to_string(), &error.to_string())
        }));
    }
    if arguments.format == ListFormat::Json {
        let log = serde_json::to_string_pretty(&Migration::new(documents))? + "\n";
        arguments.destination.print_log(log.as_bytes())?;
    }
    Ok(status)
}

fn one(arguments: &Migrate, path: &Path) -> Result<MigratedDocument, Failure> {
    let source = input::open_survey_or_profile(path)?;
    let name = source.name();
    if !source.is_json() {
        let format = source.format();
        return Err(format!(
            "{name}: is {format}, but only JSON documents can be migrated; first convert it to \
             JSON with \
             the version of Obvert that wrote it"
        )
        .into());
    }
    let profile = versions::is_profile(source.bytes());
    let migrated = match profile {
        true => versions::migrate_profile(source.bytes()),
        false => versions::migrate(source.bytes(), &arguments.to),
    };
    let migrated = migrated.map_err(|error| failure(name, &error))?;
    let mut document = MigratedDocument::of(name, &migrated);
    document.written = arguments.destination.write(path, &source, migrated.text.as_bytes())?;
    if arguments.format == ListFormat::Text {
        arguments.destination.print_log(text(arguments, &document, profile).as_bytes())?;
    }
    Ok(document)
}

/// The error of a migration. If the file is not valid in its own version, its problems are printed.
fn failure(name: &str, error: &MigrateError) -> String {
    let MigrateError::InvalidInput { version, source } = error else {
        return format!("{name}: {}", render::with_causes(error));
    };
    if source.problems().is_empty() {
        return input::located(name, source);
    }
    for problem in source.problems() {
        let (line, column) = (problem.line, problem.column);
        let problem = Problem { line: 0, ..problem.clone() };
        render::failure(&*Failure::from(format!("{name}:{line}:{column}: {problem}")));
    }
    format!("{name}: is not valid in its version {version}; correct it, then migrate it")
}

/// The steps as text.
fn text(arguments: &Migrate, document: &MigratedDocument, profile: bool) -> String {
    let (from, to) =
        (document.from.as_deref().unwrap_or_default(), document.to.as_deref().unwrap_or_default());
    let mut lines = Vec::new();
    lines.push(match (profile, document.steps.len()) {
        (true, 0) => format!("{}: a profile with no renamed rules", document.file),
        (true, 1) => format!("{}: a profile with 1 renamed rule", document.file),
        (true, rules) => format!("{}: a profile with {rules} renamed rules", document.file),
        (false, 0) => format!("{}: already has version {to}", document.file),
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
            "nothing is written yet: --write migrates the file in place, -o OUT writes a new one"
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
        Edit::Remove { path } => format!("{path}: removed"),
    }
}
