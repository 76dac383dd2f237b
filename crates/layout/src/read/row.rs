//! One row: its cells as fields of a pipe, a run and an observation, before they are combined with
//! those of other rows.

use std::collections::BTreeMap;

use jiff::civil::{Date, Time};
use obvert_model::layout::{Record, Target};
use obvert_model::tables::{MediaKind, QuantityUnit};
use obvert_model::text::nearest;
use serde_json::{Map, Value};

use super::parts::{names_several, parts};
use super::suggest::Advice;
use crate::as_text;
use crate::cell::{CellValue, number};
use crate::grid::{GridCell, GridRow, Origin};
use crate::plan::{ColumnBinding, ColumnUse, Plan};
use crate::units::converted;

/// A value and its location; none if it is not from a cell.
#[derive(Clone, Debug)]
pub(crate) struct Cell {
    pub(crate) value: Value,
    pub(crate) origin: Origin,
}

/// An amount, with its unit if its cell or column has one.
#[derive(Clone, Debug)]
pub(crate) struct Amount {
    pub(crate) value: Value,
    pub(crate) unit: Option<QuantityUnit>,
    /// Whether it is a percentage only because of the cell format of a sheet.
    pub(crate) shown_in_percent: bool,
    pub(crate) origin: Origin,
}

/// A unit in a cell of its own.
#[derive(Clone, Copy, Debug)]
pub(crate) struct UnitCell {
    pub(crate) unit: QuantityUnit,
    pub(crate) origin: Origin,
}

/// A file that a cell names.
#[derive(Clone, Debug)]
pub(crate) struct NamedFile {
    pub(crate) name: String,
    pub(crate) kind: MediaKind,
    pub(crate) origin: Origin,
}

/// The content of a cell that its column does not show.
#[derive(Clone, Debug)]
pub(crate) struct Excess {
    pub(crate) target: Target,
    pub(crate) timestamp: String,
    pub(crate) origin: Origin,
}

/// A cell that cannot be read.
#[derive(Clone, Debug)]
pub(crate) struct WrongCell {
    pub(crate) target: Target,
    pub(crate) origin: Origin,
    pub(crate) message: String,
}

/// The values of a row.
#[derive(Clone, Debug, Default)]
pub(crate) struct Row {
    fields: BTreeMap<Target, Cell>,
    /// Characterisation, by index.
    pub(crate) characterisation: BTreeMap<usize, Cell>,
    /// Amounts, by index.
    pub(crate) amounts: BTreeMap<usize, Amount>,
    /// Units of amounts, by the index of their amount.
    pub(crate) units: BTreeMap<usize, UnitCell>,
    pub(crate) files: Vec<NamedFile>,
    /// A grade whose aspect depends on the code.
    pub(crate) grade: Option<Cell>,
    /// The mark of a stretch.
    pub(crate) stretch: Option<(String, Origin)>,
    /// Texts for `extensions`, by record and heading.
    kept: BTreeMap<(Record, String), (String, Origin)>,
    pub(crate) excess: Vec<Excess>,
}

