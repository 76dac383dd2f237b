//! See the rule's documentation below.

use obvert_model::tables::{Direction, OutcomeKind};
use rustc_hash::FxHashSet;

use crate::sink::Sink;
use crate::support::row_digest::{Along, pairs_of_runs};
use crate::support::run_extent::{beyond_pipe, exceeds, far_position, pipe_with_length};
use crate::support::seen_twice::{and_in_both, seen_twice};
use crate::support::time::seconds_between;
use crate::views::{Ending, RunSummary};

rule! {
    /// # What it checks
    /// Two runs cover a part of their pipe twice, and nothing in the record joins them: defects and
    /// length of that part count twice.
    ///
    /// # Exceptions
    /// - One of the two completes the other (`reverse_of`; `reverse-overlap` compares them).
    /// - They state different purposes or preparations, or started more than `days` apart: the pipe
    ///   was surveyed again.
    /// - The two go in one direction: the run was repeated.
    /// - One of the two was launched, its outcome is missing, or it is longer than the pipe
    ///   (`run-longer-than-pipe`), or it is not known how far it came.
    ///
    /// # Exactly
    /// The pairs are those of the first eight runs of a pipe. The part is longer than *slack*: 2 ×
    /// tolerance(*L*), and 1.524 m more unless `length_between` is `centres` or the later run's
    /// counter states its `offset`. The first pair of a run is reported, at the later one in the
    /// table, if one of these holds:
    ///
    /// - Neither reached the far structure.
    /// - One of them did not reach it, and both record one defect (*Roll-up* in Grade schemes).
    ///
    /// # Why it matters
    /// The totals of grades and the length that is paid for contain the part twice.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762. The others:
    /// common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/2`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/2/reverse_of"}, {"op": "replace", "path": "/runs/2/outcome", "value": {"kind": "stopped", "reason": "collapse"}},
    ///  {"op": "replace", "path": "/runs/2/surveyed", "value": 110}, {"op": "replace", "path": "/runs/2/observations/1", "value": {"id": "2", "at": 110, "code": "run.stopped", "characterisation": ["collapse"]}}]
    /// ```
    ///
    /// # Passes
    /// Stopped from both ends by one obstruction.
    /// ```json
    /// [{"op": "remove", "path": "/runs/2/reverse_of"}, {"op": "replace", "path": "/runs/2/outcome", "value": {"kind": "stopped", "reason": "collapse"}}]
    /// ```
    /// Given up at once, and driven from the other end.
    /// ```json
    /// [{"op": "remove", "path": "/runs/2/reverse_of"}, {"op": "replace", "path": "/runs/1/surveyed", "value": 1}, {"op": "remove", "path": "/runs/1/observations/1"},
    ///  {"op": "replace", "path": "/runs/1/observations/1/at", "value": 1}, {"op": "replace", "path": "/runs/2/surveyed", "value": 180},
    ///  {"op": "replace", "path": "/runs/2/outcome", "value": {"kind": "reached"}}, {"op": "replace", "path": "/runs/2/observations/1", "value": {"id": "2", "at": 180, "code": "run.finish"}}]
    /// ```
    ///
    /// # Fix
    /// Name the run that the later one completes in `reverse_of`. Keep what each of them saw: a
    /// rating may count a defect once that both record.
    name: "overlap-undeclared", severity: Warning, scope: Ending, since: "0.1", clause: "runs#reverse-runs",
    concludes_from: ["pipe.runs", "observations", "observations.at", "observations.code"],
    limits: {
        "days" = 14.0 "d" "longest time between two runs of one survey of a pipe; common practice, no published source",
    },
    facts: {
        "overlap" = Length "length of the part",
        "other" = Id "the earlier run in the table",
        "repeated" = Count "defects that both runs record there",
    },
}

/// The length taken up by the two structures, in metres: 5 ft.
const WALLS: f64 = 1.524;

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    if ending.lengths_doubtful() || ending.refers_to_missing_run() {
        return;
    }
    let survey = ending.survey;
    // A run that overlaps with several has one finding.
    let mut reported = FxHashSet::default();
    for [(earlier, along), (later, along_later)] in pairs_of_runs(ending) {
        let (a, b) = (extent(ending, earlier), extent(ending, later));
        let (Some(a), Some(b)) = (a, b) else { continue };
        let overlap = a.1.min(b.1) - a.0.max(b.0);
        if !exceeds(overlap, along_later.slack) || !same_survey(earlier, later, out.limit("days")) {
            continue;
        }
        let reached = |run: &RunSummary| run.outcome() == Some(OutcomeKind::Reached);
        let opposite = earlier.run.direction != later.run.direction;
        let repeated = repeated(earlier, along, later, along_later);
        let stopped = !reached(earlier) && !reached(later);
        let once = !(reached(earlier) && reached(later));
        if !opposite || !(stopped || once && repeated > 0) || !reported.insert(later.index) {
            continue;
        }
        let (part, id) = (survey.format_metres(overlap), earlier.run.id.as_str());
        let more = and_in_both(repeated);
        let message = format!("{part} of the pipe were surveyed in run {id:?} too{more}");
        out.report(later.subject(""), message)
            .fact("overlap", survey.in_units(overlap))
            .fact("other", id)
            .fact("repeated", repeated);
    }
}

/// The part of the pipe that a run has surveyed, in metres from the upstream structure.
fn extent(ending: &Ending<'_>, summary: &RunSummary) -> Option<(f64, f64)> {
    let (survey, run) = (ending.survey, &summary.run);
    let (_, length) = pipe_with_length(survey, run)?;
    let far = far_position(survey, run, summary.figures.marks)?.min(length);
    if summary.outcome().is_none()
        || beyond_pipe(survey, run, summary.figures.marks, WALLS).is_some()
    {
        return None;
    }
    Some(match run.direction {
        Direction::Downstream => (0.0, far),
        Direction::Upstream => (length - far, length),
    })
}

/// Whether two runs belong to one survey of the pipe, and nothing joins them.
fn same_survey(a: &RunSummary, b: &RunSummary, days: f64) -> bool {
    let (a, b) = (&a.run, &b.run);
    if a.reverse_of.as_ref() == Some(&b.id) || b.reverse_of.as_ref() == Some(&a.id) {
        return false;
    }
    let differ = a.purpose != b.purpose || a.preparation != b.preparation;
    let apart = || seconds_between(a.started.as_ref()?, b.started.as_ref()?);
    !differ && apart().is_none_or(|seconds| seconds.abs() <= days * 86_400.0)
}

/// How many defects both runs record.
fn repeated(a: &RunSummary, along: Along, b: &RunSummary, along_b: Along) -> usize {
    seen_twice((a.digests(), along), (b.digests(), along_b)).len()
}
