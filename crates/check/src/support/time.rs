//! Converts the dates and times of a survey, which the format keeps as texts, to instants that can
//! be compared.

use jiff::{Timestamp, ToSpan};
use obvert_model::tables::Run;
use obvert_model::text::{self, Date};

use crate::views::{Ending, Subject, Survey};

/// The instant of a timestamp; `None` if its date is not in the calendar. A leap second counts as
/// the second before.
#[must_use]
pub(crate) fn instant(timestamp: &text::Timestamp) -> Option<Timestamp> {
    timestamp.as_str().parse().ok()
}

/// Seconds from one timestamp to another.
#[must_use]
pub(crate) fn seconds_between(from: &text::Timestamp, to: &text::Timestamp) -> Option<f64> {
    Some(instant(to)?.duration_since(instant(from)?).as_secs_f64())
}

/// A date and time as the clock showed it, without its offset from UTC.
pub(crate) fn local_time(timestamp: &text::Timestamp) -> Option<jiff::civil::DateTime> {
    timestamp.get(..19)?.parse().ok()
}

/// Whether a date is in the calendar.
#[must_use]
pub(crate) fn is_date(date: &str) -> bool {
    date.parse::<jiff::civil::Date>().is_ok()
}

/// When a day begins in UTC; `None` if it is not in the calendar.
pub(crate) fn start_of_day(date: &Date) -> Option<Timestamp> {
    format!("{date}T00:00:00Z").parse().ok()
}

/// When a day is over everywhere on Earth: at noon UTC of the next day, since the last time zone is
/// twelve hours behind.
pub(crate) fn end_of_day(day: &Date) -> Option<Timestamp> {
    let day: jiff::civil::Date = day.as_str().parse().ok()?;
    let next = day.checked_add(1.day()).ok()?;
    next.at(12, 0, 0, 0)
        .to_zoned_datetime(jiff::tz::TimeZone::UTC)
        .ok()
        .map(|zoned| zoned.timestamp())
}

/// Whether a timestamp is in the future, if the date of today was given. The time zone is unknown,
/// so a time that is still today anywhere on Earth is not in the future.
pub(crate) fn in_future(survey: &Survey<'_>, timestamp: &text::Timestamp) -> bool {
    match (survey.today.and_then(end_of_day), instant(timestamp)) {
        (Some(over), Some(instant)) => instant >= over,
        _ => false,
    }
}

/// Calls `see` with every date and timestamp of a document and its subject.
pub(crate) fn for_each_date(ending: &Ending<'_>, see: &mut dyn FnMut(&str, &dyn Fn() -> Subject)) {
    let survey = ending.survey;
    let head = survey.head;
    see(&head.issued, &|| Subject::at("/issued"));
    if let Some(at) = head.review.as_ref().and_then(|review| review.at.as_ref()) {
        see(at, &|| Subject::at("/review/at"));
    }
    for (index, row) in head.equipment.iter().enumerate() {
        if let Some(date) = &row.calibrated {
            see(date, &|| Subject::at(format!("/equipment/{index}/calibrated")));
        }
    }
    for view in survey.all_media() {
        if let Some(captured) = &view.media.captured {
            see(captured, &|| view.subject("/captured"));
        }
    }
    for summary in ending.runs {
        if let Some(started) = &summary.run.started {
            see(started, &|| summary.subject("/started"));
        }
        if let Some(finished) = &summary.run.finished {
            see(finished, &|| summary.subject("/finished"));
        }
    }
}

/// When a run began and ended, if both are known and in order.
pub(crate) fn run_span(run: &Run) -> Option<(Timestamp, Timestamp)> {
    let (started, finished) = (instant(run.started.as_ref()?)?, instant(run.finished.as_ref()?)?);
    (started <= finished).then_some((started, finished))
}

/// When a run occupied its camera: from its beginning to its end, or to its beginning if it states
/// no end. `None` if it ended before it began.
pub(crate) fn camera_span(run: &Run) -> Option<(Timestamp, Timestamp)> {
    let started = instant(run.started.as_ref()?)?;
    let finished = run.finished.as_ref().and_then(instant).unwrap_or(started);
    (started <= finished).then_some((started, finished))
}

/// Whether two runs were made at the same time. One may begin at the instant at which the other
/// ends.
pub(crate) fn overlap_in_time(a: &Run, b: &Run) -> bool {
    match (camera_span(a), camera_span(b)) {
        (Some(a), Some(b)) => a.0 < b.1 && b.0 < a.1,
        _ => false,
    }
}
