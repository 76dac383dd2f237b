//! From a document to the rows of a table.

use std::collections::{BTreeSet, HashMap, HashSet};

use obvert_model::layout::{CellKind, CodeWords, FileColumn, Record, Target};
use obvert_model::tables::{MediaKind, QuantityUnit};
use serde_json::{Value, json};

use super::list;
use super::repertoire::Repertoire;
use crate::cell::{in_zone, number};
use crate::plan::{ColumnBinding, ColumnUse, Plan, implied_unit};
use crate::units::converted;
use crate::{as_text, needs};

static NOTHING: Value = Value::Null;

/// The rows of a table, and their runs.
pub(super) struct Rows<'d> {
    pub(super) rows: Vec<Vec<String>>,
    pub(super) runs: &'d [Value],
    /// The first row of each run.
    pub(super) first_of_run: Vec<usize>,
}

impl<'d> Rows<'d> {
    /// The rows of a document, in the units of the layout.
    pub(super) fn of(document: &'d Value, plan: &Plan<'_>) -> Self {
        let writer = Writer::new(document, plan);
        let mut rows =
            Self { rows: Vec::new(), runs: list(document, Target::RUNS), first_of_run: Vec::new() };
        let pipes = list(document, Target::PIPES).iter().zip(0..);
        let places: HashMap<&str, usize> =
            pipes.filter_map(|(pipe, place)| Some((id(pipe)?, place))).collect();
        let mut unsurveyed = unsurveyed(document, plan).into_iter().peekable();
        let alone = |pipe: &Value| {
            writer.row(Subject { pipe, run: &NOTHING, row: &NOTHING, part: Part::Point(0.0) })
        };
        for run in rows.runs {
            // Pipes without runs keep their places among the others.
            let place = pipe_of(run).and_then(|pipe| places.get(pipe)).copied().unwrap_or(0);
            while let Some((_, pipe)) = unsurveyed.next_if(|(own, _)| *own < place) {
                rows.rows.push(alone(pipe));
            }
            rows.first_of_run.push(rows.rows.len());
            writer.run(run, &mut rows.rows);
        }
        rows.rows.extend(unsurveyed.map(|(_, pipe)| alone(pipe)));
        rows
    }

    /// The runs whose rows start in some lines of the file.
    pub(super) fn runs_in(
        &self,
        lines: &BTreeSet<usize>,
        plan: &Plan<'_>,
        repertoire: Repertoire,
    ) -> Vec<&'d Value> {
        // Rows of XML have no lines.
        let Some(table) = &plan.layout.table else { return Vec::new() };
        let mut line =
            (table.heading_row.unwrap_or(1) + table.heading_rows.unwrap_or(1).max(1)) as usize;
        let mut found = BTreeSet::new();
        for (index, row) in self.rows.iter().enumerate() {
            if lines.contains(&line) {
                found.insert(
                    self.first_of_run.partition_point(|first| *first <= index).saturating_sub(1),
                );
            }
            // A row of a sheet is one line, whatever is in it.
            let breaks = row.iter().map(|cell| cell.matches('\n').count()).sum::<usize>();
            line += 1 + if repertoire.has_lines() { breaks } else { 0 };
        }
        found.into_iter().filter_map(|run| self.runs.get(run)).collect()
    }
}

/// The ids of runs for a message, only the first few.
pub(super) fn run_ids<'v>(runs: impl Iterator<Item = &'v Value>) -> String {
    const SHOWN: usize = 6;
    let ids: Vec<&str> = runs.filter_map(id).collect();
    let more =
        if ids.len() > SHOWN { format!(" and {} more", ids.len() - SHOWN) } else { String::new() };
    format!("{}{more}", ids[..ids.len().min(SHOWN)].join(", "))
}

fn id(record: &Value) -> Option<&str> {
    record.get("id")?.as_str()
}

fn pipe_of(run: &Value) -> Option<&str> {
    Target::RUN_PIPE.get(run)?.as_str()
}

fn by_id(document: &Value, records: Target) -> HashMap<&str, &Value> {
    list(document, records).iter().filter_map(|record| Some((id(record)?, record))).collect()
}

