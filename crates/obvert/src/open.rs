//! Opens a survey in any file format and any version, from bytes and a name.
//!
//! ```
//! let mut survey = obvert::open(obvert::check::MINIMAL.as_bytes(), "survey.obvert.json")?;
//! assert_eq!(survey.format().name, "json");
//! assert_eq!(survey.survey()?.document.head.pipes.len(), 2);
//!
//! // From bytes to a report, with the file, line and column of every finding.
//! let checker = obvert::check::Checker::new(obvert::check::Settings::default())?;
//! let source = obvert::check::MINIMAL.replacen("\"direction\": \"downstream\"", "\"direction\": \"sideways\"", 1);
//! let report = obvert::check_bytes(source.as_bytes(), "survey.obvert.json", &checker)?;
//! let at = report.findings[0].at.as_ref().ok_or("no location")?;
//! assert_eq!((at.file.as_str(), report.findings[0].rule.as_ref()), ("survey.obvert.json", "unknown-word"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::borrow::Cow;
use std::fmt;

#[cfg(feature = "check")]
use obvert_check::{Checker, Report};
use obvert_convert::{
    ConvertError, Format, FormatError, Formats, Input, Location, Locations, PlacedProblem,
    Provenance, Source, Survey, SurveyReader, collect,
};
#[cfg(feature = "diagnose")]
use obvert_model::versions::{MigrateError, Migrated};

/// Opens a survey of any version. The file format is detected by name and content. Locations have
/// `name` as their file.
///
/// # Errors
/// If the format is not recognised or is write-only, or the bytes are not in that format.
pub fn open<'a>(bytes: impl Into<Cow<'a, [u8]>>, name: &str) -> Result<Opened<'a>, OpenError> {
    Opened::new(Input::file(name, bytes), &Formats::built_in(), None)
}

/// Checks a survey in any file format. Every finding has its location in the source.
///
/// # Errors
/// If the format is not recognised or is write-only, or the bytes are not in that format. An
/// invalid survey is not an error: its problems are findings of the report.
#[cfg(feature = "check")]
pub fn check_bytes(bytes: &[u8], name: &str, checker: &Checker) -> Result<Report, OpenError> {
    open(bytes, name)?.check(checker)
}

/// Why a survey cannot be opened or read. The message names the survey and what to do.
#[derive(Debug)]
pub struct OpenError {
    message: String,
    // Boxed to keep results small.
    kind: Box<OpenErrorKind>,
}

/// The kind of an [`OpenError`].
#[derive(Debug)]
#[non_exhaustive]
pub enum OpenErrorKind {
    /// The format is not recognised, or is write-only.
    Format(FormatError),
    /// The survey is not in its format, or is invalid.
    Read(ConvertError),
}

impl OpenError {
    /// Its kind.
    #[must_use]
    pub fn kind(&self) -> &OpenErrorKind {
        &self.kind
    }

    /// An error about the format of a survey, with its name.
    #[must_use]
    pub fn format(name: &str, error: FormatError) -> Self {
        Self { message: format!("{name}: {error}"), kind: Box::new(OpenErrorKind::Format(error)) }
    }

    /// An error of reading a survey, with its name.
    #[must_use]
    pub fn read(name: &str, error: ConvertError) -> Self {
        let error = match error {
            ConvertError::Format { place: Some(place), message } => {
                ConvertError::Format { place: Some(full(name, place)), message }
            }
            ConvertError::Invalid { place: Some(place), message } => {
                ConvertError::Invalid { place: Some(full(name, place)), message }
            }
            other => other,
        };
        let text = error.to_string();
        let named = text.starts_with(&format!("{name}:"))
            || text.starts_with(&format!("{}/", name.trim_end_matches('/')));
        let message = if named { text } else { format!("{name}: {text}") };
        Self { message, kind: Box::new(OpenErrorKind::Read(error)) }
    }
}

impl fmt::Display for OpenError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for OpenError {
    /// The cause, unless it is part of the message.
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match &*self.kind {
            OpenErrorKind::Format(error) => error.source(),
            OpenErrorKind::Read(error) => error.source(),
        }
    }
}

/// A location with the name of the survey before the name of a table in it.
fn full(name: &str, at: Location) -> Location {
    if at.file == name {
        return at;
    }
    Location { file: format!("{}/{}", name.trim_end_matches('/'), at.file), ..at }
}

/// An open survey in any format.
pub struct Opened<'a> {
    name: String,
    format: &'static Format,
    source: Box<dyn Source + 'a>,
    provenance: Provenance,
}

