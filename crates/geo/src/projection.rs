//! A map projection between longitude and latitude on a system's own datum and its plane, in
//! metres. The formulas are those of `proj4rs`, a port of PROJ. Units, meridians and datums are
//! handled elsewhere, so that each is exact and documented in one place.

use proj4rs::Proj;
use proj4rs::transform::transform;

use crate::datum::wrap;
use crate::registry::System;

#[derive(Debug, Clone)]
pub(crate) struct Projection {
    plane: Proj,
    globe: Proj,
    prime_meridian: f64,
}

impl Projection {
    /// `None` if the method is not implemented.
    pub(crate) fn new(system: &System) -> Option<Self> {
        let ellipsoid = if system.inverse_flattening == "0" {
            format!("+a={0} +b={0}", system.semi_major)
        } else {
            format!("+a={} +rf={}", system.semi_major, system.inverse_flattening)
        };
        let mut words = system.projection.split(' ');
        // PROJ's transverse Mercator stays exact far from the meridian; in proj4rs that method has
        // another name.
        let method = match words.next()? {
            "tmerc" => "etmerc",
            method => method,
        };
        let ellipsoid = if method == "webmerc" {
            format!("+a={0} +b={0}", system.semi_major)
        } else {
            ellipsoid
        };
        let method = if method == "webmerc" { "merc" } else { method };
        let mut text = format!("+proj={method} {ellipsoid} +no_defs");
        for word in words {
            text.push_str(" +");
            text.push_str(word);
        }
        let plane = Proj::from_proj_string(&text).ok()?;
        let globe = Proj::from_proj_string(&format!("+proj=longlat {ellipsoid} +no_defs")).ok()?;
        Some(Self { plane, globe, prime_meridian: system.prime_meridian })
    }

    /// Degrees east of Greenwich and north, to metres.
    pub(crate) fn forward(&self, [lon, lat]: [f64; 2]) -> Option<[f64; 2]> {
        if !(-90.0..=90.0).contains(&lat) || !lon.is_finite() {
            return None;
        }
        let mut point = (wrap(lon - self.prime_meridian).to_radians(), lat.to_radians(), 0.0);
        transform(&self.globe, &self.plane, &mut point).ok()?;
        finite([point.0, point.1])
    }

    /// Metres to degrees east of Greenwich and north.
    pub(crate) fn inverse(&self, [x, y]: [f64; 2]) -> Option<[f64; 2]> {
        if !x.is_finite() || !y.is_finite() {
            return None;
        }
        let mut point = (x, y, 0.0);
        transform(&self.plane, &self.globe, &mut point).ok()?;
        let lonlat =
            finite([wrap(point.0.to_degrees() + self.prime_meridian), point.1.to_degrees()])?;
        // Far outside its domain an inverse projection gives any result, which the forward
        // projection does not map back.
        let [x2, y2] = self.forward(lonlat)?;
        let meets = |a: f64, b: f64| (a - b).abs() <= 1.0 + 1e-9 * b.abs();
        (meets(x2, x) && meets(y2, y)).then_some(lonlat)
    }
}

fn finite(p: [f64; 2]) -> Option<[f64; 2]> {
    (p[0].is_finite() && p[1].is_finite()).then_some(p)
}
