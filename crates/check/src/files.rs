//! The files of a delivery: what was found in the folder of a survey, for the rules that compare it
//! with the rows of `media`. The checker opens no files; the caller looks at them.
//!
//! ```
//! use obvert_check::files::{FoundFile, Files};
//! use obvert_check::wholeness::Wholeness;
//! use obvert_check::{Checker, MINIMAL, Settings};
//!
//! let photo = FoundFile::new(48_211, Wholeness::Whole).with_media_type("image/jpeg");
//! let files = Files::new().with_file("photos/lm014_001.jpg", photo);
//! let checker = Checker::new(Settings::default())?.with_files(files);
//! let report = checker.check(MINIMAL.as_bytes())?;
//! let missing = report.findings.iter().filter(|finding| finding.rule == "file-missing");
//! assert_eq!(missing.count(), 2);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use std::collections::BTreeMap;
use std::fmt;
use std::io::{self, Read};
use std::sync::Arc;

use obvert_model::tables::{Head, Media, MediaState};
use rustc_hash::FxHashMap;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use crate::support::media_types;
use crate::wholeness::Wholeness;

/// What was found out about a file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[non_exhaustive]
pub struct FoundFile {
    /// Its size.
    pub bytes: u64,
    /// Whether it is whole.
    pub wholeness: Wholeness,
    /// The SHA-256 of its content, in lower-case hexadecimal.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sha256: Option<String>,
    /// Its media type by its content.
    #[serde(rename = "type", skip_serializing_if = "Option::is_none", default)]
    pub media_type: Option<String>,
    /// The width and height of a picture in pixels, as stored.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pixels: Option<[u32; 2]>,
    /// The duration of a recording in seconds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub duration: Option<f64>,
    /// The frames per second of a recording.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub frame_rate: Option<f64>,
    /// How far a viewer turns the picture to show it, clockwise in degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub turned: Option<u16>,
    /// When the picture was taken by the clock of the camera, without an offset from UTC:
    /// `2026-05-06T09:33:20`.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub captured: Option<String>,
    /// Whether the picture is black all over.
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    pub black: bool,
    /// Why it could not be read, if so. Nothing else is known of it then.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub unreadable: Option<String>,
}

impl FoundFile {
    /// A file of a size in bytes.
    #[must_use]
    pub const fn new(bytes: u64, wholeness: Wholeness) -> Self {
        Self {
            bytes,
            wholeness,
            sha256: None,
            media_type: None,
            pixels: None,
            duration: None,
            frame_rate: None,
            turned: None,
            captured: None,
            black: false,
            unreadable: None,
        }
    }

    /// A file that could not be read, with the reason.
    #[must_use]
    pub fn unreadable(why: impl Into<String>) -> Self {
        let why = why.into();
        let wholeness = Wholeness::CannotTell { why: why.clone() };
        Self { unreadable: Some(why), ..Self::new(0, wholeness) }
    }

    /// Sets the media type by its content.
    #[must_use]
    pub fn with_media_type(self, media_type: impl Into<String>) -> Self {
        Self { media_type: Some(media_type.into()), ..self }
    }

    /// Sets the SHA-256 of its content.
    #[must_use]
    pub fn with_sha256(self, sha256: impl Into<String>) -> Self {
        Self { sha256: Some(sha256.into()), ..self }
    }
}

/// The files that were found in a folder, by their path from it with `/` between folders.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Files {
    found: BTreeMap<String, FoundFile>,
}

impl Files {
    /// No files.
    #[must_use]
    pub const fn new() -> Self {
        Self { found: BTreeMap::new() }
    }

    /// Adds a file.
    #[must_use]
    pub fn with_file(mut self, path: impl Into<String>, file: FoundFile) -> Self {
        self.add(path, file);
        self
    }

    /// Adds a file.
    pub fn add(&mut self, path: impl Into<String>, file: FoundFile) {
        self.found.insert(path.into(), file);
    }

    /// The file of a path.
    #[must_use]
    pub fn get(&self, path: &str) -> Option<&FoundFile> {
        self.found.get(path)
    }

    /// The files in the order of their paths.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &FoundFile)> {
        self.found.iter().map(|(path, file)| (path.as_str(), file))
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.found.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.found.is_empty()
    }
}

