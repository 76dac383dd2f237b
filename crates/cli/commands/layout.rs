//! `obvert layout`: checks the layout of an office's own table, or drafts one from a table.

use std::io::{self, Write};
use std::path::Path;

use obvert::convert::{ConvertError, LossKind, Note, Survey};
use obvert::layout::{self, Drafted};
use obvert::model::layout::{Layout, LayoutProblem, Target};
use obvert::model::lists::CodeList;
use obvert::model::tables::Document;
use obvert::model::text::Text;
use obvert::open::{LAYOUT, OpenErrorKind};

use crate::args::{Layout as Arguments, LayoutCheck, LayoutDraft};
use crate::input::{self, ByLayout, Input};
use crate::lists::{self, File};
use crate::render::{count, losses};
use crate::{Failure, Status, atomic_output, render};

/// Checks or drafts a layout.
pub(crate) fn run(arguments: &Arguments) -> Result<Status, Failure> {
    match arguments {
        Arguments::Check(arguments) => check(arguments),
        Arguments::Draft(arguments) => draft(arguments),
    }
}

/// Drafts a layout, and reports what each column is based on.
fn draft(arguments: &LayoutDraft) -> Result<Status, Failure> {
    let id = match &arguments.id {
        Some(text) => id(text)?,
        None => id_of(&arguments.table)?,
    };
    if let Some(output) = &arguments.output {
        atomic_output::may_write(output, arguments.replace)?;
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
    let mut log = Vec::new();
    if let Some(output) = &arguments.output {
        writeln!(log, "written to {}", output.display())?;
    }
    for guess in &draft.guesses {
        writeln!(log, "guessed: {guess}")?;
    }
    for column in &draft.columns {
        print_column(&mut log, column)?;
    }
    for open in &draft.open {
        writeln!(log, "{} {open}", render::strong("open:"))?;
    }
    let mapped = draft.columns.iter().filter(|column| column.to.is_some()).count();
    writeln!(
        log,
        "mapped {mapped} of {}; run `obvert layout check` to see what it reads of the table",
        count(draft.columns.len(), "column")
    )?;
    // The layout is written whether or not standard error can be written.
    let _ = anstream::stderr().lock().write_all(&log);
    Ok(Status::Success)
}

/// The id of the draft for a table: after its name, so that messages about the layout of one table
/// are distinguished from those about another.
fn id_of(table: &Path) -> Result<Text, Failure> {
    let stem = table.file_stem().map(|stem| stem.to_string_lossy().to_lowercase());
    let stem = stem.filter(|_| table != Path::new("-")).unwrap_or_default();
    let words: Vec<&str> = stem
        .split(|letter: char| !letter.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .collect();
    match words.as_slice() {
        [] => id("draft-layout"),
        words => id(&format!("draft-{}", words.join("-"))),
    }
}

/// The id of a draft.
pub(super) fn id(text: &str) -> Result<Text, Failure> {
    Text::new(text).map_err(|_| format!("--id {text:?}: expected a text that is not empty").into())
}

/// Prints what a column is mapped to, with the confidence and the reason.
fn print_column(out: &mut dyn Write, column: &Drafted) -> io::Result<()> {
    let Drafted { heading, to, confidence, reason, sample, .. } = column;
    let heading = heading.replace('\n', " ");
    let to = to.as_deref().unwrap_or("not mapped");
    let sample = sample
        .as_ref()
        .map(|(value, line)| format!(" ({value:?}, line {line})"))
        .unwrap_or_default();
    writeln!(
        out,
        "{} {heading:?} -> {to}: {reason}{sample}",
        render::strong(&format!("{confidence:.2}"))
    )
}

/// The code list that the constants of a layout name, if it is available.
fn list_of<'l>(layout: &Layout, own: &'l [CodeList]) -> Option<&'l CodeList> {
    let (id, version) =
        (layout.fixed_text(Target::CODE_LIST)?, layout.fixed_text(Target::CODE_LIST_VERSION)?);
    own.iter()
        .chain(CodeList::built_ins())
        .find(|list| *list.id == *id && *list.version == *version)
}

