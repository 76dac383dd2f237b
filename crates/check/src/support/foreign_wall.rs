//! Stretches of a run where the wall is not the pipe's own: a lining, or pieces that were replaced.

use obvert_model::tables::QuantityUnit;

use crate::support::terms::means;
use crate::views::RowView;

/// How far the wall of a repair that is recorded at a point may reach to either side, in metres:
/// rows give its beginning, its middle or its end. Common practice, no published source.
const PIECE: f64 = 3.0;

/// Counters and codes of a lining's ends may be this far apart, in metres.
const END: f64 = 0.5;

/// Whether the wall at a row may be that of a lining or a repair, by the rows of the run.
pub(crate) fn at(row: &RowView<'_>) -> bool {
    let survey = row.survey();
    let (from, to) = (survey.metres(row.row.at), survey.metres(row.row.end()));
    let mut lined = false;
    let mut ends = false;
    for other in row.run.rows() {
        let Some(code) = other.code else { continue };
        let (start, end) = (survey.metres(other.row.at), survey.metres(other.row.end()));
        if means(code, &["lining.start"]) && start <= from + END {
            lined = true;
        } else if means(code, &["lining.finish"]) {
            // A lining that the camera met from within has no beginning.
            ends |= start >= from - END && !lined;
            lined &= start >= from - END;
        } else if means(code, &["repair", "lining"]) {
            let reach = if other.row.is_stretch() { END } else { length(&other).max(PIECE) };
            if start - reach <= to && from <= end + reach {
                return true;
            }
        }
    }
    lined || ends
}

/// The length of a repair, in metres, if its row states it.
fn length(row: &RowView<'_>) -> f64 {
    let code = row.code;
    let place = code.and_then(|code| {
        let mut amounts = code.amounts(&row.row.characterisation);
        amounts.position(|meaning| *meaning.name == *"length")
    });
    let metres = place.and_then(|place| {
        let unit = row.row.quantities.get(place)?.unit;
        Some(row.row.quantities[place].value.get() * unit.factor_to(QuantityUnit::Metre)?)
    });
    metres.unwrap_or(0.0)
}
