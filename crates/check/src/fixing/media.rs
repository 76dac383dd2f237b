//! Completes the rows of media files from the files: size, digest and type. The library opens no
//! files; the caller provides them.

use std::io::{self, Read, Seek, SeekFrom};
use std::sync::Arc;

use obvert_model::edit::{Edit, Fix};
use obvert_model::read::{Reader, RunReader};
use obvert_model::tables::{Head, Media, MediaState};

use super::{Candidate, MEDIA_FILE};
use crate::files::sha256_of;
use crate::subject::Subject;
use crate::support::media_types::{fits, same_type};
use crate::wholeness::{self, Wholeness};

/// The media files of a document.
pub trait MediaSource {
    /// Opens a file by its path in the document: relative, with `/` between folders.
    ///
    /// # Errors
    /// If there is no such file, or it cannot or must not be read.
    fn open(&self, file: &str) -> Result<MediaFile<'_>, MediaError>;
}

/// An open media file.
#[non_exhaustive]
pub struct MediaFile<'f> {
    /// Its size in bytes.
    pub bytes: u64,
    /// Its content.
    pub content: Box<dyn MediaContent + 'f>,
}

/// The content of a file, which is read at any place.
pub trait MediaContent: Read + Seek {}

impl<C: Read + Seek> MediaContent for C {}

impl<'f> MediaFile<'f> {
    /// A file of a size in bytes.
    #[must_use]
    pub fn new(bytes: u64, content: impl Read + Seek + 'f) -> Self {
        Self { bytes, content: Box::new(content) }
    }
}

/// Why a file was not opened.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum MediaError {
    /// There is no such file.
    Missing,
    /// The file was not opened, for this reason.
    Refused(String),
}

/// What reading the media files of a document showed.
#[derive(Default)]
pub(super) struct Inspection {
    pub(super) candidates: Vec<Candidate>,
    /// Files that contradict their row, with the reason. A person has to look at them.
    pub(super) mismatches: Vec<(Candidate, String)>,
    /// Files that were not found.
    pub(super) missing: Vec<String>,
}

/// Reads the media files of a document. `confirmed` tells whether a file that was cut off is to be
/// recorded as truncated.
pub(super) fn inspect(text: &str, source: &dyn MediaSource, confirmed: bool) -> Inspection {
    let mut inspection = Inspection::default();
    let Some(head) = valid_head(text) else { return inspection };
    for (index, media) in
        head.media.iter().enumerate().filter(|(_, media)| media.state != Some(MediaState::Lost))
    {
        let candidate = |field: &str, fix: Fix| Candidate {
            rule: MEDIA_FILE.to_owned(),
            subject: Subject {
                record: Some(media.id.to_string()),
                run: media.run.as_ref().map(ToString::to_string),
                distance: media.at.map(|at| at.get()),
                ..Subject::at(format!("/media/{index}{field}"))
            },
            ..Candidate::of(fix)
        };
        match edits(media, index, source) {
            Ok(Completion { damage: Some(damage), edits, .. }) => {
                let fix = truncated(media, index, damage.cut, edits);
                if let Some(fix) = fix.clone().filter(|_| confirmed) {
                    inspection.candidates.push(candidate("", fix));
                    continue;
                }
                let mut why = format!("{:?} is damaged: {}", media.file.as_str(), damage.how);
                why += "; look for another copy";
                why +=
                    if fix.is_some() { ", or record it as truncated with --confirm" } else { "" };
                let fix = Fix::safe("completes the row from the file", Vec::new());
                inspection.mismatches.push((candidate("/file", fix), why));
            }
            Ok(Completion { edits, .. }) if edits.is_empty() => {}
            Ok(Completion { edits, unsure, .. }) => {
                let mut does = describe(&edits);
                if let Some(why) = unsure {
                    does += &format!("; the file may be incomplete: {why}");
                }
                inspection.candidates.push(candidate("", Fix::safe(does, edits)));
            }
            Err(Mismatch::Missing) => inspection.missing.push(media.file.to_string()),
            Err(Mismatch::Contradiction { field, why }) => {
                let fix = Fix::safe("completes the row from the file", Vec::new());
                inspection.mismatches.push((candidate(field, fix), why));
            }
        }
    }
    inspection
}

/// The head of a document, if all of the document is valid.
fn valid_head(text: &str) -> Option<Arc<Head>> {
    let mut reader = Reader::new(text.as_bytes()).ok()?;
    while reader.next_run().ok()?.is_some() {}
    Some(reader.share_head())
}

