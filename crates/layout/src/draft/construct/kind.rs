//! The kind of the cells of a column, its pattern, its words and its other properties.

use obvert_convert::ConvertError;
use obvert_model::layout::{CellKind, Column as LayoutColumn, Target, Translation};
use obvert_model::profile::Scalar;
use obvert_model::tables::MediaKind;

use super::super::choice::Choice;
use super::super::statistics::dates::{SERIAL, are_settled};
use super::super::statistics::{CellPattern, ColumnStatistics};
use super::super::vocabulary::{self, Role, Wants};
use super::{Context, doubts, text};

/// Sets how the cells of a column with a field are read.
pub(super) fn set(
    column: &mut LayoutColumn,
    context: Context<'_>,
    index: usize,
    choice: &Choice,
    target: Target,
    open: &mut Vec<String>,
) -> Result<(), ConvertError> {
    let statistics = context.analysis.statistics(index);
    match choice.meaning.wants {
        Wants::Number | Wants::Hour | Wants::Grade | Wants::Year => {
            column.kind = Some(CellKind::Number)
        }
        Wants::Distance | Wants::Amount => length(column, context, index, target),
        Wants::Moment => moment(column, context, index, open)?,
        Wants::Clock => clock(column, statistics)?,
        Wants::Yes => {
            column.kind = Some(CellKind::YesNo);
            column.translate =
                translations(statistics, |value| vocabulary::yes(value).map(Scalar::Bool))?;
        }
        Wants::Offset => offset(column, statistics)?,
        Wants::Picture | Wants::Recording => {
            let own = &context.analysis.columns[index];
            if let (None, Some(separator)) = (own.several, statistics.between_files()) {
                column.separator = Some(text(separator)?);
            }
            let is_picture = choice.meaning.wants == Wants::Picture;
            column.media = Some(if is_picture { MediaKind::Photo } else { MediaKind::Video });
        }
        Wants::Word if choice.meaning.words.is_some() => {
            words(column, context, index, choice, open)?
        }
        Wants::Unit => {
            let other =
                |value: &str| vocabulary::unit_of(value).filter(|unit| unit.as_str() != value);
            let scalar = |value: &str| other(value).and_then(|unit| word(unit.as_str()));
            column.translate = translations(statistics, scalar)?;
        }
        Wants::Word | Wants::Text | Wants::Letters | Wants::Stretch => {}
    }
    if column.kind == Some(CellKind::Number)
        && let Some(doubt) = doubts::thousandfold(context.analysis, index)
    {
        // The digits after the separator may not be decimals.
        column.decimals = None;
        open.push(doubt);
    }
    Ok(())
}

/// A word of the format as a value.
fn word(text: &str) -> Option<Scalar> {
    obvert_model::text::Text::new(text).ok().map(Scalar::Text)
}

/// The translations of the values with a known meaning.
fn translations(
    statistics: &ColumnStatistics,
    meaning: impl Fn(&str) -> Option<Scalar>,
) -> Result<Vec<Translation>, ConvertError> {
    let known = statistics.distinct.iter().filter_map(|(value, _)| Some((value, meaning(value)?)));
    known.map(|(value, meaning)| Ok(Translation::new(text(value)?, meaning))).collect()
}

fn length(column: &mut LayoutColumn, context: Context<'_>, index: usize, target: Target) {
    let statistics = context.analysis.statistics(index);
    let kind = match () {
        () if statistics.has(&CellPattern::Station) => CellKind::Station,
        () if statistics.has(&CellPattern::FeetAndInches) => CellKind::FeetAndInches,
        () if statistics.units().is_some() => CellKind::Amount,
        () => CellKind::Number,
    };
    column.kind = Some(kind);
    let decimals = match kind {
        // The largest number of decimals, or the usual number if there are none.
        CellKind::Station => {
            let decimals =
                statistics.distinct.iter().map(|(value, _)| context.analysis.marks.decimals(value));
            decimals.max().unwrap_or(0)
        }
        // Whole numbers in one table do not mean that the next table has none with decimals, which
        // would be rounded.
        CellKind::Number if target != Target::AMOUNT && statistics.has_even_decimals => {
            statistics.decimals
        }
        _ => 0,
    };
    column.decimals = u32::try_from(decimals).ok().filter(|decimals| *decimals > 0);
    let of_document = match target {
        Target::PIPE_HEIGHT | Target::PIPE_WIDTH => Some(context.units.section.unit),
        Target::AMOUNT => None,
        _ => Some(context.units.length.unit),
    };
    let named = context.analysis.named_unit(index);
    column.unit = named.filter(|unit| kind == CellKind::Number && Some(*unit) != of_document);
}

