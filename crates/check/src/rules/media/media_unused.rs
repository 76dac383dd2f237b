//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// No observation names a media file, and the file names no run.
    ///
    /// # Why it matters
    /// The picture is never found; most often an observation lost its reference to it.
    ///
    /// # Fails
    /// At `/media/0`:
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/2/media/0"},
    ///  {"op": "remove", "path": "/media/0/run"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "remove", "path": "/runs/0/observations/2/media/0"}]
    /// ```
    /// ```json
    /// [{"op": "remove", "path": "/media/0/run"}]
    /// ```
    ///
    /// # Fix
    /// Name the file in the observation that it shows, name its run, or remove the row.
    name: "media-unused", severity: Note, scope: Ending, since: "0.1", clause: "media#references",
    concludes_from: ["runs", "observations", "observations.media"],
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    for view in ending.survey.all_media() {
        // A row with a duplicate id may be the one that is named.
        let unique = ending.survey.media_index(&view.media.id).is_some();
        if view.media.run.is_none() && unique && ending.shown_by(view.index).is_none() {
            out.report(
                view.subject(""),
                format!("no observation names {:?}, and the file names no run", view.media.file),
            );
        }
    }
}
