//! See the rule's documentation below.

use obvert_geo::{Crs, Fit, Slip};

use crate::sink::Sink;
use crate::support::map_lengths::positions;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// Positions lie in the area in which their reference system is used, and a tenth of a degree around it. Where most do
    /// not, or more than a few, that is one finding about the system; otherwise each that does not is reported. Exchanged
    /// numbers are left to `coordinates-swapped`, a wrong unit to `crs-unit-suspect`.
    ///
    /// # Why it matters
    /// With one digit of the system wrong a town lies in another state or in the sea, and every map of it is empty.
    ///
    /// # Source
    /// Areas of use from the EPSG dataset.
    ///
    /// # Fails
    /// Feet under a system in degrees, at `/crs`:
    /// ```json
    /// [{"op": "replace", "path": "/crs", "value": "EPSG:4326"}]
    /// ```
    /// The system of another state, at `/crs`:
    /// ```json
    /// [{"op": "replace", "path": "/crs", "value": "EPSG:2263"}]
    /// ```
    /// One structure in another place, at `/structures/0/position`:
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
    /// Name the system that the numbers are in; whoever made the positions knows it. Correct a position that was mistyped.
    name: "position-outside-area", severity: Error, scope: Document, since: "0.1", clause: "document#reference-systems",
    needs: [Crs],
    facts: {
        "positions" = Count "positions outside the area" if "they are more than five and not all",
        "of" = Count "positions that the document has" if "they are more than five and not all",
        "first" = Pointer "the first position of the document, or the first outside the area"
            if "several are told at once",
        "area" = Bounds "the area where the reference system is used" if "all positions are outside it",
    },
}

/// So many positions are told one by one.
const FEW: usize = 5;

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let (Some(crs), Some(stated)) = (&survey.crs, &survey.head.crs) else { return };
    let map_lengths = survey.map_lengths();
    let why = match map_lengths.fit {
        Some(Fit::Inside | Fit::Slip(Slip::Swapped | Slip::SwappedDegrees | Slip::Feet | Slip::Metres)) => None,
        Some(Fit::Slip(Slip::Degrees)) => Some("they seem to be degrees of longitude and latitude".to_owned()),
        Some(Fit::Slip(Slip::LongitudeSign)) => {
            Some("they would lie in it with the other sign of the longitude".to_owned())
        }
        Some(Fit::Outside { lonlat, .. }) => Some(lonlat.map_or_else(
            || "the system does not reach so far".to_owned(),
            |[lon, lat]| format!("the first would be at longitude {lon:.2} and latitude {lat:.2}"),
        )),
        _ => None,
    };
    // In a geographic system numbers that only fit the other way round are another rule's finding.
    if let Some(why) = why.filter(|_| !map_lengths.exchanged) {
        let Some((first, _)) = positions(survey.head).next() else { return };
        let message = format!("the positions lie outside the area where {stated} is used ({}): {why}", area(crs));
        out.report(Subject::at("/crs"), message).fact("first", first.pointer()).fact("area", bounds(crs));
        return;
    }
    let astray = &map_lengths.outliers;
    if let Some((first, _)) = astray.first().filter(|_| astray.len() > FEW) {
        let (some, of) = (astray.len(), positions(survey.head).count());
        let message = format!("{some} of {of} positions lie outside the area where {stated} is used ({})", area(crs));
        out.report(Subject::at("/crs"), message).fact("positions", some).fact("of", of).fact("first", first.pointer());
        return;
    }
    for (place, position) in astray {
        let [x, y] = [position.x, position.y];
        let message = format!("[{x}, {y}] lies outside the area where {stated} is used ({})", area(crs));
        let finding = out.report(Subject::at(place.pointer()), message);
        if matches!(crs.fit(&[[y, x]]), Ok(Fit::Inside)) {
            finding.help("the two numbers stand the other way round: easting or longitude comes first");
        }
    }
}

/// A reference system's name and its area of use.
/// The area's west, south, east and north edge, in degrees.
fn bounds(crs: &Crs) -> Vec<f64> {
    let area = crs.area();
    vec![area.west, area.south, area.east, area.north]
}

fn area(crs: &Crs) -> String {
    let area = crs.area();
    let (name, [west, east], [south, north]) = (crs.name(), [area.west, area.east], [area.south, area.north]);
    format!("{name}, longitudes {west} to {east} and latitudes {south} to {north}")
}
