//! What every form has in common that is read or written a run at a time.

use obvert_model::read::Runs;
use obvert_model::tables::{Document, Head, Run};

/// The runs of a stream as an iterator, as the writers of forms take them.
///
/// ```
/// # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
/// # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
/// // From JSON to JSON, one run at a time.
/// let text = obvert_model::read::stream(source, |head, runs| {
///     let mut text = Vec::new();
///     obvert_model::write::stream(head, obvert_convert::Each(runs), &mut text).map(|()| text)
/// })??;
/// assert_eq!(obvert_model::read::document(&text)?, obvert_model::read::document(source)?);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub struct Each<'r>(pub &'r mut dyn Runs);

impl std::fmt::Debug for Each<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Each(..)")
    }
}

impl Iterator for Each<'_> {
    type Item = Run;
    fn next(&mut self) -> Option<Run> {
        self.0.next_run()
    }
}

/// Hands a document that is whole to code that takes a stream.
pub fn hand_over<T>(document: Document, work: &mut dyn FnMut(&Head, &mut dyn Runs) -> T) -> T {
    work(&document.head, &mut document.runs.into_iter())
}

/// The result of the fast road, or what the whole survey gives where that road has ended: it says what is wrong, or brings the
/// runs into order.
#[cfg(any(feature = "csv", feature = "geojson", feature = "geopackage", feature = "xlsx", feature = "xml"))]
pub(crate) fn either<T>(
    fast: Option<T>,
    whole: impl FnOnce() -> Result<crate::Survey, crate::ConvertError>,
    work: &mut dyn FnMut(&Head, &mut dyn Runs) -> T,
) -> Result<T, crate::ConvertError> {
    match fast {
        Some(result) => Ok(result),
        None => whole().map(|survey| hand_over(survey.document, work)),
    }
}
