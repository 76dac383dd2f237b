//! Stretches that start in one row and end in another.

use std::collections::HashMap;

use obvert_convert::{Loss, LossKind};
use obvert_model::layout::{Record, Stretches, Target};
use obvert_model::read::ProblemKind;
use serde_json::{Map, Value};

use super::journal::Journal;
use super::observation::Seen;
use super::records::Records;
use crate::grid::Origin;

/// The mark of a stretch in a cell.
#[derive(Clone, Copy)]
pub(crate) struct Mark<'r> {
    pub(crate) text: &'r str,
    pub(crate) origin: Origin,
}

impl Mark<'_> {
    /// The number in a pattern, at its `#`.
    pub(super) fn number(self, pattern: &str) -> Option<String> {
        let (before, after) = pattern.split_once('#')?;
        let number = self.text.strip_prefix(before)?.strip_suffix(after)?;
        (!number.is_empty() && number.bytes().all(|byte| byte.is_ascii_digit()))
            .then(|| number.to_owned())
    }
}

/// The open stretches: the index of their observation, by run and number; and what the rows that
/// ended others do not have.
#[derive(Default)]
pub(crate) struct OpenStretches {
    open: HashMap<(usize, String), usize>,
    /// The number of values that the row that starts a stretch has and the row that ends it has not,
    /// or the other way round for remarks, and the line of the first such row.
    differing: usize,
    first: usize,
}

impl OpenStretches {
    /// Starts or ends a stretch. A row that ends one is not an observation; the index of the
    /// observation that it ends is returned.
    pub(super) fn take(
        &mut self,
        mark: Mark<'_>,
        seen: &Seen<'_, '_>,
        observation: &mut Map<String, Value>,
        records: &mut Records,
        journal: &mut Journal<'_>,
    ) -> Option<usize> {
        let Stretches { start, finish, .. } = seen.plan.layout.stretches.as_ref()?;
        let mut problem = |kind: ProblemKind, message: String| {
            journal.problem(kind, mark.origin, &seen.pointer(), message);
        };
        let text = mark.text;
        if let Some(number) = mark.number(start) {
            Target::CONTINUOUS.put(observation, true.into());
            if self.open.insert((seen.run, number), seen.place).is_some() {
                let message = format!(
                    "found {text:?}, and this stretch is already open in the run; end it, or use the next number"
                );
                problem(ProblemKind::OrphanRow, message);
            }
            return None;
        }
        let Some(number) = mark.number(finish) else {
            let message =
                format!("found {text:?}; expected {start} or {finish}, with a number instead of #");
            problem(ProblemKind::TextForm, message);
            return None;
        };
        let Some(begun) = self.open.remove(&(seen.run, number)) else {
            let message = format!(
                "found {text:?}, and no earlier row of this run starts the stretch; add its start, or remove the mark"
            );
            problem(ProblemKind::OrphanRow, message);
            return Some(seen.place);
        };
        let differing = end(begun, mark, seen, std::mem::take(observation), records, journal);
        if self.differing == 0 {
            self.first = seen.at.line;
        }
        self.differing += differing;
        Some(begun)
    }

    /// What the rows that end stretches do not repeat, for a note; a writer repeats all but the
    /// remark.
    pub(super) fn note(&self) -> Option<String> {
        let values = if self.differing == 1 {
            "1 value".to_owned()
        } else {
            format!("{} values", self.differing)
        };
        (self.differing > 0).then(|| {
            format!(
                "{values} of rows that end stretches are blank, or repeat a remark, unlike the rows that start them, first in line {}; the \
                 values at the start count for the stretch",
                self.first
            )
        })
    }
}

/// Ends the stretch at an index of the run by a row, and reports values of the row that differ from
/// those of the row that starts it. Returns the number of values that it does not repeat.
fn end(
    begun: usize,
    mark: Mark<'_>,
    seen: &Seen<'_, '_>,
    mut finish: Map<String, Value>,
    records: &mut Records,
    journal: &mut Journal<'_>,
) -> usize {
    let start = records
        .observations_mut(seen.run)
        .and_then(|list| list.get_mut(begun))
        .and_then(Value::as_object_mut);
    let Some(start) = start else { return 0 };
    let (distance, media) = (key(Target::DISTANCE), key(Target::MEDIA_REFERENCES));
    let own = [Target::OBSERVATION_ID, Target::CONTINUOUS, Target::DISTANCE, Target::DISTANCE_TO];
    let remark = key(Target::REMARK);
    let unlike = start.keys().filter(|at| {
        let is_own = own.iter().any(|own| key(*own) == *at) || *at == media;
        !is_own && finish.contains_key(*at) == (*at == remark)
    });
    let unlike = unlike.count();
    if let Some(to) = finish.remove(distance) {
        Target::DISTANCE_TO.put(start, to);
    }
    if let Some(Value::Array(more)) = finish.remove(media) {
        let list = start.entry(media).or_insert_with(|| Value::Array(Vec::new()));
        list.as_array_mut().into_iter().for_each(|list| list.extend(more.clone()));
    }
    let others: Vec<String> = finish
        .iter()
        .filter(|(key, value)| start.get(*key) != Some(*value))
        .map(|(key, _)| key.clone())
        .collect();
    let pointer = format!("/runs/{}/observations/{begun}", seen.run);
    let origin = |target: Target| seen.row.get(target).map_or(mark.origin, |cell| cell.origin);
    journal
        .places
        .record(&format!("{pointer}{}", Target::DISTANCE_TO.pointer()), origin(Target::DISTANCE));
    for other in others {
        if other == key(Target::CODE) || other == key(Target::CHARACTERISATION) {
            let line = journal.places.of(&pointer).map_or(0, |location| location.line);
            let message = format!(
                "the row that ends the stretch {:?} has a different code from line {line}, which starts it; correct one of them",
                mark.text
            );
            journal.problem(ProblemKind::TextForm, origin(Target::CODE), &pointer, message);
        } else {
            let message = format!(
                "the row that ends the stretch differs in {other}; the value at its start is kept"
            );
            let loss = Loss::new(LossKind::Dropped, format!("{pointer}/{other}"), message);
            let was = finish.get(&other).cloned();
            journal
                .lose(loss.with_values(was, None), origin_of(&other, seen).unwrap_or(mark.origin));
        }
    }
    unlike
}

/// The key of a field that is directly in its record.
fn key(target: Target) -> &'static str {
    target.keys().first().map_or("", String::as_str)
}

/// The location of a value of a row, by its key in the observation.
fn origin_of(other: &str, seen: &Seen<'_, '_>) -> Option<Origin> {
    let row = seen.row;
    if other == key(Target::AMOUNTS) {
        return row.amounts.values().next().map(|amount| amount.origin);
    }
    if other == key(Target::GRADES) {
        return row.grade.as_ref().map(|cell| cell.origin);
    }
    row.of(Record::Observation)
        .find(|(target, _)| key(*target) == other)
        .map(|(_, cell)| cell.origin)
}
