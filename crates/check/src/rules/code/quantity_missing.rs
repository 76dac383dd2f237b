//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RowView;

rule! {
    /// # What it checks
    /// Every amount that the code list requires is there. Amounts stand in the list's order, so one is missing where the
    /// row has fewer than its place asks for.
    ///
    /// # Why it matters
    /// A displaced joint without its offset can be a hair's breadth or the end of the pipe. No grade follows from it, and
    /// the next survey cannot tell whether it has moved.
    ///
    /// # Fails
    /// At `/runs/0/observations/4`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/4/quantities"}]
    /// ```
    ///
    /// # Passes
    /// The width of a crack may be left out, and so may the width of a connection after its height.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/2/code", "value": "crack.longitudinal"}]
    /// ```
    ///
    /// # Fix
    /// Measure the amount again from the picture or the video and add it with its unit.
    name: "quantity-missing", severity: Error, scope: Observation, since: "0.1", clause: "observations#quantities",
    needs: [Codes],
    concludes_from: ["observation.quantities"],
    facts: {
        "missing" = Texts "the names of the required amounts that are not recorded, in the order of the code list",
    },
}

fn check(row: &RowView<'_>, out: &mut Sink<'_>) {
    let Some(code) = row.code else { return };
    let missing = || {
        let amounts = code.amounts(&row.row.characterisation).skip(row.row.quantities.len());
        amounts.filter(|meaning| meaning.required == Some(true))
    };
    if missing().next().is_none() {
        return;
    }
    let said: Vec<String> = missing()
        .map(|meaning| match meaning.of {
            Some(of) => format!("{} in {} of {}", meaning.name, meaning.unit, of.as_str().replace('-', " ")),
            None => format!("{} in {}", meaning.name, meaning.unit),
        })
        .collect();
    let said = said.join(" and its ");
    let names: Vec<&str> = missing().map(|meaning| meaning.name.as_str()).collect();
    out.report(
        row.subject(if row.row.quantities.is_empty() { "" } else { "/quantities" }),
        format!("{} needs its {said}", code.code),
    )
    .fact("missing", names);
}
