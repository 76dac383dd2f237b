//! Checks positions against the area of use of their reference system. Common mistakes in
//! coordinates (swapped numbers, feet in a metric system) put a survey in another state or an
//! ocean. Undoing each mistake in turn shows which one was made.

use crate::crs::{Crs, CrsKind};
use crate::error::GeoError;
use crate::unit::{FOOT_METRES, Unit};

/// A rectangle of longitude and latitude, in degrees. It crosses the antimeridian if `west` is
/// above `east`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    /// Western edge.
    pub west: f64,
    /// Southern edge.
    pub south: f64,
    /// Eastern edge.
    pub east: f64,
    /// Northern edge.
    pub north: f64,
}

impl From<[f64; 4]> for Area {
    fn from([west, south, east, north]: [f64; 4]) -> Self {
        Self { west, south, east, north }
    }
}

impl Area {
    /// Whether a longitude and latitude in degrees are inside the area or within `margin` degrees
    /// of it.
    #[must_use]
    pub fn contains(&self, [lon, lat]: [f64; 2], margin: f64) -> bool {
        let width = if self.west <= self.east {
            self.east - self.west
        } else {
            self.east - self.west + 360.0
        };
        let from_west = (lon - self.west + margin).rem_euclid(360.0);
        (self.south - margin..=self.north + margin).contains(&lat)
            && (width + 2.0 * margin >= 360.0 || from_west <= width + 2.0 * margin)
    }
}

/// Whether positions are in the area of use of their reference system.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Fit {
    /// All are inside.
    Inside,
    /// They are outside, but would be inside if this mistake were undone.
    Slip(Slip),
    /// They are outside, and no common mistake explains it.
    Outside {
        /// Index of the first position outside.
        index: usize,
        /// Its longitude and latitude in degrees; `None` if the projection is not defined there.
        lonlat: Option<[f64; 2]>,
    },
}

/// A common mistake in coordinates.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Slip {
    /// The two numbers are swapped.
    Swapped,
    /// The numbers are feet, and the system's unit is the metre. Which foot cannot be told from the
    /// position: the two differ by 2 parts in a million.
    Feet,
    /// The numbers are metres, and the system's unit is a foot.
    Metres,
    /// The numbers are degrees of longitude and latitude, and the system is a projected one.
    Degrees,
    /// The numbers are degrees of latitude and longitude, and the system is a projected one.
    SwappedDegrees,
    /// The sign of the longitude is wrong.
    LongitudeSign,
}

/// Areas of use are rounded and surveys cross borders. About 11 km.
const MARGIN_DEGREES: f64 = 0.1;

impl Crs {
    /// Checks that all positions are in the system's area of use (with a margin of 0.1 degree), and
    /// if not, which mistake would explain it.
    ///
    /// ```
    /// use obvert_geo::{Crs, Fit, Slip};
    /// // Feet under a metric state plane system.
    /// let crs = Crs::parse("EPSG:2817")?;
    /// assert_eq!(crs.fit(&[[2_748_073.0, 1_117_746.0]])?, Fit::Slip(Slip::Feet));
    /// # Ok::<(), obvert_geo::GeoError>(())
    /// ```
    ///
    /// # Errors
    /// [`GeoError::UnsupportedMethod`] or [`GeoError::UnsupportedAxes`]: the positions cannot be
    /// checked.
    pub fn fit(&self, positions: &[[f64; 2]]) -> Result<Fit, GeoError> {
        let mut first = None;
        for (index, &position) in positions.iter().enumerate() {
            let lonlat = match self.to_geographic(position) {
                Ok(lonlat) => Some(lonlat),
                Err(GeoError::OutOfDomain { .. }) => None,
                Err(other) => return Err(other),
            };
            if !self.holds(position) {
                first = Some(Fit::Outside { index, lonlat });
                break;
            }
        }
        let Some(outside) = first else { return Ok(Fit::Inside) };
        let all =
            |undo: &dyn Fn([f64; 2]) -> [f64; 2]| positions.iter().all(|&p| self.holds(undo(p)));
        let degrees = |order: [usize; 2]| {
            positions
                .iter()
                .all(|p| self.area().contains([p[order[0]], p[order[1]]], MARGIN_DEGREES))
        };
        let swapped = |[x, y]: [f64; 2]| [y, x];
        if self.kind() == CrsKind::Geographic {
            return Ok(if all(&swapped) {
                Fit::Slip(Slip::Swapped)
            } else if all(&|[x, y]| [-x, y]) {
                Fit::Slip(Slip::LongitudeSign)
            } else {
                outside
            });
        }
        let unit = self.unit().metres().unwrap_or(1.0);
        Ok(if degrees([0, 1]) {
            Fit::Slip(Slip::Degrees)
        } else if degrees([1, 0]) {
            Fit::Slip(Slip::SwappedDegrees)
        } else if all(&swapped) {
            Fit::Slip(Slip::Swapped)
        } else if self.unit() == Unit::Metre && all(&|p| p.map(|v| v * FOOT_METRES)) {
            Fit::Slip(Slip::Feet)
        } else if matches!(self.unit(), Unit::Foot | Unit::UsSurveyFoot)
            && all(&|p| p.map(|v| v / unit))
        {
            Fit::Slip(Slip::Metres)
        } else {
            outside
        })
    }

    /// Whether one position is in the area of use.
    fn holds(&self, position: [f64; 2]) -> bool {
        self.to_geographic(position)
            .is_ok_and(|lonlat| self.area().contains(lonlat, MARGIN_DEGREES))
    }
}

/// What is wrong with two numbers that should be a longitude and a latitude in degrees.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum LonLatIssue {
    /// One of them is infinite or not a number.
    NotFinite,
    /// They cannot be longitude and latitude, but they could be latitude and longitude.
    Swapped,
    /// The longitude is beyond ±180 or the latitude beyond ±90.
    OutOfRange,
    /// Both are exactly 0: probably a missing position.
    Zero,
}

/// Checks two numbers that should be a longitude and a latitude in degrees, without a reference
/// system. [`Crs::fit`] checks the area as well.
///
/// ```
/// use obvert_geo::{LonLatIssue, lonlat_issue};
/// assert_eq!(lonlat_issue([-78.5, 37.3]), None);
/// assert_eq!(lonlat_issue([37.3, -118.5]), Some(LonLatIssue::Swapped));
/// ```
#[must_use]
pub fn lonlat_issue([lon, lat]: [f64; 2]) -> Option<LonLatIssue> {
    if !lon.is_finite() || !lat.is_finite() {
        Some(LonLatIssue::NotFinite)
    } else if lon.abs() > 180.0 || lat.abs() > 90.0 {
        let otherwise = lon.abs() <= 90.0 && lat.abs() <= 180.0;
        Some(if otherwise { LonLatIssue::Swapped } else { LonLatIssue::OutOfRange })
    } else if lon == 0.0 && lat == 0.0 {
        Some(LonLatIssue::Zero)
    } else {
        None
    }
}