impl Row {
    /// Reads the cells of a part of a row; `columns` has the column of the layout for each cell.
    pub(crate) fn read(
        row: &GridRow,
        columns: &[Option<ColumnBinding<'_>>],
        is_in: impl Fn(usize) -> bool,
        plan: &Plan<'_>,
    ) -> (Self, Vec<WrongCell>) {
        let mut reading = Reading::new(&plan.advice);
        for (index, (cell, column)) in row.cells.iter().zip(columns).enumerate() {
            let is_read = !cell.text.trim().is_empty() && is_in(index);
            let Some(column) = column.as_ref().filter(|_| is_read) else { continue };
            let origin = Origin { line: cell.line, column: cell.column, heading: index + 1 };
            reading.cell(cell, column, origin);
        }
        reading.codes(plan);
        reading.moments(plan.zone());
        (reading.row, reading.wrong)
    }

    /// A field.
    pub(crate) fn get(&self, target: Target) -> Option<&Cell> {
        self.fields.get(&target)
    }

    /// The location of a field; that of the row if it has none.
    pub(crate) fn origin(&self, target: Target, line: usize) -> Origin {
        self.get(target).map_or(Origin::line(line), |cell| cell.origin)
    }

    /// The text of a field, for a template.
    pub(crate) fn text(&self, target: Target) -> Option<String> {
        self.get(target).map(|cell| as_text(&cell.value))
    }

    /// The fields of one record.
    pub(crate) fn of(&self, record: Record) -> impl Iterator<Item = (Target, &Cell)> {
        self.fields
            .iter()
            .filter(move |(target, _)| target.record() == record)
            .map(|(target, cell)| (*target, cell))
    }

    /// The texts for the extensions of a record, by heading.
    pub(crate) fn texts(&self, record: Record) -> impl Iterator<Item = (&str, &str, Origin)> {
        let of_record = self.kept.iter().filter(move |((own, _), _)| *own == record);
        of_record.map(|((_, heading), (text, origin))| (heading.as_str(), text.as_str(), *origin))
    }

    /// Whether the row has any value of an observation.
    pub(crate) fn is_observation(&self) -> bool {
        self.of(Record::Observation).next().is_some()
            || !self.amounts.is_empty()
            || !self.units.is_empty()
            || !self.characterisation.is_empty()
            || !self.files.is_empty()
            || self.grade.is_some()
            || self.stretch.is_some()
            || self.texts(Record::Observation).next().is_some()
    }

    /// The observation, as far as single cells determine it.
    pub(crate) fn observation(&self) -> Map<String, Value> {
        let mut observation = Map::new();
        for (target, cell) in
            self.of(Record::Observation).filter(|(target, _)| *target != Target::MEDIA_OFFSET)
        {
            target.put(&mut observation, cell.value.clone());
        }
        // A position in the first of two columns only is a point.
        let clock = Target::CLOCK
            .get_in(&observation)
            .and_then(Value::as_object)
            .filter(|clock| clock.len() == 1);
        if clock.is_some()
            && let Some(hour) = Target::CLOCK_FROM.get_in(&observation).cloned()
        {
            Target::CLOCK.put(&mut observation, Value::Object(Map::new()));
            Target::CLOCK_AT.put(&mut observation, hour);
        }
        observation
    }

    /// Adds the values that follow from the cells: a fixed direction, the other ends, and the
    /// values that the layout makes.
    pub(crate) fn complete(&mut self, plan: &Plan<'_>) {
        const OF_ROW: [Target; 3] = [Target::DIRECTION, Target::RUN_ID, Target::PIPE_ID];
        for (target, value) in
            plan.fixed.iter().filter(|(target, value)| OF_ROW.contains(target) && value.is_string())
        {
            let cell = || Cell { value: value.clone(), origin: Origin::default() };
            self.fields.entry(*target).or_insert_with(cell);
        }
        self.complete_ends();
        for (target, template) in &plan.made {
            let of_row =
                matches!(target.record(), Record::Pipe | Record::Run | Record::Observation);
            if of_row
                && !self.fields.contains_key(target)
                && let Some(text) = template.fill(|field| self.text(field))
            {
                self.fields.insert(*target, Cell { value: text.into(), origin: Origin::default() });
            }
        }
    }

    /// Sets the ends of the pipe from those of the run, and vice versa.
    fn complete_ends(&mut self) {
        let is_up = self.text(Target::DIRECTION).as_deref() == Some("upstream");
        let (first, last) = if is_up {
            (Target::PIPE_DOWNSTREAM, Target::PIPE_UPSTREAM)
        } else {
            (Target::PIPE_UPSTREAM, Target::PIPE_DOWNSTREAM)
        };
        for (run, pipe) in [(Target::RUN_FROM, first), (Target::RUN_TO, last)] {
            for (known, absent) in [(run, pipe), (pipe, run)] {
                if let Some(cell) = self.fields.get(&known).cloned() {
                    self.fields.entry(absent).or_insert(cell);
                }
            }
        }
    }
}

/// A word of a code column, and its location.
type Word = (String, Origin);

/// A row that is being read.
struct Reading<'p> {
    advice: &'p Advice,
    row: Row,
    wrong: Vec<WrongCell>,
    /// The words that together determine the code, by the index of their column.
    words: BTreeMap<usize, Word>,
    /// Dates and times of day that together make a timestamp.
    moments: BTreeMap<Target, Moment>,
}

#[derive(Default)]
struct Moment {
    date: Option<(Date, Origin)>,
    time: Option<(Time, Origin)>,
}

impl<'p> Reading<'p> {
    fn new(advice: &'p Advice) -> Self {
        let (row, wrong) = (Row::default(), Vec::new());
        Self { advice, row, wrong, words: BTreeMap::new(), moments: BTreeMap::new() }
    }

    fn wrong(&mut self, target: Target, origin: Origin, message: impl Into<String>) {
        self.wrong.push(WrongCell { target, origin, message: message.into() });
    }

