//! The whole document from the rows that were put together: what the layout fixes and makes is added, and what is wrong is said.

use std::collections::HashSet;

use obvert_model::layout::Layout;
use obvert_model::profile::Scalar;
use obvert_model::read::ProblemKind;
use obvert_model::tables::Document;
use serde::Deserialize;
use serde_json::{Map, Value};

use super::read::Reader;
use super::row::DOCUMENT;
use super::{at, fill, needs, put, said};
use obvert_convert::{
    ConvertError, Judged, Location, Loss, LossKind, LossReport, PlacedProblem, Problems, SourceMap, Survey,
};

impl Reader<'_> {
    /// Puts the document together. `None` where it is invalid, nothing was wrong in a cell, and `fast` says that this is all that has to
    /// be known: what it was made of need not be held beside it then.
    pub(super) fn finish(mut self, fast: bool) -> Result<Option<(Survey, LossReport)>, ConvertError> {
        if let Some(suffix) = self.layout.completed_by.as_deref() {
            let ids: HashSet<String> =
                self.known.keys().filter(|(table, _)| *table == "runs").map(|(_, id)| id.clone()).collect();
            for run in self.tables.get_mut("runs").into_iter().flatten() {
                let other = run.get("id").and_then(Value::as_str).and_then(|id| id.strip_suffix(suffix));
                if let Some(other) = other.filter(|other| ids.contains(*other)).map(str::to_owned) {
                    run.insert("reverse_of".to_owned(), other.into());
                }
            }
        }
        let mut document = self.tables.remove(DOCUMENT).and_then(|mut rows| rows.pop()).unwrap_or_default();
        document.insert("obvert".to_owned(), obvert_model::versions::CURRENT.into());
        let last = self.last.take().unwrap_or_default();
        for made in &self.layout.made {
            let table = made.to.split('.').next().unwrap_or_default();
            if table == "pipes" || table == "runs" || at(&document, &made.to).is_some() {
                continue;
            }
            let issued = if &*made.to == "issued" { self.issued.take() } else { None };
            if let Some((_, spot)) = &issued {
                self.record("/issued", *spot);
            }
            let text = issued.map(|(text, _)| text).or_else(|| fill(&made.text, &|path| last.text(path)));
            if let Some(text) = text {
                if &*made.to == "issued" {
                    let message = "the table does not say it; the layout makes it from the row that makes it latest";
                    let loss = Loss::new(LossKind::Defaulted, "/issued", message);
                    self.report.losses.push(Loss { becomes: Some(text.clone().into()), ..loss });
                }
                put(&mut document, &made.to.split('.').collect::<Vec<_>>(), text.into());
            }
        }
        for fixed in &self.layout.fixed {
            let value = match &fixed.value {
                Scalar::Text(text) => Value::String(text.to_string()),
                Scalar::Number(value) => super::forms::number(value.get()),
                Scalar::Bool(value) => Value::Bool(*value),
            };
            let keys: Vec<&str> = fixed.to.split('.').collect();
            match keys.as_slice() {
                ["runs", "observations", below @ ..] => {
                    let runs = self.tables.get_mut("runs").into_iter().flatten();
                    let rows =
                        runs.filter_map(|run| run.get_mut("observations")).filter_map(Value::as_array_mut).flatten();
                    rows.filter_map(Value::as_object_mut).for_each(|row| absent(row, below, &value));
                }
                [table @ ("pipes" | "runs" | "structures" | "media" | "parties"), below @ ..] => {
                    let rows = self.tables.get_mut(*table).into_iter().flatten();
                    rows.for_each(|row| absent(row, below, &value));
                }
                keys => match at(&document, &fixed.to) {
                    None => {
                        if &*fixed.to == "issued" && value == super::UNSAID {
                            let message =
                                "the layout still has what a draft puts there; say in fixed when the record was issued";
                            let loss = Loss::new(LossKind::Defaulted, "/issued", message);
                            self.report.losses.push(Loss { becomes: Some(value.clone()), ..loss });
                        }
                        put(&mut document, keys, value);
                    }
                    Some(is) if *is != value => {
                        let message = format!(
                            "found {:?}, where the layout {} fixes {:?}; correct it, or read the file by another layout",
                            said(is),
                            self.layout.id,
                            said(&value)
                        );
                        let pointer = format!("/{}", fixed.to.replace('.', "/"));
                        let spot = self.spots.get(&pointer).copied().unwrap_or_default();
                        self.problem(ProblemKind::TextForm, spot, &pointer, message);
                    }
                    Some(_) => {}
                },
            }
        }
        for (table, rows) in std::mem::take(&mut self.tables) {
            document.insert(table.to_owned(), rows.into_iter().map(Value::Object).collect());
        }
        if fast && self.problems.is_empty() {
            let document = Document::deserialize(Value::Object(document)).ok();
            let sound = document.filter(|document| obvert_model::read::twice(document).is_empty());
            return Ok(sound.map(|document| (Survey { document, places: self.places }, self.report)));
        }
        let (layout, headings) = (self.layout, &self.headings);
        let column_of = |heading: &str| layout.columns.iter().find(|column| *column.heading == *heading);
        let blank = |heading: &str| {
            column_of(heading).and_then(|column| column.to.as_deref()).is_none_or(|to| !last.fields.contains_key(to))
        };
        let ends: LastRow<'_> = (self.name, self.last_line, &blank);
        let survey = judge(Value::Object(document), self.places, self.problems, layout, headings, ends)?;
        Ok(Some((survey, self.report)))
    }
}

