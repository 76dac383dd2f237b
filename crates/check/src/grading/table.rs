//! The grades of a survey by pipe, with what each grade rests on, so that an owner can sort a
//! network by them.

use std::collections::{BTreeMap, BTreeSet};

use obvert_model::lists::{GradeScheme, Peak, Span};
use obvert_model::read::{ReadError, Reader, RunReader};
use obvert_model::tables::{Aspect, Document, Head};
use rustc_hash::FxHashMap;
use schemars::JsonSchema;
use serde::Serialize;

use crate::checker::Checker;
use crate::grading::GradeTotals;
use crate::grading::{Grader, tidy};
use crate::pipeline::{Borrowed, Pulled, RunSource};
use crate::views::{Facts, RowView, RunView, Survey};

/// The grades of a survey, pipe by pipe.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct GradeTable {
    /// The version of the table's form.
    pub grades: String,
    /// The survey's id.
    pub document: String,
    /// The unit of every length in the table, unless another one is given.
    pub length_unit: String,
    /// The scheme of the grades.
    pub scheme: Scheme,
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
    /// The scheme grades another code list, and no exact link leads from the code to it.
    NoExactLink,
    /// The scheme does not grade the code.
    NotGraded,
    /// The scheme grades the code, but no entry fits: a material, size or amount is unknown or in
    /// none of its ranges.
    NoEntryFits,
}

/// A scheme and how it counts. Scales may rise or fall, so both ends are given.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Scheme {
    /// Its id.
    pub id: String,
    /// Its version.
    pub version: String,
    /// The grade of the least harm.
    pub best: u8,
    /// The grade of the greatest harm.
    pub worst: u8,
    /// The interval at which a stretch counts again.
    pub interval: String,
    /// The length of `per_length`.
    pub per_length: String,
    /// What the peak is.
    pub peak: String,
}

/// The grades of one pipe.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
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
    /// The graded observations, the worst first, then by run and distance.
    pub observations: Vec<GradedRow>,
}

/// One observation's grade, and what it rests on.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
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
    /// What the computed grade rests on.
    pub because: String,
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

/// How a survey is graded.
#[derive(Clone, Copy, Debug, Default)]
pub struct GradeBy<'s> {
    /// A scheme to use instead of the document's. Grades recorded by another scheme are left out
    /// then.
    pub scheme: Option<&'s GradeScheme>,
    /// Whether recorded grades are left out, so that every grade is computed.
    pub computed_only: bool,
}

impl Checker {
    /// The grades of a document in a file.
    ///
    /// # Errors
    /// If the source cannot be read, or there is no scheme to use.
    ///
    /// ```
    /// use obvert_check::grading::GradeBy;
    /// use obvert_check::{Checker, MINIMAL, Settings};
    ///
    /// let table = Checker::new(Settings::default())?.grades(MINIMAL.as_bytes(), GradeBy::default())?;
    /// let structural = &table.pipes[0].aspects[0];
    /// assert_eq!((structural.peak, structural.total, structural.count), (Some(2.0), 22.0, 11));
    /// assert_eq!(structural.observations[0].code, "crack.longitudinal");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn grades(&self, source: &[u8], by: GradeBy<'_>) -> Result<GradeTable, GradeError> {
        let mut reader = Reader::new(source).map_err(|error| error.with_all_problems(source))?;
        let head = reader.share_head();
        let mut runs = Pulled::new(&mut reader);
        let table = self.table(&head, &mut runs, by);
        // A document is valid as a whole or not at all, whatever was asked of it.
        while runs.next_run().is_some() {}
        match runs.into_error() {
            Some(error) => Err(error.with_all_problems(source).into()),
            None => table,
        }
    }

    /// The grades of a document that is in memory.
    ///
    /// # Errors
    /// If there is no scheme to use.
    pub fn grades_of(
        &self,
        document: &Document,
        by: GradeBy<'_>,
    ) -> Result<GradeTable, GradeError> {
        self.table(&document.head, &mut Borrowed(document.runs.iter()), by)
    }

    fn table(
        &self,
        head: &Head,
        runs: &mut dyn RunSource,
        by: GradeBy<'_>,
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
        let mut pipes: Vec<Pile> = head.pipes.iter().map(|pipe| Pile::new(&pipe.id)).collect();
        let mut only_named: FxHashMap<String, usize> = FxHashMap::default();
        let mut ungraded = BTreeMap::new();
        let mut facts = Facts::default();
        let mut index = 0;
        while let Some(run) = runs.next_run() {
            facts.gather(&survey, &run, index);
            let view = facts.view(&survey, &run, index);
            let pile = survey.pipe_index(&run.pipe).unwrap_or_else(|| {
                *only_named.entry(run.pipe.to_string()).or_insert_with(|| {
                    pipes.push(Pile::new(&run.pipe));
                    pipes.len() - 1
                })
            });
            pipes[pile].add(&view, grader, computed_only, &mut ungraded);
            index += 1;
        }
        let of = |(index, pile): (usize, Pile)| pile.close(&survey, scheme, head.pipes.get(index));
        Ok(GradeTable {
            grades: "0.1".into(),
            document: head.id.to_string(),
            length_unit: head.units.length.to_string(),
            scheme: Scheme::of(scheme),
            computed_only,
            pipes: pipes.into_iter().enumerate().map(of).collect(),
            ungraded: ungraded.into_iter().map(|(why, of)| of.close(why)).collect(),
        })
    }
}

