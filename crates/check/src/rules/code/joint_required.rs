//! See the rule's documentation below.

use obvert_model::edit::Edit;
use obvert_model::lists::JointUse;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A code that can be seen only at a joint is recorded with `joint: true`.
    ///
    /// # Why it matters
    /// Joint by joint is how a pipe is tested and sealed. A displaced joint that is not marked as being at one is missing
    /// from every list of joints.
    ///
    /// # Fails
    /// At `/runs/0/observations/4`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/4/joint"}]
    /// ```
    /// At `/runs/0/observations/4/joint`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/joint", "value": false}]
    /// ```
    ///
    /// # Passes
    /// Roots can be anywhere.
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/5/joint"}]
    /// ```
    ///
    /// # Fix
    /// Add `joint: true`, or correct the code if it was not at a joint.
    name: "joint-required", severity: Warning, scope: Observation, since: "0.1", clause: "observations#joint",
    needs: [Codes],
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code.filter(|code| code.joint == JointUse::Required) else { return };
    let said = match row.row.joint {
        Some(true) => return,
        Some(false) => "says that it is not",
        None => "does not say that it is",
    };
    out.report(
        row.subject(if row.row.joint.is_some() { "/joint" } else { "" }),
        format!("{} is seen at a joint only, but the row {said} at one", code.code),
    )
    .fix_if_confirmed("the code is right, and it was at a joint", vec![Edit::add(row.subject("/joint").path, true)]);
}
