//! Looks at the media files in the folder of a survey: which are there, whether they are whole, and
//! what they are by their content.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::{available_parallelism, scope};

use obvert_check::files::{FileAudit, Files, FoundFile, has_media_name, path_of, sha256_of};
use obvert_check::wholeness::{Wholeness, describe};
use obvert_model::tables::{Head, Media};

use crate::black::is_black;
use crate::listing::{Listed, list};
use crate::log::{AuditLog, Stamp};

/// A callback with the number of files that were examined, and of all of them.
pub type Progress = dyn Fn(usize, usize) + Send + Sync;

/// Looks at the files in a folder. Give it to [`Checker::with_files`].
///
/// [`Checker::with_files`]: obvert_check::Checker::with_files
pub struct FolderAudit {
    folder: PathBuf,
    required: bool,
    others: bool,
    threads: usize,
    log: Arc<AuditLog>,
    progress: Option<Box<Progress>>,
}

impl fmt::Debug for FolderAudit {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.debug_struct("FolderAudit")
            .field("folder", &self.folder)
            .field("required", &self.required)
            .field("others", &self.others)
            .field("threads", &self.threads)
            .finish_non_exhaustive()
    }
}

impl FolderAudit {
    /// An audit of a folder. If it has none of the survey's files, none counts as missing: the
    /// survey was probably moved without them.
    #[must_use]
    pub fn new(folder: impl Into<PathBuf>) -> Self {
        Self {
            folder: folder.into(),
            required: false,
            others: true,
            threads: available_parallelism().map_or(1, usize::from),
            log: Arc::default(),
            progress: None,
        }
    }

    /// Makes the files missing if the folder has none of them.
    #[must_use]
    pub fn required(self) -> Self {
        Self { required: true, ..self }
    }

    /// Leaves files alone that the survey does not name: the folder has those of other surveys too.
    #[must_use]
    pub fn without_others(self) -> Self {
        Self { others: false, ..self }
    }

    /// Sets how many files are looked at together; by default, one for each processor.
    #[must_use]
    pub fn with_threads(self, threads: usize) -> Self {
        Self { threads: threads.max(1), ..self }
    }

    /// Uses a log. What it knows of files whose size and time of change are the same is trusted.
    #[must_use]
    pub fn with_log(self, log: Arc<AuditLog>) -> Self {
        Self { log, ..self }
    }

    /// Calls this after each file.
    #[must_use]
    pub fn with_progress(self, progress: Box<Progress>) -> Self {
        Self { progress: Some(progress), ..self }
    }

    /// The files to look at, by their path: those that the survey names, and others that may belong
    /// to it.
    fn chosen(&self, head: &Head, listed: BTreeMap<String, Listed>) -> BTreeMap<String, Listed> {
        let named: BTreeSet<String> =
            head.media.iter().map(|media| path_of(media).to_lowercase()).collect();
        let folders: BTreeSet<&str> =
            named.iter().filter_map(|path| Some(path.rsplit_once('/')?.0)).collect();
        let in_folder =
            |path: &str| path.rsplit_once('/').is_some_and(|(folder, _)| folders.contains(folder));
        let wanted = |path: &String| {
            let path = path.to_lowercase();
            named.contains(&path) || self.others && (in_folder(&path) || has_media_name(&path))
        };
        listed.into_iter().filter(|(path, _)| wanted(path)).collect()
    }

    fn look(&self, listed: &Listed) -> FoundFile {
        let file = match listed {
            Listed::Refused(why) => return FoundFile::unreadable(why.as_str()),
            Listed::File(file) => file,
        };
        let path = file.to_string_lossy();
        let stamp = file.metadata().ok().as_ref().and_then(Stamp::of);
        if let Some(known) = stamp.as_ref().and_then(|stamp| self.log.known(&path, stamp)) {
            return known;
        }
        match File::open(file).and_then(|mut file| look_at(&mut file)) {
            Ok(found) => {
                if let Some(stamp) = stamp {
                    self.log.add(&path, stamp, &found);
                }
                found
            }
            Err(error) => FoundFile::unreadable(reason(&error)),
        }
    }
}

