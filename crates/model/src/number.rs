//! Numbers, a type for each quantity: a row of a survey has distances in feet, diameters in inches
//! and clock hours, and the compiler keeps them apart.
//!
//! ```
//! use obvert_model::number::{Length, Section, Year};
//! let length = Length::new(212.4)?;
//! let height: Section = 8.0.try_into()?;
//! let laid: Year = "1962".parse()?;
//! assert_eq!((length.get(), f64::from(height), u16::from(laid)), (212.4, 8.0, 1962));
//! assert!(Length::new(f64::NAN).is_err());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Numbers are kept as recorded: reading and writing never convert units. Every number is within
//! ±(2⁵³ − 1), the range in which a double holds every whole number exactly (RFC 7493 §2.2), so
//! that every JSON implementation reads the same value. The types check this when a number is made;
//! a document can therefore always be written.

use std::convert::Infallible;
use std::fmt;
use std::num::NonZeroU64;

use serde::de::{Deserializer, Error, IgnoredAny, SeqAccess, Unexpected, Visitor};
use serde::ser::Serializer;

/// The largest magnitude that a number in a document may have: 2⁵³ − 1 (RFC 7493 §2.2).
pub const LARGEST: f64 = 9_007_199_254_740_991.0;

numbers! {
    /// A distance along a pipe, a depth or an elevation, in the document's length unit (`ft`,
    /// `us-ft` or `m`).
    pub Length in "the document's length unit";
    /// A dimension of a pipe's cross-section, in the document's section unit (`in` or `mm`).
    pub Section in "the document's section unit";
    /// A clock reference in hours, 1 to 12.5 in steps of a half; 12 is the top of the pipe,
    /// clockwise as seen in the direction of travel. The type accepts other numbers as well, so
    /// that a checker can report them.
    pub ClockHour in "hours of a clock face";
    /// A time within a recording, or the duration of one, in seconds.
    pub Seconds in "seconds";
    /// A frequency in hertz.
    pub Hertz in "hertz";
    /// Frames per second.
    pub FrameRate in "frames per second";
    /// An angle in degrees.
    pub Degrees in "degrees";
    /// An amount whose unit is stated in the same row, or a figure of a rating.
    pub Amount;
    /// A number without a unit: in an extension, a profile or a layout.
    pub Number;
}

counts! {
    /// A size in bytes.
    pub Bytes(u64) up to 9_007_199_254_740_991;
    /// A condition grade on the scale of the document's grade scheme.
    pub Grade(u8);
    /// A calendar year.
    pub Year(u16) up to 9999;
    /// How many of something.
    pub Count(u32);
}

/// A number that is out of range for documents.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{value} is not a number from {smallest} to {largest}")]
pub struct NumberError {
    value: Given,
    smallest: i64,
    largest: u64,
}

/// The number as given: as a double, a whole number above 2⁵³ would be rounded.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Given {
    Double(f64),
    Whole(u64),
}

impl fmt::Display for Given {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Double(value) => fmt::Display::fmt(value, f),
            Self::Whole(value) => fmt::Display::fmt(value, f),
        }
    }
}

impl NumberError {
    const fn double(value: f64) -> Self {
        Self {
            value: Given::Double(value),
            smallest: -9_007_199_254_740_991,
            largest: 9_007_199_254_740_991,
        }
    }

    pub(crate) const fn whole(value: u64, largest: u64) -> Self {
        Self { value: Given::Whole(value), smallest: 0, largest }
    }
}

