//! Collects the grades of each pipe while its runs are read.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use obvert_model::lists::GradeScheme;
use obvert_model::number::Grade;
use obvert_model::tables::{Aspect, Pipe};

use super::{AspectGrades, GradeTotals, GradedRow, Grader, PipeGrades, Ungraded, Why, tidy};
use crate::grading::table::SameRow;
use crate::support::row_digest::{Along, MAX_RUNS, RowDigest, digests};
use crate::support::seen_twice::{each_seen_twice, is_better};
use crate::views::{RowView, RunView, Survey};

/// The grades of one pipe, while its runs are read.
pub(super) struct PipeTotals {
    pipe: String,
    runs: Vec<String>,
    metres: Option<f64>,
    totals: [GradeTotals; 2],
    rows: [Vec<CountedRow>; 2],
    /// The rows of the first runs that can be placed on the pipe, by the number of the run.
    placed: Vec<(usize, Box<[RowDigest]>, Along)>,
}

/// A row with a grade.
struct CountedRow {
    key: RowKey,
    grade: Grade,
    row: GradedRow,
}

/// The number of a run among those of the pipe, and of a row in the run.
type RowKey = (usize, usize);

impl PipeTotals {
    pub(super) fn new(pipe: &str) -> Self {
        Self {
            pipe: pipe.to_owned(),
            runs: Vec::new(),
            metres: Some(0.0),
            totals: Default::default(),
            rows: Default::default(),
            placed: Vec::new(),
        }
    }

    pub(super) fn add(
        &mut self,
        view: &RunView<'_>,
        grader: &Grader<'_>,
        computed_only: bool,
        ungraded: &mut BTreeMap<Why, UngradedRows>,
    ) {
        let run = self.runs.len();
        self.runs.push(view.run.id.to_string());
        if run < MAX_RUNS
            && let Some(along) = Along::of(view.survey, view.run, view.marks())
        {
            self.placed.push((run, digests(view), along));
        }
        self.metres = self.metres.zip(view.travelled()).map(|(sum, run)| sum + run);
        for row in view.rows() {
            let mut has_grade = false;
            for aspect in [Aspect::Structural, Aspect::Operational] {
                let Some((grade, graded)) = graded(&row, aspect, computed_only) else { continue };
                has_grade = true;
                self.totals[aspect as usize].add(grade, row.grade_extent(), grader.scheme);
                let key = (run, row.index);
                self.rows[aspect as usize].push(CountedRow { key, grade, row: graded });
            }
            if !has_grade {
                ungraded.entry(why(&row)).or_default().add(&row);
            }
        }
        self.totals.iter_mut().for_each(|totals| totals.end_run(grader.scheme));
    }

    /// Counts a defect that two runs record once, with the worse of its two grades.
    fn count_once(&mut self, scheme: &GradeScheme) {
        for (totals, rows) in self.totals.iter_mut().zip(&mut self.rows) {
            let index: HashMap<RowKey, usize> =
                rows.iter().enumerate().map(|(at, row)| (row.key, at)).collect();
            each_seen_twice(&self.placed, |(earlier, one), (later, other)| {
                let find = |run: usize, row: &RowDigest| index.get(&(run, row.row as usize));
                if let (Some(one), Some(other)) = (find(earlier, one), find(later, other)) {
                    count_pair_once(totals, rows, (*one, *other), scheme);
                }
            });
        }
    }

    pub(super) fn finish(
        mut self,
        survey: &Survey<'_>,
        scheme: &GradeScheme,
        pipe: Option<&Pipe>,
    ) -> PipeGrades {
        self.count_once(scheme);
        let metres = self.metres.filter(|_| !self.runs.is_empty());
        let rising = scheme.scale.worst >= scheme.scale.best;
        let aspects =
            [Aspect::Structural, Aspect::Operational].into_iter().zip(self.totals).zip(self.rows);
        let aspects = aspects
            .filter(|((aspect, _), rows)| scheme.aspects.contains(aspect) || !rows.is_empty());
        let aspects = aspects.map(|((aspect, totals), mut rows)| {
            rows.sort_by_key(|row| if rising { u8::MAX - row.row.grade } else { row.row.grade });
            AspectGrades {
                aspect: aspect.to_string(),
                peak: totals.peak(scheme),
                total: tidy(totals.total),
                mean: totals.mean().map(tidy),
                count: totals.count,
                per_length: metres.and_then(|metres| totals.per_length(metres, scheme)).map(tidy),
                doubtful: totals.doubtful,
                observations: rows.into_iter().map(|row| row.row).collect(),
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

/// Takes back the better grade of two rows that record one defect.
fn count_pair_once(
    totals: &mut GradeTotals,
    rows: &mut [CountedRow],
    (one, other): (usize, usize),
    scheme: &GradeScheme,
) {
    let better = is_better(rows[one].grade, rows[other].grade, scheme);
    let (dropped, kept) = if better { (one, other) } else { (other, one) };
    if rows[dropped].row.counted_as.is_some() {
        return;
    }
    totals.take_back_point(rows[dropped].grade, scheme);
    let kept = &rows[kept].row;
    let same = SameRow { run: kept.run.clone(), observation: kept.observation.clone() };
    rows[dropped].row.counted_as = Some(same);
}

/// The rows without a grade, while runs are read.
#[derive(Default)]
pub(super) struct UngradedRows {
    count: usize,
    codes: BTreeSet<String>,
}

impl UngradedRows {
    fn add(&mut self, row: &RowView<'_>) {
        self.count += 1;
        if !self.codes.contains(row.row.code.as_str()) {
            self.codes.insert(row.row.code.to_string());
        }
    }

    pub(super) fn finish(self, why: Why) -> Ungraded {
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
fn graded(row: &RowView<'_>, aspect: Aspect, computed_only: bool) -> Option<(Grade, GradedRow)> {
    let recorded = row.recorded(aspect).filter(|_| !computed_only);
    let judged = row.judged(aspect).filter(|judgement| judgement.grade.is_some());
    let computed = judged.and_then(|judgement| judgement.grade);
    let grade = recorded.or(computed)?;
    let because = match &judged {
        Some(judgement) => row.reason(judgement),
        None if row.unlinked() => {
            format!("{} has no exact link to a code that the scheme grades", row.row.code)
        }
        None => format!(
            "{} gives no grade",
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
        counted_as: None,
        via: row.facts.via.map(|code| code.code.to_string()),
        because,
        caution: row.caution().map(ToString::to_string),
    };
    Some((grade, graded))
}
