//! A horizontal reference system by its code: its name, its unit, its area, and the conversion to
//! WGS 84.

use std::fmt;

use geographiclib_rs::{Geodesic, InverseGeodesic};

use crate::area::Area;
use crate::datum::{DatumShift, Ellipsoid};
use crate::error::GeoError;
use crate::path::Path;
use crate::projection::Projection;
use crate::registry::{self, System};
use crate::unit::Unit;

/// Transformations for one place that differ by more than this are ambiguous.
const AMBIGUOUS_METRES: f64 = 5.0;

/// The kind of the coordinates.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CrsKind {
    /// Easting and northing on a map projection, in a unit of length.
    Projected,
    /// Longitude and latitude, in a unit of angle.
    Geographic,
}

/// A horizontal reference system of the built-in registry.
///
/// A position is always `[easting, northing]` or `[longitude, latitude]`, regardless of the axis
/// order in the authority's definition, in the system's own [`unit`](Self::unit).
///
/// Every system of the registry can be parsed and can measure lengths. Not every system can be
/// converted to WGS 84, since that may need a grid file or a projection method that is not
/// included; call [`datum_shifts`](Self::datum_shifts) to find out before you convert positions.
///
/// ```
/// use obvert_geo::{Crs, Unit};
/// let crs = Crs::parse("EPSG:6595")?;
/// assert_eq!(crs.name(), "NAD83(2011) / Virginia South (ftUS)");
/// assert_eq!(crs.unit(), Unit::UsSurveyFoot);
/// let [lon, lat] = crs.to_wgs84([11_482_900.0, 3_647_000.0])?;
/// assert!((-78.6..-78.4).contains(&lon) && (37.3..37.4).contains(&lat));
/// # Ok::<(), obvert_geo::GeoError>(())
/// ```
#[derive(Clone)]
pub struct Crs {
    code: u32,
    ogc: bool,
    system: System,
    projection: Option<Projection>,
    shifts: Result<Vec<DatumShift>, GeoError>,
    geodesic: Geodesic,
}

impl Crs {
    /// Reads `EPSG:6594`, `OGC:CRS84`, or either as an OGC URN (`urn:ogc:def:crs:EPSG::6594`) or
    /// URL (`http://www.opengis.net/def/crs/EPSG/0/6594`). Letter case does not matter.
    ///
    /// # Errors
    /// [`GeoError::Malformed`], [`GeoError::UnknownCode`], or [`GeoError::NotHorizontal`] for a
    /// code of another kind.
    pub fn parse(text: &str) -> Result<Self, GeoError> {
        let (authority, code) =
            split(text).ok_or_else(|| GeoError::Malformed { text: text.to_owned() })?;
        if authority.eq_ignore_ascii_case("OGC") && code.eq_ignore_ascii_case("CRS84") {
            return Ok(Self { ogc: true, ..Self::from_epsg(4326)? });
        }
        // u32::from_str takes a plus sign, which no code has.
        let digits = !code.is_empty() && code.bytes().all(|b| b.is_ascii_digit());
        match code.parse() {
            Ok(code) if digits && authority.eq_ignore_ascii_case("EPSG") => Self::from_epsg(code),
            _ => Err(GeoError::Malformed { text: text.to_owned() }),
        }
    }

    /// The system of an EPSG code.
    ///
    /// # Errors
    /// [`GeoError::UnknownCode`], or [`GeoError::NotHorizontal`] for a code of another kind.
    pub fn from_epsg(code: u32) -> Result<Self, GeoError> {
        let Some(system) = registry::system(code) else {
            return Err(match registry::other(code) {
                Some(other) => GeoError::NotHorizontal {
                    code,
                    name: other.name,
                    kind: other.kind,
                    see: other.see,
                },
                None => GeoError::UnknownCode { code, registry: registry::VERSION },
            });
        };
        let projection = if system.projected && !system.projection.starts_with('!') {
            Projection::new(&system)
        } else {
            None
        };
        let shifts = match system.shifts.strip_prefix('!') {
            None => system
                .shifts
                .split(' ')
                .map(|index| index.parse().ok().and_then(registry::shift))
                .collect::<Option<Vec<_>>>()
                .ok_or_else(|| unusable(code, &system, "unknown")),
            Some(reason) => Err(unusable(code, &system, reason)),
        };
        let ellipsoid = system.ellipsoid;
        let geodesic = Geodesic::new(ellipsoid.semi_major, ellipsoid.flattening);
        Ok(Self { code, ogc: false, system, projection, shifts, geodesic })
    }

