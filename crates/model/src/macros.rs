//! The macros that declare tables, vocabularies, texts and numbers. A declaration reads like its
//! part of the specification. Strictness (no `null`, no unknown key, no array in place of an
//! object) is implemented once, here.

/// Declares one object of the format.
///
/// `name: T` is required, `name: T = value` is required and filled in by `new`, `name?: T` is
/// optional and `name[]: T` is a list that is left out when empty. Reading refuses unknown keys,
/// `null` in place of an absent value, and JSON arrays (which serde's derived readers would
/// otherwise accept in place of objects). A new optional field breaks no caller: tables are
/// `#[non_exhaustive]`, and [`construct!`] makes their constructors.
macro_rules! table {
    (@munch [$($head:tt)*] [$($done:tt)*]) => { $($head)* { $($done)* } };
    (@munch $head:tt [$($done:tt)*] $(#[$m:meta])* $f:ident : $t:ty $(= $value:expr)?, $($rest:tt)*) => {
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
            #[non_exhaustive]
            pub struct $name
        ] [] $($body)* }
        construct! { @field $name [] [] [] $($body)* }
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

/// Makes a table's `new`, which takes the required fields, and a `with_…` for every other field.
macro_rules! construct {
    // A step takes one field: [parameters of `new`] [the fields that it makes] [the fields that
    // have a setter].
    (@field $name:ident $takes:tt [$($makes:tt)*] $sets:tt
        $(#[$m:meta])* $f:ident : $t:ty = $value:expr, $($rest:tt)*) => {
        construct! { @field $name $takes [$($makes)* $f: $value,] $sets $($rest)* }
    };
    (@field $name:ident [$($takes:tt)*] [$($makes:tt)*] $sets:tt $(#[$m:meta])* $f:ident : $t:ty, $($rest:tt)*) => {
        construct! { @field $name [$($takes)* $f: $t,] [$($makes)* $f,] $sets $($rest)* }
    };
    (@field $name:ident $takes:tt [$($makes:tt)*] [$($sets:tt)*]
        $(#[$m:meta])* $f:ident ? : Box<$t:ty>, $($rest:tt)*) => {
        construct! { @field $name $takes [$($makes)* $f: None,] [$($sets)* { $f ($t) Some(Box::new($f)) }] $($rest)* }
    };
    (@field $name:ident $takes:tt [$($makes:tt)*] [$($sets:tt)*]
        $(#[$m:meta])* $f:ident ? : $t:ty, $($rest:tt)*) => {
        construct! { @field $name $takes [$($makes)* $f: None,] [$($sets)* { $f ($t) Some($f) }] $($rest)* }
    };
    (@field $name:ident $takes:tt [$($makes:tt)*] [$($sets:tt)*]
        $(#[$m:meta])* $f:ident [] : $t:ty, $($rest:tt)*) => {
        construct! { @field $name $takes [$($makes)* $f: Vec::new(),]
            [$($sets)* { $f (impl IntoIterator<Item = $t>) $f.into_iter().collect() }] $($rest)* }
    };
    (@field $name:ident $takes:tt $makes:tt $sets:tt) => {
        construct! { @default $name $takes }
        construct! { @methods $name $takes $makes $sets }
    };
    (@methods $name:ident [$($p:ident: $pt:ty,)*] [$($makes:tt)*] [$({ $f:ident ($t:ty) $value:expr })*]) => {
        pastey::paste! { impl $name {
            #[doc = "Makes a `" $name "` of its required fields; everything else is absent."]
            #[must_use]
            #[allow(clippy::too_many_arguments)]
            pub fn new($($p: $pt),*) -> Self { Self { $($makes)* } }
            $(
                #[doc = "Sets [`" $f "`](Self::" $f ")."]
                #[must_use]
                pub fn [<with_ $f>](mut self, $f: $t) -> Self { self.$f = $value; self }
            )*
        } }
    };
    (@default $name:ident []) => { impl Default for $name { fn default() -> Self { Self::new() } } };
    (@default $name:ident $takes:tt) => {};
}

/// Declares one vocabulary of the format: an enumeration written as plain words. It is
/// `#[non_exhaustive]`, since a version of the format may add a word, unless it is `complete`: then
/// a program must handle every word.
macro_rules! words {
    ($(#[doc = $doc:literal])+ $(#[doc(alias = $alias:literal)])* pub complete $name:ident $words:tt) => {
        words! { @ [$(#[doc(alias = $alias)])*] [$($doc)+] $name $words }
    };
    ($(#[doc = $doc:literal])+ $(#[doc(alias = $alias:literal)])* pub $name:ident $words:tt) => {
        words! { @ [$(#[doc(alias = $alias)])* #[non_exhaustive]] [$($doc)+] $name $words }
    };
    (@ [$($open:tt)*] [$($doc:literal)+] $name:ident {
        $($(#[doc = $meaning:literal])+ $(#[doc(alias = $also:literal)])* $variant:ident = $word:literal,)+
    }) => {
        $(#[doc = $doc])+
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        $($open)*
        pub enum $name { $($(#[doc = $meaning])+ $(#[doc(alias = $also)])* $variant,)+ }
        impl $name {
            /// Every value, in the order of the specification.
            pub const ALL: &'static [$name] = &[$($name::$variant),+];
            /// The word in a document.
            #[must_use]
            pub const fn as_str(self) -> &'static str { match self { $($name::$variant => $word),+ } }
            /// What the word means.
            #[must_use]
            pub const fn meaning(self) -> &'static str { match self { $($name::$variant => concat!($($meaning),+)),+ } }
        }
        impl AsRef<str> for $name { fn as_ref(&self) -> &str { self.as_str() } }
        impl std::str::FromStr for $name {
            type Err = crate::text::WordError;
            fn from_str(word: &str) -> Result<Self, Self::Err> {
                match word { $($word => Ok($name::$variant),)+ _ => Err(crate::text::WordError::new(word, &[$($word),+])) }
            }
        }
        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { f.pad(self.as_str()) }
        }
        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> { sink.serialize_str(self.as_str()) }
        }
        impl<'de> serde::Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
                crate::read::word(source, &[$($word),+], |word| word.parse().ok())
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

/// Declares a newtype over a text, so that the identifier of one table is never passed for
/// another's.
macro_rules! texts {
    ($($(#[$m:meta])* pub $name:ident $(of $table:literal)? $(matches $check:path, $pattern:expr, $expected:literal)?;)+) => { $(
        $(#[$m])*
        #[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub struct $name(compact_str::CompactString);
        // Debug shows the text alone, since messages quote it.
        impl std::fmt::Debug for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { std::fmt::Debug::fmt(self.as_str(), f) }
        }
        impl $name {
            /// Checks the text and takes a copy of it.
            ///
            /// # Errors
            /// If the text is empty or does not have the form that this type requires.
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
        impl TryFrom<&str> for $name {
            type Error = crate::text::TextError;
            fn try_from(text: &str) -> Result<Self, Self::Error> { Self::new(text) }
        }
        impl TryFrom<String> for $name {
            type Error = crate::text::TextError;
            fn try_from(text: String) -> Result<Self, Self::Error> { Self::new(&text) }
        }
        impl From<$name> for String { fn from(text: $name) -> Self { text.0.into() } }
        impl PartialEq<str> for $name { fn eq(&self, other: &str) -> bool { self.as_str() == other } }
        impl PartialEq<&str> for $name { fn eq(&self, other: &&str) -> bool { self.as_str() == *other } }
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
    )+
        /// The patterns of these texts, each with the test that every reader of the crate applies.
        #[cfg(feature = "diagnose")]
        #[allow(dead_code, reason = "only the texts of surveys are looked up")]
        pub(crate) const FORMS: &[(&str, fn(&str) -> bool)] = &[$($(($pattern, $check),)?)+];
    };
}

/// Declares a newtype over a number, with its unit for the schema if that is always the same.
macro_rules! numbers {
    ($($(#[$m:meta])* pub $name:ident $(in $unit:literal)?;)+) => { $(
        $(#[$m])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
        pub struct $name(crate::number::Finite);
        impl $name {
            /// The number as recorded.
            ///
            /// # Errors
            /// If the number is not finite or beyond ±9 007 199 254 740 991.
            pub fn new(value: f64) -> Result<Self, crate::number::NumberError> {
                crate::number::Finite::new(value).map(Self)
            }
            /// The number as recorded.
            #[must_use]
            pub const fn get(self) -> f64 { self.0.get() }
        }
        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { std::fmt::Display::fmt(&self.get(), f) }
        }
        impl TryFrom<f64> for $name {
            type Error = crate::number::NumberError;
            fn try_from(value: f64) -> Result<Self, Self::Error> { Self::new(value) }
        }
        impl From<$name> for f64 { fn from(number: $name) -> Self { number.get() } }
        impl std::str::FromStr for $name {
            type Err = crate::number::ParseNumberError;
            fn from_str(text: &str) -> Result<Self, Self::Err> { Ok(Self::new(text.parse::<f64>()?)?) }
        }
        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> { crate::number::write(self.0, sink) }
        }
        impl<'de> serde::Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
                crate::number::read(source).map(Self)
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

/// Declares a newtype over a whole number from zero to a maximum, by default that of its integer
/// type.
macro_rules! counts {
    (@largest $inner:ident) => { $inner::MAX as u64 };
    (@largest $inner:ident $largest:literal) => { $largest };
    (@new $name:ident $inner:ident) => {
        impl $name {
            /// The number as recorded.
            #[must_use]
            pub const fn new(value: $inner) -> Self { Self(value) }
        }
        impl From<$inner> for $name { fn from(value: $inner) -> Self { Self(value) } }
    };
    (@new $name:ident $inner:ident $largest:literal) => {
        impl $name {
            /// The number as recorded.
            ///
            /// # Errors
            #[doc = concat!("If the number is above ", stringify!($largest), ".")]
            pub const fn new(value: $inner) -> Result<Self, crate::number::NumberError> {
                if value <= $largest { Ok(Self(value)) } else { Err(crate::number::NumberError::whole(value as u64, $largest)) }
            }
        }
        impl TryFrom<$inner> for $name {
            type Error = crate::number::NumberError;
            fn try_from(value: $inner) -> Result<Self, Self::Error> { Self::new(value) }
        }
    };
    ($($(#[$m:meta])* pub $name:ident($inner:ident) $(up to $largest:literal)?;)+) => { $(
        $(#[$m])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub struct $name($inner);
        counts! { @new $name $inner $($largest)? }
        impl $name {
            const LARGEST: u64 = counts!(@largest $inner $($largest)?);
            /// The number as recorded.
            #[must_use]
            pub const fn get(self) -> $inner { self.0 }
        }
        impl From<$name> for $inner { fn from(number: $name) -> Self { number.0 } }
        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result { std::fmt::Display::fmt(&self.0, f) }
        }
        impl std::str::FromStr for $name {
            type Err = crate::number::ParseNumberError;
            fn from_str(text: &str) -> Result<Self, Self::Err> { Ok(Self::try_from(text.parse::<$inner>()?)?) }
        }
        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> { self.0.serialize(sink) }
        }
        impl<'de> serde::Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
                let value = crate::number::read_whole(source, Self::LARGEST)?;
                <$inner>::try_from(value).map(Self).map_err(<D::Error as serde::de::Error>::custom)
            }
        }
        impl schemars::JsonSchema for $name {
            fn schema_name() -> std::borrow::Cow<'static, str> { stringify!($name).into() }
            fn inline_schema() -> bool { true }
            fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
                schemars::json_schema!({ "type": "integer", "minimum": 0, "maximum": Self::LARGEST })
            }
        }
    )+ };
}

/// Declares the error for reading a file that is not a document, with the name of its kind.
macro_rules! file_error {
    ($(#[doc = $doc:literal])+ pub $name:ident of $what:literal) => {
        $(#[doc = $doc])+
        #[derive(Clone, Debug, thiserror::Error)]
        #[error("not a valid {}", $what)]
        pub struct $name(#[from] crate::read::ReadError);
        impl $name {
            /// Every problem of structure; empty if the source is not JSON.
            #[must_use]
            pub fn problems(&self) -> &[crate::read::Problem] { self.0.problems() }
        }
        impl From<$name> for crate::read::ReadError { fn from(error: $name) -> Self { error.0 } }
    };
}
