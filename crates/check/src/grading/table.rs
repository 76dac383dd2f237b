//! The grades of a survey by pipe, with the reason for each, so that an owner can sort a network by
//! them.

use std::collections::BTreeMap;

use obvert_model::lists::{GradeScheme, Peak, Span};
use obvert_model::read::{ReadError, Reader, RunReader};
use obvert_model::tables::{Aspect, Document, Head};
use rustc_hash::FxHashMap;
use schemars::JsonSchema;
use serde::Serialize;

use super::pipe_totals::PipeTotals;
use crate::checker::Checker;
use crate::pipeline::{Borrowed, Pulled, RunSource};
use crate::views::{Facts, Survey};

/// The grades of a survey, pipe by pipe.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[non_exhaustive]
pub struct GradeTable {
    /// The version of the table's format.
    pub grades: String,
    /// The survey's id.
    pub document: String,
    /// The unit of every length in the table, unless another one is given.
    pub length_unit: String,
    /// The scheme of the grades.
    pub scheme: SchemeInfo,
    /// Whether only computed grades were counted. Otherwise recorded grades count, and computed
    /// ones if none is recorded, as in ratings.
    pub computed_only: bool,
    /// The pipes in the order of the document, then pipes that only runs name.
    pub pipes: Vec<PipeGrades>,
    /// The observations without a grade in any aspect, by reason.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub ungraded: Vec<Ungraded>,
}

/// Observations without a grade.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[non_exhaustive]
pub struct Ungraded {
    /// Why they have none.
    pub why: Why,
    /// How many there are.
    pub count: usize,
    /// Their codes, each once and in order.
    pub codes: Vec<String>,
}

/// Why an observation has no grade.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Why {
    /// The code list does not have the code.
    CodeUnknown,
    /// The scheme grades another code list, and the code has no exact link to it.
    NoExactLink,
    /// The scheme does not grade the code.
    NotGraded,
    /// The scheme grades the code, but no entry applies: a material, size or amount is unknown or
    /// outside all ranges.
    NoEntryFits,
}

/// The scheme, and how it counts. A scale may rise or fall, so both ends are given.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[non_exhaustive]
pub struct SchemeInfo {
    /// Its id.
    pub id: String,
    /// Its version.
    pub version: String,
    /// The grade of the best condition.
    pub best: u8,
    /// The grade of the worst condition.
    pub worst: u8,
    /// The interval: a stretch counts once for each one begun.
    pub interval: String,
    /// The length that `per_length` refers to.
    pub per_length: String,
    /// How the peak is computed.
    pub peak: String,
}

/// The grades of one pipe.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[non_exhaustive]
pub struct PipeGrades {
    /// The pipe.
    pub pipe: String,
    /// Its length on record.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub length: Option<f64>,
    /// The runs through it.
    pub runs: Vec<String>,
    /// The surveyed length of all of them; absent if one does not record it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub surveyed: Option<f64>,
    /// Its grades by aspect.
    pub aspects: Vec<AspectGrades>,
}

/// The totals of one pipe in one aspect.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[non_exhaustive]
pub struct AspectGrades {
    /// The aspect.
    pub aspect: String,
    /// The peak by the scheme; absent if nothing was counted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub peak: Option<f64>,
    /// The sum of the grades.
    pub total: f64,
    /// The sum divided by the count.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mean: Option<f64>,
    /// How many were counted.
    pub count: u64,
    /// The sum for each of the scheme's lengths.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub per_length: Option<f64>,
    /// How many grades could not be counted: off the scale, or over a stretch whose end is unknown.
    pub doubtful: usize,
    /// The graded observations, the worst first, then by run and distance. Those that are
    /// `counted_as` another one do not count.
    pub observations: Vec<GradedRow>,
}

/// The grade of one observation, with the reason.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[non_exhaustive]
pub struct GradedRow {
    /// Its run.
    pub run: String,
    /// Its id in the run.
    pub observation: String,
    /// Its distance.
    pub at: f64,
    /// The end of the stretch.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<f64>,
    /// Its code.
    pub code: String,
    /// The grade that was counted.
    pub grade: u8,
    /// Whether it was recorded.
    pub recorded: bool,
    /// The grade by the scheme.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub computed: Option<u8>,
    /// The code in the scheme's list, if the document is coded in another one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub via: Option<String>,
    /// The row of another run that records the same defect, and counts in place of this one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub counted_as: Option<SameRow>,
    /// The reason for the computed grade.
    pub because: String,
    /// What people who work here must know to stay safe.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub caution: Option<String>,
}

