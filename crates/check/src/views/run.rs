//! A run and its observations, while they are in memory.

use std::cell::OnceCell;

use obvert_model::lists::{Code, Role};
use obvert_model::number::{Grade, Length};
use obvert_model::tables::{Aspect, Grades, Media, MediaRef, Observation, OutcomeKind, Run};
use obvert_model::text::Text;

use super::facts::RowFacts;
use super::{PipeView, Subject, Survey};
use crate::grading::{GradeExtent, Judgement};
use crate::profile::{MediaKinds, Violations};
use crate::support::cross_section::CrossSection;
use crate::support::duplicates::{self, RepeatedRows};
use crate::support::late_offsets::{self, LateOffsets};
use crate::support::row_order;
use crate::support::shifted_column::{self, Shift};
use crate::support::terms::{self, Term};
use crate::support::texts::UnusualText;

/// The start and the end of a run by its rows.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Marks {
    /// The distance of the first row, if it or another row at its distance is a start row.
    pub(crate) start: Option<Length>,
    /// The distance of the last row, if it or another row at its distance closes the run.
    pub(crate) finish: Option<Length>,
    /// Whether the counter was probably reset during the run, so that later distances are not
    /// measured from the zero point.
    pub(crate) counter_reset: bool,
}

/// The changes of the cross-section that a run can record, as bits.
pub(crate) mod changes {
    pub(crate) const MATERIAL: u8 = 1;
    pub(crate) const SIZE: u8 = 2;
    pub(crate) const SHAPE: u8 = 4;
}

/// A run with its observations.
#[derive(Debug)]
#[non_exhaustive]
pub struct RunView<'r> {
    /// The survey.
    pub survey: &'r Survey<'r>,
    /// The run.
    pub run: &'r Run,
    /// Its row.
    pub index: usize,
    /// Its pipe, if the document has it.
    pub pipe: Option<PipeView<'r>>,
    /// The rows that record a change of material, size or shape, by their number in the run.
    pub(crate) changes: &'r [usize],
    /// The results of the lookups for every observation.
    pub(crate) facts: &'r [RowFacts<'r>],
    /// The rows of the media that the observations refer to, in their order; `None` for media that
    /// the document does not have.
    pub(crate) media: &'r [Option<usize>],
    pub(crate) marks: OnceCell<Marks>,
    pub(crate) decimals: OnceCell<[usize; row_order::DECIMALS + 1]>,
    pub(crate) disorder: OnceCell<bool>,
    pub(crate) violations: OnceCell<Violations>,
    pub(crate) unusual_texts: OnceCell<Vec<UnusualText>>,
    pub(crate) duplicates: OnceCell<Vec<(usize, usize)>>,
    pub(crate) repeated_rows: OnceCell<Vec<RepeatedRows>>,
    pub(crate) overlapping_stretches: OnceCell<Vec<(usize, usize)>>,
    pub(crate) shift: OnceCell<Option<Shift>>,
    pub(crate) terms: OnceCell<Vec<Option<Term<'static>>>>,
    pub(crate) late_offsets: OnceCell<LateOffsets>,
}

impl<'r> RunView<'r> {
    /// The run, or a field of it; `field` is empty or a pointer such as `/surveyed`.
    #[must_use]
    pub fn subject(&self, field: &str) -> Subject {
        Subject::of_run(self.index, self.run, field)
    }

