//! See the rule's documentation below.

use obvert_geo::{Fit, LonLatIssue, Slip, lonlat_issue};
use obvert_model::edit::Edit;

use crate::sink::Sink;
use crate::support::map_lengths::positions;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The two numbers of the positions are swapped: the positions lie in the area of use of their
    /// reference system only the other way round.
    ///
    /// # Why it matters
    /// With the numbers swapped, a town lies in another ocean. Programs differ in the order, so the
    /// mistake stays hidden until a map is drawn.
    ///
    /// # Source
    /// Areas of use: EPSG dataset. Order, easting or longitude first: RFC 7946, section 3.1.1.
    ///
    /// # Fails
    /// At `/crs`:
    /// ```json
    /// [{"op": "replace", "path": "/crs", "value": "EPSG:4326"}, {"op": "remove", "path": "/locates"},
    ///  {"op": "remove", "path": "/pipes/0/path"},
    ///  {"op": "replace", "path": "/structures/0/position", "value": [44.2000, -120.6000]},
    ///  {"op": "replace", "path": "/structures/1/position", "value": [44.2000, -120.5992]},
    ///  {"op": "replace", "path": "/structures/2/position", "value": [44.1995, -120.5992]}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/crs", "value": "EPSG:4326"}, {"op": "remove", "path": "/locates"},
    ///  {"op": "remove", "path": "/pipes/0/path"},
    ///  {"op": "replace", "path": "/structures/0/position", "value": [-120.6000, 44.2000]},
    ///  {"op": "replace", "path": "/structures/1/position", "value": [-120.5992, 44.2000]},
    ///  {"op": "replace", "path": "/structures/2/position", "value": [-120.5992, 44.1995]}]
    /// ```
    ///
    /// # Fix
    /// Swap the two numbers of every position.
    name: "coordinates-swapped", severity: Error, scope: Document, since: "0.1", clause: "document#reference-systems",
    needs: [Crs],
    facts: { "first" = Pointer "the first position that is impossible as recorded, otherwise the first position" },
}

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let (Some(crs), Some(stated)) = (&survey.crs, &survey.head.crs) else { return };
    let map_lengths = survey.map_lengths();
    let geographic = crs.kind() == obvert_geo::CrsKind::Geographic;
    let swapped = |x, y| geographic && lonlat_issue([x, y]) == Some(LonLatIssue::Swapped);
    let impossible =
        positions(survey.head).find(|(_, position)| swapped(position.x(), position.y()));
    let slipped = matches!(map_lengths.fit, Some(Fit::Slip(Slip::Swapped | Slip::SwappedDegrees)));
    if !(map_lengths.exchanged || slipped || impossible.is_some()) {
        return;
    }
    let Some((place, position)) = impossible.or_else(|| positions(survey.head).next()) else {
        return;
    };
    let order = if geographic { "longitude and latitude" } else { "easting and northing" };
    out.report(
        Subject::at("/crs"),
        format!(
            "{order} are swapped, for example [{}, {}] in {stated}",
            position.x(),
            position.y()
        ),
    )
    .fact("first", place.pointer())
    .fix_if_confirmed(
        "the two numbers of every position are swapped",
        positions(survey.head)
            .map(|(place, _)| {
                Edit::relocate(format!("{}/1", place.pointer()), format!("{}/0", place.pointer()))
            })
            .collect(),
    );
}
