//! Conversions between the format's dates and those of the crate `jiff`.

use jiff::civil;
use jiff::fmt::temporal::{Pieces, PiecesOffset};
use jiff::tz::TimeZone;

use crate::text::{Date, TextError, Timestamp};

/// Keeps the moment and the offset, in a time zone of that offset. A second of 60, which the format
/// allows, becomes 59.
///
/// ```
/// use jiff::ZonedDateTime;
/// use obvert_model::text::Timestamp;
/// let started: Timestamp = "2026-05-06T09:31:00-05:00".parse()?;
/// let zoned = ZonedDateTime::try_from(&started)?;
/// assert_eq!((zoned.hour(), zoned.offset().seconds()), (9, -5 * 3600));
/// assert_eq!(Timestamp::try_from(&zoned)?, started);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
impl TryFrom<&Timestamp> for jiff::ZonedDateTime {
    type Error = jiff::Error;

    fn try_from(text: &Timestamp) -> Result<Self, jiff::Error> {
        let moment = jiff::Timestamp::try_from(text)?;
        let offset = match Pieces::parse(text.as_str())?.offset() {
            Some(PiecesOffset::Numeric(numeric)) => numeric.offset(),
            _ => jiff::tz::Offset::UTC,
        };
        Ok(moment.to_zoned_datetime(TimeZone::fixed(offset)))
    }
}

/// Keeps the moment and drops the offset. A second of 60, which the format allows, becomes 59.
impl TryFrom<&Timestamp> for jiff::Timestamp {
    type Error = jiff::Error;

    fn try_from(text: &Timestamp) -> Result<Self, jiff::Error> {
        text.parse()
    }
}

/// Keeps the moment and the offset, and drops the name of the time zone. Fails if the offset has
/// seconds, or the year is negative.
impl TryFrom<&jiff::ZonedDateTime> for Timestamp {
    type Error = TextError;

    fn try_from(zoned: &jiff::ZonedDateTime) -> Result<Self, TextError> {
        Self::new(&zoned.timestamp().display_with_offset(zoned.offset()).to_string())
    }
}

/// The moment in UTC. Fails if the year is negative.
///
/// ```
/// let issued = obvert_model::text::Timestamp::try_from(jiff::Timestamp::from_second(0)?)?;
/// assert_eq!(issued, "1970-01-01T00:00:00Z");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
impl TryFrom<jiff::Timestamp> for Timestamp {
    type Error = TextError;

    fn try_from(moment: jiff::Timestamp) -> Result<Self, TextError> {
        Self::new(&moment.to_string())
    }
}

/// Fails if the calendar has no such day, such as 30 February.
impl TryFrom<&Date> for civil::Date {
    type Error = jiff::Error;

    fn try_from(text: &Date) -> Result<Self, jiff::Error> {
        text.parse()
    }
}

/// Fails if the year is negative.
impl TryFrom<civil::Date> for Date {
    type Error = TextError;

    fn try_from(date: civil::Date) -> Result<Self, TextError> {
        Self::new(&date.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_and_offsets_are_kept() {
        for text in [
            "2026-05-06T09:31:00-05:00",
            "2026-05-06T09:31:00Z",
            "2026-05-06T09:31:00+05:30",
            "0001-01-01T00:00:00.123456789Z",
        ] {
            let stamp: Timestamp = text.parse().unwrap();
            let zoned = jiff::ZonedDateTime::try_from(&stamp).unwrap();
            let again = Timestamp::try_from(&zoned).unwrap();
            assert_eq!(again.replace("+00:00", "Z"), text);
            assert_eq!(jiff::Timestamp::try_from(&stamp).unwrap(), zoned.timestamp());
            assert_eq!(
                jiff::Timestamp::try_from(&Timestamp::try_from(zoned.timestamp()).unwrap())
                    .unwrap(),
                zoned.timestamp()
            );
        }
        let leap: Timestamp = "2016-12-31T23:59:60Z".parse().unwrap();
        assert_eq!(
            Timestamp::try_from(jiff::Timestamp::try_from(&leap).unwrap()).unwrap(),
            "2016-12-31T23:59:59Z"
        );
    }

    #[test]
    fn what_the_other_cannot_hold_is_refused() {
        let days: [Date; 2] = ["2026-02-30".parse().unwrap(), "2026-05-06".parse().unwrap()];
        assert!(civil::Date::try_from(&days[0]).is_err());
        let day = civil::Date::try_from(&days[1]).unwrap();
        assert_eq!(day, civil::Date::new(2026, 5, 6).unwrap());
        assert_eq!(Date::try_from(day).as_ref(), Ok(&days[1]));
        assert!(Date::try_from(civil::Date::new(-44, 3, 15).unwrap()).is_err());
        let early = jiff::Timestamp::from_second(-70_000_000_000).unwrap();
        assert!(Timestamp::try_from(early).is_err());
        // Local mean time before there were time zones.
        let zone =
            TimeZone::fixed(jiff::tz::Offset::from_seconds(-5 * 3600 - 50 * 60 - 36).unwrap());
        assert!(
            Timestamp::try_from(&jiff::Timestamp::from_second(0).unwrap().to_zoned_datetime(zone))
                .is_err()
        );
        let never: Timestamp = "2026-02-30T00:00:00Z".parse().unwrap();
        assert!(
            jiff::ZonedDateTime::try_from(&never).is_err()
                && jiff::Timestamp::try_from(&never).is_err()
        );
    }
}