impl fmt::Debug for Opened<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Opened")
            .field("name", &self.name)
            .field("format", &self.format.name)
            .finish_non_exhaustive()
    }
}

impl<'a> Opened<'a> {
    /// Opens a file or folder in the given format, or detects it by name and content.
    ///
    /// # Errors
    /// As [`open`].
    pub fn new(
        input: Input<'a>,
        formats: &Formats,
        stated: Option<&'static Format>,
    ) -> Result<Self, OpenError> {
        let name = input.name().to_owned();
        let format =
            formats.detect(&input, stated).map_err(|error| OpenError::format(&name, error))?;
        Self::in_format(input, format)
    }

    /// Opens a file or folder in a format, without detection.
    ///
    /// # Errors
    /// If the input is not in that format.
    pub fn in_format(input: Input<'a>, format: &'static Format) -> Result<Self, OpenError> {
        let name = input.name().to_owned();
        match format.source(input) {
            Ok(source) => Ok(Self { name, format, source, provenance: Provenance::default() }),
            Err(error) => Err(OpenError::read(&name, error)),
        }
    }

    /// Opens an office's own table by its layout. `lists` are the code lists that it may use
    /// besides the built-in ones.
    #[cfg(feature = "layout")]
    #[must_use]
    pub fn by_layout(
        bytes: impl Into<Cow<'a, [u8]>>,
        name: &str,
        layout: &'a obvert_model::layout::Layout,
        lists: &'a [obvert_model::lists::CodeList],
    ) -> Self {
        let source = by_layout::Table::new(bytes.into(), name.to_owned(), layout, lists);
        Self {
            name: name.to_owned(),
            format: &by_layout::LAYOUT,
            source: Box::new(source),
            provenance: Provenance::default(),
        }
    }

    /// Its name in messages and locations.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Its format.
    #[must_use]
    pub const fn format(&self) -> &'static Format {
        self.format
    }

    /// The source of the survey.
    pub fn source(&mut self) -> &mut (dyn Source + 'a) {
        &mut *self.source
    }

    /// Starts to read the survey run by run.
    ///
    /// # Errors
    /// As [`Source::read`].
    pub fn read(
        &mut self,
        locations: Locations,
    ) -> Result<Box<dyn SurveyReader + '_>, ConvertError> {
        self.source.read(locations)
    }

    /// The whole survey, with the location of every value.
    ///
    /// # Errors
    /// If it is invalid, with every problem, or not in its format.
    pub fn survey(&mut self) -> Result<Survey, OpenError> {
        self.collect().map_err(|error| self.error(error))
    }

    fn collect(&mut self) -> Result<Survey, ConvertError> {
        let read = self.source.read(Locations::Kept).and_then(collect);
        match read {
            Ok((survey, losses)) => {
                let locations = (!losses.losses.is_empty()).then(|| survey.places.clone());
                self.provenance = Provenance { locations, losses };
                Ok(survey)
            }
            Err(error) => Err(self.source.explain(error)),
        }
    }

    /// What was lost by reading or checking the whole survey, with locations. Only an office's own
    /// table can lose anything.
    #[must_use]
    pub const fn provenance(&self) -> &Provenance {
        &self.provenance
    }

    /// The locations of values, by their pointers.
    ///
    /// # Errors
    /// If the survey is invalid or not in its format.
    pub fn locate(&mut self, pointers: &[&str]) -> Result<Vec<Option<Location>>, OpenError> {
        let found = self.source.locate(pointers).map_err(|error| self.error(error))?;
        Ok(found.into_iter().map(|at| at.map(|at| self.location(at))).collect())
    }

    /// A location in its source, with the name of the survey before the name of a table in it.
    #[must_use]
    pub fn location(&self, at: Location) -> Location {
        full(&self.name, at)
    }

    /// A problem of its source, with the full location.
    #[must_use]
    pub fn problem(&self, placed: &PlacedProblem) -> PlacedProblem {
        PlacedProblem {
            place: placed.place.clone().map(|at| self.location(at)),
            problem: placed.problem.clone(),
        }
    }

    /// An error of reading it, with the name of the survey.
    #[must_use]
    pub fn error(&self, error: ConvertError) -> OpenError {
        OpenError::read(&self.name, error)
    }

    /// Notes about the input, such as missing tables.
    #[must_use]
    pub fn notes(&self) -> &[String] {
        self.source.notes()
    }

    /// How a document of an older version of the format was migrated to this one, or why it cannot
    /// be; `None` for a document of this version.
    #[cfg(feature = "diagnose")]
    #[cfg_attr(docsrs, doc(cfg(feature = "diagnose")))]
    #[must_use]
    pub fn migration(&self) -> Option<Result<&Migrated, &MigrateError>> {
        self.source.migration()
    }

    /// The text of a file of a location; `None` if it has no lines.
    #[must_use]
    pub fn text(&self, file: &str) -> Option<&[u8]> {
        self.source.text(file)
    }
}

