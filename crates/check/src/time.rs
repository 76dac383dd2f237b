//! Points in time as a survey has them. The format keeps a timestamp as it was written; here it becomes comparable.

use jiff::Timestamp;
use obvert_model::text;

/// The instant of a timestamp, or `None` when its date is not in the calendar. A leap second counts as the second before.
#[must_use]
pub(crate) fn instant(timestamp: &text::Timestamp) -> Option<Timestamp> {
    timestamp.as_str().parse().ok()
}

/// Seconds from one timestamp to another.
#[must_use]
pub(crate) fn seconds_between(from: &text::Timestamp, to: &text::Timestamp) -> Option<f64> {
    Some(instant(to)?.duration_since(instant(from)?).as_secs_f64())
}

/// Whether a date is in the calendar.
#[must_use]
pub(crate) fn is_date(date: &str) -> bool {
    date.parse::<jiff::civil::Date>().is_ok()
}
