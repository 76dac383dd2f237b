//! Opens the media files next to a survey for the library, which opens no files itself. A path in a
//! survey is untrusted input, so only files inside the survey's folder are opened.

use std::fs::{self, File};
use std::io;
use std::path::{Component, Path, PathBuf};

use obvert::check::fixing::{MediaError, MediaFile, MediaSource};

/// The files in the folder of a survey.
pub(crate) struct MediaFolder {
    folder: PathBuf,
}

impl MediaFolder {
    /// The folder of a survey's file; `None` if it is unknown, as for standard input.
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
            return Err(refused("its path leaves the survey's folder"));
        }
        let fail = |error: io::Error| match error.kind() {
            io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => MediaError::Missing,
            _ => MediaError::Refused(error.to_string()),
        };
        // A link may point anywhere, so its target is compared.
        let target = self.folder.join(relative).canonicalize().map_err(fail)?;
        if !target.starts_with(&self.folder) {
            return Err(refused("it is outside the survey's folder"));
        }
        let about = fs::metadata(&target).map_err(fail)?;
        if !about.is_file() {
            return Err(refused("it is not a file"));
        }
        let content = File::open(&target).map_err(fail)?;
        Ok(MediaFile::new(about.len(), content))
    }
}
