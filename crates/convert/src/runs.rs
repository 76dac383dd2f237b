//! Code that the readers of several formats share to read run by run.

use std::sync::Arc;

use obvert_model::read::{IdWatch, RunReader};
use obvert_model::tables::{Head, Run};
use serde_json::Value;

use crate::source::{Provenance, SurveyReader};
use crate::{ConvertError, Location, LossReport, SourceMap};

/// What a format has after the head: runs as values.
pub(crate) trait RunValues {
    /// The next run with its observations. `pointer` is where it is in the document.
    fn next_value(&mut self, pointer: &str) -> Result<Option<Value>, ConvertError>;

    /// The location of the run that was read last.
    fn location(&mut self) -> Option<Location>;

    /// Compares the run that was read last with what else the source says about it.
    fn compare(&mut self, _head: &Head, _run: &Run) -> Result<(), &'static str> {
        Ok(())
    }

    /// The locations that were kept.
    fn into_locations(self) -> Option<SourceMap>;
}

/// The runs of a survey, typed one at a time.
pub(crate) struct TypedRuns<R> {
    values: R,
    head: Arc<Head>,
    ids: IdWatch,
    /// How many runs have been read.
    count: usize,
    /// Whether the last run has been read, or reading has failed.
    ended: bool,
}

impl<R: RunValues> TypedRuns<R> {
    pub(crate) fn new(values: R, head: Head) -> Self {
        let mut ids = IdWatch::default();
        ids.head(&head);
        Self { values, head: Arc::new(head), ids, count: 0, ended: false }
    }

    fn read_next(&mut self) -> Result<Option<Run>, ConvertError> {
        let Some(value) = self.values.next_value(&format!("/runs/{}", self.count))? else {
            return if self.ids.has_duplicates() {
                Err(ConvertError::repeated_id(None))
            } else {
                Ok(None)
            };
        };
        self.count += 1;
        let run = match Run::deserialize(value) {
            Ok(run) => run,
            Err(error) => {
                return Err(ConvertError::invalid(self.values.location(), error.to_string()));
            }
        };
        self.ids.run(&run);
        if self.ids.has_duplicates() {
            return Err(ConvertError::repeated_id(self.values.location()));
        }
        if let Err(message) = self.values.compare(&self.head, &run) {
            return Err(ConvertError::invalid(self.values.location(), message));
        }
        Ok(Some(run))
    }
}

impl<R: RunValues> RunReader for TypedRuns<R> {
    type Error = ConvertError;

    fn head(&self) -> &Head {
        &self.head
    }

    fn share_head(&self) -> Arc<Head> {
        Arc::clone(&self.head)
    }

    fn next_run(&mut self) -> Result<Option<Run>, ConvertError> {
        if self.ended {
            return Ok(None);
        }
        let run = self.read_next();
        self.ended = !matches!(run, Ok(Some(_)));
        run
    }
}

impl<R: RunValues> SurveyReader for TypedRuns<R> {
    fn finish(self: Box<Self>) -> Provenance {
        Provenance { locations: self.values.into_locations(), losses: LossReport::default() }
    }
}
