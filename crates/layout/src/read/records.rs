//! The records of a survey, collected from rows.

use std::collections::{BTreeMap, HashMap};

use obvert_model::edit::token;
use obvert_model::layout::{Record, Target};
use serde_json::{Map, Value};

use super::disputes::Disputes;
use super::journal::Journal;
use super::row::{Cell, Row};
use crate::as_text;
use crate::grid::Origin;

/// The records, including the document, as objects.
#[derive(Default)]
pub(crate) struct Records {
    lists: BTreeMap<Record, Vec<Map<String, Value>>>,
    /// The index of a record in its list, by id.
    places: HashMap<(Record, String), usize>,
    /// The locations of the fields of the document.
    origins: HashMap<Target, Origin>,
    /// How runs ended by the codes of their rows, by index.
    ends: BTreeMap<usize, RunEnd>,
    /// How many rows each record has so far.
    counts: HashMap<(Record, usize), usize>,
    /// Values on which rows disagree, by pointer.
    disputes: Disputes,
}

/// How a run ended by the code of a row, and at which distance.
pub(crate) struct RunEnd {
    pub(crate) outcome: Value,
    pub(crate) distance: Option<Value>,
    /// The location of the row, and of its distance.
    pub(crate) line: Origin,
    pub(crate) origin: Origin,
}

/// The kind of a record.
#[derive(Clone, Copy)]
pub(crate) struct Held<'i> {
    pub(crate) record: Record,
    pub(crate) id: &'i str,
    pub(crate) line: usize,
}

impl Records {
    /// Adds the values of a row for a record, and returns the index of the record. `extension` is
    /// the key of texts in its extensions.
    pub(crate) fn merge(
        &mut self,
        held: Held<'_>,
        row: &Row,
        extension: Option<&str>,
        journal: &mut Journal<'_>,
    ) -> usize {
        let Held { record, id, line } = held;
        let rows = self.lists.entry(record).or_default();
        let place = *self.places.entry((record, id.to_owned())).or_insert_with(|| {
            rows.push(Map::new());
            rows.len() - 1
        });
        let above = pointer(record, place);
        if record != Record::Document && journal.places.of(&above).is_none() {
            journal.places.record(&above, Origin::line(line));
        }
        *self.counts.entry((record, place)).or_default() += 1;
        for (target, cell) in row.of(record) {
            self.set(target, place, cell, line, journal);
        }
        if let Some(key) = extension {
            for (heading, text, origin) in row.texts(record) {
                let pointer = format!("{above}/extensions/{key}/{}", token(heading));
                let cell = Cell { value: text.into(), origin };
                self.set_at(
                    &pointer,
                    (record, place),
                    &["extensions", key, heading],
                    &cell,
                    journal,
                );
            }
        }
        place
    }

    /// Sets a field of a record, or reports that an earlier row has another value.
    pub(crate) fn set(
        &mut self,
        target: Target,
        place: usize,
        cell: &Cell,
        line: usize,
        journal: &mut Journal<'_>,
    ) {
        let keys: Vec<&str> = target.keys().iter().map(String::as_str).collect();
        let record = target.record();
        let pointer = format!("{}{}", pointer(record, place), target.pointer());
        let origin = if cell.origin.line == 0 { Origin::line(line) } else { cell.origin };
        let cell = Cell { value: cell.value.clone(), origin };
        if self.set_at(&pointer, (record, place), &keys, &cell, journal)
            && record == Record::Document
        {
            self.origins.insert(target, origin);
        }
    }

    /// Sets the value at keys of a record; returns `false` if there is one already.
    fn set_at(
        &mut self,
        pointer: &str,
        (record, place): (Record, usize),
        keys: &[&str],
        cell: &Cell,
        journal: &mut Journal<'_>,
    ) -> bool {
        let Self { lists, counts, disputes, .. } = self;
        let object = lists.get_mut(&record).and_then(|rows| rows.get_mut(place));
        let Some(object) = object else { return false };
        let (first, rest) = keys.split_first().map_or(("", keys), |(first, rest)| (*first, rest));
        let earlier =
            rest.iter().try_fold(object.get(first), |value, key| Some(value?.get(*key))).flatten();
        match earlier {
            None => {
                put(object, keys, cell.value.clone());
                journal.places.record(pointer, cell.origin);
                return true;
            }
            Some(earlier) => {
                let first = || {
                    let count = counts.get(&(record, place)).copied().unwrap_or(1);
                    let at = journal.places.of(pointer);
                    let column = at.as_ref().and_then(|at| at.column).unwrap_or(0);
                    let line = at.map_or(0, |at| at.line);
                    let heading =
                        if cell.origin.column == column { cell.origin.heading } else { 0 };
                    (count.saturating_sub(1).max(1), Origin { line, column, heading })
                };
                disputes.note(pointer, record, (earlier, first), cell);
            }
        }
        false
    }

