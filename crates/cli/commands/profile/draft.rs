//! `obvert profile draft`: drafts a profile from surveys that an office has accepted.

use std::io::Write;

use obvert::check::{Checker, Draft, DraftSettings};

use crate::args::ProfileDraft;
use crate::{Failure, Status, atomic_output, input, render};

/// Drafts a profile.
pub(super) fn run(arguments: &ProfileDraft) -> Result<Status, Failure> {
    let check = super::settings(arguments.today.as_deref(), &arguments.own_lists)?;
    if let Some(output) = &arguments.output {
        atomic_output::may_write(output, arguments.replace)?;
    }
    let checker = Checker::new(check.clone())?;
    let mut draft = Draft::new(
        DraftSettings::new(super::super::layout::id(&arguments.id)?)
            .with_least_rows(arguments.min_rows.max(1))
            .with_least_surveys(arguments.min_surveys.max(1))
            .with_check(check),
    )?;
    let surveys = input::surveys(&arguments.files);
    let mut with_errors = 0;
    for path in &surveys {
        let mut input = input::open(path, None, None)?;
        let name = input.name().to_owned();
        let Some(document) = crate::commands::convert::document(&mut input)? else {
            return Err(
                format!("{name}: is not a valid survey; draft from accepted surveys only").into()
            );
        };
        let errors = checker.check_document(&document).totals.error;
        if errors > 0 {
            with_errors += 1;
            render::note(&format!(
                "{name}: has {}, so what it shows may be a mistake; run obvert check for details",
                render::count(errors, "error")
            ));
        }
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
    if with_errors > 0 {
        let errors = render::count(with_errors, "survey");
        writeln!(log, "{errors} of them with errors: an accepted survey has none; draft again")?;
    }
    writeln!(
        log,
        "the basis of each requirement states how many rows it rests on; delete the requirements \
         that hold only by chance"
    )?;
    Ok(Status::Success)
}
