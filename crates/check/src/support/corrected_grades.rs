//! The grades of a run without the faults that other rules report, such as a grade that the scheme
//! does not give, or a duplicate row.
//!
//! A rating that agrees with the corrected grades is not reported, so that one fault does not give
//! many findings.

use obvert_model::lists::{GradeScheme, StretchUse};
use obvert_model::number::Grade;
use obvert_model::tables::Aspect;

use crate::grading::{GradeExtent, GradeTotals, on_scale};
use crate::support::row_order;
use crate::views::{RowView, RunView};

/// The totals of both aspects without those faults; `None` if there are no faults. Grades that
/// cannot be corrected from the record, such as that of a stretch past the end of the run, count as
/// doubtful.
pub(crate) fn corrected_totals(
    run: &RunView<'_>,
    scheme: &GradeScheme,
) -> Option<Box<[GradeTotals; 2]>> {
    let is_duplicate = |index: usize| {
        run.is_repeated(index)
            || [run.duplicates(), run.overlapping_stretches()]
                .iter()
                .any(|pairs| pairs.iter().any(|pair| pair.0 == index))
    };
    let counts = |row: &RowView<'_>| row.row.grades.is_some() || row.facts.entries.is_some();
    let has_duplicates = !run.duplicates().is_empty()
        || !run.overlapping_stretches().is_empty()
        || !run.repeated_rows().is_empty();
    if !has_duplicates && !run.rows().filter(counts).any(|row| has_fault(&row, scheme)) {
        return None;
    }
    let mut totals = Box::new([GradeTotals::default(), GradeTotals::default()]);
    for row in run.rows().filter(counts).filter(|row| !is_duplicate(row.index)) {
        let grade_extent = extent(&row);
        for (aspect, aspect_totals) in
            [Aspect::Structural, Aspect::Operational].into_iter().zip(totals.iter_mut())
        {
            if let Some(grade) = grade(&row, aspect, scheme) {
                aspect_totals.add(grade, grade_extent, scheme);
            }
        }
    }
    totals.iter_mut().for_each(|aspect_totals| aspect_totals.end_run(scheme));
    Some(totals)
}

/// Whether a row has a fault that changes its grade or how often it counts.
fn has_fault(row: &RowView<'_>, scheme: &GradeScheme) -> bool {
    let differs = |aspect: &Aspect| {
        row.recorded(*aspect).is_some() && grade(row, *aspect, scheme) != row.recorded(*aspect)
    };
    extent(row) != row.grade_extent() || Aspect::ALL.iter().any(differs)
}

/// The grade of a row: the scheme's if it is certain and differs from the recorded one; `None` in an
/// aspect in which the scheme does not grade the code.
fn grade(row: &RowView<'_>, aspect: Aspect, scheme: &GradeScheme) -> Option<Grade> {
    let Some(recorded) = row.recorded(aspect) else { return row.graded(aspect) };
    if !on_scale(scheme, recorded) || row.code.is_none() || row.unlinked() {
        return Some(recorded);
    }
    if !row.gradable(aspect) {
        return None;
    }
    match row.judged(aspect).filter(|judgement| judgement.certain) {
        Some(judgement) => judgement.grade,
        None => Some(recorded),
    }
}

/// The extent of a row. It is a point if its code is never continuous. Its length is unknown if the
/// stretch ends where it begins, or past the end of the run.
fn extent(row: &RowView<'_>) -> GradeExtent {
    let grade_extent = row.grade_extent();
    if !row.row.is_stretch() {
        return grade_extent;
    }
    if row.code.is_some_and(|code| code.continuous == StretchUse::Never) {
        return GradeExtent { length: Some(0.0), ..grade_extent };
    }
    let length = grade_extent
        .length
        .filter(|length| *length > 0.0 && !row_order::past_end(row.run, row.row.end().get()));
    GradeExtent { length, ..grade_extent }
}