#[cfg(feature = "check")]
mod checked {
    use std::collections::{HashMap, VecDeque};

    use obvert_check::{Checker, Report};
    use obvert_convert::{
        ConvertError, Format, Location, Locations, PlacedProblem, Problems, Provenance,
    };
    #[cfg(feature = "diagnose")]
    use obvert_model::read::Diagnosis;

    use super::{OpenError, Opened};

    impl Opened<'_> {
        /// Checks the survey. Every finding has its location in the source. The problems of an
        /// invalid survey are findings too, and the rules check the rest of it.
        ///
        /// # Errors
        /// If it is not in its format.
        pub fn check(&mut self, checker: &Checker) -> Result<Report, OpenError> {
            let mut report = match self.source.json() {
                Some(_) => self.check_json(checker)?,
                None => self.check_runs(checker)?,
            };
            report.name_file(&self.name);
            report.name_format(self.format.name);
            Ok(report)
        }

        /// A JSON document is checked while it is read.
        fn check_json(&mut self, checker: &Checker) -> Result<Report, OpenError> {
            let checked = match self.source.json() {
                Some(Ok(text)) => checker.check(text).ok().map(|mut report| {
                    report.locate_in(text, &self.name);
                    report
                }),
                _ => None,
            };
            let Some(report) = checked else { return self.check_runs(checker) };
            #[cfg(feature = "diagnose")]
            let report = self.before_migration(report);
            Ok(report)
        }

        /// A report with the columns of the file, if the document was migrated.
        #[cfg(feature = "diagnose")]
        fn before_migration(&self, mut report: Report) -> Report {
            if let Some(Ok(migrated)) = self.source.migration() {
                for at in report.findings.iter_mut().filter_map(|finding| finding.at.as_mut()) {
                    at.column = at.column.map(|column| migrated.column_before(at.line, column));
                }
            }
            report
        }

        /// Any other survey is checked while it is read, and its locations are kept.
        fn check_runs(&mut self, checker: &Checker) -> Result<Report, OpenError> {
            let checked = self.source.read(Locations::Kept).and_then(|mut reader| {
                let report = checker.check_reader(&mut *reader)?;
                Ok((report, reader.finish()))
            });
            match checked {
                Ok((mut report, provenance)) => {
                    let places = provenance.locations.as_ref();
                    report.locate_with(|path| places?.place(path).map(|at| self.location(at)));
                    self.provenance = Provenance {
                        locations: provenance
                            .locations
                            .filter(|_| !provenance.losses.losses.is_empty()),
                        losses: provenance.losses,
                    };
                    Ok(report)
                }
                Err(error) => match self.source.explain(error) {
                    ConvertError::Structure(problems) => {
                        Ok(self.report_problems(checker, problems))
                    }
                    error => Err(self.error(error)),
                },
            }
        }

