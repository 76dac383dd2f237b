//! Collects rows, one after the other, into the records of a survey.

use obvert_convert::{Loss, LossKind};
use obvert_model::layout::{Record, Target};
use obvert_model::read::ProblemKind;

use super::blanks::Blanks;
use super::headings::{Bindings, Part};
use super::journal::{Journal, one_line};
use super::observation::Seen;
use super::records::{Held, Records};
use super::row::{Excess, Row, WrongCell};
use super::spaces::Spaces;
use super::stretches::OpenStretches;
use crate::as_text;
use crate::detect::Texts;
use crate::grid::{GridCell, GridRow, Origin};
use crate::needs;
use crate::plan::{ColumnUse, Plan};

/// The records that have been collected, and the state after the last row.
pub(crate) struct Collector<'p, 'l> {
    plan: &'p Plan<'l>,
    bindings: Bindings<'l>,
    pub(super) journal: Journal<'l>,
    pub(super) records: Records,
    stretches: OpenStretches,
    spaces: Spaces,
    blanks: Blanks,
    texts: Texts,
    pub(super) last: LastRow,
    pub(super) latest: Option<Latest>,
    /// The digest of the rows, if the layout uses it.
    pub(super) digest: String,
}

/// The row from which fields of the document are made.
#[derive(Default)]
pub(crate) struct LastRow {
    pub(crate) row: Option<Row>,
    /// Its line; 0 if it is the row of a pipe without runs.
    pub(crate) line: usize,
}

/// The latest time of issue, and its row.
pub(crate) struct Latest {
    pub(crate) text: String,
    pub(crate) origin: Origin,
}

impl<'p, 'l> Collector<'p, 'l> {
    pub(crate) fn new(plan: &'p Plan<'l>, bindings: Bindings<'l>, journal: Journal<'l>) -> Self {
        Self {
            plan,
            bindings,
            journal,
            records: Records::default(),
            stretches: OpenStretches::default(),
            spaces: Spaces::default(),
            blanks: Blanks::default(),
            texts: Texts::default(),
            last: LastRow::default(),
            latest: None,
            digest: String::new(),
        }
    }

    /// Adds the values of a row, or reports why it cannot be read.
    pub(crate) fn add(&mut self, grid_row: &GridRow) {
        if let Some((origin, message)) = self.bindings.misfit(grid_row, self.plan.layout) {
            self.journal.problem(ProblemKind::OrphanRow, origin, "", message);
            return;
        }
        for (index, (cell, column)) in grid_row.cells.iter().zip(&self.bindings.columns).enumerate()
        {
            column.iter().for_each(|column| self.spaces.add(cell, column, index + 1));
            let place = || {
                let heading = self.journal.places.headings.get(index);
                let heading = heading.map(|heading| one_line(heading)).unwrap_or_default();
                format!("in line {} (column {heading})", cell.line)
            };
            self.texts.add(&cell.text, place);
        }
        for part in self.bindings.parts(grid_row) {
            if !self.add_part(grid_row, part) {
                return;
            }
        }
    }

    /// Adds the values of a part of a row; returns `false` if the row is skipped.
    fn add_part(&mut self, grid_row: &GridRow, part: Part) -> bool {
        let (mut row, mut wrong) = {
            let is_in = |index: usize| self.bindings.is_in(index, part);
            Row::read(grid_row, &self.bindings.columns, is_in, self.plan)
        };
        let is_reported = |origin: Origin| {
            let index = origin.heading.checked_sub(1);
            index.is_none_or(|index| self.bindings.is_reported_in(index, part))
        };
        wrong.retain(|cell| is_reported(cell.origin));
        row.excess.retain(|excess| is_reported(excess.origin));
        row.complete(self.plan);
        let line = grid_row.line;
        self.merge(Record::Document, "", &row, line);
        if self.is_unsurveyed(&row, grid_row) {
            self.add_unsurveyed(&row, grid_row, &wrong);
            // Fields are made from the last row with a run, if there is any.
            self.last.row.get_or_insert(row);
            return true;
        }
        let (Some(pipe), Some(run)) = (row.text(Target::PIPE_ID), row.text(Target::RUN_ID)) else {
            self.report_unnamed(&row, grid_row, wrong);
            return false;
        };
        if part.is_first {
            self.count_blanks(grid_row, &pipe, &run);
        }
        let at = Origin { line, column: self.bindings.start(part), heading: 0 };
        let of = self.add_row(&row, (&pipe, &run), &wrong, at);
        self.report_dropped(&grid_row.cells, &of, part);
        for excess in std::mem::take(&mut row.excess) {
            self.report_excess(excess, &row, &of);
        }
        self.note_issued(&row, line);
        self.last = LastRow { row: Some(row), line };
        true
    }

