//! The reasons for choices, and for columns without one.

use std::collections::BTreeSet;

use obvert_model::layout::Target;

use super::{Choice, Column, Level, codes, dates, directions, fit, in_question, most};
use crate::draft::statistics::{CellPattern, ColumnStatistics, Majority, Sample};
use crate::draft::vocabulary::{Meaning, Role, Wants, vocabulary};

/// Values with their lines, the first three of them.
pub(crate) fn lines(values: &[Sample]) -> String {
    let shown: Vec<String> =
        values.iter().take(3).map(|(value, line)| format!("line {line} has {value:?}")).collect();
    let more = if values.len() > 3 {
        format!(", and {} other values do not match", values.len() - 3)
    } else {
        String::new()
    };
    format!("{}{more}", shown.join(", "))
}

/// The reason for a column whose heading is a word for a size, and that is not a size of the pipe.
fn varying(column: &Column) -> String {
    let why = column.varies.as_deref().unwrap_or_default();
    let what = column.size().map_or("a size", |(_, size)| &size.is);
    format!("the heading has a word for {what}, but {why}, so it belongs to the observation")
}

/// The reason for a choice.
pub(crate) fn of(choice: &Choice, column: &Column) -> String {
    let heading = of_heading(choice, column);
    if let Some(majority) = choice.majority(column) {
        return format!("{heading}, and {}", of_majority(choice, majority));
    }
    let statistics = &column.statistics;
    if choice.named == 0.0 && choice.meaning.wants == Wants::Distance && statistics.rises {
        return format!(
            "{heading}, but its lengths rise from row to row and start again near zero"
        );
    }
    if choice.named == 0.0 && choice.role() == Role::Codes && codes::are_known(statistics) {
        let count = statistics.distinct.len();
        return format!("{heading}, but most of its {count} different values are words for codes");
    }
    if choice.fit <= fit::UNKNOWN && statistics.count > 0 {
        return format!("doubtful: {heading}, and none of its values is a known word");
    }
    let values = match statistics.count {
        0 => "and there are no values".to_owned(),
        1 => "and the only value is possible".to_owned(),
        count if choice.fit >= 0.9 => format!("and all {count} values match"),
        count => format!("and {count} values are possible"),
    };
    format!("{heading}, {values}")
}

fn of_heading(choice: &Choice, column: &Column) -> String {
    let what = &choice.meaning.is;
    match choice.named {
        named if named > column.named(choice.meaning) && directions::is(choice.meaning) => {
            format!("the heading allows {what}")
        }
        named if named > column.named(choice.meaning) => varying(column),
        0.0 => "the heading has no known word".to_owned(),
        named if named >= 0.9 => format!("the heading is a word for {what}"),
        _ => format!("a part of the heading is a word for {what}"),
    }
}

fn of_majority(choice: &Choice, majority: &Majority) -> String {
    let statistics = &majority.statistics;
    let look = match choice.meaning.wants {
        Wants::Yes => "words for yes and no".to_owned(),
        Wants::Picture => match statistics.between_files() {
            Some(between) => format!("files of pictures, with {between:?} between several"),
            None => "files of pictures".to_owned(),
        },
        wants => called(wants, statistics),
    };
    format!(
        "{} of {} values look like {look}; {}",
        statistics.count,
        majority.all(),
        lines(&majority.outliers)
    )
}

/// The name of values with an expected pattern.
fn called(wants: Wants, statistics: &ColumnStatistics) -> String {
    use CellPattern::{
        Amount, Clock, Duration, FeetAndInches, Grade, Hour, Minutes, Number, SingleLetter,
        Station, Year,
    };
    let suits = |pattern: &CellPattern| match wants {
        Wants::Moment => pattern.is_moment(),
        Wants::Distance | Wants::Amount => {
            matches!(pattern, Number | Station | FeetAndInches | Amount(_))
        }
        Wants::Clock | Wants::Hour => matches!(pattern, Clock(_) | Hour),
        Wants::Offset => matches!(pattern, Duration | Minutes | Number),
        Wants::Grade => *pattern == Grade,
        Wants::Year => *pattern == Year,
        Wants::Number => *pattern == Number,
        Wants::Letters => *pattern == SingleLetter,
        _ => true,
    };
    statistics
        .patterns
        .iter()
        .rfind(|pattern| suits(pattern))
        .map_or_else(|| "it".to_owned(), ToString::to_string)
}