fn moment(
    column: &mut LayoutColumn,
    context: Context<'_>,
    index: usize,
    open: &mut Vec<String>,
) -> Result<(), ConvertError> {
    let analysis = context.analysis;
    let (own, statistics) = (&analysis.columns[index], analysis.statistics(index));
    let found = statistics.patterns.iter().find_map(|pattern| match pattern {
        CellPattern::DateTime(pattern) => Some((CellKind::DateTime, pattern.as_str())),
        CellPattern::Date(pattern) => Some((CellKind::Date, *pattern)),
        CellPattern::Time(pattern) => Some((CellKind::Time, *pattern)),
        _ => None,
    });
    let Some((kind, pattern)) = found else { return Ok(()) };
    column.kind = Some(kind);
    column.pattern = Some(text(pattern)?);
    let heading = &own.heading;
    if let Some(mixed) = doubts::mixed(heading, pattern, &own.statistics) {
        open.push(mixed);
    } else if pattern == SERIAL {
        open.extend(doubts::counted(heading, statistics));
    } else if kind != CellKind::Time && !are_settled(pattern, &statistics.distinct) {
        let why =
            if analysis.american { "since times have am and pm" } else { "the most common order" };
        open.push(format!(
            "{heading:?}: day and month cannot be distinguished; it was read as {pattern}, {why}; correct pattern if needed"
        ));
    }
    Ok(())
}

fn clock(column: &mut LayoutColumn, statistics: &ColumnStatistics) -> Result<(), ConvertError> {
    column.kind = Some(CellKind::Clock);
    let separator = statistics.clock_separator().unwrap_or(Some("-"));
    column.separator = separator.map(text).transpose()?;
    let values = statistics.distinct.iter().map(|(value, _)| value.as_str());
    let hours: Vec<&str> = match separator {
        Some(separator) => values.flat_map(|value| value.split(separator)).collect(),
        None => values.collect(),
    };
    // With leading zeros, if any value has one.
    let is_padded = hours.iter().any(|hour| hour.len() == 2 && hour.starts_with('0'));
    column.digits = (is_padded && hours.iter().all(|hour| hour.len() > 1)).then_some(2);
    Ok(())
}

fn offset(column: &mut LayoutColumn, statistics: &ColumnStatistics) -> Result<(), ConvertError> {
    column.kind = Some(CellKind::Duration);
    if statistics.has(&CellPattern::Duration) {
        return Ok(());
    }
    if statistics.has(&CellPattern::Minutes) {
        column.pattern = Some(text("m:ss")?);
    } else {
        column.kind = Some(CellKind::Number);
    }
    Ok(())
}

fn words(
    column: &mut LayoutColumn,
    context: Context<'_>,
    index: usize,
    choice: &Choice,
    open: &mut Vec<String>,
) -> Result<(), ConvertError> {
    let statistics = context.analysis.statistics(index);
    column.translate =
        translations(statistics, |value| vocabulary::meant(value, choice.meaning).and_then(word))?;
    let heading = &context.analysis.columns[index].heading;
    let unknown = statistics
        .distinct
        .iter()
        .filter(|(value, _)| vocabulary::meant(value, choice.meaning).is_none());
    open.extend(unknown.map(|(value, line)| {
        let Role::Field(target) = choice.role() else { return String::new() };
        let likely = vocabulary::probably_meant(value, target);
        let likely = likely.map(|value| format!(" (probably {value})")).unwrap_or_default();
        format!(
            "{heading:?}: line {line} has {value:?}, which is not a known word{likely}; add it to translate"
        )
    }));
    Ok(())
}
