//! A reference system as well-known text, for software that does not know the code. The names of
//! methods and parameters are those of OGC 01-009, as GDAL and PROJ read them.

use std::fmt::Write;

use crate::crs::{Crs, CrsKind};
use crate::registry::System;

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
        let authority = format!(",AUTHORITY[\"EPSG\",\"{}\"]", self.code());
        if self.kind() == CrsKind::Geographic {
            return Some(self.geographic_wkt(&name, &authority));
        }
        let given = Given::of(system)?;
        let (method, parameters) = given.method()?;
        let metres = system.unit.metres()?;
        let base = self.geographic_wkt(&name, "");
        let mut text = format!("PROJCS[\"{name}\",{base},PROJECTION[\"{method}\"]");
        for (name, called) in parameters {
            // Missing parameters are 0; at most one of the two names of the scale is given.
            let value = match (given.value(name)?, *name) {
                (None, "k") if !given.has("k_0") => 1.0,
                (None, "lat_0" | "lon_0" | "x_0" | "y_0") => 0.0,
                (None, _) => continue,
                (Some(value), "x_0" | "y_0") => value / metres,
                (Some(value), _) => value,
            };
            // Writing to a string does not fail.
            let _ = write!(text, ",PARAMETER[\"{called}\",{value}]");
        }
        let _ = write!(text, ",UNIT[\"{}\",{metres}]{authority}]", system.unit.name());
        Some(text)
    }

    /// The geographic system, or that of a projected one.
    fn geographic_wkt(&self, name: &str, authority: &str) -> String {
        let system = self.system();
        let datum = name.split(" / ").next().unwrap_or(name);
        let angle = match self.kind() {
            CrsKind::Geographic => system.unit.degrees().unwrap_or(1.0),
            CrsKind::Projected => 1.0,
        };
        // The prime meridian is in the unit of the geographic system (OGC 01-009).
        let meridian = system.prime_meridian / angle;
        format!(
            "GEOGCS[\"{datum}\",DATUM[\"{datum}\",SPHEROID[\"{datum}\",{},{}]],PRIMEM[\"{}\",{}],UNIT[\"{}\",{}]{authority}]",
            system.semi_major,
            system.inverse_flattening,
            if system.prime_meridian == 0.0 { "Greenwich" } else { "of the system" },
            meridian,
            if angle == 1.0 { "degree" } else { "grad" },
            (angle * std::f64::consts::PI / 180.0)
        )
    }
}

/// The projection of a system as the registry has it: PROJ's method and parameters.
struct Given<'s> {
    text: &'s str,
    method: &'s str,
    parameters: Vec<(&'s str, &'s str)>,
}

impl<'s> Given<'s> {
    fn of(system: &System) -> Option<Given<'static>> {
        let text = system.projection;
        let mut words = text.split(' ');
        let method = words.next()?;
        let parameters = words.filter_map(|word| word.split_once('=')).collect();
        Some(Given { text, method, parameters })
    }

    fn text_of(&self, name: &str) -> Option<&'s str> {
        self.parameters.iter().find(|(given, _)| *given == name).map(|(_, value)| *value)
    }

    fn has(&self, name: &str) -> bool {
        self.text_of(name).is_some()
    }

    /// The method and its parameters in OGC 01-009, if it names them.
    fn method(&self) -> Option<(&'static str, Parameters)> {
        let found = match self.method {
            "tmerc" | "utm" => ("Transverse_Mercator", COMMON),
            // Two parallels with a scale (EPSG method 1051), and one parallel besides the origin
            // (method 1102), have no name in OGC 01-009.
            "lcc" if self.has("lat_2") && !self.has("k") && !self.has("k_0") => {
                ("Lambert_Conformal_Conic_2SP", PARALLELS)
            }
            "lcc" if !self.has("lat_2") && self.text_of("lat_1") == self.text_of("lat_0") => {
                ("Lambert_Conformal_Conic_1SP", COMMON)
            }
            "merc" if !self.has("lat_ts") => ("Mercator_1SP", COMMON),
            "sterea" => ("Oblique_Stereographic", COMMON),
            "cass" if !self.text.contains(" hyperbolic") => ("Cassini_Soldner", COMMON),
            "poly" => ("Polyconic", COMMON),
            "aea" => ("Albers_Conic_Equal_Area", CENTRE),
            "laea" if !self.text.contains(" R_A") => ("Lambert_Azimuthal_Equal_Area", CENTRE),
            _ => return None,
        };
        Some(found)
    }

    /// The value of a parameter, `Some(None)` if it is not given; `None` if the projection has a
    /// value that is not a number. A zone of UTM fixes its parameters.
    fn value(&self, name: &str) -> Option<Option<f64>> {
        let number = |name: &str| match self.text_of(name) {
            Some(text) => text.parse().ok().map(Some),
            None => Some(None),
        };
        if self.method != "utm" {
            return number(name);
        }
        let value = match name {
            "lon_0" => number("zone")?? * 6.0 - 183.0,
            "k" => 0.9996,
            "x_0" => 500_000.0,
            "y_0" if self.text.ends_with("south") => 10_000_000.0,
            "y_0" => 0.0,
            _ => return number(name),
        };
        Some(Some(value))
    }
}
