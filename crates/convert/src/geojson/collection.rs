//! From the text of a feature collection to rows: which table each feature belongs to, its properties as the row that they are, and
//! its geometry as drawn. What the rows say is not looked at here.

use std::borrow::Cow;
use std::ops::Range;

use obvert_model::shape::{self, ObjectShape, Shape};
use serde::Deserialize;
use serde::de::{Deserializer, SeqAccess, Visitor};
use serde_json::value::RawValue;
use serde_json::{Map, Value};

use super::moved::Drawn;
use super::source::{Source, Spot, strict};
use super::{ADDED, TABLES};
use crate::ConvertError;
use crate::map::geometry::{Geometry, LonLat};

#[derive(Deserialize)]
#[serde(expecting = "a GeoJSON feature collection")]
struct Collection<'s> {
    #[serde(rename = "type", borrow)]
    kind: Option<Cow<'s, str>>,
    #[serde(borrow)]
    survey: Option<&'s RawValue>,
    #[serde(borrow)]
    crs: Option<&'s RawValue>,
    #[serde(borrow)]
    features: Option<&'s RawValue>,
    /// The key that an obvert document begins with.
    #[serde(borrow)]
    obvert: Option<&'s RawValue>,
}

#[derive(Deserialize)]
#[serde(expecting = "a GeoJSON feature")]
struct Feature<'s> {
    #[serde(rename = "type", borrow)]
    kind: Option<Cow<'s, str>>,
    #[serde(borrow)]
    id: Option<&'s RawValue>,
    #[serde(borrow)]
    properties: Option<&'s RawValue>,
    #[serde(borrow)]
    geometry: Option<&'s RawValue>,
}

/// JSON that became a row, and where it stands.
pub(super) struct Row {
    pub(super) value: Map<String, Value>,
    /// Where the object begins that holds the row's keys.
    pub(super) spot: Spot,
    pub(super) json: Range<usize>,
    pub(super) drawn: Option<Drawn>,
}

/// A row of a table, and the run that an observation belongs to.
pub(super) struct TableRow {
    pub(super) table: &'static str,
    pub(super) run: Option<String>,
    pub(super) row: Row,
}

/// Takes a collection apart: the `survey` member, and the features in their order.
pub(super) fn parts(source: &Source<'_>) -> Result<(Row, Vec<TableRow>), ConvertError> {
    let (survey, start, features) = members(source)?;
    let features: Vec<&RawValue> =
        serde_json::from_str(features.get()).map_err(|error| source.json_error(start, &error))?;
    let mut spot = start;
    let mut rows = Vec::with_capacity(features.len());
    for part in features {
        spot = source.spot(spot, part.get());
        rows.push(feature(source, spot, part.get())?);
    }
    Ok((survey, rows))
}

/// Gives the features of a collection to `work`, one at a time, with the `survey` member; `None` where anything is wrong with it.
pub(super) fn each<T>(
    source: &Source<'_>,
    work: impl FnOnce(Row, &mut dyn FnMut() -> Option<TableRow>) -> Option<T>,
) -> Option<T> {
    let (survey, start, features) = members(source).ok()?;
    let each = Each { source, spot: start, survey, work };
    let mut reader = serde_json::Deserializer::from_str(features.get());
    let result = reader.deserialize_seq(each).ok()?;
    reader.end().ok()?;
    result
}

struct Each<'s, 't, W> {
    source: &'s Source<'t>,
    spot: Spot,
    survey: Row,
    work: W,
}

impl<'de, T, W: FnOnce(Row, &mut dyn FnMut() -> Option<TableRow>) -> Option<T>> Visitor<'de> for Each<'_, '_, W> {
    type Value = Option<T>;
    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a list of features")
    }
    fn visit_seq<A: SeqAccess<'de>>(self, mut features: A) -> Result<Option<T>, A::Error> {
        let Self { source, mut spot, survey, work } = self;
        let mut failed = false;
        let mut next = || {
            if failed {
                return None;
            }
            // What is wrong is told by whoever reads the whole.
            let row = match features.next_element::<&RawValue>() {
                Ok(None) => return None,
                Ok(Some(part)) => {
                    spot = source.spot(spot, part.get());
                    feature(source, spot, part.get()).ok()
                }
                Err(_) => None,
            };
            failed = row.is_none();
            row
        };
        let result = work(survey, &mut next);
        while next().is_some() {}
        Ok(result.filter(|_| !failed))
    }
}

