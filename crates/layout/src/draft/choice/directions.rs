//! Words for the direction of the camera: few of them are in one column, again and again, and
//! whatever its heading has a word for besides, they name no run.

use obvert_model::layout::Target;

use super::Column;
use crate::draft::statistics::ColumnStatistics;
use crate::draft::vocabulary::{self, Meaning};

/// More different words than these are no words for two directions.
const HANDFUL: usize = 6;

pub(crate) fn is(meaning: &Meaning) -> bool {
    meaning.is_field(Target::DIRECTION)
}

/// Whether the values of a column, or most of them, are words for the direction of the camera. With
/// a number each, they rather name something, and so do single letters, unless they are those for
/// both directions and no others.
pub(super) fn are_in(statistics: &ColumnStatistics) -> bool {
    let Some(direction) = vocabulary::meaning_of(Target::DIRECTION) else { return false };
    let values = &statistics.distinct;
    let is_short = |text: &str| {
        vocabulary::words(text).len() < 5 && !text.contains(|letter: char| letter.is_ascii_digit())
    };
    let short = values.iter().map(|(value, _)| value.as_str()).filter(|value| is_short(value));
    let known: Vec<(&str, &str)> =
        short.filter_map(|value| Some((value, vocabulary::meant(value, direction)?))).collect();
    let are_both = known.len() == values.len() && known.iter().any(|(_, own)| *own != known[0].1);
    (1..=HANDFUL).contains(&values.len())
        && known.len() * 3 >= values.len() * 2
        && (are_both || known.iter().any(|(value, _)| value.chars().count() > 1))
}

/// Whether a heading leaves room for words for the direction of the camera: a word of it is one for
/// the direction, it has a word for the run, which has one, or words for both ends.
pub(super) fn has_room(column: &Column) -> bool {
    let direction = vocabulary::meaning_of(Target::DIRECTION);
    let is_said =
        |word: &String| direction.is_some_and(|direction| direction.phrases.contains(word));
    column.words.iter().flatten().any(is_said)
        || column.names(Target::RUN_ID)
        || column.names(Target::PIPE_UPSTREAM) && column.names(Target::PIPE_DOWNSTREAM)
}