/// Sets a value unless there is one.
fn absent(row: &mut Map<String, Value>, keys: &[&str], value: &Value) {
    let mut holder = Some(&*row);
    for key in &keys[..keys.len().saturating_sub(1)] {
        holder = holder.and_then(|holder| holder.get(*key)).and_then(Value::as_object);
    }
    if !holder.is_some_and(|holder| keys.last().is_some_and(|key| holder.contains_key(*key))) {
        put(row, keys, value.clone());
    }
}

/// The file, the line of its last row, and which columns have nothing in that, by their headings.
type LastRow<'r> = (&'r str, usize, &'r dyn Fn(&str) -> bool);

/// The survey, or everything that is wrong: what was seen in a cell is said there and not again by the model, which sees
/// that a field is missing.
fn judge(
    value: Value,
    places: SourceMap,
    own: Vec<PlacedProblem>,
    layout: &Layout,
    headings: &[String],
    ends: LastRow<'_>,
) -> Result<Survey, ConvertError> {
    let (found, rest) = match obvert_convert::typed_beside(value, places, &own)? {
        Judged::Sound(survey) => return Ok(*survey),
        Judged::Unsound(found, rest) => (found, rest.map(|rest| *rest)),
    };
    // Where columns are not told apart, what could be said of the rows would follow from that.
    let misread = own.iter().any(|own| {
        let of_column =
            matches!(own.problem.kind, ProblemKind::UnknownKey | ProblemKind::MissingKey | ProblemKind::DuplicateKey);
        of_column && own.problem.pointer.is_empty()
    });
    let rest = rest.filter(|_| !misread);
    let astray = own.iter().any(|own| own.problem.kind == ProblemKind::OrphanRow);
    // What holds a cell of which something was said, so that no pair of problems has to be compared.
    let mut above: HashSet<String> = HashSet::new();
    let at: HashSet<String> =
        own.iter().map(|placed| placed.problem.pointer.clone()).filter(|pointer| !pointer.is_empty()).collect();
    // A column beside those of the layout stands in no value.
    for placed in own.iter().filter(|placed| !placed.problem.pointer.starts_with("/-/")) {
        let mut pointer = placed.problem.pointer.as_str();
        while let Some(slash) = pointer.rfind('/') {
            pointer = &pointer[..slash];
            if !above.insert(pointer.to_owned()) {
                break;
            }
        }
    }
    let said = |placed: &PlacedProblem| {
        // What is made from a row is missing where no row could be read, and nobody finds that in the table.
        let made = placed.place.is_none() && astray;
        match placed.problem.kind {
            ProblemKind::MissingKey => made || above.contains(&placed.problem.pointer),
            _ => at.contains(&placed.problem.pointer),
        }
    };
    let mut found: Vec<PlacedProblem> = found.into_iter().filter(|placed| !said(placed)).collect();
    for placed in &mut found {
        let Some((message, heading)) = needs::said(&placed.problem, layout, ends.2) else { continue };
        placed.problem.message = message;
        // What the document has is made from the last row.
        if placed.place.is_none() && heading.is_some() && layout.xml.is_none() && ends.1 > 0 {
            placed.place = Some(Location { file: ends.0.to_owned(), line: ends.1, column: None, heading: None });
        }
        let column = heading.and_then(|heading| headings.iter().position(|own| own == heading));
        if let (Some(place), Some(heading), Some(index), None) = (&mut placed.place, heading, column, &layout.xml) {
            (place.column, place.heading) = (Some(index + 1), Some(heading.replace('\n', " ")));
        }
    }
    // What several fields of the document are made of is told once.
    found.dedup_by(|one, other| {
        one.place.is_some() && one.place == other.place && one.problem.message == other.problem.message
    });
    let mut all = own;
    all.extend(found);
    all.sort_by_key(|placed| placed.place.as_ref().map(|place| (place.line, place.column)));
    Err(ConvertError::Structure(Problems::new(all, rest)))
}
