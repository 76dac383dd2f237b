//! See the rule's documentation below.

use obvert_geo::{Crs, Fit, Slip};
use obvert_model::number::Position;

use crate::sink::Sink;
use crate::support::map_lengths::positions;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// Positions lie far outside the area of use of their reference system.
    ///
    /// # Exceptions
    /// - The two numbers are swapped (`coordinates-swapped`).
    /// - The unit is wrong (`crs-unit-suspect`).
    /// - They lie near the area (`position-near-area`).
    ///
    /// # Exactly
    /// Far is more than three degrees of longitude or latitude, or more than nine of longitude in a
    /// system whose own name has `UTM`: whole states and countries use one zone beyond its edges.
    /// One position among others that are inside is far if it is more than 0.1 degrees outside, and
    /// more than half a degree from the first one that is inside.
    ///
    /// If most positions are outside, or more than five, that is one finding at `/crs`; otherwise
    /// each is reported.
    ///
    /// # Why it matters
    /// One wrong digit in the system puts a town in another state or in the sea, and every map of
    /// it is empty.
    ///
    /// # Source
    /// Areas of use: EPSG dataset.
    ///
    /// # Fails
    /// Feet in a system in degrees, at `/crs`:
    /// ```json
    /// [{"op": "replace", "path": "/crs", "value": "EPSG:4326"}]
    /// ```
    /// The system of another state, at `/crs`:
    /// ```json
    /// [{"op": "replace", "path": "/crs", "value": "EPSG:2263"}]
    /// ```
    /// One structure, at `/structures/0/position`:
    /// ```json
    /// [{"op": "replace", "path": "/structures/0/position", "value": [1962380, 322100]}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/structures/2/position", "value": [19624050, 321920]}]
    /// ```
    ///
    /// # Fix
    /// Ask who made the positions, and name their system. Correct a mistyped position.
    name: "position-outside-area", severity: Error, scope: Document, since: "0.1", clause: "document#reference-systems",
    needs: [Crs],
    facts: {
        "positions" = Count "positions outside the area"
            if "more than five are outside, but not most",
        "of" = Count "positions of the document" if "more than five are outside, but not most",
        "first" = Pointer "the first position of the document, or the first outside the area"
            if "several are reported as one",
        "area" = Bounds "area of use of the reference system" if "most positions are outside it",
    },
}

/// Up to this many positions are reported one by one.
const FEW: usize = 5;

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let (Some(crs), Some(stated)) = (&survey.crs, &survey.head.crs) else { return };
    let map_lengths = survey.map_lengths();
    let why = match map_lengths.fit {
        Some(
            Fit::Inside
            | Fit::Slip(Slip::Swapped | Slip::SwappedDegrees | Slip::Feet | Slip::Metres),
        ) => None,
        Some(Fit::Slip(Slip::Degrees)) => {
            Some("they seem to be degrees of longitude and latitude".to_owned())
        }
        Some(Fit::Slip(Slip::LongitudeSign)) => {
            Some("they would lie inside it with the sign of the longitude changed".to_owned())
        }
        Some(Fit::Outside { lonlat, .. }) => Some(lonlat.map_or_else(
            || "they are beyond the range of the projection".to_owned(),
            |[lon, lat]| format!("the first would be at longitude {lon:.2} and latitude {lat:.2}"),
        )),
        _ => None,
    };
    // `coordinates-swapped` reports swapped numbers.
    if let Some(why) = why.filter(|_| !map_lengths.exchanged && !near_area(survey)) {
        let Some((first, _)) = positions(survey.head).next() else { return };
        let message =
            format!("the positions lie outside the area of use of {stated} ({}): {why}", area(crs));
        out.report(Subject::at("/crs"), message)
            .fact("first", first.pointer())
            .fact("area", bounds(crs));
        return;
    }
    let all = &map_lengths.outliers;
    let inside = first_inside(survey, crs);
    let outside: Vec<_> =
        all.iter().filter(|(_, position)| !near(crs, inside, *position)).collect();
    if let Some((first, _)) = outside.first().filter(|_| outside.len() > FEW) {
        let (some, of) = (outside.len(), positions(survey.head).count());
        let message = format!(
            "{some} of {of} positions lie outside the area of use of {stated} ({})",
            area(crs)
        );
        out.report(Subject::at("/crs"), message)
            .fact("positions", some)
            .fact("of", of)
            .fact("first", first.pointer());
        return;
    }
    for (place, position) in &outside {
        let [x, y] = (*position).into();
        let message =
            format!("[{x}, {y}] lies outside the area of use of {stated} ({})", area(crs));
        let finding = out.report(Subject::at(place.pointer()), message);
        if matches!(crs.fit(&[[y, x]]), Ok(Fit::Inside)) {
            finding.help("swap the two numbers: easting or longitude comes first");
        }
    }
}

/// How far beyond the area of use one system is used throughout a state, in degrees; common
/// practice, no published source.
const NEAR: f64 = 3.0;

/// The same for a zone that a whole country uses, as Norway does zone 33.
const NEAR_ZONE: f64 = 9.0;

/// How far a position outside the area may be from one that is inside, in degrees, to be a part of
/// a survey at its edge.
const NEIGHBOUR: f64 = 0.5;

/// The first position of a document, in degrees, if most of its positions lie near the area of use
/// of its reference system, but not inside.
pub(super) fn first_near(survey: &Survey<'_>) -> Option<[f64; 2]> {
    let (crs, map_lengths) = (survey.crs.as_ref()?, survey.map_lengths());
    let Some(Fit::Outside { .. }) = map_lengths.fit else { return None };
    let area = crs.area();
    let sides = if crs.name().contains("UTM") { NEAR_ZONE } else { NEAR };
    let near = |[lon, lat]: &[f64; 2]| {
        (area.west - sides..=area.east + sides).contains(lon)
            && (area.south - NEAR..=area.north + NEAR).contains(lat)
    };
    let (_, first) = positions(survey.head).next()?;
    crs.to_geographic(first.into()).ok().filter(near)
}

fn near_area(survey: &Survey<'_>) -> bool {
    first_near(survey).is_some()
}

/// The first position inside the area of use, in degrees, if there are others outside.
fn first_inside(survey: &Survey<'_>, crs: &Crs) -> Option<[f64; 2]> {
    if survey.map_lengths().outliers.is_empty() {
        return None;
    }
    let inside = |position: Position| crs.fit(&[position.into()]) == Ok(Fit::Inside);
    let (_, first) = positions(survey.head).find(|(_, position)| inside(*position))?;
    crs.to_geographic(first.into()).ok()
}

/// Whether a position is next to one that is inside the area of use.
fn near(crs: &Crs, inside: Option<[f64; 2]>, position: Position) -> bool {
    inside
        .zip(crs.to_geographic(position.into()).ok())
        .is_some_and(|(a, b)| (a[0] - b[0]).abs() <= NEIGHBOUR && (a[1] - b[1]).abs() <= NEIGHBOUR)
}

/// The west, south, east and north edge of the area of use, in degrees.
pub(super) fn bounds(crs: &Crs) -> Vec<f64> {
    let area = crs.area();
    vec![area.west, area.south, area.east, area.north]
}

/// The name of the reference system and its area of use.
pub(super) fn area(crs: &Crs) -> String {
    let area = crs.area();
    let (name, [west, east], [south, north]) =
        (crs.name(), [area.west, area.east], [area.south, area.north]);
    format!("{name}, longitudes {west} to {east} and latitudes {south} to {north}")
}
