//! Reading JSON.

use std::sync::Arc;

use obvert_model::read::{self, Problem, ReadError, Reader, RunReader, locate_all};
use obvert_model::tables::{Head, Run};
use obvert_model::versions::{self, MigrateError, Migrated};

use crate::position::Counter;
use crate::source::{Diagnosis, Locations, Provenance, Source, SurveyReader};
use crate::{ConvertError, Input, Location, LossReport, PlacedProblem, SourceMap};

/// Opens a document. One of an older version is brought to this one.
pub(super) fn open<'a>(input: Input<'a>) -> Result<Box<dyn Source + 'a>, ConvertError> {
    let older = versions::stated(input.bytes())
        // A version that is not known is refused when the document is read.
        .filter(|version| {
            version != versions::CURRENT && versions::KNOWN.contains(&version.as_str())
        })
        .map(|_| versions::migrate(input.bytes(), versions::CURRENT).map(Arc::new));
    Ok(Box::new(JsonSource { input, older }))
}

struct JsonSource<'a> {
    input: Input<'a>,
    /// A document of an older version, brought to this one; or why it cannot be.
    older: Option<Result<Arc<Migrated>, MigrateError>>,
}

impl JsonSource<'_> {
    /// The text of the document in this version of the format.
    fn current(&self) -> Result<&[u8], ConvertError> {
        match &self.older {
            None => Ok(self.input.bytes()),
            Some(Ok(migrated)) => Ok(migrated.text.as_bytes()),
            Some(Err(error)) => Err(error.clone().into()),
        }
    }

    fn migrated(&self) -> Option<&Migrated> {
        self.older.as_ref()?.as_deref().ok()
    }

    /// The location that a line and column of the text have in the file.
    fn location(&self, line: usize, column: usize) -> Location {
        let column =
            self.migrated().map_or(column, |migrated| migrated.column_before(line, column));
        Location { file: self.input.name().to_owned(), line, column: Some(column), heading: None }
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
        let form = |place, message: String| ConvertError::Form { place, message };
        match error {
            ReadError::Structure(problems) => match problems.into_iter().next() {
                Some(problem) => {
                    let PlacedProblem { place, problem } = self.placed(problem);
                    ConvertError::invalid(place, problem.to_string())
                }
                None => ConvertError::invalid(None, "no more is known"),
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
        let text = match self.current() {
            Ok(text) => text,
            Err(ConvertError::Migrate(MigrateError::InvalidInput {
                source: ReadError::Structure(problems),
                ..
            })) => {
                // By the schema of its own version, in the file itself.
                let file = self.input.name();
                let problems = problems.into_iter().map(|problem| PlacedProblem {
                    place: Some(Location {
                        file: file.to_owned(),
                        line: problem.line,
                        column: Some(problem.column),
                        heading: None,
                    }),
                    problem: Problem { line: 0, ..problem },
                });
                return Ok(Diagnosis { problems: problems.collect(), ..Diagnosis::default() });
            }
            Err(error) => return Err(error),
        };
        let read::Diagnosis { problems, value } =
            read::diagnose(text).map_err(|error| self.error(error))?;
        let problems = problems.into_iter().map(|problem| self.placed(problem)).collect();
        Ok(Diagnosis { value: Some(value), locations: Places::new(self, text).map, problems })
    }

    fn explain(&mut self, error: ConvertError) -> ConvertError {
        let before = matches!(
            &error,
            ConvertError::Migrate(MigrateError::InvalidInput {
                source: ReadError::Structure(_),
                ..
            })
        );
        if !before && !matches!(error, ConvertError::Invalid { .. }) {
            return error;
        }
        match self.diagnose() {
            Ok(diagnosis) if diagnosis.problems.is_empty() => error,
            Ok(diagnosis) => ConvertError::Structure(diagnosis.into()),
            Err(error) => error,
        }
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

    fn migration(&self) -> Option<Result<&Migrated, &MigrateError>> {
        self.older.as_ref().map(|older| older.as_deref())
    }
}

/// Where runs are in the text; what is below a run, or in the head, is looked for when it is asked
/// for.
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
