//! See the rule's documentation below.

use crate::catalogue::near;
use crate::sink::Sink;
use crate::views::{Ending, Spot};

rule! {
    /// # What it checks
    /// Every structure that a pipe or a run names is in the table of structures.
    ///
    /// # Why it matters
    /// A run between structures that nobody knows cannot be put on a map or matched with the owner's records.
    ///
    /// # Fails
    /// At `/pipes/0/downstream`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/downstream", "value": "LM-15"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/to"}]
    /// ```
    ///
    /// # Fix
    /// Correct the id, or add the structure to the table.
    name: "unknown-structure", severity: Error, scope: Ending, since: "0.1", clause: "structures#references",
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let mut name = |id: &str, spot: &dyn Fn() -> Spot| {
        if survey.structure(id).is_none() {
            let finding = out.report(spot(), format!("no structure has the id {id:?}"));
            finding.fact("id", id);
            if let Some(near) = near(id, survey.head.structures.iter().map(|row| row.id.as_str())) {
                finding.help(format!("did you mean {near:?}?"));
            }
        }
    };
    for view in survey.pipes() {
        name(&view.pipe.upstream, &|| view.spot("/upstream"));
        if let Some(id) = &view.pipe.downstream {
            name(id, &|| view.spot("/downstream"));
        }
    }
    for summary in ending.runs {
        for (id, field) in [(&summary.run.from, "/from"), (&summary.run.to, "/to")] {
            if let Some(id) = id {
                name(id, &|| summary.spot(field));
            }
        }
    }
}