impl FileAudit for FolderAudit {
    fn audit(&self, head: &Head) -> Result<Files, String> {
        let folder = self.folder.display();
        let wanted: BTreeSet<String> = head
            .media
            .iter()
            .filter_map(|media| Some(path_of(media).rsplit_once('/')?.0.to_lowercase()))
            .collect();
        let listed = list(&self.folder, &wanted, self.others)
            .map_err(|error| format!("the folder {folder} was not read: {}", reason(&error)))?;
        let lower: BTreeSet<String> = listed.keys().map(|path| path.to_lowercase()).collect();
        let is_there = |media: &Media| lower.contains(&path_of(media).to_lowercase());
        if !self.required && !head.media.iter().any(is_there) {
            return Err(match head.media.len() {
                0 => "the survey names no media files".to_owned(),
                1 => format!("the media file was not found in {folder}"),
                all => format!("none of the {all} media files was found in {folder}"),
            });
        }
        let chosen: Vec<(String, Listed)> = self.chosen(head, listed).into_iter().collect();
        let (next, done) = (AtomicUsize::new(0), AtomicUsize::new(0));
        let files = Mutex::new(Files::new());
        let work = || {
            loop {
                let Some((path, listed)) = chosen.get(next.fetch_add(1, Ordering::Relaxed)) else {
                    return;
                };
                let found = self.look(listed);
                if let Ok(mut files) = files.lock() {
                    files.add(path.as_str(), found);
                }
                let done = done.fetch_add(1, Ordering::Relaxed) + 1;
                if let Some(progress) = &self.progress {
                    progress(done, chosen.len());
                }
            }
        };
        scope(|scope| {
            for _ in 1..self.threads.min(chosen.len()) {
                scope.spawn(work);
            }
            work();
        });
        files.into_inner().map_err(|_| "the audit was not finished".to_owned())
    }
}

/// What a file is by its content. It is read to its end, in parts of bounded size.
///
/// ```
/// let gif = b"GIF89a\x01\0\x01\0\0\0\0\x2C\0\0\0\0\x01\0\x01\0\0\x02\x02\x44\x01\0\x3B";
/// let found = obvert_deliver::look_at(&mut std::io::Cursor::new(gif))?;
/// assert_eq!((found.bytes, found.media_type.as_deref()), (29, Some("image/gif")));
/// # Ok::<(), std::io::Error>(())
/// ```
///
/// # Errors
/// If it cannot be read.
pub fn look_at<R: Read + Seek>(reader: &mut R) -> io::Result<FoundFile> {
    let bytes = reader.seek(SeekFrom::End(0))?;
    reader.seek(SeekFrom::Start(0))?;
    let sha256 = sha256_of(&mut *reader)?;
    reader.seek(SeekFrom::Start(0))?;
    let facts = describe(reader)?;
    let turned = facts.turned();
    let mut found = FoundFile::new(bytes, facts.whole).with_sha256(sha256);
    found.media_type = facts.media_type.map(str::to_owned);
    (found.pixels, found.duration) = (facts.pixels, facts.duration);
    (found.frame_rate, found.turned) = (facts.frame_rate, turned);
    // Films state when their file was made, and in UTC.
    let is_picture = facts.media_type.is_some_and(|kind| kind.starts_with("image/"));
    found.captured = facts.captured.filter(|_| is_picture).map(|taken| taken.at.to_string());
    if let (Wholeness::Whole, Some(media_type)) = (&found.wholeness, &found.media_type) {
        found.black = is_black(reader, bytes, media_type)?;
    }
    Ok(found)
}

/// An error of the system in plain words.
fn reason(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => "it is not there".to_owned(),
        io::ErrorKind::PermissionDenied => "reading it is not allowed".to_owned(),
        io::ErrorKind::NotADirectory => "it is not a folder".to_owned(),
        _ => {
            let text = error.to_string();
            text.split(" (os error").next().unwrap_or_default().to_lowercase()
        }
    }
}
