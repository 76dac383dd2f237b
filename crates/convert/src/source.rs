//! A survey that was opened, in any format: it is read run by run, read all at once, or diagnosed.

use std::sync::Arc;

use obvert_model::read::RunReader;
use obvert_model::tables::{Document, Head, Run};
#[cfg(feature = "diagnose")]
use obvert_model::versions::{MigrateError, Migrated};
use serde_json::Value;

use crate::{
    ConvertError, InvalidDocument, Location, LossReport, PlacedProblem, Problems, SourceMap, Survey,
};

/// A survey that was opened for reading.
///
/// Reading is strict and stops at the first problem, with [`ConvertError::Invalid`].
/// [`diagnose`](Self::diagnose) finds every problem.
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
#[doc(alias = "reader")]
#[doc(alias = "parser")]
pub trait Source {
    /// Starts to read the survey run by run.
    ///
    /// # Errors
    /// [`ConvertError::Invalid`] when the part before the runs is not valid; another error when the
    /// source is not in the format.
    fn read(&mut self, locations: Locations) -> Result<Box<dyn SurveyReader + '_>, ConvertError>;

    /// Every problem of the survey, and the document as far as it can be read.
    ///
    /// # Errors
    /// When the source is not in the format, so that there is no document.
    fn diagnose(&mut self) -> Result<Diagnosis, ConvertError>;

    /// The whole survey, with the location of every value.
    ///
    /// # Errors
    /// [`ConvertError::Structure`], with every problem that [`diagnose`](Self::diagnose) finds,
    /// when it is not valid; another error when the source is not in the format.
    fn survey(&mut self) -> Result<Survey, ConvertError> {
        let read = self.read(Locations::Kept).and_then(collect);
        match read {
            Ok((survey, _)) => Ok(survey),
            Err(error) => Err(self.explain(error)),
        }
    }

    /// Replaces an error that says that the survey is not valid by one with every problem.
    fn explain(&mut self, error: ConvertError) -> ConvertError {
        explained(self, error)
    }

    /// The locations of some values, by their pointers. Reading run by run keeps no locations, so
    /// this may read the survey again.
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

    /// The text of the file in a location; `None` if the file has no lines to show.
    fn text(&self, file: &str) -> Option<&[u8]> {
        let _ = file;
        None
    }

    /// Notes about the source, such as missing tables, in lower case without a full stop.
    fn notes(&self) -> &[String] {
        &[]
    }

    /// The text of a JSON document in this version of the format, for a checker that reads JSON
    /// itself; `None` for any other format.
    fn json(&self) -> Option<Result<&[u8], ConvertError>> {
        None
    }

    /// How a document of an older version of the format was migrated to this one, or why it cannot
    /// be; `None` for a document of this version.
    #[cfg(feature = "diagnose")]
    #[cfg_attr(docsrs, doc(cfg(feature = "diagnose")))]
    fn migration(&self) -> Option<Result<&Migrated, &MigrateError>> {
        None
    }
}

/// The error of a survey that is not valid, with every problem; any other error as it is.
pub(crate) fn explained(source: &mut (impl Source + ?Sized), error: ConvertError) -> ConvertError {
    if !matches!(error, ConvertError::Invalid { .. }) {
        return error;
    }
    match source.diagnose() {
        Ok(diagnosis) if diagnosis.problems.is_empty() => error,
        Ok(diagnosis) => ConvertError::Structure(diagnosis.into()),
        Err(error) => error,
    }
}

/// Whether a reader keeps locations.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Locations {
    /// Keep them, which takes memory for every row.
    Kept,
    /// Skip them, so that memory is needed for the head and one run only.
    Skipped,
}

/// The runs of a survey, and its provenance.
pub trait SurveyReader: RunReader<Error = ConvertError> {
    /// The provenance of the survey, once its runs have been read.
    fn finish(self: Box<Self>) -> Provenance;
}

/// The locations of the values of a survey, and what reading it lost.
#[derive(Clone, Debug, Default)]
pub struct Provenance {
    /// The locations of its values, if they were [kept](Locations::Kept) or are available anyway.
    pub locations: Option<SourceMap>,
    /// The values that could not be carried over into a document. Only reading an office's own
    /// table loses anything.
    pub losses: LossReport,
}

/// A survey as it was read, and every problem in it.
#[derive(Clone, Debug, Default)]
pub struct Diagnosis {
    /// The document as far as it can be read; `None` if nothing of it can be read.
    pub value: Option<Value>,
    /// The locations of its values.
    pub locations: SourceMap,
    /// The problems, in the order of the source.
    pub problems: Vec<PlacedProblem>,
}

impl Diagnosis {
    /// The diagnosis of a survey that is valid.
    ///
    /// # Errors
    /// When the document has a number that no document can have.
    pub fn valid(survey: Survey) -> Result<Self, ConvertError> {
        let value = serde_json::to_value(&survey.document).map_err(std::io::Error::other)?;
        Ok(Self { value: Some(value), locations: survey.places, problems: Vec::new() })
    }
}

impl From<Problems> for Diagnosis {
    fn from(problems: Problems) -> Self {
        let (problems, rest) = problems.into_parts();
        match rest {
            Some(InvalidDocument { value, places }) => {
                Self { value: Some(value), locations: places, problems }
            }
            None => Self { problems, ..Self::default() },
        }
    }
}

impl From<Diagnosis> for Problems {
    fn from(Diagnosis { value, locations, problems }: Diagnosis) -> Self {
        Self::new(problems, value.map(|value| InvalidDocument { value, places: locations }))
    }
}

/// A diagnosis by reading the whole survey, for formats that have no better way.
#[cfg(any(feature = "tables", feature = "geojson", feature = "xml"))]
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
    /// A reader of a survey, with the losses of reading it.
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

/// A reader of a document that the caller keeps: each run is cloned when it is read.
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