impl Scheme {
    fn of(scheme: &GradeScheme) -> Self {
        let say = |span: &Span| format!("{} {}", span.value, span.unit);
        let peak = match &scheme.rollup.peak {
            Some(Peak { method, length: Some(length), .. }) => {
                format!("{method} of {}", say(length))
            }
            _ => "worst-grade".to_owned(),
        };
        Self {
            id: scheme.id.to_string(),
            version: scheme.version.to_string(),
            best: scheme.scale.best.get(),
            worst: scheme.scale.worst.get(),
            interval: say(&scheme.rollup.interval),
            per_length: say(&scheme.rollup.per_length),
            peak,
        }
    }
}

/// What is collected for one pipe.
struct Pile {
    pipe: String,
    runs: Vec<String>,
    metres: Option<f64>,
    tallies: [GradeTotals; 2],
    rows: [Vec<GradedRow>; 2],
}

impl Pile {
    fn new(pipe: &str) -> Self {
        Self {
            pipe: pipe.to_owned(),
            runs: Vec::new(),
            metres: Some(0.0),
            tallies: Default::default(),
            rows: Default::default(),
        }
    }

    fn add(
        &mut self,
        view: &RunView<'_>,
        grader: &Grader<'_>,
        computed_only: bool,
        ungraded: &mut BTreeMap<Why, Without>,
    ) {
        self.runs.push(view.run.id.to_string());
        self.metres = self.metres.zip(view.travelled()).map(|(sum, run)| sum + run);
        for row in view.rows() {
            let mut none = true;
            for aspect in [Aspect::Structural, Aspect::Operational] {
                let Some(graded) = graded(&row, aspect, computed_only) else { continue };
                none = false;
                let place = aspect as usize;
                self.tallies[place].add(graded.0, row.grade_extent(), grader.scheme);
                self.rows[place].push(graded.1);
            }
            if none {
                ungraded.entry(why(&row)).or_default().add(&row);
            }
        }
        self.tallies.iter_mut().for_each(|tally| tally.end_run(grader.scheme));
    }

    fn close(
        self,
        survey: &Survey<'_>,
        scheme: &GradeScheme,
        pipe: Option<&obvert_model::tables::Pipe>,
    ) -> PipeGrades {
        let metres = self.metres.filter(|_| !self.runs.is_empty());
        let rising = scheme.scale.worst >= scheme.scale.best;
        let aspects =
            [Aspect::Structural, Aspect::Operational].into_iter().zip(self.tallies).zip(self.rows);
        let aspects = aspects
            .filter(|((aspect, _), rows)| scheme.aspects.contains(aspect) || !rows.is_empty());
        let aspects = aspects.map(|((aspect, tally), mut rows)| {
            rows.sort_by_key(|row| if rising { u8::MAX - row.grade } else { row.grade });
            AspectGrades {
                aspect: aspect.to_string(),
                peak: tally.peak(scheme),
                total: tidy(tally.total),
                mean: tally.mean().map(tidy),
                count: tally.count,
                per_length: metres.and_then(|metres| tally.per_length(metres, scheme)).map(tidy),
                doubtful: tally.doubtful,
                observations: rows,
            }
        });
        PipeGrades {
            length: pipe.and_then(|pipe| pipe.length).map(|length| length.get()),
            surveyed: metres.map(|metres| (survey.in_units(metres) * 1000.0).round() / 1000.0),
            aspects: aspects.collect(),
            pipe: self.pipe,
            runs: self.runs,
        }
    }
}

/// The rows without a grade, while they are collected.
#[derive(Default)]
struct Without {
    count: usize,
    codes: BTreeSet<String>,
}

impl Without {
    fn add(&mut self, row: &RowView<'_>) {
        self.count += 1;
        if !self.codes.contains(row.row.code.as_str()) {
            self.codes.insert(row.row.code.to_string());
        }
    }

    fn close(self, why: Why) -> Ungraded {
        Ungraded { why, count: self.count, codes: self.codes.into_iter().collect() }
    }
}

/// Why a row has no grade.
fn why(row: &RowView<'_>) -> Why {
    match (row.code, row.facts.entries) {
        (None, _) => Why::CodeUnknown,
        (_, None) if row.unlinked() => Why::NoExactLink,
        (_, None) => Why::NotGraded,
        _ => Why::NoEntryFits,
    }
}

/// A row's grade in an aspect, if it has one.
fn graded(
    row: &RowView<'_>,
    aspect: Aspect,
    computed_only: bool,
) -> Option<(obvert_model::number::Grade, GradedRow)> {
    let recorded = row.recorded(aspect).filter(|_| !computed_only);
    let judged = row.judged(aspect).filter(|judgement| judgement.grade.is_some());
    let computed = judged.and_then(|judgement| judgement.grade);
    let grade = recorded.or(computed)?;
    let because = match &judged {
        Some(judgement) => row.reason(judgement),
        None if row.unlinked() => {
            format!("no exact link leads from {} to a code that the scheme grades", row.row.code)
        }
        None => format!(
            "{} gives it none",
            row.survey().scheme.map_or("the scheme", |scheme| scheme.id.as_str())
        ),
    };
    let graded = GradedRow {
        run: row.run.run.id.to_string(),
        observation: row.row.id.to_string(),
        at: row.row.at.get(),
        to: row.row.to.map(|to| to.get()),
        code: row.row.code.to_string(),
        grade: grade.get(),
        recorded: recorded.is_some(),
        computed: computed.map(|grade| grade.get()),
        via: row.facts.via.map(|code| code.code.to_string()),
        because,
    };
    Some((grade, graded))
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

    /// The pipes by an aspect's worst first: by peak, then by total; pipes without grades come
    /// last.
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