fn coding_problems(layout: &Layout, own: &[CodeList]) -> Vec<LayoutProblem> {
    list_of(layout, own).map(|list| layout.coding_problems(list)).unwrap_or_default()
}

/// A note if the code list of a layout is not available, so that its codes cannot be checked.
fn missing_list(layout: &Layout, own: &[CodeList]) -> Option<String> {
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
        "the code list {id} {version} is not available, so the codes of the layout were not \
         checked; \
         give it with --code-list, or correct the fixed coding.list and coding.version (available: \
         {})",
        known.join(", ")
    ))
}

/// Reports the mistakes of a layout, and what it cannot read of a table.
fn check(arguments: &LayoutCheck) -> Result<Status, Failure> {
    let lists = lists::code_lists(&arguments.code_lists)?;
    let file = File::open(&arguments.layout, "layout")?;
    let name = &file.name;
    // A missing table is reported even if the layout has mistakes.
    if let Some(table) = arguments.table.as_deref().filter(|table| *table != Path::new("-")) {
        std::fs::metadata(table).map_err(|error| input::unreadable(table, &error))?;
    }
    let layout = match Layout::read(&file.bytes) {
        Ok(layout) => layout,
        Err(error) if error.problems().is_empty() => return Err(file.unreadable(&error.into())),
        Err(error) => {
            render::out(|out| file.structure_problems(error.problems(), out))?;
            return Ok(Status::Findings);
        }
    };
    let mut problems = layout.problems();
    if problems.is_empty() {
        problems = coding_problems(&layout, &lists);
    }
    if !problems.is_empty() {
        render::out(|out| file.layout_problems(&problems, out))?;
        return Ok(Status::Findings);
    }
    if let Some(missing) = missing_list(&layout, &lists) {
        render::note(&format!("{name}: {missing}"));
    }
    let about =
        format!("{} {}, {}", layout.id, layout.version, count(layout.columns.len(), "column"));
    match &arguments.table {
        Some(table) => check_table(table, &ByLayout { layout, lists }, &about),
        None => render::out(|out| writeln!(out, "{name}: no mistakes; {about}")),
    }
}

/// Reports what a layout cannot read of a table.
fn check_table(table: &Path, by: &ByLayout, about: &str) -> Result<Status, Failure> {
    let mut input = input::open(table, Some(&LAYOUT), Some(by))?;
    match input.survey() {
        Ok(Survey { document, .. }) => {
            render::out(|out| print_reading(out, &input, &document, about))
        }
        Err(error) => {
            let OpenErrorKind::Read(ConvertError::Structure(problems)) = error.kind() else {
                return Err(error.into());
            };
            let lines = render::problems::lines(problems, &input);
            render::out(|out| lines.iter().try_for_each(|line| writeln!(out, "{line}")))?;
            Ok(Status::Findings)
        }
    }
}

/// Prints what was read of a table, and what was not.
fn print_reading(
    out: &mut dyn Write,
    input: &Input<'_>,
    document: &Document,
    about: &str,
) -> io::Result<()> {
    let (name, losses) = (input.name(), &input.provenance().losses);
    for Note { message, .. } in &losses.notes {
        writeln!(out, "{name}: {message}")?;
    }
    let dropped = losses.losses.iter().filter(|loss| loss.kind == LossKind::Dropped);
    for (loss, times) in losses::folded(dropped) {
        let at = loss.place.as_ref().map_or_else(|| name.to_owned(), ToString::to_string);
        writeln!(out, "{at}: {}{}", loss.message, losses::times(times))?;
    }
    let observations: usize = document.runs.iter().map(|run| run.observations.len()).sum();
    writeln!(
        out,
        "{name}: read by {about}: {}, {}, {}",
        count(document.head.pipes.len(), "pipe"),
        count(document.runs.len(), "run"),
        count(observations, "observation")
    )
}
