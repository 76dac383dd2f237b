//! See the rule's documentation below.

use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::time::{in_future, instant, span};
use crate::views::{Ending, MediaView};

rule! {
    /// # What it checks
    /// A file that belongs to a run was taken while the run was made, within the limit for clocks that differ. Where
    /// all files of a run, three or more, were taken at another time, the run is dated wrongly and that is one finding.
    /// A date in the future is left to `dated-in-future`, a run that lies far from all others to `run-date-astray`.
    ///
    /// # Why it matters
    /// The picture is of another day: of the survey before, of another pipe, or from a camera whose clock was never
    /// set.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/media/0/captured`:
    /// ```json
    /// [{"op": "add", "path": "/media/0/captured", "value": "2019-05-06T09:33:00-05:00"}]
    /// ```
    /// All files were taken on the day before, at `/runs/0/started`:
    /// ```json
    /// [{"op": "add", "path": "/media/0/captured", "value": "2026-05-05T09:33:00-05:00"},
    ///  {"op": "add", "path": "/media/1/captured", "value": "2026-05-05T09:31:00-05:00"},
    ///  {"op": "add", "path": "/media/2/captured", "value": "2026-05-05T09:31:00-05:00"}, {"op": "replace", "path": "/media/2/run", "value": "R-101"}]
    /// ```
    ///
    /// # Passes
    /// Another clock.
    /// ```json
    /// [{"op": "add", "path": "/media/0/captured", "value": "2026-05-06T10:40:00-05:00"}]
    /// ```
    ///
    /// # Fix
    /// Correct the time, or name the run that the file belongs to.
    name: "media-time-contradicts", severity: Warning, scope: Ending, since: "0.1", clause: "media#references",
    limits: {
        "slack" = 1.0 "h" "how far the clocks of camera and recorder may differ: common practice, no published source",
    },
}

/// So many files say more than the one run.
const WHOLE: usize = 3;

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let slack = out.limit("slack") * 3600.0;
    let mut astray: FxHashMap<usize, (usize, Vec<MediaView<'_>>)> = FxHashMap::default();
    for view in survey.all_media() {
        let (Some(captured), Some(run)) = (&view.media.captured, &view.media.run) else { continue };
        let Some(summary) = ending.run(run).filter(|summary| !ending.dated_astray(summary)) else { continue };
        let (Some((started, finished)), Some(at)) = (span(&summary.run), instant(captured)) else { continue };
        let run = astray.entry(summary.index).or_default();
        run.0 += 1;
        let (early, late) = (started.duration_since(at).as_secs_f64(), at.duration_since(finished).as_secs_f64());
        if early.max(late) > slack && !in_future(survey, captured) {
            run.1.push(view);
        }
    }
    let mut runs: Vec<_> = astray.into_iter().collect();
    runs.sort_by_key(|(index, _)| *index);
    for (index, (of, files)) in runs {
        let summary = &ending.runs[index];
        let (Some(started), Some(finished)) = (&summary.run.started, &summary.run.finished) else { continue };
        if let (true, Some(first)) = (of >= WHOLE && files.len() == of, files.first()) {
            let captured = first.media.captured.as_ref().map_or("", |captured| captured.as_str());
            let message = format!(
                "begun at {started}, but all {of} files of the run were taken at other times, such as {captured}"
            );
            out.report(summary.spot("/started"), message).fact("files", of);
            continue;
        }
        for view in files {
            let Some(captured) = &view.media.captured else { continue };
            let message = format!("taken at {captured}, but the run was made from {started} to {finished}");
            out.report(view.spot("/captured"), message).fact("captured", captured.as_str());
        }
    }
}