/// A row of another run of the pipe.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[non_exhaustive]
pub struct SameRow {
    /// Its run.
    pub run: String,
    /// Its id in the run.
    pub observation: String,
}

/// Why there is no table of grades.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum GradeError {
    /// The source cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The document names no scheme.
    #[error("the document names no grade scheme under grading, and none was given")]
    NoScheme,
    /// The scheme is not available.
    #[error("the grade scheme {id} {version} is not available; add it to the settings")]
    UnknownScheme {
        /// The scheme's id.
        id: String,
        /// Its version.
        version: String,
    },
    /// The code list is not available, or not the one that the scheme grades.
    #[error(
        "the grade scheme {scheme} grades codes of {graded}, but the document is coded in {coded}"
    )]
    OtherCodes {
        /// The scheme.
        scheme: String,
        /// The list that it grades.
        graded: String,
        /// The document's list.
        coded: String,
    },
}

/// The settings of [`Checker::grades`].
#[derive(Clone, Copy, Debug, Default)]
#[non_exhaustive]
pub struct GradeSettings<'s> {
    /// A scheme to use instead of the document's. Grades that were recorded by another scheme are
    /// then ignored.
    pub scheme: Option<&'s GradeScheme>,
    /// Whether recorded grades are ignored, so that every grade is computed.
    pub computed_only: bool,
}

impl<'s> GradeSettings<'s> {
    /// Sets a scheme to use instead of the document's.
    #[must_use]
    pub fn with_scheme(self, scheme: impl Into<Option<&'s GradeScheme>>) -> Self {
        Self { scheme: scheme.into(), ..self }
    }

    /// Sets whether recorded grades are ignored.
    #[must_use]
    pub fn with_computed_only(self, computed_only: bool) -> Self {
        Self { computed_only, ..self }
    }
}

