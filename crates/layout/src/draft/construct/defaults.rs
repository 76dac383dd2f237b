//! Values that are in no column of a draft: units, the code list, fixed values, and values made
//! from others.

use std::collections::HashMap;

use obvert_convert::ConvertError;
use obvert_model::layout::{Fixed, Layout, Made, Stretches, Target, Template, UnitWord};
use obvert_model::lists::CodeList;
use obvert_model::profile::Scalar;
use obvert_model::tables::QuantityUnit;

use super::super::analysis::{Analysis, FileKind};
use super::super::vocabulary::{Role, Wants};
use super::{Context, text};
use crate::PLACEHOLDER_ISSUED;
use crate::grid::GridRow;

/// Adds the values that are in no column.
pub(super) fn add(
    layout: &mut Layout,
    context: Context<'_>,
    list: &CodeList,
    open: &mut Vec<String>,
) -> Result<(), ConvertError> {
    for (target, guess) in context.units.each() {
        fix(layout, target, guess.unit.as_str())?;
        if !guess.is_known() {
            let (why, unit) = (guess.why(), guess.unit);
            open.push(format!(
                "{why} the unit of lengths; it was assumed to be {unit}: correct units in fixed if it is not"
            ));
        }
    }
    fix(layout, Target::CODE_LIST, &list.id)?;
    fix(layout, Target::CODE_LIST_VERSION, &list.version)?;
    add_fixed(layout, context.analysis, open)?;
    add_issued(layout, context.has_start, open)?;
    add_names(layout, context, open)?;
    add_stretches(layout, context.analysis)?;
    add_unit_words(layout, context.analysis)?;
    layout.outcome_from_codes = Some(true);
    Ok(())
}

fn fix(layout: &mut Layout, target: Target, value: &str) -> Result<(), ConvertError> {
    layout.fixed.push(Fixed::new(target.into(), Scalar::Text(text(value)?)));
    Ok(())
}

fn make(layout: &mut Layout, target: Target, template: &str) -> Result<(), ConvertError> {
    layout.made.push(Made::new(target.into(), text(template)?));
    Ok(())
}

/// Adds fixed values, unless the file has them.
fn add_fixed(
    layout: &mut Layout,
    analysis: &Analysis<'_>,
    open: &mut Vec<String>,
) -> Result<(), ConvertError> {
    if analysis.has(Target::GRADES) {
        fix(layout, Target::GRADE_SCHEME, "obvert-grades")?;
        fix(layout, Target::GRADE_SCHEME_VERSION, "1")?;
        let grades = "grades are assumed to be those of obvert-grades; if the office uses another scheme, name it in fixed";
        open.push(grades.to_owned());
    }
    if analysis.has(Target::OPERATOR) {
        fix(layout, Target::PARTY_ROLE, "operator")?;
    }
    fix(layout, Target::STRUCTURE_KIND, "manhole")?;
    let (kind, shape) = (Target::STRUCTURE_KIND, Target::PIPE_SHAPE);
    if analysis.has(Target::PIPE_SHAPE) {
        open.push(format!("every structure is assumed to be a manhole; correct {kind} in fixed"));
    } else {
        open.push(format!(
            "every structure is assumed to be a manhole, and every pipe to be circular; correct {kind} and {shape} in fixed"
        ));
        fix(layout, Target::PIPE_SHAPE, "circular")?;
    }
    if !analysis.has(Target::DIRECTION) {
        fix(layout, Target::DIRECTION, "downstream")?;
        open.push(
            "no column has the direction of the camera; every run is assumed to be downstream: correct direction in fixed"
                .to_owned(),
        );
    }
    Ok(())
}

/// Adds the time of issue.
fn add_issued(
    layout: &mut Layout,
    has_start: bool,
    open: &mut Vec<String>,
) -> Result<(), ConvertError> {
    if has_start {
        make(layout, Target::ISSUED, &field(Target::STARTED))?;
        layout.zone = Some(text("+00:00")?);
        open.push(
            "the table does not have the offset of its times from UTC; set zone, which is +00:00"
                .to_owned(),
        );
    } else {
        fix(layout, Target::ISSUED, PLACEHOLDER_ISSUED)?;
        open.push(
            "the table does not have the time of issue; set it in fixed instead of 2000-01-01"
                .to_owned(),
        );
    }
    Ok(())
}

/// A field in the braces of a template.
fn field(target: Target) -> String {
    format!("{{{target}}}")
}

