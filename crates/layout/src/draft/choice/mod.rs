//! Chooses a meaning for each column: its heading and the statistics of its values are compared
//! with all meanings that a column can have, the most certain choices first.

pub(super) mod codes;
mod dates;
pub(super) mod directions;
mod fit;
mod level;
pub(super) mod moments;
pub(super) mod reason;
pub(super) mod sizes;

use obvert_model::layout::Target;

pub(super) use self::level::Level;
use super::statistics::{CellPattern, ColumnStatistics, Majority, dates::SERIAL};
use super::vocabulary::{self, Meaning, Role, Wants, vocabulary};

/// The sizes of a whole pipe.
const SIZES: [Target; 2] = [Target::PIPE_HEIGHT, Target::PIPE_WIDTH];
/// How much more certain a size of the pipe is than one that can only be of an observation.
const VARYING: f64 = 0.9;

/// Below this confidence, there is no proposal.
const LEAST: f64 = 0.5;
/// The confidence for a column whose heading does not name it, with unambiguous values.
const BY_VALUES: f64 = 0.55;
/// How well a heading names a meaning that it only allows, if the values are words for it.
const ROOM: f64 = 0.5;

/// The analysis of a column.
pub(super) struct Column {
    /// Its heading in the layout.
    pub(super) heading: String,
    /// The words of its heading; in XML those of the path within the element that it belongs to;
    /// and other words that are weaker hints.
    pub(super) words: Vec<Vec<String>>,
    pub(super) statistics: ColumnStatistics,
    /// Its level, which limits the fields it can hold.
    pub(super) level: Level,
    /// The separator of several values in a cell, if there are any.
    pub(super) several: Option<&'static str>,
    /// Why it is not a size of the pipe, if its heading is a word for one and its values change
    /// within a run.
    pub(super) varies: Option<String>,
}

impl Column {
    /// How well the words of its heading name a meaning, from 0 to 1.
    fn named(&self, meaning: &Meaning) -> f64 {
        let shares = std::iter::once(1.0).chain(std::iter::repeat(0.95));
        self.words
            .iter()
            .zip(shares)
            .map(|(words, share)| vocabulary::named(words, meaning) * share)
            .fold(0.0, f64::max)
    }

    /// Whether its heading has a word for a field.
    fn names(&self, target: Target) -> bool {
        vocabulary::meaning_of(target).is_some_and(|meaning| self.named(meaning) > 0.0)
    }

    /// The size that its heading names, and how well.
    fn size(&self) -> Option<(f64, &'static Meaning)> {
        let sizes = vocabulary().meanings.iter().filter(|meaning| is_size(meaning));
        let named =
            sizes.map(|meaning| (self.named(meaning), meaning)).filter(|(named, _)| *named > 0.0);
        named.max_by(|one, other| one.0.total_cmp(&other.0))
    }

    /// Why a size in it cannot be an amount of an observation; `None` if it can: its unit is known,
    /// and its heading does not say that it is the pipe's.
    fn unmeasured(&self) -> Option<&'static str> {
        if self.names(Target::PIPE_ID) {
            return Some("its heading says that it is the pipe's");
        }
        let has_unit = self.words.first().and_then(|words| vocabulary::unit_in(words)).is_some();
        (!has_unit && self.statistics.units().is_none())
            .then_some("no unit shows that it is an amount")
    }
}

fn is_size(meaning: &Meaning) -> bool {
    SIZES.iter().any(|size| meaning.is_field(*size))
}

/// The choice for a column.
pub(super) struct Choice {
    pub(super) meaning: &'static Meaning,
    pub(super) confidence: f64,
    named: f64,
    fit: f64,
    /// The majority of the values that was used.
    majority: Option<usize>,
}

impl Choice {
    pub(super) const fn role(&self) -> Role {
        self.meaning.role
    }

    /// The statistics that were used.
    pub(super) fn statistics<'c>(&self, column: &'c Column) -> &'c ColumnStatistics {
        self.majority(column).map_or(&column.statistics, |majority| &majority.statistics)
    }

    pub(super) fn majority<'c>(&self, column: &'c Column) -> Option<&'c Majority> {
        column.statistics.majorities.get(self.majority?)
    }
}

/// How many columns can have a meaning.
fn most(meaning: &Meaning) -> usize {
    match meaning.role {
        Role::Field(Target::CHARACTERISATION | Target::AMOUNT | Target::MEDIA_FILE) => 9,
        _ => 1,
    }
}

/// Whether a meaning is possible for a column at all: directions of the camera do not identify a
/// run; dates, and values below a word for them, identify neither a pipe nor a run, even if no
/// pattern reads them.
fn in_question(column: &Column, meaning: &Meaning) -> bool {
    if column.varies.is_some() && is_size(meaning) {
        return false;
    }
    if meaning.is_field(Target::RUN_ID) && directions::are_in(&column.statistics) {
        return false;
    }
    let is_name = meaning.is_field(Target::PIPE_ID) || meaning.is_field(Target::RUN_ID);
    let is_below_dates = column.words.first().is_some_and(|words| dates::named(words));
    let is_barred = is_below_dates || is_name && dates::are_in(&column.statistics);
    matches!(meaning.wants, Wants::Moment | Wants::Year) || !is_barred
}

