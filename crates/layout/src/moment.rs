//! A moment on the wall clock of another offset. A table without zones holds times of one offset only.

/// The days from 1970-01-01 to a date of the Gregorian calendar, by counting years from March on, so that a leap day ends one.
pub(super) const fn days(year: i64, month: i64, day: i64) -> i64 {
    let year = if month <= 2 { year - 1 } else { year };
    let (era, of_era) = (year.div_euclid(400), year.rem_euclid(400));
    let of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    era * 146_097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719_468
}

/// The date of a number of days from 1970-01-01.
pub(super) const fn date(days: i64) -> (i64, i64, i64) {
    let shifted = days + 719_468;
    let (era, of_era) = (shifted.div_euclid(146_097), shifted.rem_euclid(146_097));
    let year = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year + year / 4 - year / 100);
    let month = (5 * of_year + 2) / 153;
    let day = of_year - (153 * month + 2) / 5 + 1;
    let month = if month < 10 { month + 3 } else { month - 9 };
    (year + era * 400 + (month <= 2) as i64, month, day)
}

/// An offset of RFC 3339 in minutes.
fn offset(text: &str) -> Option<i64> {
    if text == "Z" {
        return Some(0);
    }
    let (hours, minutes) = text.get(1..)?.split_once(':')?;
    let minutes = hours.parse::<i64>().ok()? * 60 + minutes.parse::<i64>().ok()?;
    Some(if text.starts_with('-') { -minutes } else { minutes })
}

/// A moment of RFC 3339 at another offset. Fractions of a second stay as they are.
pub(super) fn in_zone(moment: &str, zone: &str) -> Option<String> {
    let (clock, rest) = (moment.get(..19)?, moment.get(19..)?);
    let fraction = rest.len() - rest.trim_start_matches(|c: char| c == '.' || c.is_ascii_digit()).len();
    let own = offset(&rest[fraction..])?;
    let number = |range: std::ops::Range<usize>| clock.get(range)?.parse::<i64>().ok();
    let minutes = (days(number(0..4)?, number(5..7)?, number(8..10)?) * 24 + number(11..13)?) * 60 + number(14..16)?;
    let minutes = minutes - own + offset(zone)?;
    let (year, month, day) = date(minutes.div_euclid(1440));
    let of_day = minutes.rem_euclid(1440);
    let (hour, minute, second, fraction) = (of_day / 60, of_day % 60, &clock[17..], &rest[..fraction]);
    Some(format!("{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second}{fraction}{zone}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 3339 section 5.8: the first two examples name one moment at two offsets, and so do the Dutch noon and its UTC.
    #[test]
    fn moments_are_those_of_rfc_3339() {
        assert_eq!(in_zone("1996-12-19T16:39:57-08:00", "Z").unwrap(), "1996-12-20T00:39:57Z");
        assert_eq!(in_zone("1985-04-12T23:20:50.52Z", "+01:00").unwrap(), "1985-04-13T00:20:50.52+01:00");
        assert_eq!(in_zone("2028-03-01T00:30:00+01:00", "Z").unwrap(), "2028-02-29T23:30:00Z");
        assert_eq!(in_zone("2026-01-01T00:00:00Z", "-05:00").unwrap(), "2025-12-31T19:00:00-05:00");
        assert_eq!(in_zone("not a moment", "Z"), None);
    }

    #[test]
    fn every_day_of_eight_centuries_is_found_again() {
        assert_eq!(days(1970, 1, 1), 0);
        assert!((-200_000..100_000).all(|day| {
            let (year, month, of_month) = date(day);
            days(year, month, of_month) == day
        }));
    }
}
