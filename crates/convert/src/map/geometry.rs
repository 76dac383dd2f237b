//! The three geometries of RFC 7946 that a survey needs. Rounding, splitting at the antimeridian,
//! comparing and bounding concern longitudes and latitudes only, so they are separate from the
//! network.

use serde::ser::{Serialize, SerializeMap, Serializer};

/// Longitude and latitude on WGS 84, in degrees.
pub(crate) type LonLat = [f64; 2];

/// Decimals of a degree that are written: 1e-9 degrees are 0.11 mm on the ground. Six decimals,
/// which RFC 7946 §11.2 suggests, are 11 cm, and good receivers are more accurate than that.
const DECIMALS: f64 = 1e9;

/// How far apart two coordinates may be to count as the same: the seventh decimal, to which common
/// writers of GeoJSON round, 11 mm on the ground.
const SAME_DEGREES: f64 = 1.000_001e-7;

/// A geometry, with at least one position, or two in each line.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Geometry {
    Point(LonLat),
    Line(Vec<LonLat>),
    /// A line that was split at the antimeridian (RFC 7946 §3.1.9).
    Lines(Vec<Vec<LonLat>>),
}

impl Geometry {
    /// A point, with rounded numbers.
    pub(crate) fn point(position: LonLat) -> Self {
        Self::Point(rounded(position))
    }

    /// A line, rounded, and split where it crosses the antimeridian. A line without length is a
    /// point.
    pub(crate) fn line(positions: Vec<LonLat>) -> Option<Self> {
        let positions: Vec<LonLat> = positions.into_iter().map(rounded).collect();
        let first = *positions.first()?;
        if positions.iter().all(|position| *position == first) {
            return Some(Self::Point(first));
        }
        let mut parts = cut(&positions);
        Some(if parts.len() == 1 { Self::Line(parts.swap_remove(0)) } else { Self::Lines(parts) })
    }

    /// The lines of the geometry; a point is a line of one position.
    pub(crate) fn parts(&self) -> Vec<&[LonLat]> {
        match self {
            Self::Point(position) => vec![std::slice::from_ref(position)],
            Self::Line(positions) => vec![positions],
            Self::Lines(parts) => parts.iter().map(Vec::as_slice).collect(),
        }
    }

    /// Whether two geometries are equal except for rounding.
    pub(crate) fn agrees(&self, other: &Self) -> bool {
        let (a, b) = (self.parts(), other.parts());
        a.len() == b.len()
            && a.iter()
                .zip(b)
                .all(|(a, b)| a.len() == b.len() && a.iter().zip(b).all(|(a, b)| near(*a, *b)))
    }

    /// The line, joined again where it was split at the antimeridian; `None` if its parts do not
    /// meet there.
    pub(crate) fn joined(&self) -> Option<Vec<LonLat>> {
        let mut joined: Vec<LonLat> = Vec::new();
        for part in self.parts() {
            let Some(&last) = joined.last() else {
                joined.extend(part);
                continue;
            };
            let meets = last[0].abs() == 180.0 && near(last, part[0]);
            if !meets {
                return None;
            }
            joined.pop();
            joined.extend(&part[1..]);
        }
        Some(joined)
    }

    /// The approximate distance to another geometry in metres: the largest distance between
    /// positions with the same index, or `None` if the numbers of positions differ.
    pub(crate) fn apart(&self, other: &Self) -> Option<f64> {
        let all = |geometry: &Self| geometry.parts().concat();
        let (a, b) = (all(self), all(other));
        (a.len() == b.len())
            .then(|| a.iter().zip(b).map(|(a, b)| metres(*a, b)).fold(0.0, f64::max))
    }
}

impl Serialize for Geometry {
    fn serialize<S: Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> {
        let mut object = sink.serialize_map(Some(2))?;
        match self {
            Self::Point(position) => {
                object.serialize_entry("type", "Point")?;
                object.serialize_entry("coordinates", position)?;
            }
            Self::Line(positions) => {
                object.serialize_entry("type", "LineString")?;
                object.serialize_entry("coordinates", positions)?;
            }
            Self::Lines(parts) => {
                object.serialize_entry("type", "MultiLineString")?;
                object.serialize_entry("coordinates", parts)?;
            }
        }
        object.end()
    }
}

