//! What a rule sees: each record together with what it refers to, so that a rule is a comparison and not a search.
//!
//! The indexes behind the views are built once for a document. A pointer or a text is made only when a rule fires.

use std::sync::OnceLock;

use obvert_geo::Crs;
use obvert_model::lists::{Code, CodeList, GradeScheme, Role};
use obvert_model::number::{Grade, Length, Section};
use obvert_model::tables::{
    Aspect, Equipment, Grades, Head, Locate, Media, Observation, OutcomeKind, Party, Pipe, Rating, Run, Structure,
};
use obvert_model::text::{Date, RunId, StructureId, Timestamp};
use rustc_hash::FxHashMap;

use crate::bore::Bore;
use crate::grading::{Grader, Judgement, Tally};
use crate::measure::Measure;
use crate::sizes::Sizes;

/// The place that a finding is about.
#[derive(Clone, Debug, Default)]
pub struct Spot {
    /// JSON Pointer into the document.
    pub path: String,
    /// The pipe concerned.
    pub pipe: Option<String>,
    /// The run concerned.
    pub run: Option<String>,
    /// The observation concerned.
    pub observation: Option<String>,
    /// The distance concerned, in the document's length unit.
    pub distance: Option<f64>,
}

impl Spot {
    /// A place that concerns no pipe and no run.
    #[must_use]
    pub fn at(path: impl Into<String>) -> Self {
        Self { path: path.into(), ..Self::default() }
    }
}

type Rows<'d> = FxHashMap<&'d str, usize>;

/// The head of a document and its tables, indexed.
#[derive(Debug)]
pub struct Survey<'d> {
    /// The head.
    pub head: &'d Head,
    /// The date of today, where it was given.
    pub today: Option<&'d Date>,
    /// The document's code list, where it is at hand.
    pub list: Option<&'d CodeList>,
    /// The document's grade scheme, where it is at hand and grades the codes of the document's code list.
    pub grader: Option<Grader<'d>>,
    /// The document's grade scheme, where it is at hand, whatever codes it grades.
    pub scheme: Option<&'d GradeScheme>,
    /// The document's reference system, where it is known and can be computed with.
    pub crs: Option<Crs>,
    /// Why the reference system cannot be computed with, where it is stated but cannot.
    pub crs_error: Option<String>,
    pub(crate) codes: FxHashMap<&'d str, &'d Code>,
    parties: Rows<'d>,
    equipment: Rows<'d>,
    structures: Rows<'d>,
    pipes: Rows<'d>,
    media: Rows<'d>,
    measure: OnceLock<Measure>,
    sizes: OnceLock<Sizes>,
}

fn rows<'d>(ids: impl Iterator<Item = &'d str>) -> Rows<'d> {
    ids.enumerate().map(|(index, id)| (id, index)).collect()
}

impl<'d> Survey<'d> {
    pub(crate) fn new(
        head: &'d Head,
        today: Option<&'d Date>,
        list: Option<&'d CodeList>,
        scheme: Option<&'d GradeScheme>,
    ) -> Self {
        let (crs, crs_error) = match head.crs.as_ref().map(|crs| Crs::parse(crs.as_str())) {
            None => (None, None),
            Some(Ok(crs)) => (Some(crs), None),
            Some(Err(error)) => (None, Some(error.to_string())),
        };
        Self {
            head,
            today,
            list,
            grader: list
                .zip(scheme)
                .filter(|(list, scheme)| scheme.code_list.list == list.id)
                .map(|(_, scheme)| Grader::new(scheme)),
            scheme,
            crs,
            crs_error,
            codes: list.map(CodeList::by_code).unwrap_or_default(),
            parties: rows(head.parties.iter().map(|row| row.id.as_str())),
            equipment: rows(head.equipment.iter().map(|row| row.id.as_str())),
            structures: rows(head.structures.iter().map(|row| row.id.as_str())),
            pipes: rows(head.pipes.iter().map(|row| row.id.as_str())),
            media: rows(head.media.iter().map(|row| row.id.as_str())),
            measure: OnceLock::new(),
            sizes: OnceLock::new(),
        }
    }