    fn cell(&mut self, cell: &GridCell, column: &ColumnBinding<'_>, origin: Origin) {
        let text = cell.text.trim();
        match column.role {
            ColumnUse::Code(place) => {
                self.words.insert(place, (text.to_owned(), origin));
            }
            ColumnUse::Stretch => self.row.stretch = Some((text.to_owned(), origin)),
            ColumnUse::Field(target) => {
                for (index, part) in parts(&cell.text, column, target) {
                    self.part(part, cell, column, target, (column.place() + index, origin));
                }
            }
            ColumnUse::Dropped(_) | ColumnUse::Unsaid => {}
        }
    }

    /// Reads one of the values in a cell; most cells have one.
    fn part(
        &mut self,
        part: &str,
        cell: &GridCell,
        column: &ColumnBinding<'_>,
        target: Target,
        (place, origin): (usize, Origin),
    ) {
        let read = match cell.percent() {
            Some(percent) => column.format.read_percentage(part, percent),
            None => column.format.read(part),
        };
        match read {
            Err(expected) => {
                let part = part.trim();
                let advice = self.advice.on_word(part, column.column, target);
                self.wrong(target, origin, format!("found {part:?}; expected {expected}{advice}"))
            }
            Ok(CellValue::Moment(date, time)) => {
                let excess = cell.timestamp().map(|timestamp| Excess {
                    target,
                    timestamp: timestamp.to_owned(),
                    origin,
                });
                self.row.excess.extend(excess);
                let moment = self.moments.entry(target).or_default();
                moment.date = date.map(|date| (date, origin)).or(moment.date);
                moment.time = time.map(|time| (time, origin)).or(moment.time);
            }
            Ok(CellValue::Amount(value, unit)) if target == Target::AMOUNT => {
                // In a column of plain numbers, the percentage is only the sheet's cell format.
                let shown_in_percent =
                    cell.percent().is_some() && column.is_number() && column.column.unit.is_none();
                let value = number(value);
                self.amount(place, Amount { value, unit: Some(unit), shown_in_percent, origin });
            }
            Ok(CellValue::Amount(value, unit)) => {
                if let Some(value) = converted(&number(value), Some(unit), column.unit) {
                    self.set(target, Cell { value, origin });
                } else {
                    let message = format!("found {:?}; expected a length", part.trim());
                    self.wrong(target, origin, message);
                }
            }
            Ok(value) => self.single(value.into_json(), part, column, target, (place, origin)),
        }
    }

    fn single(
        &mut self,
        value: Value,
        part: &str,
        column: &ColumnBinding<'_>,
        target: Target,
        (place, origin): (usize, Origin),
    ) {
        match target {
            Target::AMOUNT => {
                let unit = column.column.unit;
                self.amount(place, Amount { value, unit, shown_in_percent: false, origin });
            }
            Target::AMOUNT_UNIT => self.unit(place, part, &value, column, origin),
            Target::CHARACTERISATION => self.characterise(place, Cell { value, origin }),
            Target::MEDIA_FILE => self.file(&value, part, column, origin),
            Target::GRADES => {
                let cell = Cell { value, origin };
                if let Some(message) =
                    self.row.grade.as_ref().and_then(|earlier| contradiction(earlier, &cell))
                {
                    self.wrong(target, origin, message);
                } else {
                    self.row.grade = Some(cell);
                }
            }
            _ if target.is_extensions() => {
                let key = (target.record(), column.heading().to_owned());
                self.row.kept.insert(key, (as_text(&value), origin));
            }
            _ => {
                let value = converted(&value, column.column.unit, column.unit).unwrap_or(value);
                self.set(target, Cell { value, origin });
            }
        }
    }

    /// Sets a field, unless another cell of the row has another value for it.
    fn set(&mut self, target: Target, cell: Cell) {
        match self.row.fields.get(&target).and_then(|earlier| contradiction(earlier, &cell)) {
            Some(message) => self.wrong(target, cell.origin, message),
            None => {
                self.row.fields.entry(target).or_insert(cell);
            }
        }
    }

    fn characterise(&mut self, place: usize, cell: Cell) {
        let earlier = self.row.characterisation.get(&place);
        match earlier.and_then(|earlier| contradiction(earlier, &cell)) {
            Some(message) => self.wrong(Target::CHARACTERISATION, cell.origin, message),
            None => {
                self.row.characterisation.entry(place).or_insert(cell);
            }
        }
    }

