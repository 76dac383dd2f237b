//! The media files in the folder of a survey, lent to the library, which opens none itself. A path
//! in a survey comes from outside, so it leads nowhere but into the survey's own folder.

use std::fs::{self, File};
use std::io;
use std::path::{Component, Path, PathBuf};

use obvert::check::fixing::{MediaError, MediaFile, MediaSource};

/// The files in the folder of a survey.
pub(crate) struct MediaFolder {
    folder: PathBuf,
}

impl MediaFolder {
    /// The folder of a survey's file; `None` where it cannot be told.
    pub(crate) fn of(survey: &Path) -> Option<Self> {
        let folder = survey.canonicalize().ok()?.parent()?.to_owned();
        Some(Self { folder })
    }
}

impl MediaSource for MediaFolder {
    fn open(&self, file: &str) -> Result<MediaFile<'_>, MediaError> {
        let refused = |why: &str| MediaError::Refused(why.to_owned());
        let relative = Path::new(file);
        if file.contains('\\')
            || relative.components().any(|part| !matches!(part, Component::Normal(_)))
        {
            return Err(refused("its path is not one beside the survey"));
        }
        let fail = |error: io::Error| match error.kind() {
            io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => MediaError::Missing,
            _ => MediaError::Refused(error.to_string()),
        };
        // A link may lead anywhere; what counts is where it arrives.
        let place = self.folder.join(relative).canonicalize().map_err(fail)?;
        if !place.starts_with(&self.folder) {
            return Err(refused("it lies outside the survey's folder"));
        }
        let about = fs::metadata(&place).map_err(fail)?;
        if !about.is_file() {
            return Err(refused("it is no file"));
        }
        let content = File::open(&place).map_err(fail)?;
        Ok(MediaFile::new(about.len(), content))
    }
}
