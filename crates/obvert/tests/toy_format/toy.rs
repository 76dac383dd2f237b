//! A format in one file: a first line that identifies it, a line for the head and a line for each
//! run. It needs one more line to register it.

use std::sync::Arc;

use obvert::convert::{
    Capabilities, Container, ConvertError, Detection, Diagnosis, Format, Input, Location,
    Locations, LossReport, Output, PlacedProblem, Provenance, Source, SourceMap, SurveyReader,
};
use obvert::model::read::{Problem, ProblemKind, RunReader};
use obvert::model::tables::{Head, Run};

const FIRST_LINE: &str = "TOY SURVEY";

pub(crate) static TOY: Format = Format {
    name: "toy",
    title: "Toy",
    description: "A line for the head and one for each run.",
    extensions: &["toy"],
    media_type: "text/plain",
    capabilities: Capabilities {
        lossless: true,
        container: Container::File { seekable: false },
        tabular: false,
        options: &[],
    },
    detect: |sample| match sample.start().starts_with(FIRST_LINE.as_bytes()) {
        true => Detection::Certain,
        false => Detection::No,
    },
    open: Some(open),
    create: Some(create),
};

fn open<'a>(input: Input<'a>) -> Result<Box<dyn Source + 'a>, ConvertError> {
    Ok(Box::new(Toy(input)))
}

struct Toy<'a>(Input<'a>);

impl Toy<'_> {
    /// The lines, each with its location.
    fn lines(&self) -> impl Iterator<Item = (Location, &[u8])> {
        let lines = self
            .0
            .bytes()
            .split(|byte| *byte == b'\n')
            .enumerate()
            .filter(|(_, line)| !line.is_empty());
        lines.map(|(number, line)| {
            (
                Location {
                    file: self.0.name().to_owned(),
                    line: number + 1,
                    column: None,
                    heading: None,
                },
                line,
            )
        })
    }
}

fn invalid(at: &Location, error: &impl ToString) -> ConvertError {
    ConvertError::Invalid { place: Some(at.clone()), message: error.to_string() }
}

impl Source for Toy<'_> {
    fn read(&mut self, locations: Locations) -> Result<Box<dyn SurveyReader + '_>, ConvertError> {
        let mut places = SourceMap::default();
        let file = places.file(self.0.name());
        let mut lines = self.lines().skip(1);
        let (at, line) =
            lines.next().ok_or_else(|| invalid(&Location::default(), &"there is no head"))?;
        places.record("", file, at.line, 0);
        let head = serde_json::from_slice(line).map_err(|error| invalid(&at, &error))?;
        let places = (locations == Locations::Kept).then_some(places);
        Ok(Box::new(ToyRuns { lines: Box::new(lines), head: Arc::new(head), places, count: 0 }))
    }

    fn diagnose(&mut self) -> Result<Diagnosis, ConvertError> {
        let mut reader = match self.read(Locations::Kept) {
            Ok(reader) => reader,
            Err(error) => return diagnosis(error),
        };
        loop {
            match reader.next_run() {
                Ok(Some(_)) => {}
                Ok(None) => return Ok(Diagnosis::default()),
                Err(error) => return diagnosis(error),
            }
        }
    }

    fn text(&self, file: &str) -> Option<&[u8]> {
        self.0.text(file)
    }
}

/// The toy format reports one problem only.
fn diagnosis(error: ConvertError) -> Result<Diagnosis, ConvertError> {
    let ConvertError::Invalid { place, message } = error else { return Err(error) };
    let problem = Problem::new(ProblemKind::WrongType, "", message);
    Ok(Diagnosis { problems: vec![PlacedProblem { place, problem }], ..Diagnosis::default() })
}

struct ToyRuns<'s> {
    lines: Box<dyn Iterator<Item = (Location, &'s [u8])> + 's>,
    head: Arc<Head>,
    places: Option<SourceMap>,
    count: usize,
}

impl RunReader for ToyRuns<'_> {
    type Error = ConvertError;

    fn head(&self) -> &Head {
        &self.head
    }

    fn share_head(&self) -> Arc<Head> {
        Arc::clone(&self.head)
    }

    fn next_run(&mut self) -> Result<Option<Run>, ConvertError> {
        let Some((at, line)) = self.lines.next() else { return Ok(None) };
        if let Some(places) = &mut self.places {
            let file = places.file(&at.file);
            places.record(&format!("/runs/{}", self.count), file, at.line, 0);
        }
        self.count += 1;
        serde_json::from_slice(line).map(Some).map_err(|error| invalid(&at, &error))
    }
}

impl SurveyReader for ToyRuns<'_> {
    fn finish(self: Box<Self>) -> Provenance {
        Provenance { locations: self.places, losses: LossReport::default() }
    }
}

fn create(
    survey: &mut dyn RunReader<Error = ConvertError>,
    output: &mut Output<'_>,
) -> Result<LossReport, ConvertError> {
    let sink = output.sink()?;
    let json = |error: serde_json::Error| ConvertError::Write(error.into());
    writeln!(sink, "{FIRST_LINE}\n{}", serde_json::to_string(survey.head()).map_err(json)?)?;
    while let Some(run) = survey.next_run()? {
        writeln!(sink, "{}", serde_json::to_string(&run).map_err(json)?)?;
    }
    Ok(LossReport::default())
}
