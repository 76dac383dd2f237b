//! See the rule's documentation below.

use obvert_model::tables::PartyRole;

use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The party that the assignment names as the owner has the role `contractor`, `operator` or
    /// `reviewer`, and another party has the role `owner`.
    ///
    /// # Exactly
    /// Without such a party the owner may have surveyed the pipes: a party has one role only.
    ///
    /// # Why it matters
    /// The delivery is filed under the contractor, or the wrong party gets the bill.
    ///
    /// # Fails
    /// At `/assignment/owner`:
    /// ```json
    /// [{"op": "replace", "path": "/assignment/owner", "value": "P-2"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/parties/1/role"}, {"op": "replace", "path": "/assignment/owner", "value": "P-2"}]
    /// ```
    ///
    /// The owner's own crew.
    /// ```json
    /// [{"op": "remove", "path": "/parties/0/role"}, {"op": "replace", "path": "/assignment/owner", "value": "P-2"}]
    /// ```
    ///
    /// # Fix
    /// Name the owner, or correct the role of the party.
    name: "owner-contradicts-role", severity: Warning, scope: Document, since: "0.1", clause: "parties#references",
    concludes_from: ["parties"],
    facts: { "role" = Word "the role of the party" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let Some(owner) =
        survey.head.assignment.as_ref().and_then(|assignment| assignment.owner.as_ref())
    else {
        return;
    };
    if !survey.head.parties.iter().any(|party| party.role == Some(PartyRole::Owner)) {
        return;
    }
    let role = survey.party(owner).and_then(|party| party.role);
    if let Some(role @ (PartyRole::Contractor | PartyRole::Operator | PartyRole::Reviewer)) = role {
        let (id, role) = (owner.as_str(), role.as_str());
        out.report(
            Subject::at("/assignment/owner"),
            format!("{id:?} is named as the owner, but its role is {role}"),
        )
        .fact("role", role);
    }
}
