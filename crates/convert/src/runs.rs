//! Code that the readers of several formats share to read run by run.

use std::sync::Arc;

use obvert_model::read::{IdWatch, RunReader};
use obvert_model::tables::{Head, Run};
use serde_json::Value;

use crate::source::{
    Diagnosis, Locations, Provenance, Source, SurveyReader, WholeReader, diagnosed,
};
use crate::{ConvertError, Location, LossReport, SourceMap, Survey};

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
            return if self.ids.seen_twice() {
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
        if self.ids.seen_twice() {
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

/// A file whose rows are usually in the order of the runs, and can be in any order.
#[cfg(any(feature = "tables", feature = "geojson"))]
pub(crate) trait RowFile {
    /// Whether the rows are in the order of the runs, so that runs can be read one at a time.
    fn is_in_order(&mut self) -> Result<bool, ConvertError>;

    /// The runs of a file whose rows are in order.
    fn runs(&mut self, locations: Locations) -> Result<Box<dyn SurveyReader + '_>, ConvertError>;

    /// Reads everything, in any order of rows, and finds everything that is wrong.
    fn assemble(&mut self) -> Result<Survey, ConvertError>;

    /// The text of a file that a location names.
    fn text(&self, file: &str) -> Option<&[u8]>;

    /// What is worth knowing about what was opened.
    fn notes(&self) -> &[String] {
        &[]
    }
}

/// The source of a survey in a [`RowFile`].
#[cfg(any(feature = "tables", feature = "geojson"))]
pub(crate) struct RowSource<F> {
    file: F,
    /// Whether the rows are in order, once that is known.
    in_order: Option<bool>,
    /// What reading everything has found.
    diagnosis: Option<Diagnosis>,
}

#[cfg(any(feature = "tables", feature = "geojson"))]
impl<F: RowFile> RowSource<F> {
    pub(crate) const fn new(file: F) -> Self {
        Self { file, in_order: None, diagnosis: None }
    }

    fn is_in_order(&mut self) -> Result<bool, ConvertError> {
        if let Some(known) = self.in_order {
            return Ok(known);
        }
        let order = self.file.is_in_order()?;
        self.in_order = Some(order);
        Ok(order)
    }
}

#[cfg(any(feature = "tables", feature = "geojson"))]
impl<F: RowFile> Source for RowSource<F> {
    fn read(&mut self, locations: Locations) -> Result<Box<dyn SurveyReader + '_>, ConvertError> {
        if self.is_in_order()? {
            return self.file.runs(locations);
        }
        match self.file.assemble() {
            Ok(survey) => Ok(Box::new(WholeReader::new(survey, LossReport::default()))),
            Err(ConvertError::Structure(problems)) => {
                let error = ConvertError::first_of(&problems);
                self.diagnosis = Some(problems.into());
                Err(error)
            }
            Err(error) => Err(error),
        }
    }

    fn diagnose(&mut self) -> Result<Diagnosis, ConvertError> {
        match self.diagnosis.take() {
            Some(diagnosis) => Ok(diagnosis),
            None => diagnosed(self.file.assemble()),
        }
    }

    fn text(&self, file: &str) -> Option<&[u8]> {
        self.file.text(file)
    }

    fn notes(&self) -> &[String] {
        self.file.notes()
    }
}
