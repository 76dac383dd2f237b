//! One row: its cells as fields of a pipe, a run and an observation, before they are put together with those of other rows.

use std::collections::BTreeMap;

use obvert_model::layout::{CellKind, Column, Layout};
use obvert_model::tables::MediaKind;
use serde_json::{Map, Value, json};

use super::forms::{self, Read};
use super::{fill, put, said};

/// A value and the number, from 1, of the column that it came from; 0 where none holds it.
pub(super) type Cell = (Value, usize);

/// What a row says.
#[derive(Default)]
pub(super) struct Row {
    /// Fields by path.
    pub(super) fields: BTreeMap<String, Cell>,
    /// Characterisation, by place.
    pub(super) characterisation: BTreeMap<usize, Cell>,
    /// Amounts by place, with the unit where the cell has one.
    pub(super) amounts: BTreeMap<usize, (Value, Option<&'static str>, usize)>,
    /// Files that the cells name, with their kinds.
    pub(super) files: Vec<(String, MediaKind, usize)>,
    /// A grade whose aspect the code decides.
    pub(super) grade: Option<Cell>,
    /// What marks a stretch.
    pub(super) stretch: Option<(String, usize)>,
    /// Texts for `extensions`, by the object that has them and their heading.
    pub(super) kept: BTreeMap<(String, String), String>,
    /// Date and time of moments, by path.
    moments: BTreeMap<String, [Option<Cell>; 2]>,
}

/// What is wrong in a row: the number of the column, the path that it leads to, and what is wrong.
pub(super) type Wrong = (usize, String, String);

impl Row {
    /// Reads the cells of a row. `columns` has the column of the layout for every cell.
    pub(super) fn read(cells: &[String], columns: &[Option<&Column>], layout: &Layout) -> (Self, Vec<Wrong>) {
        let (mut row, mut wrong) = (Self::default(), Vec::new());
        let mut words: BTreeMap<&str, (&str, usize)> = BTreeMap::new();
        for (index, (cell, column)) in cells.iter().zip(columns).enumerate() {
            let number = index + 1;
            let Some(column) = column else { continue };
            if cell.trim().is_empty() {
                continue;
            }
            if layout.codes.as_ref().is_some_and(|codes| codes.columns.contains(&column.heading)) {
                words.insert(&column.heading, (cell.trim(), number));
            }
            if layout.stretches.as_ref().is_some_and(|stretches| stretches.column == column.heading) {
                row.stretch = Some((cell.trim().to_owned(), number));
            }
            if let Some(to) = &column.to {
                row.cell(cell, column, to, number, layout, &mut wrong);
            }
        }
        row.codes(&words, layout, &mut wrong);
        row.moments(layout, &mut wrong);
        (row, wrong)
    }

    fn cell(&mut self, cell: &str, column: &Column, to: &str, number: usize, layout: &Layout, wrong: &mut Vec<Wrong>) {
        let parts: Vec<&str> = match (&column.separator, to) {
            (Some(separator), "runs.observations.media.id" | "runs.observations.characterisation") => {
                cell.split(separator.as_str()).map(str::trim).filter(|part| !part.is_empty()).collect()
            }
            _ => vec![cell],
        };
        for (index, part) in parts.into_iter().enumerate() {
            let place = column.place.unwrap_or(1) as usize - 1 + index;
            match (forms::read(part, column, layout), to) {
                (Err(expected), _) => {
                    let message = format!("found {:?}; expected {expected}", part.trim());
                    wrong.push((number, to.to_owned(), message));
                }
                (Ok(Read::Part(part)), _) => {
                    let half = usize::from(column.kind == Some(CellKind::Time));
                    self.moments.entry(to.to_owned()).or_default()[half] = Some((part.into(), number));
                }
                (Ok(Read::Amount(value, unit)), _) => {
                    self.amounts.insert(place, (value, Some(unit), number));
                }
                (Ok(Read::Value(value)), "runs.observations.quantities.value") => {
                    self.amounts.insert(place, (value, None, number));
                }
                (Ok(Read::Value(value)), "runs.observations.characterisation") => {
                    self.characterisation.insert(place, (value, number));
                }
                (Ok(Read::Value(value)), "runs.observations.media.id") => {
                    self.files.push((said(&value), column.media.unwrap_or(MediaKind::Photo), number));
                }
                (Ok(Read::Value(value)), "runs.observations.grades") => self.grade = Some((value, number)),
                (Ok(Read::Value(value)), _) if to.ends_with(".extensions") => {
                    self.kept.insert((to.to_owned(), column.heading.to_string()), said(&value));
                }
                (Ok(Read::Value(value)), _) => {
                    self.fields.insert(to.to_owned(), (value, number));
                }
            }
        }
    }