/// Whether two positions are equal except for rounding; longitudes 180 and −180 are the same.
pub(crate) fn near(a: LonLat, b: LonLat) -> bool {
    turn(a[0] - b[0]).abs() <= SAME_DEGREES && (a[1] - b[1]).abs() <= SAME_DEGREES
}

/// An angle, normalised to −180..180.
fn turn(degrees: f64) -> f64 {
    degrees - 360.0 * (degrees / 360.0).round()
}

/// Distance in metres for a message: flat on a sphere, accurate to a percent for short distances.
fn metres(a: LonLat, b: LonLat) -> f64 {
    let degree = 111_195.0;
    let east = turn(a[0] - b[0]) * degree * f64::midpoint(a[1], b[1]).to_radians().cos();
    east.hypot((a[1] - b[1]) * degree)
}

fn rounded(position: LonLat) -> LonLat {
    // Adding 0 turns −0 into 0.
    position.map(|degrees| (degrees * DECIMALS).round() / DECIMALS + 0.0)
}

/// Splits a line where it crosses the antimeridian, so that no part does (RFC 7946 §3.1.9). A line
/// crosses if the short way round does; no pipe goes the long way.
fn cut(positions: &[LonLat]) -> Vec<Vec<LonLat>> {
    let mut parts = Vec::new();
    let mut part: Vec<LonLat> = Vec::new();
    for &[mut lon, lat] in positions {
        let Some(&[last_lon, last_lat]) = part.last() else {
            part.push([lon, lat]);
            continue;
        };
        if (lon - last_lon).abs() > 180.0 {
            let side = 180.0_f64.copysign(last_lon);
            if lon.abs() == 180.0 {
                // On the antimeridian itself, where both longitudes are right.
                lon = side;
            } else {
                if last_lon != side {
                    let share = (side - last_lon) / (lon + 2.0 * side - last_lon);
                    part.push(rounded([side, last_lat + share * (lat - last_lat)]));
                }
                let [_, meets] = part.last().copied().unwrap_or([side, lat]);
                let finished = std::mem::replace(&mut part, vec![[-side, meets]]);
                // A line that starts on the antimeridian has no part on the other side.
                if finished.len() > 1 {
                    parts.push(finished);
                }
            }
        }
        part.push([lon, lat]);
    }
    parts.push(part);
    parts
}

/// The smallest bounding box of all geometries (RFC 7946 §5).
#[derive(Clone, Debug, Default)]
pub(crate) struct Bounds {
    latitudes: Option<[f64; 2]>,
    longitudes: [f64; 2],
    /// The same with the western hemisphere shifted east of the eastern one: narrower for
    /// geometries on both sides of the antimeridian.
    across: [f64; 2],
}

impl Bounds {
    pub(crate) fn add(&mut self, geometry: &Geometry) {
        for &[lon, lat] in geometry.parts().into_iter().flatten() {
            let east = if lon < 0.0 { lon + 360.0 } else { lon };
            match &mut self.latitudes {
                None => {
                    self.latitudes = Some([lat; 2]);
                    self.longitudes = [lon; 2];
                    self.across = [east; 2];
                }
                Some(latitudes) => {
                    widen(latitudes, lat);
                    widen(&mut self.longitudes, lon);
                    widen(&mut self.across, east);
                }
            }
        }
    }

    /// West, south, east, north. West is greater than east if the box crosses the antimeridian (RFC
    /// 7946 §5.2).
    pub(crate) fn bbox(&self) -> Option<[f64; 4]> {
        let [south, north] = self.latitudes?;
        let [west, east] = self.longitudes;
        let [across_west, across_east] = self.across;
        // If all geometries are on one side, the two boxes are equal except for rounding.
        let both_sides = west < 0.0 && east >= 0.0;
        Some(if !both_sides || across_east - across_west >= east - west {
            [west, south, east, north]
        } else if across_east > 180.0 {
            let [across_east, _] = rounded([across_east - 360.0, 0.0]);
            [across_west, south, across_east, north]
        } else {
            [across_west, south, across_east, north]
        })
    }
}

