//! From the text of a feature collection to rows: the table of each feature, its properties as a
//! row, and its geometry. The values of rows are not checked here.

use std::borrow::Cow;
use std::fmt;
use std::ops::Range;

use obvert_model::read::strict_value;
use obvert_model::shape::{self, ObjectShape, Shape};
use serde::de::{Error, IgnoredAny, MapAccess, Visitor};
use serde::{Deserialize, Deserializer};
use serde_json::value::RawValue;
use serde_json::{Map, Value};

use super::moved::Drawn;
use super::source::{Text, TextPosition};
use super::{ADDED, TABLES};
use crate::ConvertError;
use crate::map::geometry::{Geometry, LonLat};

/// A collection. Other members than these are about the file (RFC 7946, 6.1), unless they have the
/// name of a key of the document.
#[derive(Default)]
struct Collection<'s> {
    kind: Option<String>,
    survey: Option<&'s RawValue>,
    crs: Option<&'s RawValue>,
    features: Option<&'s RawValue>,
    /// The first member that has the name of a key of the document.
    misplaced: Option<String>,
    /// Whether there is the first key of an obvert document.
    is_document: bool,
}

impl<'de> Deserialize<'de> for Collection<'de> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_map(Members)
    }
}

struct Members;

impl<'de> Visitor<'de> for Members {
    type Value = Collection<'de>;

    fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("a GeoJSON feature collection")
    }

    fn visit_map<M: MapAccess<'de>>(self, mut members: M) -> Result<Self::Value, M::Error> {
        let mut found = Collection::default();
        while let Some(name) = members.next_key::<String>()? {
            let (part, name) = match name.as_str() {
                "type" if found.kind.is_some() => return Err(M::Error::duplicate_field("type")),
                "type" => {
                    found.kind = members.next_value()?;
                    continue;
                }
                "survey" => (&mut found.survey, "survey"),
                "crs" => (&mut found.crs, "crs"),
                "features" => (&mut found.features, "features"),
                other => {
                    found.is_document |= other == "obvert";
                    if found.misplaced.is_none() && shape::document().field(other).is_some() {
                        found.misplaced = Some(name);
                    }
                    members.next_value::<IgnoredAny>()?;
                    continue;
                }
            };
            if part.is_some() {
                return Err(M::Error::duplicate_field(name));
            }
            *part = members.next_value()?;
        }
        Ok(found)
    }
}

#[derive(Deserialize)]
#[serde(expecting = "a GeoJSON feature", deny_unknown_fields)]
struct Feature<'s> {
    #[serde(rename = "type", borrow)]
    kind: Option<Cow<'s, str>>,
    #[serde(borrow)]
    id: Option<&'s RawValue>,
    #[serde(borrow)]
    properties: Option<&'s RawValue>,
    #[serde(borrow)]
    geometry: Option<&'s RawValue>,
    #[serde(rename = "bbox")]
    _bbox: Option<IgnoredAny>,
}

/// JSON that became a row, and its location.
pub(super) struct Row {
    pub(super) value: Map<String, Value>,
    /// Where the object with the keys of the row starts.
    pub(super) position: TextPosition,
    pub(super) json: Range<usize>,
    pub(super) drawn: Option<Drawn>,
}

/// A row of a table, and for an observation the run that it belongs to.
pub(super) struct TableRow {
    pub(super) table: &'static str,
    pub(super) run: Option<String>,
    pub(super) row: Row,
}

/// The parts of a collection.
pub(super) struct Collected<'s> {
    /// The `survey` member.
    pub(super) survey: Row,
    /// The features, in the order of the file.
    pub(super) features: Features<'s>,
}

/// The features of a collection, one after the other.
pub(super) struct Features<'s> {
    source: Text<'s>,
    /// The list, which has been parsed before.
    list: &'s str,
    /// The number of bytes of the list that have been read.
    at: usize,
    /// Where the last feature starts.
    position: TextPosition,
}