    /// Its observations.
    pub fn rows(&self) -> impl DoubleEndedIterator<Item = RowView<'_>> + ExactSizeIterator + Clone {
        (0..self.run.observations.len()).map(|index| self.row(index))
    }

    /// One of its observations.
    pub(crate) fn row(&self, index: usize) -> RowView<'_> {
        let facts = &self.facts[index];
        RowView { run: self, row: &self.run.observations[index], index, code: facts.code, facts }
    }

    /// What the counter showed at its zero point, in the document's length unit; 0 by default.
    #[must_use]
    pub fn reads(&self) -> f64 {
        self.run.counter.as_ref().and_then(|counter| counter.reads).map_or(0.0, Length::get)
    }

    /// The smallest step of its counter: as the run states it, or else the largest of its
    /// equipment.
    pub(crate) fn counter_step(&self) -> Option<Length> {
        let stated = self.run.counter.as_ref().and_then(|counter| counter.resolution);
        let equipment = || {
            let rows = self.run.equipment.iter().filter_map(|id| {
                let row = &self.survey.head.equipment[self.survey.equipment_index(id)?];
                row.counter_resolution
            });
            rows.max_by(|a, b| a.get().total_cmp(&b.get()))
        };
        stated.or_else(equipment)
    }

    /// The distance from the zero point to the last reading, in metres.
    #[must_use]
    pub fn travelled(&self) -> Option<f64> {
        Some((self.run.surveyed?.get() - self.reads()) * self.survey.head.units.length.metres())
    }

    /// Whether so many rows are out of order that they were sorted by something else than distance.
    /// That is one finding, and rules do not conclude anything from the first, last or next row.
    pub(crate) fn disordered(&self) -> bool {
        *self
            .disorder
            .get_or_init(|| row_order::reversed(self) || row_order::out_of_order(self).is_some())
    }

    /// The changes of the cross-section that its rows record.
    pub(crate) fn recorded_changes(&self) -> u8 {
        self.changes.iter().fold(0, |all, index| {
            all | match self.row(*index).role() {
                Some(Role::MaterialChange) => changes::MATERIAL,
                Some(Role::SizeChange) => changes::SIZE,
                Some(Role::ShapeChange) => changes::SHAPE,
                _ => 0,
            }
        })
    }

    /// Whether the run may have been in a part of the pipe that differs from the owner's record: it
    /// did not go through the whole pipe, and records none of these changes.
    pub(crate) fn may_differ(&self, changes: u8) -> bool {
        let outcome = self.run.outcome.as_ref().map(|outcome| outcome.kind);
        outcome != Some(OutcomeKind::Reached) && self.recorded_changes() & changes == 0
    }

    /// How many rows have a distance with no decimals, with one, and so on.
    pub(crate) fn decimals(&self) -> &[usize; row_order::DECIMALS + 1] {
        self.decimals.get_or_init(|| {
            let mut rows = [0; row_order::DECIMALS + 1];
            for row in &self.run.observations {
                rows[row_order::decimals(row.at.get())] += 1;
            }
            rows
        })
    }

    /// The rows at a point that repeat an earlier row, each with that row.
    pub(crate) fn duplicates(&self) -> &[(usize, usize)] {
        self.duplicates.get_or_init(|| duplicates::duplicates(self))
    }

    /// The sequences of rows that repeat earlier rows.
    pub(crate) fn repeated_rows(&self) -> &[RepeatedRows] {
        self.repeated_rows.get_or_init(|| duplicates::repeated_rows(self))
    }

    /// Whether a row is one of the repeated rows.
    pub(crate) fn is_repeated(&self, index: usize) -> bool {
        self.repeated_rows().iter().any(|repeat| repeat.has(index))
    }

    /// Whether a row, or a neighbour of it, is a single repeated row that is out of order.
    pub(crate) fn is_next_to_repeated(&self, index: usize) -> bool {
        self.repeated_rows()
            .iter()
            .any(|repeat| repeat.rows == 1 && repeat.from.abs_diff(index) <= 1)
    }

    /// The rows at a smaller distance than the row before, except where a repeated sequence begins
    /// or a single repeated row precedes.
    pub(crate) fn falls(&self) -> impl Iterator<Item = usize> + Clone + '_ {
        let rows = &self.run.observations;
        let falls = (1..rows.len()).filter(|index| rows[*index].at < rows[index - 1].at);
        let begins = |index: usize| self.repeated_rows().iter().any(|repeat| repeat.from == index);
        let below = |index: usize| {
            self.repeated_rows().iter().any(|repeat| repeat.rows == 1 && repeat.from + 1 == index)
        };
        falls.filter(move |index| !begins(*index) && !below(*index))
    }

    /// The stretches that overlap an earlier stretch of the same code, each with that stretch.
    pub(crate) fn overlapping_stretches(&self) -> &[(usize, usize)] {
        self.overlapping_stretches.get_or_init(|| duplicates::overlapping_stretches(self))
    }

    /// The column whose values are in the row before or after their own, if there is one.
    pub(crate) fn shift(&self) -> Option<&Shift> {
        self.shift.get_or_init(|| shifted_column::shift(self)).as_ref()
    }

    /// Whether a value of a row is in the row before or after its own.
    pub(crate) fn is_shifted(&self, index: usize) -> bool {
        self.shift().is_some_and(|shift| index >= shift.from)
    }

    /// What its rows mean in the project's own terms, if the document is coded in another list.
    pub(crate) fn terms(&self) -> &[Option<Term<'static>>] {
        self.terms.get_or_init(|| self.rows().map(|row| terms::translated(&row)).collect())
    }

    /// Its rows by the time in their recordings.
    pub(crate) fn late_offsets(&self) -> &LateOffsets {
        self.late_offsets.get_or_init(|| late_offsets::late_offsets(self))
    }

    /// The fields that do not meet the demands of the profile; computed on first use.
    pub(crate) fn violations(&self) -> &Violations {
        self.violations.get_or_init(|| {
            self.survey
                .demands
                .map(|demands| demands.fields.of_run(self.run, self.index))
                .unwrap_or_default()
        })
    }

    /// The kinds of its media: those that name it in the table of media, and those that its
    /// observations refer to.
    pub(crate) fn media_kinds(&self) -> MediaKinds {
        let mut kinds = self.survey.media_of_run(&self.run.id);
        self.media.iter().flatten().for_each(|row| kinds.add(&self.survey.head.media[*row]));
        kinds
    }

    /// Its start and end by its rows; neither if the rows are not in order.
    pub(crate) fn marks(&self) -> Marks {
        let at = |row: RowView<'_>| row.row.at;
        let find = || Marks {
            start: self.start_row().map(at),
            finish: self.closing_row().map(at),
            counter_reset: row_order::counter_reset(self).is_some(),
        };
        *self.marks.get_or_init(|| if self.disordered() { Marks::default() } else { find() })
    }

    /// The start row, if the run begins with one. Rows at the same distance have no order; a
    /// disordered run has no start row.
    pub(crate) fn start_row(&self) -> Option<RowView<'_>> {
        let first = self.run.observations.first().filter(|_| !self.disordered())?.at;
        self.rows()
            .take_while(|row| row.row.at == first)
            .find(|row| row.role() == Some(Role::Start))
    }

    /// The row that closes the run, if the run ends with one: it finishes or is abandoned. A
    /// disordered run has none.
    pub(crate) fn closing_row(&self) -> Option<RowView<'_>> {
        let last = self.run.observations.last().filter(|_| !self.disordered())?.at;
        let closes = |row: &RowView<'_>| matches!(row.role(), Some(Role::Finish | Role::Stopped));
        self.rows().rev().take_while(|row| row.row.at == last).find(closes)
    }
}

