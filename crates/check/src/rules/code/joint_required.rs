//! See the rule's documentation below.

use obvert_model::lists::JointUse;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A code that occurs only at joints is recorded without `joint: true`.
    ///
    /// # Exactly
    /// At `joint` if it is false, otherwise at the row.
    ///
    /// # Why it matters
    /// Pipes are tested and sealed joint by joint; this one is missing from every list of joints.
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
    /// Add `joint: true`, or correct the code if it is not at a joint.
    name: "joint-required", severity: Warning, scope: Observation, since: "0.1", clause: "observations#joint",
    needs: [Codes],
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code.filter(|code| code.joint == JointUse::Required) else { return };
    let recorded = match row.row.joint {
        Some(true) => return,
        Some(false) => "has joint: false",
        None => "does not have joint: true",
    };
    out.report(
        row.subject(if row.row.joint.is_some() { "/joint" } else { "" }),
        format!("{} occurs only at joints, but the row {recorded}", code.code),
    );
}
