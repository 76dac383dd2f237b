//! Linear referencing: the position on the map of a distance along a pipe, and the reverse.
//!
//! The stated length of a pipe and the length of its line on the map never agree: the counter
//! slips, the pipe slopes, the map has a scale factor, the line was drawn between manhole centres.
//! So distances are located *in proportion*: distance `d` of a stated length `L` is at the fraction
//! `d / L` of the line, and both ends fit by construction.
//!
//! Between two vertices the line is straight on the map in a projected system and a geodesic in a
//! geographic one.

use geographiclib_rs::{DirectGeodesic, InverseGeodesic};

use crate::crs::Crs;
use crate::error::GeoError;

/// A line with its length at every vertex, so that each look-up is a binary search.
#[derive(Debug, Clone)]
pub struct Path<'a> {
    crs: &'a Crs,
    vertices: &'a [[f64; 2]],
    /// Metres from the first vertex to each. They never decrease, and the last is above 0.
    reach: Vec<f64>,
}

/// A distance located on a line, clamped to its ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// The position, in the coordinates of the line.
    pub position: [f64; 2],
    /// The fraction of the line's length, 0 to 1.
    pub fraction: f64,
    /// How far the distance is beyond the line, in the caller's unit: negative before the start,
    /// positive past the end, 0 on the line.
    pub beyond: f64,
}

/// The nearest position on a line to a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nearest {
    /// The position, in the coordinates of the line.
    pub position: [f64; 2],
    /// The fraction of the line's length, 0 to 1. If several positions are equally near, the first.
    pub fraction: f64,
    /// The distance from the point in metres.
    pub offset_metres: f64,
}

impl<'a> Path<'a> {
    pub(crate) fn new(crs: &'a Crs, vertices: &'a [[f64; 2]]) -> Result<Self, GeoError> {
        if vertices.len() < 2 {
            return Err(GeoError::TooFewVertices { found: vertices.len() });
        }
        for (index, &vertex) in vertices.iter().enumerate() {
            crs.check_vertex(index, vertex)?;
        }
        let mut metres = 0.0;
        let mut reach = Vec::with_capacity(vertices.len());
        reach.push(0.0);
        for pair in vertices.windows(2) {
            metres += crs.span(pair[0], pair[1]);
            reach.push(metres);
        }
        if metres > 0.0 && metres.is_finite() {
            Ok(Self { crs, vertices, reach })
        } else {
            Err(GeoError::ZeroLength { vertices: vertices.len() })
        }
    }

    /// The length of the line in metres, as by [`Crs::line_length_metres`].
    #[must_use]
    pub fn length_metres(&self) -> f64 {
        self.reach.last().copied().unwrap_or(0.0)
    }