/// The `survey` member, and the list of features with the place where it begins.
fn members<'s>(source: &Source<'s>) -> Result<(Row, Spot, &'s RawValue), ConvertError> {
    let collection: Collection<'_> =
        serde_json::from_str(source.text()).map_err(|error| source.json_error(Spot::START, &error))?;
    check_kind(source, &collection)?;
    let at = |part: &RawValue| source.spot(Spot::START, part.get());
    if let Some(crs) = collection.crs {
        check_crs(source, at(crs), crs.get())?;
    }

    let Some(survey) = collection.survey else {
        let message = "the collection has no member \"survey\", which holds what a document says once; GeoJSON can be read if it was written \
                       from a document, and changed only by programs that keep foreign members (RFC 7946 section 6.1)";
        return Err(source.error(Spot::START, message));
    };
    let spot = at(survey);
    let value = source.object(spot, survey.get(), "the member \"survey\"")?;
    if let Some(table) = TABLES.iter().find(|table| value.contains_key(**table)) {
        let message = format!("the member \"survey\" holds {table:?}; its rows belong among the features");
        return Err(source.error(spot, message));
    }
    let survey = Row { value, spot, json: source.range(spot, survey.get()), drawn: None };

    let Some(features) = collection.features else {
        return Err(source.error(Spot::START, "the collection has no member \"features\""));
    };
    Ok((survey, at(features), features))
}

fn check_kind(source: &Source<'_>, collection: &Collection<'_>) -> Result<(), ConvertError> {
    let object = source.text().trim_ascii_start().starts_with('{');
    let message = match collection.kind.as_deref() {
        Some("FeatureCollection") if object => return Ok(()),
        Some(kind) if object => format!("expected a GeoJSON feature collection, found the type {kind:?}"),
        _ if collection.obvert.is_some() => "this is an obvert document, not GeoJSON; read it as one".to_owned(),
        _ => "expected a GeoJSON feature collection: an object with \"type\": \"FeatureCollection\"".to_owned(),
    };
    Err(source.error(Spot::START, message))
}

/// RFC 7946 §4 has done away with other reference systems; a member that names the one that is meant anyway is harmless.
fn check_crs(source: &Source<'_>, spot: Spot, crs: &str) -> Result<(), ConvertError> {
    let value = source.value(spot, crs)?;
    let name = value.pointer("/properties/name").and_then(Value::as_str).unwrap_or_default();
    let meant = ["CRS84", "EPSG:4326", "EPSG::4326"].iter().any(|known| name.ends_with(known));
    if meant {
        return Ok(());
    }
    let message = "the member \"crs\" names another reference system; GeoJSON is on WGS 84 (RFC 7946 section 4), so save the file in that";
    Err(source.error(spot, message))
}

fn feature(source: &Source<'_>, spot: Spot, text: &str) -> Result<TableRow, ConvertError> {
    let feature: Feature<'_> = serde_json::from_str(text).map_err(|error| source.json_error(spot, &error))?;
    if !text.starts_with('{') || feature.kind.as_deref() != Some("Feature") {
        return Err(source.error(spot, "expected a GeoJSON feature: an object with \"type\": \"Feature\""));
    }
    let expected = format!("a property \"table\" must name the table of the row: {}", TABLES.join(", "));
    let Some(properties) = feature.properties else {
        return Err(source.error(spot, format!("the feature has no properties; {expected}")));
    };
    let begin = source.spot(spot, properties.get());
    let mut value = source.object(begin, properties.get(), "the member \"properties\"")?;
    // An attribute table has a cell for every attribute of any feature, and writes the empty ones as null.
    value.retain(|_, value| !value.is_null());

    let table = match value.remove("table") {
        Some(Value::String(name)) => TABLES.into_iter().find(|table| *table == name).ok_or(Value::String(name)),
        Some(other) => Err(other),
        None => return Err(source.error(begin, format!("the feature has no table; {expected}"))),
    };
    let table = table.map_err(|other| source.error(begin, format!("there is no table {other}; {expected}")))?;
    value.remove(ADDED[2]);
    let run = match (table, value.remove("run")) {
        ("observations", Some(Value::String(run))) => Some(run),
        ("observations", _) => {
            let message = "an observation needs a property \"run\": the id of its run";
            return Err(source.error(begin, message));
        }
        // A locate has a key of that name, and for the others it is an unknown one.
        (_, Some(other)) => {
            value.insert("run".to_owned(), other);
            None
        }
        (_, None) => None,
    };
    if table == "runs" && value.contains_key("observations") {
        return Err(source.error(begin, "the observations of a run are features of their own, not a property of it"));
    }
    if let Some(id) = feature.id {
        let found = source.spot(spot, id.get());
        let id = source.value(found, id.get())?;
        match value.get("id") {
            Some(other) if *other != id => {
                let message =
                    format!("the feature's id is {id}, but its property \"id\" is {other}; remove the wrong one");
                return Err(source.error(found, message));
            }
            _ => value.insert("id".to_owned(), id),
        };
    }
    unpack(&mut value, row_shape(table));

    let drawn = match feature.geometry {
        Some(geometry) => drawn(source, source.spot(spot, geometry.get()), geometry.get())?,
        None => None,
    };
    let json = source.range(begin, properties.get());
    Ok(TableRow { table, run, row: Row { value, spot: begin, json, drawn } })
}

