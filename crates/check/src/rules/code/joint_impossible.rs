//! See the rule's documentation below.

use obvert_model::lists::JointUse;

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A code that cannot be at a joint is recorded with `joint: true`.
    ///
    /// # Why it matters
    /// The number of defective joints is one too high, or the code is wrong.
    ///
    /// # Fails
    /// At `/runs/0/observations/3/joint`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/joint", "value": true}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/joint", "value": false}]
    /// ```
    /// A crack can be at a joint.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2/joint", "value": true}]
    /// ```
    ///
    /// # Fix
    /// Remove `joint`, or correct the code.
    name: "joint-impossible", severity: Warning, scope: Observation, since: "0.1", clause: "observations#joint",
    needs: [Codes],
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    if row.row.joint == Some(true) {
        if let Some(code) = row.code.filter(|code| code.joint == JointUse::Never) {
            out.report(
                row.subject("/joint"),
                format!("{} cannot be at a joint, but is recorded at one", code.code),
            );
        }
    }
}
