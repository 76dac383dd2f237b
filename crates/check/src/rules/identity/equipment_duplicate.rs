//! See the rule's documentation below.

use obvert_model::edit::Edit;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A run names every piece of its equipment once.
    ///
    /// # Why it matters
    /// The second one was meant to be another: most often the transmitter or the launcher is missing from the list.
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
    /// Name the other piece, or take the second one out.
    name: "equipment-duplicate", severity: Warning, scope: Run, since: "0.1", clause: "equipment#references",
    facts: { "equipment" = Id "the piece that is named again" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let named = &run.run.equipment;
    for (index, id) in named.iter().enumerate() {
        if named[..index].contains(id) {
            let message = format!("the run names {:?} twice", id.as_str());
            let subject = run.subject(&format!("/equipment/{index}"));
            let edits = vec![Edit::remove(subject.path.as_str())];
            out.report(subject, message)
                .fact("equipment", id.as_str())
                .fix_if_confirmed("it was named twice by mistake, and no other piece was meant", edits);
        }
    }
}
