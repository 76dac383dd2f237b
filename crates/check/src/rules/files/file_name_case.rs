//! See the rule's documentation below.

use crate::files::FileOf;
use crate::sink::Sink;
use crate::views::MediaView;

rule! {
    /// # What it checks
    /// The name of a file differs from that in its row by upper and lower case.
    ///
    /// # Why it matters
    /// Some systems tell the two names apart, so the file is there on one computer and missing on
    /// the next.
    ///
    /// # Fails
    /// At `/media/0/file`:
    /// ```json
    /// [{"op": "move", "from": "/files/photos~1lm014_001.jpg", "path": "/files/photos~1LM014_001.JPG"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// []
    /// ```
    /// Two files differ in case only: each has its own name.
    /// ```json
    /// [{"op": "add", "path": "/files/photos~1LM014_001.jpg", "value": {"bytes": 10, "wholeness": "whole"}}]
    /// ```
    ///
    /// # Fix
    /// Rename the file, or write its name in the row as it is.
    name: "file-name-case", severity: Error, scope: Media, since: "0.2", clause: "media#files",
    needs: [Files],
    facts: {
        "name" = Text "the name of the file",
    },
}

fn check(view: &MediaView<'_>, out: &mut Sink<'_>) {
    let Some(FileOf::OtherCase(name, _)) = view.file() else { return };
    let message = format!("the file is called {name:?}: upper and lower case differ");
    out.report(view.subject("/file"), message).fact("name", name);
}
