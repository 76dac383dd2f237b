//! The two declarative macros that every table and vocabulary is written with. They exist so that a
//! table reads like its row in the specification, and so that strictness (no `null`, no unknown key,
//! no array where an object belongs) is decided once and not remembered field by field.

/// Declares one object of the format.
///
/// `name: T` is required, `name?: T` optional and `name[]: T` a list that is left out when empty.
/// Reading refuses unknown keys, `null` in place of an absent value, and JSON arrays (which serde's
/// derived readers would otherwise accept in place of objects).
macro_rules! table {
    (@munch [$($head:tt)*] [$($done:tt)*]) => { $($head)* { $($done)* } };
    (@munch $head:tt [$($done:tt)*] $(#[$m:meta])* $f:ident : $t:ty, $($rest:tt)*) => {
        table! { @munch $head [$($done)* $(#[$m])* pub $f: $t,] $($rest)* }
    };
    (@munch $head:tt [$($done:tt)*] $(#[$m:meta])* $f:ident ? : $t:ty, $($rest:tt)*) => {
        table! { @munch $head [$($done)* $(#[$m])*
            #[serde(default, deserialize_with = "crate::read::present", skip_serializing_if = "Option::is_none")]
            pub $f: Option<$t>,] $($rest)* }
    };
    (@munch $head:tt [$($done:tt)*] $(#[$m:meta])* $f:ident [] : $t:ty, $($rest:tt)*) => {
        table! { @munch $head [$($done)* $(#[$m])*
            #[serde(default, skip_serializing_if = "Vec::is_empty")]
            pub $f: Vec<$t>,] $($rest)* }
    };
    ($(#[$m:meta])* pub $name:ident { $($body:tt)* }) => {
        table! { @munch [
            $(#[$m])*
            #[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
            #[serde(deny_unknown_fields, remote = "Self")]
            pub struct $name
        ] [] $($body)* }
        impl<'de> serde::Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
                Self::deserialize(crate::read::ObjectOnly(source))
            }
        }
        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> {
                Self::serialize(self, sink)
            }
        }
    };
}

/// Declares one vocabulary of the format: an enumeration written as plain words.
macro_rules! words {
    ($(#[doc = $doc:literal])+ pub $name:ident { $($(#[doc = $meaning:literal])+ $variant:ident = $word:literal,)+ }) => {
        $(#[doc = $doc])+
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum $name { $($(#[doc = $meaning])+ $variant,)+ }
        impl $name {
            /// Every value, in the order of the specification.
            pub const ALL: &'static [$name] = &[$($name::$variant),+];
            /// The word that stands in a document.
            #[must_use]
            pub const fn as_str(self) -> &'static str { match self { $($name::$variant => $word),+ } }
            /// What the word means.
            #[must_use]
            pub const fn meaning(self) -> &'static str { match self { $($name::$variant => concat!($($meaning),+)),+ } }
            /// The value that a word stands for.
            #[must_use]
            pub fn from_word(word: &str) -> Option<Self> { match word { $($word => Some($name::$variant),)+ _ => None } }
        }
        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { f.pad(self.as_str()) }
        }
        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> { sink.serialize_str(self.as_str()) }
        }
        impl<'de> serde::Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
                crate::read::word(source, &[$($word),+], Self::from_word)
            }
        }
        impl schemars::JsonSchema for $name {
            fn schema_name() -> std::borrow::Cow<'static, str> { stringify!($name).into() }
            fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
                crate::schema::vocabulary(concat!($($doc, "\n"),+), &[$(($word, concat!($($meaning),+))),+])
            }
        }
    };
}

/// Declares a newtype over a piece of text, so that an identifier of one table is never passed for another's.
macro_rules! texts {
    ($($(#[$m:meta])* pub $name:ident $(of $table:literal)? $(matches $check:path, $pattern:expr, $expected:literal)?;)+) => { $(
        $(#[$m])*
        #[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub struct $name(compact_str::CompactString);
        // As a text shows: what a message quotes is the text and not the type that holds it.
        impl std::fmt::Debug for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { std::fmt::Debug::fmt(self.as_str(), f) }
        }
        impl $name {
            /// Takes the text over, or says why it cannot stand in a document.
            ///
            /// # Errors
            /// When the text is empty or not of the form that this type asks for.
            pub fn new(text: &str) -> Result<Self, crate::text::TextError> {
                if text.is_empty() { return Err(crate::text::TextError::Empty); }
                $(if !$check(text) { return Err(crate::text::TextError::Form { expected: $expected }); })?
                Ok(Self(text.into()))
            }
            /// The text.
            #[must_use]
            pub fn as_str(&self) -> &str { &self.0 }
        }
        impl std::ops::Deref for $name { type Target = str; fn deref(&self) -> &str { &self.0 } }
        impl AsRef<str> for $name { fn as_ref(&self) -> &str { &self.0 } }
        impl std::borrow::Borrow<str> for $name { fn borrow(&self) -> &str { &self.0 } }
        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { f.pad(&self.0) }
        }
        impl std::str::FromStr for $name {
            type Err = crate::text::TextError;
            fn from_str(text: &str) -> Result<Self, Self::Err> { Self::new(text) }
        }
        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> { sink.serialize_str(&self.0) }
        }
        impl<'de> serde::Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
                crate::text::read(source, Self::new)
            }
        }
        impl schemars::JsonSchema for $name {
            fn schema_name() -> std::borrow::Cow<'static, str> { stringify!($name).into() }
            fn inline_schema() -> bool { true }
            fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
                #[allow(unused_mut, unused_assignments)]
                let mut schema = schemars::json_schema!({ "type": "string", "minLength": 1 });
                $(schema = schemars::json_schema!({ "type": "string", "pattern": $pattern, "$comment": $expected });)?
                $(schema = crate::schema::id_of($table);)?
                schema
            }
        }
    )+ };
}

/// Declares a newtype over a number, with the unit that the schema names where it is always the same.
macro_rules! numbers {
    ($($(#[$m:meta])* pub $name:ident $(in $unit:literal)?;)+) => { $(
        $(#[$m])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
        pub struct $name(crate::number::Finite);
        impl $name {
            /// The number as recorded, or `None` when it is not finite or beyond ±9 007 199 254 740 991.
            #[must_use]
            pub fn new(value: f64) -> Option<Self> { crate::number::Finite::new(value).map(Self) }
            /// The number as recorded.
            #[must_use]
            pub const fn get(self) -> f64 { self.0.get() }
        }
        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { std::fmt::Display::fmt(&self.get(), f) }
        }
        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> { crate::number::write(self.get(), sink) }
        }
        impl<'de> serde::Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
                let value = crate::number::read(source)?;
                Self::new(value).ok_or_else(|| <D::Error as serde::de::Error>::custom("the number is out of range"))
            }
        }
        impl schemars::JsonSchema for $name {
            fn schema_name() -> std::borrow::Cow<'static, str> { stringify!($name).into() }
            fn inline_schema() -> bool { true }
            fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
                let unit: &[&str] = &[$($unit)?];
                crate::number::schema(unit.first().copied())
            }
        }
    )+ };
}

