//! Files whose rows can be in any order: the code that their sources have in common.

use crate::source::{Diagnosis, Locations, Source, SurveyReader, WholeReader, diagnosed};
use crate::{ConvertError, LossReport, Survey};

/// A file whose rows are usually in the order of the runs, and can be in any order.
pub(crate) trait RowFile {
    /// Whether the rows are in the order of the runs, so that runs can be read one at a time.
    fn is_in_order(&mut self) -> Result<bool, ConvertError>;

    /// The runs of a file whose rows are in order.
    fn runs(&mut self, locations: Locations) -> Result<Box<dyn SurveyReader + '_>, ConvertError>;

    /// Reads everything, in any order of rows, and finds everything that is wrong.
    fn assemble(&mut self) -> Result<Survey, ConvertError>;

    /// The text of a file that a location names.
    fn text(&self, file: &str) -> Option<&[u8]>;

    /// Notes about the source.
    fn notes(&self) -> &[String] {
        &[]
    }
}

/// The source of a survey in a [`RowFile`].
pub(crate) struct RowSource<F> {
    file: F,
    /// Whether the rows are in order, once that is known.
    in_order: Option<bool>,
    /// What reading everything has found.
    diagnosis: Option<Diagnosis>,
}

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