    /// Sets the unit of an amount: a word that the column translates, a word for a unit in the
    /// layout, or the unit's own name.
    fn unit(
        &mut self,
        place: usize,
        part: &str,
        value: &Value,
        column: &ColumnBinding<'_>,
        origin: Origin,
    ) {
        let word = value.as_str().unwrap_or_default().trim();
        let Some(unit) = column.format.unit(word) else {
            let known = column.format.unit_words();
            let near = nearest(word, known.iter().map(String::as_str));
            let near = near.map(|near| format!("; did you mean {near:?}?")).unwrap_or_default();
            let message = format!(
                "found {:?}; expected a unit, one of {}{near}",
                part.trim(),
                known.join(", ")
            );
            self.wrong(Target::AMOUNT_UNIT, origin, message);
            return;
        };
        self.row.units.insert(place, UnitCell { unit, origin });
    }

    fn amount(&mut self, place: usize, amount: Amount) {
        if self.row.amounts.contains_key(&place) {
            let message = "another column of the row has this amount already; correct one of them";
            self.wrong(Target::AMOUNT, amount.origin, message);
            return;
        }
        self.row.amounts.insert(place, amount);
    }

    fn file(&mut self, value: &Value, part: &str, column: &ColumnBinding<'_>, origin: Origin) {
        if names_several(part) {
            let expected = match &column.column.separator {
                Some(separator) => format!("{:?} between the names of files", separator.as_str()),
                None => "the name of one file; if cells name several, set separator in the layout"
                    .to_owned(),
            };
            let message = format!("found {part:?}, which names several files; expected {expected}");
            self.wrong(Target::MEDIA_FILE, origin, message);
            return;
        }
        let kind = column.column.media.unwrap_or(MediaKind::Photo);
        self.row.files.push(NamedFile { name: as_text(value), kind, origin });
    }

    /// Sets the code from the words of several columns.
    fn codes(&mut self, plan: &Plan<'_>) {
        let Some(codes) = &plan.layout.codes else { return };
        let Some(origin) = self.words.values().next().map(|(_, origin)| *origin) else { return };
        let own = |place: usize| self.words.get(&place).map(|(word, _)| word.as_str());
        let mut entries = codes.words.iter();
        let entry = entries.find(|entry| {
            (0..codes.columns.len())
                .all(|place| entry.words.get(place).map(|word| &**word) == own(place))
        });
        let Some(entry) = entry else {
            let found: Vec<&str> = self.words.values().map(|(word, _)| word.as_str()).collect();
            let id = &plan.layout.id;
            let advice = self.advice.on_code(&found, codes);
            let message = format!(
                "found {:?}; expected words with a code in the layout {id}{advice}",
                found.join(", ")
            );
            self.wrong(Target::CODE, origin, message);
            return;
        };
        self.set(Target::CODE, Cell { value: entry.code.to_string().into(), origin });
        for (place, value) in entry.characterisation.iter().enumerate() {
            self.characterise(place, Cell { value: value.to_string().into(), origin });
        }
    }

    /// Drops hidden content of the cells of a timestamp, if another cell shows it.
    fn drop_shown(&mut self, target: Target, date: Date, time: Time) {
        let (both, time) = (format!("{date} {time}"), time.to_string());
        let is_shown = |hidden: &str| hidden == if hidden.contains(' ') { &both } else { &time };
        self.row.excess.retain(|excess| excess.target != target || !is_shown(&excess.timestamp));
    }

    /// Joins dates and times of day.
    fn moments(&mut self, zone: &str) {
        for (target, moment) in std::mem::take(&mut self.moments) {
            match (moment.date, moment.time) {
                (Some((date, origin)), Some((time, _))) => {
                    self.drop_shown(target, date, time);
                    let value = format!("{date}T{time}{zone}").into();
                    self.set(target, Cell { value, origin });
                }
                // The other part exists and could not be read, which has been reported.
                _ if self.wrong.iter().any(|wrong| wrong.target == target) => {}
                // A date alone is not a timestamp, and midnight was not recorded.
                (Some((_, origin)), None) => {
                    self.wrong(target, origin, "a date without a time; fill in the time")
                }
                (None, Some((_, origin))) => {
                    self.wrong(target, origin, "a time without a date; fill in the date")
                }
                (None, None) => {}
            }
        }
    }
}

/// What to say if two cells of a row have different values for one field.
fn contradiction(earlier: &Cell, cell: &Cell) -> Option<String> {
    (earlier.value != cell.value).then(|| {
        format!(
            "found {}, and another column of the row has {} for the same value; correct one of them",
            as_text(&cell.value),
            as_text(&earlier.value)
        )
    })
}
