//! Reading JSON.

use std::sync::Arc;

#[cfg(feature = "diagnose")]
use obvert_model::read;
use obvert_model::read::{Problem, ReadError, Reader, RunReader, locate_all};
use obvert_model::tables::{Head, Run};
use obvert_model::versions;
#[cfg(feature = "diagnose")]
use obvert_model::versions::{MigrateError, Migrated};

#[cfg(not(feature = "diagnose"))]
use crate::Survey;
use crate::position::Counter;
use crate::source::{Diagnosis, Locations, Provenance, Source, SurveyReader, explained};
use crate::{ConvertError, Input, Location, LossReport, PlacedProblem, SourceMap};

/// Opens a document. A document of an older version is migrated to this one.
#[cfg(feature = "diagnose")]
pub(super) fn open<'a>(input: Input<'a>) -> Result<Box<dyn Source + 'a>, ConvertError> {
    let older = older_version(&input)
        .map(|_| versions::migrate(input.bytes(), versions::CURRENT).map(Arc::new));
    Ok(Box::new(JsonSource { input, older }))
}

/// Opens a document. A document of an older version is refused, since migration checks it by JSON
/// Schema.
#[cfg(not(feature = "diagnose"))]
pub(super) fn open<'a>(input: Input<'a>) -> Result<Box<dyn Source + 'a>, ConvertError> {
    match older_version(&input) {
        None => Ok(Box::new(JsonSource { input })),
        Some(version) => Err(ConvertError::Refused {
            message: format!(
                "{}: version {version} of the format, and this program reads {} only; migrate the document with the command `obvert`, or \
                 build the program with the feature `diagnose`",
                input.name(),
                versions::CURRENT
            ),
        }),
    }
}

/// The version of a document, if it is a known older one. The reader refuses an unknown one.
fn older_version(input: &Input<'_>) -> Option<String> {
    versions::stated(input.bytes()).filter(|version| {
        version != versions::CURRENT && versions::KNOWN.contains(&version.as_str())
    })
}

struct JsonSource<'a> {
    input: Input<'a>,
    /// A document of an older version, migrated to this one, or why it cannot be.
    #[cfg(feature = "diagnose")]
    older: Option<Result<Arc<Migrated>, MigrateError>>,
}

#[cfg(feature = "diagnose")]
impl JsonSource<'_> {
    /// The text of the document in this version of the format.
    fn current(&self) -> Result<&[u8], ConvertError> {
        match &self.older {
            None => Ok(self.input.bytes()),
            Some(Ok(migrated)) => Ok(migrated.text.as_bytes()),
            Some(Err(error)) => Err(error.clone().into()),
        }
    }

    /// The column in the file of a column in the text.
    fn column_in_file(&self, line: usize, column: usize) -> usize {
        match &self.older {
            Some(Ok(migrated)) => migrated.column_before(line, column),
            _ => column,
        }
    }

    /// The problems of a document of an older version, by the schema of that version.
    fn older_problems(&self) -> Option<Diagnosis> {
        let Some(Err(MigrateError::InvalidInput {
            source: ReadError::Structure(problems), ..
        })) = &self.older
        else {
            return None;
        };
        let file = self.input.name();
        let problems = problems.iter().map(|problem| PlacedProblem {
            place: Some(Location {
                file: file.to_owned(),
                line: problem.line,
                column: Some(problem.column),
                heading: None,
            }),
            problem: Problem { line: 0, ..problem.clone() },
        });
        Some(Diagnosis { problems: problems.collect(), ..Diagnosis::default() })
    }

    fn diagnose_text(&self, text: &[u8]) -> Result<Diagnosis, ConvertError> {
        let read::Diagnosis { problems, value } =
            read::diagnose(text).map_err(|error| self.error(error))?;
        let problems = problems.into_iter().map(|problem| self.placed(problem)).collect();
        Ok(Diagnosis { value: Some(value), locations: Places::new(self, text).map, problems })
    }
}

#[cfg(not(feature = "diagnose"))]
impl JsonSource<'_> {
    #[expect(clippy::unnecessary_wraps, reason = "migration can fail")]
    fn current(&self) -> Result<&[u8], ConvertError> {
        Ok(self.input.bytes())
    }

    fn column_in_file(&self, _line: usize, column: usize) -> usize {
        column
    }

    fn older_problems(&self) -> Option<Diagnosis> {
        None
    }

    /// The first problem only.
    fn diagnose_text(&self, text: &[u8]) -> Result<Diagnosis, ConvertError> {
        let document = match Reader::new(text).and_then(Reader::into_document) {
            Ok(document) => document,
            Err(ReadError::Structure(problems)) => {
                let problems = problems.into_iter().map(|problem| self.placed(problem)).collect();
                return Ok(Diagnosis { problems, ..Diagnosis::default() });
            }
            Err(error) => return Err(self.error(error)),
        };
        Diagnosis::valid(Survey { document, places: Places::new(self, text).map })
    }
}

