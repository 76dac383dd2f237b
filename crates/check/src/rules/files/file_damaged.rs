//! See the rule's documentation below.

use obvert_model::tables::MediaState;

use crate::sink::Sink;
use crate::views::MediaView;
use crate::wholeness::Wholeness;

rule! {
    /// # What it checks
    /// A file is damaged or cut off, by the structure of its format.
    ///
    /// # Exactly
    /// A file is damaged if a length or checksum that its format states does not hold, or if the
    /// format needs an end that it does not have. One whose end is missing is none if `state` is
    /// `truncated`.
    ///
    /// # Why it matters
    /// A recording that was cut off when the power failed, or a copy that stopped half-way, cannot
    /// be played to its end, and often not at all.
    ///
    /// # Fails
    /// At `/media/1/file`:
    /// ```json
    /// [{"op": "replace", "path": "/files/videos~1r101.mp4/wholeness", "value": {"damaged": {"how": "its index was never written", "cut": true}}}]
    /// ```
    /// The row calls it truncated, but it is damaged otherwise. At `/media/0/file`:
    /// ```json
    /// [{"op": "replace", "path": "/files/photos~1lm014_001.jpg/wholeness", "value": {"damaged": {"how": "a checksum is wrong", "cut": false}}},
    ///  {"op": "replace", "path": "/media/0/state", "value": "truncated"}]
    /// ```
    ///
    /// # Passes
    /// The row states that it is truncated.
    /// ```json
    /// [{"op": "replace", "path": "/files/videos~1r101.mp4/wholeness", "value": {"damaged": {"how": "its index was never written", "cut": true}}},
    ///  {"op": "replace", "path": "/media/1/state", "value": "truncated"}]
    /// ```
    /// Its format does not show it (`file-wholeness-unknown`).
    /// ```json
    /// [{"op": "replace", "path": "/files/videos~1r101.mp4/wholeness", "value": {"cannot-tell": {"why": "any beginning of such a file is a file"}}}]
    /// ```
    ///
    /// # Fix
    /// Copy the file again from the recorder. If there is no whole copy, keep what there is and set
    /// `state` to `truncated`; look at the recording to its end, and repeat the run if it does not
    /// show what was recorded.
    name: "file-damaged", severity: Error, scope: Media, since: "0.2", clause: "media#files",
    needs: [Files],
    facts: {
        "cut" = Value "whether its end is missing",
    },
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let Some(file) = view.readable_file() else { return };
    let Wholeness::Damaged { how, cut, .. } = &file.wholeness else { return };
    let cut = *cut;
    if cut && view.media.state == Some(MediaState::Truncated) {
        return;
    }
    let message = format!("{:?} is damaged: {how}", view.media.file.as_str());
    out.report(view.subject("/file"), message).fact("cut", cut);
}