    /// Counts the blank cells of a row. A pipe or run that this row is the first to name has a place
    /// only afterwards.
    fn count_blanks(&mut self, row: &GridRow, pipe: &str, run: &str) {
        let named = [(Record::Document, ""), (Record::Pipe, pipe), (Record::Run, run)];
        for (record, id) in named {
            let place = self.records.place_or_next(record, id);
            self.blanks.add(record, place, row, &self.bindings.columns);
        }
    }

    /// Notes texts that look damaged, and white space that is not kept.
    pub(super) fn note_texts(&mut self) {
        let (records, headings) = (&self.records, &self.journal.places.headings);
        let name = |record: Record, place: usize| match records.get(record, place) {
            Some(own) if record != Record::Document => {
                let id = own.get("id").map(as_text).unwrap_or_default();
                format!("{} {id}", record.name())
            }
            _ => "the document".to_owned(),
        };
        let mut notes = self.texts.notes();
        notes.extend(self.blanks.notes(headings, name));
        notes.extend(self.stretches.note());
        for note in notes {
            self.journal.report.note("", note);
        }
        let Some((count, first)) = self.spaces.found() else { return };
        let at = self.journal.places.location(first);
        let heading = at.heading.map(|heading| format!(" (column {heading})")).unwrap_or_default();
        let cells = if count == 1 { "1 cell".to_owned() } else { format!("{count} cells") };
        let first = if count == 1 { "in" } else { "first in" };
        let message = format!(
            "white space around the values of {cells} is not kept, {first} line {}{heading}",
            at.line
        );
        self.journal.report.note("", message);
    }

    /// Adds a row of a pipe and a run, and returns the pointer of its record.
    fn add_row(
        &mut self,
        row: &Row,
        (pipe_id, run_id): (&str, &str),
        wrong: &[WrongCell],
        at: Origin,
    ) -> String {
        let line = at.line;
        let pipe = self.merge(Record::Pipe, pipe_id, row, line);
        let run = self.merge(Record::Run, run_id, row, line);
        if let Some(cell) = row.get(Target::PIPE_ID) {
            self.records.set(Target::RUN_PIPE, run, cell, line, &mut self.journal);
        }
        self.records.add_named(row, line, &mut self.journal);
        let is_observation = row.is_observation()
            || wrong.iter().any(|cell| cell.target.record() == Record::Observation);
        let of = if is_observation {
            let next = self.records.observations(run).len();
            let code = row.text(Target::CODE).and_then(|code| self.plan.codes.get(&code));
            let seen = Seen { plan: self.plan, row, code, run, run_id, place: next, at };
            // The row that ends a stretch is part of the observation that an earlier row starts.
            let place = seen.add(&mut self.records, &mut self.stretches, &mut self.journal);
            format!("/runs/{run}/observations/{place}")
        } else {
            format!("/runs/{run}")
        };
        for cell in wrong {
            let above = match cell.target.record() {
                Record::Pipe => format!("/pipes/{pipe}"),
                Record::Run => format!("/runs/{run}"),
                Record::Observation => of.clone(),
                _ => String::new(),
            };
            self.report_wrong(cell, &above);
        }
        of
    }

    pub(super) fn merge(&mut self, record: Record, id: &str, row: &Row, line: usize) -> usize {
        let extension = self.plan.layout.extension.as_deref();
        self.records.merge(Held { record, id, line }, row, extension, &mut self.journal)
    }

    /// Reports a cell that cannot be read, of the record at a pointer.
    pub(super) fn report_wrong(&mut self, cell: &WrongCell, above: &str) {
        let pointer = format!("{above}{}", cell.target.pointer());
        self.journal.problem(ProblemKind::TextForm, cell.origin, &pointer, cell.message.clone());
    }

    /// Reports a row that does not name its pipe and run, unless a cell that could not be read
    /// would have named them.
    fn report_unnamed(&mut self, row: &Row, grid_row: &GridRow, wrong: Vec<WrongCell>) {
        let layout = self.plan.layout;
        let needed = [Target::PIPE_ID, Target::RUN_ID]
            .map(|target| needs::columns_of(self.plan, target))
            .concat();
        let mut is_reported = false;
        for cell in wrong {
            let heading = cell
                .origin
                .heading
                .checked_sub(1)
                .and_then(|index| self.journal.places.headings.get(index));
            is_reported |= heading.is_some_and(|heading| needed.contains(&heading.as_str()));
            let message = format!("{}; correct it, since the row was skipped", cell.message);
            self.journal.problem(ProblemKind::OrphanRow, cell.origin, "", message);
        }
        if is_reported {
            return;
        }
        let missing =
            if row.text(Target::PIPE_ID).is_none() { Target::PIPE_ID } else { Target::RUN_ID };
        let mut columns = needs::columns_of(self.plan, missing);
        let headings = &self.journal.places.headings;
        let cell_of = |heading: &str| {
            let column = headings.iter().position(|own| own == heading)?;
            grid_row.cells.get(column).map(|cell| cell.text.trim())
        };
        // A missing column has been reported, and would be reported for every row.
        if layout.xml.is_none() && columns.iter().any(|heading| cell_of(heading).is_none()) {
            return;
        }
        if columns.iter().any(|heading| cell_of(heading) == Some("")) {
            columns.retain(|heading| cell_of(heading) == Some(""));
        }
        // An element without observations may be there for a run that did not take place.
        let is_empty = layout.xml.is_some() && missing == Target::RUN_ID && !row.is_observation();
        let or = if is_empty { ", or remove the element if there was no inspection" } else { "" };
        let message = format!(
            "the row does not name its {}, so it was skipped; fill in {}{or}",
            missing.record().name(),
            needs::quoted(&columns)
        );
        self.journal.problem(ProblemKind::OrphanRow, Origin::line(grid_row.line), "", message);
    }

