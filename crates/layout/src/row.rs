//! One row: its cells as fields of a pipe, a run and an observation, before they are put together with those of other rows.

use std::collections::{BTreeMap, BTreeSet};

use obvert_model::layout::{CellKind, Column, Layout};
use obvert_model::profile::Scalar;
use obvert_model::tables::{MediaKind, QuantityUnit};
use serde_json::{Map, Value};

use super::forms::{self, Read};
use super::grid::{GridCell, GridRow, Spot};
use super::{fill, put, said, units};

/// What stands for the document among the tables, for columns that hold fields of it.
pub(super) const DOCUMENT: &str = "document";

/// A value and where it came from; nowhere, where no cell holds it.
pub(super) type Cell = (Value, Spot);

/// A column of the layout that a column of the table is read by.
#[derive(Clone, Copy)]
pub(super) struct Way<'l> {
    pub(super) column: &'l Column,
    /// The unit that the document has for the field, where that is a length and the layout fixes it.
    pub(super) unit: Option<QuantityUnit>,
}

impl<'l> Way<'l> {
    pub(super) fn of(column: &'l Column, layout: &Layout) -> Self {
        let measures = column.to.as_ref().and_then(|to| to.resolve().ok()).and_then(|found| found.field.measures());
        let unit = measures.and_then(|path| layout.fixed_text(path)).and_then(|word| word.parse::<QuantityUnit>().ok());
        Self { column, unit }
    }

    /// Whether it names the recordings that offsets of the row are into.
    pub(super) fn names_recording(self) -> bool {
        self.column.is_recording() && self.column.to.as_deref() == Some("runs.observations.media.id")
    }
}

