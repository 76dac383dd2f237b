//! See the rule's documentation below.

use obvert_model::tables::Pipe;

use crate::sink::Sink;
use crate::support::map_lengths::ENDS_SLACK;
use crate::views::{Ending, PipeView, Survey};

rule! {
    /// # What it checks
    /// A pipe ends where it begins, or joins itself, directly or through up to 50 pipes. Of pipes
    /// that join each other in a loop, the first in the table is reported.
    ///
    /// # Exceptions
    /// - The pipe is a ring, such as a drain round a house: its path has at least four vertices and
    ///   ends where it begins, within 5 m, or it has a run, and no run of it names another
    ///   structure in `from` or `to`.
    ///
    /// # Exactly
    /// At `downstream` if it is `upstream`, otherwise at `joins.pipe`.
    ///
    /// # Why it matters
    /// Water does not flow in a loop: one of the two ends was copied from the other.
    ///
    /// # Fails
    /// At `/pipes/0/downstream`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/downstream", "value": "LM-014"}]
    /// ```
    /// At `/pipes/0/joins/pipe`:
    /// ```json
    /// [{"op": "remove", "path": "/pipes/0/downstream"}, {"op": "remove", "path": "/pipes/1/downstream"},
    ///  {"op": "add", "path": "/pipes/0/joins", "value": {"pipe": "L-102"}},
    ///  {"op": "add", "path": "/pipes/1/joins", "value": {"pipe": "L-101"}}]
    /// ```
    ///
    /// # Passes
    /// A lateral that joins a lateral that joins a main.
    /// ```json
    /// [{"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "LM-014", "joins": {"pipe": "L-4"}}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-4", "upstream": "LM-014", "joins": {"pipe": "L-101"}}}]
    /// ```
    ///
    /// A drain round a house, from the sump to the sump.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/downstream", "value": "LM-014"}, {"op": "replace", "path": "/runs/0/to", "value": "LM-014"},
    ///  {"op": "remove", "path": "/pipes/0/path"}, {"op": "remove", "path": "/pipes/0/inverts"}]
    /// ```
    ///
    /// # Fix
    /// Correct the end that is wrong.
    name: "pipe-loop", severity: Error, scope: Ending, since: "0.1", clause: "pipes#ends",
    concludes_from: ["pipe.runs"],
    facts: { "structure" = Id "the structure at both ends" if "they are the same" },
}

/// How many joins are followed. No lateral is that far from its main.
const FOLLOWED: usize = 50;

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    for view in ending.survey.pipes() {
        check_pipe(ending, &view, out);
    }
}

/// Whether a pipe that ends where it begins is a ring by its path or its runs.
fn is_ring(ending: &Ending<'_>, view: &PipeView<'_>) -> bool {
    let (path, survey) = (&view.pipe.path, ending.survey);
    if let (Some(crs), [first, _, _, .., last]) = (&survey.crs, path.as_slice()) {
        return survey
            .map_lengths()
            .distance(crs, *first, *last)
            .is_some_and(|metres| metres <= ENDS_SLACK);
    }
    let own = |named: &Option<_>| named.as_ref().is_none_or(|named| *named == view.pipe.upstream);
    let mut runs = ending.runs_of(&view.pipe.id).peekable();
    runs.peek().is_some() && runs.all(|summary| own(&summary.run.from) && own(&summary.run.to))
}

fn check_pipe(ending: &Ending<'_>, view: &PipeView<'_>, out: &mut Sink<'_>) {
    let pipe = view.pipe;
    if pipe.downstream.as_ref() == Some(&pipe.upstream) {
        if is_ring(ending, view) {
            return;
        }
        let id = pipe.upstream.as_str();
        out.report(
            view.subject("/downstream"),
            format!("the pipe ends at {id:?}, where it begins"),
        )
        .fact("structure", id);
    } else if pipe.joins.is_some() && is_first_of_loop(view.survey, view.index, pipe) {
        let message = "the pipe joins itself, directly or through other pipes";
        out.report(view.subject("/joins/pipe"), message);
    }
}

fn is_first_of_loop(survey: &Survey<'_>, first: usize, pipe: &Pipe) -> bool {
    let joined = |pipe: &Pipe| survey.pipe_index(&pipe.joins.as_ref()?.pipe);
    let mut index = joined(pipe);
    for _ in 0..FOLLOWED {
        match index {
            Some(index) if index == first => return true,
            Some(index) if index < first => return false,
            _ => {}
        }
        let Some(next) = index.and_then(|index| survey.head.pipes.get(index)) else { return false };
        index = joined(next);
    }
    false
}
