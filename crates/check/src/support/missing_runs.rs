//! Whether a document refers to runs that it does not have. If it does, a pipe without runs may have
//! been surveyed.

use crate::views::Ending;

/// The tables and fields that refer to runs.
pub(crate) const EVIDENCE: &[&str] =
    &["media", "media.run", "locates", "ratings", "ratings.runs", "runs", "runs.reverse_of"];

/// Whether a row refers to a run that the document does not have.
pub(crate) fn refers_to_missing_run(ending: &Ending<'_>) -> bool {
    let head = ending.survey.head;
    let media = head.media.iter().filter_map(|row| row.run.as_ref());
    let ratings = head.ratings.iter().flat_map(|row| &row.runs);
    let reverse = ending.runs.iter().filter_map(|summary| summary.run.reverse_of.as_ref());
    let mut named =
        media.chain(head.locates.iter().map(|row| &row.run)).chain(ratings).chain(reverse);
    named.any(|id| !ending.has_run(id))
}
