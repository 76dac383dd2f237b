//! The common interface of survey readers: the head, then one run after the other on demand.

use std::sync::Arc;

use crate::tables::{Document, Head, Observation, Run};

/// A survey that is read on demand, in any format: the head first, then its runs in the order of
/// the file.
///
/// It keeps the head and one run in memory, as long as the caller drops the runs.
///
/// ```
/// use obvert_model::read::{self, RunReader};
/// # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
/// # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
/// let mut reader = read::document(source)?.into_reader();
/// let head = reader.share_head();
/// while let Some(run) = reader.next_run()? {
///     println!("{}, in {}", run.id, head.units.length);
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub trait RunReader {
    /// Why reading can fail.
    type Error;

    /// Everything but the runs.
    fn head(&self) -> &Head;

    /// The head, to keep while runs are read. A reader that owns its head should not copy it.
    fn share_head(&self) -> Arc<Head> {
        Arc::new(self.head().clone())
    }

    /// The next run; `None` after the last.
    ///
    /// # Errors
    /// If the rest of the source is invalid. A survey is valid as a whole or not at all, so discard
    /// what was read before.
    fn next_run(&mut self) -> Result<Option<Run>, Self::Error>;

    /// Takes back observations that are no longer needed: memory is freed fastest on the thread
    /// that allocated it.
    fn recycle(&mut self, observations: Vec<Observation>) {
        drop(observations);
    }
}

/// Reads a document that is in memory.
#[derive(Clone, Debug)]
pub struct DocumentReader {
    head: Arc<Head>,
    runs: std::vec::IntoIter<Run>,
}

impl Document {
    /// A reader of this document's head and runs.
    #[must_use]
    pub fn into_reader(self) -> DocumentReader {
        DocumentReader { head: Arc::new(self.head), runs: self.runs.into_iter() }
    }
}

impl RunReader for DocumentReader {
    type Error = std::convert::Infallible;

    fn head(&self) -> &Head {
        &self.head
    }

    fn share_head(&self) -> Arc<Head> {
        Arc::clone(&self.head)
    }

    fn next_run(&mut self) -> Result<Option<Run>, Self::Error> {
        Ok(self.runs.next())
    }
}

impl<R: RunReader + ?Sized> RunReader for &mut R {
    type Error = R::Error;

    fn head(&self) -> &Head {
        (**self).head()
    }

    fn share_head(&self) -> Arc<Head> {
        (**self).share_head()
    }

    fn next_run(&mut self) -> Result<Option<Run>, Self::Error> {
        (**self).next_run()
    }

    fn recycle(&mut self, observations: Vec<Observation>) {
        (**self).recycle(observations);
    }
}

impl<R: RunReader + ?Sized> RunReader for Box<R> {
    type Error = R::Error;

    fn head(&self) -> &Head {
        (**self).head()
    }

    fn share_head(&self) -> Arc<Head> {
        (**self).share_head()
    }

    fn next_run(&mut self) -> Result<Option<Run>, Self::Error> {
        (**self).next_run()
    }

    fn recycle(&mut self, observations: Vec<Observation>) {
        (**self).recycle(observations);
    }
}
