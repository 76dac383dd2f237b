//! The output of a conversion: standard output, a file or a folder.

use std::io::Cursor;
use std::path::Path;

use obvert::convert::{self, ConvertError, LossReport};
use obvert::model::read::RunReader;

use super::target::Target;
use crate::Failure;
use crate::args::Convert;
use crate::atomic_output::{AtomicFile, AtomicFolder};
use crate::commands::print;
use crate::formats::folder_hint;

/// An output that is being written.
pub(super) enum Output {
    /// Collected in memory, because nothing may be printed if the conversion is refused.
    Standard(Cursor<Vec<u8>>),
    File(AtomicFile),
    Folder(AtomicFolder),
}

impl Output {
    pub(super) fn begin(arguments: &Convert, target: &Target<'_>) -> Result<Self, Failure> {
        let path = &arguments.output;
        if path != Path::new("-") {
            return Self::at(path, target, arguments.replace);
        }
        match target.format.folder() {
            Some(_) => Err(format!("-o -: {}", folder_hint(target.format, true)).into()),
            None => Ok(Self::Standard(Cursor::default())),
        }
    }

    /// A file or folder.
    pub(super) fn at(path: &Path, target: &Target<'_>, replace: bool) -> Result<Self, Failure> {
        match target.format.folder() {
            Some(folder) => AtomicFolder::begin(path, &(folder.names)(), replace).map(Self::Folder),
            None => AtomicFile::begin(path, replace).map(Self::File),
        }
    }

    /// Writes a survey.
    pub(super) fn write(
        &mut self,
        survey: &mut dyn RunReader<Error = ConvertError>,
        target: &Target<'_>,
    ) -> Result<LossReport, ConvertError> {
        match self {
            Self::Standard(bytes) => target.write(survey, convert::Output::File(bytes)),
            Self::File(file) => {
                file.write(|sink| target.write(survey, convert::Output::File(sink)))
            }
            Self::Folder(folder) => target.write(survey, convert::Output::Folder(folder)),
        }
    }

    /// Completes the output.
    pub(super) fn keep(self) -> Result<(), Failure> {
        match self {
            Self::Standard(bytes) => print(bytes.get_ref()).map(drop),
            Self::File(file) => file.keep(),
            Self::Folder(folder) => folder.keep(),
        }
    }
}
