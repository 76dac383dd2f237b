//! Writing JSON.

use std::io::Write;

use obvert_model::read::RunReader;
use obvert_model::tables::{Document, Run};

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
    mut sink: impl Write,
) -> Result<LossReport, ConvertError> {
    let head = survey.share_head();
    let mut runs = Runs { survey, error: None };
    let written = obvert_model::write::stream(&head, &mut runs, &mut sink);
    match runs.error {
        Some(error) => Err(error),
        None => {
            written?;
            sink.flush()?;
            Ok(LossReport::default())
        }
    }
}

/// Writes a survey into one file.
pub(super) fn create(
    survey: &mut dyn RunReader<Error = ConvertError>,
    output: &mut Output<'_>,
) -> Result<LossReport, ConvertError> {
    write_runs(survey, output.sink()?)
}

/// The runs up to the first that cannot be read.
struct Runs<'r> {
    survey: &'r mut dyn RunReader<Error = ConvertError>,
    error: Option<ConvertError>,
}

impl Iterator for Runs<'_> {
    type Item = Run;
    fn next(&mut self) -> Option<Run> {
        match self.survey.next_run() {
            Ok(run) => run,
            Err(error) => {
                self.error = Some(error);
                None
            }
        }
    }
}
