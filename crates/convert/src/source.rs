//! A survey that was opened for reading, in any format: read run by run, as a whole, or diagnosed.

use std::sync::Arc;

use obvert_model::read::RunReader;
use obvert_model::tables::{Document, Head, Run};
use obvert_model::versions::{MigrateError, Migrated};
use serde_json::Value;

use crate::{
    ConvertError, Location, LossReport, PlacedProblem, Problems, SourceMap, Survey, Unsound,
};

/// A survey that was opened for reading.
///
/// Reading is strict and stops at the first thing that is wrong, with [`ConvertError::Invalid`].
/// What all is wrong is a question of its own, which [`diagnose`](Self::diagnose) answers.
///
/// ```
/// use obvert_convert::{Formats, Input, Locations};
///
/// let bytes = br#"{"obvert": "0.2", "id": "d", "issued": "2026-05-06T16:20:00-05:00", "units": {"length": "ft", "section": "in"},
///   "coding": {"list": "obvert-terms", "version": "1"}, "runs": [{"id": "R1", "pipe": "P1", "direction": "downstream"}]}"#;
/// let mut source = Formats::built_in().open(Input::file("survey.json", bytes), None)?;
/// let mut reader = source.read(Locations::Skipped)?;
/// assert_eq!(reader.head().id.as_str(), "d");
/// while let Some(run) = reader.next_run()? {
///     println!("{}", run.id);
/// }
/// # Ok::<(), obvert_convert::ConvertError>(())
/// ```
pub trait Source {
    /// Starts to read the survey run by run.
    ///
    /// # Errors
    /// [`ConvertError::Invalid`] when what comes before the runs is not valid; another error when
    /// it is not of the format.
    fn read(&mut self, locations: Locations) -> Result<Box<dyn SurveyReader + '_>, ConvertError>;

    /// Everything that is wrong with the survey, and the document as far as it can be read.
    ///
    /// # Errors
    /// When it is not of the format, so that nothing can be said of a document.
    fn diagnose(&mut self) -> Result<Diagnosis, ConvertError>;

    /// The whole survey, with the location of every value.
    ///
    /// # Errors
    /// [`ConvertError::Structure`], with everything that [`diagnose`](Self::diagnose) finds, when
    /// it is not valid; another error when it is not of the format.
    fn survey(&mut self) -> Result<Survey, ConvertError> {
        let read = self.read(Locations::Kept).and_then(collect);
        match read {
            Ok((survey, _)) => Ok(survey),
            Err(error) => Err(self.explain(error)),
        }
    }

    /// An error of reading, with everything that is wrong if it says that the survey is not valid.
    fn explain(&mut self, error: ConvertError) -> ConvertError {
        if !matches!(error, ConvertError::Invalid { .. }) {
            return error;
        }
        match self.diagnose() {
            Ok(diagnosis) if diagnosis.problems.is_empty() => error,
            Ok(diagnosis) => ConvertError::Structure(diagnosis.into()),
            Err(error) => error,
        }
    }

    /// The locations of some values, by their pointers. A survey that was read run by run keeps
    /// none, so that this may read it again.
    ///
    /// # Errors
    /// As [`survey`](Self::survey).
    fn locate(&mut self, pointers: &[&str]) -> Result<Vec<Option<Location>>, ConvertError> {
        if pointers.is_empty() {
            return Ok(Vec::new());
        }
        let places = self.survey()?.places;
        Ok(pointers.iter().map(|pointer| places.place(pointer)).collect())
    }

    /// The text of a file that a location names; `None` if that has no lines to show.
    fn text(&self, file: &str) -> Option<&[u8]> {
        let _ = file;
        None
    }

    /// What is worth knowing about what was opened, such as tables that are missing: lower case, no
    /// full stop.
    fn notes(&self) -> &[String] {
        &[]
    }

    /// The text of a JSON document in this version of the format; `None` for any other format. A
    /// checker that reads it itself needs no more.
    fn json(&self) -> Option<Result<&[u8], ConvertError>> {
        None
    }

    /// How a document of an older version of the format was brought to this one, or why it cannot
    /// be; `None` for one of this version.
    fn migration(&self) -> Option<Result<&Migrated, &MigrateError>> {
        None
    }
}

/// Whether a reader keeps the locations of what it reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Locations {
    /// It keeps them, which takes memory for every row.
    Kept,
    /// It does not, so that memory is that of the head and of one run.
    Skipped,
}

/// The runs of a survey, and what is known of it when the last has been read.
pub trait SurveyReader: RunReader<Error = ConvertError> {
    /// What is known of the survey besides, once its runs have been read.
    fn finish(self: Box<Self>) -> Provenance;
}

/// Where the values of a survey came from, and what reading it lost.
#[derive(Clone, Debug, Default)]
pub struct Provenance {
    /// The locations of its values, if they were [kept](Locations::Kept) or are known anyway.
    pub locations: Option<SourceMap>,
    /// What could not be carried over into a document. Only an office's own table loses anything
    /// when it is read.
    pub losses: LossReport,
}