impl<'s> Features<'s> {
    /// The text of the next feature.
    fn next_part(&mut self) -> Option<&'s str> {
        let rest = self.list.get(self.at..)?.trim_ascii_start();
        // There is a bracket or comma before every feature, and a bracket after the last.
        let rest = rest.strip_prefix(['[', ','])?.trim_ascii_start();
        let mut parts = serde_json::Deserializer::from_str(rest).into_iter::<&RawValue>();
        let part = parts.next()?.ok()?.get();
        self.at = self.list.len() - rest.len() + parts.byte_offset();
        Some(part)
    }

    /// The row of the next feature.
    ///
    /// # Errors
    /// When it is not a feature of this format.
    pub(super) fn next_row(&mut self) -> Result<Option<TableRow>, ConvertError> {
        let Some(part) = self.next_part() else { return Ok(None) };
        self.position = self.source.position(self.position, part);
        feature(&self.source, self.position, part).map(Some)
    }

    /// Whether every run is followed by its observations, and all other features are before the
    /// first run, so that runs can be read one at a time.
    pub(super) fn are_in_order(mut self) -> bool {
        let mut run: Option<Cow<'_, str>> = None;
        while let Some(part) = self.next_part() {
            let Ok(FeatureNames { id, properties: Some(names) }) = serde_json::from_str(part)
            else {
                return false;
            };
            let fits = match names.table.as_deref() {
                Some("runs") => {
                    run =
                        names.id.or_else(|| id.and_then(|id| serde_json::from_str(id.get()).ok()));
                    run.is_some()
                }
                Some("observations") => run.is_some() && run == names.run,
                _ => run.is_none(),
            };
            if !fits {
                return false;
            }
        }
        true
    }
}

/// The parts of a feature that determine the row it belongs to.
#[derive(Deserialize)]
struct FeatureNames<'s> {
    #[serde(borrow)]
    id: Option<&'s RawValue>,
    #[serde(borrow)]
    properties: Option<RowNames<'s>>,
}

#[derive(Deserialize)]
struct RowNames<'s> {
    #[serde(borrow)]
    table: Option<Cow<'s, str>>,
    #[serde(borrow)]
    id: Option<Cow<'s, str>>,
    #[serde(borrow)]
    run: Option<Cow<'s, str>>,
}

/// Splits a collection into the `survey` member and the features.
pub(super) fn collected<'s>(source: &Text<'s>) -> Result<Collected<'s>, ConvertError> {
    let collection: Collection<'s> = serde_json::from_str(source.text())
        .map_err(|error| source.json_error(TextPosition::START, &error))?;
    check_kind(source, &collection)?;
    let at = |part: &RawValue| source.position(TextPosition::START, part.get());
    if let Some(crs) = collection.crs {
        check_crs(source, at(crs), crs.get())?;
    }

    let Some(survey) = collection.survey else {
        let message = "the collection has no member \"survey\", which has the fields of the document; GeoJSON can be read if it was written \
                       from a document, and edited only by programs that keep foreign members (RFC 7946 section 6.1)";
        return Err(source.error(TextPosition::START, message));
    };
    if let Some(name) = &collection.misplaced {
        let message = format!("the collection has a member {name:?}; move it into \"survey\"");
        return Err(source.error(TextPosition::START, message));
    }
    let position = at(survey);
    let value = source.object(position, survey.get(), "the member \"survey\"")?;
    if let Some(table) = TABLES.iter().find(|table| value.contains_key(**table)) {
        let message = format!("the member \"survey\" has {table:?}; move its rows to the features");
        return Err(source.error(position, message));
    }
    let survey = Row { value, position, json: source.range(position, survey.get()), drawn: None };

    let Some(features) = collection.features else {
        return Err(source.error(TextPosition::START, "the collection has no member \"features\""));
    };
    let position = at(features);
    if !features.get().starts_with('[') {
        let error = serde_json::from_str::<Vec<&RawValue>>(features.get()).err();
        return Err(match error {
            Some(error) => source.json_error(position, &error),
            None => source.error(position, "the member \"features\" must be a list"),
        });
    }
    let features = Features { source: *source, list: features.get(), at: 0, position };
    Ok(Collected { survey, features })
}

