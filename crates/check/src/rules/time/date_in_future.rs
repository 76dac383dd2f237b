//! See the rule's documentation below.

use obvert_model::text::Timestamp;

use crate::sink::Sink;
use crate::support::time::{end_of_day, in_future, instant};
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// A date or time is later than today, the date that the check was given. Checked are
    /// `issued`, the review, calibrations, recordings, runs, and the year in which a pipe was laid.
    ///
    /// # Exceptions
    /// - It is still today somewhere on Earth (*Time* in Conventions).
    /// - Of a run, only the first such time is reported.
    /// - `issued` is in the future, and the review, recording or run is not later.
    ///
    /// # Exactly
    /// By *Time* in Conventions; of a run, `started` before `finished`. The third exception is not
    /// for calibrations and years.
    ///
    /// # Why it matters
    /// The survey counts as the newest of its pipe.
    ///
    /// # Fails
    /// At `/runs/0/started`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/started", "value": "2027-05-06T09:31:00-05:00"},
    ///  {"op": "replace", "path": "/runs/0/finished", "value": "2027-05-06T09:44:00-05:00"}]
    /// ```
    /// At `/issued`:
    /// ```json
    /// [{"op": "replace", "path": "/issued", "value": "2062-05-07T09:00:00-05:00"}]
    /// ```
    /// At `/pipes/0/laid`:
    /// ```json
    /// [{"op": "add", "path": "/pipes/0/laid", "value": 2099}]
    /// ```
    ///
    /// # Passes
    /// Tomorrow morning in the east, while it is today (2026-06-01) in the west.
    /// ```json
    /// [{"op": "replace", "path": "/issued", "value": "2026-06-02T09:00:00+12:00"}]
    /// ```
    ///
    /// # Fix
    /// Correct the date, and check the clock that it came from.
    name: "date-in-future", severity: Error, scope: Ending, since: "0.1", clause: "conventions#time",
    needs: [Today],
    facts: { "time" = Time "the date and time, date or year, as recorded" },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let head = survey.head;
    let Some(today) = survey.today else { return };
    let issued = in_future(survey, &head.issued).then(|| instant(&head.issued)).flatten();
    let mut report = |time: &str, subject: Subject| {
        out.report(subject, format!("{time} is in the future; today is {today}"))
            .fact("time", time);
    };
    if issued.is_some() {
        report(&head.issued, Subject::at("/issued"));
    }
    let later = |time: &Timestamp| in_future(survey, time) && instant(time) > issued;
    if let Some(at) =
        head.review.as_ref().and_then(|review| review.at.as_ref()).filter(|at| later(at))
    {
        report(at, Subject::at("/review/at"));
    }
    for (index, row) in head.equipment.iter().enumerate() {
        let midnight = |date: &str| format!("{date}T00:00:00Z").parse().ok();
        if let Some(date) =
            row.calibrated.as_ref().filter(|date| midnight(date) > end_of_day(today))
        {
            report(date, Subject::at(format!("/equipment/{index}/calibrated")));
        }
    }
    for view in survey.pipes() {
        let year = |date: &str| date.get(..4).and_then(|year| year.parse().ok());
        if let Some(laid) =
            view.pipe.laid.filter(|laid| year(today).is_some_and(|year: u16| laid.get() > year))
        {
            report(&laid.to_string(), view.subject("/laid"));
        }
    }
    for view in survey.all_media() {
        if let Some(captured) = view.media.captured.as_ref().filter(|captured| later(captured)) {
            report(captured, view.subject("/captured"));
        }
    }
    for summary in ending.runs {
        let times = [
            (summary.run.started.as_ref(), "/started"),
            (summary.run.finished.as_ref(), "/finished"),
        ];
        if let Some((Some(time), field)) =
            times.into_iter().find(|(time, _)| time.is_some_and(later))
        {
            report(time, summary.subject(field));
        }
    }
}
