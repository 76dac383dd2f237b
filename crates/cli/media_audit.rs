//! Looks at the media files of the surveys that are checked.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use obvert::check::files::{FileAudit, Files};
use obvert::deliver::{AuditLog, FolderAudit};
use obvert::model::tables::Head;

use crate::args::Check;
use crate::render::progress;
use crate::{Failure, input};

/// Which media files are looked at, by the options of the command.
pub(crate) struct MediaAudits<'a> {
    arguments: &'a Check,
    /// Whether files that a survey does not name can be those of another one.
    shared: bool,
    log: Arc<AuditLog>,
}

impl<'a> MediaAudits<'a> {
    pub(crate) fn new(arguments: &'a Check, files: &[PathBuf]) -> Result<Self, Failure> {
        let shared = files.len() > 1 || files.iter().any(|file| input::is_archive(file));
        let log = match &arguments.media_log {
            None => AuditLog::default(),
            Some(log) => AuditLog::open(log)
                .map_err(|error| format!("--media-log {}: {error}", log.display()))?,
        };
        Ok(Self { arguments, shared, log: Arc::new(log) })
    }

    /// The audit of a survey's files; `None` if they are not to be opened, or if it has no folder.
    pub(crate) fn of(&self, survey: &Path) -> Result<Option<Arc<dyn FileAudit>>, Failure> {
        let closed = |why: &'static str| -> Result<Option<Arc<dyn FileAudit>>, Failure> {
            Ok(Some(Arc::new(Closed(why))))
        };
        if self.arguments.no_media {
            return closed("--no-media was given");
        }
        let mut audit = match &self.arguments.media {
            Some(folder) if !folder.is_dir() => {
                return Err(format!("--media {}: is not a folder", folder.display()).into());
            }
            Some(folder) => FolderAudit::new(folder).required(),
            None if survey == Path::new("-") => {
                return closed("standard input has no folder; --media DIR names one");
            }
            None => FolderAudit::new(folder_of(survey)),
        };
        if self.shared {
            audit = audit.without_others();
        }
        audit = audit.with_log(Arc::clone(&self.log));
        if std::io::stderr().is_terminal() {
            let stage = progress::stage("looking at media files");
            audit = audit.with_progress(Box::new(move |done, all| {
                stage.update(|| format!("looking at media files, {done} of {all}"));
            }));
        }
        Ok(Some(Arc::new(audit)))
    }
}

/// No file is opened, for this reason.
struct Closed(&'static str);

impl FileAudit for Closed {
    fn audit(&self, head: &Head) -> Result<Files, String> {
        if head.media.is_empty() { Ok(Files::new()) } else { Err(self.0.to_owned()) }
    }
}

/// The folder of a survey: a folder of tables is its own.
fn folder_of(survey: &Path) -> PathBuf {
    if survey.is_dir() {
        return survey.to_owned();
    }
    match survey.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
        _ => PathBuf::from("."),
    }
}
