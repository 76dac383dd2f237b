//! A log of the files that were examined, so that an interrupted audit continues where it stopped,
//! and a repeated one opens only files that have changed. On disk it is JSON lines, one per file.

use std::collections::HashMap;
use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader, Write};
use std::path::Path;
use std::sync::Mutex;

use obvert_check::files::FoundFile;
use serde::{Deserialize, Serialize};

/// What identifies the state of a file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Stamp {
    pub(crate) bytes: u64,
    /// When it was last changed, in nanoseconds since 1970.
    pub(crate) changed: u64,
}

impl Stamp {
    pub(crate) fn of(about: &std::fs::Metadata) -> Option<Self> {
        let changed = about.modified().ok()?.duration_since(std::time::UNIX_EPOCH).ok()?;
        let changed = u64::try_from(changed.as_nanos()).ok()?;
        Some(Self { bytes: about.len(), changed })
    }
}

#[derive(Serialize, Deserialize)]
struct Line {
    /// The version of the program that examined it: another version may find more.
    tool: String,
    path: String,
    #[serde(flatten)]
    stamp: Stamp,
    found: FoundFile,
}

const TOOL: &str = env!("CARGO_PKG_VERSION");

/// The files that were examined, by their path, so that none is read again unless it has changed:
/// neither for the second pass over an invalid survey, nor for another survey in the same folder.
/// With a file, the next program knows them too.
#[derive(Debug, Default)]
pub struct AuditLog {
    known: Mutex<HashMap<String, (Stamp, FoundFile)>>,
    file: Option<Mutex<File>>,
}

impl AuditLog {
    /// Opens a log, or begins one. Lines that are no record, such as one that was being written when
    /// the power failed, are skipped.
    ///
    /// # Errors
    /// If the file cannot be read or begun.
    pub fn open(path: &Path) -> io::Result<Self> {
        let mut file = OpenOptions::new().read(true).append(true).create(true).open(path)?;
        let mut known = HashMap::new();
        let mut torn = false;
        let mut reader = BufReader::new(&mut file);
        let mut text = Vec::new();
        while reader.read_until(b'\n', &mut text)? > 0 {
            torn = text.last() != Some(&b'\n');
            if let Ok(line) = serde_json::from_slice::<Line>(&text)
                && line.tool == TOOL
            {
                known.insert(line.path, (line.stamp, line.found));
            }
            text.clear();
        }
        if torn {
            file.write_all(b"\n")?;
        }
        Ok(Self { known: Mutex::new(known), file: Some(Mutex::new(file)) })
    }

    /// What is known of a file, if it has not changed since.
    pub(crate) fn known(&self, path: &str, stamp: &Stamp) -> Option<FoundFile> {
        let known = self.known.lock().ok()?;
        known.get(path).filter(|(of, _)| of == stamp).map(|(_, found)| found.clone())
    }

    /// Adds a file. An error of writing costs nothing but time later.
    pub(crate) fn add(&self, path: &str, stamp: Stamp, found: &FoundFile) {
        if let Some(file) = &self.file {
            let (tool, path) = (TOOL.to_owned(), path.to_owned());
            let line = Line { tool, path, stamp: stamp.clone(), found: found.clone() };
            let Ok(mut text) = serde_json::to_vec(&line) else { return };
            text.push(b'\n');
            if let Ok(mut file) = file.lock() {
                let _ = file.write_all(&text);
            }
        }
        if let Ok(mut known) = self.known.lock() {
            known.insert(path.to_owned(), (stamp, found.clone()));
        }
    }
}
