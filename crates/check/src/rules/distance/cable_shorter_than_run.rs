//! See the rule's documentation below.

use obvert_model::number::Length;

use crate::sink::Sink;
use crate::support::cameras::is_camera;
use crate::support::run_extent::exceeds;
use crate::views::{RunView, tolerance};

rule! {
    /// # What it checks
    /// A run is longer than all cable and rods of its equipment together.
    ///
    /// # Exceptions
    /// - None of its equipment is a camera (`push-rod`, `crawler`, `pole`, `float`).
    /// - One of its cameras has no `cable_length`.
    /// - One of its `equipment` ids is not in the table.
    ///
    /// # Exactly
    /// *cable* is the sum of `cable_length` over the equipment, each piece once, and above 0.
    /// `surveyed` − *reads* exceeds *cable* + tolerance(*cable*).
    ///
    /// # Why it matters
    /// The run was made with another reel, or its distance has one digit too many.
    ///
    /// # Source
    /// Tolerance (0.5 %, at least 1 ft): City of Sunny Isles Beach FL, Section 02762.
    ///
    /// # Fails
    /// At `/runs/0/equipment`:
    /// ```json
    /// [{"op": "add", "path": "/equipment/0/cable_length", "value": 150}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/equipment/0/cable_length", "value": 200}]
    /// ```
    ///
    /// # Fix
    /// Name the equipment that was used, or correct `cable_length` or the distance.
    name: "cable-shorter-than-run", severity: Error, scope: Run, since: "0.1", clause: "equipment#references",
    facts: {
        "travelled" = Length "distance travelled: `surveyed` − *reads*",
        "cable" = Length "sum of `cable_length` over the run's equipment",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let survey = run.survey;
    let Some(travelled) = run.travelled() else { return };
    let (mut cable, mut cameras) = (0.0, 0);
    for (index, id) in run.run.equipment.iter().enumerate() {
        if run.run.equipment[..index].contains(id) {
            continue;
        }
        let Some(equipment) = survey.equipment(id) else { return };
        if is_camera(equipment.kind) {
            cameras += 1;
            if equipment.cable_length.is_none() {
                return;
            }
        }
        cable += equipment.cable_length.map_or(0.0, Length::get);
    }
    let cable = cable * survey.head.units.length.metres();
    if cameras == 0 || cable <= 0.0 || !exceeds(travelled, cable + tolerance(cable)) {
        return;
    }
    let (length, available) = (survey.format_metres(travelled), survey.format_metres(cable));
    let message =
        format!("the run is {length} long, but its equipment has only {available} of cable");
    out.report(run.subject("/equipment"), message)
        .fact("travelled", survey.in_units(travelled))
        .fact("cable", survey.in_units(cable));
}
