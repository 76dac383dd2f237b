//! Extensions: data that the format does not define, under a reverse domain name, kept through
//! every round trip.
//!
//! ```
//! use obvert_model::extension::{Extensions, Json};
//! let crew = Json::try_from(serde_json::json!({ "crew": "B", "shift": 2 }))?;
//! let extensions = Extensions::new([("org.example.dispatch".parse()?, crew)])?;
//! assert_eq!(extensions.entries().len(), 1);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::collections::BTreeMap;
use std::fmt;

use serde::de::{Deserialize, Deserializer, Error, MapAccess, Unexpected, Visitor};
use serde::ser::{Serialize, Serializer};

use crate::number::{Number, NumberError};
use crate::read::Tree;
use crate::text::ExtensionKey;

/// Extensions of one object, by name; at least one.
#[derive(Clone, Debug, PartialEq)]
pub struct Extensions(BTreeMap<ExtensionKey, Json>);

/// Why data cannot be an extension.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ExtensionError {
    /// There are no entries.
    #[error("empty extensions; leave the key out")]
    Empty,
    /// A value is nested too deeply for JSON readers.
    #[error("the extension {key:?} is nested more than {} deep", Extensions::DEEPEST)]
    Depth {
        /// The extension.
        key: ExtensionKey,
    },
}

impl Extensions {
    /// How many arrays and objects may be nested in one value. JSON readers commonly stop at 128
    /// for a whole document.
    pub const DEEPEST: usize = 100;

    /// Extensions from their entries.
    ///
    /// # Errors
    /// If there are no entries, since an object without extensions has no key for them, or if a
    /// value is nested deeper than [`Self::DEEPEST`].
    pub fn new(
        entries: impl IntoIterator<Item = (ExtensionKey, Json)>,
    ) -> Result<Self, ExtensionError> {
        let entries: BTreeMap<_, _> = entries.into_iter().collect();
        if entries.is_empty() {
            return Err(ExtensionError::Empty);
        }
        match entries.iter().find(|(_, value)| value.is_deeper_than(Self::DEEPEST)) {
            Some((key, _)) => Err(ExtensionError::Depth { key: key.clone() }),
            None => Ok(Self(entries)),
        }
    }

    /// The entries.
    #[must_use]
    pub fn entries(&self) -> &BTreeMap<ExtensionKey, Json> {
        &self.0
    }

    /// Adds an entry, or replaces the one with that key.
    ///
    /// # Errors
    /// If the value is nested deeper than [`Self::DEEPEST`].
    pub fn insert(&mut self, key: ExtensionKey, value: Json) -> Result<(), ExtensionError> {
        if value.is_deeper_than(Self::DEEPEST) {
            return Err(ExtensionError::Depth { key });
        }
        self.0.insert(key, value);
        Ok(())
    }

    /// The extensions without an entry; `None` if no other is left.
    #[must_use]
    pub fn without(mut self, key: &str) -> Option<Self> {
        self.0.remove(key);
        (!self.0.is_empty()).then_some(self)
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
                    // A map would silently keep the last of two duplicate entries.
                    if entries.contains_key(&key) {
                        return Err(A::Error::custom(format_args!("duplicate key {key:?}")));
                    }
                    entries.insert(key, source.next_value()?);
                }
                // serde_json limits the depth of the whole document itself.
                if entries.is_empty() {
                    Err(A::Error::custom(ExtensionError::Empty))
                } else {
                    Ok(Extensions(entries))
                }
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

/// Any JSON value that every JSON implementation reads alike (RFC 7493): no duplicate key in an
/// object, no number beyond ±(2⁵³ − 1). Keys are sorted, since their order carries no meaning.
#[derive(Clone, Debug, PartialEq)]
pub enum Json {
    /// `null`; allowed here only.
    Null,
    /// `true` or `false`.
    Bool(bool),
    /// A number.
    Number(Number),
    /// A text, which here may be empty.
    String(String),
    /// A list.
    Array(Vec<Json>),
    /// An object.
    Object(BTreeMap<String, Json>),
}

impl Json {
    fn is_deeper_than(&self, limit: usize) -> bool {
        let inner = |value: &Self| value.is_deeper_than(limit - 1);
        match self {
            Self::Array(_) | Self::Object(_) if limit == 0 => true,
            Self::Array(items) => items.iter().any(inner),
            Self::Object(entries) => entries.values().any(inner),
            _ => false,
        }
    }
}

impl From<bool> for Json {
    fn from(value: bool) -> Self {
        Self::Bool(value)
    }
}

impl From<Number> for Json {
    fn from(value: Number) -> Self {
        Self::Number(value)
    }
}

impl From<&str> for Json {
    fn from(value: &str) -> Self {
        Self::String(value.into())
    }
}

impl From<String> for Json {
    fn from(value: String) -> Self {
        Self::String(value)
    }
}

impl TryFrom<serde_json::Value> for Json {
    type Error = NumberError;
    fn try_from(value: serde_json::Value) -> Result<Self, NumberError> {
        use serde_json::Value;
        Ok(match value {
            Value::Null => Self::Null,
            Value::Bool(value) => Self::Bool(value),
            Value::Number(value) => Self::Number(Number::new(value.as_f64().unwrap_or(f64::NAN))?),
            Value::String(value) => Self::String(value),
            Value::Array(items) => {
                Self::Array(items.into_iter().map(Self::try_from).collect::<Result<_, _>>()?)
            }
            Value::Object(entries) => {
                let entries =
                    entries.into_iter().map(|(key, value)| Ok((key, Self::try_from(value)?)));
                Self::Object(entries.collect::<Result<_, NumberError>>()?)
            }
        })
    }
}

impl From<Json> for serde_json::Value {
    fn from(value: Json) -> Self {
        match value {
            Json::Null => Self::Null,
            Json::Bool(value) => Self::Bool(value),
            // As in a document: whole numbers without a fraction.
            #[allow(clippy::cast_possible_truncation)]
            Json::Number(value) if value.get().fract() == 0.0 => Self::from(value.get() as i64),
            Json::Number(value) => Self::from(value.get()),
            Json::String(value) => Self::String(value),
            Json::Array(items) => items.into_iter().map(Self::from).collect(),
            Json::Object(entries) => {
                entries.into_iter().map(|(key, value)| (key, Self::from(value))).collect()
            }
        }
    }
}

impl Serialize for Json {
    fn serialize<S: Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Null => sink.serialize_unit(),
            Self::Bool(value) => sink.serialize_bool(*value),
            Self::Number(value) => value.serialize(sink),
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
        let number = Number::new(value).map(Self::Number);
        number.map_err(|_| E::invalid_value(Unexpected::Float(value), &Self::EXPECTED))
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
        // No `anyOf`: each keyword applies to values of its own type only, so that a validator
        // reports the number that is wrong and not the whole extension. Every JSON type is listed
        // for validators that read 1e400 as infinity, which is not a number to them.
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
