//! See the rule's documentation below.

use obvert_model::number::Length;

use crate::sink::Sink;
use crate::support::cameras::is_camera;
use crate::support::run_extent::exceeds;
use crate::views::{RunView, tolerance};

rule! {
    /// # What it checks
    /// A run is no longer than the cable or rod that it was made with: all the cable of the equipment that it names
    /// together, where each camera states its own.
    ///
    /// # Exactly
    /// *cable* is the sum of `cable_length` over all equipment that the run names, cameras or not, each piece once. Every
    /// name leads to a row, at least one piece is a camera (`push-rod`, `crawler`, `pole`, `float`), every camera has `cable_length`, and the distance travelled exceeds
    /// *cable* + tolerance(*cable*).
    ///
    /// # Why it matters
    /// The run was made with another reel, or its distance has a digit too many.
    ///
    /// # Source
    /// Tolerance: the greater of 0.5 % and 1 ft, City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer
    /// Systems.
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
    /// Name the equipment that was used, or correct the length of its cable or the distance.
    name: "cable-shorter-than-run", severity: Error, scope: Run, since: "0.1", clause: "equipment#references",
    facts: {
        "travelled" = Length "how far the run went: `surveyed` less *reads*",
        "cable" = Length "the `cable_length` of all equipment that the run names, added up",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let survey = run.survey;
    let Some(travelled) = run.travelled() else { return };
    let (mut cable, mut cameras) = (0.0, 0);
    for (place, id) in run.run.equipment.iter().enumerate() {
        if run.run.equipment[..place].contains(id) {
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
    let (far, has) = (survey.say_metres(travelled), survey.say_metres(cable));
    out.report(run.subject("/equipment"), format!("the run is {far} long, but its equipment has {has} of cable"))
        .fact("travelled", survey.in_units(travelled))
        .fact("cable", survey.in_units(cable));
}
