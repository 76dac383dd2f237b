//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A run names a piece of equipment more than once.
    ///
    /// # Why it matters
    /// The second was meant to be another piece, most often the transmitter or the launcher.
    ///
    /// # Fails
    /// At `/runs/0/equipment/1`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/equipment/1", "value": "E-1"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/equipment/1"}]
    /// ```
    ///
    /// # Fix
    /// Name the other piece, or remove the duplicate.
    name: "equipment-duplicate", severity: Warning, scope: Run, since: "0.1", clause: "equipment#references",
    facts: { "equipment" = Id "the piece that is named more than once" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let named = &run.run.equipment;
    for (index, id) in named.iter().enumerate() {
        if named[..index].contains(id) {
            let message = format!("the run names the equipment {:?} more than once", id.as_str());
            let subject = run.subject(&format!("/equipment/{index}"));
            out.report(subject, message).fact("equipment", id.as_str());
        }
    }
}