/// The pipes without runs that a layout can hold, each with its index: the id of a pipe and its
/// ends are in fields of the pipe, not in the root, which exists only once.
fn unsurveyed<'d>(document: &'d Value, plan: &Plan<'_>) -> Vec<(usize, &'d Value)> {
    let Some(xml) = &plan.layout.xml else { return Vec::new() };
    let is_of_pipe = |heading: &str| {
        let shared = xml
            .rows
            .split('/')
            .zip(heading.split('/'))
            .take_while(|(one, other)| one == other)
            .count();
        let target = plan.column(heading).and_then(ColumnBinding::target);
        shared > 1 && target.is_some_and(|target| target.record() == Record::Pipe)
    };
    let needed = [Target::PIPE_ID, Target::PIPE_UPSTREAM, Target::PIPE_DOWNSTREAM];
    let needed = needed.map(|target| needs::columns_of(plan, target));
    if needed[0].is_empty() || !needed.iter().flatten().all(|heading| is_of_pipe(heading)) {
        return Vec::new();
    }
    let surveyed: HashSet<&str> = list(document, Target::RUNS).iter().filter_map(pipe_of).collect();
    let pipes = list(document, Target::PIPES).iter().enumerate();
    pipes.filter(|(_, pipe)| id(pipe).is_some_and(|id| !surveyed.contains(id))).collect()
}

/// The part of an observation that a row holds, and its distance.
#[derive(Clone, Copy, PartialEq)]
enum Part {
    Point(f64),
    /// The start of a stretch, with its number in the run.
    Start(f64, usize),
    Finish(f64, usize),
}

impl Part {
    const fn distance(self) -> f64 {
        match self {
            Self::Point(distance) | Self::Start(distance, _) | Self::Finish(distance, _) => {
                distance
            }
        }
    }

    const fn is_finish(self) -> bool {
        matches!(self, Self::Finish(..))
    }
}

/// The record of a row.
#[derive(Clone, Copy)]
struct Subject<'d> {
    pipe: &'d Value,
    run: &'d Value,
    /// The observation.
    row: &'d Value,
    part: Part,
}

struct Writer<'w, 'l> {
    plan: &'w Plan<'l>,
    document: &'w Value,
    pipes: HashMap<&'w str, &'w Value>,
    /// The media, by id.
    media: HashMap<&'w str, &'w Value>,
}

impl<'w, 'l> Writer<'w, 'l> {
    fn new(document: &'w Value, plan: &'w Plan<'l>) -> Self {
        Self {
            plan,
            document,
            pipes: by_id(document, Target::PIPES),
            media: by_id(document, Target::MEDIA),
        }
    }

    fn run(&self, run: &Value, rows: &mut Vec<Vec<String>>) {
        let pipe = pipe_of(run).and_then(|id| self.pipes.get(id)).copied().unwrap_or(&NOTHING);
        let parts = self.parts(list(run, Target::OBSERVATIONS));
        if parts.is_empty() {
            rows.push(self.row(Subject { pipe, run, row: &NOTHING, part: Part::Point(0.0) }));
        }
        let of_row = self.plan.layout.observations_of_row();
        for parts in parts.chunks(of_row) {
            let subjects = parts.iter().map(|(row, part)| Subject { pipe, run, row, part: *part });
            rows.push(self.row_of(&subjects.collect::<Vec<_>>()));
        }
    }

