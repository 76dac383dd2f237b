//! `obvert grade`: pipes by how bad they are.

use obvert::check::grading::{GradeBy, GradeTable};
use obvert::check::{Checker, Settings};

use super::print;
use crate::args::{Grade, TableFormat};
use crate::files::{self, Source};
use crate::{Failure, Status, lists, render};

/// Grades every file.
pub(crate) fn run(arguments: &Grade) -> Result<Status, Failure> {
    let settings = Settings { code_lists: lists::code_lists(&arguments.code_lists)?, ..Settings::default() };
    let scheme = lists::grade_schemes(arguments.grade_scheme.as_slice(), &settings.code_lists)?.pop();
    let checker = Checker::new(settings)?;
    let by = GradeBy { scheme: scheme.as_ref(), computed_only: arguments.computed };
    let mut tables = Vec::new();
    let mut failed = false;
    for path in &arguments.files {
        match files::read(path, arguments.from).and_then(|source| Ok((grades(&checker, &source, by)?, source.name))) {
            Ok((table, name)) => tables.push((name, table)),
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
                    render::grades::text(out, several.then_some(name), table, sort, arguments.observations)
                })
            })?;
        }
        // One file, one object; several, a list: software that asked for one need not unpack it.
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
    Ok(if failed { Status::Failed } else { Status::Good })
}

fn grades(checker: &Checker, source: &Source, by: GradeBy<'_>) -> Result<GradeTable, Failure> {
    let name = &source.name;
    let Some(survey) = source.survey() else {
        return checker
            .grades(source.current().map_err(|error| format!("{name}: {}", crate::render::with_causes(error)))?, by)
            .map_err(|error| format!("{name}: {error}").into());
    };
    let survey = survey.map_err(|error| source.failure(&error))?;
    checker.grades_of(&survey.document, by).map_err(|error| format!("{name}: {error}").into())
}
