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

#[cfg(feature = "layout")]
mod by_layout;
#[cfg(feature = "check")]
mod checked;

#[cfg(feature = "layout")]
pub use by_layout::LAYOUT;

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

    /// Where in the survey it is, if that is known.
    #[must_use]
    pub fn place(&self) -> Option<&Location> {
        match &*self.kind {
            OpenErrorKind::Format(_) => None,
            OpenErrorKind::Read(error) => error.place(),
        }
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