/// An observation.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub struct RowView<'r> {
    /// Its run.
    pub run: &'r RunView<'r>,
    /// The observation.
    pub row: &'r Observation,
    /// Its row.
    pub index: usize,
    /// Its code, if the code list has it.
    pub code: Option<&'r Code>,
    pub(crate) facts: &'r RowFacts<'r>,
}

impl<'r> RowView<'r> {
    /// The survey.
    #[must_use]
    pub fn survey(&self) -> &'r Survey<'r> {
        self.run.survey
    }

    /// The observation, or a field of it; `field` is empty or a pointer such as `/clock/at`.
    #[must_use]
    pub fn subject(&self, field: &str) -> Subject {
        Subject {
            path: format!("/runs/{}/observations/{}{field}", self.run.index, self.index),
            pipe: Some(self.run.run.pipe.to_string()),
            run: Some(self.run.run.id.to_string()),
            observation: Some(self.row.id.to_string()),
            distance: Some(self.row.at.get()),
            ..Subject::default()
        }
    }

    /// The role of its code.
    #[must_use]
    pub fn role(&self) -> Option<Role> {
        self.code.and_then(|code| code.role)
    }

    /// Its extent along the run, for counting its grades.
    pub(crate) fn grade_extent(&self) -> GradeExtent {
        let survey = self.survey();
        let unit = survey.head.units.length.metres();
        let open = self.row.is_stretch() && self.row.to.is_none();
        let length = (!open).then(|| survey.metres(self.row.end()) - survey.metres(self.row.at));
        GradeExtent { at: (self.row.at.get() - self.run.reads()) * unit, length }
    }