    /// Its entry in the registry.
    pub(crate) fn system(&self) -> &System {
        &self.system
    }

    /// The EPSG code; 4326 for `OGC:CRS84`.
    #[must_use]
    pub fn code(&self) -> u32 {
        self.code
    }

    /// The authority's name, for example `NAD83(2011) / Virginia South`.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.system.name
    }

    /// Projected or geographic.
    #[must_use]
    pub fn kind(&self) -> CrsKind {
        if self.system.projected { CrsKind::Projected } else { CrsKind::Geographic }
    }

    /// The unit of both coordinates.
    #[must_use]
    pub fn unit(&self) -> Unit {
        self.system.unit
    }

    /// The ellipsoid of the system's datum.
    #[must_use]
    pub fn ellipsoid(&self) -> Ellipsoid {
        self.system.ellipsoid
    }

    /// The system's area of use, as the authority states it.
    #[must_use]
    pub fn area(&self) -> Area {
        Area::from(self.system.area)
    }

    /// Whether the authority has withdrawn the code. Its meaning is unchanged.
    #[must_use]
    pub fn is_deprecated(&self) -> bool {
        self.system.deprecated
    }

    /// The codes that replace a withdrawn one.
    pub fn replaced_by(&self) -> impl Iterator<Item = u32> + use<> {
        self.system.replaced_by.split(',').filter_map(|code| code.parse().ok())
    }

    /// The transformations to WGS 84 with their stated accuracy: one, or several for different
    /// parts of the area of use.
    ///
    /// For NAD83, NAD83(2011), ETRS89 and other datums of satellite geodesy this is usually the
    /// null transformation: the numbers do not change. The frames have drifted apart since they
    /// were defined, by one or two metres on the ground and about 2 cm more per year. PROJ does the
    /// same without grids.
    ///
    /// # Errors
    /// [`GeoError::NeedsGrid`] or [`GeoError::NoTransformation`].
    pub fn datum_shifts(&self) -> Result<&[DatumShift], GeoError> {
        self.shifts.as_deref().map_err(Clone::clone)
    }

    /// The transformation for one place, a longitude and latitude on the system's own datum.
    ///
    /// # Errors
    /// Those of [`datum_shifts`](Self::datum_shifts), and [`GeoError::NoTransformation`] if several
    /// apply and differ by more than 5 m plus their stated accuracies.
    pub fn datum_shift_at(&self, lonlat: [f64; 2]) -> Result<&DatumShift, GeoError> {
        let refuse = |why: String| GeoError::NoTransformation {
            code: self.code,
            name: self.system.name,
            why,
        };
        let place = || format!("longitude {:.4}, latitude {:.4}", lonlat[0], lonlat[1]);
        let shifts = self.datum_shifts()?;
        if let [only] = shifts {
            return Ok(only);
        }
        let mut here: Vec<&DatumShift> = shifts
            .iter()
            .filter(|shift| shift.area().is_none_or(|area| area.contains(lonlat, 0.0)))
            .collect();
        let uncovered = here.is_empty();
        if uncovered {
            here.extend(shifts);
        }
        let Some((&best, others)) = here.split_first() else {
            return Err(refuse("none is published".to_owned()));
        };
        let [lon, lat] = best.forward(lonlat);
        for other in others {
            let [x, y] = other.forward(lonlat);
            let metres: f64 = self.geodesic.inverse(lat, lon, y, x);
            // A coarser one for a wider area may differ by the accuracies of both; one of the same
            // rank may not.
            let admitted = if uncovered || other.accuracy_metres() == best.accuracy_metres() {
                0.0
            } else {
                best.accuracy_metres().unwrap_or(0.0) + other.accuracy_metres().unwrap_or(0.0)
            };
            if metres > AMBIGUOUS_METRES + admitted {
                let (one, two) = (best.name(), other.name());
                return Err(refuse(format!(
                    "at {} both {one:?} and {two:?} could apply, and they differ by {metres:.0} m",
                    place()
                )));
            }
        }
        Ok(best)
    }

    /// Longitude and latitude on the system's own datum, in degrees east of Greenwich and north,
    /// without a datum shift.
    ///
    /// # Errors
    /// [`GeoError::UnsupportedMethod`], [`GeoError::UnsupportedAxes`] or [`GeoError::OutOfDomain`].
    pub fn to_geographic(&self, position: [f64; 2]) -> Result<[f64; 2], GeoError> {
        let outside = || GeoError::OutOfDomain { code: self.code, position };
        if let Some(factor) = self.unit().degrees() {
            let lonlat = [position[0] * factor + self.system.prime_meridian, position[1] * factor];
            let sound =
                (-360.0..=360.0).contains(&lonlat[0]) && (-90.0..=90.0).contains(&lonlat[1]);
            return sound.then_some([crate::datum::wrap(lonlat[0]), lonlat[1]]).ok_or_else(outside);
        }
        let factor = self.unit().metres().unwrap_or(1.0);
        self.projection()?.inverse(position.map(|v| v * factor)).ok_or_else(outside)
    }

    /// The inverse of [`to_geographic`](Self::to_geographic): the map projection alone, from
    /// degrees on the system's own datum to its coordinates.
    ///
    /// # Errors
    /// As for the inverse.
    pub fn project_geographic(&self, lonlat: [f64; 2]) -> Result<[f64; 2], GeoError> {
        let outside = || GeoError::OutOfDomain { code: self.code, position: lonlat };
        if let Some(factor) = self.unit().degrees() {
            let sound =
                (-360.0..=360.0).contains(&lonlat[0]) && (-90.0..=90.0).contains(&lonlat[1]);
            let lon = crate::datum::wrap(lonlat[0] - self.system.prime_meridian);
            return sound.then_some([lon / factor, lonlat[1] / factor]).ok_or_else(outside);
        }
        let factor = self.unit().metres().unwrap_or(1.0);
        let metres = self.projection()?.forward(lonlat).ok_or_else(outside)?;
        Ok(metres.map(|v| v / factor))
    }

    /// WGS 84 longitude and latitude in degrees of a position in this system.
    ///
    /// # Errors
    /// Those of [`datum_shift_at`](Self::datum_shift_at) and
    /// [`to_geographic`](Self::to_geographic).
    pub fn to_wgs84(&self, position: [f64; 2]) -> Result<[f64; 2], GeoError> {
        self.datum_shifts()?;
        let own = self.to_geographic(position)?;
        Ok(self.datum_shift_at(own)?.forward(own))
    }

    /// The position in this system of a WGS 84 longitude and latitude in degrees. This is the exact
    /// inverse of [`to_wgs84`](Self::to_wgs84); for shifts with rotations it differs from PROJ's
    /// inverse by less than a centimetre.
    ///
    /// # Errors
    /// As for the inverse.
    pub fn from_wgs84(&self, lonlat: [f64; 2]) -> Result<[f64; 2], GeoError> {
        let shifts = self.datum_shifts()?;
        if !(-360.0..=360.0).contains(&lonlat[0]) || !(-90.0..=90.0).contains(&lonlat[1]) {
            return Err(GeoError::OutOfDomain { code: 4326, position: lonlat });
        }
        let mut reason = None;
        for shift in shifts {
            let own = shift.backward(lonlat);
            // The forward direction chooses the shift by the position on the system's own datum, so
            // only that shift inverts it.
            match self.datum_shift_at(own) {
                Ok(chosen) if std::ptr::eq(chosen, shift) => return self.project_geographic(own),
                Ok(_) => {}
                Err(error) => reason = Some(error),
            }
        }
        Err(reason.unwrap_or(GeoError::OutOfDomain { code: 4326, position: lonlat }))
    }

    /// Distance between two positions in metres: along the geodesic in a geographic system, on the
    /// plane of the map in a projected one.
    ///
    /// A distance on the plane is a *grid* distance. It differs from the distance on the ground by
    /// the scale factor of the projection and by the height: in a UTM zone by −0.04 % to +0.1 %, 4
    /// cm to 10 cm in 100 m; in a state plane or a 3-degree zone by about 0.01 %, 1 cm in 100 m;
    /// 1000 m of height add 0.016 %. In Web Mercator (EPSG:3857) it is wrong by the secant of the
    /// latitude, a factor of two at 60°: use [`ground_length_metres`](Self::ground_length_metres)
    /// there.
    ///
    /// # Errors
    /// [`GeoError::BadVertex`] with index 0 or 1.
    pub fn distance_metres(&self, from: [f64; 2], to: [f64; 2]) -> Result<f64, GeoError> {
        self.check_vertex(0, from)?;
        self.check_vertex(1, to)?;
        Ok(self.span(from, to))
    }

    /// Length in metres of a line through the vertices, measured as by
    /// [`distance_metres`](Self::distance_metres). It is 0 for fewer than two vertices.
    ///
    /// # Errors
    /// [`GeoError::BadVertex`].
    pub fn line_length_metres(&self, vertices: &[[f64; 2]]) -> Result<f64, GeoError> {
        for (index, &vertex) in vertices.iter().enumerate() {
            self.check_vertex(index, vertex)?;
        }
        Ok(vertices.windows(2).map(|w| self.span(w[0], w[1])).sum())
    }

    /// Length in metres of a line through the vertices along geodesics on the ellipsoid of the
    /// system's own datum, without the distortion of the map. Height above the ellipsoid is
    /// ignored.
    ///
    /// # Errors
    /// Those of [`to_geographic`](Self::to_geographic).
    pub fn ground_length_metres(&self, vertices: &[[f64; 2]]) -> Result<f64, GeoError> {
        let mut sum = 0.0;
        let mut last: Option<[f64; 2]> = None;
        for &vertex in vertices {
            let here = self.to_geographic(vertex)?;
            if let Some(there) = last {
                let metres: f64 = self.geodesic.inverse(there[1], there[0], here[1], here[0]);
                sum += metres;
            }
            last = Some(here);
        }
        Ok(sum)
    }

    /// A line that is measured once, for locating many distances on it.
    ///
    /// # Errors
    /// [`GeoError::TooFewVertices`], [`GeoError::BadVertex`], or [`GeoError::ZeroLength`].
    pub fn path<'a>(&'a self, vertices: &'a [[f64; 2]]) -> Result<Path<'a>, GeoError> {
        Path::new(self, vertices)
    }

    /// The position at a fraction of the length of a line; see [`Path::at_fraction`].
    ///
    /// # Errors
    /// Those of [`path`](Self::path) and [`Path::at_fraction`].
    pub fn point_along(&self, vertices: &[[f64; 2]], fraction: f64) -> Result<[f64; 2], GeoError> {
        self.path(vertices)?.at_fraction(fraction)
    }

    /// The part of a line between two fractions of its length; see [`Path::sub_line`].
    ///
    /// # Errors
    /// Those of [`path`](Self::path) and [`Path::sub_line`].
    pub fn sub_line(
        &self,
        vertices: &[[f64; 2]],
        from: f64,
        to: f64,
    ) -> Result<Vec<[f64; 2]>, GeoError> {
        self.path(vertices)?.sub_line(from, to)
    }

    pub(crate) fn geodesic(&self) -> &Geodesic {
        &self.geodesic
    }

    /// The distance between two valid positions in metres.
    pub(crate) fn span(&self, a: [f64; 2], b: [f64; 2]) -> f64 {
        match self.unit().degrees() {
            Some(k) => self.geodesic.inverse(a[1] * k, a[0] * k, b[1] * k, b[0] * k),
            None => (b[0] - a[0]).hypot(b[1] - a[1]) * self.unit().metres().unwrap_or(1.0),
        }
    }

    pub(crate) fn check_vertex(&self, index: usize, position: [f64; 2]) -> Result<(), GeoError> {
        let sound = |[x, y]: [f64; 2]| match self.unit().degrees() {
            Some(k) => (-360.0..=360.0).contains(&(x * k)) && (-90.0..=90.0).contains(&(y * k)),
            None => x.is_finite() && y.is_finite(),
        };
        if sound(position) {
            return Ok(());
        }
        let swapped = sound([position[1], position[0]]);
        Err(GeoError::BadVertex { code: self.code, index, position, swapped })
    }

    fn projection(&self) -> Result<&Projection, GeoError> {
        self.projection.as_ref().ok_or_else(|| {
            let (code, name) = (self.code, self.system.name);
            match self.system.projection.strip_prefix('!') {
                Some(reason) => match reason.strip_prefix("axes ") {
                    Some(axes) => GeoError::UnsupportedAxes { code, name, axes },
                    None => GeoError::UnsupportedMethod { code, name, method: reason },
                },
                // PROJ's short name of a method that the projection library does not have.
                None => GeoError::UnsupportedMethod {
                    code,
                    name,
                    method: self.system.projection.split(' ').next().unwrap_or("unknown"),
                },
            }
        })
    }
}