/// A text that is not a number, or a number that is out of range for documents.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ParseNumberError {
    /// The text is not a number.
    #[error("not a number")]
    Number(#[from] std::num::ParseFloatError),
    /// The text is not a whole number, or one beyond the integer type.
    #[error("not a whole number within the range of its type")]
    Whole(#[from] std::num::ParseIntError),
    /// The number is out of range.
    #[error(transparent)]
    Range(#[from] NumberError),
}

impl From<Infallible> for ParseNumberError {
    fn from(never: Infallible) -> Self {
        match never {}
    }
}

/// `[x, y]`: easting or longitude first, then northing or latitude, whatever the axis order of the
/// reference system. In the units of the document's reference system (`crs`).
///
/// ```
/// use obvert_model::number::Position;
/// let position = Position::new(1_402_113.5, 562_870.25)?;
/// assert_eq!((position.x(), position.y()), (1_402_113.5, 562_870.25));
/// assert_eq!(<[f64; 2]>::from(position), [1_402_113.5, 562_870.25]);
/// assert!(Position::new(f64::NAN, 0.0).is_err());
/// # Ok::<(), obvert_model::number::NumberError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Position {
    x: Finite,
    y: Finite,
}

impl Position {
    /// A position from its easting or longitude and its northing or latitude.
    ///
    /// # Errors
    /// If one of them is not finite or beyond ±9 007 199 254 740 991.
    pub fn new(x: f64, y: f64) -> Result<Self, NumberError> {
        Ok(Self { x: Finite::new(x)?, y: Finite::new(y)? })
    }

    /// Easting or longitude.
    #[must_use]
    #[doc(alias = "easting")]
    #[doc(alias = "longitude")]
    pub const fn x(self) -> f64 {
        self.x.get()
    }

    /// Northing or latitude.
    #[must_use]
    #[doc(alias = "northing")]
    #[doc(alias = "latitude")]
    pub const fn y(self) -> f64 {
        self.y.get()
    }
}

impl TryFrom<[f64; 2]> for Position {
    type Error = NumberError;
    fn try_from([x, y]: [f64; 2]) -> Result<Self, NumberError> {
        Self::new(x, y)
    }
}

impl From<Position> for [f64; 2] {
    fn from(position: Position) -> Self {
        [position.x(), position.y()]
    }
}

impl serde::Serialize for Position {
    fn serialize<S: Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> {
        (self.x, self.y).serialize(sink)
    }
}

impl<'de> serde::Deserialize<'de> for Position {
    fn deserialize<D: Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
        // Not serde's tuple: that stops at the second number, and the JSON reader would report a
        // third as a syntax error.
        struct Pair;
        impl<'de> Visitor<'de> for Pair {
            type Value = Position;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("two numbers, easting or longitude first")
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut source: A) -> Result<Position, A::Error> {
                let mut next = |index| {
                    source.next_element()?.ok_or_else(|| A::Error::invalid_length(index, &self))
                };
                let (x, y) = (next(0)?, next(1)?);
                if source.next_element::<IgnoredAny>()?.is_some() {
                    return Err(A::Error::invalid_length(3, &self));
                }
                Ok(Position { x, y })
            }
        }
        source.deserialize_seq(Pair)
    }
}

impl schemars::JsonSchema for Position {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Position".into()
    }
    fn inline_schema() -> bool {
        true
    }
    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({ "type": "array", "items": schema(None), "minItems": 2, "maxItems": 2 })
    }
}

/// A double within the range of a document. `Option<Finite>` is as small as `f64`: most numbers of
/// a table are optional, and a city's tables are long.
#[derive(Clone, Copy)]
pub(crate) struct Finite(NonZeroU64);

impl Finite {
    /// The bits of a NaN, which is never in a document. XOR with them makes every other number
    /// non-zero.
    const NEVER: u64 = f64::NAN.to_bits();

    pub(crate) fn new(given: f64) -> Result<Self, NumberError> {
        // Turns minus zero into zero.
        let value = given + 0.0;
        let bits = if value.abs() <= LARGEST {
            NonZeroU64::new(value.to_bits() ^ Self::NEVER)
        } else {
            None
        };
        bits.map(Self).ok_or(NumberError::double(given))
    }

    pub(crate) const fn get(self) -> f64 {
        f64::from_bits(self.0.get() ^ Self::NEVER)
    }
}

impl fmt::Debug for Finite {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(&self.get(), f)
    }
}

impl PartialEq for Finite {
    fn eq(&self, other: &Self) -> bool {
        self.get() == other.get()
    }
}

impl PartialOrd for Finite {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        self.get().partial_cmp(&other.get())
    }
}

impl serde::Serialize for Finite {
    fn serialize<S: Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> {
        write(*self, sink)
    }
}

impl<'de> serde::Deserialize<'de> for Finite {
    fn deserialize<D: Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
        read(source)
    }
}

/// The schema of a number, with its unit as a comment: JSON Schema has no keyword for it.
pub(crate) fn schema(unit: Option<&str>) -> schemars::Schema {
    let mut schema = schemars::json_schema!({
        "type": "number", "minimum": -9_007_199_254_740_991i64, "maximum": 9_007_199_254_740_991i64
    });
    if let Some(unit) = unit {
        schema.insert("$comment".into(), format!("unit: {unit}").into());
    }
    schema
}

/// Writes whole numbers without a fraction, as RFC 8785 does, so that both writers agree.
pub(crate) fn write<S: Serializer>(number: Finite, sink: S) -> Result<S::Ok, S::Error> {
    let value = number.get();
    if value.fract() == 0.0 {
        #[allow(clippy::cast_possible_truncation)]
        sink.serialize_i64(value as i64)
    } else {
        sink.serialize_f64(value)
    }
}

