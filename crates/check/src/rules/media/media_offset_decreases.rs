//! See the rule's documentation below.

use obvert_model::tables::MediaRef;

use crate::sink::Sink;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// In one recording, a row farther along the run is shown earlier than one before it.
    ///
    /// # Exceptions
    /// - Rows at one distance have no order.
    /// - The row lies before the farthest one so far (`distance-decreases`).
    /// - The offset is negative (`media-offset-past-end`).
    ///
    /// # Exactly
    /// For each recording of a run, in row order, the row's offset (the least, if it names the
    /// recording more than once) is compared with the latest offset at the last distance that is
    /// less than its own. Later rows are compared with the row's own offset, so that one wrong time
    /// is reported once.
    ///
    /// # Why it matters
    /// The camera moves forward with the video: a time that runs back shows another place.
    ///
    /// # Fails
    /// At `/runs/0/observations/4/media/0/offset`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/media/0/offset", "value": 38}]
    /// ```
    ///
    /// # Passes
    /// The end of a stretch is shown after what lies between.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2/media/-", "value": {"id": "M-2", "offset": 140}}]
    /// ```
    /// The camera waited.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/media/0/offset", "value": 130}]
    /// ```
    /// The distance decreases.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/media/0/offset", "value": 20},
    ///  {"op": "replace", "path": "/runs/0/observations/4/at", "value": 0.9}]
    /// ```
    /// Two rows at one distance.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/1/media", "value": [{"id": "M-2", "offset": 20}]},
    ///  {"op": "replace", "path": "/runs/0/observations/0/media/0/offset", "value": 30}]
    /// ```
    ///
    /// # Fix
    /// Look up the observation in the video and correct its time or its distance.
    name: "media-offset-decreases", severity: Warning, scope: Run, since: "0.1", clause: "media#time-in-recordings",
    facts: {
        "offset" = Seconds "the offset, as recorded",
        "before" = Seconds "the latest offset at the nearest smaller distance",
    },
}

/// The farthest row of one recording so far with its latest offset, and the row before it with the
/// offset that the next row is compared with.
struct Farthest<'r> {
    media: &'r str,
    row: RowView<'r>,
    offset: f64,
    before: Option<(RowView<'r>, f64)>,
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    // A run has one recording, seldom more.
    let mut recordings: Vec<Farthest<'_>> = Vec::new();
    for row in run.rows() {
        for (index, reference) in row.row.media.iter().enumerate() {
            let Some(offset) =
                reference.offset.map(|offset| offset.get()).filter(|offset| *offset >= 0.0)
            else {
                continue;
            };
            let media = reference.id.as_str();
            // A later offset of the same row may be the end of a stretch, or a second look.
            let earlier = |other: &MediaRef| {
                other.id == reference.id && other.offset.is_some_and(|at| at.get() < offset)
            };
            if row.row.media.iter().any(earlier) {
                continue;
            }
            let Some(known) = recordings.iter_mut().find(|known| known.media == media) else {
                recordings.push(Farthest { media, row, offset, before: None });
                continue;
            };
            if row.row.at < known.row.row.at {
                continue;
            }
            let farther = row.row.at > known.row.row.at;
            if farther {
                known.before = Some((known.row, known.offset));
            }
            if let Some((earlier, was)) = known.before.filter(|(_, was)| offset < *was) {
                let (at, back) = (run.survey.say(row.row.at), run.survey.say(earlier.row.at));
                out.report(
                    row.subject(&format!("/media/{index}/offset")),
                    format!("{at} is shown at {offset} s of {media}, but {back} only at {was} s"),
                )
                .fact("offset", offset)
                .fact("before", was);
            }
            // Later rows are compared with this one, so that one wrong time is reported once.
            known.offset = if farther { offset } else { known.offset.max(offset) };
            known.row = row;
        }
    }
}
