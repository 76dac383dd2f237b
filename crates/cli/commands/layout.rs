//! `obvert layout`: the layouts of offices' own tables, judged by themselves and against a table,
//! and drafted from one.

use std::io::Write;

use obvert::convert::{ConvertError, LossKind, Note, Survey};
use obvert::layout::{self, Drafted};
use obvert::model::layout::{Layout, LayoutProblem, Target};
use obvert::model::lists::CodeList;
use obvert::model::text::Text;
use obvert::open::{LAYOUT, OpenErrorKind};

use crate::args::{Layout as Arguments, LayoutCheck, LayoutDraft};
use crate::input::{self, ByLayout};
use crate::lists::{self, File};
use crate::render::losses;
use crate::{Failure, Status, atomic_output, render};

/// Does what is asked with a layout.
pub(crate) fn run(arguments: &Arguments) -> Result<Status, Failure> {
    match arguments {
        Arguments::Check(check) => judge(check),
        Arguments::Draft(arguments) => propose(arguments),
    }
}

/// Proposes a layout and says what it rests on.
fn propose(arguments: &LayoutDraft) -> Result<Status, Failure> {
    let id = Text::new(&arguments.id).map_err(|error| format!("--id: {error}"))?;
    if let Some(output) = &arguments.output {
        atomic_output::free(output, arguments.replace)?;
    }
    let (name, bytes) = input::read_file(&arguments.table)?;
    let mut draft = match &arguments.sheet {
        Some(sheet) => layout::draft_sheet(&bytes, &name, sheet)?,
        None => layout::draft(&bytes, &name)?,
    };
    draft.layout.id = id;
    let text = draft.layout.write()?;
    match &arguments.output {
        Some(output) => atomic_output::write_file(output, arguments.replace, |sink| {
            Ok(sink.write_all(text.as_bytes())?)
        })?,
        None => {
            super::print(text.as_bytes())?;
        }
    }
    let mut said = Vec::new();
    for guess in &draft.guesses {
        writeln!(said, "guessed: {guess}")?;
    }
    for Drafted { heading, to, confidence, reason, sample, .. } in &draft.columns {
        let heading = heading.replace('\n', " ");
        let to = to.as_deref().unwrap_or("nothing");
        let sample = sample
            .as_ref()
            .map(|(value, line)| format!(" ({value:?}, line {line})"))
            .unwrap_or_default();
        writeln!(
            said,
            "{} {heading:?} -> {to}: {reason}{sample}",
            render::strong(&format!("{confidence:.2}"))
        )?;
    }
    for open in &draft.open {
        writeln!(said, "{} {open}", render::strong("open:"))?;
    }
    let found = draft.columns.iter().filter(|column| column.to.is_some()).count();
    writeln!(
        said,
        "drafted {found} of {} columns; obvert layout check says what of the table is read by it",
        draft.columns.len()
    )?;
    // Whether anybody reads this does not decide whether the layout is written.
    let _ = anstream::stderr().lock().write_all(&said);
    Ok(Status::Good)
}

/// The code list that a layout is coded in by its constants, where it is at hand.
fn list_of<'l>(layout: &Layout, own: &'l [CodeList]) -> Option<&'l CodeList> {
    let (id, version) =
        (layout.fixed_text(Target::CODE_LIST)?, layout.fixed_text(Target::CODE_LIST_VERSION)?);
    own.iter()
        .chain(CodeList::built_ins())
        .find(|list| *list.id == *id && *list.version == *version)
}

fn coding(layout: &Layout, own: &[CodeList]) -> Vec<LayoutProblem> {
    list_of(layout, own).map(|list| layout.coding_problems(list)).unwrap_or_default()
}

/// Says so where a layout is coded in a list that is not at hand, against which its codes cannot be
/// held.
fn list_missing(layout: &Layout, own: &[CodeList]) -> Option<String> {
    let (id, version) =
        (layout.fixed_text(Target::CODE_LIST)?, layout.fixed_text(Target::CODE_LIST_VERSION)?);
    if list_of(layout, own).is_some() {
        return None;
    }
    let known: Vec<String> = own
        .iter()
        .chain(CodeList::built_ins())
        .map(|list| format!("{} {}", list.id, list.version))
        .collect();
    Some(format!(
        "the code list {id} {version} is not at hand, so that nobody looked whether it has the codes of the layout; give it with \
         --code-list, or correct the fixed coding.list and coding.version (at hand: {})",
        known.join(", ")
    ))
}

/// Says what does not make sense in a layout, and what of a table cannot be read by it.
fn judge(arguments: &LayoutCheck) -> Result<Status, Failure> {
    let lists = lists::code_lists(&arguments.code_lists)?;
    let file = File::open(&arguments.layout, "layout")?;
    let name = &file.name;
    let layout = match Layout::read(&file.bytes) {
        Ok(layout) => layout,
        Err(error) if error.problems().is_empty() => return Err(file.unreadable(&error.into())),
        Err(error) => {
            render::out(|out| file.structure_problems(error.problems(), out))?;
            return Ok(Status::Findings);
        }
    };
    let problems = layout.problems();
    if !problems.is_empty() {
        render::out(|out| file.layout_problems(&problems, out))?;
        return Ok(Status::Findings);
    }
    let coding = coding(&layout, &lists);
    render::out(|out| file.layout_problems(&coding, out))?;
    if !coding.is_empty() {
        return Ok(Status::Findings);
    }
    if let Some(why) = list_missing(&layout, &lists) {
        render::note(&format!("{name}: {why}"));
    }
    let said = format!("{} {}, {} columns", layout.id, layout.version, layout.columns.len());
    let Some(table) = &arguments.table else {
        return render::out(|out| writeln!(out, "{name}: nothing wrong; {said}"));
    };
    let by = ByLayout { layout, lists };
    let mut input = input::open(table, Some(&LAYOUT), Some(&by))?;
    let Survey { document, .. } = match input.survey() {
        Ok(survey) => survey,
        Err(error) => {
            let OpenErrorKind::Read(ConvertError::Structure(problems)) = error.kind() else {
                return Err(error.into());
            };
            let lines = render::problems::lines(problems, &input);
            render::out(|out| lines.iter().try_for_each(|line| writeln!(out, "{line}")))?;
            return Ok(Status::Findings);
        }
    };
    let rows: usize = document.runs.iter().map(|run| run.observations.len()).sum();
    let counted =
        |count: usize, what: &str| format!("{count} {what}{}", if count == 1 { "" } else { "s" });
    let (pipes, runs) =
        (counted(document.head.pipes.len(), "pipe"), counted(document.runs.len(), "run"));
    let rows = counted(rows, "observation");
    let (name, losses) = (input.name(), &input.provenance().losses);
    render::out(|out| {
        for Note { message, .. } in &losses.notes {
            writeln!(out, "{name}: {message}")?;
        }
        let dropped = losses.losses.iter().filter(|loss| loss.kind == LossKind::Dropped);
        for (loss, count) in losses::folded(dropped) {
            let at = loss.place.as_ref().map_or_else(|| name.to_owned(), ToString::to_string);
            let times = if count == 1 {
                String::new()
            } else {
                format!(" ({count} times, the first here)")
            };
            writeln!(out, "{at}: {}{times}", loss.message)?;
        }
        writeln!(out, "{name}: read by {said}: {pipes}, {runs}, {rows}")
    })
}