    /// Whether a row of XML has only the elements around rows, and no value of a run: a pipe
    /// without runs, even if the layout could make the id of a run.
    fn is_unsurveyed(&self, row: &Row, grid_row: &GridRow) -> bool {
        if !self.plan.is_xml() {
            return false;
        }
        let filled = grid_row
            .cells
            .iter()
            .zip(&self.bindings.columns)
            .filter(|(cell, _)| !cell.text.trim().is_empty());
        let mut is_of_pipe = false;
        for column in filled.filter_map(|(_, column)| column.as_ref()) {
            match (column.role, column.target().map(Target::record)) {
                (ColumnUse::Code(_) | ColumnUse::Stretch | ColumnUse::Unsaid, _) => return false,
                (_, Some(Record::Run | Record::Observation)) => return false,
                (_, record) => is_of_pipe |= record == Some(Record::Pipe),
            }
        }
        // Values of a pipe without an id are reported as such.
        row.get(Target::PIPE_ID).is_some() || !is_of_pipe
    }

    /// Adds a pipe without runs.
    fn add_unsurveyed(&mut self, row: &Row, grid_row: &GridRow, wrong: &[WrongCell]) {
        let line = grid_row.line;
        let Some(id) = row.text(Target::PIPE_ID) else {
            let message = "the element names neither a pipe nor a run; fill it in, or remove it";
            self.journal.problem(ProblemKind::OrphanRow, Origin::line(line), "", message);
            return;
        };
        let pipe = format!("/pipes/{}", self.merge(Record::Pipe, &id, row, line));
        self.records.add_named(row, line, &mut self.journal);
        for cell in wrong {
            let above = if cell.target.record() == Record::Pipe { pipe.as_str() } else { "" };
            self.report_wrong(cell, above);
        }
        self.report_dropped(&grid_row.cells, &pipe, Part::WHOLE);
    }

    /// Reports the values of a row that are not carried over; `of` is the pointer of its record.
    fn report_dropped(&mut self, cells: &[GridCell], of: &str, part: Part) {
        for (index, (cell, column)) in cells.iter().zip(&self.bindings.columns).enumerate() {
            let Some(ColumnUse::Dropped(why)) = column.map(|column| column.role) else { continue };
            let text = cell.text.trim();
            if text.is_empty() || !self.bindings.is_reported_in(index, part) {
                continue;
            }
            let heading = self
                .journal
                .places
                .headings
                .get(index)
                .map(|heading| one_line(heading))
                .unwrap_or_default();
            let message = format!("the column {heading:?} is not carried over: {why}");
            let loss = Loss::new(LossKind::Dropped, of, message);
            let loss = loss.with_values(Some(text.into()), None);
            self.journal
                .lose(loss, Origin { line: cell.line, column: cell.column, heading: index + 1 });
        }
    }

    /// Reports content of a cell that its column does not show.
    fn report_excess(&mut self, excess: Excess, row: &Row, of: &str) {
        let message = "the cell has more than its column shows";
        let becomes = row.get(excess.target).map(|cell| cell.value.clone());
        let loss = Loss::new(LossKind::Dropped, of, message)
            .with_values(Some(excess.timestamp.into()), becomes);
        self.journal.lose(loss, excess.origin);
    }

    /// Records the time of issue, if it is later than in the rows above: a table need not be in the
    /// order of time.
    fn note_issued(&mut self, row: &Row, line: usize) {
        let Some(template) = self.plan.made_of(Target::ISSUED) else { return };
        let Some(text) = template.fill(|field| row.text(field)) else { return };
        // Texts with the same offset compare in the order of time; otherwise the last row counts.
        let zone = |text: &str| text.get(19..).map(str::to_owned);
        if self
            .latest
            .as_ref()
            .is_some_and(|before| zone(&before.text) == zone(&text) && before.text >= text)
        {
            return;
        }
        let origin =
            template.fields().next().map_or(Origin::line(line), |field| row.origin(field, line));
        self.latest = Some(Latest { text, origin });
    }
}
