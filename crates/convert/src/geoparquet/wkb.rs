//! Well-known binary (OGC 06-103r4, 8.2), little-endian, and the description of a column of it in
//! GeoParquet.

use std::collections::BTreeSet;

use serde_json::{Value, json};

use crate::map::geometry::{Bounds, Geometry, LonLat};

/// A geometry as well-known binary.
pub(super) fn bytes(geometry: &Geometry) -> Vec<u8> {
    let mut out = Vec::new();
    match geometry {
        Geometry::Point(position) => {
            head(&mut out, 1);
            put(&mut out, position);
        }
        Geometry::Line(line) => put_line(&mut out, line),
        Geometry::Lines(lines) => {
            head(&mut out, 5);
            count(&mut out, lines.len());
            lines.iter().for_each(|line| put_line(&mut out, line));
        }
    }
    out
}

fn head(out: &mut Vec<u8>, kind: u32) {
    out.push(1);
    out.extend(kind.to_le_bytes());
}

fn count(out: &mut Vec<u8>, number: usize) {
    out.extend(u32::try_from(number).unwrap_or(u32::MAX).to_le_bytes());
}

fn put(out: &mut Vec<u8>, [lon, lat]: &LonLat) {
    out.extend(lon.to_le_bytes());
    out.extend(lat.to_le_bytes());
}

fn put_line(out: &mut Vec<u8>, line: &[LonLat]) {
    head(out, 2);
    count(out, line.len());
    line.iter().for_each(|position| put(out, position));
}

/// The extent and types of the geometries of a column.
#[derive(Default)]
pub(super) struct Seen {
    bounds: Bounds,
    types: BTreeSet<&'static str>,
}

impl Seen {
    /// Adds a geometry.
    pub(super) fn add(&mut self, geometry: &Geometry) {
        self.bounds.add(geometry);
        self.types.insert(match geometry {
            Geometry::Point(_) => "Point",
            Geometry::Line(_) => "LineString",
            Geometry::Lines(_) => "MultiLineString",
        });
    }

    /// The value of the key `geo` for a column `geometry` with these geometries.
    pub(super) fn metadata(&self) -> Value {
        let mut column = json!({ "encoding": "WKB", "geometry_types": self.types, "crs": crs84(), "edges": "planar" });
        if let Some(bbox) = self.bounds.bbox() {
            column["bbox"] = json!(bbox);
        }
        json!({ "version": "1.1.0", "primary_column": "geometry", "columns": { "geometry": column } })
    }
}

/// OGC:CRS84 as PROJJSON.
fn crs84() -> Value {
    let axis = |name: &str, abbreviation: &str, direction: &str| json!({ "name": name, "abbreviation": abbreviation, "direction": direction, "unit": "degree" });
    let realizations = ["Transit", "G730", "G873", "G1150", "G1674", "G1762", "G2139", "G2296"];
    let members: Vec<Value> = realizations
        .iter()
        .map(|name| json!({ "name": format!("World Geodetic System 1984 ({name})") }))
        .collect();
    json!({
        "$schema": "https://proj.org/schemas/v0.7/projjson.schema.json",
        "type": "GeographicCRS",
        "name": "WGS 84 (CRS84)",
        "datum_ensemble": {
            "name": "World Geodetic System 1984 ensemble",
            "members": members,
            "ellipsoid": { "name": "WGS 84", "semi_major_axis": 6_378_137, "inverse_flattening": 298.257_223_563 },
            "accuracy": "2.0",
            "id": { "authority": "EPSG", "code": 6326 }
        },
        "coordinate_system": {
            "subtype": "ellipsoidal",
            "axis": [axis("Geodetic longitude", "Lon", "east"), axis("Geodetic latitude", "Lat", "north")]
        },
        "id": { "authority": "OGC", "code": "CRS84" }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_are_those_of_the_standard() {
        let hex = |geometry: &Geometry| {
            bytes(geometry).iter().map(|byte| format!("{byte:02X}")).collect::<String>()
        };
        // 1.0 and 2.0 as IEEE 754, little-endian.
        let (one, two) = ("000000000000F03F", "0000000000000040");
        assert_eq!(hex(&Geometry::Point([1.0, 2.0])), format!("0101000000{one}{two}"));
        let line = Geometry::Line(vec![[1.0, 2.0], [2.0, 1.0]]);
        assert_eq!(hex(&line), format!("010200000002000000{one}{two}{two}{one}"));
        let lines = Geometry::Lines(vec![vec![[1.0, 2.0], [2.0, 1.0]]]);
        assert_eq!(hex(&lines), format!("010500000001000000{}", hex(&line)));
    }
}