/// The shape of a table's rows.
fn row_shape(table: &str) -> &'static ObjectShape {
    let path: &[&str] = if table == "observations" { &["runs", "observations"] } else { &[table] };
    match shape::field(path).map(|field| &field.shape) {
        Some(Shape::List(row)) => match &**row {
            Shape::Object(name) => shape::object(name),
            _ => shape::object(""),
        },
        _ => shape::object(""),
    }
}

/// Turns JSON in a text into JSON where the row has an object or a list, since attribute tables have neither.
fn unpack(value: &mut Map<String, Value>, row: &ObjectShape) {
    for field in &row.fields {
        let nested = matches!(field.shape, Shape::Object(_) | Shape::List(_) | Shape::Position | Shape::Extensions);
        if let Some(Value::String(text)) = value.get(&field.name).filter(|_| nested)
            && text.trim_ascii_start().starts_with(['{', '['])
            && let Ok(inner) = strict(text)
        {
            value.insert(field.name.clone(), inner);
        }
    }
}

/// The geometry of a feature; `None` for one without coordinates, which is how some programs write that there is none.
fn drawn(source: &Source<'_>, spot: Spot, text: &str) -> Result<Option<Drawn>, ConvertError> {
    let value = source.object(spot, text, "a geometry")?;
    let kind = value.get("type").and_then(Value::as_str).unwrap_or_default();
    let known = matches!(kind, "Point" | "MultiPoint" | "LineString" | "MultiLineString");
    let coordinates = match value.get("coordinates") {
        Some(Value::Array(coordinates)) if known => coordinates,
        Some(_) if known => return Err(source.error(spot, "the coordinates of a geometry must be a list")),
        None if known => return Err(source.error(spot, "the geometry has no coordinates")),
        _ => {
            let message = format!("rows of a survey are points or lines; found a geometry of type {kind:?}");
            return Err(source.error(spot, message));
        }
    };
    if coordinates.is_empty() {
        return Ok(None);
    }
    let one = |what: &str| format!("expected one {what}, found {}; make it a feature each", coordinates.len());
    let line = |value: &Value| -> Result<Vec<LonLat>, String> {
        let positions = value.as_array().filter(|positions| positions.len() >= 2);
        let positions = positions
            .ok_or_else(|| format!("a line has two positions or more (RFC 7946 section 3.1.4), found {value}"))?;
        positions.iter().map(position).collect()
    };
    let geometry = match (kind, coordinates.as_slice()) {
        ("Point", _) => position(&value["coordinates"]).map(Geometry::Point),
        ("MultiPoint", [point]) => position(point).map(Geometry::Point),
        ("MultiPoint", _) => Err(one("point")),
        ("LineString", _) => line(&value["coordinates"]).map(Geometry::Line),
        (_, [only]) => line(only).map(Geometry::Line),
        (_, several) => several.iter().map(line).collect::<Result<_, _>>().map(Geometry::Lines),
    };
    let geometry = geometry.map_err(|message| source.error(spot, message))?;
    Ok(Some(Drawn { geometry, line: spot.line, column: spot.column }))
}

fn position(value: &Value) -> Result<LonLat, String> {
    let numbers: Option<Vec<f64>> = value.as_array().and_then(|list| list.iter().map(Value::as_f64).collect());
    match numbers.as_deref() {
        // A height of 0 is what programs put in that know no other positions than such with three numbers.
        Some(&[lon, lat] | &[lon, lat, 0.0]) if lon.abs() <= 360.0 && lat.abs() <= 90.0 => Ok([lon, lat]),
        Some(&[_, _] | &[_, _, 0.0]) => {
            Err(format!("{value} is not a longitude and latitude in degrees (RFC 7946 section 3.1.1)"))
        }
        Some(&[_, _, _]) => {
            let message = "has a height, which GeoJSON counts from the ellipsoid; put elevations into the properties and take it out";
            Err(format!("the position {value} {message}"))
        }
        _ => Err(format!("a position is a list of longitude and latitude (RFC 7946 section 3.1.1), found {value}")),
    }
}
