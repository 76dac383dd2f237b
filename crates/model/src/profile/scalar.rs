//! A single value of a document: what a profile compares a field with.

use std::fmt;

use serde::de::{Deserialize, Deserializer, Error, Visitor};
use serde::ser::{Serialize, Serializer};

use crate::number::Number;
use crate::text::Text;

/// A text, a number, or true or false.
#[derive(Clone, Debug, PartialEq)]
pub enum Scalar {
    /// A text or one of a vocabulary's words.
    Text(Text),
    /// A number.
    Number(Number),
    /// A boolean.
    Bool(bool),
}

impl fmt::Display for Scalar {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Text(text) => fmt::Debug::fmt(text, f),
            Self::Number(number) => fmt::Display::fmt(number, f),
            Self::Bool(value) => fmt::Display::fmt(value, f),
        }
    }
}

impl Serialize for Scalar {
    fn serialize<S: Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Text(text) => text.serialize(sink),
            Self::Number(value) => value.serialize(sink),
            Self::Bool(value) => sink.serialize_bool(*value),
        }
    }
}

impl<'de> Deserialize<'de> for Scalar {
    fn deserialize<D: Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
        struct Any;
        impl Visitor<'_> for Any {
            type Value = Scalar;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a text, a number within ±9007199254740991, or true or false")
            }
            fn visit_str<E: Error>(self, text: &str) -> Result<Scalar, E> {
                Text::new(text).map(Scalar::Text).map_err(E::custom)
            }
            fn visit_bool<E>(self, value: bool) -> Result<Scalar, E> {
                Ok(Scalar::Bool(value))
            }
            fn visit_f64<E: Error>(self, value: f64) -> Result<Scalar, E> {
                let number = Number::new(value);
                number
                    .map(Scalar::Number)
                    .map_err(|_| E::custom(format_args!("{value} is beyond ±9007199254740991")))
            }
            #[allow(clippy::cast_precision_loss)]
            fn visit_u64<E: Error>(self, value: u64) -> Result<Scalar, E> {
                self.visit_f64(value as f64)
            }
            #[allow(clippy::cast_precision_loss)]
            fn visit_i64<E: Error>(self, value: i64) -> Result<Scalar, E> {
                self.visit_f64(value as f64)
            }
        }
        source.deserialize_any(Any)
    }
}

impl schemars::JsonSchema for Scalar {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Scalar".into()
    }
    fn inline_schema() -> bool {
        true
    }
    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "type": ["string", "number", "boolean"], "minLength": 1,
            "minimum": -9_007_199_254_740_991i64, "maximum": 9_007_199_254_740_991i64
        })
    }
}
