//! Defects that two runs of a pipe record, usually from its two ends. Each is one defect, and
//! counts once.

use obvert_model::lists::GradeScheme;
use obvert_model::number::Grade;
use obvert_model::tables::{Aspect, ClockReading};
use rustc_hash::FxHashSet;

use crate::support::clock::alike;
use crate::support::row_digest::{Along, MAX_RUNS, RowDigest, common_places};
use crate::views::{Ending, RunSummary};

/// The pairs of rows of two runs that are one defect: the code and characterisation, the place and
/// the clock reference agree. The first of a pair is of `a`.
pub(crate) fn seen_twice<'r>(
    a: (&'r [RowDigest], Along),
    b: (&'r [RowDigest], Along),
) -> Vec<(&'r RowDigest, &'r RowDigest)> {
    let slack = a.1.slack.min(b.1.slack);
    let mirrored = a.1.upstream != b.1.upstream;
    common_places(a, b, slack, |one, other| {
        one.defect
            && other.defect
            && one.code == other.code
            && same_side(one.reading(), other.reading(), mirrored)
    })
}

/// The defects that two runs record, for the end of a message.
pub(crate) fn and_in_both(defects: usize) -> String {
    match defects {
        0 => String::new(),
        1 => ", and one defect is recorded in both".to_owned(),
        some => format!(", and {some} defects are recorded in both"),
    }
}

/// Whether a grade is better than another.
pub(crate) fn is_better(a: Grade, b: Grade, scheme: &GradeScheme) -> bool {
    if scheme.scale.worst >= scheme.scale.best { a < b } else { a > b }
}

/// The grades of some runs of a pipe that do not count if a defect that two of the runs record
/// counts once: the better of the two, or that of the later run.
pub(crate) fn surplus_grades(
    ending: &Ending<'_>,
    runs: &[&RunSummary],
    aspect: Aspect,
    scheme: &GradeScheme,
) -> Vec<Grade> {
    let placed: Vec<(usize, &[RowDigest], Along)> = runs
        .iter()
        .take(MAX_RUNS)
        .filter_map(|summary| {
            let along = Along::of(ending.survey, &summary.run, summary.figures.marks)?;
            Some((summary.index, summary.digests(), along))
        })
        .collect();
    let mut dropped = FxHashSet::default();
    let mut grades = Vec::new();
    each_seen_twice(&placed, |(earlier, one), (later, other)| {
        let (Some(a), Some(b)) = (one.grade(aspect), other.grade(aspect)) else { return };
        let better = is_better(a, b, scheme);
        let row = if better { (earlier, one.row) } else { (later, other.row) };
        if dropped.insert(row) {
            grades.push(if better { a } else { b });
        }
    });
    grades
}

/// Calls `see` with every pair of rows of two runs that are one defect. Each run has a number and
/// its rows, in the order of the document.
pub(crate) fn each_seen_twice<R: AsRef<[RowDigest]>>(
    placed: &[(usize, R, Along)],
    mut see: impl FnMut((usize, &RowDigest), (usize, &RowDigest)),
) {
    for (nth, (later, later_rows, along_later)) in placed.iter().enumerate() {
        for (earlier, rows, along) in &placed[..nth] {
            let pairs = seen_twice((rows.as_ref(), *along), (later_rows.as_ref(), *along_later));
            pairs.into_iter().for_each(|(one, other)| see((*earlier, one), (*later, other)));
        }
    }
}

/// Whether two clock references can be of one place of the wall.
fn same_side(a: Option<ClockReading>, b: Option<ClockReading>, mirrored: bool) -> bool {
    let (Some(a), Some(b)) = (a, b) else { return true };
    if mirrored { b.mirrored().is_some_and(|b| alike(a, b)) } else { alike(a, b) }
}
