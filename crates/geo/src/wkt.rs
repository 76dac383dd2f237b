//! A reference system as well-known text, for software that does not know the code. The names of
//! methods and parameters are those of OGC 01-009, as GDAL and PROJ read them.

use std::fmt::Write;

use crate::crs::{Crs, CrsKind};

/// The names of PROJ's parameters in well-known text.
type Parameters = &'static [(&'static str, &'static str)];

const COMMON: Parameters = &[
    ("lat_0", "latitude_of_origin"),
    ("lon_0", "central_meridian"),
    ("k", "scale_factor"),
    ("k_0", "scale_factor"),
    ("x_0", "false_easting"),
    ("y_0", "false_northing"),
];
const PARALLELS: Parameters = &[
    ("lat_0", "latitude_of_origin"),
    ("lon_0", "central_meridian"),
    ("lat_1", "standard_parallel_1"),
    ("lat_2", "standard_parallel_2"),
    ("x_0", "false_easting"),
    ("y_0", "false_northing"),
];
const CENTRE: Parameters = &[
    ("lat_0", "latitude_of_center"),
    ("lon_0", "longitude_of_center"),
    ("lat_1", "standard_parallel_1"),
    ("lat_2", "standard_parallel_2"),
    ("x_0", "false_easting"),
    ("y_0", "false_northing"),
];

impl Crs {
    /// The system as well-known text (OGC 01-009), easting or longitude first; `None` for a
    /// projection method that OGC 01-009 does not name. The datum has the name before the slash in
    /// the system's name.
    ///
    /// ```
    /// let text = obvert_geo::Crs::from_epsg(27700)?.wkt().unwrap_or_default();
    /// assert!(text.starts_with("PROJCS[\"OSGB36 / British National Grid\",GEOGCS[\"OSGB36\""));
    /// assert!(text.ends_with("AUTHORITY[\"EPSG\",\"27700\"]]"));
    /// # Ok::<(), obvert_geo::GeoError>(())
    /// ```
    #[must_use]
    pub fn wkt(&self) -> Option<String> {
        let system = self.system();
        let name = system.name.replace('"', "'");
        let datum = name.split(" / ").next().unwrap_or(&name);
        let globe = |code: &str| {
            let angle = match self.kind() {
                CrsKind::Geographic => system.unit.degrees().unwrap_or(1.0),
                CrsKind::Projected => 1.0,
            };
            // A meridian within a geographic system is in the unit of that system (OGC 01-009).
            let meridian = system.prime_meridian / angle;
            format!(
                "GEOGCS[\"{datum}\",DATUM[\"{datum}\",SPHEROID[\"{datum}\",{},{}]],PRIMEM[\"{}\",{}],UNIT[\"{}\",{}]{code}]",
                system.semi_major,
                system.inverse_flattening,
                if system.prime_meridian == 0.0 { "Greenwich" } else { "of the system" },
                meridian,
                if angle == 1.0 { "degree" } else { "grad" },
                (angle * std::f64::consts::PI / 180.0)
            )
        };
        let authority = format!(",AUTHORITY[\"EPSG\",\"{}\"]", self.code());
        if self.kind() == CrsKind::Geographic {
            return Some(globe(&authority));
        }
        let mut words = system.projection.split(' ');
        let method = words.next()?;
        let given: Vec<(&str, &str)> = words.filter_map(|word| word.split_once('=')).collect();
        let has = |name: &str| given.iter().any(|(given, _)| *given == name);
        let text_of =
            |name: &str| given.iter().find(|(given, _)| *given == name).map(|(_, value)| *value);
        let (method, parameters) = match method {
            "tmerc" => ("Transverse_Mercator", COMMON),
            // Two parallels with a scale (EPSG method 1051), and one parallel besides the origin
            // (method 1102), have no name in OGC 01-009.
            "lcc" if has("lat_2") && !has("k") && !has("k_0") => {
                ("Lambert_Conformal_Conic_2SP", PARALLELS)
            }
            "lcc" if !has("lat_2") && text_of("lat_1") == text_of("lat_0") => {
                ("Lambert_Conformal_Conic_1SP", COMMON)
            }
            "merc" if !has("lat_ts") => ("Mercator_1SP", COMMON),
            "sterea" => ("Oblique_Stereographic", COMMON),
            "cass" if !system.projection.contains(" hyperbolic") => ("Cassini_Soldner", COMMON),
            "poly" => ("Polyconic", COMMON),
            "aea" => ("Albers_Conic_Equal_Area", CENTRE),
            "laea" if !system.projection.contains(" R_A") => {
                ("Lambert_Azimuthal_Equal_Area", CENTRE)
            }
            "utm" => ("Transverse_Mercator", COMMON),
            _ => return None,
        };
        let metres = system.unit.metres()?;
        let mut values: Vec<(&str, f64)> =
            parameters.iter().map(|(name, _)| (*name, f64::NAN)).collect();
        let mut put = |name: &str, value: f64| {
            values
                .iter_mut()
                .filter(|(other, _)| *other == name)
                .for_each(|(_, slot)| *slot = value);
        };
        for (name, value) in &given {
            put(name, value.parse().ok()?);
        }
        if system.projection.starts_with("utm") {
            let zone: f64 = given.iter().find(|(name, _)| *name == "zone")?.1.parse().ok()?;
            put("lon_0", zone * 6.0 - 183.0);
            put("k", 0.9996);
            put("x_0", 500_000.0);
            put("y_0", if system.projection.ends_with("south") { 10_000_000.0 } else { 0.0 });
        }
        let mut text = format!("PROJCS[\"{name}\",{},PROJECTION[\"{method}\"]", globe(""));
        for ((name, value), (_, called)) in values.iter().zip(parameters) {
            // Missing parameters are 0; at most one of the two names of the scale is given.
            let value = match (value.is_nan(), *name) {
                (true, "k") if !has("k_0") => 1.0,
                (true, "k" | "k_0") => continue,
                (true, "lat_0" | "lon_0" | "x_0" | "y_0") => 0.0,
                (true, _) => continue,
                (false, "x_0" | "y_0") => value / metres,
                (false, _) => *value,
            };
            // Writing to a string does not fail.
            let _ = write!(text, ",PARAMETER[\"{called}\",{value}]");
        }
        let _ = write!(text, ",UNIT[\"{}\",{metres}]{authority}]", system.unit.name());
        Some(text)
    }
}
