//! `obvert grade`: the grades of pipes by a grade scheme.

use obvert::check::grading::{GradeError, GradeSettings, GradeTable};
use obvert::check::{Checker, Settings};

use super::{convert, print};
use crate::args::{Grade, TableFormat};
use crate::input::{self, Input};
use crate::{Failure, Status, lists, render};

/// Grades every file.
pub(crate) fn run(arguments: &Grade) -> Result<Status, Failure> {
    let settings = Settings::default().with_code_lists(lists::code_lists(&arguments.code_lists)?);
    let scheme =
        lists::grade_schemes(arguments.grade_scheme.as_slice(), &settings.code_lists)?.pop();
    let checker = Checker::new(settings)?;
    let by = GradeSettings::default()
        .with_scheme(scheme.as_ref())
        .with_computed_only(arguments.computed);
    let mut tables = Vec::new();
    let mut failed = false;
    for path in &arguments.files {
        let input = input::open(path, arguments.from, None);
        match input
            .and_then(|mut input| Ok((grades(&checker, &mut input, by)?, input.name().to_owned())))
        {
            Ok((Some(table), name)) => tables.push((name, table)),
            Ok((None, _)) => failed = true,
            Err(error) => {
                failed = true;
                render::failure(&*error);
            }
        }
    }
    let sort = arguments.worst_first;
    match arguments.format {
        TableFormat::Text => {
            render::out(|out| {
                let several = arguments.files.len() > 1;
                tables.iter().try_for_each(|(name, table)| {
                    render::grades::text(
                        out,
                        several.then_some(name),
                        table,
                        sort,
                        arguments.observations,
                    )
                })
            })?;
        }
        // One file gives an object and several give a list, so that a program with one file need
        // not unwrap it.
        TableFormat::Json => {
            let tables: Vec<&GradeTable> = tables.iter().map(|(_, table)| table).collect();
            let text = match (tables.as_slice(), arguments.files.len()) {
                ([one], 1) => serde_json::to_string_pretty(one)?,
                (all, _) => serde_json::to_string_pretty(all)?,
            };
            print(format!("{text}\n").as_bytes())?;
        }
        TableFormat::Csv => {
            let bytes = render::grades::csv(&tables, sort, arguments.observations)?;
            print(&bytes)?;
        }
    }
    Ok(if failed { Status::Failed } else { Status::Success })
}

/// The grades of a survey; `None` if it is not valid, which has been reported.
fn grades(
    checker: &Checker,
    input: &mut Input<'_>,
    by: GradeSettings<'_>,
) -> Result<Option<GradeTable>, Failure> {
    let name = input.name().to_owned();
    if let Some(Ok(text)) = input.source().json() {
        match checker.grades(text, by) {
            Ok(table) => {
                input.report_notes();
                return Ok(Some(table));
            }
            // The problems of the document are reported below.
            Err(GradeError::Read(_)) => {}
            Err(error) => return Err(format!("{name}: {error}").into()),
        }
    }
    let Some(document) = convert::document(input)? else { return Ok(None) };
    match checker.grades_of(&document, by) {
        Ok(table) => Ok(Some(table)),
        Err(error) => Err(format!("{name}: {error}").into()),
    }
}
