//! See the rule's documentation below.

use std::collections::BTreeMap;

use jiff::Timestamp;
use obvert_model::tables::MediaKind;

use crate::measure::most;
use crate::sink::Sink;
use crate::time::{in_future, instant, same_camera, span};
use crate::views::{Ending, MediaView, RunSummary, Spot};

rule! {
    /// # What it checks
    /// A file that belongs to a run was taken while the run was made, within the limit for clocks that differ. Where
    /// all files of a run, three or more, were taken at another time, the run is dated wrongly and that is one finding.
    /// A date in the future is left to `dated-in-future`, a run that lies far from the others to `run-date-astray`, one whose camera was elsewhere at the time to `runs-at-once`, a still that another run shows to `media-run-contradicts`.
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
    limits: {
        "slack" = 1.0 "h" "how far the clocks of camera and recorder may differ: common practice, no published source",
    },
}

/// So many files say more than the one run, and so many runs more than the one document.
const WHOLE: usize = 3;

/// When a run was made.
type Span = (Timestamp, Timestamp);

/// What the files of a run say.
#[derive(Default)]
struct Files<'d> {
    span: Option<Span>,
    of: usize,
    astray: Vec<MediaView<'d>>,
}

impl Files<'_> {
    /// Whether all files of the run, and not too few, were taken at another time.
    fn whole(&self) -> bool {
        self.of >= WHOLE && self.astray.len() == self.of
    }
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let runs = gather(ending, out.limit("slack") * 3600.0);
    let whole = runs.iter().filter(|(_, files)| files.whole()).count();
    if whole >= WHOLE && most(whole, runs.len()) {
        let of = runs.len();
        let message = format!("the files of {whole} of {of} runs were taken at other times than the runs were made");
        out.report(Spot::at("/media"), message)
            .fact("runs", of)
            .fact("astray", whole)
            .help("look at the clock of the camera, or of whatever dated the runs; one of the two was not set");
        return;
    }
    if runs.values().all(|files| files.astray.is_empty()) {
        return;
    }
    let spans: Vec<Option<Span>> = ending.runs.iter().map(|summary| span(&summary.run)).collect();
    for (index, files) in &runs {
        if !files.astray.is_empty() {
            tell(ending, &ending.runs[*index], files, &spans, out);
        }
    }
}

/// What the files of each run say that says when it was made, by the run's row.
fn gather<'d>(ending: &'d Ending<'_>, slack: f64) -> BTreeMap<usize, Files<'d>> {
    let survey = ending.survey;
    let mut runs: BTreeMap<usize, Files<'d>> = BTreeMap::new();
    for view in survey.all_media() {
        let (Some(captured), Some(run)) = (&view.media.captured, &view.media.run) else { continue };
        let Some(summary) = ending.run(run) else { continue };
        if ending.dated_astray(summary) || summary.started().is_some_and(|time| in_future(survey, time)) {
            continue;
        }
        // A still that another run shows is filed under the wrong one.
        let still = matches!(view.media.kind, MediaKind::Photo | MediaKind::Scan);
        if still && ending.shown_by(view.index).is_some_and(|shown| shown.index != summary.index) {
            continue;
        }
        let files = runs.entry(summary.index).or_insert_with(|| Files { span: span(&summary.run), ..Files::default() });
        let (Some((started, finished)), Some(at)) = (files.span, instant(captured)) else { continue };
        files.of += 1;
        let (early, late) = (started.duration_since(at).as_secs_f64(), at.duration_since(finished).as_secs_f64());
        if early.max(late) > slack && !in_future(survey, captured) {
            files.astray.push(view);
        }
    }
    runs.retain(|_, files| files.of > 0);
    runs
}

fn tell(ending: &Ending<'_>, summary: &RunSummary, files: &Files<'_>, spans: &[Option<Span>], out: &mut Sink<'_>) {
    let (Some(started), Some(finished), Some(made)) = (&summary.run.started, &summary.run.finished, files.span) else {
        return;
    };
    // Of a run that was made while its camera was in another one, that is said already.
    let at_once = |(index, other): (usize, &Option<Span>)| {
        let overlap = other.is_some_and(|other| other.0 < made.1 && made.0 < other.1);
        overlap && index != summary.index && same_camera(ending.survey, &ending.runs[index].run, &summary.run)
    };
    if out.lists() && spans.iter().enumerate().any(at_once) {
        return;
    }
    if let (true, Some(first)) = (files.whole(), files.astray.first()) {
        let (of, captured) = (files.of, first.media.captured.as_ref().map_or("", |captured| captured.as_str()));
        let message =
            format!("begun at {started}, but all {of} files of the run were taken at other times, such as {captured}");
        out.report(summary.spot("/started"), message).fact("files", of);
        return;
    }
    if let (true, Some(first)) = (files.astray.len() > WHOLE, files.astray.first()) {
        let (some, of, run) = (files.astray.len(), files.of, summary.run.id.as_str());
        let message =
            format!("{some} of {of} files of run {run:?} were taken at other times than {started} to {finished}");
        out.report(first.spot("/captured"), message).fact("files", of).fact("astray", some);
        return;
    }
    for view in &files.astray {
        let Some(captured) = &view.media.captured else { continue };
        let message = format!("taken at {captured}, but the run was made from {started} to {finished}");
        out.report(view.spot("/captured"), message).fact("captured", captured.as_str());
    }
}
