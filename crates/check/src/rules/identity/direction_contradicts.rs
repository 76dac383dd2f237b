//! See the rule's documentation below.

use obvert_model::tables::Pipe;

use crate::sink::Sink;
use crate::support::run_extent::direction_contradicts;
use crate::support::streets::reversed_by_runs;
use crate::views::{Ending, PipeView, RunSummary, Subject};

rule! {
    /// # What it checks
    /// The direction of a run contradicts the structures that it names: a run downstream goes from
    /// the pipe's upstream structure to its downstream one.
    ///
    /// # Exactly
    /// A run downstream is `from` the pipe's `downstream` and `to` its `upstream`, as far as run and
    /// pipe name these, and at least one is named; a run upstream the reverse. A pipe with one structure at both ends contradicts nothing (`pipe-loop`).
    /// A pipe is *turned* if all of its runs that name a structure contradict it. If at least three
    /// pipes of a `street` are turned, and four in five of those with such runs, that is one
    /// finding, at the first turned pipe, and the runs through the street are not reported; pipes
    /// without `street` are taken for one.
    ///
    /// # Why it matters
    /// Distances are taken from the wrong end, and left and right are exchanged: a connection at 3
    /// o'clock is opened at 9.
    ///
    /// # Fails
    /// At `/runs/0/direction`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/direction", "value": "upstream"}]
    /// ```
    /// At `/runs/2/direction`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/2/from"}, {"op": "replace", "path": "/runs/2/to", "value": "LM-016"}]
    /// ```
    ///
    /// # Passes
    /// No structures.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/direction", "value": "upstream"},
    ///  {"op": "remove", "path": "/runs/0/from"}, {"op": "remove", "path": "/runs/0/to"}]
    /// ```
    /// A pipe with one structure at both ends has no direction.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/downstream", "value": "LM-014"}]
    /// ```
    ///
    /// # Fix
    /// Correct the direction, exchange `from` and `to`, or correct the ends of the pipe. If the
    /// direction was wrong, check the clock references too.
    name: "direction-contradicts", severity: Error, scope: Ending, since: "0.1", clause: "runs#direction",
    concludes_from: ["pipes", "pipes.street", "runs", "runs.from", "runs.to", "runs.direction"],
    facts: {
        "pipes" = Count "turned pipes of the street" if "most of its pipes are turned",
        "of" = Count "pipes of the street that were compared" if "`pipes` is present",
        "direction" = Word "the direction, as recorded" if "the run is reported by itself",
        "upstream" = Id "the upstream structure of the pipe" if "the run is reported by itself",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let streets = reversed_by_runs(ending);
    for street in &streets {
        let (pipes, of, name) = (street.pipes, street.of, street.name());
        let message = format!(
            "the runs through {pipes} of {of} pipes{name} go the other way than the structures that they name"
        );
        let finding = out.report(Subject::at(format!("/pipes/{}", street.first)), message);
        finding.fact("pipes", pipes).fact("of", of).help(
            "the pipes seem to be recorded against the flow: exchange `upstream` and `downstream` of all of them, or correct the direction of the runs",
        );
    }
    for summary in ending.runs {
        let Some(row) = ending.survey.pipe_index(&summary.run.pipe) else { continue };
        let pipe = &ending.survey.head.pipes[row];
        let view = PipeView { survey: ending.survey, pipe, index: row };
        if direction_contradicts(pipe, &summary.run)
            && !streets.iter().any(|street| street.has(&view))
        {
            report(summary, pipe, out);
        }
    }
}

fn report(summary: &RunSummary, pipe: &Pipe, out: &mut Sink<'_>) {
    let run = &summary.run;
    let way = match (&run.from, &run.to) {
        (Some(from), Some(to)) => format!("from {:?} to {:?}", from.as_str(), to.as_str()),
        (Some(from), None) => format!("from {:?}", from.as_str()),
        (None, Some(to)) => format!("to {:?}", to.as_str()),
        (None, None) => return,
    };
    let (upper, direction) = (pipe.upstream.as_str(), run.direction);
    let message = format!(
        "the direction is {direction}, but {way} is the other way: the pipe begins at {upper:?}"
    );
    out.report(summary.subject("/direction"), message)
        .fact("direction", direction.as_str())
        .fact("upstream", upper);
}