/// The error for the reason that the registry has in place of a shift.
fn unusable(code: u32, system: &System, reason: &'static str) -> GeoError {
    let name = system.name;
    let (kind, rest) = reason.split_once(':').unwrap_or((reason, ""));
    match kind {
        "grid" => {
            let (grid, accuracy) = rest.split_once(':').unwrap_or((rest, ""));
            GeoError::NeedsGrid { code, name, grid, accuracy_metres: accuracy.parse().ok() }
        }
        "unsupported" => GeoError::NoTransformation {
            code,
            name,
            why: format!("its method ({rest}) is not supported"),
        },
        _ => GeoError::NoTransformation { code, name, why: "none is published".to_owned() },
    }
}

/// Splits any of the spellings into authority and code.
fn split(text: &str) -> Option<(&str, &str)> {
    let text = text.trim();
    let lower = text.to_ascii_lowercase();
    if lower.starts_with("urn:ogc:def:crs:") {
        let mut parts = text.split(':').skip(4);
        let found = (parts.next()?, parts.nth(1)?);
        return parts.next().is_none().then_some(found);
    }
    if let Some(at) = lower.find("opengis.net/def/crs/") {
        if !matches!(&lower[..at], "http://www." | "https://www." | "http://" | "https://") {
            return None;
        }
        let mut parts = text[at..].split('/').skip(3);
        let found = (parts.next()?, parts.nth(1)?);
        return parts.next().is_none().then_some(found);
    }
    let (authority, code) = text.split_once(':')?;
    (!code.contains(':')).then_some((authority, code))
}

impl fmt::Display for Crs {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.ogc { f.write_str("OGC:CRS84") } else { write!(f, "EPSG:{}", self.code) }
    }
}

impl fmt::Debug for Crs {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Crs({self}, {:?})", self.system.name)
    }
}

impl PartialEq for Crs {
    fn eq(&self, other: &Self) -> bool {
        self.code == other.code
    }
}

impl Eq for Crs {}

impl std::str::FromStr for Crs {
    type Err = GeoError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Self::parse(text)
    }
}