/// Whether numbers are day numbers of a spreadsheet.
fn are_day_numbers(statistics: &ColumnStatistics) -> bool {
    statistics.has_any(|pattern| match pattern {
        CellPattern::Date(pattern) | CellPattern::Time(pattern) => *pattern == SERIAL,
        CellPattern::DateTime(pattern) => pattern == SERIAL,
        _ => false,
    })
}

/// The choice of a meaning for a column; `None` if it is too uncertain.
fn weigh(column: &Column, meaning: &'static Meaning) -> Option<Choice> {
    if !in_question(column, meaning) {
        return None;
    }
    let (fit, majority) = fit::best(meaning, &column.statistics)?;
    // Numbers of that size are ambiguous, unless the heading is a word for dates or times of day.
    let is_moment = meaning.wants == Wants::Moment && majority.is_none();
    if is_moment && are_day_numbers(&column.statistics) && !dates::are_named(column) {
        return None;
    }
    let (statistics, share) =
        match majority.and_then(|majority| column.statistics.majorities.get(majority)) {
            // All are pictures, whatever the separator.
            Some(own)
                if meaning.wants == Wants::Picture && column.statistics.has_mixed_separators() =>
            {
                (&own.statistics, 1.0)
            }
            Some(own) => (&own.statistics, own.share()),
            None => (&column.statistics, 1.0),
        };
    let named = named(column, meaning, statistics);
    // There are more words for what was seen than are known, but some are.
    let is_code = statistics.has(&CellPattern::StandardCode) || statistics.count == 0;
    let is_unknown =
        named > 0.0 && meaning.role == Role::Codes && !is_code && codes::are_unknown(statistics);
    let fit = if is_unknown { fit::UNKNOWN } else { fit };
    let confidence = match named {
        0.0 if statistics.count > 0 && fit::is_unambiguous(meaning, statistics, column.level) => {
            BY_VALUES * share
        }
        0.0 => return None,
        _ => 0.6 * named + 0.4 * fit,
    };
    // If everything is in one row, from and to are more likely those of the run than those of a
    // clock position.
    let is_one_word =
        column.level == Level::Any && column.words.first().is_some_and(|words| words.len() == 1);
    let doubt = if is_one_word && meaning.wants == Wants::Hour { 0.8 } else { 1.0 };
    let confidence = confidence * column.level.share(meaning.role) * doubt;
    (confidence >= LEAST).then_some(Choice { meaning, confidence, named, fit, majority })
}

/// How well a heading names a meaning, or allows it.
fn named(column: &Column, meaning: &Meaning, statistics: &ColumnStatistics) -> f64 {
    let mut named = column.named(meaning);
    if meaning.is_field(Target::AMOUNT) && column.varies.is_some() && column.unmeasured().is_none()
    {
        let size = column.size().map_or(0.0, |(named, _)| named);
        named = named.max(size * VARYING);
    }
    if directions::is(meaning) && directions::are_in(statistics) && directions::has_room(column) {
        named = named.max(ROOM);
    }
    named
}

/// A possible choice for a column, before the most certain ones are known.
pub(super) struct Candidate {
    pub(super) column: usize,
    /// The index of the meaning in the vocabulary.
    order: usize,
    pub(super) choice: Choice,
}

/// The best meaning for each column, the most certain choices first.
pub(super) fn choose(columns: &[Column]) -> Vec<Option<Choice>> {
    let mut all: Vec<Candidate> = Vec::new();
    for (column, own) in columns.iter().enumerate() {
        let found = vocabulary().meanings.iter().enumerate();
        all.extend(found.filter_map(|(order, meaning)| {
            Some(Candidate { column, order, choice: weigh(own, meaning)? })
        }));
    }
    all.sort_by(|one, other| {
        let by_confidence = other.choice.confidence.total_cmp(&one.choice.confidence);
        by_confidence.then(one.column.cmp(&other.column)).then(one.order.cmp(&other.order))
    });
    let moments = moments::columns(&all, columns);
    let mut chosen: Vec<Option<Choice>> = columns.iter().map(|_| None).collect();
    for Candidate { column, choice, .. } in all {
        let taken = chosen.iter().flatten().filter(|other| other.role() == choice.role()).count();
        let is_free = match choice.role() {
            Role::Field(Target::STARTED) => moments.contains(&column),
            _ => taken < most(choice.meaning),
        };
        if chosen[column].is_none() && is_free {
            chosen[column] = Some(choice);
        }
    }
    chosen
}
