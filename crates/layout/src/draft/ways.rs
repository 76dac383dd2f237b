//! Words for the way of the camera: few of them stand in one column, again and again, and whatever its heading has a word for besides,
//! they name no run.

use super::choose::Column;
use super::look::Look;
use super::words::{self, Target, vocabulary};

/// Which way the camera went.
const WAY: &str = "runs.direction";
/// More different words than these are no words for two ways.
const HANDFUL: usize = 6;

pub(super) fn is(target: &Target) -> bool {
    target.to == WAY
}

fn target(to: &str) -> Option<&'static Target> {
    vocabulary().targets.iter().find(|target| target.to == to)
}

/// Whether the values of a column, or most of them, are words for the way of the camera. With a number each, they rather name something,
/// and so do single letters, unless they are those for both ways and no others.
pub(super) fn are_in(look: &Look) -> bool {
    let Some(way) = target(WAY) else { return false };
    let few = (1..=HANDFUL).contains(&look.distinct.len());
    let is_short = |text: &str| words::words(text).len() < 5 && !text.contains(|letter: char| letter.is_ascii_digit());
    let short = look.distinct.iter().map(|(value, _)| value.as_str()).filter(|value| is_short(value));
    let known: Vec<(&str, &str)> = short.filter_map(|value| Some((value, words::meant(value, way)?))).collect();
    let both = known.len() == look.distinct.len() && known.iter().any(|(_, own)| *own != known[0].1);
    few && known.len() * 3 >= look.distinct.len() * 2
        && (both || known.iter().any(|(value, _)| value.chars().count() > 1))
}

/// Whether a heading leaves room for words for the way of the camera: a word of it is one for the way, it has a word for the run, which
/// goes one, or words for both ends.
pub(super) fn has_room(column: &Column) -> bool {
    let named = |to: &str| target(to).is_some_and(|target| column.named(target) > 0.0);
    let said = |word: &String| target(WAY).is_some_and(|way| way.phrases.contains(word));
    column.words.iter().flatten().any(said) || named("runs.id") || named("pipes.upstream") && named("pipes.downstream")
}