/// What a row says.
#[derive(Default)]
pub(super) struct Row {
    /// Fields by path.
    pub(super) fields: BTreeMap<String, Cell>,
    /// Characterisation, by place.
    pub(super) characterisation: BTreeMap<usize, Cell>,
    /// Amounts by place, with the unit where the cell has one.
    pub(super) amounts: BTreeMap<usize, (Value, Option<&'static str>, Spot)>,
    /// Amounts that are percentages since a sheet shows them so, by place, and nothing in the layout says so.
    pub(super) percentages: BTreeSet<usize>,
    /// Files that the cells name, with their kinds.
    pub(super) files: Vec<(String, MediaKind, Spot)>,
    /// A grade whose aspect the code decides.
    pub(super) grade: Option<Cell>,
    /// What marks a stretch.
    pub(super) stretch: Option<(String, Spot)>,
    /// Texts for `extensions`, by the object that has them and their heading.
    pub(super) kept: BTreeMap<(String, String), (String, Spot)>,
    /// What cells hold that their columns have no room for, by path.
    pub(super) cut: Vec<(String, String, Spot)>,
    /// Date and time of moments, by path.
    moments: BTreeMap<String, [Option<Cell>; 2]>,
}

/// What is wrong in a row: where, the path that the cell leads to, and what is wrong.
pub(super) type Wrong = (Spot, String, String);

impl Row {
    /// Reads the cells of a row. `ways` has the column of the layout for every cell.
    pub(super) fn read(row_of_grid: &GridRow, ways: &[Option<Way<'_>>], layout: &Layout) -> (Self, Vec<Wrong>) {
        let (mut row, mut wrong) = (Self::default(), Vec::new());
        let mut words: BTreeMap<&str, (&str, Spot)> = BTreeMap::new();
        for (index, (cell, way)) in row_of_grid.cells.iter().zip(ways).enumerate() {
            let spot = Spot { line: cell.line, column: cell.column, heading: index + 1 };
            let Some(way) = way else { continue };
            let column = way.column;
            if cell.text.trim().is_empty() {
                continue;
            }
            if layout.codes.as_ref().is_some_and(|codes| codes.columns.contains(&column.heading)) {
                words.insert(&column.heading, (cell.text.trim(), spot));
            }
            if layout.stretches.as_ref().is_some_and(|stretches| stretches.column == column.heading) {
                row.stretch = Some((cell.text.trim().to_owned(), spot));
            }
            if let Some(to) = &column.to {
                row.cell(cell, *way, to, spot, layout, &mut wrong);
            }
        }
        row.codes(&words, layout, &mut wrong);
        row.moments(layout, &mut wrong);
        (row, wrong)
    }

    fn cell(
        &mut self,
        grid_cell: &GridCell,
        way: Way<'_>,
        to: &str,
        spot: Spot,
        layout: &Layout,
        wrong: &mut Vec<Wrong>,
    ) {
        let (column, cell) = (way.column, grid_cell.text.as_str());
        let parts: Vec<&str> = match (&column.separator, to) {
            (Some(separator), "runs.observations.media.id" | "runs.observations.characterisation") => {
                // White space around it is nobody's.
                let mark = if separator.trim().is_empty() { separator.as_str() } else { separator.trim() };
                cell.split(mark).map(str::trim).filter(|part| !part.is_empty()).collect()
            }
            _ => vec![cell],
        };
        for (index, part) in parts.into_iter().enumerate() {
            let place = column.place.unwrap_or(1) as usize - 1 + index;
            let mut fail = |message: String| wrong.push((spot, to.to_owned(), message));
            let read = match grid_cell.percent() {
                Some(percent) => forms::percentage(part, percent, column, layout),
                None => forms::read(part, column, layout),
            };
            match (read, to) {
                (Err(expected), _) => fail(format!("found {:?}; expected {expected}", part.trim())),
                (Ok(Read::Moment(date, time)), _) => {
                    self.cut.extend(grid_cell.whole().map(|whole| (to.to_owned(), whole.to_owned(), spot)));
                    let halves = self.moments.entry(to.to_owned()).or_default();
                    for (half, part) in halves.iter_mut().zip([date, time]) {
                        if let Some(part) = part {
                            *half = Some((part.into(), spot));
                        }
                    }
                }
                (Ok(Read::Amount(value, unit)), "runs.observations.quantities.value") => {
                    if grid_cell.percent().is_some() && column.kind == Some(CellKind::Number) && column.unit.is_none() {
                        self.percentages.insert(place);
                    }
                    self.amount(place, (value, Some(unit), spot), &mut fail);
                }
                (Ok(Read::Amount(value, unit)), _) => {
                    let factor =
                        unit.parse::<QuantityUnit>().ok().zip(way.unit).and_then(|(from, to)| from.factor_to(to));
                    match units::turned(&value, factor) {
                        Some(value) => {
                            self.fields.insert(to.to_owned(), (value, spot));
                        }
                        None => fail(format!("found {:?}; expected a length", part.trim())),
                    }
                }
                (Ok(Read::Value(value)), "runs.observations.quantities.value") => {
                    self.amount(place, (value, column.unit.map(QuantityUnit::as_str), spot), &mut fail);
                }
                (Ok(Read::Value(value)), "runs.observations.characterisation") => {
                    self.characterisation.insert(place, (value, spot));
                }
                (Ok(Read::Value(_)), "runs.observations.media.id") if several_files(part) => {
                    let expected = match &column.separator {
                        Some(separator) => format!("{:?} between the names of files", separator.as_str()),
                        None => "the name of one file; where cells name several, the layout says in separator what stands between them".to_owned(),
                    };
                    fail(format!("found {part:?}, which names several files; expected {expected}"));
                }
                (Ok(Read::Value(value)), "runs.observations.media.id") => {
                    self.files.push((said(&value), column.media.unwrap_or(MediaKind::Photo), spot));
                }
                (Ok(Read::Value(value)), "runs.observations.grades") => self.grade = Some((value, spot)),
                (Ok(Read::Value(value)), _) if to.ends_with(".extensions") => {
                    self.kept.insert((to.to_owned(), column.heading.to_string()), (said(&value), spot));
                }
                (Ok(Read::Value(value)), _) => {
                    let factor = column.unit.zip(way.unit).and_then(|(from, to)| from.factor_to(to));
                    let value = units::turned(&value, factor).unwrap_or(value);
                    self.fields.insert(to.to_owned(), (value, spot));
                }
            }
        }
    }

    fn amount(&mut self, place: usize, amount: (Value, Option<&'static str>, Spot), fail: &mut dyn FnMut(String)) {
        if self.amounts.contains_key(&place) {
            fail("another column of the row has this amount already; correct one of them".to_owned());
            return;
        }
        self.amounts.insert(place, amount);
    }

    /// The code that the words of several columns stand for.
    fn codes(&mut self, words: &BTreeMap<&str, (&str, Spot)>, layout: &Layout, wrong: &mut Vec<Wrong>) {
        let Some(codes) = &layout.codes else { return };
        let found: Vec<Option<&(&str, Spot)>> =
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
                    // What one cell holds beside its column's own half may stand in the other.
                    let said_all = |whole: &str| match whole.split_once(' ') {
                        Some((day, hour)) => day == said(&date) && hour == said(&time),
                        None => whole == said(&time),
                    };
                    self.cut.retain(|(other, whole, _)| *other != path || !said_all(whole));
                    let moment = format!("{}T{}{zone}", said(&date), said(&time));
                    self.fields.insert(path, (moment.into(), number));
                }
                // The other half is there and could not be read, which has been said.
                _ if wrong.iter().any(|(_, other, _)| *other == path) => {}
                // A date alone is no moment; midnight would be a time that nobody wrote.
                [Some((_, number)), None] => {
                    wrong.push((number, path, "a date without its time; fill that in".to_owned()))
                }
                [None, Some((_, number))] => {
                    wrong.push((number, path, "a time without its date; fill that in".to_owned()))
                }
                [None, None] => {}
            }
        }
    }

