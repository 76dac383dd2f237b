//! See the rule's documentation below.

use obvert_model::tables::{Direction, Pipe};
use obvert_model::text::StructureId;

use crate::sink::Sink;
use crate::views::{RunView, Survey};

rule! {
    /// # What it checks
    /// `from` or `to` of a run is not an end of its pipe. If neither is, and they differ, the pipe
    /// is taken to be wrong, and that is one finding.
    ///
    /// # Exceptions
    /// - The lower end of a pipe without `downstream`: a lateral may be entered from any structure
    ///   of its main.
    /// - The structure is not in the table (`unknown-structure`).
    ///
    /// # Exactly
    /// The upper end is where a run downstream begins or a run upstream ends. The finding is at
    /// `pipe` if both are wrong and differ, otherwise at `from`, or else at `to`.
    ///
    /// # Why it matters
    /// The run belongs to another pipe, whose record stays empty while this one gets its defects.
    ///
    /// # Fails
    /// At `/runs/0/to`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/to", "value": "LM-016"}]
    /// ```
    /// At `/runs/0/pipe`:
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "LM-020", "kind": "manhole"}},
    ///  {"op": "replace", "path": "/runs/0/from", "value": "LM-016"},
    ///  {"op": "replace", "path": "/runs/0/to", "value": "LM-020"}]
    /// ```
    ///
    /// # Passes
    /// A lateral entered from the main at `LM-014`.
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "C-7", "kind": "cleanout"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "C-7", "joins": {"pipe": "L-101", "at": 60}}},
    ///  {"op": "add", "path": "/runs/-", "value": {"id": "R-3", "pipe": "L-3", "from": "LM-014", "to": "C-7", "direction": "upstream",
    ///   "launched": {"pipe": "L-101", "at": 60}, "counter": {"zero": "pipe-end"}, "surveyed": 30, "observations": [
    ///   {"id": "1", "at": 0, "code": "run.start"}, {"id": "2", "at": 30, "code": "run.finish"}]}}]
    /// ```
    /// The lower end of a pipe without `downstream` and `joins` is not known.
    /// ```json
    /// [{"op": "remove", "path": "/pipes/0/downstream"}, {"op": "replace", "path": "/runs/0/to", "value": "LM-016"}]
    /// ```
    ///
    /// # Fix
    /// Correct the pipe or the structure that the run names.
    name: "run-structure-mismatch", severity: Error, scope: Run, since: "0.1", clause: "runs#direction",
    concludes_from: ["structures", "pipe.downstream"],
    facts: {
        "from" = Id "`from` of the run" if "it is not an end of the pipe",
        "to" = Id "`to` of the run" if "it is not an end of the pipe and differs from `from`",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(view) = run.pipe else { return };
    let (pipe, survey) = (view.pipe, run.survey);
    let (from, to) = (run.run.from.as_ref(), run.run.to.as_ref());
    let lateral = pipe.downstream.is_none();
    let mismatched = |named: Option<&StructureId>, lower: bool| {
        named.is_some_and(|id| {
            !(lateral && lower || is_end(pipe, id)) && survey.structure(id).is_some()
        })
    };
    let down = run.run.direction == Direction::Downstream;
    let pipe_id = pipe.id.as_str();
    match (mismatched(from, !down), mismatched(to, down), from, to) {
        (true, true, Some(from), Some(to)) if from != to => {
            let (a, b) = (from.as_str(), to.as_str());
            let message = format!("neither {a:?} nor {b:?} is an end of the pipe {pipe_id:?}");
            let finding = out.report(run.subject("/pipe"), message);
            finding.fact("from", a).fact("to", b);
            if let Some(id) = only_pipe_between(survey, from, to) {
                finding.help(format!("Did you mean the pipe {id:?}, which lies between them?"));
            }
        }
        (true, _, Some(id), _) => {
            let message = format!(
                "the run starts at {:?}, which is not an end of the pipe {pipe_id:?}",
                id.as_str()
            );
            out.report(run.subject("/from"), message).fact("from", id.as_str());
        }
        (_, true, _, Some(id)) => {
            let message = format!(
                "the run goes to {:?}, which is not an end of the pipe {pipe_id:?}",
                id.as_str()
            );
            out.report(run.subject("/to"), message).fact("to", id.as_str());
        }
        _ => {}
    }
}

fn is_end(pipe: &Pipe, id: &StructureId) -> bool {
    pipe.upstream == *id || pipe.downstream.as_ref() == Some(id)
}

fn only_pipe_between<'d>(
    survey: &'d Survey<'_>,
    a: &StructureId,
    b: &StructureId,
) -> Option<&'d str> {
    let mut found = survey.head.pipes.iter().filter(|pipe| is_end(pipe, a) && is_end(pipe, b));
    let only = found.next()?;
    found.next().is_none().then_some(only.id.as_str())
}