impl JsonSource<'_> {
    /// The location that a line and column of the text have in the file.
    fn location(&self, line: usize, column: usize) -> Location {
        let column = Some(self.column_in_file(line, column));
        Location { file: self.input.name().to_owned(), line, column, heading: None }
    }

    /// A problem with its location in the file.
    fn placed(&self, problem: Problem) -> PlacedProblem {
        PlacedProblem {
            place: Some(self.location(problem.line, problem.column)),
            problem: Problem { line: 0, ..problem },
        }
    }

    /// An error of the reader as one of a conversion.
    fn error(&self, error: ReadError) -> ConvertError {
        let name = self.input.name();
        let form = |place, message: String| ConvertError::Format { place, message };
        match error {
            ReadError::Structure(problems) => match problems.into_iter().next() {
                Some(problem) => {
                    let PlacedProblem { place, problem } = self.placed(problem);
                    ConvertError::invalid(place, problem.to_string())
                }
                None => ConvertError::invalid(None, "the cause is not known"),
            },
            ReadError::Syntax { line, column, message } => {
                form(Some(self.location(line, column)), format!("not JSON: {message}"))
            }
            ReadError::Encoding { line, hint } => {
                let place = Location { column: None, ..self.location(line, 1) };
                form(Some(place), format!("not UTF-8 text ({hint}); save the document as UTF-8"))
            }
            other => form(None, format!("{name}: {other}")),
        }
    }
}

impl Source for JsonSource<'_> {
    fn read(&mut self, locations: Locations) -> Result<Box<dyn SurveyReader + '_>, ConvertError> {
        let this = &*self;
        let text = this.current()?;
        let reader = Reader::new(text).map_err(|error| this.error(error))?;
        let places = (locations == Locations::Kept).then(|| Places::new(this, text));
        Ok(Box::new(JsonRuns { source: this, reader, places, count: 0 }))
    }

    fn diagnose(&mut self) -> Result<Diagnosis, ConvertError> {
        match self.older_problems() {
            Some(diagnosis) => Ok(diagnosis),
            None => self.diagnose_text(self.current()?),
        }
    }

    fn explain(&mut self, error: ConvertError) -> ConvertError {
        if let Some(diagnosis) = self.older_problems() {
            return ConvertError::Structure(diagnosis.into());
        }
        explained(self, error)
    }

    fn locate(&mut self, pointers: &[&str]) -> Result<Vec<Option<Location>>, ConvertError> {
        let spans = locate_all(self.current()?, pointers.iter().copied());
        let found = pointers.iter().map(|pointer| spans.get(pointer));
        Ok(found
            .map(|span| (span.line > 0).then(|| self.location(span.line, span.column)))
            .collect())
    }

    fn text(&self, file: &str) -> Option<&[u8]> {
        self.input.text(file)
    }

    fn json(&self) -> Option<Result<&[u8], ConvertError>> {
        Some(self.current())
    }

    #[cfg(feature = "diagnose")]
    fn migration(&self) -> Option<Result<&Migrated, &MigrateError>> {
        self.older.as_ref().map(|older| older.as_deref())
    }
}

/// The locations of runs in the text. Values in a run, or in the head, are located on request.
struct Places<'s> {
    map: SourceMap,
    file: u32,
    counter: Counter<'s>,
    /// Bytes before the text: the length of a byte-order mark.
    skipped: usize,
    length: usize,
}

impl<'s> Places<'s> {
    fn new(source: &JsonSource<'_>, text: &'s [u8]) -> Self {
        let mut map = SourceMap::default();
        let file = map.file(source.input.name());
        map.keep_text(file, text);
        #[cfg(feature = "diagnose")]
        if let Some(Ok(migrated)) = &source.older {
            map.migrated(file, Arc::clone(migrated));
        }
        map.place_json("", file, (1, 1), 0..text.len());
        let unmarked = text.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(text);
        let counter = Counter::new(std::str::from_utf8(unmarked).unwrap_or_default());
        Self { map, file, counter, skipped: text.len() - unmarked.len(), length: text.len() }
    }

    fn run(&mut self, index: usize, offset: usize) {
        let at = self.counter.at(offset);
        self.map.place_json(
            &format!("/runs/{index}"),
            self.file,
            at,
            self.skipped + offset..self.length,
        );
    }
}

struct JsonRuns<'s> {
    source: &'s JsonSource<'s>,
    reader: Reader<'s>,
    places: Option<Places<'s>>,
    /// How many runs have been read.
    count: usize,
}

impl RunReader for JsonRuns<'_> {
    type Error = ConvertError;

    fn head(&self) -> &Head {
        self.reader.head()
    }

    fn share_head(&self) -> Arc<Head> {
        self.reader.share_head()
    }

    fn next_run(&mut self) -> Result<Option<Run>, ConvertError> {
        let run = self.reader.next_run().map_err(|error| self.source.error(error))?;
        if let (Some(_), Some(places)) = (&run, &mut self.places) {
            places.run(self.count, self.reader.offset());
            self.count += 1;
        }
        Ok(run)
    }
}

impl SurveyReader for JsonRuns<'_> {
    fn finish(self: Box<Self>) -> Provenance {
        Provenance {
            locations: self.places.map(|places| places.map),
            losses: LossReport::default(),
        }
    }
}