    /// The text of a field, for a template.
    pub(super) fn text(&self, path: &str) -> Option<String> {
        self.fields.get(path).map(|(value, _)| said(value))
    }

    /// Adds what follows from the cells: the direction where it is always the same, the other ends, and what the layout makes.
    pub(super) fn complete(&mut self, layout: &Layout) {
        for fixed in
            layout.fixed.iter().filter(|fixed| ["runs.direction", "runs.id", "pipes.id"].contains(&fixed.to.as_str()))
        {
            if let Scalar::Text(text) = &fixed.value {
                self.fields.entry(fixed.to.to_string()).or_insert_with(|| (text.to_string().into(), Spot::default()));
            }
        }
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
                self.fields.insert(made.to.to_string(), (text.into(), Spot::default()));
            }
        }
    }

    /// The fields of one object, `pipes`, `runs` or `runs.observations`, by their keys below it.
    pub(super) fn of<'r>(&'r self, table: &'r str) -> impl Iterator<Item = (&'r str, &'r Cell)> {
        self.fields.iter().filter_map(move |(path, cell)| {
            if table == DOCUMENT {
                return (!path.starts_with("pipes.") && !path.starts_with("runs.")).then_some((path.as_str(), cell));
            }
            let below = path.strip_prefix(table)?.strip_prefix('.')?;
            let deeper = table == "runs" && below.starts_with("observations.");
            (!deeper).then_some((below, cell))
        })
    }

    /// What is kept as texts for an object, by heading.
    pub(super) fn texts<'r>(&'r self, table: &'r str) -> impl Iterator<Item = (&'r str, &'r str, Spot)> {
        self.kept
            .iter()
            .filter(move |((path, _), _)| path.strip_suffix(".extensions") == Some(table))
            .map(|((_, heading), (text, spot))| (heading.as_str(), text.as_str(), *spot))
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

/// Whether a text that no separator cuts names several files: each part of it, between commas or the like, has the ending of one.
fn several_files(text: &str) -> bool {
    let is_file = |part: &str| {
        let ending = part.trim().rsplit_once('.').map_or("", |(_, ending)| ending);
        (2..=5).contains(&ending.len()) && ending.bytes().all(|byte| byte.is_ascii_alphanumeric())
    };
    [',', ';', '|', '\n', ' '].iter().any(|mark| text.contains(*mark) && text.split(*mark).all(is_file))
}