    /// The code of a name, in the document's code list.
    #[must_use]
    pub fn code(&self, code: &str) -> Option<&'d Code> {
        self.codes.get(code).copied()
    }

    /// The party of an id.
    #[must_use]
    pub fn party(&self, id: &str) -> Option<&'d Party> {
        self.parties.get(id).map(|index| &self.head.parties[*index])
    }

    /// The equipment of an id.
    #[must_use]
    pub fn equipment(&self, id: &str) -> Option<&'d Equipment> {
        self.equipment.get(id).map(|index| &self.head.equipment[*index])
    }

    /// The row of a piece of equipment in its table.
    #[must_use]
    pub fn equipment_index(&self, id: &str) -> Option<usize> {
        self.equipment.get(id).copied()
    }

    /// The structure of an id.
    #[must_use]
    pub fn structure(&self, id: &str) -> Option<&'d Structure> {
        self.structures.get(id).map(|index| &self.head.structures[*index])
    }

    /// The pipe of an id.
    #[must_use]
    pub fn pipe(&self, id: &str) -> Option<&'d Pipe> {
        self.pipes.get(id).map(|index| &self.head.pipes[*index])
    }

    /// The row of a pipe in its table.
    #[must_use]
    pub fn pipe_index(&self, id: &str) -> Option<usize> {
        self.pipes.get(id).copied()
    }

    /// The media file of an id.
    #[must_use]
    pub fn media(&self, id: &str) -> Option<&'d Media> {
        self.media.get(id).map(|index| &self.head.media[*index])
    }

    /// The row of a media file in its table.
    #[must_use]
    pub fn media_index(&self, id: &str) -> Option<usize> {
        self.media.get(id).copied()
    }

    /// The geometry of its pipes, measured when a rule first asks.
    pub(crate) fn measure(&self) -> &Measure {
        self.measure.get_or_init(|| Measure::new(self))
    }

    /// What the heights of its pipes say about its section unit, looked at when a rule first asks.
    pub(crate) fn sizes(&self) -> Sizes {
        *self.sizes.get_or_init(|| Sizes::new(self))
    }

    /// A length in metres.
    #[must_use]
    pub fn metres(&self, length: Length) -> f64 {
        length.get() * self.head.units.length.metres()
    }

    /// A dimension of a cross-section in millimetres.
    #[must_use]
    pub fn millimetres(&self, section: Section) -> f64 {
        section.get() * self.head.units.section.millimetres()
    }

    /// Metres in the document's length unit, rounded for reading.
    #[must_use]
    pub fn in_units(&self, metres: f64) -> f64 {
        let value = metres / self.head.units.length.metres();
        (value * 1000.0).round() / 1000.0
    }

    /// Metres as a text in the document's length unit, for example `12.4 ft`.
    #[must_use]
    pub fn say_metres(&self, metres: f64) -> String {
        let value = metres / self.head.units.length.metres();
        format!("{} {}", (value * 100.0).round() / 100.0, self.head.units.length)
    }

    /// A length as a text with its unit, for example `12.4 ft`.
    #[must_use]
    pub fn say(&self, length: Length) -> String {
        format!("{length} {}", self.head.units.length)
    }

    /// A dimension of a cross-section as a text with its unit, for example `8 in`.
    #[must_use]
    pub fn say_section(&self, section: Section) -> String {
        format!("{section} {}", self.head.units.section)
    }

    /// The views of all pipes.
    pub fn pipes(&self) -> impl Iterator<Item = PipeView<'_>> {
        self.head.pipes.iter().enumerate().map(|(index, pipe)| PipeView { survey: self, pipe, index })
    }

    /// The views of all structures.
    pub fn structures(&self) -> impl Iterator<Item = StructureView<'_>> {
        self.head.structures.iter().enumerate().map(|(index, structure)| StructureView {
            survey: self,
            structure,
            index,
        })
    }

    /// The views of all media.
    pub fn all_media(&self) -> impl Iterator<Item = MediaView<'_>> {
        self.head.media.iter().enumerate().map(|(index, media)| MediaView { survey: self, media, index })
    }
}

/// How far a counted distance may be off before it is an error, in metres: the greater of half a per cent and one foot.
/// Source: City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer Systems.
#[must_use]
pub(crate) fn tolerance(metres: f64) -> f64 {
    (metres.abs() * 0.005).max(0.3048)
}

/// A structure.
#[derive(Clone, Copy, Debug)]
pub struct StructureView<'d> {
    /// The survey.
    pub survey: &'d Survey<'d>,
    /// The structure.
    pub structure: &'d Structure,
    /// Its row.
    pub index: usize,
}

