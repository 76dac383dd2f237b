//! Completes the rows of media files from the files: size, digest and type. The library opens no
//! files; the caller provides them.

use std::io::{self, Read};
use std::sync::Arc;

use obvert_model::edit::{Edit, Fix};
use obvert_model::read::{Reader, RunReader};
use obvert_model::tables::{Head, Media, MediaState};
use sha2::{Digest as _, Sha256};

use super::{Candidate, MEDIA_FILE};
use crate::subject::Subject;
use crate::support::media_types::{HEAD, fits, same_type, type_of};

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
    pub content: Box<dyn Read + 'f>,
}

impl<'f> MediaFile<'f> {
    /// A file of a size in bytes.
    #[must_use]
    pub fn new(bytes: u64, content: impl Read + 'f) -> Self {
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

/// Reads the media files of a document.
pub(super) fn inspect(text: &str, source: &dyn MediaSource) -> Inspection {
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
            Ok(edits) if edits.is_empty() => {}
            Ok(edits) => {
                inspection.candidates.push(candidate("", Fix::safe(describe(&edits), edits)))
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

/// The edits that complete a row from its file.
fn edits(media: &Media, index: usize, source: &dyn MediaSource) -> Result<Vec<Edit>, Mismatch> {
    let mismatch = |field, why: String| Mismatch::Contradiction { field, why };
    let name = media.file.as_str();
    let MediaFile { bytes, content } = source.open(name).map_err(|error| match error {
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
    // A digest needs the whole file, so it is computed only if one will be written.
    let whole = media.sha256.is_none() || media.bytes.is_none();
    let (head, digest) = read(content, whole)
        .map_err(|error| mismatch("/file", format!("{name:?} was not read: {error}")))?;
    if let (Some(stated), Some(digest)) = (&media.sha256, &digest) {
        if stated.as_str() != digest {
            let why = format!(
                "the digest of {name:?} is {digest}: it was changed, or it is another file"
            );
            return Err(mismatch("/sha256", why));
        }
    }
    let mut edits = Vec::new();
    let place = |field: &str| format!("/media/{index}/{field}");
    if let Some(detected) = type_of(&head) {
        let detected = match detected {
            // MP4 files with and without pictures begin with the same bytes.
            "video/mp4" if fits(media.kind, "audio/mp4") && !fits(media.kind, detected) => {
                "audio/mp4"
            }
            detected => detected,
        };
        let stated = media.media_type.as_ref().map(|stated| stated.as_str());
        if !fits(media.kind, detected) {
            return Err(mismatch(
                "/file",
                format!(
                    "{name:?} is {detected}, which a {} cannot be; check that it is the right file",
                    media.kind
                ),
            ));
        }
        match stated {
            None => edits.push(Edit::add(place("type"), detected)),
            Some(stated) if !same_type(stated, detected) => {
                edits.push(Edit::replace(place("type"), detected))
            }
            Some(_) => {}
        }
    }
    if media.bytes.is_none() {
        edits.push(Edit::add(place("bytes"), bytes));
    }
    if let (None, Some(digest)) = (&media.sha256, digest) {
        edits.push(Edit::add(place("sha256"), digest));
    }
    Ok(edits)
}

/// The first bytes of a file and, if `whole`, its SHA-256.
fn read(mut content: Box<dyn Read + '_>, whole: bool) -> io::Result<(Vec<u8>, Option<String>)> {
    let mut head = Vec::new();
    content.by_ref().take(HEAD as u64).read_to_end(&mut head)?;
    if !whole {
        return Ok((head, None));
    }
    let mut hasher = Sha256::new();
    hasher.update(&head);
    let mut buffer = vec![0; 1 << 16];
    loop {
        match content.read(&mut buffer)? {
            0 => break,
            read => hasher.update(&buffer[..read]),
        }
    }
    let digest = hasher.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
    Ok((head, Some(digest)))
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
