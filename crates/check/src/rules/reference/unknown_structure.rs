//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{Part, Subject, Survey};

rule! {
    /// # What it checks
    /// A pipe or a run names a structure that is not in the structure table. One finding for each
    /// missing id.
    ///
    /// # Why it matters
    /// The run cannot be put on a map or matched with the owner's records.
    ///
    /// # Fails
    /// At `/pipes/0/downstream`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/downstream", "value": "LM-15"}]
    /// ```
    /// At `/runs/0/from`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/from", "value": "LM-O14"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/to"}]
    /// ```
    ///
    /// # Fix
    /// Correct the id, or add the structure to the table.
    name: "unknown-structure", severity: Error, scope: Throughout, since: "0.1", clause: "structures#references",
    refers_to: "structures",
    facts: {
        "id" = Id "the missing id; if the table is empty, the first one named",
        "rows" = Count "how many rows name it; if the table is empty, how many name any",
    },
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    match part {
        Part::Head(survey) => {
            for view in survey.pipes() {
                named(survey, &view.pipe.upstream, || view.subject("/upstream"), out);
                if let Some(id) = &view.pipe.downstream {
                    named(survey, id, || view.subject("/downstream"), out);
                }
            }
        }
        Part::Run(run) => {
            for (id, field) in [(&run.run.from, "/from"), (&run.run.to, "/to")] {
                if let Some(id) = id {
                    named(run.survey, id, || run.subject(field), out);
                }
            }
        }
    }
}

fn named(survey: &Survey<'_>, id: &str, subject: impl FnOnce() -> Subject, out: &mut Sink<'_>) {
    if !survey.has_structure(id) {
        out.unknown(
            "structure",
            id,
            survey.head.structures.iter().map(|row| row.id.as_str()),
            subject,
        );
    }
}
