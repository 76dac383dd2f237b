//! `obvert layout`: the layouts of offices' own tables, judged by themselves and against a table.

use obvert::convert::ConvertError;
use obvert::model::layout::Layout;

use crate::args::{Layout as Arguments, LayoutCheck};
use crate::files::{self, ByLayout};
use crate::lists::{self, File};
use crate::{Failure, Status, render};

/// Does what is asked with a layout.
pub(crate) fn run(arguments: &Arguments) -> Result<Status, Failure> {
    let Arguments::Check(check) = arguments;
    judge(check)
}

/// Says what does not make sense in a layout, and what of a table cannot be read by it.
fn judge(arguments: &LayoutCheck) -> Result<Status, Failure> {
    let lists = lists::code_lists(&arguments.code_lists)?;
    let file = File::open(&arguments.layout, "layout")?;
    let name = &file.source.name;
    let layout = match Layout::read(file.source.bytes()) {
        Ok(layout) => layout,
        Err(error) if error.problems.is_empty() => {
            return Err(format!("{name}:{}:{}: {}", error.line, error.column, error.message).into());
        }
        Err(error) => {
            render::out(|out| file.structure_problems(&error.problems, out))?;
            return Ok(Status::Findings);
        }
    };
    let problems = layout.problems();
    if !problems.is_empty() {
        render::out(|out| file.layout_problems(&problems, out))?;
        return Ok(Status::Findings);
    }
    let said = format!("{} {}, {} columns", layout.id, layout.version, layout.columns.len());
    let Some(table) = &arguments.table else {
        return render::out(|out| writeln!(out, "{name}: nothing wrong; {said}"));
    };
    let by = std::sync::Arc::new(ByLayout { layout, lists });
    let source = files::read_by(table, Some(crate::args::Form::Layout), Some(&by))?;
    match source.survey() {
        Some(Ok(survey)) => {
            let document = survey.document;
            let rows: usize = document.runs.iter().map(|run| run.observations.len()).sum();
            let (pipes, runs) = (document.head.pipes.len(), document.runs.len());
            render::out(|out| {
                writeln!(out, "{}: read by {said}: {pipes} pipes, {runs} runs, {rows} observations", source.name)
            })
        }
        Some(Err(ConvertError::Structure(problems))) => {
            render::out(|out| problems.iter().try_for_each(|problem| writeln!(out, "{problem}")))?;
            Ok(Status::Findings)
        }
        Some(Err(error)) => Err(source.failure(&error)),
        None => Ok(Status::Good),
    }
}
