//! What a media file shows: its size, its digest, its type. The library opens no files; the caller
//! provides them.

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

/// A file that can be read.
pub struct MediaFile<'f> {
    /// Its size.
    pub bytes: u64,
    /// What is in it.
    pub content: Box<dyn Read + 'f>,
}

/// Why a file was not opened.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum MediaError {
    /// There is no such file.
    Missing,
    /// There may be such a file, but it was not read, for this reason.
    Refused(String),
}

/// What was found out about the media files of a document.
#[derive(Default)]
pub(super) struct Learned {
    pub(super) candidates: Vec<Candidate>,
    /// Contradictions that cannot be fixed without looking at the file.
    pub(super) left: Vec<(Candidate, String)>,
    /// Files that were not found.
    pub(super) missing: Vec<String>,
}

/// Reads the media files of a document.
pub(super) fn look(text: &str, source: &dyn MediaSource) -> Learned {
    let mut learned = Learned::default();
    let Some(head) = valid_head(text) else { return learned };
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
        match facts(media, index, source) {
            Ok(edits) if edits.is_empty() => {}
            Ok(edits) => learned.candidates.push(candidate("", Fix::safe(says(&edits), edits))),
            Err(Doubt::Missing) => learned.missing.push(media.file.to_string()),
            Err(Doubt::Look { field, why }) => {
                let fix = Fix::safe("nothing is stated of the file", Vec::new());
                learned.left.push((candidate(field, fix), why));
            }
        }
    }
    learned
}

/// The head of a document, if the whole of it can be read.
fn valid_head(text: &str) -> Option<Arc<Head>> {
    let mut reader = Reader::new(text.as_bytes()).ok()?;
    while reader.next_run().ok()?.is_some() {}
    Some(reader.share_head())
}

enum Doubt {
    Missing,
    Look { field: &'static str, why: String },
}

/// The edits that add to a row what its file shows.
fn facts(media: &Media, index: usize, source: &dyn MediaSource) -> Result<Vec<Edit>, Doubt> {
    let doubt = |field, why: String| Doubt::Look { field, why };
    let name = media.file.as_str();
    let MediaFile { bytes, content } = source.open(name).map_err(|error| match error {
        MediaError::Missing => Doubt::Missing,
        MediaError::Refused(why) => doubt("/file", format!("{name:?} was not read: {why}")),
    })?;
    if bytes == 0 {
        return Err(doubt("/file", format!("the file {name:?} is empty")));
    }
    if let Some(stated) = media.bytes.filter(|stated| stated.get() != bytes) {
        let why = format!(
            "{name:?} has {bytes} bytes, not {stated}: it was changed, cut off, or is another file"
        );
        return Err(doubt("/bytes", why));
    }
    // A digest needs the whole file, so it is computed only if one will be written.
    let whole = media.sha256.is_none() || media.bytes.is_none();
    let (head, digest) = read(content, whole)
        .map_err(|error| doubt("/file", format!("{name:?} was not read: {error}")))?;
    if let (Some(stated), Some(digest)) = (&media.sha256, &digest) {
        if stated.as_str() != digest {
            let why =
                format!("the digest of {name:?} is {digest}: it was changed, or is another file");
            return Err(doubt("/sha256", why));
        }
    }
    let mut edits = Vec::new();
    let place = |field: &str| format!("/media/{index}/{field}");
    if let Some(told) = type_of(&head) {
        let told = match told {
            // The same bytes begin recordings with and without pictures.
            "video/mp4" if fits(media.kind, "audio/mp4") && !fits(media.kind, told) => "audio/mp4",
            told => told,
        };
        let stated = media.media_type.as_ref().map(|stated| stated.as_str());
        if !fits(media.kind, told) {
            return Err(doubt(
                "/file",
                format!(
                    "{name:?} is {told}, which a {} cannot be; check whether it is the right file",
                    media.kind
                ),
            ));
        }
        match stated {
            None => edits.push(Edit::add(place("type"), told)),
            Some(stated) if !same_type(stated, told) => {
                edits.push(Edit::replace(place("type"), told))
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

fn says(edits: &[Edit]) -> String {
    let what: Vec<String> = edits
        .iter()
        .map(|edit| match edit {
            Edit::Replace { value, .. } => {
                format!("states the type that the file has, {}", value.as_str().unwrap_or_default())
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
    what.join("; ")
}
