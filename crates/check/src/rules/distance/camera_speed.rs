//! See the rule's documentation below.

use obvert_model::tables::{MediaKind, Method};
use obvert_model::text::Timestamp;

use crate::sink::Sink;
use crate::support::row_order;
use crate::support::run_extent::{beyond_pipe, exceeds, surveyed_contradicts_finish};
use crate::support::time::seconds_between;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// The camera moved faster than the limit, over the whole run or between two rows timed by one
    /// video. If the whole run was too fast, only that is reported; otherwise the fastest pair.
    ///
    /// # Exceptions
    /// - The `method` is `pole`, `walk-through`, `float` or `other`: the limit is that of crawlers
    ///   and push rods.
    /// - An observation of the run refers to a `scan`: a scanning camera records the whole wall at
    ///   speed, and is looked at afterwards.
    /// - The run is longer than its pipe (`run-longer-than-pipe`).
    /// - `surveyed` contradicts the closing row (`surveyed-contradicts-finish`).
    /// - Lengths are in a doubtful unit (`length-unit-suspect`).
    /// - Between two rows: the offsets of the run seem to be in minutes (`offset-unit-suspect`).
    ///
    /// # Exactly
    /// Speed is *distance* ∕ (*time* + *rounding*), the divisor being at least 1 s.
    ///
    /// - Whole run: *distance* is `surveyed` − *reads*; *time* is from `started` to `finished`, 0
    ///   or more; *rounding* is 60 s if both have seconds of 00 and no fraction, otherwise 0.
    /// - Two rows: *distance* is the difference of their `at`, *time* that of their `offset` into
    ///   one `video`; *rounding* is 1 s.
    ///
    /// A row is timed by its first medium with an `offset`; it is not timed if that is not a
    /// `video`, or if it is not settled. The first timed row is the *mark*. Each further one, from
    /// the top:
    ///
    /// - with a later `offset` into the mark's file and a *distance* below `least_distance`: it is
    ///   skipped;
    /// - with a later `offset` into the mark's file and a greater *distance*: it is compared with
    ///   the mark and becomes the mark;
    /// - otherwise: it becomes the mark.
    ///
    /// Of equally fast pairs the first is reported, at the lower row.
    ///
    /// # Why it matters
    /// At speed, cracks and dripping joints are a blur, and offices reject the run.
    ///
    /// # Source
    /// 30 ft/min: City of Sunny Isles Beach FL, Section 02762, and a municipal sewer examination
    /// contract in Wisconsin. Least distance: common practice, no published source.
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
    /// 30 ft in a minute.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/finished", "value": "2026-05-06T09:37:40-05:00"}]
    /// ```
    /// Whole minutes.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/finished", "value": "2026-05-06T09:37:00-05:00"}]
    /// ```
    ///
    /// On foot.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/finished", "value": "2026-05-06T09:37:05-05:00"}, {"op": "replace", "path": "/runs/0/method", "value": "walk-through"},
    ///  {"op": "replace", "path": "/runs/0/equipment", "value": ["E-2"]}]
    /// ```
    /// A scanning camera.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/finished", "value": "2026-05-06T09:37:05-05:00"}, {"op": "replace", "path": "/media/0/kind", "value": "scan"}]
    /// ```
    ///
    /// # Fix
    /// Correct the times, distances or offsets, or repeat the run more slowly.
    name: "camera-speed", severity: Warning, scope: Run, since: "0.1", clause: "runs#time",
    limits: {
        "limit" = 9.144 "m/min"
            "highest speed: 30 ft/min, City of Sunny Isles Beach FL, Section 02762",
        "least_distance" = 3.0 "m"
            "rows closer than this are not compared; common practice, no published source",
    },
    facts: { "metres_per_minute" = MetresPerMinute "the speed that is compared with the limit" },
}

/// A distance, the seconds that the camera took for it, and the rounding of the times in seconds.
struct Travel {
    metres: f64,
    seconds: f64,
    rounding: f64,
}

impl Travel {
    fn speed(&self) -> f64 {
        self.metres / (self.seconds + self.rounding).max(1.0) * 60.0
    }
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let unlimited = matches!(
        run.run.method,
        Some(Method::Pole | Method::WalkThrough | Method::Float | Method::Other)
    );
    if unlimited || run.survey.lengths_doubtful() {
        return;
    }
    let by_video = |least| fastest(run, least).filter(|_| run.late_offsets().minutes.is_empty());
    let (limit, least) = (out.limit("limit"), out.limit("least_distance"));
    let (travel, row) = match (whole_run(run), by_video(least)) {
        (Some(travel), _) if exceeds(travel.speed(), limit) => (travel, None),
        (_, Some((travel, row))) if exceeds(travel.speed(), limit) => (travel, Some(row)),
        _ => return,
    };
    if scans(run) {
        return;
    }
    // A speed computed from wrong distances is wrong too.
    let wrong = surveyed_contradicts_finish(run.survey, run.run, run.marks());
    if wrong || beyond_pipe(run.survey, run.run, run.marks(), 1.524).is_some() {
        return;
    }
    let speed = run.survey.format_metres(travel.metres / travel.seconds.max(1.0) * 60.0);
    let (subject, part) = match row {
        None => (run.subject("/finished"), "over the whole run"),
        Some(row) => (row.subject("/at"), "since the previous row, by the video"),
    };
    let [distance, most] = [travel.metres, limit].map(|metres| run.survey.format_metres(metres));
    let seconds = (travel.seconds * 10.0).round() / 10.0;
    let message = format!(
        "the camera moved at {speed} per minute {part} ({distance} in {seconds} s); the limit is {most} per minute"
    );
    out.report(subject, message).fact("metres_per_minute", travel.speed());
}

/// Whether an observation of the run refers to a scan.
fn scans(run: &RunView<'_>) -> bool {
    let media = &run.survey.head.media;
    run.media.iter().flatten().any(|row| media[*row].kind == MediaKind::Scan)
}

fn whole_run(run: &RunView<'_>) -> Option<Travel> {
    let (started, finished) = (run.run.started.as_ref()?, run.run.finished.as_ref()?);
    let seconds = seconds_between(started, finished).filter(|seconds| *seconds >= 0.0)?;
    let whole =
        |time: &Timestamp| matches!(time.as_str().get(16..20), Some(":00Z" | ":00+" | ":00-"));
    let rounded = whole(started) && whole(finished);
    Some(Travel { metres: run.travelled()?, seconds, rounding: if rounded { 60.0 } else { 0.0 } })
}

fn fastest<'r>(run: &'r RunView<'_>, least: f64) -> Option<(Travel, RowView<'r>)> {
    let mut mark: Option<(&str, f64, f64)> = None;
    let mut worst: Option<(Travel, RowView<'r>)> = None;
    for row in run.rows() {
        let timed = row
            .media()
            .find_map(|(shown, media)| Some((shown.id.as_str(), shown.offset?.get(), media)));
        let Some((id, offset, Some(media))) = timed else { continue };
        if media.kind != MediaKind::Video || !row_order::in_order(run, row.index) {
            continue;
        }
        let metres = run.survey.metres(row.row.at);
        if let Some((_, from, since)) = mark.filter(|mark| mark.0 == id && offset > mark.2) {
            if metres - from < least {
                continue;
            }
            let travel = Travel { metres: metres - from, seconds: offset - since, rounding: 1.0 };
            if worst.as_ref().is_none_or(|(most, _)| travel.speed() > most.speed()) {
                worst = Some((travel, row));
            }
        }
        mark = Some((id, metres, offset));
    }
    worst
}