impl StructureView<'_> {
    /// A place in it; `field` is empty or a pointer such as `/depth`.
    #[must_use]
    pub fn spot(&self, field: &str) -> Spot {
        Spot::at(format!("/structures/{}{field}", self.index))
    }
}

/// A pipe.
#[derive(Clone, Copy, Debug)]
pub struct PipeView<'d> {
    /// The survey.
    pub survey: &'d Survey<'d>,
    /// The pipe.
    pub pipe: &'d Pipe,
    /// Its row.
    pub index: usize,
}

impl<'d> PipeView<'d> {
    /// A place in it; `field` is empty or a pointer such as `/length`.
    #[must_use]
    pub fn spot(&self, field: &str) -> Spot {
        Spot { path: format!("/pipes/{}{field}", self.index), pipe: Some(self.pipe.id.to_string()), ..Spot::default() }
    }

    /// The structure at its upper end.
    #[must_use]
    pub fn upstream(&self) -> Option<&'d Structure> {
        self.survey.structure(&self.pipe.upstream)
    }

    /// The structure at its lower end.
    #[must_use]
    pub fn downstream(&self) -> Option<&'d Structure> {
        self.survey.structure(self.pipe.downstream.as_ref()?)
    }

    /// Its length in metres.
    #[must_use]
    pub fn metres(&self) -> Option<f64> {
        self.pipe.length.map(|length| self.survey.metres(length))
    }

    /// The elevations of its upper and lower invert in the document's length unit: its own, or those of its structures.
    #[must_use]
    pub fn inverts(&self) -> Option<(f64, f64)> {
        let own = self.pipe.inverts.as_ref();
        let upper = own.and_then(|ends| ends.upstream).or_else(|| self.upstream()?.invert)?;
        let lower = own.and_then(|ends| ends.downstream).or_else(|| self.downstream()?.invert)?;
        Some((upper.get(), lower.get()))
    }

    /// Its course in the document's reference system: its path, or the straight line between its structures.
    #[must_use]
    pub fn course(&self) -> Option<Vec<[f64; 2]>> {
        if self.pipe.path.len() >= 2 {
            return Some(self.pipe.path.iter().map(|p| [p.x, p.y]).collect());
        }
        let ends = [self.upstream()?.position?, self.downstream()?.position?];
        Some(ends.iter().map(|p| [p.x, p.y]).collect())
    }
}

/// A media file.
#[derive(Clone, Copy, Debug)]
pub struct MediaView<'d> {
    /// The survey.
    pub survey: &'d Survey<'d>,
    /// The file.
    pub media: &'d Media,
    /// Its row.
    pub index: usize,
}

impl MediaView<'_> {
    /// A place in it; `field` is empty or a pointer such as `/file`.
    #[must_use]
    pub fn spot(&self, field: &str) -> Spot {
        Spot {
            path: format!("/media/{}{field}", self.index),
            run: self.media.run.as_ref().map(ToString::to_string),
            ..Spot::default()
        }
    }
}

/// The distances at which the rows of a run say that it starts and ends.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Marks {
    /// Of the first row, where it (or another one at its distance) is a start row.
    pub start: Option<Length>,
    /// Of the last row, where it (or another one at its distance) says that the run finishes or is given up.
    pub finish: Option<Length>,
}

/// A run with its observations.
#[derive(Debug)]
pub struct RunView<'r> {
    /// The survey.
    pub survey: &'r Survey<'r>,
    /// The run.
    pub run: &'r Run,
    /// Its row.
    pub index: usize,
    /// Its pipe, where the document has it.
    pub pipe: Option<PipeView<'r>>,
    /// The code of every observation, where the code list has it.
    pub codes: &'r [Option<&'r Code>],
    /// The rows that say that the material, size or shape changes, by their place in the run.
    pub changes: &'r [usize],
}

impl<'r> RunView<'r> {
    /// A place in it; `field` is empty or a pointer such as `/surveyed`.
    #[must_use]
    pub fn spot(&self, field: &str) -> Spot {
        Spot {
            path: format!("/runs/{}{field}", self.index),
            pipe: Some(self.run.pipe.to_string()),
            run: Some(self.run.id.to_string()),
            ..Spot::default()
        }
    }

