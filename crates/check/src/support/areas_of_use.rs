//! Positions outside the area of use of their reference system.

use obvert_geo::{Crs, Fit};
use obvert_model::number::Position;

use crate::support::map_lengths::positions;
use crate::views::Survey;

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
pub(crate) fn first_near(survey: &Survey<'_>) -> Option<[f64; 2]> {
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

/// Whether most positions lie near the area, but not inside.
pub(crate) fn near_area(survey: &Survey<'_>) -> bool {
    first_near(survey).is_some()
}

/// The first position inside the area of use, in degrees, if there are others outside.
pub(crate) fn first_inside(survey: &Survey<'_>, crs: &Crs) -> Option<[f64; 2]> {
    if survey.map_lengths().outliers.is_empty() {
        return None;
    }
    let inside = |position: Position| crs.fit(&[position.into()]) == Ok(Fit::Inside);
    let (_, first) = positions(survey.head).find(|(_, position)| inside(*position))?;
    crs.to_geographic(first.into()).ok()
}

/// Whether a position is next to one that is inside the area of use.
pub(crate) fn near(crs: &Crs, inside: Option<[f64; 2]>, position: Position) -> bool {
    inside
        .zip(crs.to_geographic(position.into()).ok())
        .is_some_and(|(a, b)| (a[0] - b[0]).abs() <= NEIGHBOUR && (a[1] - b[1]).abs() <= NEIGHBOUR)
}

/// The west, south, east and north edge of the area of use, in degrees.
pub(crate) fn bounds(crs: &Crs) -> Vec<f64> {
    let area = crs.area();
    vec![area.west, area.south, area.east, area.north]
}

/// The name of the reference system and its area of use.
pub(crate) fn area(crs: &Crs) -> String {
    let area = crs.area();
    let (name, [west, east], [south, north]) =
        (crs.name(), [area.west, area.east], [area.south, area.north]);
    format!("{name}, longitudes {west} to {east} and latitudes {south} to {north}")
}
