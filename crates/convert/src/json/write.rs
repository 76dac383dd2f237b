//! Writing JSON.

use std::io::Write;

use obvert_model::read::RunReader;
use obvert_model::tables::Document;
use obvert_model::write::{FromReaderError, from_reader};

use crate::{ConvertError, DocumentRuns, LossReport, Output};

/// Writes a document in the layout for files. The report is always empty.
///
/// # Errors
/// When the sink fails, or the document was made with a number that no document can have.
pub fn write(document: &Document, sink: impl Write) -> Result<LossReport, ConvertError> {
    write_runs(&mut DocumentRuns::new(document), sink)
}

/// Writes a survey that is read run by run. The bytes are those of [`write`](fn@write).
///
/// # Errors
/// As [`write`](fn@write), and when the survey turns out to be invalid.
pub fn write_runs(
    survey: &mut dyn RunReader<Error = ConvertError>,
    sink: impl Write,
) -> Result<LossReport, ConvertError> {
    match from_reader(survey, sink) {
        Ok(()) => Ok(LossReport::default()),
        Err(FromReaderError::Read(error)) => Err(error),
        Err(FromReaderError::Write(error)) => Err(error.into()),
    }
}

/// Writes a survey into one file.
pub(super) fn create(
    survey: &mut dyn RunReader<Error = ConvertError>,
    output: &mut Output<'_>,
) -> Result<LossReport, ConvertError> {
    write_runs(survey, output.sink()?)
}
