//! Room for what the format does not define: data of one office's own under a reverse domain name, kept through
//! every round trip.

use std::collections::BTreeMap;
use std::fmt;

use serde::de::{Deserialize, Deserializer, Error, MapAccess, Unexpected, Visitor};
use serde::ser::{Serialize, Serializer};

use crate::number;
use crate::read::Tree;
use crate::text::ExtensionKey;

/// Extensions of one object, by name; at least one.
#[derive(Clone, Debug, PartialEq)]
pub struct Extensions(BTreeMap<ExtensionKey, Json>);

impl Extensions {
    /// Extensions from their entries, or `None` when there are none: an object without extensions has no key for them.
    #[must_use]
    pub fn new(entries: BTreeMap<ExtensionKey, Json>) -> Option<Self> {
        (!entries.is_empty()).then_some(Self(entries))
    }
    /// The entries.
    #[must_use]
    pub fn entries(&self) -> &BTreeMap<ExtensionKey, Json> {
        &self.0
    }
}

impl Serialize for Extensions {
    fn serialize<S: Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> {
        self.0.serialize(sink)
    }
}

impl<'de> Deserialize<'de> for Extensions {
    fn deserialize<D: Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
        struct Named;
        impl<'de> Visitor<'de> for Named {
            type Value = Extensions;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an object of extensions by reverse domain name")
            }
            fn visit_map<A: MapAccess<'de>>(self, mut source: A) -> Result<Extensions, A::Error> {
                let mut entries = BTreeMap::new();
                while let Some(key) = source.next_key::<ExtensionKey>()? {
                    // A plain map would keep the last of two values silently.
                    if entries.contains_key(&key) {
                        return Err(A::Error::custom(format_args!("duplicate key {key:?}")));
                    }
                    entries.insert(key, source.next_value()?);
                }
                Extensions::new(entries).ok_or_else(|| A::Error::custom("empty extensions; leave the key out"))
            }
        }
        source.deserialize_map(Named)
    }
}

impl schemars::JsonSchema for Extensions {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Extensions".into()
    }
    fn json_schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
        let name = ExtensionKey::json_schema(generator);
        let value = generator.subschema_for::<Json>();
        schemars::json_schema!({
            "description": "Data that the format does not define, by reverse domain name.",
            "type": "object", "minProperties": 1, "propertyNames": name, "additionalProperties": value
        })
    }
}

/// Any JSON value, as far as every JSON implementation reads it alike (RFC 7493): no key twice in an object, no
/// number beyond ±(2⁵³ − 1). Keys are held in order, since their order carries no meaning.
#[derive(Clone, Debug, PartialEq)]
pub enum Json {
    /// `null`; allowed here only.
    Null,
    /// `true` or `false`.
    Bool(bool),
    /// A number.
    Number(f64),
    /// A text, which here may be empty.
    String(String),
    /// A list.
    Array(Vec<Json>),
    /// An object.
    Object(BTreeMap<String, Json>),
}

impl Serialize for Json {
    fn serialize<S: Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Null => sink.serialize_unit(),
            Self::Bool(value) => sink.serialize_bool(*value),
            Self::Number(value) => number::write(*value, sink),
            Self::String(value) => sink.serialize_str(value),
            Self::Array(items) => items.serialize(sink),
            Self::Object(entries) => entries.serialize(sink),
        }
    }
}

impl<'de> Deserialize<'de> for Json {
    fn deserialize<D: Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
        crate::read::strict(source)
    }
}

impl Tree for Json {
    type Entries = BTreeMap<String, Json>;
    const EXPECTED: &'static str = "JSON with numbers within ±9007199254740991";
    fn null() -> Self {
        Self::Null
    }
    fn boolean(value: bool) -> Self {
        Self::Bool(value)
    }
    fn number<E: Error>(value: serde_json::Number) -> Result<Self, E> {
        let value = value.as_f64().unwrap_or(f64::INFINITY);
        if value.abs() <= number::LARGEST {
            Ok(Self::Number(value))
        } else {
            Err(E::invalid_value(Unexpected::Float(value), &Self::EXPECTED))
        }
    }
    fn string(value: &str) -> Self {
        Self::String(value.into())
    }
    fn list(items: Vec<Self>) -> Self {
        Self::Array(items)
    }
    fn object(entries: BTreeMap<String, Json>) -> Self {
        Self::Object(entries)
    }
    fn has(entries: &BTreeMap<String, Json>, key: &str) -> bool {
        entries.contains_key(key)
    }
    fn insert(entries: &mut BTreeMap<String, Json>, key: String, value: Self) {
        entries.insert(key, value);
    }
}

impl schemars::JsonSchema for Json {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Json".into()
    }
    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        // No choice between schemas: each keyword speaks of values of its own type only, so that a validator names the very
        // number that is wrong and not the whole extension. Every type that JSON has is named, for the sake of validators
        // that read 1e400 as infinity, which is no number of any size to them.
        schemars::json_schema!({
            "description": "Any JSON value that every implementation reads alike (RFC 7493).",
            "type": ["null", "boolean", "number", "string", "array", "object"],
            "minimum": -9_007_199_254_740_991i64,
            "maximum": 9_007_199_254_740_991i64,
            "items": { "$ref": "#/$defs/Json" },
            "additionalProperties": { "$ref": "#/$defs/Json" }
        })
    }
}