    /// The cross-section at its distance.
    pub(crate) fn cross_section(&self) -> CrossSection {
        CrossSection::at(self)
    }

    /// Its grade in an aspect by the grade scheme; `None` if the scheme gives none.
    #[must_use]
    pub fn graded(&self, aspect: Aspect) -> Option<Grade> {
        self.judged(aspect)?.grade
    }

    /// Its grade in an aspect by the grade scheme, with the reasons.
    pub(crate) fn judged(&self, aspect: Aspect) -> Option<Judgement<'r>> {
        self.facts.judged[aspect as usize]
    }

    /// Whether the grade scheme grades its code in an aspect.
    pub(crate) fn gradable(&self, aspect: Aspect) -> bool {
        self.facts.entries.is_some_and(|entries| !entries.of(aspect).is_empty())
    }

    /// Whether the scheme grades another code list, and the code has no exact link to it. No grade
    /// is known then.
    pub(crate) fn unlinked(&self) -> bool {
        self.facts.via.is_none()
            && self.survey().grader.as_ref().is_some_and(|grader| grader.links.is_some())
    }

    /// The reasons for a grade, in words, including the link to the scheme's code list if that is
    /// another one.
    pub(crate) fn reason(&self, judgement: &Judgement<'_>) -> String {
        let reason = judgement.reason(&self.cross_section());
        let Some(via) = self.facts.via else { return reason };
        let list = self.survey().scheme.map_or("", |scheme| scheme.code_list.list.as_str());
        let own: Vec<&str> = std::iter::once(&*self.row.code)
            .chain(self.row.characterisation.iter().map(|word| &**word))
            .collect();
        format!("{} is {} of {list}; {reason}", own.join(" "), via.code)
    }

    /// The media that it refers to: the reference and, if the document has it, the file.
    pub fn media(&self) -> impl Iterator<Item = (&'r MediaRef, Option<&'r Media>)> + use<'r> {
        let head = self.survey().head;
        let rows = &self.run.media[self.facts.media..];
        self.row
            .media
            .iter()
            .zip(rows)
            .map(|(reference, row)| (reference, row.map(|row| &head.media[row])))
    }

    /// What people who work here must know to stay safe, by the code list.
    #[must_use]
    pub fn caution(&self) -> Option<&'r Text> {
        self.code?.caution(&self.row.characterisation)
    }

    /// One of its amounts in the code list's unit; `None` if it is not recorded or measures
    /// something else.
    #[must_use]
    pub fn amount(&self, place: usize) -> Option<f64> {
        crate::grading::amount(self.code?, self.row, place)
    }

    /// The recorded grade in an aspect.
    #[must_use]
    pub fn recorded(&self, aspect: Aspect) -> Option<Grade> {
        recorded(self.row.grades.as_ref(), aspect)
    }
}

/// The recorded grade in an aspect.
#[must_use]
pub(crate) fn recorded(grades: Option<&Grades>, aspect: Aspect) -> Option<Grade> {
    let grades = grades?;
    match aspect {
        Aspect::Structural => grades.structural,
        Aspect::Operational => grades.operational,
    }
}
