//! See the rule's documentation below.

use obvert_model::tables::LocateMethod;

use crate::sink::Sink;
use crate::views::LocateView;

rule! {
    /// # What it checks
    /// A locate of a transmitter in the line does not state how far the transmitter was behind the
    /// camera head, even if that is 0.
    ///
    /// # Why it matters
    /// The mark is over the transmitter, not over what the picture shows: without the offset a dig
    /// misses by it.
    ///
    /// # Fails
    /// At `/locates/0`:
    /// ```json
    /// [{"op": "remove", "path": "/locates/0/transmitter_offset"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/transmitter_offset", "value": 0}]
    /// ```
    /// A line trace needs no transmitter.
    /// ```json
    /// [{"op": "remove", "path": "/locates/0/transmitter_offset"},
    ///  {"op": "replace", "path": "/locates/0/method", "value": "line-trace"}]
    /// ```
    ///
    /// # Fix
    /// Add `transmitter_offset`, in the document's length unit.
    name: "transmitter-offset-missing", severity: Note, scope: Locate, since: "0.1", clause: "locates#transmitter",
}

fn check(view: &LocateView<'_>, out: &mut Sink<'_>) {
    if view.locate.method == Some(LocateMethod::InlineTransmitter)
        && view.locate.transmitter_offset.is_none()
    {
        out.report(
            view.subject(""),
            "the distance of the transmitter behind the camera is not stated",
        );
    }
}
