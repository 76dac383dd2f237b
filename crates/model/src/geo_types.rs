//! Conversions between positions and the types of the crate `geo-types`.

use geo_types::{Coord, LineString, Point};

use crate::number::{NumberError, Position};
use crate::tables::Pipe;

impl From<Position> for Coord<f64> {
    fn from(position: Position) -> Self {
        Self { x: position.x(), y: position.y() }
    }
}

impl From<Position> for Point<f64> {
    fn from(position: Position) -> Self {
        Self::new(position.x(), position.y())
    }
}

impl TryFrom<Coord<f64>> for Position {
    type Error = NumberError;

    fn try_from(coord: Coord<f64>) -> Result<Self, NumberError> {
        Self::new(coord.x, coord.y)
    }
}

impl TryFrom<Point<f64>> for Position {
    type Error = NumberError;

    fn try_from(point: Point<f64>) -> Result<Self, NumberError> {
        point.0.try_into()
    }
}

/// ```
/// use geo_types::{LineString, line_string};
/// use obvert_model::tables::Pipe;
/// let line = line_string![(x: 0.0, y: 0.0), (x: 30.0, y: 40.0)];
/// let pipe = Pipe::new("L-101".parse()?, "LM-014".parse()?).with_line_string(&line)?;
/// assert_eq!(pipe.path.len(), 2);
/// assert_eq!(pipe.line_string(), line);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
impl Pipe {
    /// The [`path`](Self::path) as a line string, empty if there is none.
    #[must_use]
    pub fn line_string(&self) -> LineString<f64> {
        self.path.iter().copied().collect()
    }

    /// Sets the [`path`](Self::path) to the vertices of a line string.
    ///
    /// # Errors
    /// If a coordinate is not finite or beyond ±9 007 199 254 740 991.
    pub fn with_line_string(self, line: &LineString<f64>) -> Result<Self, NumberError> {
        let path =
            line.coords().map(|coord| Position::try_from(*coord)).collect::<Result<Vec<_>, _>>()?;
        Ok(self.with_path(path))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn positions_convert_both_ways() {
        let position = Position::new(1_402_113.5, -0.25).unwrap();
        assert_eq!(Position::try_from(Coord::from(position)), Ok(position));
        assert_eq!(Position::try_from(Point::from(position)), Ok(position));
        assert!(Position::try_from(Point::new(0.0, f64::INFINITY)).is_err());
        let line = LineString::from(vec![(0.0, 0.0), (f64::NAN, 1.0)]);
        let pipe = Pipe::new("L-101".parse().unwrap(), "LM-014".parse().unwrap());
        assert!(pipe.line_string().0.is_empty());
        assert!(pipe.with_line_string(&line).is_err());
    }
}