/// The meanings that a heading names, the most likely first.
fn likeliest(column: &Column) -> Vec<(f64, &'static Meaning)> {
    let all = vocabulary().meanings.iter();
    let possible = all
        .filter(|meaning| column.level.share(meaning.role) > 0.0 && in_question(column, meaning));
    let mut best: Vec<(f64, &Meaning)> =
        possible.map(|meaning| (column.named(meaning), meaning)).collect();
    best.retain(|(named, _)| *named >= 0.5);
    best.sort_by(|one, other| other.0.total_cmp(&one.0));
    best
}

/// Why there is no choice for a column: what its heading names, and which value does not match or
/// which column was chosen instead.
pub(crate) fn of_none(index: usize, columns: &[Column], choices: &[Option<Choice>]) -> String {
    let column = &columns[index];
    if column.level == Level::Beside {
        return "it is in a repeated element outside the rows, so it belongs to none of them"
            .to_owned();
    }
    if column.varies.is_some() {
        let rest = column.unmeasured().map(|why| format!(", and {why}")).unwrap_or_default();
        return format!("{}{rest}", varying(column));
    }
    let best = likeliest(column);
    let Some((named, first)) = best.first() else {
        if dates::are_in(&column.statistics) {
            return "its values are dates, and its heading is not a word for a start".to_owned();
        }
        return "neither its heading nor its values are known".to_owned();
    };
    let heading = if *named >= 0.9 { "the heading" } else { "a part of the heading" };
    if column.statistics.count == 0 && first.is_field(Target::STARTED) {
        return format!("{heading} is a word for {}, and there are no values", first.is);
    }
    let mut fitting =
        best.iter().filter(|(_, meaning)| fit::best(meaning, &column.statistics).is_some());
    if let Some((meaning, other)) =
        fitting.find_map(|(_, meaning)| Some((meaning, taken_by(meaning, choices)?)))
    {
        return format!(
            "{heading} is a word for {}, which was assigned to {:?}",
            meaning.is, columns[other].heading
        );
    }
    let meant: BTreeSet<&str> = best
        .iter()
        .filter(|(own, _)| own >= named)
        .map(|(_, meaning)| meaning.is.as_str())
        .collect();
    let what = if meant.len() > 3 {
        first.is.clone()
    } else {
        meant.into_iter().collect::<Vec<_>>().join(", or for ")
    };
    let misfits = misfits(column, &best);
    let which = if misfits.is_empty() { String::new() } else { format!(": {}", lines(&misfits)) };
    format!("{heading} is a word for {what}, and its values do not match{which}")
}

/// The column that was chosen for a meaning, if no other can have it.
fn taken_by(meaning: &Meaning, choices: &[Option<Choice>]) -> Option<usize> {
    let is = |choice: &&Option<Choice>| {
        choice.as_ref().is_some_and(|choice| choice.role() == meaning.role)
    };
    let is_full = choices.iter().filter(is).count() >= most(meaning);
    choices.iter().position(|choice| is(&choice)).filter(|_| is_full)
}

/// The values that cannot have any of some meanings.
fn misfits(column: &Column, meanings: &[(f64, &'static Meaning)]) -> Vec<Sample> {
    let values = column.statistics.distinct.iter().filter(|value| {
        let alone = column.statistics.alone(value);
        meanings.iter().all(|(_, meaning)| fit::fit(meaning, &alone).is_none())
    });
    values.cloned().collect()
}