impl Checker {
    /// Grades a JSON document.
    ///
    /// # Errors
    /// If the source cannot be read, or there is no scheme to use.
    ///
    /// ```
    /// use obvert_check::grading::GradeSettings;
    /// use obvert_check::{Checker, MINIMAL, Settings};
    ///
    /// let table = Checker::new(Settings::default())?.grades(MINIMAL.as_bytes(), GradeSettings::default())?;
    /// let structural = &table.pipes[0].aspects[0];
    /// assert_eq!((structural.peak, structural.total, structural.count), (Some(2.0), 22.0, 11));
    /// assert_eq!(structural.observations[0].code, "crack.longitudinal");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn grades(&self, source: &[u8], by: GradeSettings<'_>) -> Result<GradeTable, GradeError> {
        let mut reader = Reader::new(source).map_err(|error| error.with_all_problems(source))?;
        let head = reader.share_head();
        let mut runs = Pulled::new(&mut reader, |_| false);
        let table = self.table(&head, &mut runs, by);
        // An invalid run makes the whole document invalid, even after an error of grading.
        while runs.next_run().is_some() {}
        match runs.into_error() {
            Some(error) => Err(error.with_all_problems(source).into()),
            None => table,
        }
    }

    /// Grades a document that is in memory.
    ///
    /// # Errors
    /// If there is no scheme to use.
    pub fn grades_of(
        &self,
        document: &Document,
        by: GradeSettings<'_>,
    ) -> Result<GradeTable, GradeError> {
        self.table(&document.head, &mut Borrowed(document.runs.iter()), by)
    }

    fn table(
        &self,
        head: &Head,
        runs: &mut dyn RunSource,
        by: GradeSettings<'_>,
    ) -> Result<GradeTable, GradeError> {
        let named = |scheme: &GradeScheme| {
            head.grading
                .as_ref()
                .is_some_and(|named| named.scheme == scheme.id && named.version == scheme.version)
        };
        let computed_only = by.computed_only || by.scheme.is_some_and(|scheme| !named(scheme));
        let scheme =
            by.scheme.or_else(|| self.scheme_for(head)).ok_or_else(|| match &head.grading {
                None => GradeError::NoScheme,
                Some(grading) => GradeError::UnknownScheme {
                    id: grading.scheme.to_string(),
                    version: grading.version.to_string(),
                },
            })?;
        let survey = Survey::new(
            head,
            None,
            self.list_for(head),
            Some(scheme),
            None,
            self.list_graded(scheme),
        );
        let Some(grader) = &survey.grader else {
            return Err(GradeError::OtherCodes {
                scheme: scheme.id.to_string(),
                graded: scheme.code_list.list.to_string(),
                coded: head.coding.list.to_string(),
            });
        };
        let mut pipes: Vec<PipeTotals> =
            head.pipes.iter().map(|pipe| PipeTotals::new(&pipe.id)).collect();
        let mut unknown_pipes: FxHashMap<String, usize> = FxHashMap::default();
        let mut ungraded = BTreeMap::new();
        let mut facts = Facts::default();
        let mut index = 0;
        while let Some(run) = runs.next_run() {
            facts.gather(&survey, &run, index);
            let view = facts.view(&survey, &run, index);
            let pipe = survey.pipe_index(&run.pipe).unwrap_or_else(|| {
                *unknown_pipes.entry(run.pipe.to_string()).or_insert_with(|| {
                    pipes.push(PipeTotals::new(&run.pipe));
                    pipes.len() - 1
                })
            });
            pipes[pipe].add(&view, grader, computed_only, &mut ungraded);
            index += 1;
        }
        let finish = |(index, totals): (usize, PipeTotals)| {
            totals.finish(&survey, scheme, head.pipes.get(index))
        };
        Ok(GradeTable {
            grades: "0.1".into(),
            document: head.id.to_string(),
            length_unit: head.units.length.to_string(),
            scheme: SchemeInfo::of(scheme),
            computed_only,
            pipes: pipes.into_iter().enumerate().map(finish).collect(),
            ungraded: ungraded.into_iter().map(|(why, rows)| rows.finish(why)).collect(),
        })
    }
}

impl SchemeInfo {
    fn of(scheme: &GradeScheme) -> Self {
        let text = |span: &Span| format!("{} {}", span.value, span.unit);
        let peak = match &scheme.rollup.peak {
            Some(Peak { method, length: Some(length), .. }) => {
                format!("{method} of {}", text(length))
            }
            _ => "worst-grade".to_owned(),
        };
        Self {
            id: scheme.id.to_string(),
            version: scheme.version.to_string(),
            best: scheme.scale.best.get(),
            worst: scheme.scale.worst.get(),
            interval: text(&scheme.rollup.interval),
            per_length: text(&scheme.rollup.per_length),
            peak,
        }
    }
}

impl GradeTable {
    /// The schema of the table.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        let example =
            crate::report::example::grades().and_then(|table| serde_json::to_value(table).ok());
        obvert_model::schema::of::<Self>(
            "grades",
            "Grades of a survey, pipe by pipe",
            example.into_iter().collect(),
        )
    }

    /// The pipes with the worst one in an aspect first: by peak, then by total. Pipes without grades
    /// come last.
    #[must_use]
    pub fn worst_first(&self, aspect: Aspect) -> Vec<&PipeGrades> {
        let rising = self.scheme.worst >= self.scheme.best;
        let of = |pipe: &PipeGrades| {
            let found = pipe.aspects.iter().find(|found| found.aspect == aspect.as_str());
            (found.and_then(|found| found.peak), found.map_or(0.0, |found| found.total))
        };
        let mut pipes: Vec<&PipeGrades> = self.pipes.iter().collect();
        pipes.sort_by(|a, b| {
            let ((peak_a, total_a), (peak_b, total_b)) = (of(a), of(b));
            let peaks = match (peak_a, peak_b) {
                (Some(a), Some(b)) if rising => b.total_cmp(&a),
                (Some(a), Some(b)) => a.total_cmp(&b),
                (a, b) => b.is_some().cmp(&a.is_some()),
            };
            peaks.then(total_b.total_cmp(&total_a))
        });
        pipes
    }
}
