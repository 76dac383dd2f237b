//! The registry of formats: the only place that lists them all.

use super::{Detection, Format, Input, Sample};
use crate::ConvertError;
use crate::source::Source;

/// Every format that this crate was built with, in the order in which they are listed. To add one,
/// add a module and a line here.
const BUILT_IN: &[&Format] = &[
    &crate::json::FORMAT,
    #[cfg(feature = "xml")]
    &crate::xml::FORMAT,
    #[cfg(feature = "csv")]
    &crate::csv::FORMAT,
    #[cfg(feature = "csv")]
    &crate::csv::ZIP_FORMAT,
    #[cfg(feature = "geojson")]
    &crate::geojson::FORMAT,
    #[cfg(feature = "xlsx")]
    &crate::xlsx::FORMAT,
    #[cfg(all(feature = "geopackage", not(target_arch = "wasm32")))]
    &crate::geopackage::FORMAT,
    #[cfg(feature = "kml")]
    &crate::kml::FORMAT,
    #[cfg(feature = "geoparquet")]
    &crate::geoparquet::FORMAT,
];

/// Some formats, by name.
///
/// ```
/// use obvert_convert::{Formats, Input};
///
/// let formats = Formats::built_in();
/// let input = Input::file("survey.json", br#"{"obvert": "0.2"}"#);
/// assert_eq!(formats.detect(&input, None)?.name, "json");
/// # Ok::<(), obvert_convert::FormatError>(())
/// ```
#[derive(Clone, Debug)]
pub struct Formats {
    all: Vec<&'static Format>,
}

/// Why the format of a file or folder cannot be determined, or is not read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum FormatError {
    /// The source is empty.
    #[error("the source is empty")]
    Empty,
    /// No format is recognised.
    #[error("cannot tell which format this is")]
    Unknown,
    /// It is a file of a program that does not store surveys as data.
    #[error("{0}")]
    NoData(&'static str),
    /// It is in another format than the given one.
    #[error("looks like {detected}, not like {stated}")]
    Contradicted {
        /// The format that was given.
        stated: &'static Format,
        /// The format that it looks like.
        detected: &'static Format,
    },
    /// The format is write-only.
    #[error("{}", super::WRITE_ONLY)]
    WriteOnly(&'static Format),
    /// It is one of the files of a folder.
    #[error("one {} is not a survey; name the folder with all of them{}", .0.folder().map_or("file", |folder| folder.file),
        if .0.folder().is_some_and(|folder| folder.packed.is_some()) { ", or their zip" } else { "" })]
    OneFile(&'static Format),
    /// It is a folder, and the given format is one file.
    #[error("this is a folder, and {0} is one file")]
    NoFolder(&'static Format),
    /// The folder has no file that a format reads.
    #[error("there is no {0} in this folder")]
    NoFile(String),
}

impl Formats {
    /// The formats of this crate.
    #[must_use]
    pub fn built_in() -> Self {
        Self { all: BUILT_IN.to_vec() }
    }

    /// These formats and another one, which replaces a format with the same name.
    #[must_use]
    pub fn with(mut self, format: &'static Format) -> Self {
        self.all.retain(|other| other != &format);
        self.all.push(format);
        self
    }

    /// The format with a name.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&'static Format> {
        self.iter().find(|format| format.name == name)
    }

    /// The formats, in the order in which they are listed.
    pub fn iter(&self) -> impl Iterator<Item = &'static Format> + '_ {
        self.all.iter().copied()
    }

    /// The format of a file, by its name. If several formats have its extension, the first.
    #[must_use]
    pub fn by_name(&self, name: &str) -> Option<&'static Format> {
        self.iter().find(|format| format.is_named(name))
    }

    /// The format that is recognised by content alone.
    ///
    /// # Errors
    /// When no format is recognised.
    pub fn by_content(&self, sample: &Sample<'_>) -> Result<&'static Format, FormatError> {
        let mut best: Option<(Detection, &'static Format)> = None;
        for format in self.iter() {
            let detection = (format.detect)(sample);
            if detection > best.map_or(Detection::No, |(most, _)| most) {
                best = Some((detection, format));
            }
        }
        best.map(|(_, format)| format).ok_or_else(|| unrecognised(sample))
    }

    /// The format of a file or folder: the given one, or the one that its name and content
    /// determine.
    ///
    /// # Errors
    /// When the format cannot be determined, is not the given one, or is not read.
    pub fn detect(
        &self,
        input: &Input<'_>,
        stated: Option<&'static Format>,
    ) -> Result<&'static Format, FormatError> {
        if input.is_folder() {
            return self.detect_folder(&input.names(), stated);
        }
        let format = self.of_file(input, stated)?;
        if format.is_read() { Ok(format) } else { Err(FormatError::WriteOnly(format)) }
    }

    /// The format of a folder, by the names of its files.
    ///
    /// # Errors
    /// As [`detect`](Self::detect).
    pub fn detect_folder(
        &self,
        names: &[&str],
        stated: Option<&'static Format>,
    ) -> Result<&'static Format, FormatError> {
        let format = self.of_folder(names, stated)?;
        if format.is_read() { Ok(format) } else { Err(FormatError::WriteOnly(format)) }
    }

    fn of_file(
        &self,
        input: &Input<'_>,
        stated: Option<&'static Format>,
    ) -> Result<&'static Format, FormatError> {
        let detected = self.by_content(&Sample::File(input.bytes()));
        if let (Some(stated), Ok(detected)) = (stated, &detected) {
            let packed = stated.folder().and_then(|folder| folder.packed) == Some(detected.name);
            if stated != *detected && !packed {
                return Err(FormatError::Contradicted { stated, detected });
            }
        }
        let Some(format) = stated.or_else(|| self.by_name(input.name())) else { return detected };
        // An extension that several formats share does not decide.
        if stated.is_none()
            && self.iter().filter(|format| format.is_named(input.name())).count() > 1
        {
            return Ok(detected.unwrap_or(format));
        }
        match format.folder() {
            Some(folder) if format.is_read() => match detected {
                Ok(detected) if folder.packed == Some(detected.name) => Ok(detected),
                _ => Err(FormatError::OneFile(format)),
            },
            _ => Ok(format),
        }
    }

    fn of_folder(
        &self,
        names: &[&str],
        stated: Option<&'static Format>,
    ) -> Result<&'static Format, FormatError> {
        if let Some(stated) = stated.filter(|stated| stated.folder().is_none()) {
            return Err(FormatError::NoFolder(stated));
        }
        let detected = self.by_content(&Sample::Folder(names));
        match (stated, detected) {
            (Some(stated), Ok(detected)) if stated != detected => {
                Err(FormatError::Contradicted { stated, detected })
            }
            (_, Ok(detected)) => Ok(detected),
            (_, Err(_)) => {
                let read = self.iter().filter(|format| format.is_read());
                let files: Vec<&str> =
                    read.filter_map(|format| Some(format.folder()?.file)).collect();
                Err(FormatError::NoFile(files.join(" or ")))
            }
        }
    }

    /// Opens a file or folder in the given format, or in the format that its name and content
    /// determine.
    ///
    /// # Errors
    /// When the format cannot be determined or is not read, or the source is not in it.
    pub fn open<'a>(
        &self,
        input: Input<'a>,
        stated: Option<&'static Format>,
    ) -> Result<Box<dyn Source + 'a>, ConvertError> {
        let format = self.detect(&input, stated).map_err(|error| ConvertError::Refused {
            message: format!("{}: {error}", input.name()),
        })?;
        format.source(input)
    }
}

