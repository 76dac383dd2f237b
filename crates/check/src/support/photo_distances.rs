//! How far photos were taken from the observations that name them.

use obvert_model::number::Length;
use obvert_model::tables::MediaKind;

use crate::views::{RowView, tolerance};

/// A photo of the run that a row names.
pub(crate) struct Photo {
    /// Its index in the row.
    pub(crate) index: usize,
    /// Where it was taken.
    pub(crate) at: Length,
    /// How far it was taken from its observation, in metres.
    pub(crate) off: f64,
    /// Whether it was taken beyond its run.
    pub(crate) beyond: bool,
}

/// The photos of a row.
pub(crate) fn photos<'r>(row: RowView<'r>) -> impl Iterator<Item = Photo> + use<'r> {
    row.media().enumerate().filter_map(move |(index, (_, media))| {
        let media = media.filter(|media| media.kind == MediaKind::Photo)?;
        let (at, run, survey) = (media.at?, row.run, row.survey());
        let taken = survey.metres(at);
        let end = run.run.surveyed.map(|end| survey.metres(end));
        let outside = at.get() < run.reads() - tolerance(0.0) / survey.head.units.length.metres()
            || end.is_some_and(|end| taken > end + tolerance(end));
        if media.run.as_ref().is_some_and(|named| *named != run.run.id) {
            return None;
        }
        // Where a stretch ends that has no end, or ends before it begins, is not known.
        let open = row.row.is_stretch() && row.row.to.is_none_or(|to| to < row.row.at);
        let after = if open { 0.0 } else { taken - survey.metres(row.row.end()) };
        let off = after.max(survey.metres(row.row.at) - taken);
        Some(Photo { index, at, off, beyond: outside && media.run.is_some() })
    })
}
