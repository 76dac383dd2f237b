//! See the rule's documentation below.

use obvert_model::tables::{Media, MediaState};

use crate::sink::Sink;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// No observation names a media file that is stated as lost or truncated. There is one finding for each such file in a
    /// run, at the first observation that names it.
    ///
    /// # Why it matters
    /// A recording that was cut off, as by a loss of power, can mostly not be played at all. What only such a file shows
    /// cannot be looked at again, and an owner may have the pipe driven anew.
    ///
    /// # Fails
    /// At `/runs/1/observations/1/media/0`:
    /// ```json
    /// [{"op": "replace", "path": "/media/2/state", "value": "lost"}]
    /// ```
    /// Six observations name the video. At `/runs/0/observations/0/media/0`:
    /// ```json
    /// [{"op": "replace", "path": "/media/1/state", "value": "truncated"}]
    /// ```
    ///
    /// # Passes
    /// Nothing names it.
    /// ```json
    /// [{"op": "add", "path": "/media/-", "value": {"id": "M-4", "file": "photos/x.jpg", "kind": "photo", "run": "R-101",
    ///   "state": "lost"}}]
    /// ```
    ///
    /// # Fix
    /// Look for another copy of the file. If there is none, say so in a remark and take the references out, or drive the pipe
    /// again where nothing else shows what was seen.
    name: "media-incomplete", severity: Warning, scope: Run, since: "0.1", clause: "media#state",
    facts: {
        "media" = Id "the file",
        "observations" = Count "observations of the run that show it",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let whole = |media: &Media| !matches!(media.state, Some(MediaState::Lost | MediaState::Truncated));
    let head = run.survey.head;
    if run.media.iter().flatten().all(|index| whole(&head.media[*index])) {
        return;
    }
    let mut broken: Vec<(&Media, RowView<'_>, usize, usize)> = Vec::new();
    for row in run.rows() {
        for (index, (_, media)) in row.media().enumerate() {
            let Some(media) = media.filter(|media| !whole(media)) else { continue };
            match broken.iter_mut().find(|(known, ..)| known.id == media.id) {
                Some((.., rows)) => *rows += 1,
                None => broken.push((media, row, index, 1)),
            }
        }
    }
    for (media, row, index, rows) in broken {
        let state = if media.state == Some(MediaState::Lost) { "is lost" } else { "was cut off" };
        let rely = if rows == 1 { "one observation relies".to_owned() } else { format!("{rows} observations rely") };
        let message = format!("{rely} on {} ({}), which {state}", media.id, media.file);
        out.report(row.subject(&format!("/media/{index}")), message)
            .fact("media", media.id.as_str())
            .fact("observations", rows);
    }
}
