//! See the rule's documentation below.

use obvert_model::tables::MediaRef;

use crate::sink::Sink;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// Within one recording, what lies farther along the run is shown later.
    ///
    /// The rule passes over rows whose distance falls back, and times before the beginning of a recording: those are
    /// other rules' findings.
    ///
    /// # Exactly
    /// For each recording of a run in the order of the rows: a row's offset, the least where it names the recording more
    /// than once, is held against the latest offset at the last distance that is less than its own. Rows at one distance have no order; a row that lies before the farthest one is
    /// passed over. What follows is held against the row's own offset, so that one wrong time is found once.
    ///
    /// # Why it matters
    /// Camera and video go forward together. A time that runs back belongs to another observation, and whoever jumps to
    /// it sees another place.
    ///
    /// # Fails
    /// At `/runs/0/observations/4/media/0/offset`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/media/0/offset", "value": 38}]
    /// ```
    ///
    /// # Passes
    /// The end of a stretch is shown as well, after what lies between.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2/media/-", "value": {"id": "M-2", "offset": 140}}]
    /// ```
    /// The camera waited: the same time twice.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/media/0/offset", "value": 130}]
    /// ```
    /// Rows whose distance falls are found as such, and their times are not held against them.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/observations/4/media/0/offset", "value": 20},
    ///  {"op": "replace", "path": "/runs/0/observations/4/at", "value": 0.9}]
    /// ```
    /// At one distance there is no order.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/1/media", "value": [{"id": "M-2", "offset": 20}]},
    ///  {"op": "replace", "path": "/runs/0/observations/0/media/0/offset", "value": 30}]
    /// ```
    ///
    /// # Fix
    /// Look the observation up in the video and correct its time, or its distance.
    name: "media-offset-decreases", severity: Warning, scope: Run, since: "0.1", clause: "media#time-in-recordings",
    facts: {
        "offset" = Seconds "the offset, as recorded",
        "before" = Seconds "the greatest offset at the nearest smaller distance",
    },
}

/// The latest time of the farthest rows seen so far in one recording, and the time that the next row is held against:
/// the latest one of the rows before it.
struct Reached<'r> {
    media: &'r str,
    row: RowView<'r>,
    offset: f64,
    before: Option<(RowView<'r>, f64)>,
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    // A run has one recording, seldom more.
    let mut recordings: Vec<Reached<'_>> = Vec::new();
    for row in run.rows() {
        for (index, reference) in row.row.media.iter().enumerate() {
            let Some(offset) = reference.offset.map(|offset| offset.get()).filter(|offset| *offset >= 0.0) else {
                continue;
            };
            let media = reference.id.as_str();
            // What a row shows later of the same recording may be its end, or a second look.
            let earlier =
                |other: &MediaRef| other.id == reference.id && other.offset.is_some_and(|at| at.get() < offset);
            if row.row.media.iter().any(earlier) {
                continue;
            }
            let Some(known) = recordings.iter_mut().find(|known| known.media == media) else {
                recordings.push(Reached { media, row, offset, before: None });
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
                    format!("{at} is shown {offset} s into {media}, but {back} only after {was} s"),
                )
                .fact("offset", offset)
                .fact("before", was);
            }
            // What follows is held against this row, so that one wrong time is found once.
            known.offset = if farther { offset } else { known.offset.max(offset) };
            known.row = row;
        }
    }
}
