//! The facts in the findings of a rule, and the kind of value of each. A rule declares its facts,
//! so that the specification can list them and other validators can report the same ones.

use serde_json::Value;

/// A fact in the `params` of a finding: a named value that software can use without reading the
/// message.
#[derive(Clone, Copy, Debug)]
pub struct Fact {
    /// Its name.
    pub name: &'static str,
    /// What kind of value it is, with its unit.
    pub kind: FactKind,
    /// What it means.
    pub meaning: &'static str,
    when: Option<&'static str>,
}

impl Fact {
    /// A fact that every finding of a rule has.
    #[must_use]
    pub const fn new(name: &'static str, kind: FactKind, meaning: &'static str) -> Self {
        Self { name, kind, meaning, when: None }
    }

    /// The same fact, but only some findings have it: `when` completes "if …".
    #[must_use]
    pub const fn only_if(self, when: &'static str) -> Self {
        Self { when: Some(when), ..self }
    }

    /// The condition under which a finding has it; `None` if every finding of the rule has it.
    #[must_use]
    pub const fn when(&self) -> Option<&'static str> {
        self.when
    }
}

/// The kinds of facts: each with its word, its type in JSON, and its meaning and unit.
macro_rules! kinds {
    ($($kind:ident $word:literal $json:ident $meaning:literal,)+) => {
        /// The kind of a fact: its type in JSON and its unit. Numbers are recorded or computed,
        /// never rounded.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        #[non_exhaustive]
        pub enum FactKind {
            $(#[doc = concat!("Called `", $word, "`: ", $meaning, ".")] $kind,)+
        }

        impl FactKind {
            /// Every kind, in the order of the specification.
            pub const ALL: &[Self] = &[$(Self::$kind),+];

            /// Its word, in lower case.
            #[must_use]
            pub const fn as_str(self) -> &'static str {
                match self { $(Self::$kind => $word,)+ }
            }

            /// The type in JSON.
            #[must_use]
            pub const fn json(self) -> JsonType {
                match self { $(Self::$kind => JsonType::$json,)+ }
            }

            /// What it is, and in which unit.
            #[must_use]
            pub const fn meaning(self) -> &'static str {
                match self { $(Self::$kind => $meaning,)+ }
            }
        }
    };
}

kinds! {
    Text "text" String "a text, as in the document, the profile or the code list, unless the meaning says otherwise",
    Id "id" String "the id of a row, a code list or a grade scheme",
    Code "code" String "a code, as recorded in `code`",
    Word "word" String "a word of the vocabulary of the field that the meaning names",
    Unit "unit" String "a unit, as the format writes it",
    Pointer "pointer" String "a JSON Pointer (RFC 6901) into the document",
    DateTime "date-time" String "a date and time, as recorded",
    Date "date" String "a date, as recorded",
    Time "time" String "a date and time, a date or a year, as recorded; a year too is a text",
    Count "count" Whole "how many there are",
    Year "year" Whole "a year",
    Length "length" Number "a distance, depth, elevation or other length, in the document's length unit",
    Size "size" Number "a dimension of a cross-section, in the document's section unit",
    Metres "metres" Number "a length in metres",
    Millimetres "millimetres" Number "a length in millimetres",
    MetresPerMinute "metres-per-minute" Number "a speed in metres a minute",
    ClockHour "clock-hour" Number "an hour of a clock reference",
    Seconds "seconds" Number "a time in seconds",
    Hours "hours" Number "a time in hours",
    Days "days" Number "a time in days of 24 hours",
    Hertz "hertz" Number "a frequency in hertz",
    PerSecond "per-second" Number "how many a second",
    Percent "percent" Number "hundredths",
    Share "share" Number "a part or a multiple of 1, without a unit",
    Grade "grade" Number "a grade, or a sum of grades, of the document's grade scheme",
    Amount "amount" Number "an amount, in the unit that another fact names",
    Number "number" Number "a number, in the unit of the field that the finding points to",
    Value "value" Any "a single value of the type that the field has",
    Texts "texts" Strings "several texts, in an order that the meaning gives",
    Words "words" Strings "several words of a vocabulary, in an order that the meaning gives",
    Bounds "bounds" Numbers "an area: its west, south, east and north edge, in degrees of longitude and latitude",
    Figures "figures" Figures "numbers by the name of the field of the rating that they belong to",
}

/// The type that a fact has in JSON.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum JsonType {
    /// A string.
    String,
    /// A number.
    Number,
    /// A whole number, 0 or more.
    Whole,
    /// A list of strings.
    Strings,
    /// A list of numbers.
    Numbers,
    /// An object of numbers.
    Figures,
    /// A string, a number, `true` or `false`.
    Any,
}

impl JsonType {
    /// Its words.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::String => "string",
            Self::Number => "number",
            Self::Whole => "whole number",
            Self::Strings => "list of strings",
            Self::Numbers => "list of numbers",
            Self::Figures => "object of numbers",
            Self::Any => "string, number or boolean",
        }
    }

    /// Whether a value is of the type.
    #[must_use]
    pub fn fits(self, value: &Value) -> bool {
        match self {
            Self::String => value.is_string(),
            Self::Number => value.is_number(),
            Self::Whole => value.is_u64(),
            Self::Strings => value.as_array().is_some_and(|list| list.iter().all(Value::is_string)),
            Self::Numbers => value.as_array().is_some_and(|list| list.iter().all(Value::is_number)),
            Self::Figures => {
                value.as_object().is_some_and(|object| object.values().all(Value::is_number))
            }
            Self::Any => value.is_string() || value.is_number() || value.is_boolean(),
        }
    }
}
