//! What the rows of a run say, as a number, to find runs that are copies.

use std::hash::{Hash, Hasher};

use obvert_model::tables::Observation;
use rustc_hash::FxHasher;

/// A number that is the same for two runs with the same rows; `None` if fewer than two distances
/// lie between the first and the last one.
pub(crate) fn content(rows: &[Observation]) -> Option<u64> {
    let (first, last) = (rows.first()?.at, rows.last()?.at);
    let inner = |at| at != first && at != last;
    let changes = rows.windows(2).filter(|pair| inner(pair[1].at) && pair[0].at != pair[1].at);
    changes.take(2).nth(1)?;
    let mut hasher = FxHasher::default();
    for row in rows {
        row.at.get().to_bits().hash(&mut hasher);
        row.to.map(|to| to.get().to_bits()).hash(&mut hasher);
        row.code.as_str().hash(&mut hasher);
        for quantity in &row.quantities {
            quantity.value.get().to_bits().hash(&mut hasher);
        }
    }
    Some(hasher.finish())
}
