//! Numbers with their meaning in the type. A survey mixes distances in feet, diameters in inches and
//! clock hours in one row; a newtype each keeps one from being passed for another.
//!
//! A number is what was recorded: reading and writing never change a unit. It must lie within the range in
//! which a double holds every whole number exactly (RFC 7493 §2.2), so that any JSON implementation reads the
//! same value.

use std::fmt;
use std::num::NonZeroU64;

use serde::de::{Deserializer, Error, IgnoredAny, SeqAccess, Unexpected, Visitor};
use serde::ser::Serializer;

/// The largest magnitude that a number in a document may have: 2⁵³ − 1 (RFC 7493 §2.2).
pub const LARGEST: f64 = 9_007_199_254_740_991.0;

numbers! {
    /// A distance along a pipe, a depth or an elevation, in the document's length unit (`ft`, `us-ft` or `m`).
    pub Length in "the document's length unit";
    /// A dimension of a pipe's cross-section, in the document's section unit (`in` or `mm`).
    pub Section in "the document's section unit";
    /// A clock reference in hours, 1 to 12.5 in steps of a half; 12 is the top of the pipe, clockwise as seen in
    /// the direction of travel. Values outside that range can be held, since a checker must be able to report them.
    pub ClockHour in "hours of a clock face";
    /// A time within a recording, or its length, in seconds.
    pub Seconds in "seconds";
    /// A frequency in hertz.
    pub Hertz in "hertz";
    /// Pictures a second.
    pub FrameRate in "pictures a second";
    /// An angle in degrees.
    pub Degrees in "degrees";
    /// An amount in the unit stated beside it, or a figure of a rating.
    pub Amount;
}

counts! {
    /// A size in bytes.
    pub Bytes(u64) up to 9_007_199_254_740_991u64;
    /// A condition grade on the scale of the document's grade scheme.
    pub Grade(u8) up to 255u64;
    /// A calendar year.
    pub Year(u16) up to 9999u64;
    /// How many of something.
    pub Count(u32) up to 4_294_967_295u64;
}

/// `[x, y]`: easting or longitude first, then northing or latitude, whatever the authority's own axis order.
/// In the units of the document's reference system (`crs`).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Position {
    /// Easting or longitude.
    pub x: f64,
    /// Northing or latitude.
    pub y: f64,
}

impl serde::Serialize for Position {
    fn serialize<S: Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> {
        (Raw(self.x), Raw(self.y)).serialize(sink)
    }
}