    /// The code that the words of several columns stand for.
    fn codes(&mut self, words: &BTreeMap<&str, (&str, usize)>, layout: &Layout, wrong: &mut Vec<Wrong>) {
        let Some(codes) = &layout.codes else { return };
        let found: Vec<Option<&(&str, usize)>> =
            codes.columns.iter().map(|heading| words.get(heading.as_str())).collect();
        let Some(number) = found.iter().flatten().map(|(_, number)| *number).next() else { return };
        let is = |entry: &&obvert_model::layout::CodeWords| {
            found.iter().enumerate().all(|(place, cell)| {
                entry.words.get(place).map(obvert_model::text::Text::as_str) == cell.map(|(word, _)| *word)
            })
        };
        let Some(entry) = codes.words.iter().find(is) else {
            let said: Vec<&str> = found.iter().flatten().map(|(word, _)| *word).collect();
            let message =
                format!("found {:?}; expected words that the layout {} has a code for", said.join(", "), layout.id);
            wrong.push((number, "runs.observations.code".to_owned(), message));
            return;
        };
        self.fields.insert("runs.observations.code".to_owned(), (entry.code.to_string().into(), number));
        for (place, value) in entry.characterisation.iter().enumerate() {
            self.characterisation.insert(place, (value.to_string().into(), number));
        }
    }

    fn moments(&mut self, layout: &Layout, wrong: &mut Vec<Wrong>) {
        let zone = layout.zone.as_deref().unwrap_or("Z");
        for (path, halves) in std::mem::take(&mut self.moments) {
            match halves {
                [Some((date, number)), Some((time, _))] => {
                    let moment = format!("{}T{}{zone}", said(&date), said(&time));
                    self.fields.insert(path, (moment.into(), number));
                }
                // A date alone is no moment; midnight would be a time that nobody wrote.
                [Some((_, number)), None] => wrong.push((number, path, "a date without its time".to_owned())),
                [None, Some((_, number))] => wrong.push((number, path, "a time without its date".to_owned())),
                [None, None] => {}
            }
        }
    }

    /// The text of a field, for a template.
    pub(super) fn text(&self, path: &str) -> Option<String> {
        self.fields.get(path).map(|(value, _)| said(value))
    }

    /// Adds what follows from the cells: the other ends, and what the layout makes.
    pub(super) fn complete(&mut self, layout: &Layout) {
        let up = self.text("runs.direction").as_deref() == Some("upstream");
        let pairs =
            [("runs.from", "pipes.upstream", "pipes.downstream"), ("runs.to", "pipes.downstream", "pipes.upstream")];
        for (run, with, against) in pairs {
            let pipe = if up { against } else { with };
            for (known, absent) in [(run, pipe), (pipe, run)] {
                if let (Some((value, _)), false) = (self.fields.get(known).cloned(), self.fields.contains_key(absent)) {
                    let number = self.fields[known].1;
                    self.fields.insert(absent.to_owned(), (value, number));
                }
            }
        }
        for made in &layout.made {
            let of_row = made.to.starts_with("pipes.") || made.to.starts_with("runs.");
            if of_row
                && !self.fields.contains_key(&*made.to)
                && let Some(text) = fill(&made.text, &|path| self.text(path))
            {
                self.fields.insert(made.to.to_string(), (text.into(), 0));
            }
        }
    }

    /// The fields of one object, `pipes`, `runs` or `runs.observations`, by their keys below it.
    pub(super) fn of<'r>(&'r self, table: &'r str) -> impl Iterator<Item = (&'r str, &'r Cell)> {
        self.fields.iter().filter_map(move |(path, cell)| {
            let below = path.strip_prefix(table)?.strip_prefix('.')?;
            let deeper = table == "runs" && below.starts_with("observations.");
            (!deeper).then_some((below, cell))
        })
    }

    /// What is kept as texts for an object.
    pub(super) fn extensions(&self, table: &str, layout: &Layout) -> Option<Value> {
        let texts: Map<String, Value> = self
            .kept
            .iter()
            .filter(|((path, _), _)| path.strip_suffix(".extensions") == Some(table))
            .map(|((_, heading), text)| (heading.clone(), text.clone().into()))
            .collect();
        let key = layout.extension.as_deref()?;
        (!texts.is_empty()).then(|| json!({key: texts}))
    }

    /// Whether the row has anything of an observation.
    pub(super) fn is_observation(&self) -> bool {
        self.of("runs.observations").next().is_some() || !self.amounts.is_empty() || !self.files.is_empty()
    }

    /// The observation as far as single cells say it.
    pub(super) fn observation(&self) -> Map<String, Value> {
        let mut observation = Map::new();
        for (below, (value, _)) in self.of("runs.observations") {
            if below != "media.offset" {
                put(&mut observation, &below.split('.').collect::<Vec<_>>(), value.clone());
            }
        }
        // A position in the first of two columns alone is a point.
        if let Some(clock) = observation.get_mut("clock").and_then(Value::as_object_mut)
            && clock.len() == 1
            && let Some(hour) = clock.remove("from")
        {
            clock.insert("at".to_owned(), hour);
        }
        observation
    }
}