    /// The observations of a run in the order of the table: stretches have a row for their start
    /// and one for their end.
    fn parts<'d>(&self, observations: &'d [Value]) -> Vec<(&'d Value, Part)> {
        let mut parts: Vec<(&Value, Part)> = Vec::new();
        // Stretches that have not ended, sorted by their end, the first one last.
        let mut waiting: Vec<(f64, &Value, usize)> = Vec::new();
        let mut stretches = 0;
        let number = |row: &Value, target: Target| target.get(row).and_then(Value::as_f64);
        let finish = |(to, row, number): (f64, &'d Value, usize)| (row, Part::Finish(to, number));
        for row in observations.iter().filter(|row| self.has_words(row)) {
            let distance = number(row, Target::DISTANCE).unwrap_or_default();
            // The end of a stretch comes before observations at the same distance.
            while let Some(stretch) = waiting.pop_if(|(to, ..)| *to <= distance) {
                parts.push(finish(stretch));
            }
            let is_stretch = Target::CONTINUOUS.get(row).and_then(Value::as_bool) == Some(true);
            if !is_stretch || self.plan.layout.stretches.is_none() {
                parts.push((row, Part::Point(distance)));
                continue;
            }
            stretches += 1;
            parts.push((row, Part::Start(distance, stretches)));
            if let Some(to) = number(row, Target::DISTANCE_TO) {
                let place = waiting.partition_point(|(other, ..)| *other > to);
                waiting.insert(place, (to, row, stretches));
            }
        }
        parts.extend(waiting.into_iter().rev().map(finish));
        parts
    }

    /// The layout's words for an observation. A less specific code is better than no row; the
    /// report lists what is lost.
    fn words(&self, row: &Value) -> Option<&'l CodeWords> {
        let words = &self.plan.layout.codes.as_ref()?.words;
        let values = list(row, Target::CHARACTERISATION);
        let code = Target::CODE.get(row)?.as_str()?;
        let mut of_code = words.iter().filter(|entry| *entry.code == *code);
        let is_same = |entry: &&CodeWords| {
            entry.characterisation.iter().map(|value| &**value).eq(values.iter().map(text))
        };
        let is_bare = |entry: &&CodeWords| entry.characterisation.is_empty();
        of_code.clone().find(is_same).or_else(|| of_code.find(is_bare))
    }

    fn has_words(&self, row: &Value) -> bool {
        self.plan.layout.codes.is_none() || self.words(row).is_some()
    }

    fn row(&self, subject: Subject<'_>) -> Vec<String> {
        self.row_of(&[subject])
    }

    /// A row with as many observations as it has room for, of one run.
    fn row_of(&self, subjects: &[Subject<'_>]) -> Vec<String> {
        let cell = |own: &FileColumn<'_>| {
            let subject = subjects.get(own.nth.unwrap_or_default())?;
            self.cell(self.plan.columns.get(own.index)?, *subject)
        };
        self.plan.file_columns.iter().map(|own| cell(own).unwrap_or_default()).collect()
    }

    fn cell(&self, column: &ColumnBinding<'_>, subject: Subject<'_>) -> Option<String> {
        match column.role {
            ColumnUse::Code(place) => {
                self.words(subject.row)?.words.get(place).map(ToString::to_string)
            }
            ColumnUse::Stretch => {
                let stretches = self.plan.layout.stretches.as_ref()?;
                match subject.part {
                    Part::Point(_) => None,
                    Part::Start(_, number) => {
                        Some(stretches.start.replace('#', &number.to_string()))
                    }
                    Part::Finish(_, number) => {
                        Some(stretches.finish.replace('#', &number.to_string()))
                    }
                }
            }
            ColumnUse::Field(target) => match target.record() {
                Record::Observation => self.of_observation(target, column, subject),
                Record::Pipe => self.of_record(target, column, subject.pipe),
                Record::Run => self.of_record(target, column, subject.run),
                _ => self.of_record(target, column, self.document),
            },
            ColumnUse::Dropped(_) | ColumnUse::Unsaid => None,
        }
    }

    /// The cell of a field of a pipe, a run or the document.
    fn of_record(
        &self,
        target: Target,
        column: &ColumnBinding<'_>,
        record: &Value,
    ) -> Option<String> {
        let value = self.held(record, target, column)?;
        if column.column.kind.is_some_and(CellKind::is_moment) {
            return column.write(&in_zone(value.as_str()?, self.plan.zone())?.into());
        }
        column.write(value)
    }

    /// The cell of a field of an observation.
    fn of_observation(
        &self,
        target: Target,
        column: &ColumnBinding<'_>,
        subject: Subject<'_>,
    ) -> Option<String> {
        let Subject { row, part, .. } = subject;
        match target {
            // Written once, at the start of the stretch.
            Target::REMARK if part.is_finish() => None,
            Target::DISTANCE if row.is_object() => column.write(&number(part.distance())),
            Target::CHARACTERISATION => {
                let values = list(row, target);
                match &column.column.separator {
                    Some(separator) => Some(
                        values
                            .iter()
                            .filter_map(|value| column.write(value))
                            .collect::<Vec<_>>()
                            .join(separator),
                    ),
                    None => column.write(values.get(column.place())?),
                }
            }
            Target::AMOUNT => self.amount(row, column),
            Target::AMOUNT_UNIT => self.amount_unit(row, column),
            // One column holds one grade.
            Target::GRADES => {
                let mut grades = target.get(row)?.as_object()?.values();
                column.write(grades.find(|grade| grade.is_number())?)
            }
            Target::CLOCK_FROM => {
                column.write(target.get(row).or_else(|| Target::CLOCK_AT.get(row))?)
            }
            Target::MEDIA_FILE => self.media_file(column, row, part),
            Target::MEDIA_OFFSET => self.media_offset(column, subject),
            _ => column.write(self.held(row, target, column)?),
        }
    }

    /// The value of a field, or the text under `extensions` for a column.
    fn held<'v>(
        &self,
        record: &'v Value,
        target: Target,
        column: &ColumnBinding<'_>,
    ) -> Option<&'v Value> {
        let value = target.get(record)?;
        if target.is_extensions() {
            return value.get(self.plan.layout.extension.as_deref()?)?.get(column.heading());
        }
        Some(value)
    }

    /// The files of an observation for a column.
    fn media_file(&self, column: &ColumnBinding<'_>, row: &Value, part: Part) -> Option<String> {
        let kind = column.column.media.map_or("photo", |kind| kind.as_str());
        let references = list(row, Target::MEDIA_REFERENCES).iter().filter_map(id);
        let mut of_kind = references.filter(|id| self.kind_of(id) == Some(kind));
        let write = |id: &str| column.write(&id.into());
        if column.names_recording() && self.plan.names_recordings() {
            return of_kind.nth(usize::from(part.is_finish())).and_then(write);
        }
        // A picture of the end of a stretch is in the row that ends it.
        let mut of_kind = of_kind.filter(|id| self.is_at_end(id, row) == part.is_finish());
        match &column.column.separator {
            Some(separator) => Some(of_kind.filter_map(write).collect::<Vec<_>>().join(separator)),
            None => of_kind.nth(self.media_place(column)).and_then(write),
        }
    }

    fn kind_of(&self, medium: &str) -> Option<&'w str> {
        self.media.get(medium)?.get("kind")?.as_str()
    }

    /// Whether a picture was taken at the end of a stretch that has two rows.
    fn is_at_end(&self, medium: &str, row: &Value) -> bool {
        let is_stretch = Target::CONTINUOUS.get(row).and_then(Value::as_bool) == Some(true);
        let at = self.media.get(medium).and_then(|medium| medium.get("at")?.as_f64());
        let to = Target::DISTANCE_TO.get(row).and_then(Value::as_f64);
        is_stretch && self.plan.layout.stretches.is_some() && at.is_some() && at == to
    }

    /// The index of the file that a column names: its place, or its index among the columns for
    /// the same kind of file.
    fn media_place(&self, column: &ColumnBinding<'_>) -> usize {
        if column.column.place.is_some() {
            return column.place();
        }
        let kind = column.column.media.unwrap_or(MediaKind::Photo);
        let before = self.plan.columns.iter().take_while(|own| own.heading() != column.heading());
        before
            .filter(|own| {
                own.target() == Some(Target::MEDIA_FILE)
                    && own.column.media.unwrap_or(MediaKind::Photo) == kind
            })
            .count()
    }

    /// The offset of an observation into the recording that the row names, or that the layout
    /// assumes for the run.
    fn media_offset(&self, column: &ColumnBinding<'_>, subject: Subject<'_>) -> Option<String> {
        let video = self.plan.video.as_ref().and_then(|template| {
            template.fill(|field| {
                let record =
                    if field.record() == Record::Pipe { subject.pipe } else { subject.run };
                field.get(record).map(as_text)
            })
        });
        let is_into = |id: &str| match self.plan.names_recordings() {
            true => self.kind_of(id).is_some_and(|kind| self.names_kind(kind)),
            false => video.as_deref() == Some(id),
        };
        let references = list(subject.row, Target::MEDIA_REFERENCES).iter();
        let mut into = references.filter(|reference| id(reference).is_some_and(is_into));
        column.write(into.nth(usize::from(subject.part.is_finish()))?.get("offset")?)
    }

    /// Whether a column names recordings of a kind.
    fn names_kind(&self, kind: &str) -> bool {
        let mut recordings = self.plan.columns.iter().filter(|column| column.names_recording());
        recordings.any(|column| column.column.media.is_some_and(|own| own.as_str() == kind))
    }

    fn amount(&self, row: &Value, column: &ColumnBinding<'_>) -> Option<String> {
        let quantity = list(row, Target::AMOUNTS).get(column.place())?;
        if column.column.kind == Some(CellKind::Amount) {
            return column
                .format
                .write(quantity)
                .or_else(|| column.format.write(&self.in_word(quantity)?));
        }
        if let Some(units) = self.unit_column(column.place()) {
            return column.format.write(&with_word(quantity, units)?.0);
        }
        column.format.write(&self.in_unit(row, quantity, column)?)
    }

    /// The column with the units of the amounts at a place.
    fn unit_column(&self, place: usize) -> Option<&ColumnBinding<'l>> {
        let is = |own: &&ColumnBinding<'_>| {
            own.target() == Some(Target::AMOUNT_UNIT) && own.place() == place
        };
        self.plan.columns.iter().find(is)
    }

    /// The unit of an amount, in a column of its own.
    fn amount_unit(&self, row: &Value, column: &ColumnBinding<'_>) -> Option<String> {
        let quantity = list(row, Target::AMOUNTS).get(column.place())?;
        column.format.write_unit(with_word(quantity, column)?.1)
    }

    /// An amount in the unit of the column, or of the code list, since the cell has no unit.
    fn in_unit(&self, row: &Value, quantity: &Value, column: &ColumnBinding<'_>) -> Option<Value> {
        let implied = || {
            let code = Target::CODE.get(row)?.as_str().and_then(|code| self.plan.codes.get(code));
            let values: Vec<String> =
                list(row, Target::CHARACTERISATION).iter().map(as_text).collect();
            implied_unit(code, &values, column.place())
        };
        let wanted = column.column.unit.or_else(implied)?;
        let (value, unit) = parts_of(quantity)?;
        if unit == wanted {
            return Some(json!(value.as_f64()?));
        }
        converted(value, Some(unit), Some(wanted))
    }

    /// An amount in a unit that the layout has a word for, converted if needed: first to that of
    /// sizes, then to that of lengths.
    fn in_word(&self, quantity: &Value) -> Option<Value> {
        let (value, unit) = parts_of(quantity)?;
        let units = &self.plan.layout.units;
        let fixed = [Target::SECTION_UNIT, Target::LENGTH_UNIT].into_iter();
        let fixed = fixed
            .filter_map(|target| self.plan.layout.fixed_text(target)?.parse::<QuantityUnit>().ok());
        let has_word = |unit: &QuantityUnit| units.iter().any(|word| word.unit == *unit);
        let mut candidates = fixed.chain(units.iter().map(|word| word.unit)).filter(has_word);
        candidates.find_map(|other| {
            let value = converted(value, Some(unit), Some(other))?;
            Some(json!({"value": value, "unit": other.as_str()}))
        })
    }
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_default()
}

/// An amount in a unit that a column of units has a word for, converted if needed.
fn with_word(quantity: &Value, units: &ColumnBinding<'_>) -> Option<(Value, QuantityUnit)> {
    let (value, unit) = parts_of(quantity)?;
    if units.format.write_unit(unit).is_some() {
        return Some((value.clone(), unit));
    }
    let mut others =
        QuantityUnit::ALL.iter().filter(|own| units.format.write_unit(**own).is_some());
    others.find_map(|other| Some((converted(value, Some(unit), Some(*other))?, *other)))
}

/// The value of an amount, and its unit.
fn parts_of(quantity: &Value) -> Option<(&Value, QuantityUnit)> {
    Some((quantity.get("value")?, quantity.get("unit")?.as_str()?.parse::<QuantityUnit>().ok()?))
}
