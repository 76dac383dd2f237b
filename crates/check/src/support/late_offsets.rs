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

/// A recording in which the offsets of a run do not fit its duration.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct LateRecording {
    /// Its row in the table of media.
    pub(crate) media: usize,
    /// How many rows of the run are shown in it, or after its end.
    pub(crate) rows: usize,
    /// The latest offset, in seconds.
    pub(crate) latest: f64,
}

/// The rows of a run by the time in their recordings.
#[derive(Clone, Debug, Default)]
pub(crate) struct LateOffsets {
    /// The recordings in which rows are shown after the end.
    pub(crate) recordings: Box<[LateRecording]>,
    /// The recordings whose offsets seem to be in minutes.
    pub(crate) minutes: Box<[LateRecording]>,
    /// Whether a row is shown in a recording whose duration is known.
    pub(crate) timed: bool,
    /// Whether a row records that the camera or the recorder was stopped.
    pub(crate) paused: bool,
}

impl LateOffsets {
    /// Whether the durations of the recordings are taken to be wrong: several rows are shown after
    /// the end of one of them.
    pub(crate) fn has_several(&self) -> bool {
        self.recordings.iter().any(|late| late.rows >= SEVERAL)
    }
}

/// The rows of a run by the time in their recordings.
pub(crate) fn late_offsets(view: &RunView<'_>) -> LateOffsets {
    let mut recordings: Vec<LateRecording> = Vec::new();
    let mut shown_in: Vec<(LateRecording, f64)> = Vec::new();
    let (mut timed, mut paused) = (false, false);
    for row in view.rows() {
        let of_the_run = row.code.is_some_and(|code| code.family == Family::Housekeeping);
        paused |= of_the_run && matches!(term(&row), Some("run.paused" | "note.media-gap"));
        let known = &view.media[row.facts.media..];
        for (shown, media) in row.row.media.iter().zip(known) {
            let Some((offset, media)) = shown.offset.zip(*media) else { continue };
            let Some(duration) = view.survey.head.media[media].duration else { continue };
            timed = true;
            let (offset, at) = (offset.get(), row.row.at.get());
            match shown_in.iter_mut().find(|(known, _)| known.media == media) {
                Some((known, far)) => {
                    known.rows += 1;
                    known.latest = known.latest.max(offset);
                    *far = far.max(at);
                }
                None => shown_in.push((LateRecording { media, rows: 1, latest: offset }, at)),
            }
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
    let minutes = shown_in.into_iter().filter(|(known, far)| in_minutes(view, known, *far));
    let minutes = minutes.map(|(known, _)| known).collect();
    LateOffsets { recordings: recordings.into(), minutes, timed, paused }
}

/// From this many rows on, their offsets show a unit.
const MIN_ROWS: usize = 4;

/// Whether the offsets into a recording seem to be in minutes: the last row, near the end of the
/// run, is shown near the end of the recording if they are, and in its first part if they are not.
/// `far` is the distance of the farthest row.
fn in_minutes(view: &RunView<'_>, known: &LateRecording, far: f64) -> bool {
    let media = &view.survey.head.media[known.media];
    let Some(duration) = media.duration.map(|duration| duration.get()) else { return false };
    let to_the_end = view.run.surveyed.is_some_and(|end| far >= end.get() * 0.8);
    let near_the_end = (0.5..=1.02).contains(&(known.latest * 60.0 / duration));
    known.rows >= MIN_ROWS && duration >= 120.0 && to_the_end && near_the_end
}
