//! See the rule's documentation below.

use rustc_hash::FxHashSet;

use crate::sink::Sink;
use crate::views::{Ending, PipeView, Subject};

rule! {
    /// # What it checks
    /// A pipe has no run. More than five such pipes are one finding.
    ///
    /// # Exceptions
    /// - A run, of whichever pipe, goes from one of its structures to the other.
    /// - A run names a missing pipe, or any table a missing run: no pipe is reported.
    /// - The document has no runs (`runs-missing`).
    ///
    /// # Exactly
    /// No run has the pipe in `pipe`. One finding for all is at `/pipes`.
    ///
    /// # Why it matters
    /// Pipes of the assignment that were not surveyed are easily forgotten, since nothing in the
    /// record is wrong.
    ///
    /// # Fails
    /// At `/pipes/2`:
    /// ```json
    /// [{"op": "add", "path": "/pipes/-", "value": {"id": "L-103", "upstream": "LM-014", "downstream": "LM-016"}}]
    /// ```
    ///
    /// # Passes
    /// No runs at all.
    /// ```json
    /// [{"op": "remove", "path": "/runs"}, {"op": "remove", "path": "/media"}, {"op": "remove", "path": "/locates"},
    ///  {"op": "remove", "path": "/ratings"}]
    /// ```
    /// A run of another pipe goes from one of its structures to the other.
    /// ```json
    /// [{"op": "add", "path": "/pipes/-", "value": {"id": "L-103", "upstream": "LM-015", "downstream": "LM-014", "height": 12}}]
    /// ```
    ///
    /// # Fix
    /// Survey the pipe, or state in the delivery why it was not; remove it from the table if it is
    /// not part of the work.
    name: "pipe-not-surveyed", severity: Note, scope: Ending, since: "0.1", clause: "runs#identity",
    concludes_from: ["runs", "runs.from", "runs.to"],
    uses: [missing_runs],
    facts: {
        "pipes" = Count "pipes without a run" if "there are more than five",
        "of" = Count "pipes of the document" if "`pipes` is present",
    },
}

/// Up to this many pipes are reported one by one.
const FEW: usize = 5;

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let misses_a_pipe = ending.runs.iter().any(|summary| !survey.has_pipe(&summary.run.pipe));
    if ending.runs.is_empty() || misses_a_pipe || ending.refers_to_missing_run() {
        return;
    }
    let unseen: Vec<PipeView<'_>> =
        survey.pipes().filter(|view| ending.runs_of(&view.pipe.id).next().is_none()).collect();
    if unseen.is_empty() {
        return;
    }
    let named: FxHashSet<(&str, &str)> = ending
        .runs
        .iter()
        .filter_map(|summary| {
            Some((summary.run.from.as_ref()?.as_str(), summary.run.to.as_ref()?.as_str()))
        })
        .flat_map(|(from, to)| [(from, to), (to, from)])
        .collect();
    let seen = |view: &PipeView<'_>| {
        let lower = view.pipe.downstream.as_ref();
        lower.is_some_and(|lower| named.contains(&(view.pipe.upstream.as_str(), lower.as_str())))
    };
    let unseen: Vec<PipeView<'_>> = unseen.into_iter().filter(|view| !seen(view)).collect();
    if unseen.len() > FEW {
        let (first, some, of) = (&unseen[0].pipe.id, unseen.len(), survey.head.pipes.len());
        let message = format!("{some} of {of} pipes have no run, for example {:?}", first.as_str());
        out.report(Subject::at("/pipes"), message).fact("pipes", some).fact("of", of);
        return;
    }
    for view in unseen {
        out.report(view.subject(""), "the pipe has no run");
    }
}
