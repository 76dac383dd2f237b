//! See the rule's documentation below.

use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The times into one recording do not fall from one observation of a run to the next, since the distance rises.
    ///
    /// # Why it matters
    /// Time does not run back. One of the two offsets, or one of the two distances, is wrong, and the reviewer sees another
    /// place of the pipe than the row says.
    ///
    /// # Fails
    /// At `/runs/0/observations/4/media/0/offset`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/media/0/offset", "value": 20}]
    /// ```
    ///
    /// # Passes
    /// Rows whose distance falls are found as such, and their times are not held against them.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/media/0/offset", "value": 20},
    ///  {"op": "replace", "path": "/runs/0/observations/4/at", "value": 0.9}]
    /// ```
    /// Two observations at one moment.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/media/0/offset", "value": 130}]
    /// ```
    ///
    /// # Fix
    /// Look both rows up in the video and correct the one that is wrong.
    name: "media-offset-falls", severity: Warning, scope: Run, since: "0.1", clause: "media#time-in-recordings",
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    // A run has one recording, rarely two: the last time seen in each, with the row that it stands in.
    let mut last: FxHashMap<&str, (f64, usize)> = FxHashMap::default();
    for row in run.rows() {
        for (index, reference) in row.row.media.iter().enumerate() {
            let Some(offset) = reference.offset.map(obvert_model::number::Seconds::get) else { continue };
            let Some((before, at)) = last.insert(reference.id.as_str(), (offset, row.index)) else { continue };
            let rises = run.run.observations[at].at <= row.row.at;
            if offset < before && rises {
                let message = format!(
                    "the time into {} falls from {before} s to {offset} s while the distance rises",
                    reference.id
                );
                out.report(row.spot(&format!("/media/{index}/offset")), message)
                    .fact("offset", offset)
                    .fact("before", before);
                // The rows after it are held against the time before the fall.
                last.insert(reference.id.as_str(), (before, at));
            }
        }
    }
}
