//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// Every media file is named by an observation, or names the run that it belongs to.
    ///
    /// # Why it matters
    /// A picture that belongs to nothing is found by nobody; most often an observation lost its reference to it.
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
    /// Let the observation that it shows refer to it, or name its run, or take the row out.
    name: "media-unused", severity: Note, scope: Ending, since: "0.1", clause: "media#references",
    concludes_from: ["runs", "observations", "observations.media"],
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    for view in ending.survey.all_media() {
        // A row whose id stands twice may be the one that is named.
        let meant = ending.survey.media_index(&view.media.id).is_some();
        if view.media.run.is_none() && meant && ending.shown_by(view.index).is_none() {
            out.report(view.subject(""), format!("no observation shows {:?}, and it names no run", view.media.file));
        }
    }
}