/// Why no format is recognised, with advice for files of programs that do not store surveys as
/// data.
fn unrecognised(sample: &Sample<'_>) -> FormatError {
    match sample.start() {
        [] => FormatError::Empty,
        // The compound file format of older office programs.
        [0xD0, 0xCF, 0x11, 0xE0, ..] => {
            FormatError::NoData("is an old workbook or office document; save it as .xlsx or as CSV")
        }
        start if start.starts_with(b"%PDF") => {
            FormatError::NoData("is a PDF, which has no data to read; ask for the survey as data")
        }
        _ => FormatError::Unknown,
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn names_are_unique_and_plain() {
        let formats = Formats::built_in();
        let names: BTreeSet<&str> = formats.iter().map(|format| format.name).collect();
        assert_eq!(names.len(), formats.iter().count());
        for format in formats.iter() {
            let plain = format.name.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'-');
            assert!(
                plain && format.description.ends_with('.') && !format.extensions.is_empty(),
                "{format}"
            );
            assert!(format.is_read() || format.is_written(), "{format}");
            if let Some(packed) = format.folder().and_then(|folder| folder.packed) {
                assert!(formats.get(packed).is_some(), "{packed}");
            }
        }
    }

    #[test]
    fn what_holds_no_data_is_named() {
        let formats = Formats::built_in();
        let said =
            |bytes: &[u8]| formats.detect(&Input::file("x", bytes), None).unwrap_err().to_string();
        assert_eq!(said(b""), "the source is empty");
        assert!(said(b"%PDF-1.7").starts_with("is a PDF"));
        assert!(said(b"\xD0\xCF\x11\xE0\xA1").starts_with("is an old workbook"));
        assert_eq!(said(b"hello"), "cannot tell which format this is");
    }
}
