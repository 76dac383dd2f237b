//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::cameras::same_camera;
use crate::support::map_lengths::four_in_five;
use crate::support::media_dates::{MIN_COUNT, RunFiles, TimeSpan, files_by_run};
use crate::support::time::run_span;
use crate::views::{Ending, RunSummary, Subject};

rule! {
    /// # What it checks
    /// A file that belongs to a run was taken while the run was made, within the limit for clocks that differ. Where
    /// all files of a run, three or more, were taken at another time, the run is dated wrongly and that is one finding.
    /// A date in the future is left to `date-in-future`, a run that lies far from the others to `run-date-outlier`, one whose camera was elsewhere at the time to `runs-concurrent`, a still that another run shows to `media-run-contradicts`.
    ///
    /// # Exactly
    /// Files count that have `captured` and a `run` with `started` and `finished` in order, and are no stills (`photo`, `scan`)
    /// that an observation of another run names; not of runs that begin in the future or are dated astray. They are astray more
    /// than `slack` before `started` or after `finished`, not in the future. Where all of three or more are, in three or more
    /// runs and four in five of those with files that count, it is one finding at `/media`; else more than three in a run are one.
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
    ///  {"op": "add", "path": "/media/-", "value": {"id": "M-4", "file": "photos/4.jpg", "kind": "photo", "run": "R-101", "captured": "2026-05-05T09:31:00-05:00"}}]
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
    concludes_from: ["media", "media.captured", "media.run", "runs", "runs.started", "runs.finished"],
    limits: {
        "slack" = 1.0 "h" "how far the clocks of camera and recorder may differ: common practice, no published source",
    },
    facts: {
        "runs" = Count "runs that have dated files" if "most runs are astray",
        "files" = Count "dated files of the run" if "three or more are all astray, or more than three of them are",
        "astray" = Count "of `runs` those whose files are all astray, of `files` those that are"
            if "most runs are astray, or more than three files of a run but not all",
        "captured" = DateTime "`captured` of the file" if "it is told by itself",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let runs = files_by_run(ending, out.limit("slack") * 3600.0);
    let whole = runs.iter().filter(|(_, files)| files.all_outliers()).count();
    if whole >= MIN_COUNT && four_in_five(whole, runs.len()) {
        let of = runs.len();
        let message = format!("the files of {whole} of {of} runs were taken at other times than the runs were made");
        out.report(Subject::at("/media"), message)
            .fact("runs", of)
            .fact("astray", whole)
            .help("look at the clock of the camera, or of whatever dated the runs; one of the two was not set");
        return;
    }
    if runs.values().all(|files| files.outliers.is_empty()) {
        return;
    }
    let spans: Vec<Option<TimeSpan>> = ending.runs.iter().map(|summary| run_span(&summary.run)).collect();
    for (index, files) in &runs {
        if !files.outliers.is_empty() {
            tell(ending, &ending.runs[*index], files, &spans, out);
        }
    }
}

fn tell(
    ending: &Ending<'_>,
    summary: &RunSummary,
    files: &RunFiles<'_>,
    spans: &[Option<TimeSpan>],
    out: &mut Sink<'_>,
) {
    let (Some(started), Some(finished), Some(made)) = (&summary.run.started, &summary.run.finished, files.span) else {
        return;
    };
    // Of a run that was made while its camera was in another one, that is said already.
    let at_once = |(index, other): (usize, &Option<TimeSpan>)| {
        let overlap = other.is_some_and(|other| other.0 < made.1 && made.0 < other.1);
        overlap && index != summary.index && same_camera(ending.survey, &ending.runs[index].run, &summary.run)
    };
    if out.lists() && spans.iter().enumerate().any(at_once) {
        return;
    }
    if let (true, Some(first)) = (files.all_outliers(), files.outliers.first()) {
        let (of, captured) = (files.of, first.media.captured.as_ref().map_or("", |captured| captured.as_str()));
        let message =
            format!("begun at {started}, but all {of} files of the run were taken at other times, such as {captured}");
        out.report(summary.subject("/started"), message).fact("files", of);
        return;
    }
    if let (true, Some(first)) = (files.outliers.len() > MIN_COUNT, files.outliers.first()) {
        let (some, of, run) = (files.outliers.len(), files.of, summary.run.id.as_str());
        let message =
            format!("{some} of {of} files of run {run:?} were taken at other times than {started} to {finished}");
        out.report(first.subject("/captured"), message).fact("files", of).fact("astray", some);
        return;
    }
    for view in &files.outliers {
        let Some(captured) = &view.media.captured else { continue };
        let message = format!("taken at {captured}, but the run was made from {started} to {finished}");
        out.report(view.subject("/captured"), message).fact("captured", captured.as_str());
    }
}
