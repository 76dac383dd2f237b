//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::changes::{KINDS, SameChange};
use crate::views::Ending;

rule! {
    /// # What it checks
    /// A row records a change of material, shape or height to the value that the pipe has there
    /// already, by the change before it or by the pipe's record.
    ///
    /// # Exceptions
    /// - The pipe's record has the value, and another run of the pipe records a change of that kind
    ///   to another value: the record describes the part that this run reaches.
    /// - A change of material has a remark, which can name another material of the same class; this
    ///   does not apply to `clayware`, which is one material.
    /// - A change of height also has a width.
    /// - The new value is `other`, or is not in the list.
    /// - The run is *disordered*, or the pipe's size is in a doubtful unit (`size-unit-suspect`).
    ///
    /// # Exactly
    /// Changes are rows of the roles `material-change`, `shape-change` and `size-change`; materials
    /// are compared by class, heights are equal within 2 %.
    ///
    /// # Why it matters
    /// The new value is mistyped, or what the pipe was before is not recorded: grades and rules take
    /// the recorded material and size for granted up to the change.
    ///
    /// # Fails
    /// At `/runs/0/observations/2/characterisation/0`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 8, "code": "change.material", "characterisation": ["clayware"]}}]
    /// ```
    /// At `/runs/0/observations/2/quantities/0/value`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 8, "code": "change.size", "quantities": [{"value": 8, "unit": "in"}]}}]
    /// ```
    /// Twice to plastic. At `/runs/0/observations/3/characterisation/0`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 6, "code": "change.material", "characterisation": ["plastic"]}},
    ///  {"op": "add", "path": "/runs/0/observations/3", "value":
    ///   {"id": "2b", "at": 9, "code": "change.material", "characterisation": ["plastic"]}}]
    /// ```
    ///
    /// # Passes
    /// A plastic piece, and back.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 6, "code": "change.material", "characterisation": ["plastic"]}},
    ///  {"op": "add", "path": "/runs/0/observations/3", "value":
    ///   {"id": "2b", "at": 9, "code": "change.material", "characterisation": ["clayware"]}}]
    /// ```
    /// The run from the other end shows that the record describes the other part.
    /// ```json
    /// [{"op": "add", "path": "/runs/1/observations/1", "value":
    ///   {"id": "1a", "at": 60, "code": "change.material", "characterisation": ["clayware"]}},
    ///  {"op": "add", "path": "/runs/2/observations/1", "value":
    ///   {"id": "1a", "at": 85, "code": "change.material", "characterisation": ["plastic"]}}]
    /// ```
    ///
    /// # Fix
    /// Correct the new value. If it is right, record what the pipe is before: a change at the start
    /// of the run, or the pipe's record. If nothing changes, remove the row.
    name: "change-to-same", severity: Warning, scope: Ending, since: "0.1", clause: "observations#codes",
    needs: [Codes],
    concludes_from: ["runs", "pipes.material", "pipes.shape", "pipes.height", "observations.*"],
    facts: {
        "to" = Text "the new value, as recorded, with its unit",
        "since" = Length "the distance of the earlier change to the same value"
            if "an earlier row has it",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    for summary in ending.runs {
        for change in &summary.figures.changes.same {
            let away = |kind: usize| {
                let mut runs = ending.runs_of(&summary.run.pipe);
                runs.any(|other| other.index != summary.index && other.figures.changes.away[kind])
            };
            if change.since.is_some() || !away(change.kind) {
                report(change, ending, out);
            }
        }
    }
}

fn report(change: &SameChange, ending: &Ending<'_>, out: &mut Sink<'_>) {
    let SameChange { kind, subject, to, since } = change;
    let (_, word) = KINDS[*kind];
    let already = match since {
        Some(at) => format!("from the change at {at} {} on", ending.survey.head.units.length),
        None => "by the pipe's record".to_owned(),
    };
    let message = format!("the {word} changes to {to}, but it is {to} already {already}");
    let finding = out.report(subject.clone(), message);
    finding.fact("to", to.as_str());
    if let Some(at) = since {
        finding.fact("since", *at);
    }
}