pub(crate) fn read<'de, D: Deserializer<'de>>(source: D) -> Result<Finite, D::Error> {
    struct Number;
    impl Visitor<'_> for Number {
        type Value = Finite;
        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("a number within ±9007199254740991")
        }
        fn visit_f64<E: Error>(self, value: f64) -> Result<Finite, E> {
            Finite::new(value).map_err(|_| E::invalid_value(Unexpected::Float(value), &self))
        }
        #[allow(clippy::cast_precision_loss)]
        fn visit_u64<E: Error>(self, value: u64) -> Result<Finite, E> {
            self.visit_f64(value as f64)
        }
        #[allow(clippy::cast_precision_loss)]
        fn visit_i64<E: Error>(self, value: i64) -> Result<Finite, E> {
            self.visit_f64(value as f64)
        }
    }
    source.deserialize_f64(Number)
}

pub(crate) fn read_whole<'de, D: Deserializer<'de>>(
    source: D,
    largest: u64,
) -> Result<u64, D::Error> {
    struct Whole(u64);
    impl Visitor<'_> for Whole {
        type Value = u64;
        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            write!(f, "a whole number from 0 to {}", self.0)
        }
        fn visit_u64<E: Error>(self, value: u64) -> Result<u64, E> {
            if value <= self.0 {
                Ok(value)
            } else {
                Err(E::invalid_value(Unexpected::Unsigned(value), &self))
            }
        }
        fn visit_i64<E: Error>(self, value: i64) -> Result<u64, E> {
            match u64::try_from(value) {
                Ok(value) => self.visit_u64(value),
                Err(_) => Err(E::invalid_value(Unexpected::Signed(value), &self)),
            }
        }
        // JSON does not distinguish 3 from 3.0, nor does JSON Schema's "integer".
        fn visit_f64<E: Error>(self, value: f64) -> Result<u64, E> {
            if value.fract() == 0.0 && (0.0..=LARGEST).contains(&value) {
                #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
                self.visit_u64(value as u64)
            } else {
                Err(E::invalid_value(Unexpected::Float(value), &self))
            }
        }
    }
    source.deserialize_u64(Whole(largest))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_optional_number_is_as_small_as_a_number() {
        assert_eq!(size_of::<Option<Length>>(), size_of::<f64>());
        assert_eq!(size_of::<Option<Position>>(), 2 * size_of::<f64>());
    }

    #[test]
    fn a_number_keeps_its_bits() {
        for value in [0.0, 1.0, -1.5, f64::MIN_POSITIVE, 5e-324, LARGEST, -LARGEST] {
            assert_eq!(
                Length::new(value).map(|length| length.get().to_bits()),
                Ok(value.to_bits())
            );
        }
        for value in [f64::NAN, -f64::NAN, f64::INFINITY, f64::NEG_INFINITY, LARGEST + 1.0] {
            assert!(Length::new(value).is_err(), "{value}");
            assert!(
                Position::new(value, 0.0).is_err() && Position::new(0.0, value).is_err(),
                "{value}"
            );
        }
        assert_eq!(Length::new(-0.0).map(|length| length.get().to_bits()), Ok(0));
        let length = |value| Length::new(value).unwrap();
        assert!(length(2.0) < length(10.0) && length(-3.0) < length(-2.0));
    }

    #[test]
    fn errors_name_the_number_and_the_range() {
        let text = |error: &dyn std::error::Error| error.to_string();
        assert_eq!(
            text(&Length::new(f64::NAN).unwrap_err()),
            "NaN is not a number from -9007199254740991 to 9007199254740991"
        );
        assert_eq!(text(&Year::new(20_241).unwrap_err()), "20241 is not a number from 0 to 9999");
        // As a double it would be 9007199254740992.
        assert_eq!(
            text(&Bytes::new(9_007_199_254_740_993).unwrap_err()),
            "9007199254740993 is not a number from 0 to 9007199254740991"
        );
        assert_eq!(
            text(&"1e99".parse::<Amount>().unwrap_err()),
            text(&Amount::new(1e99).unwrap_err())
        );
        let error = "12,5".parse::<Length>().unwrap_err();
        assert_eq!(text(&error), "not a number");
        assert!(std::error::Error::source(&error).is_some());
        assert_eq!(
            "300".parse::<Grade>().map_err(|error| text(&error)).unwrap_err(),
            "not a whole number within the range of its type"
        );
    }

    #[test]
    fn numbers_convert_both_ways() {
        assert_eq!("44.2".parse(), Length::new(44.2).map_err(Into::into));
        assert_eq!(Section::try_from(8.0).map(f64::from), Ok(8.0));
        assert_eq!(u8::from(Grade::from(4)), 4);
        assert_eq!("1962".parse(), Year::new(1962).map_err(Into::into));
        assert_eq!(Bytes::try_from(5_u64).map(u64::from), Ok(5));
        assert_eq!(Position::try_from([1.0, 2.0]).map(<[f64; 2]>::from), Ok([1.0, 2.0]));
    }
}