    /// Its observations.
    pub fn rows(&self) -> impl DoubleEndedIterator<Item = RowView<'_>> + ExactSizeIterator + Clone {
        (0..self.run.observations.len()).map(|index| self.row(index))
    }

    /// One of its observations.
    pub(crate) fn row(&self, index: usize) -> RowView<'_> {
        RowView { run: self, row: &self.run.observations[index], index, code: self.codes[index] }
    }

    /// What the counter showed at its zero point, in the document's length unit; 0 where nothing is said.
    #[must_use]
    pub fn reads(&self) -> f64 {
        self.run.counter.as_ref().and_then(|counter| counter.reads).map_or(0.0, Length::get)
    }

    /// The distance from the zero point to the last reading, in metres.
    #[must_use]
    pub fn travelled(&self) -> Option<f64> {
        Some((self.run.surveyed?.get() - self.reads()) * self.survey.head.units.length.metres())
    }

    /// Where its rows say that it starts and ends.
    #[must_use]
    pub fn marks(&self) -> Marks {
        Marks { start: self.start_row().map(|row| row.row.at), finish: self.closing_row().map(|row| row.row.at) }
    }

    /// The start row, where the run begins with one. Rows at one distance have no order.
    #[must_use]
    pub fn start_row(&self) -> Option<RowView<'_>> {
        let first = self.run.observations.first()?.at;
        self.rows().take_while(|row| row.row.at == first).find(|row| row.role() == Some(Role::Start))
    }

    /// The row that says that the run finishes or is given up, where the run ends with one.
    #[must_use]
    pub fn closing_row(&self) -> Option<RowView<'_>> {
        let last = self.run.observations.last()?.at;
        let closes = |row: &RowView<'_>| matches!(row.role(), Some(Role::Finish | Role::Stopped));
        self.rows().rev().take_while(|row| row.row.at == last).find(closes)
    }

    /// The role of its first, or of its last observation.
    #[must_use]
    pub fn role_at(&self, row: Option<RowView<'_>>) -> Option<Role> {
        row.and_then(|row| self.codes[row.index]).and_then(|code| code.role)
    }
}

/// An observation.
#[derive(Clone, Copy, Debug)]
pub struct RowView<'r> {
    /// Its run.
    pub run: &'r RunView<'r>,
    /// The observation.
    pub row: &'r Observation,
    /// Its row.
    pub index: usize,
    /// Its code, where the code list has it.
    pub code: Option<&'r Code>,
}

impl<'r> RowView<'r> {
    /// The survey.
    #[must_use]
    pub fn survey(&self) -> &'r Survey<'r> {
        self.run.survey
    }

    /// A place in it; `field` is empty or a pointer such as `/clock/at`.
    #[must_use]
    pub fn spot(&self, field: &str) -> Spot {
        Spot {
            path: format!("/runs/{}/observations/{}{field}", self.run.index, self.index),
            pipe: Some(self.run.run.pipe.to_string()),
            run: Some(self.run.run.id.to_string()),
            observation: Some(self.row.id.to_string()),
            distance: Some(self.row.at.get()),
        }
    }

    /// The role of its code.
    #[must_use]
    pub fn role(&self) -> Option<Role> {
        self.code.and_then(|code| code.role)
    }

    /// The cross-section where it stands.
    #[must_use]
    pub fn bore(&self) -> Bore {
        Bore::at(self)
    }

    /// What the grade scheme makes of it, in an aspect.
    #[must_use]
    pub fn graded(&self, aspect: Aspect) -> Option<Grade> {
        self.judged(aspect)?.grade
    }

    /// What the grade scheme makes of it, in an aspect, and why.
    #[must_use]
    pub fn judged(&self, aspect: Aspect) -> Option<Judgement<'r>> {
        let (grader, code) = (self.survey().grader.as_ref()?, self.code?);
        grader.knows(&code.code).then(|| grader.judge(code, self.row, &self.bore(), aspect))
    }

    /// One of its amounts in the code list's unit; `None` where it is not recorded or measures something else.
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

/// What is kept of a run once it has been read.
#[derive(Clone, Debug)]
pub struct RunSummary {
    /// Its row.
    pub index: usize,
    /// The run without its observations.
    pub run: Run,
    /// How many observations it had.
    pub observations: usize,
    /// How many of them had a grade recorded.
    pub graded: usize,
    /// The distance from its zero point to its last reading, in metres.
    pub travelled: Option<f64>,
    /// Where its rows said that it starts and ends.
    pub marks: Marks,
    /// Its structural grades, rolled up.
    pub structural: Tally,
    /// Its operational grades, rolled up.
    pub operational: Tally,
}