/// A survey as it was found, and everything that is wrong with it.
#[derive(Clone, Debug, Default)]
pub struct Diagnosis {
    /// The document as far as it can be read; `None` if nothing can be said of its values.
    pub value: Option<Value>,
    /// Where its values came from.
    pub locations: SourceMap,
    /// What is wrong, in the order of the source.
    pub problems: Vec<PlacedProblem>,
}

impl Diagnosis {
    /// The diagnosis of a survey that is valid.
    ///
    /// # Errors
    /// When the document was made with a number that no document can have.
    pub fn valid(survey: Survey) -> Result<Self, ConvertError> {
        let value = serde_json::to_value(&survey.document).map_err(std::io::Error::other)?;
        Ok(Self { value: Some(value), locations: survey.places, problems: Vec::new() })
    }
}

impl From<Problems> for Diagnosis {
    fn from(problems: Problems) -> Self {
        let (problems, rest) = problems.into_parts();
        match rest {
            Some(Unsound { value, places }) => {
                Self { value: Some(value), locations: places, problems }
            }
            None => Self { problems, ..Self::default() },
        }
    }
}

impl From<Diagnosis> for Problems {
    fn from(Diagnosis { value, locations, problems }: Diagnosis) -> Self {
        Self::new(problems, value.map(|value| Unsound { value, places: locations }))
    }
}

/// What reading a whole survey found out, for a source that has no other way to read it.
pub(crate) fn diagnosed(read: Result<Survey, ConvertError>) -> Result<Diagnosis, ConvertError> {
    match read {
        Ok(survey) => Diagnosis::valid(survey),
        Err(ConvertError::Structure(problems)) => Ok(problems.into()),
        Err(error) => Err(error),
    }
}

/// Reads all runs.
///
/// # Errors
/// When one of them is not valid.
pub fn collect(
    mut reader: Box<dyn SurveyReader + '_>,
) -> Result<(Survey, LossReport), ConvertError> {
    let mut runs = Vec::new();
    while let Some(run) = reader.next_run()? {
        runs.push(run);
    }
    let head = reader.share_head();
    let Provenance { locations, losses } = reader.finish();
    let document = Document { head: Arc::unwrap_or_clone(head), runs };
    Ok((Survey { document, places: locations.unwrap_or_default() }, losses))
}

/// The reader of a survey that is in memory.
#[derive(Clone, Debug)]
pub struct WholeReader {
    head: Arc<Head>,
    runs: std::vec::IntoIter<Run>,
    provenance: Provenance,
}

impl WholeReader {
    /// A reader of a survey, and of what reading it lost.
    #[must_use]
    pub fn new(survey: Survey, losses: LossReport) -> Self {
        let Document { head, runs } = survey.document;
        let head = Arc::new(head);
        Self {
            head,
            runs: runs.into_iter(),
            provenance: Provenance { locations: Some(survey.places), losses },
        }
    }
}

impl RunReader for WholeReader {
    type Error = ConvertError;
    fn head(&self) -> &Head {
        &self.head
    }
    fn share_head(&self) -> Arc<Head> {
        Arc::clone(&self.head)
    }
    fn next_run(&mut self) -> Result<Option<Run>, ConvertError> {
        Ok(self.runs.next())
    }
}

impl SurveyReader for WholeReader {
    fn finish(self: Box<Self>) -> Provenance {
        self.provenance
    }
}

/// A reader of a document that is kept: each run is cloned when it is asked for.
///
/// ```
/// use obvert_convert::{DocumentRuns, Formats, Output};
/// # let source = br#"{"obvert":"0.2","id":"d","issued":"2026-05-06T16:20:00-05:00","units":{"length":"ft","section":"in"},
/// # "coding":{"list":"obvert-terms","version":"1"},"runs":[{"id":"R1","pipe":"L-1","direction":"downstream"}]}"#;
/// # let document = obvert_model::read::document(source)?;
/// let format = Formats::built_in().get("json").expect("JSON is always there");
/// let mut text = Vec::new();
/// let losses = format.write(&mut DocumentRuns::new(&document), Output::Stream(&mut text))?;
/// assert!(losses.is_empty() && text.starts_with(b"{"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Debug)]
pub struct DocumentRuns<'d> {
    head: &'d Head,
    runs: std::slice::Iter<'d, Run>,
}

impl<'d> DocumentRuns<'d> {
    /// A reader of a document.
    #[must_use]
    pub fn new(document: &'d Document) -> Self {
        Self { head: &document.head, runs: document.runs.iter() }
    }
}

impl RunReader for DocumentRuns<'_> {
    type Error = ConvertError;
    fn head(&self) -> &Head {
        self.head
    }
    fn next_run(&mut self) -> Result<Option<Run>, ConvertError> {
        Ok(self.runs.next().cloned())
    }
}
