//! Words for the direction of the camera: a column has few of them, repeated many times. Such a
//! column does not identify a run, whatever else its heading says.

use obvert_model::layout::Target;

use super::Column;
use crate::draft::statistics::ColumnStatistics;
use crate::draft::vocabulary::{self, Meaning};

/// A column with more different words does not have words for two directions.
const HANDFUL: usize = 6;

pub(crate) fn is(meaning: &Meaning) -> bool {
    meaning.is_field(Target::DIRECTION)
}

/// Whether the values of a column, or most of them, are words for the direction of the camera.
/// Words with a number each are more likely names, and so are single letters, unless they are those
/// for both directions only.
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

/// Whether a heading can be one for the direction of the camera: it has a word for the direction,
/// for the run, which has a direction, or for both ends.
pub(super) fn has_room(column: &Column) -> bool {
    let direction = vocabulary::meaning_of(Target::DIRECTION);
    let is_said =
        |word: &String| direction.is_some_and(|direction| direction.phrases.contains(word));
    column.words.iter().flatten().any(is_said)
        || column.names(Target::RUN_ID)
        || column.names(Target::PIPE_UPSTREAM) && column.names(Target::PIPE_DOWNSTREAM)
}
