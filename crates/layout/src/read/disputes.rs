//! Values on which the rows of one record disagree. The value of most rows is probably right, so the
//! other rows are reported, even if one of them is the first.

use std::collections::BTreeMap;

use obvert_model::layout::Record;
use obvert_model::read::ProblemKind;
use serde_json::Value;

use super::journal::Journal;
use super::row::Cell;
use crate::as_text;
use crate::grid::Origin;

/// The disputed values, by pointer.
#[derive(Default)]
pub(super) struct Disputes(BTreeMap<String, Dispute>);

struct Dispute {
    record: Record,
    values: Vec<Disputed>,
}

/// One of the values, how many rows have it, and where.
struct Disputed {
    value: Value,
    count: usize,
    /// The places of its rows; only the first one for the value that was there first.
    origins: Vec<Origin>,
}

impl Disputes {
    /// Notes the value of a cell, if it differs from the earlier one, or if the value is disputed.
    /// `first` is the number of rows with the earlier value, and the place of the first.
    pub(super) fn note(
        &mut self,
        pointer: &str,
        record: Record,
        (earlier, first): (&Value, impl Fn() -> (usize, Origin)),
        cell: &Cell,
    ) {
        if !self.0.contains_key(pointer) {
            if *earlier == cell.value {
                return;
            }
            let (count, origin) = first();
            let values = vec![Disputed { value: earlier.clone(), count, origins: vec![origin] }];
            self.0.insert(pointer.to_owned(), Dispute { record, values });
        }
        let Some(dispute) = self.0.get_mut(pointer) else { return };
        match dispute.values.iter_mut().find(|own| own.value == cell.value) {
            Some(own) => {
                own.count += 1;
                own.origins.push(cell.origin);
            }
            None => dispute.values.push(Disputed {
                value: cell.value.clone(),
                count: 1,
                origins: vec![cell.origin],
            }),
        }
    }

    /// Reports the odd rows.
    pub(super) fn report(&mut self, journal: &mut Journal<'_>) {
        for (pointer, Dispute { record, values }) in std::mem::take(&mut self.0) {
            let most = values.iter().map(|own| own.count).max().unwrap_or(0);
            // Of equally many rows, the first are taken to be right.
            let Some(usual) = values.iter().position(|own| own.count == most) else { continue };
            let (right, name) = (&values[usual], record.name());
            let line = right.origins.first().map_or(0, |origin| origin.line);
            let others = values.iter().enumerate().filter(|(index, _)| *index != usual);
            for (_, odd) in others {
                let (found, expected) = (as_text(&odd.value), as_text(&right.value));
                let (as_most, which) = if right.count > odd.count {
                    (", as most of its rows do", "this one")
                } else {
                    ("", "one of them")
                };
                let message = format!(
                    "found {found}, and line {line} has {expected} for the same {name}{as_most}; correct {which}"
                );
                for origin in &odd.origins {
                    journal.problem(ProblemKind::TextForm, *origin, &pointer, message.clone());
                }
            }
        }
    }
}
