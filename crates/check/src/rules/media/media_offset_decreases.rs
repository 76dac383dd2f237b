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
            let Some(offset) = first_offset(&row, reference) else { continue };
            let media = reference.id.as_str();
            match recordings.iter_mut().find(|known| known.media == media) {
                None => recordings.push(Farthest { media, row, offset, before: None }),
                Some(known) if row.row.at >= known.row.row.at => {
                    known.advance(row, index, offset, out);
                }
                Some(_) => {}
            }
        }
    }
}

/// The offset of a reference, if it is the first one of its row into the recording. A later offset
/// of the same row may be the end of a stretch, or a second look.
fn first_offset(row: &RowView<'_>, reference: &MediaRef) -> Option<f64> {
    let offset = reference.offset?.get();
    let earlier = |other: &MediaRef| {
        other.id == reference.id && other.offset.is_some_and(|at| at.get() < offset)
    };
    (offset >= 0.0 && !row.row.media.iter().any(earlier)).then_some(offset)
}

impl<'r> Farthest<'r> {
    /// Compares a row with the farthest row before it, and makes it the farthest one.
    fn advance(&mut self, row: RowView<'r>, index: usize, offset: f64, out: &mut Sink<'_>) {
        let farther = row.row.at > self.row.row.at;
        if farther {
            self.before = Some((self.row, self.offset));
        }
        if let Some((earlier, was)) = self.before.filter(|(_, was)| offset < *was) {
            let survey = row.survey();
            let (at, back) =
                (survey.format_length(row.row.at), survey.format_length(earlier.row.at));
            let message = format!(
                "{at} is shown at {offset} s of {}, but {back} only at {was} s",
                self.media
            );
            out.report(row.subject(&format!("/media/{index}/offset")), message)
                .fact("offset", offset)
                .fact("before", was);
        }
        // Later rows are compared with this one, so that one wrong time is reported once.
        self.offset = if farther { offset } else { self.offset.max(offset) };
        self.row = row;
    }
}
