//! `obvert profile draft`: drafts a profile from surveys that an office has accepted.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use obvert::check::{Draft, DraftSettings};

use crate::args::ProfileDraft;
use crate::formats::formats;
use crate::{Failure, Status, atomic_output, input, render};

/// Drafts a profile.
pub(super) fn run(arguments: &ProfileDraft) -> Result<Status, Failure> {
    let check = super::settings(arguments.today.as_deref(), &arguments.own_lists)?;
    if let Some(output) = &arguments.output {
        atomic_output::may_write(output, arguments.replace)?;
    }
    let mut draft = Draft::new(
        DraftSettings::new(super::super::layout::id(&arguments.id)?)
            .with_least_rows(arguments.min_rows.max(1))
            .with_least_surveys(arguments.min_surveys.max(1))
            .with_check(check),
    )?;
    let mut surveys = Vec::new();
    for path in &arguments.files {
        surveys.extend(surveys_in(path)?);
    }
    for path in &surveys {
        let mut input = input::open(path, None, None)?;
        let name = input.name().to_owned();
        let Some(document) = crate::commands::convert::document(&mut input)? else {
            return Err(
                format!("{name}: is not a valid survey; draft from accepted surveys only").into()
            );
        };
        draft.add(&document).map_err(|error| format!("{name}: {error}"))?;
    }
    let profile = draft.finish()?;
    let text = profile.write()?;
    match &arguments.output {
        Some(output) => atomic_output::write_file(output, arguments.replace, |sink| {
            Ok(sink.write_all(text.as_bytes())?)
        })?,
        None => {
            crate::commands::print(text.as_bytes())?;
        }
    }
    let mut log = anstream::stderr().lock();
    let surveys = render::count(surveys.len(), "survey");
    writeln!(log, "drafted from {surveys}: {}", super::summary(&profile))?;
    writeln!(
        log,
        "the basis of each requirement states how many rows it rests on; delete the requirements \
         that hold only by chance"
    )?;
    Ok(Status::Success)
}

/// The surveys at a path: the path itself, or the surveys in the folder.
fn surveys_in(path: &Path) -> Result<Vec<PathBuf>, Failure> {
    if !path.is_dir() || is_tables(path) {
        return Ok(vec![path.to_owned()]);
    }
    let name = path.display();
    let mut found = Vec::new();
    for entry in fs::read_dir(path).map_err(|error| format!("{name}: {error}"))? {
        let entry = entry.map_err(|error| format!("{name}: {error}"))?.path();
        if if entry.is_dir() { is_tables(&entry) } else { input::by_name(&entry).is_some() } {
            found.push(entry);
        }
    }
    if found.is_empty() {
        return Err(format!("{name}: there is no survey in this folder").into());
    }
    found.sort();
    Ok(found)
}

/// Whether a folder holds the tables of one survey.
fn is_tables(folder: &Path) -> bool {
    let names = |entries: fs::ReadDir| {
        entries
            .flatten()
            .map(|entry| entry.file_name().to_string_lossy().into_owned())
            .collect::<Vec<_>>()
    };
    fs::read_dir(folder).map(names).is_ok_and(|names| {
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        formats().detect_folder(&names, None).is_ok()
    })
}