/// Declares a newtype over a whole number from zero up to a largest value.
macro_rules! counts {
    ($($(#[$m:meta])* pub $name:ident($inner:ty) up to $largest:expr;)+) => { $(
        $(#[$m])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub struct $name($inner);
        impl $name {
            /// Wraps the number.
            #[must_use]
            pub const fn new(value: $inner) -> Self { Self(value) }
            /// The number as recorded.
            #[must_use]
            pub const fn get(self) -> $inner { self.0 }
        }
        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { std::fmt::Display::fmt(&self.0, f) }
        }
        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> {
                // What `new` lets through and no reader would take back.
                if u64::from(self.0) > $largest {
                    return Err(serde::ser::Error::custom(format_args!("{} is above {} and cannot be written", self.0, $largest)));
                }
                self.0.serialize(sink)
            }
        }
        impl<'de> serde::Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
                let value = crate::number::read_whole(source, $largest)?;
                <$inner>::try_from(value).map(Self).map_err(<D::Error as serde::de::Error>::custom)
            }
        }
        impl schemars::JsonSchema for $name {
            fn schema_name() -> std::borrow::Cow<'static, str> { stringify!($name).into() }
            fn inline_schema() -> bool { true }
            fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
                schemars::json_schema!({ "type": "integer", "minimum": 0, "maximum": $largest })
            }
        }
    )+ };
}
