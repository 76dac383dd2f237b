//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{Part, Subject, Survey};

rule! {
    /// # What it checks
    /// The assignment, the review, another party or a run names a party that is not in the party
    /// table. One finding for each missing id.
    ///
    /// # Why it matters
    /// When something turns out wrong, the owner first asks who did it.
    ///
    /// # Fails
    /// At `/assignment/owner`:
    /// ```json
    /// [{"op": "replace", "path": "/assignment/owner", "value": "P-9"}]
    /// ```
    /// At `/review/by`:
    /// ```json
    /// [{"op": "add", "path": "/review", "value": {"status": "checked", "by": "P2"}}]
    /// ```
    /// At `/parties/1/member_of`:
    /// ```json
    /// [{"op": "add", "path": "/parties/1/member_of", "value": "heron"}]
    /// ```
    /// At `/runs/1/operator`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/operator", "value": "p-2"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/review", "value": {"status": "checked", "by": "P-2"}}]
    /// ```
    ///
    /// # Fix
    /// Correct the id, or add the party to the table.
    name: "unknown-party", severity: Error, scope: Throughout, since: "0.1", clause: "parties#references",
    refers_to: "parties",
    facts: {
        "id" = Id "the missing id; if the table is empty, the first one named",
        "rows" = Count "how many rows name it; if the table is empty, how many name any",
    },
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    match part {
        Part::Head(survey) => {
            let head = survey.head;
            if let Some(owner) =
                head.assignment.as_ref().and_then(|assignment| assignment.owner.as_ref())
            {
                named(survey, owner, || Subject::at("/assignment/owner"), out);
            }
            if let Some(by) = head.review.as_ref().and_then(|review| review.by.as_ref()) {
                named(survey, by, || Subject::at("/review/by"), out);
            }
            for (index, party) in head.parties.iter().enumerate() {
                if let Some(firm) = &party.member_of {
                    named(survey, firm, || Subject::at(format!("/parties/{index}/member_of")), out);
                }
            }
        }
        Part::Run(run) => {
            if let Some(operator) = &run.run.operator {
                named(run.survey, operator, || run.subject("/operator"), out);
            }
        }
    }
}

fn named(survey: &Survey<'_>, id: &str, subject: impl FnOnce() -> Subject, out: &mut Sink<'_>) {
    if !survey.has_party(id) {
        out.unknown("party", id, survey.head.parties.iter().map(|row| row.id.as_str()), subject);
    }
}
