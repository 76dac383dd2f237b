//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::cameras::same_camera;
use crate::support::map_lengths::four_in_five;
use crate::support::media_dates::{MIN_COUNT, RunFiles, TimeSpan, files_by_run};
use crate::support::time::run_span;
use crate::views::{Ending, RunSummary, Subject};

rule! {
    /// # What it checks
    /// A media file was taken before or after its run was made, beyond the limit for differing
    /// clocks.
    ///
    /// # Exceptions
    /// - It was taken in the future (`date-in-future`).
    /// - The run is dated far from the others (`run-date-outlier`) or begins in the future.
    /// - The camera was in another run at the time (`runs-concurrent`).
    /// - An observation of another run names the still (`media-run-contradicts`).
    /// - It is a document, such as a permit.
    /// - It is a photo without `at` that no observation names, of the 18 hours before or after the
    ///   run: it shows the site.
    ///
    /// # Exactly
    /// Files count that have `captured` and a `run` with `started` and `finished` in order, except
    /// those of the second exception and of the last three. A file is *off* if it was taken more
    /// than `slack` before `started` or after `finished`, and not in the future. If all files of a
    /// run, three or more, are off, the run is off. The finding is
    ///
    /// - one at `/media` if all files that count of three or more runs, and of four in five of
    ///   those with such files, are off; otherwise
    /// - one at `started` of each run that is off;
    /// - one at the first file of another run with more than three files that are off;
    /// - one at each other file that is off.
    ///
    /// # Why it matters
    /// The picture is from another day or pipe, or from a camera whose clock was never set.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/media/0/captured`:
    /// ```json
    /// [{"op": "add", "path": "/media/0/captured", "value": "2019-05-06T09:33:00-05:00"}]
    /// ```
    /// All files are from the day before, at `/runs/0/started`:
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
    /// The cover, in the morning.
    /// ```json
    /// [{"op": "add", "path": "/media/-", "value": {"id": "M-4", "file": "site/cover.jpg", "kind": "photo", "run": "R-101", "captured": "2026-05-06T06:20:00-05:00"}}]
    /// ```
    ///
    /// # Fix
    /// Correct the time, or name the run that the file belongs to.
    name: "media-time-contradicts", severity: Warning, scope: Ending, since: "0.1", clause: "media#references",
    concludes_from: ["media", "media.captured", "media.run", "runs", "runs.started", "runs.finished"],
    limits: {
        "slack" = 1.0 "h"
            "greatest difference between the clocks of camera and recorder; common practice, no published source",
    },
    facts: {
        "runs" = Count "runs with files that count" if "most runs are off",
        "files" = Count "files of the run that count"
            if "the run is off, or more than three of its files are",
        "mismatched" = Count "those of `runs`, or of `files`, that are off"
            if "most runs are off, or more than three files of a run but not all",
        "captured" = DateTime "`captured` of the file" if "it is reported by itself",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let runs = files_by_run(ending, out.limit("slack") * 3600.0);
    let off = runs.values().filter(|files| files.outliers.len() == files.of).count();
    if off >= MIN_COUNT && four_in_five(off, runs.len()) {
        let of = runs.len();
        let message =
            format!("in {off} of {of} runs all files were taken at other times than the run");
        out.report(Subject::at("/media"), message).fact("runs", of).fact("mismatched", off).help(
            "check the clock of the camera and that of the recorder: one of the two was not set, or they are in different time zones",
        );
        return;
    }
    if runs.values().all(|files| files.outliers.is_empty()) {
        return;
    }
    let spans: Vec<Option<TimeSpan>> =
        ending.runs.iter().map(|summary| run_span(&summary.run)).collect();
    for (index, files) in &runs {
        if !files.outliers.is_empty() {
            report(ending, &ending.runs[*index], files, &spans, out);
        }
    }
}

fn report(
    ending: &Ending<'_>,
    summary: &RunSummary,
    files: &RunFiles<'_>,
    spans: &[Option<TimeSpan>],
    out: &mut Sink<'_>,
) {
    let (Some(started), Some(finished), Some(made)) =
        (&summary.run.started, &summary.run.finished, files.span)
    else {
        return;
    };
    // `runs-concurrent` reports a run whose camera was in another run at the time.
    let at_once = |(index, other): (usize, &Option<TimeSpan>)| {
        let overlap = other.is_some_and(|other| other.0 < made.1 && made.0 < other.1);
        overlap
            && index != summary.index
            && same_camera(ending.survey, &ending.runs[index].run, &summary.run)
    };
    if out.lists() && spans.iter().enumerate().any(at_once) {
        return;
    }
    if let (true, Some(first)) = (files.all_outliers(), files.outliers.first()) {
        let (of, captured) =
            (files.of, first.media.captured.as_ref().map_or("", |captured| captured.as_str()));
        let message = format!(
            "started at {started}, but all {of} files of the run were taken at other times, such as {captured}"
        );
        out.report(summary.subject("/started"), message).fact("files", of);
        return;
    }
    if let (true, Some(first)) = (files.outliers.len() > MIN_COUNT, files.outliers.first()) {
        let (some, of, run) = (files.outliers.len(), files.of, summary.run.id.as_str());
        let message = format!(
            "{some} of {of} files of run {run:?} were not taken between {started} and {finished}"
        );
        out.report(first.subject("/captured"), message).fact("files", of).fact("mismatched", some);
        return;
    }
    for view in &files.outliers {
        let Some(captured) = &view.media.captured else { continue };
        let message =
            format!("taken at {captured}, but the run was made from {started} to {finished}");
        out.report(view.subject("/captured"), message).fact("captured", captured.as_str());
    }
}