fn widen([low, high]: &mut [f64; 2], value: f64) {
    *low = low.min(value);
    *high = high.max(value);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(positions: &[LonLat]) -> Geometry {
        Geometry::line(positions.to_vec()).unwrap()
    }

    #[test]
    fn a_line_across_the_antimeridian_is_cut_as_rfc_7946_3_1_9_has_it() {
        // The line and its cut are those of the RFC's own example.
        assert_eq!(
            line(&[[170.0, 45.0], [-170.0, 45.0]]),
            Geometry::Lines(vec![
                vec![[170.0, 45.0], [180.0, 45.0]],
                vec![[-180.0, 45.0], [-170.0, 45.0]]
            ])
        );
        // Westwards, and back: the latitude of a cut is in proportion.
        assert_eq!(
            line(&[[-179.0, 0.0], [179.0, 4.0], [-177.0, 4.0]]),
            Geometry::Lines(vec![
                vec![[-179.0, 0.0], [-180.0, 2.0]],
                vec![[180.0, 2.0], [179.0, 4.0], [180.0, 4.0]],
                vec![[-180.0, 4.0], [-177.0, 4.0]],
            ])
        );
    }

    #[test]
    fn a_vertex_on_the_antimeridian_takes_the_name_that_its_side_has() {
        assert_eq!(
            line(&[[180.0, 1.0], [-179.0, 1.0]]),
            Geometry::Line(vec![[-180.0, 1.0], [-179.0, 1.0]])
        );
        assert_eq!(
            line(&[[179.0, 1.0], [-180.0, 1.0]]),
            Geometry::Line(vec![[179.0, 1.0], [180.0, 1.0]])
        );
        assert_eq!(
            line(&[[179.0, 1.0], [-180.0, 1.0], [-179.0, 2.0]]),
            Geometry::Lines(vec![
                vec![[179.0, 1.0], [180.0, 1.0]],
                vec![[-180.0, 1.0], [-179.0, 2.0]]
            ])
        );
    }

    #[test]
    fn what_was_cut_can_be_joined() {
        let positions = vec![[179.9, 0.0], [-179.9, 4.0], [179.0, 4.0]];
        assert_eq!(line(&positions).joined(), Some(positions));
        assert_eq!(
            Geometry::Lines(vec![vec![[1.0, 1.0], [2.0, 2.0]], vec![[2.0, 2.0], [3.0, 3.0]]])
                .joined(),
            None
        );
    }

    #[test]
    fn a_box_across_the_antimeridian_has_west_above_east() {
        // RFC 7946 §5.2: the Fiji archipelago, "between 16 degrees S and 20 degrees S and 177
        // degrees E and 178 degrees W".
        let mut bounds = Bounds::default();
        bounds.add(&Geometry::point([177.0, -16.0]));
        bounds.add(&Geometry::point([-178.0, -20.0]));
        assert_eq!(bounds.bbox(), Some([177.0, -20.0, -178.0, -16.0]));

        let mut plain = Bounds::default();
        plain.add(&line(&[[-0.5, 51.0], [0.5, 52.0]]));
        assert_eq!(plain.bbox(), Some([-0.5, 51.0, 0.5, 52.0]));
        assert_eq!(Bounds::default().bbox(), None);

        // West of Greenwich altogether: 360° added and taken away again changes the last digits,
        // which must not decide.
        let mut west = Bounds::default();
        west.add(&line(&[[-1.149_999_984, 52.949_278_853], [-1.147_173_251, 52.950_548_14]]));
        assert_eq!(
            west.bbox(),
            Some([-1.149_999_984, 52.949_278_853, -1.147_173_251, 52.950_548_14])
        );
        // Points that lie on the antimeridian under its western name.
        let mut edge = Bounds::default();
        edge.add(&Geometry::point([-180.0, 1.0]));
        edge.add(&Geometry::point([179.0, 1.0]));
        assert_eq!(edge.bbox(), Some([179.0, 1.0, 180.0, 1.0]));
    }

    #[test]
    fn seven_decimals_agree_and_six_do_not() {
        let exact = Geometry::point([-78.123_456_789, 37.987_654_321]);
        assert!(exact.agrees(&Geometry::Point([-78.123_456_8, 37.987_654_3])));
        assert!(!exact.agrees(&Geometry::Point([-78.123_457, 37.987_654])));
        assert!(Geometry::Point([180.0, 1.0]).agrees(&Geometry::Point([-180.0, 1.0])));
        assert!(!exact.agrees(&line(&[[-78.123_456_789, 37.987_654_321], [0.0, 0.0]])));
    }

    #[test]
    fn a_line_without_extent_is_a_point() {
        assert_eq!(line(&[[1.0, 2.0], [1.0, 2.0]]), Geometry::Point([1.0, 2.0]));
        assert_eq!(Geometry::line(Vec::new()), None);
    }
}
