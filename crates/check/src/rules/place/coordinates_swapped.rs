//! See the rule's documentation below.

use obvert_geo::{Crs, Fit, LonLatIssue, Slip, lonlat_issue};
use obvert_model::edit::Edit;

use crate::sink::Sink;
use crate::support::map_lengths::{PositionRef, positions};
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
    let finding = out.report(
        Subject::at("/crs"),
        format!(
            "{order} are swapped, for example [{}, {}] in {stated}",
            position.x(),
            position.y()
        ),
    );
    finding.fact("first", place.pointer());
    let Some(swapped) = swapped_positions(survey, crs) else { return };
    let all = swapped.len() == positions(survey.head).count();
    let does = if all {
        "the two numbers of every position are swapped".to_owned()
    } else {
        format!("the two numbers of {} positions are swapped, the others are right", swapped.len())
    };
    let edits = swapped.iter().map(|place| {
        Edit::relocate(format!("{}/1", place.pointer()), format!("{}/0", place.pointer()))
    });
    finding.fix_if_confirmed(does, edits.collect());
}

/// The positions that are swapped, if the area of use shows it for each. `None` if it does not show
/// it for all: a position is outside in both orders, or inside in both while some are right.
fn swapped_positions(survey: &Survey<'_>, crs: &Crs) -> Option<Vec<PositionRef>> {
    let inside = |x: f64, y: f64| crs.fit(&[[x, y]]) == Ok(Fit::Inside);
    let (mut swapped, mut either, mut right) = (Vec::new(), Vec::new(), 0);
    for (place, position) in positions(survey.head) {
        let (x, y) = (position.x(), position.y());
        match (inside(x, y), inside(y, x)) {
            (false, true) => swapped.push(place),
            (true, true) => either.push(place),
            (true, false) => right += 1,
            (false, false) => return None,
        }
    }
    if swapped.is_empty() || right > 0 && !either.is_empty() {
        return None;
    }
    swapped.append(&mut either);
    Some(swapped)
}
