//! Transformations from a datum to WGS 84 by published constants: a Helmert transformation with at
//! most seven parameters. It is implemented here and not taken from the projection library, because
//! its accuracy must be known, and because the inverse must be exact, which the usual shortcut is
//! not.

use crate::area::Area;

/// An ellipsoid: semi-major axis in metres and flattening.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ellipsoid {
    /// Semi-major axis in metres.
    pub semi_major: f64,
    /// Flattening, 0 for a sphere.
    pub flattening: f64,
}

impl Ellipsoid {
    /// The ellipsoid of WGS 84.
    pub const WGS84: Self = Self { semi_major: 6_378_137.0, flattening: 1.0 / 298.257_223_563 };

    pub(crate) fn from_inverse(semi_major: f64, inverse_flattening: f64) -> Self {
        let flattening = if inverse_flattening == 0.0 { 0.0 } else { 1.0 / inverse_flattening };
        Self { semi_major, flattening }
    }

    fn eccentricity_squared(self) -> f64 {
        self.flattening * (2.0 - self.flattening)
    }

    /// Geocentric coordinates in metres of a point on the ellipsoid.
    fn to_geocentric(self, [lon, lat]: [f64; 2]) -> [f64; 3] {
        let e2 = self.eccentricity_squared();
        let (sin_lat, cos_lat) = lat.to_radians().sin_cos();
        let (sin_lon, cos_lon) = lon.to_radians().sin_cos();
        let n = self.semi_major / (1.0 - e2 * sin_lat * sin_lat).sqrt();
        [n * cos_lat * cos_lon, n * cos_lat * sin_lon, n * (1.0 - e2) * sin_lat]
    }

    /// Longitude and latitude in degrees of a geocentric point; the height is dropped.
    fn to_geographic(self, [x, y, z]: [f64; 3]) -> [f64; 2] {
        let e2 = self.eccentricity_squared();
        let p = x.hypot(y);
        let lon = y.atan2(x).to_degrees();
        // Fixed-point iteration on the latitude: each step gains a factor e² · h/N, five digits or
        // more for a point within some kilometres of the surface.
        let mut lat = z.atan2(p * (1.0 - e2));
        for _ in 0..8 {
            let sin_lat = lat.sin();
            let n = self.semi_major / (1.0 - e2 * sin_lat * sin_lat).sqrt();
            let next = (z + e2 * n * sin_lat).atan2(p);
            let done = (next - lat).abs() < 1e-16;
            lat = next;
            if done {
                break;
            }
        }
        [lon, lat.to_degrees()]
    }
}

/// One seven-parameter similarity between two geocentric frames, in the position vector convention
/// of EPSG method 9606.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Helmert {
    /// The source ellipsoid.
    pub from: Ellipsoid,
    /// Translation in metres.
    pub translation: [f64; 3],
    /// Rotation in arc seconds.
    pub rotation: [f64; 3],
    /// Scale difference in parts per million.
    pub scale_ppm: f64,
    /// The target ellipsoid.
    pub to: Ellipsoid,
}

impl Helmert {
    /// Longitude and latitude in degrees in the target frame. The height is assumed to be 0 and
    /// dropped, as in PROJ for two-dimensional positions; a true height of 100 m would move the
    /// result by about a millimetre.
    fn apply(&self, position: [f64; 2]) -> [f64; 2] {
        let v = self.from.to_geocentric(position);
        let [rx, ry, rz] = self.rotation.map(|seconds| (seconds / 3600.0).to_radians());
        let scale = 1.0 + self.scale_ppm * 1e-6;
        let [tx, ty, tz] = self.translation;
        self.to.to_geographic([
            tx + scale * (v[0] - rz * v[1] + ry * v[2]),
            ty + scale * (rz * v[0] + v[1] - rx * v[2]),
            tz + scale * (-ry * v[0] + rx * v[1] + v[2]),
        ])
    }
}

/// A transformation of positions on a datum to WGS 84.
#[derive(Debug, Clone, PartialEq)]
pub struct DatumShift {
    name: &'static str,
    accuracy_metres: Option<f64>,
    area: Option<Area>,
    steps: Vec<Helmert>,
}

impl DatumShift {
    pub(crate) fn new(
        name: &'static str,
        accuracy_metres: Option<f64>,
        area: Option<Area>,
        steps: Vec<Helmert>,
    ) -> Self {
        Self { name, accuracy_metres, area, steps }
    }

    /// The name of the published transformation, for example `OSGB36 to WGS 84 (6)`.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.name
    }

    /// The accuracy that its authority states, in metres. `None` if none is stated, for example if
    /// a modern geocentric datum is assumed to equal WGS 84; then positions may be off by one or
    /// two metres.
    #[must_use]
    pub fn accuracy_metres(&self) -> Option<f64> {
        self.accuracy_metres
    }

    /// The area of use of the transformation, if its authority states one.
    #[must_use]
    pub fn area(&self) -> Option<Area> {
        self.area
    }

    /// Whether positions do not change, since the two datums are assumed to be equal.
    #[must_use]
    pub fn is_null(&self) -> bool {
        self.steps.is_empty()
    }

    /// The steps, in order; none for a null transformation.
    #[must_use]
    pub fn steps(&self) -> &[Helmert] {
        &self.steps
    }

    pub(crate) fn forward(&self, position: [f64; 2]) -> [f64; 2] {
        self.steps.iter().fold(position, |p, step| step.apply(p))
    }

    /// The position that [`forward`](Self::forward) maps to `target`. Negating the seven
    /// parameters, as is often done, is wrong by up to millimetres. The shift is nearly constant,
    /// so iterating on the remainder converges to the last bit in three or four rounds.
    pub(crate) fn backward(&self, target: [f64; 2]) -> [f64; 2] {
        if self.is_null() {
            return target;
        }
        let mut guess = target;
        for _ in 0..12 {
            let there = self.forward(guess);
            let miss = [wrap(target[0] - there[0]), target[1] - there[1]];
            guess = [wrap(guess[0] + miss[0]), (guess[1] + miss[1]).clamp(-90.0, 90.0)];
            if miss[0].abs() < 1e-14 && miss[1].abs() < 1e-14 {
                break;
            }
        }
        guess
    }
}

/// Normalises a longitude to -180..=180.
pub(crate) fn wrap(lon: f64) -> f64 {
    if (-180.0..=180.0).contains(&lon) { lon } else { (lon + 180.0).rem_euclid(360.0) - 180.0 }
}