impl<'de> serde::Deserialize<'de> for Position {
    fn deserialize<D: Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
        // Not a tuple of serde's: it stops at the second number, and the JSON reader would call the third a syntax error.
        struct Pair;
        impl<'de> Visitor<'de> for Pair {
            type Value = Position;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("two numbers, easting or longitude first")
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut source: A) -> Result<Position, A::Error> {
                let mut two = [0.0; 2];
                for (index, place) in two.iter_mut().enumerate() {
                    let number: Option<Raw> = source.next_element()?;
                    *place = number.ok_or_else(|| A::Error::invalid_length(index, &self))?.0;
                }
                if source.next_element::<IgnoredAny>()?.is_some() {
                    return Err(A::Error::invalid_length(3, &self));
                }
                let [x, y] = two;
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

/// A double within the range of a document, kept so that an absent one takes no room of its own: most numbers of a
/// table are optional, and a city's tables are long.
#[derive(Clone, Copy)]
pub(crate) struct Finite(NonZeroU64);

impl Finite {
    /// The bits of a NaN, which no number of a document has: with them turned round, none is all zeros.
    const NEVER: u64 = f64::NAN.to_bits();

    pub(crate) fn new(value: f64) -> Option<Self> {
        // Minus zero is zero, wherever it is said: in a sum it is.
        let value = value + 0.0;
        if value.abs() <= LARGEST { NonZeroU64::new(value.to_bits() ^ Self::NEVER).map(Self) } else { None }
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

struct Raw(f64);

impl serde::Serialize for Raw {
    fn serialize<S: Serializer>(&self, sink: S) -> Result<S::Ok, S::Error> {
        write(self.0, sink)
    }
}

impl<'de> serde::Deserialize<'de> for Raw {
    fn deserialize<D: Deserializer<'de>>(source: D) -> Result<Self, D::Error> {
        read(source).map(Self)
    }
}

/// The schema of a number, with its unit as a comment: JSON Schema has no word of its own for that.
pub(crate) fn schema(unit: Option<&str>) -> schemars::Schema {
    let mut schema = schemars::json_schema!({
        "type": "number", "minimum": -9_007_199_254_740_991i64, "maximum": 9_007_199_254_740_991i64
    });
    if let Some(unit) = unit {
        schema.insert("$comment".into(), format!("unit: {unit}").into());
    }
    schema
}

/// Whole numbers are written without a fraction, as RFC 8785 has it, so that both writers agree.
///
/// A number that no reader would take back is an error; `null` or a silently different number would be worse.
pub(crate) fn write<S: Serializer>(value: f64, sink: S) -> Result<S::Ok, S::Error> {
    if value.is_nan() || value.abs() > LARGEST {
        return Err(serde::ser::Error::custom(format_args!(
            "{value} lies beyond ±9007199254740991 and cannot be written"
        )));
    }
    if value.fract() == 0.0 {
        #[allow(clippy::cast_possible_truncation)]
        sink.serialize_i64(value as i64)
    } else {
        sink.serialize_f64(value)
    }
}

pub(crate) fn read<'de, D: Deserializer<'de>>(source: D) -> Result<f64, D::Error> {
    struct Number;
    impl Visitor<'_> for Number {
        type Value = f64;
        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("a number within ±9007199254740991")
        }
        fn visit_f64<E: Error>(self, value: f64) -> Result<f64, E> {
            if value.abs() <= LARGEST { Ok(value) } else { Err(E::invalid_value(Unexpected::Float(value), &self)) }
        }
        #[allow(clippy::cast_precision_loss)]
        fn visit_u64<E: Error>(self, value: u64) -> Result<f64, E> {
            self.visit_f64(value as f64)
        }
        #[allow(clippy::cast_precision_loss)]
        fn visit_i64<E: Error>(self, value: i64) -> Result<f64, E> {
            self.visit_f64(value as f64)
        }
    }
    source.deserialize_f64(Number)
}

pub(crate) fn read_whole<'de, D: Deserializer<'de>>(source: D, largest: u64) -> Result<u64, D::Error> {
    struct Whole(u64);
    impl Visitor<'_> for Whole {
        type Value = u64;
        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            write!(f, "a whole number from 0 to {}", self.0)
        }
        fn visit_u64<E: Error>(self, value: u64) -> Result<u64, E> {
            if value <= self.0 { Ok(value) } else { Err(E::invalid_value(Unexpected::Unsigned(value), &self)) }
        }
        fn visit_i64<E: Error>(self, value: i64) -> Result<u64, E> {
            match u64::try_from(value) {
                Ok(value) => self.visit_u64(value),
                Err(_) => Err(E::invalid_value(Unexpected::Signed(value), &self)),
            }
        }
        // JSON does not tell 3 from 3.0, nor does JSON Schema's "integer".
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
    fn an_absent_number_takes_no_room() {
        assert_eq!(size_of::<Option<Length>>(), size_of::<f64>());
    }

    #[test]
    fn a_number_keeps_its_bits() {
        for value in [0.0, 1.0, -1.5, f64::MIN_POSITIVE, 5e-324, LARGEST, -LARGEST] {
            assert_eq!(Length::new(value).map(|length| length.get().to_bits()), Some(value.to_bits()));
        }
        for value in [f64::NAN, -f64::NAN, f64::INFINITY, f64::NEG_INFINITY, LARGEST + 1.0] {
            assert_eq!(Length::new(value), None);
        }
        assert_eq!(Length::new(-0.0).map(|length| length.get().to_bits()), Some(0));
        assert!(Length::new(2.0) < Length::new(10.0) && Length::new(-3.0) < Length::new(-2.0));
    }
}
