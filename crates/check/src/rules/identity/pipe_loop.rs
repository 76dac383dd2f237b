//! See the rule's documentation below.

use obvert_model::tables::Pipe;

use crate::sink::Sink;
use crate::views::{PipeView, Survey};

rule! {
    /// # What it checks
    /// A pipe ends where it begins, or joins itself, directly or through up to 50 pipes. Of pipes
    /// that join each other in a loop, the first in the table is reported.
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
    /// # Fix
    /// Correct the end that is wrong.
    name: "pipe-loop", severity: Error, scope: Pipe, since: "0.1", clause: "pipes#ends",
    facts: { "structure" = Id "the structure at both ends" if "they are the same" },
}

/// How many joins are followed. No lateral is that far from its main.
const FOLLOWED: usize = 50;

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let pipe = view.pipe;
    if pipe.downstream.as_ref() == Some(&pipe.upstream) {
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