/// Why a row cannot be completed.
enum Mismatch {
    /// The file was not found.
    Missing,
    /// The file contradicts a field of the row, or could not be read.
    Contradiction { field: &'static str, why: String },
}

/// What completes a row.
struct Completion {
    edits: Vec<Edit>,
    /// Why the file may be incomplete; `None` if it is, or if the row states that it
    /// is truncated.
    unsure: Option<String>,
    /// Why its size and digest are not those of the recording, unless the row states that it is
    /// truncated.
    damage: Option<Damage>,
}

struct Damage {
    how: String,
    cut: bool,
}

/// The fix that records a file that was cut off as truncated, with what else its row lacks.
fn truncated(media: &Media, index: usize, cut: bool, mut edits: Vec<Edit>) -> Option<Fix> {
    let place = format!("/media/{index}/state");
    let edit = match media.state {
        Some(MediaState::Complete) => Edit::replace(place, MediaState::Truncated.as_str()),
        None => Edit::add(place, MediaState::Truncated.as_str()),
        Some(_) => return None,
    };
    edits.push(edit);
    cut.then(|| Fix::to_confirm("no other copy is left, and the file is truncated", edits))
}

/// The edits that complete a row from its file.
fn edits(media: &Media, index: usize, source: &dyn MediaSource) -> Result<Completion, Mismatch> {
    let mismatch = |field, why: String| Mismatch::Contradiction { field, why };
    let name = media.file.as_str();
    let MediaFile { bytes, mut content } = source.open(name).map_err(|error| match error {
        MediaError::Missing => Mismatch::Missing,
        MediaError::Refused(why) => mismatch("/file", format!("{name:?} was not read: {why}")),
    })?;
    if bytes == 0 {
        return Err(mismatch("/file", format!("the file {name:?} is empty")));
    }
    if let Some(stated) = media.bytes.filter(|stated| stated.get() != bytes) {
        let why = format!(
            "{name:?} has {bytes} bytes, not {stated}: it was changed or truncated, or it is another file"
        );
        return Err(mismatch("/bytes", why));
    }
    let unreadable =
        |error: io::Error| mismatch("/file", format!("{name:?} was not read: {error}"));
    let facts = wholeness::describe(&mut content).map_err(unreadable)?;
    let place = |field: &str| format!("/media/{index}/{field}");
    let mut edits = Vec::new();
    if let Some(detected) = facts.media_type {
        edits.extend(type_edit(media, place("type"), detected)?);
    }
    let (unsure, damage) = match facts.whole {
        _ if media.state == Some(MediaState::Truncated) => (None, None),
        Wholeness::Whole => (None, None),
        Wholeness::Damaged { how, cut } => (None, Some(Damage { how, cut })),
        Wholeness::CannotTell { why } => (Some(why), None),
    };
    // A digest needs the whole file, so it is computed only if a size or a digest will be written.
    if media.sha256.is_none() || media.bytes.is_none() {
        content.seek(SeekFrom::Start(0)).map_err(unreadable)?;
        let digest = sha256_of(content).map_err(unreadable)?;
        if let Some(stated) = media.sha256.as_ref().filter(|stated| stated.as_str() != digest) {
            let why = format!(
                "the digest of {name:?} is {digest}, not {stated}: it was changed, or it is another \
                 file"
            );
            return Err(mismatch("/sha256", why));
        }
        if media.bytes.is_none() {
            edits.push(Edit::add(place("bytes"), bytes));
        }
        if media.sha256.is_none() {
            edits.push(Edit::add(place("sha256"), digest));
        }
    }
    Ok(Completion { edits, unsure, damage })
}

/// The edit that states the type that a file's first bytes show, if the row states none or another.
fn type_edit(media: &Media, place: String, detected: &str) -> Result<Option<Edit>, Mismatch> {
    let detected = match detected {
        // MP4 files with and without pictures begin with the same bytes.
        "video/mp4" if fits(media.kind, "audio/mp4") && !fits(media.kind, detected) => "audio/mp4",
        detected => detected,
    };
    if !fits(media.kind, detected) {
        let why = format!(
            "{:?} is {detected}, which a {} cannot be; check that it is the right file",
            media.file.as_str(),
            media.kind
        );
        return Err(Mismatch::Contradiction { field: "/file", why });
    }
    Ok(match &media.media_type {
        None => Some(Edit::add(place, detected)),
        Some(stated) if !same_type(stated.as_str(), detected) => {
            Some(Edit::replace(place, detected))
        }
        Some(_) => None,
    })
}

/// The edits in words.
fn describe(edits: &[Edit]) -> String {
    let parts: Vec<String> = edits
        .iter()
        .map(|edit| match edit {
            Edit::Replace { value, .. } => {
                format!("corrects its type to {}", value.as_str().unwrap_or_default())
            }
            Edit::Add { path, value } if path.ends_with("/type") => {
                format!("adds its type, {}", value.as_str().unwrap_or_default())
            }
            Edit::Add { path, value } if path.ends_with("/bytes") => {
                format!("adds its size, {value} bytes")
            }
            _ => "adds its digest".to_owned(),
        })
        .collect();
    parts.join("; ")
}