fn check_kind(source: &Text<'_>, collection: &Collection<'_>) -> Result<(), ConvertError> {
    let object = source.text().trim_ascii_start().starts_with('{');
    let message = match collection.kind.as_deref() {
        Some("FeatureCollection") if object => return Ok(()),
        Some(kind) if object => {
            format!("expected a GeoJSON feature collection, found the type {kind:?}")
        }
        _ if collection.is_document => {
            "this is an obvert document, not GeoJSON; read it as JSON".to_owned()
        }
        _ => {
            "expected a GeoJSON feature collection: an object with \"type\": \"FeatureCollection\""
                .to_owned()
        }
    };
    Err(source.error(TextPosition::START, message))
}

/// RFC 7946 §4 has removed other reference systems; a member that names the only one allowed is
/// harmless.
fn check_crs(source: &Text<'_>, position: TextPosition, crs: &str) -> Result<(), ConvertError> {
    let value = source.value(position, crs)?;
    let name = value.pointer("/properties/name").and_then(Value::as_str).unwrap_or_default();
    let meant = ["CRS84", "EPSG:4326", "EPSG::4326"].iter().any(|known| name.ends_with(known));
    if meant {
        return Ok(());
    }
    let message = "the member \"crs\" names another reference system, and GeoJSON is on WGS 84 (RFC 7946 section 4); save the file in WGS 84";
    Err(source.error(position, message))
}

fn feature(
    source: &Text<'_>,
    position: TextPosition,
    text: &str,
) -> Result<TableRow, ConvertError> {
    let feature: Feature<'_> =
        serde_json::from_str(text).map_err(|error| source.json_error(position, &error))?;
    if !text.starts_with('{') || feature.kind.as_deref() != Some("Feature") {
        return Err(source
            .error(position, "expected a GeoJSON feature: an object with \"type\": \"Feature\""));
    }
    let expected =
        format!("a property \"table\" must name the table of the row: {}", TABLES.join(", "));
    let Some(properties) = feature.properties else {
        return Err(source.error(position, format!("the feature has no properties; {expected}")));
    };
    let begin = source.position(position, properties.get());
    let mut value = source.object(begin, properties.get(), "the member \"properties\"")?;
    // An attribute table has a cell for every attribute of any feature, and writes the empty ones
    // as null.
    value.retain(|_, value| !value.is_null());

    let table = match value.remove("table") {
        Some(Value::String(name)) => {
            TABLES.into_iter().find(|table| *table == name).ok_or(Value::String(name))
        }
        Some(other) => Err(other),
        None => return Err(source.error(begin, format!("the feature has no table; {expected}"))),
    };
    let table = table
        .map_err(|other| source.error(begin, format!("there is no table {other}; {expected}")))?;
    value.remove(ADDED[2]);
    let run = match (table, value.remove("run")) {
        ("observations", Some(Value::String(run))) => Some(run),
        ("observations", _) => {
            let message = "an observation needs a property \"run\": the id of its run";
            return Err(source.error(begin, message));
        }
        // A locate has a key with this name; in other tables it is an unknown key.
        (_, Some(other)) => {
            value.insert("run".to_owned(), other);
            None
        }
        (_, None) => None,
    };
    if table == "runs" && value.contains_key("observations") {
        return Err(source.error(
            begin,
            "the observations of a run must be features, not a property of it; move them",
        ));
    }
    if let Some(id) = feature.id {
        let found = source.position(position, id.get());
        let id = source.value(found, id.get())?;
        match value.get("id") {
            Some(other) if *other != id => {
                let message = format!(
                    "the feature's id is {id}, but its property \"id\" is {other}; remove the wrong one"
                );
                return Err(source.error(found, message));
            }
            _ => value.insert("id".to_owned(), id),
        };
    }
    unpack(&mut value, row_shape(table));

    let drawn = match feature.geometry {
        Some(geometry) => drawn(source, source.position(position, geometry.get()), geometry.get())?,
        None => None,
    };
    let json = source.range(begin, properties.get());
    Ok(TableRow { table, run, row: Row { value, position: begin, json, drawn } })
}

/// The shape of the rows of a table.
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

