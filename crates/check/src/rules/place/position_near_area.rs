//! See the rule's documentation below.

use super::position_outside_area::{area, bounds, first_near};
use crate::sink::Sink;
use crate::support::map_lengths::positions;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// Most positions lie outside the area of use of their reference system and a tenth of a degree
    /// around it, but near it. Whole states use one zone beyond its edges, so this is a note.
    ///
    /// # Exceptions
    /// - The two numbers are swapped (`coordinates-swapped`).
    /// - The unit is wrong (`crs-unit-suspect`).
    ///
    /// # Exactly
    /// The first position is at most three degrees of longitude and latitude outside, or nine of
    /// longitude in a system whose own name has `UTM`. That is one finding.
    ///
    /// # Why it matters
    /// The system may be that of the neighbouring zone; if it is not, lengths on the map are a
    /// little less accurate there.
    ///
    /// # Source
    /// Areas of use: EPSG dataset. Degrees: common practice, no published source.
    ///
    /// # Fails
    /// Zone 32 at 13.4 degrees east, at `/crs`:
    /// ```json
    /// [{"op": "replace", "path": "/crs", "value": "EPSG:25832"}, {"op": "replace", "path": "/units/length", "value": "m"},
    ///  {"op": "replace", "path": "/structures/0/position", "value": [826000, 5386000]}, {"op": "replace", "path": "/structures/1/position", "value": [826200, 5386000]},
    ///  {"op": "replace", "path": "/structures/2/position", "value": [826200, 5386180]}, {"op": "replace", "path": "/pipes/0/path", "value": [[826000, 5386000], [826200, 5386000]]},
    ///  {"op": "replace", "path": "/locates/0/position", "value": [826050, 5386000]}, {"op": "replace", "path": "/locates/1/position", "value": [826150, 5386000]}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/structures/2/position", "value": [19624050, 321920]}]
    /// ```
    ///
    /// # Fix
    /// Ask who made the positions whether the system is right. If it is, leave it.
    name: "position-near-area", severity: Note, scope: Document, since: "0.1", clause: "document#reference-systems",
    needs: [Crs],
    facts: {
        "first" = Pointer "the first position of the document",
        "area" = Bounds "area of use of the reference system",
    },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let (Some(crs), Some(stated)) = (&survey.crs, &survey.head.crs) else { return };
    let Some([lon, lat]) = first_near(survey).filter(|_| !survey.map_lengths().exchanged) else {
        return;
    };
    let Some((first, _)) = positions(survey.head).next() else { return };
    let message = format!(
        "the positions lie a little outside the area of use of {stated} ({}): the first is at longitude {lon:.2} and latitude {lat:.2}",
        area(crs)
    );
    out.report(Subject::at("/crs"), message)
        .fact("first", first.pointer())
        .fact("area", bounds(crs));
}