    /// The vertices of the line.
    #[must_use]
    pub fn vertices(&self) -> &'a [[f64; 2]] {
        self.vertices
    }

    /// The position at a fraction of the length, 0 to 1. The ends and the vertices are returned
    /// exactly.
    ///
    /// # Errors
    /// [`GeoError::OutsideLine`] for anything else, a NaN included.
    pub fn at_fraction(&self, fraction: f64) -> Result<[f64; 2], GeoError> {
        if !(0.0..=1.0).contains(&fraction) {
            return Err(GeoError::OutsideLine { distance: fraction, length: 1.0 });
        }
        Ok(self.at(fraction * self.length_metres()))
    }

    /// The position at a distance in metres from the first vertex.
    ///
    /// # Errors
    /// [`GeoError::OutsideLine`] if the distance is below 0 or above the length.
    pub fn at_metres(&self, metres: f64) -> Result<[f64; 2], GeoError> {
        let length = self.length_metres();
        if !(0.0..=length).contains(&metres) {
            return Err(GeoError::OutsideLine { distance: metres, length });
        }
        Ok(self.at(metres))
    }

    /// The position at distance `distance` of a pipe whose stated length is `length`, both in one
    /// unit, in proportion to the length of the line.
    ///
    /// # Errors
    /// [`GeoError::BadLength`], or [`GeoError::OutsideLine`] if the distance is below 0 or above
    /// the length.
    pub fn at_stated(&self, distance: f64, length: f64) -> Result<[f64; 2], GeoError> {
        self.at_fraction(fraction_of(distance, length)?)
    }

    /// As [`at_stated`](Self::at_stated), but a distance beyond the line is clamped to its nearer
    /// end, and the result has the excess.
    ///
    /// # Errors
    /// [`GeoError::BadLength`], or [`GeoError::OutsideLine`] for a distance that is not a number.
    pub fn at_stated_clamped(&self, distance: f64, length: f64) -> Result<Placed, GeoError> {
        check_length(length)?;
        if distance.is_nan() {
            return Err(GeoError::OutsideLine { distance, length });
        }
        let inside = distance.clamp(0.0, length);
        let fraction = inside / length;
        Ok(Placed { position: self.at_fraction(fraction)?, fraction, beyond: distance - inside })
    }

    /// The part of the line between two fractions of its length: the two ends and every vertex
    /// strictly between them, at least two positions.
    ///
    /// # Errors
    /// [`GeoError::OutsideLine`], or [`GeoError::Backwards`] if `to` is below `from`.
    pub fn sub_line(&self, from: f64, to: f64) -> Result<Vec<[f64; 2]>, GeoError> {
        let (start, end) = (self.at_fraction(from)?, self.at_fraction(to)?);
        if to < from {
            return Err(GeoError::Backwards { from, to });
        }
        let (low, high) = (from * self.length_metres(), to * self.length_metres());
        let first = self.reach.partition_point(|&metres| metres <= low);
        let last = self.reach.partition_point(|&metres| metres < high);
        let mut line = vec![start];
        line.extend(self.vertices.get(first..last).unwrap_or_default());
        line.push(end);
        Ok(line)
    }

    /// The part of the line between two distances of a pipe whose stated length is `length`, all in
    /// one unit.
    ///
    /// # Errors
    /// [`GeoError::BadLength`], [`GeoError::OutsideLine`], or [`GeoError::Backwards`], in the
    /// caller's unit.
    pub fn sub_line_stated(
        &self,
        from: f64,
        to: f64,
        length: f64,
    ) -> Result<Vec<[f64; 2]>, GeoError> {
        let (start, end) = (fraction_of(from, length)?, fraction_of(to, length)?);
        if to < from {
            return Err(GeoError::Backwards { from, to });
        }
        self.sub_line(start, end)
    }

    /// The position on the line that is nearest to `point`, both in the coordinates of the line.
    ///
    /// In a geographic system each segment is assumed to be straight as seen from the point, which
    /// is accurate to a millimetre for segments and offsets of a kilometre.
    ///
    /// # Errors
    /// [`GeoError::OutOfDomain`] if the point is not a valid position of the system.
    pub fn nearest(&self, point: [f64; 2]) -> Result<Nearest, GeoError> {
        let off = |_| GeoError::OutOfDomain { code: self.crs.code(), position: point };
        self.crs.check_vertex(0, point).map_err(off)?;
        let mut best: Option<(f64, usize, f64)> = None;
        let mut a = self.seen_from(point, self.vertices[0]);
        for segment in 0..self.vertices.len() - 1 {
            let b = self.seen_from(point, self.vertices[segment + 1]);
            let t = foot([0.0, 0.0], a, b).clamp(0.0, 1.0);
            let square = (a[0] + t * (b[0] - a[0])).powi(2) + (a[1] + t * (b[1] - a[1])).powi(2);
            if best.is_none_or(|(least, ..)| square < least) {
                best = Some((square, segment, t));
            }
            a = b;
        }
        let (_, segment, mut t) = best.unwrap_or((0.0, 0, 0.0));
        let (from, to) = (self.vertices[segment], self.vertices[segment + 1]);
        if self.crs.unit().degrees().is_some() {
            // Repeat from the foot itself, where the segment is straight to the second order.
            for _ in 0..3 {
                let here = self.between(segment, t);
                let (a, b) = (self.seen_from(here, from), self.seen_from(here, to));
                t = foot(self.seen_from(here, point), a, b).clamp(0.0, 1.0);
            }
        }
        let position = self.between(segment, t);
        let metres = self.reach[segment] + t * (self.reach[segment + 1] - self.reach[segment]);
        Ok(Nearest {
            position,
            fraction: (metres / self.length_metres()).clamp(0.0, 1.0),
            offset_metres: self.crs.span(point, position),
        })
    }

    /// The position at a distance that is known to be on the line.
    fn at(&self, metres: f64) -> [f64; 2] {
        // The first vertex beyond: the segment before it cannot have length 0.
        let next = self.reach.partition_point(|&reach| reach <= metres);
        if next == 0 {
            return self.vertices[0];
        }
        if next == self.reach.len() {
            // At the very end, or at one that repeated vertices share.
            return self.vertices[next - 1];
        }
        let (low, high) = (self.reach[next - 1], self.reach[next]);
        self.between(next - 1, (metres - low) / (high - low))
    }

    /// The position at the fraction `t` of one segment.
    fn between(&self, segment: usize, t: f64) -> [f64; 2] {
        let (a, b) = (self.vertices[segment], self.vertices[segment + 1]);
        if t <= 0.0 || a == b {
            return a;
        }
        if t >= 1.0 {
            return b;
        }
        let Some(k) = self.crs.unit().degrees() else {
            return [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
        };
        let geodesic = self.crs.geodesic();
        let (metres, azimuth, _, _): (f64, f64, f64, f64) =
            geodesic.inverse(a[1] * k, a[0] * k, b[1] * k, b[0] * k);
        let (lat, lon): (f64, f64) = geodesic.direct(a[1] * k, a[0] * k, azimuth, t * metres);
        // The library returns -180..180; stay on the same side of the antimeridian as the vertices.
        let lon = lon + 360.0 * ((a[0] * k - lon) / 360.0).round();
        [lon / k, lat / k]
    }

    /// East and north in metres of one position seen from another, by distance and azimuth.
    fn seen_from(&self, eye: [f64; 2], position: [f64; 2]) -> [f64; 2] {
        let Some(k) = self.crs.unit().degrees() else {
            let factor = self.crs.unit().metres().unwrap_or(1.0);
            return [(position[0] - eye[0]) * factor, (position[1] - eye[1]) * factor];
        };
        let (metres, azimuth, _, _): (f64, f64, f64, f64) =
            self.crs.geodesic().inverse(eye[1] * k, eye[0] * k, position[1] * k, position[0] * k);
        let (sin, cos) = azimuth.to_radians().sin_cos();
        [metres * sin, metres * cos]
    }
}

/// The foot of `p` on the line from `a` to `b`, as a fraction of their distance.
fn foot(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let square = dx * dx + dy * dy;
    if square > 0.0 { ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / square } else { 0.0 }
}

fn check_length(length: f64) -> Result<(), GeoError> {
    if length > 0.0 && length.is_finite() { Ok(()) } else { Err(GeoError::BadLength { length }) }
}

fn fraction_of(distance: f64, length: f64) -> Result<f64, GeoError> {
    check_length(length)?;
    if (0.0..=length).contains(&distance) {
        Ok(distance / length)
    } else {
        Err(GeoError::OutsideLine { distance, length })
    }
}
