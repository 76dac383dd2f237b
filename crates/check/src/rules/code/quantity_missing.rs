//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::column_votes::{Cause, Causes};
use crate::views::RowView;

rule! {
    /// # What it checks
    /// A quantity that the code list requires is missing: the row has none at its position.
    ///
    /// # Exceptions
    /// - A mistake in the whole column explains it (*Mistakes in a column* in Checking).
    ///
    /// # Exactly
    /// One finding, at `quantities`, or else at the row.
    ///
    /// # Why it matters
    /// A displaced joint without its offset cannot be graded or compared with the next survey.
    ///
    /// # Fails
    /// At `/runs/0/observations/4`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/4/quantities"}]
    /// ```
    ///
    /// # Passes
    /// The width of a crack is optional, and so is that of a connection after its height.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/code", "value": "crack.longitudinal"}]
    /// ```
    ///
    /// # Fix
    /// Measure it from the picture or the video, and add it with its unit.
    name: "quantity-missing", severity: Error, scope: Observation, since: "0.1", clause: "observations#quantities",
    needs: [Codes],
    concludes_from: ["observation.quantities"],
    facts: {
        "missing" = Texts "the names of the required quantities that are not recorded, in the order of the code list",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let shifted = Causes::default().with(Cause::Shifted, row.run.is_shifted(row.index));
    let Some(code) = row.code else { return };
    let missing = || {
        let amounts = code.amounts(&row.row.characterisation).skip(row.row.quantities.len());
        amounts.filter(|meaning| meaning.required == Some(true))
    };
    if missing().next().is_none() {
        return;
    }
    let missing_names: Vec<String> = missing()
        .map(|meaning| match meaning.of {
            Some(of) => {
                format!("{} ({} of {})", meaning.name, meaning.unit, of.as_str().replace('-', " "))
            }
            None => format!("{} ({})", meaning.name, meaning.unit),
        })
        .collect();
    let missing_names = missing_names.join(" and ");
    let names: Vec<&str> = missing().map(|meaning| meaning.name.as_str()).collect();
    out.report_unless(
        shifted,
        row.subject(if row.row.quantities.is_empty() { "" } else { "/quantities" }),
        format!("{} is missing its {missing_names}", code.code),
    )
    .fact("missing", names);
}
