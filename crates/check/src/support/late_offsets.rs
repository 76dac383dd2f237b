//! Rows that are shown after the end of a recording. Where most rows of a recording are, its
//! duration is wrong and not the rows, and a duration in minutes makes nearly all recordings of a
//! survey too short.

use obvert_model::lists::Family;

use crate::support::terms::term;
use crate::views::RunView;

/// From this many rows on, the duration is taken to be wrong and not the rows.
pub(crate) const SEVERAL: usize = 3;

/// How far an offset may lie beyond the end, in seconds, because both were rounded. Common practice,
/// no published source.
pub(crate) const ROUNDING: f64 = 1.0;

/// A recording in which rows are shown after its end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct LateRecording {
    /// Its row in the table of media.
    pub(crate) media: usize,
    /// How many rows of the run are shown after its end.
    pub(crate) rows: usize,
    /// The latest offset, in seconds.
    pub(crate) latest: f64,
}

/// The rows of a run by the time in their recordings.
#[derive(Clone, Debug, Default)]
pub(crate) struct LateOffsets {
    /// The recordings in which rows are shown after the end.
    pub(crate) recordings: Box<[LateRecording]>,
    /// Whether a row is shown in a recording whose duration is known.
    pub(crate) timed: bool,
    /// Whether a row records that the camera or the recorder was stopped.
    pub(crate) paused: bool,
}

impl LateOffsets {
    /// Whether the duration of a recording is taken to be wrong.
    pub(crate) fn has_several(&self, media: usize) -> bool {
        self.recordings.iter().any(|late| late.media == media && late.rows >= SEVERAL)
    }
}

/// The rows of a run by the time in their recordings.
pub(crate) fn late_offsets(view: &RunView<'_>) -> LateOffsets {
    let mut recordings: Vec<LateRecording> = Vec::new();
    let (mut timed, mut paused) = (false, false);
    for row in view.rows() {
        let of_the_run = row.code.is_some_and(|code| code.family == Family::Housekeeping);
        paused |= of_the_run && matches!(term(&row), Some("run.paused" | "note.media-gap"));
        let known = &view.media[row.facts.media..];
        for (shown, media) in row.row.media.iter().zip(known) {
            let Some((offset, media)) = shown.offset.zip(*media) else { continue };
            let Some(duration) = view.survey.head.media[media].duration else { continue };
            timed = true;
            let offset = offset.get();
            if offset <= duration.get() + ROUNDING {
                continue;
            }
            match recordings.iter_mut().find(|late| late.media == media) {
                Some(late) => {
                    late.rows += 1;
                    late.latest = late.latest.max(offset);
                }
                None => recordings.push(LateRecording { media, rows: 1, latest: offset }),
            }
        }
    }
    LateOffsets { recordings: recordings.into(), timed, paused }
}
