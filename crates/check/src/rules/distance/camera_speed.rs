//! See the rule's documentation below.

use obvert_model::tables::{MediaKind, Method};

use crate::sink::Sink;
use crate::support::row_order;
use crate::support::run_extent::{beyond_pipe, exceeds, surveyed_contradicts_finish};
use crate::support::time::seconds_between;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// The camera was not driven faster than anybody can inspect: over the whole run, from `started`, `finished` and
    /// `surveyed`, and between rows that name one video with their offsets into it, once they are far enough apart. Times
    /// in whole minutes are taken as up to a minute longer, offsets as up to a second. Of the rows of a run the fastest
    /// are reported, and only if the whole run was not too fast. Interval video and cameras on poles are not looked at,
    /// nor runs longer than their pipe (`run-longer-than-pipe`) or that say two things about their end
    /// (`surveyed-contradicts-finish`), nor lengths in a doubtful unit (`length-unit-suspect`).
    ///
    /// # Exactly
    /// The speed is way ∕ (time + rounding), the time with its rounding being taken as 1 s at least. Over the whole run the way is `surveyed` less *reads*, the time from
    /// `started` to `finished`, 0 or more; the rounding is 60 s where both times have seconds of 00 and no fraction, else
    /// 0. Between rows the way is that between their `at`, the time that between their `offset` into one file of the kind
    /// `video`, later than before; the rounding is 1 s. A row is timed by its first medium that has an offset, not at
    /// all where that is no `video`, and only where it is settled. Of the timed rows, from the top, the first is the mark.
    /// A row of the mark's file with a later offset is passed over where its way is less than `least_distance`; otherwise
    /// it is held against the mark and becomes the mark. Any other row becomes the mark.
    ///
    /// # Why it matters
    /// At speed, cracks and dripping joints are a blur. Offices reject such runs and have them driven again.
    ///
    /// # Source
    /// At most 30 ft/min: City of Sunny Isles Beach FL, Section 02762, Televising Storm Sewer Systems, and a municipal
    /// sewer examination contract in Wisconsin. The least distance: common practice, no published source.
    ///
    /// # Fails
    /// 200 ft in 6 minutes, at `/runs/0/finished`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/finished", "value": "2026-05-06T09:37:05-05:00"}]
    /// ```
    /// 64.4 ft in 120 seconds, at `/runs/0/observations/4/at`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/media/0/offset", "value": 250}]
    /// ```
    ///
    /// # Passes
    /// 30 ft in a minute is the limit.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/finished", "value": "2026-05-06T09:37:40-05:00"}]
    /// ```
    /// Whole minutes are rounded.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/finished", "value": "2026-05-06T09:37:00-05:00"}]
    /// ```
    ///
    /// # Fix
    /// Correct the times, distances or offsets if they are wrong; if they are right, drive the run again slower.
    name: "camera-speed", severity: Warning, scope: Run, since: "0.1", clause: "runs#time",
    limits: {
        "limit" = 9.144 "m/min" "the greatest speed: 30 ft/min, City of Sunny Isles Beach FL, Section 02762",
        "least_distance" = 3.0 "m" "rows that are closer are not timed: common practice, no published source",
    },
    facts: { "metres_per_minute" = MetresPerMinute "the speed that is held against the limit" },
}

/// Metres that were driven, and the seconds that it took at least and at most.
struct Drive {
    metres: f64,
    seconds: f64,
    rounding: f64,
}

impl Drive {
    fn speed(&self) -> f64 {
        self.metres / (self.seconds + self.rounding).max(1.0) * 60.0
    }
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    if run.run.method == Some(Method::Pole) || run.survey.lengths_doubtful() {
        return;
    }
    let (limit, least) = (out.limit("limit"), out.limit("least_distance"));
    let (drive, row) = match (whole(run), fastest(run, least)) {
        (Some(drive), _) if exceeds(drive.speed(), limit) => (drive, None),
        (_, Some((drive, row))) if exceeds(drive.speed(), limit) => (drive, Some(row)),
        _ => return,
    };
    // Where the distances themselves are wrong, in their unit or otherwise, so is the speed.
    let wrong = surveyed_contradicts_finish(run.survey, run.run, run.marks());
    if wrong || beyond_pipe(run.survey, run.run, run.marks(), 1.524).is_some() {
        return;
    }
    let speed = run.survey.say_metres(drive.metres / drive.seconds.max(1.0) * 60.0);
    let (subject, over) = match row {
        None => (run.subject("/finished"), "the whole run"),
        Some(row) => (row.subject("/at"), "the way from the row before, by the video"),
    };
    let (way, most) = (run.survey.say_metres(drive.metres), run.survey.say_metres(limit));
    let seconds = (drive.seconds * 10.0).round() / 10.0;
    let message = format!("{way} in {seconds} s is {speed} a minute over {over}; at most {most} a minute");
    out.report(subject, message).fact("metres_per_minute", drive.speed());
}

fn whole(run: &RunView<'_>) -> Option<Drive> {
    let (started, finished) = (run.run.started.as_ref()?, run.run.finished.as_ref()?);
    let seconds = seconds_between(started, finished).filter(|seconds| *seconds >= 0.0)?;
    let rounded = [started, finished].iter().all(|time| time.as_str().get(16..19) == Some(":00"));
    Some(Drive { metres: run.travelled()?, seconds, rounding: if rounded { 60.0 } else { 0.0 } })
}

fn fastest<'r>(run: &'r RunView<'_>, least: f64) -> Option<(Drive, RowView<'r>)> {
    let mut anchor: Option<(&str, f64, f64)> = None;
    let mut worst: Option<(Drive, RowView<'r>)> = None;
    for row in run.rows() {
        let timed = row.media().find_map(|(shown, media)| Some((shown.id.as_str(), shown.offset?.get(), media)));
        let Some((id, offset, Some(media))) = timed else { continue };
        if media.kind != MediaKind::Video || !row_order::in_order(run, row.index) {
            continue;
        }
        let metres = run.survey.metres(row.row.at);
        match anchor {
            Some((video, from, since)) if video == id && offset > since => {
                if metres - from < least {
                    continue;
                }
                let drive = Drive { metres: metres - from, seconds: offset - since, rounding: 1.0 };
                if worst.as_ref().is_none_or(|(most, _)| drive.speed() > most.speed()) {
                    worst = Some((drive, row));
                }
            }
            _ => {}
        }
        anchor = Some((id, metres, offset));
    }
    worst
}