impl RunSummary {
    /// A place in it; `field` is empty or a pointer such as `/reverse_of`.
    #[must_use]
    pub fn spot(&self, field: &str) -> Spot {
        Spot {
            path: format!("/runs/{}{field}", self.index),
            pipe: Some(self.run.pipe.to_string()),
            run: Some(self.run.id.to_string()),
            ..Spot::default()
        }
    }

    /// Its grades in an aspect, rolled up.
    #[must_use]
    pub fn tally(&self, aspect: Aspect) -> &Tally {
        match aspect {
            Aspect::Structural => &self.structural,
            Aspect::Operational => &self.operational,
        }
    }

    /// How it ended.
    #[must_use]
    pub fn outcome(&self) -> Option<OutcomeKind> {
        self.run.outcome.as_ref().map(|outcome| outcome.kind)
    }

    /// When it began.
    #[must_use]
    pub fn started(&self) -> Option<&Timestamp> {
        self.run.started.as_ref()
    }

    /// Where it began and where it went, as stated or as its direction says.
    #[must_use]
    pub fn ends(&self) -> (Option<&StructureId>, Option<&StructureId>) {
        (self.run.from.as_ref(), self.run.to.as_ref())
    }
}

/// The whole survey, after all runs have been read.
#[derive(Debug)]
pub struct Ending<'d> {
    /// The survey.
    pub survey: &'d Survey<'d>,
    /// Its runs, in the order of the document.
    pub runs: &'d [RunSummary],
    /// For every media file, whether an observation names it.
    pub media_used: &'d [bool],
    pub(crate) by_id: FxHashMap<&'d str, usize>,
    pub(crate) by_pipe: FxHashMap<&'d str, Vec<usize>>,
}

impl<'d> Ending<'d> {
    /// The run of an id.
    #[must_use]
    pub fn run(&self, id: &RunId) -> Option<&'d RunSummary> {
        self.by_id.get(id.as_str()).map(|index| &self.runs[*index])
    }

    /// The runs through a pipe.
    pub fn runs_of(&self, pipe: &str) -> impl Iterator<Item = &'d RunSummary> + use<'d, '_> {
        self.by_pipe.get(pipe).into_iter().flatten().map(|index| &self.runs[*index])
    }

    /// The views of all locates.
    pub fn locates(&self) -> impl Iterator<Item = LocateView<'_>> {
        self.survey.head.locates.iter().enumerate().map(move |(index, locate)| LocateView {
            ending: self,
            locate,
            index,
        })
    }
}

/// A part of a document: the head comes first, then every run with its observations.
#[derive(Clone, Copy, Debug)]
pub enum Part<'r> {
    /// The head and its tables.
    Head(&'r Survey<'r>),
    /// A run.
    Run(&'r RunView<'r>),
}

/// A locate, after all runs have been read.
#[derive(Clone, Copy, Debug)]
pub struct LocateView<'d> {
    /// The whole survey.
    pub ending: &'d Ending<'d>,
    /// The locate.
    pub locate: &'d Locate,
    /// Its row.
    pub index: usize,
}

impl LocateView<'_> {
    /// A place in it; `field` is empty or a pointer such as `/depth`.
    #[must_use]
    pub fn spot(&self, field: &str) -> Spot {
        Spot {
            path: format!("/locates/{}{field}", self.index),
            pipe: self.ending.run(&self.locate.run).map(|summary| summary.run.pipe.to_string()),
            run: Some(self.locate.run.to_string()),
            distance: Some(self.locate.at.get()),
            ..Spot::default()
        }
    }
}

/// A rating, after all runs have been read.
#[derive(Clone, Copy, Debug)]
pub struct RatingView<'d> {
    /// The whole survey.
    pub ending: &'d Ending<'d>,
    /// The rating.
    pub rating: &'d Rating,
    /// Its row.
    pub index: usize,
}

impl RatingView<'_> {
    /// A place in it; `field` is empty or a pointer such as `/peak`.
    #[must_use]
    pub fn spot(&self, field: &str) -> Spot {
        Self::place(self.index, self.rating, field)
    }

    /// A place in a rating of which no view is at hand, as before the runs have been read.
    pub(crate) fn place(index: usize, rating: &Rating, field: &str) -> Spot {
        Spot { path: format!("/ratings/{index}{field}"), pipe: Some(rating.pipe.to_string()), ..Spot::default() }
    }
}
