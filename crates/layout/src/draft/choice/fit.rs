//! How well the values of a column match the expected pattern of a meaning.

use obvert_model::layout::Target;
use obvert_model::tables::QuantityUnit;

use super::level::Level;
use super::{codes, directions};
use crate::draft::statistics::{CellPattern, ColumnStatistics};
use crate::draft::vocabulary::{self, Meaning, Role, Wants};

/// A column with more different words does not have words of a list.
const FEW: usize = 25;

/// The fit of words of which none is known.
pub(super) const UNKNOWN: f64 = 0.2;

/// The number of digits up to which a number may be a name.
const NAMES: [Target; 7] = [
    Target::PIPE_ID,
    Target::RUN_ID,
    Target::RUN_FROM,
    Target::RUN_TO,
    Target::PIPE_UPSTREAM,
    Target::PIPE_DOWNSTREAM,
    Target::CONTRACT,
];

/// How well values match what a meaning expects, from 0 to 1; `None` if they cannot have it.
pub(crate) fn fit(meaning: &Meaning, statistics: &ColumnStatistics) -> Option<f64> {
    if statistics.count == 0 {
        return Some(0.4);
    }
    let has = |pattern: &CellPattern| statistics.has(pattern);
    let is_number = has(&CellPattern::Number);
    let has_moments = statistics.has_moments();
    match meaning.wants {
        Wants::Text => text(meaning, statistics),
        Wants::Word => word(meaning, statistics),
        Wants::Number => is_number.then_some(1.0),
        Wants::Distance | Wants::Amount => length(meaning.wants, statistics),
        Wants::Moment => has_moments.then_some(1.0),
        Wants::Clock if statistics.clock_separator().is_some() => Some(1.0),
        Wants::Clock => has(&CellPattern::Hour).then_some(0.6),
        Wants::Hour if has(&CellPattern::Hour) => Some(1.0),
        Wants::Hour => (is_number && statistics.clock_separator().is_none()).then_some(0.4),
        Wants::Yes => {
            let values = &statistics.distinct;
            let are_words = values.iter().all(|(value, _)| vocabulary::yes(value).is_some());
            (are_words && values.len() <= 2).then_some(1.0)
        }
        Wants::Grade => has(&CellPattern::Grade).then_some(1.0),
        Wants::Picture if has(&CellPattern::Picture) => {
            (!statistics.has_mixed_separators()).then_some(1.0)
        }
        Wants::Picture => {
            let is_other = has(&CellPattern::Duration) || has(&CellPattern::Recording);
            (!is_number && !has_moments && !is_other).then_some(0.4)
        }
        Wants::Recording => has(&CellPattern::Recording).then_some(1.0),
        Wants::Offset if has(&CellPattern::Duration) || has(&CellPattern::Minutes) => Some(1.0),
        Wants::Offset => is_number.then_some(0.6),
        Wants::Stretch => statistics.stretch_marks().map(|_| 1.0),
        Wants::Letters => has(&CellPattern::SingleLetter).then_some(1.0),
        Wants::Year => has(&CellPattern::Year).then_some(1.0),
        Wants::Unit => {
            let of_sizes = [QuantityUnit::Millimetre, QuantityUnit::Inch];
            let of_lengths = [QuantityUnit::Metre, QuantityUnit::Foot];
            let units = if meaning.is_field(Target::SECTION_UNIT) { of_sizes } else { of_lengths };
            let is_unit = |value: &str| units.iter().any(|unit| unit.as_str() == value);
            statistics.distinct.iter().all(|(value, _)| is_unit(value)).then_some(1.0)
        }
    }
}

fn text(meaning: &Meaning, statistics: &ColumnStatistics) -> Option<f64> {
    let has = |pattern: &CellPattern| statistics.has(pattern);
    if meaning.role == Role::Codes && has(&CellPattern::StandardCode) {
        return Some(1.0);
    }
    let is_number = has(&CellPattern::Number);
    let others = [CellPattern::Picture, CellPattern::Station, CellPattern::Duration];
    if statistics.has_moments() && !is_number || others.iter().any(has) {
        return None;
    }
    match is_number {
        false => Some(0.8),
        true => (statistics.decimals == 0 && NAMES.iter().any(|name| meaning.is_field(*name)))
            .then_some(0.6),
    }
}