        fn report_problems(&self, checker: &Checker, problems: Problems) -> Report {
            let (placed, rest) = problems.into_parts();
            let problems: Vec<_> = placed.iter().map(|placed| placed.problem.clone()).collect();
            // Several rows can have the same problem and no pointer that distinguishes them.
            let mut places: HashMap<(String, String), VecDeque<Location>> = HashMap::new();
            for PlacedProblem { place, problem } in placed {
                places.entry((problem.pointer, problem.message)).or_default().extend(place);
            }
            #[cfg(feature = "diagnose")]
            let (value, locations) = rest.map(|rest| (rest.value, rest.places)).unzip();
            #[cfg(not(feature = "diagnose"))]
            let locations = rest.map(|rest| rest.places);
            #[cfg(feature = "diagnose")]
            let mut report = match value {
                Some(value) => checker.check_value(Diagnosis { problems, value }),
                None => checker.report_structure(&problems),
            };
            #[cfg(not(feature = "diagnose"))]
            let mut report = checker.report_structure(&problems);
            if self.format.capabilities.tabular {
                help_for_cells(&mut report, self.format);
            }
            report.locate_missing(|finding| {
                let key = (finding.subject.path.clone(), finding.message.clone());
                let own = places.get_mut(&key).and_then(VecDeque::pop_front);
                let place = own.or_else(|| locations.as_ref()?.place(&finding.subject.path))?;
                Some(self.location(place))
            });
            report
        }
    }

    /// Help for tables, in terms of cells and columns instead of keys and texts.
    fn help_for_cells(report: &mut Report, format: &Format) {
        let by_layout = format.name == "layout";
        for finding in &mut report.findings {
            let help = match finding.rule.as_ref() {
                "missing-key" if by_layout => "Fill in the cell.",
                "missing-key" => "Fill in the cell, or add the column.",
                "text-form" | "wrong-type" | "unknown-word" if by_layout => {
                    "Correct the cell. If the table is right and all such cells are written like this, correct the layout."
                }
                "text-form" | "wrong-type" | "unknown-word" => "Correct the cell.",
                "number-range" => "Correct the number in the cell.",
                "orphan-row" => "Correct the row; until then it is not checked.",
                "unknown-key" | "duplicate-key" if by_layout => {
                    "Correct the heading in the table, or the layout."
                }
                "unknown-key" | "duplicate-key" => {
                    "Correct the name, or remove the element or column."
                }
                "duplicate-id" if by_layout => "Correct the name in one of the rows.",
                "duplicate-id" => {
                    "Give one of the rows another id, and correct the references to it."
                }
                _ => continue,
            };
            // A suggestion is more helpful.
            if !finding.help.as_ref().is_some_and(|help| help.starts_with("did you mean")) {
                finding.help = Some(help.to_owned());
            }
        }
    }
}

#[cfg(feature = "layout")]
pub use by_layout::LAYOUT;

#[cfg(feature = "layout")]
mod by_layout {
    use std::borrow::Cow;

    use obvert_convert::{
        Capabilities, Container, ConvertError, Detection, Diagnosis, Format, Locations, Source,
        SurveyReader, WholeReader,
    };
    use obvert_model::layout::Layout;
    use obvert_model::lists::CodeList;

    /// An office's own table. It is not in the registry, since it cannot be read without its
    /// layout.
    pub static LAYOUT: Format = Format {
        name: "layout",
        title: "an office's own table",
        description: "An office's own table, by its layout.",
        extensions: &["csv", "xlsx", "xml"],
        media_type: "text/csv",
        capabilities: Capabilities {
            lossless: false,
            container: Container::File { seekable: false },
            tabular: true,
            options: &[],
        },
        detect: |_| Detection::No,
        open: None,
        create: None,
    };

    /// A table read by a layout, which needs the whole table.
    pub(super) struct Table<'a> {
        bytes: Cow<'a, [u8]>,
        name: String,
        layout: &'a Layout,
        lists: &'a [CodeList],
        diagnosis: Option<Diagnosis>,
    }

    impl<'a> Table<'a> {
        pub(super) const fn new(
            bytes: Cow<'a, [u8]>,
            name: String,
            layout: &'a Layout,
            lists: &'a [CodeList],
        ) -> Self {
            Self { bytes, name, layout, lists, diagnosis: None }
        }
    }

    impl Source for Table<'_> {
        fn read(&mut self, _: Locations) -> Result<Box<dyn SurveyReader + '_>, ConvertError> {
            match obvert_layout::read(&self.bytes, &self.name, self.layout, self.lists) {
                Ok((survey, losses)) => Ok(Box::new(WholeReader::new(survey, losses))),
                Err(ConvertError::Structure(problems)) => {
                    let first = problems.first();
                    let place = first.and_then(|first| first.place.clone());
                    let message =
                        first.map(|first| first.problem.message.clone()).unwrap_or_default();
                    self.diagnosis = Some(problems.into());
                    Err(ConvertError::Invalid { place, message })
                }
                Err(error) => Err(error),
            }
        }

        fn diagnose(&mut self) -> Result<Diagnosis, ConvertError> {
            if self.diagnosis.is_none() {
                match obvert_layout::read(&self.bytes, &self.name, self.layout, self.lists) {
                    Ok((survey, _)) => return Diagnosis::valid(survey),
                    Err(ConvertError::Structure(problems)) => return Ok(problems.into()),
                    Err(error) => return Err(error),
                }
            }
            Ok(self.diagnosis.take().unwrap_or_default())
        }

        fn text(&self, _: &str) -> Option<&[u8]> {
            Some(&self.bytes)
        }
    }
}
