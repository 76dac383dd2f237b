//! Callbacks over a reader, for callers that do not ask a [`Reader`](super::Reader) yet.

use super::error::ReadError;
use super::json::Reader;
use super::reader::RunReader;
use crate::tables::{Head, Observation, Run};

/// The runs of a document, one after the other.
pub trait Runs {
    /// The next run; `None` after the last, and also when reading failed, which [`stream`] then returns as its error.
    fn next_run(&mut self) -> Option<Run>;

    /// Takes back the observations of a run that are no longer needed.
    fn give_back(&mut self, observations: Vec<Observation>) {
        drop(observations);
    }
}

/// Reads a document run by run: calls `work` with the head and the runs to be taken from it.
///
/// # Errors
/// As [`super::document`].
pub fn stream<T>(source: &[u8], mut work: impl FnMut(&Head, &mut dyn Runs) -> T) -> Result<T, ReadError> {
    let mut read = || {
        let reader = Reader::new(source)?;
        let head = reader.share_head();
        let mut runs = Pull { reader, error: None };
        let result = work(&head, &mut runs);
        while runs.next_run().is_some() {}
        runs.error.map_or(Ok(result), Err)
    };
    read().map_err(|error| error.with_all_problems(source))
}

struct Pull<'s> {
    reader: Reader<'s>,
    error: Option<ReadError>,
}

impl Runs for Pull<'_> {
    fn next_run(&mut self) -> Option<Run> {
        self.reader.next_run().unwrap_or_else(|error| {
            self.error = Some(error);
            None
        })
    }
}

impl Runs for std::vec::IntoIter<Run> {
    fn next_run(&mut self) -> Option<Run> {
        self.next()
    }
}