fn word(meaning: &Meaning, statistics: &ColumnStatistics) -> Option<f64> {
    if statistics.has(&CellPattern::Number)
        || statistics.has_moments()
        || statistics.distinct.len() > FEW
    {
        return None;
    }
    match known_share(meaning, statistics) {
        // The direction of the camera has few words in any language; there are more materials and
        // shapes than are known.
        Some(0.0) if directions::is(meaning) => None,
        // Or the column holds something else.
        Some(0.0) => Some(UNKNOWN),
        Some(share) => Some(0.5 + 0.5 * share),
        None => Some(0.7),
    }
}

/// A distance can be a station or feet and inches; an amount usually has its unit after it.
fn length(wants: Wants, statistics: &ColumnStatistics) -> Option<f64> {
    let is_feet = statistics.has(&CellPattern::FeetAndInches);
    let (is_number, has_units) =
        (statistics.has(&CellPattern::Number), statistics.units().is_some());
    if wants == Wants::Distance {
        return match () {
            () if is_feet || statistics.has(&CellPattern::Station) => Some(1.0),
            () if is_number => Some(0.9),
            () => has_units.then_some(0.7),
        };
    }
    match () {
        () if has_units => Some(1.0),
        () => (is_number || is_feet).then_some(0.8),
    }
}

/// The fraction of values that are known words of the meaning.
#[allow(clippy::cast_precision_loss)]
fn known_share(meaning: &Meaning, statistics: &ColumnStatistics) -> Option<f64> {
    meaning.words.as_ref()?;
    let values = &statistics.distinct;
    let known =
        values.iter().filter(|(value, _)| vocabulary::meant(value, meaning).is_some()).count();
    Some(known as f64 / values.len().max(1) as f64)
}

/// The best match, of all values or of a majority of them, and that majority.
pub(crate) fn best(
    meaning: &Meaning,
    statistics: &ColumnStatistics,
) -> Option<(f64, Option<usize>)> {
    let whole = fit(meaning, statistics).map(|fit| (fit, None));
    let but_few = statistics.majorities.iter().enumerate().filter_map(|(index, majority)| {
        let is_sharp = match meaning.wants {
            Wants::Text => {
                meaning.role == Role::Codes && majority.statistics.has(&CellPattern::StandardCode)
            }
            Wants::Picture => majority.statistics.has(&CellPattern::Picture),
            Wants::Word | Wants::Unit => false,
            _ => true,
        };
        let fit = fit(meaning, &majority.statistics).filter(|fit| is_sharp && *fit >= 0.6)?;
        Some((fit * majority.share(), Some(index)))
    });
    // If two are equal, all values are better than some, then the more likely ones.
    but_few.chain(whole).max_by(|one, other| one.0.total_cmp(&other.0).then(other.1.cmp(&one.1)))
}

/// Whether such values are hardly ambiguous, whatever their heading.
pub(crate) fn is_unambiguous(
    meaning: &Meaning,
    statistics: &ColumnStatistics,
    level: Level,
) -> bool {
    match meaning.wants {
        Wants::Moment => {
            // In a table, a time can also be one of a recording.
            let of_date = |pattern: &CellPattern| {
                level == Level::Run || !matches!(pattern, CellPattern::Time(_))
            };
            !statistics.has(&CellPattern::Number)
                && statistics.has_any(|pattern| pattern.is_moment() && of_date(pattern))
        }
        // Nothing else rises from row to row and starts again with the next run.
        Wants::Distance => statistics.has(&CellPattern::Station) || statistics.rises,
        // Four digits are ambiguous.
        Wants::Clock => {
            statistics.has_any(|pattern| matches!(pattern, CellPattern::Clock(Some(_))))
        }
        Wants::Picture => statistics.has(&CellPattern::Picture),
        Wants::Recording => statistics.has(&CellPattern::Recording),
        Wants::Stretch => statistics.stretch_marks().is_some(),
        Wants::Text => {
            meaning.role == Role::Codes
                && (statistics.has(&CellPattern::StandardCode) || codes::are_known(statistics))
        }
        // Two letters are ambiguous.
        Wants::Word => {
            known_share(meaning, statistics) == Some(1.0)
                && statistics.distinct.iter().any(|(value, _)| value.chars().count() > 3)
        }
        _ => false,
    }
}
