//! See the rule's documentation below.

use obvert_model::tables::{Media, MediaState};

use crate::sink::Sink;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// An observation names a media file that is lost or truncated. Each such file is one finding
    /// in a run, at the first observation that names it.
    ///
    /// # Why it matters
    /// A truncated recording can often not be played: what only that file shows cannot be checked
    /// again.
    ///
    /// # Fails
    /// At `/runs/1/observations/1/media/0`:
    /// ```json
    /// [{"op": "replace", "path": "/media/2/state", "value": "lost"}]
    /// ```
    /// Six observations name the video, at `/runs/0/observations/0/media/0`:
    /// ```json
    /// [{"op": "replace", "path": "/media/1/state", "value": "truncated"}]
    /// ```
    ///
    /// # Passes
    /// No observation names it.
    /// ```json
    /// [{"op": "add", "path": "/media/-", "value": {"id": "M-4", "file": "photos/x.jpg", "kind": "photo", "run": "R-101",
    ///   "state": "lost"}}]
    /// ```
    ///
    /// # Fix
    /// Look for another copy. If there is none, note that in a remark and remove the references, or
    /// repeat the run if nothing else shows the defects.
    name: "media-incomplete", severity: Warning, scope: Run, since: "0.1", clause: "media#state",
    facts: {
        "media" = Id "the file",
        "observations" = Count "observations of the run that name it",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let complete =
        |media: &Media| !matches!(media.state, Some(MediaState::Lost | MediaState::Truncated));
    let head = run.survey.head;
    if run.media.iter().flatten().all(|index| complete(&head.media[*index])) {
        return;
    }
    let mut broken: Vec<(&Media, RowView<'_>, usize, usize)> = Vec::new();
    for row in run.rows() {
        for (index, (_, media)) in row.media().enumerate() {
            let Some(media) = media.filter(|media| !complete(media)) else { continue };
            match broken.iter_mut().find(|(known, ..)| known.id == media.id) {
                Some((.., rows)) => *rows += 1,
                None => broken.push((media, row, index, 1)),
            }
        }
    }
    for (media, row, index, rows) in broken {
        let state = if media.state == Some(MediaState::Lost) { "is lost" } else { "is truncated" };
        let rely = if rows == 1 {
            "one observation relies".to_owned()
        } else {
            format!("{rows} observations rely")
        };
        let message = format!("{rely} on {} ({}), which {state}", media.id, media.file);
        out.report(row.subject(&format!("/media/{index}")), message)
            .fact("media", media.id.as_str())
            .fact("observations", rows);
    }
}