    /// Adds a record with some fields, unless it exists; returns whether it is new.
    pub(crate) fn add(
        &mut self,
        record: Record,
        id: &str,
        fields: impl IntoIterator<Item = (&'static str, Value)>,
        origin: Origin,
        journal: &mut Journal<'_>,
    ) -> bool {
        let rows = self.lists.entry(record).or_default();
        let std::collections::hash_map::Entry::Vacant(free) =
            self.places.entry((record, id.to_owned()))
        else {
            return false;
        };
        journal.places.record(&pointer(record, *free.insert(rows.len())), origin);
        let id = std::iter::once(("id", Value::from(id)));
        rows.push(id.chain(fields).map(|(key, value)| (key.to_owned(), value)).collect());
        true
    }

    /// Adds the structures and parties that a row names.
    pub(crate) fn add_named(&mut self, row: &Row, line: usize, journal: &mut Journal<'_>) {
        let origin =
            |cell: &Cell| if cell.origin.line == 0 { Origin::line(line) } else { cell.origin };
        const ENDS: [Target; 4] =
            [Target::PIPE_UPSTREAM, Target::PIPE_DOWNSTREAM, Target::RUN_FROM, Target::RUN_TO];
        for cell in ENDS.into_iter().filter_map(|end| row.get(end)) {
            self.add(Record::Structure, &as_text(&cell.value), [], origin(cell), journal);
        }
        for (target, role) in [(Target::OWNER, Some("owner")), (Target::OPERATOR, None)] {
            let Some(cell) = row.get(target) else { continue };
            let role = role.map(|role| ("role", role.into()));
            let fields = std::iter::once(("name", cell.value.clone())).chain(role);
            self.add(Record::Party, &as_text(&cell.value), fields, origin(cell), journal);
        }
    }

    /// Reports the values on which rows disagree: the odd rows, if most rows have another value.
    pub(crate) fn report_disputes(&mut self, journal: &mut Journal<'_>) {
        self.disputes.report(journal);
    }

    /// Notes how a run ended; the last such row of a run counts.
    pub(crate) fn end_run(&mut self, run: usize, end: RunEnd) {
        self.ends.insert(run, end);
    }

    /// Sets how the runs ended, unless columns have it.
    pub(crate) fn set_ends(&mut self, journal: &mut Journal<'_>) {
        for (run, end) in std::mem::take(&mut self.ends) {
            let values = [
                (Target::OUTCOME, Some(end.outcome), end.line),
                (Target::SURVEYED, end.distance, end.origin),
            ];
            let Some(record) = self.get_mut(Record::Run, run) else { continue };
            for (target, value, origin) in values {
                let Some(value) = value.filter(|_| target.get_in(record).is_none()) else {
                    continue;
                };
                target.put(record, value);
                journal.places.record(&format!("/runs/{run}{}", target.pointer()), origin);
            }
        }
    }

    /// The index of the record with an id, or that it will have.
    pub(crate) fn place_or_next(&self, record: Record, id: &str) -> usize {
        let known = self.places.get(&(record, id.to_owned())).copied();
        known.unwrap_or_else(|| self.lists.get(&record).map_or(0, Vec::len))
    }

    /// The record with an id.
    pub(crate) fn named(&self, record: Record, id: &str) -> Option<&Map<String, Value>> {
        self.get(record, *self.places.get(&(record, id.to_owned()))?)
    }

    /// The record with an id, for changing.
    pub(crate) fn named_mut(
        &mut self,
        record: Record,
        id: &str,
    ) -> Option<&mut Map<String, Value>> {
        let place = *self.places.get(&(record, id.to_owned()))?;
        self.get_mut(record, place)
    }

    pub(crate) fn get(&self, record: Record, place: usize) -> Option<&Map<String, Value>> {
        self.lists.get(&record)?.get(place)
    }

    pub(crate) fn get_mut(
        &mut self,
        record: Record,
        place: usize,
    ) -> Option<&mut Map<String, Value>> {
        self.lists.get_mut(&record)?.get_mut(place)
    }

    /// The records of a list.
    pub(crate) fn all_mut(
        &mut self,
        record: Record,
    ) -> impl Iterator<Item = &mut Map<String, Value>> {
        self.lists.get_mut(&record).into_iter().flatten()
    }

    /// The observations of a run.
    pub(crate) fn observations(&self, run: usize) -> &[Value] {
        let list = self.get(Record::Run, run).and_then(|run| Target::OBSERVATIONS.get_in(run));
        list.and_then(Value::as_array).map_or(&[], Vec::as_slice)
    }

    /// The observations of a run, for adding or changing.
    pub(crate) fn observations_mut(&mut self, run: usize) -> Option<&mut Vec<Value>> {
        let key = Target::OBSERVATIONS.keys().first()?;
        let run = self.get_mut(Record::Run, run)?;
        run.entry(key.clone()).or_insert_with(|| Value::Array(Vec::new())).as_array_mut()
    }

    /// The location of a field of the document.
    pub(crate) fn origin(&self, target: Target) -> Origin {
        self.origins.get(&target).copied().unwrap_or_default()
    }

    /// Takes the fields of the document.
    pub(crate) fn take_document(&mut self) -> Map<String, Value> {
        self.lists.remove(&Record::Document).and_then(|mut rows| rows.pop()).unwrap_or_default()
    }

    /// The lists, by their keys in the document.
    pub(crate) fn into_lists(self) -> impl Iterator<Item = (String, Value)> {
        let lists = self.lists.into_iter();
        lists.map(|(record, rows)| {
            (record.list().to_owned(), rows.into_iter().map(Value::Object).collect())
        })
    }
}

/// The pointer of a record in the document; empty for the document itself.
fn pointer(record: Record, place: usize) -> String {
    if record == Record::Document { String::new() } else { format!("/{}/{place}", record.list()) }
}

/// Sets the value at keys of an object.
pub(crate) fn put(object: &mut Map<String, Value>, keys: &[&str], value: Value) {
    match keys {
        [] => {}
        [last] => {
            object.insert((*last).to_owned(), value);
        }
        [first, rest @ ..] => {
            let below =
                object.entry((*first).to_owned()).or_insert_with(|| Value::Object(Map::new()));
            if let Some(below) = below.as_object_mut() {
                put(below, rest, value);
            }
        }
    }
}