/// Adds the ids of pipes, runs, the document and recordings, if no column has them.
fn add_names(
    layout: &mut Layout,
    context: Context<'_>,
    open: &mut Vec<String>,
) -> Result<(), ConvertError> {
    let Context { analysis, has_start, .. } = context;
    let (pipe, run, direction) =
        (field(Target::PIPE_ID), field(Target::RUN_ID), field(Target::DIRECTION));
    if !analysis.has(Target::PIPE_ID) {
        // The two ends in flow direction, whatever the direction of the camera.
        let is_by_run = analysis.has(Target::RUN_FROM) && !analysis.has(Target::DIRECTION);
        let ends = if is_by_run {
            [Target::RUN_FROM, Target::RUN_TO]
        } else {
            [Target::PIPE_UPSTREAM, Target::PIPE_DOWNSTREAM]
        };
        make(layout, Target::PIPE_ID, &ends.map(field).join("/"))?;
    }
    if !analysis.has(Target::RUN_ID) {
        if has_start && is_ambiguous(analysis) {
            make(layout, Target::RUN_ID, &format!("{pipe} {}", field(Target::STARTED)))?;
            open.push(
                "no column identifies the run; rows with the same pipe and start are read as one run"
                    .to_owned(),
            );
        } else {
            make(layout, Target::RUN_ID, &format!("{pipe} {direction}"))?;
            open.push(
                "no column identifies the run; each direction of a pipe is read as one run"
                    .to_owned(),
            );
        }
    }
    // Next month's table can name the same runs.
    make(layout, Target::ID, &format!("draft:{run}:{}", Template::DIGEST))?;
    let names_recordings =
        analysis.choices.iter().flatten().any(|choice| choice.meaning.wants == Wants::Recording);
    if analysis.has(Target::MEDIA_OFFSET) && !names_recordings {
        let of_run = if analysis.has(Target::RUN_ID) { run } else { format!("{pipe}-{direction}") };
        layout.video = Some(text(&format!("{of_run}.mp4"))?);
        open.push(
            "no column names the recording that offsets refer to; set its name in video".to_owned(),
        );
    }
    Ok(())
}

/// Adds the marks of the start and the end of stretches.
fn add_stretches(layout: &mut Layout, analysis: &Analysis<'_>) -> Result<(), ConvertError> {
    let Some(column) = analysis.column_with(Role::Stretch) else { return Ok(()) };
    if let Some((start, finish)) = analysis.statistics(column).stretch_marks() {
        let heading = text(&analysis.columns[column].heading)?;
        layout.stretches = Some(Stretches::new(heading, text(start)?, text(finish)?));
    }
    Ok(())
}

/// Adds the words for units after numbers.
fn add_unit_words(layout: &mut Layout, analysis: &Analysis<'_>) -> Result<(), ConvertError> {
    let mut words: Vec<&(String, QuantityUnit)> = Vec::new();
    let chosen = (0..analysis.columns.len()).filter(|column| analysis.choice(*column).is_some());
    for unit in chosen.filter_map(|column| analysis.statistics(column).units()).flatten() {
        if !words.contains(&unit) {
            words.push(unit);
        }
    }
    for (word, unit) in words {
        layout.units.push(UnitWord::new(text(word)?, *unit));
    }
    Ok(())
}

/// Whether a pipe has several starts in one direction, or the start is not known.
fn is_ambiguous(analysis: &Analysis<'_>) -> bool {
    if let FileKind::Xml { .. } = analysis.form {
        return true;
    }
    const KEYS: [Target; 6] = [
        Target::PIPE_ID,
        Target::PIPE_UPSTREAM,
        Target::PIPE_DOWNSTREAM,
        Target::RUN_FROM,
        Target::RUN_TO,
        Target::DIRECTION,
    ];
    let columns = |targets: &[Target]| -> Vec<usize> {
        let leads = |column: &usize| {
            let role = analysis.choice(*column).map(|choice| choice.role());
            targets.iter().any(|target| role == Some(Role::Field(*target)))
        };
        (0..analysis.columns.len()).filter(leads).collect()
    };
    let (keys, starts) = (columns(&KEYS), columns(&[Target::STARTED]));
    let texts = |row: &'_ GridRow, columns: &[usize]| -> Vec<String> {
        columns.iter().map(|column| analysis.text(row, *column).to_owned()).collect()
    };
    let mut begun: HashMap<Vec<String>, Vec<String>> = HashMap::new();
    analysis.rows.iter().any(|row| {
        let started = texts(row, &starts);
        *begun.entry(texts(row, &keys)).or_insert_with(|| started.clone()) != started
    })
}