/// Turns text that contains JSON into JSON if the row has an object or a list, since attribute
/// tables have neither.
fn unpack(value: &mut Map<String, Value>, row: &ObjectShape) {
    for field in &row.fields {
        let nested = matches!(
            field.shape,
            Shape::Object(_) | Shape::List(_) | Shape::Position | Shape::Extensions
        );
        if let Some(Value::String(text)) = value.get(&field.name).filter(|_| nested)
            && text.trim_ascii_start().starts_with(['{', '['])
            && let Ok(inner) = strict_value(text)
        {
            value.insert(field.name.clone(), inner);
        }
    }
}

/// The members of a geometry: RFC 7946, 3.1 and 5.
const GEOMETRY: [&str; 3] = ["type", "coordinates", "bbox"];

/// The geometry of a feature; `None` for one without coordinates, which is how some programs write
/// a missing geometry.
fn drawn(
    source: &Text<'_>,
    position: TextPosition,
    text: &str,
) -> Result<Option<Drawn>, ConvertError> {
    let value = source.object(position, text, "a geometry")?;
    let kind = value.get("type").and_then(Value::as_str).unwrap_or_default();
    if let Some(other) = value.keys().find(|key| !GEOMETRY.contains(&key.as_str())) {
        let message = format!(
            "the geometry has a member {other:?}; move it into \"properties\", or remove it"
        );
        return Err(source.error(position, message));
    }
    let known = matches!(kind, "Point" | "MultiPoint" | "LineString" | "MultiLineString");
    let coordinates = match value.get("coordinates") {
        Some(Value::Array(coordinates)) if known => coordinates,
        Some(_) if known => {
            return Err(source.error(position, "the coordinates of a geometry must be a list"));
        }
        None if known => return Err(source.error(position, "the geometry has no coordinates")),
        _ => {
            let message = format!("the geometry has the type {kind:?}; use a point or a line");
            return Err(source.error(position, message));
        }
    };
    if coordinates.is_empty() {
        return Ok(None);
    }
    let one = |what: &str| {
        format!("expected one {what}, found {}; make each a feature", coordinates.len())
    };
    let line = |value: &Value| -> Result<Vec<LonLat>, String> {
        let positions = value.as_array().filter(|positions| positions.len() >= 2);
        let positions = positions.ok_or_else(|| {
            format!("a line has two positions or more (RFC 7946 section 3.1.4), found {value}")
        })?;
        positions.iter().map(lonlat).collect()
    };
    let geometry = match (kind, coordinates.as_slice()) {
        ("Point", _) => lonlat(&value["coordinates"]).map(Geometry::Point),
        ("MultiPoint", [point]) => lonlat(point).map(Geometry::Point),
        ("MultiPoint", _) => Err(one("point")),
        ("LineString", _) => line(&value["coordinates"]).map(Geometry::Line),
        (_, [only]) => line(only).map(Geometry::Line),
        (_, several) => several.iter().map(line).collect::<Result<_, _>>().map(Geometry::Lines),
    };
    let geometry = geometry.map_err(|message| source.error(position, message))?;
    Ok(Some(Drawn { geometry, line: position.line, column: position.column }))
}

fn lonlat(value: &Value) -> Result<LonLat, String> {
    let numbers: Option<Vec<f64>> =
        value.as_array().and_then(|list| list.iter().map(Value::as_f64).collect());
    match numbers.as_deref() {
        // Programs that support only positions with three numbers add a height of 0.
        Some(&[lon, lat] | &[lon, lat, 0.0]) if lon.abs() <= 360.0 && lat.abs() <= 90.0 => {
            Ok([lon, lat])
        }
        Some(&[_, _] | &[_, _, 0.0]) => Err(format!(
            "{value} is not a longitude and latitude in degrees (RFC 7946 section 3.1.1)"
        )),
        Some(&[_, _, _]) => {
            let message = "has a height, which in GeoJSON is above the ellipsoid; move elevations to the properties";
            Err(format!("the position {value} {message}"))
        }
        _ => Err(format!(
            "a position is a list of longitude and latitude (RFC 7946 section 3.1.1), found {value}"
        )),
    }
}
