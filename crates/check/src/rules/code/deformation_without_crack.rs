//! See the rule's documentation below.

use std::cell::OnceCell;

use obvert_model::lists::Family;
use obvert_model::tables::{MaterialClass, QuantityUnit};

use crate::sink::Sink;
use crate::support::lined::Lining;
use crate::support::nearby::Places;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// A pipe of clayware or concrete is recorded as deformed by `from` or more, and no crack,
    /// fracture, break or collapse is recorded within `within` of the place.
    ///
    /// # Exceptions
    /// - The pipe is lined there: the lining is deformed, and hides the cracks.
    /// - The amount is not a percentage.
    /// - The code does not apply to the pipe's shape (`shape-excludes-code`).
    ///
    /// # Exactly
    /// The deformation is `deformation.vertical`, `deformation.horizontal` or `deformation.oval`,
    /// by its code or the code of `obvert-terms` that it links to; its amount is the first one. It
    /// has a crack if a row of the groups `surface-crack`, `crack`, `fracture`, `break`, `hole` or
    /// `collapse` is within `within`, counted between the nearest ends of stretches. Recorded
    /// changes of material count.
    ///
    /// # Why it matters
    /// A rigid pipe breaks before it deforms: either its fractures were not recorded, or the
    /// material or the amount is wrong. The grade and the repair depend on it.
    ///
    /// # Source
    /// Handbooks call a pipe rigid if it cannot deflect by more than about 2 % without damage (from
    /// memory).
    ///
    /// # Fails
    /// At `/runs/0/observations/4/code`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value":
    ///   {"id": "4a", "at": 80, "code": "deformation.vertical", "quantities": [{"value": 9, "unit": "percent"}],
    ///    "grades": {"structural": 4}}}]
    /// ```
    ///
    /// # Passes
    /// With its fractures.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value":
    ///   {"id": "4a", "at": 80, "code": "deformation.vertical", "quantities": [{"value": 9, "unit": "percent"}],
    ///    "grades": {"structural": 4}}},
    ///  {"op": "add", "path": "/runs/0/observations/5", "value":
    ///   {"id": "4b", "at": 80, "code": "fracture.complex", "grades": {"structural": 4}}}]
    /// ```
    /// A flexible pipe.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/material", "value": "pvc"},
    ///  {"op": "add", "path": "/runs/0/observations/4", "value":
    ///   {"id": "4a", "at": 80, "code": "deformation.vertical", "quantities": [{"value": 9, "unit": "percent"}],
    ///    "grades": {"structural": 3}}}]
    /// ```
    ///
    /// # Fix
    /// Look at the video again: record the cracks or fractures, or correct the material or the
    /// amount.
    name: "deformation-without-crack", severity: Warning, scope: Run, since: "0.1", clause: "observations#codes",
    needs: [Codes],
    concludes_from: ["pipe.material", "pipe.lining", "pipe.shape"],
    limits: {
        "from" = 3.0 "percent" "the deformation from which a rigid pipe must have cracked; common practice",
        "within" = 1.5 "m" "how far away the crack may be; common practice",
    },
    facts: {
        "deformation" = Percent "the recorded deformation",
        "material" = Word "the class of the pipe's material at the row",
    },
}

const DEFORMATIONS: [&str; 3] =
    ["deformation.vertical", "deformation.horizontal", "deformation.oval"];

/// Groups of codes for a wall that has broken.
const BROKEN: [&str; 6] = ["surface-crack", "crack", "fracture", "break", "hole", "collapse"];

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let (cracks, lining) = (OnceCell::new(), OnceCell::new());
    let structural =
        |row: &RowView<'_>| row.code.is_some_and(|code| code.family == Family::Structural);
    for row in run.rows().filter(structural) {
        if !row.term().is_some_and(|term| DEFORMATIONS.contains(&term.code)) {
            continue;
        }
        let Some((class, amount)) = deformed(&row).filter(|(_, by)| *by >= out.limit("from"))
        else {
            continue;
        };
        let cracks = cracks.get_or_init(|| Places::of(run, |term| BROKEN.contains(&term.group())));
        if lining.get_or_init(|| Lining::of(run)).covers(&row)
            || cracks.near(&row, out.limit("within"))
        {
            continue;
        }
        let within = run.survey.format_metres(out.limit("within"));
        let message = format!(
            "a pipe of {class} is deformed by {amount} percent here, but no crack or fracture is \
             recorded within {within}"
        );
        out.report(row.subject("/code"), message)
            .fact("deformation", amount)
            .fact("material", class.as_str());
    }
}

/// The class of a rigid pipe, and by how many percent it is deformed.
fn deformed(row: &RowView<'_>) -> Option<(MaterialClass, f64)> {
    let rigid =
        |class: &MaterialClass| matches!(class, MaterialClass::Clayware | MaterialClass::Concrete);
    let section = row.cross_section();
    let class = section.class.filter(rigid)?;
    let shapes = &row.code?.shapes;
    if !shapes.is_empty() && section.shape.is_some_and(|shape| !shapes.contains(&shape)) {
        return None;
    }
    let quantity = row.row.quantities.first()?;
    (quantity.unit == QuantityUnit::Percent && !row.run.is_shifted(row.index))
        .then(|| (class, quantity.value.get()))
}
