//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{Subject, Survey};

rule! {
    /// # What it checks
    /// The folder has media files that no row names.
    ///
    /// # Exactly
    /// A media file is one whose content shows a media type.
    ///
    /// # Why it matters
    /// The office does not look at a file that no row names. Often a row names the wrong file, or a
    /// run is missing.
    ///
    /// # Fails
    /// At `/media`:
    /// ```json
    /// [{"op": "add", "path": "/files/photos~1lm099_001.jpg", "value": {"bytes": 10, "wholeness": "whole", "type": "image/jpeg"}}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// []
    /// ```
    /// Not a media file.
    /// ```json
    /// [{"op": "add", "path": "/files/photos~1notes.txt", "value": {"bytes": 10, "wholeness": {"cannot-tell": {"why": "unknown format"}}}}]
    /// ```
    ///
    /// # Fix
    /// Add a row for each file, or remove it from the delivery. A file of another survey in the same
    /// folder needs no row here.
    name: "file-unnamed", severity: Note, scope: Document, since: "0.2", clause: "media#files",
    needs: [Files],
    facts: {
        "files" = Texts "their paths in the folder, in order",
    },
}

/// How many files the message names; the fact has all of them.
const LISTED: usize = 20;

fn check(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let Some(files) = &survey.files else { return };
    let unnamed = files.unnamed(&survey.head.media);
    let media = unnamed.into_iter().filter(|(_, file)| file.media_type.is_some());
    let names: Vec<&str> = media.map(|(name, _)| name).collect();
    let message = match names.as_slice() {
        [] => return,
        [one] => format!("no row names the file {one:?}"),
        several if several.len() <= LISTED => {
            format!("no row names {} files: {}", several.len(), several.join(", "))
        }
        several => {
            let (first, more) = (several[..LISTED].join(", "), several.len() - LISTED);
            format!("no row names {} files: {first} and {more} more", several.len())
        }
    };
    out.report(Subject::at("/media"), message).fact("files", names);
}
