//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// A picture is black all over.
    ///
    /// # Why it matters
    /// The lamp was off, or the lens was covered: it shows nothing.
    ///
    /// # Fails
    /// At `/media/0/file`:
    /// ```json
    /// [{"op": "add", "path": "/files/photos~1lm014_001.jpg/black", "value": true}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// []
    /// ```
    ///
    /// # Fix
    /// Take the picture again from the film, or repeat the run if nothing else shows the place.
    name: "file-black", severity: Warning, scope: Media, since: "0.2", clause: "media#files",
    needs: [Files],
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    if view.readable_file().is_some_and(|file| file.black) {
        let message = format!("{:?} is black all over", view.media.file.as_str());
        out.report(view.subject("/file"), message);
    }
}