/// Looks at the files of a survey when its head has been read.
pub trait FileAudit: Send + Sync {
    /// The files in the survey's folder. An error is why they were not opened.
    ///
    /// # Errors
    /// If they were not opened.
    fn audit(&self, head: &Head) -> Result<Files, String>;
}

/// The same files for every survey.
impl FileAudit for Files {
    fn audit(&self, _: &Head) -> Result<Files, String> {
        Ok(self.clone())
    }
}

/// The audit of a checker.
#[derive(Clone)]
pub(crate) struct Audit(pub(crate) Arc<dyn FileAudit>);

impl fmt::Debug for Audit {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("Audit")
    }
}

/// The files of a survey, with the rows that name them.
#[derive(Debug)]
pub(crate) struct SurveyFiles {
    files: Files,
    /// The path of each file by its path in lower case; `None` if two differ only in case.
    folded: FxHashMap<String, Option<String>>,
}

/// The file of a row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum FileOf<'f> {
    /// It is there.
    Found(&'f FoundFile),
    /// It is there under a name in other case.
    OtherCase(&'f str, &'f FoundFile),
    /// It is not there.
    Missing,
}

impl<'f> FileOf<'f> {
    /// The file, if it is there and could be read.
    pub(crate) fn readable(self) -> Option<&'f FoundFile> {
        match self {
            Self::Found(file) | Self::OtherCase(_, file) => {
                Some(file).filter(|file| file.unreadable.is_none())
            }
            Self::Missing => None,
        }
    }
}

impl SurveyFiles {
    pub(crate) fn new(files: Files) -> Self {
        let mut folded: FxHashMap<String, Option<String>> = FxHashMap::default();
        for path in files.found.keys() {
            let several = folded.contains_key(&path.to_lowercase());
            folded.insert(path.to_lowercase(), (!several).then(|| path.clone()));
        }
        Self { files, folded }
    }

    /// The file of a row of `media`.
    pub(crate) fn of(&self, media: &Media) -> FileOf<'_> {
        let path = path_of(media);
        if let Some(file) = self.files.get(&path) {
            return FileOf::Found(file);
        }
        let other = self.folded.get(&path.to_lowercase()).and_then(Option::as_deref);
        match other.and_then(|name| self.files.found.get_key_value(name)) {
            Some((name, file)) => FileOf::OtherCase(name, file),
            None => FileOf::Missing,
        }
    }

    /// The files that no row names, in the order of their paths.
    pub(crate) fn unnamed<'f>(&'f self, media: &[Media]) -> Vec<(&'f str, &'f FoundFile)> {
        let named: std::collections::HashSet<String> =
            media.iter().map(|media| path_of(media).to_lowercase()).collect();
        let of_no_row = |path: &&str| !named.contains(&path.to_lowercase());
        self.files.iter().filter(|(path, _)| of_no_row(path)).collect()
    }

    /// How many files of the rows were found, and how many of the rows that are not `lost` name
    /// one that was not.
    pub(crate) fn count(&self, media: &[Media]) -> (usize, usize) {
        let (mut found, mut missing) = (0, 0);
        for media in media {
            match self.of(media) {
                FileOf::Missing if media.state == Some(MediaState::Lost) => {}
                FileOf::Missing => missing += 1,
                _ => found += 1,
            }
        }
        (found, missing)
    }
}

/// The path of a row's file as [`Files`] has it: without `./` and empty parts.
#[must_use]
pub fn path_of(media: &Media) -> String {
    let parts = media.file.split('/').filter(|part| !part.is_empty() && *part != ".");
    parts.collect::<Vec<_>>().join("/")
}

/// Whether a path has the extension of a media file.
#[must_use]
pub fn has_media_name(path: &str) -> bool {
    media_types::has_media_name(path)
}

/// The SHA-256 of a file from where it is positioned, in lower-case hexadecimal.
///
/// # Errors
/// If it cannot be read.
pub fn sha256_of(mut content: impl Read) -> io::Result<String> {
    let mut hasher = Sha256::new();
    let mut part = vec![0; PART];
    loop {
        match content.read(&mut part)? {
            0 => break,
            read => hasher.update(&part[..read]),
        }
    }
    Ok(hasher.finalize().iter().map(|byte| format!("{byte:02x}")).collect())
}

/// How much is read at once.
const PART: usize = 1 << 18;
