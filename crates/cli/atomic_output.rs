//! Outputs that appear whole or not at all: made next to their place, and moved there once they are
//! complete.

use std::collections::BTreeSet;
use std::fs;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, Once};

use obvert::convert::{ConvertError, CreateFile, WriteSeek};
use tempfile::{NamedTempFile, TempDir};

use crate::Failure;

/// What this command has read. No output may take its place, not even with `--replace`: whoever
/// mixes names up keeps the file.
static READ: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

/// Notes that a file has been read, or a folder with its files.
pub(crate) fn note_read(path: &Path) {
    if let (Ok(mut all), Ok(place)) = (READ.lock(), path.canonicalize()) {
        all.insert(place);
    }
}

/// Refuses a place that something was read from.
fn not_read(path: &Path) -> Result<(), Failure> {
    let read =
        READ.lock().is_ok_and(|all| path.canonicalize().is_ok_and(|place| all.contains(&place)));
    if read {
        Err(format!("{}: is read by this command; name another", path.display()).into())
    } else {
        Ok(())
    }
}

/// What is being made, to be taken away when somebody stops the command: what is not finished is
/// nobody's.
static UNFINISHED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

/// Something that is being made, as long as it is.
struct Unfinished(PathBuf);

impl Unfinished {
    /// Makes something, and notes where: whoever stops the command in between waits until it is
    /// noted.
    fn make<T>(
        make: impl FnOnce() -> io::Result<T>,
        path: impl FnOnce(&T) -> &Path,
    ) -> io::Result<(Self, T)> {
        static ONCE: Once = Once::new();
        // Where there are no such signals, or somebody else has them, it stays as it was.
        ONCE.call_once(|| drop(ctrlc::set_handler(stop)));
        let all = UNFINISHED.lock();
        let made = make()?;
        let path = path(&made).to_owned();
        if let Ok(mut all) = all {
            all.insert(path.clone());
        }
        Ok((Self(path), made))
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        if let Ok(mut all) = UNFINISHED.lock() {
            all.remove(&self.0);
        }
    }
}

/// Takes away what is not finished and ends as a command does that was interrupted.
fn stop() {
    // Held to the end, so that nothing more is made.
    let all = UNFINISHED.lock();
    for path in all.iter().flat_map(|all| all.iter()) {
        let _ = if path.is_dir() { fs::remove_dir_all(path) } else { fs::remove_file(path) };
    }
    std::process::exit(130);
}

/// A file that is being made.
pub(crate) struct AtomicFile {
    _unfinished: Unfinished,
    file: NamedTempFile,
    path: PathBuf,
    replace: bool,
}

impl AtomicFile {
    /// Begins a file; `replace` allows an existing one.
    pub(crate) fn begin(path: &Path, replace: bool) -> Result<Self, Failure> {
        let path = &led_to(path)?;
        free(path, replace)?;
        let folder = folder_of(path)?;
        let mut builder = tempfile::Builder::new();
        let make = || builder.prefix(".obvert-").suffix(".tmp").tempfile_in(folder);
        let (unfinished, file) = Unfinished::make(make, NamedTempFile::path)
            .map_err(|error| format!("{}: cannot write in its folder: {error}", path.display()))?;
        Ok(Self { _unfinished: unfinished, file, path: path.to_owned(), replace })
    }

    /// Writes the file. The error is that of `write`, or of the system.
    pub(crate) fn write<T, E: From<io::Error>>(
        &mut self,
        write: impl FnOnce(&mut dyn WriteSeek) -> Result<T, E>,
    ) -> Result<T, E> {
        let mut sink = BufWriter::new(self.file.as_file_mut());
        let result = write(&mut sink)?;
        sink.flush()?;
        Ok(result)
    }

    /// Puts the file into its place.
    pub(crate) fn keep(self) -> Result<(), Failure> {
        let name = self.path.display();
        not_read(&self.path)?;
        open_to_others(self.file.path());
        self.file.as_file().sync_all().map_err(|error| format!("{name}: {error}"))?;
        let kept = if self.replace {
            self.file.persist(&self.path)
        } else {
            self.file.persist_noclobber(&self.path)
        };
        kept.map_err(|error| format!("{name}: {}", error.error))?;
        Ok(())
    }
}

/// An error of the system with the name of what was being written.
pub(crate) fn named(path: &Path, error: Failure) -> Failure {
    let system = match error.downcast_ref::<ConvertError>() {
        Some(ConvertError::Write(system)) => Some(system),
        _ => error.downcast_ref::<io::Error>(),
    };
    match system {
        Some(system) => format!("{}: cannot be written: {system}", path.display()).into(),
        None => error,
    }
}

/// Writes a file whole or not at all. `replace` allows an existing file.
pub(crate) fn write_file(
    path: &Path,
    replace: bool,
    write: impl FnOnce(&mut dyn WriteSeek) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let mut file = AtomicFile::begin(path, replace)?;
    file.write(write).map_err(|error| named(path, error))?;
    file.keep()
}

/// Writes a file anew in its place, whole or not at all, with the permissions that it has. A link
/// stays one: what it leads to is written. `known` is what was read; a file that somebody has
/// changed since is left alone.
pub(crate) fn rewrite(path: &Path, known: &[u8], content: &[u8]) -> Result<(), Failure> {
    let name = path.display();
    let fail = |error: io::Error| format!("{name}: {error}");
    let place = path.canonicalize().map_err(fail)?;
    let about = fs::metadata(&place).map_err(fail)?;
    if about.permissions().readonly() {
        return Err(format!(
            "{name}: is write-protected; take that away, or give -o OUT to write another file"
        )
        .into());
    }
    let folder = place.parent().unwrap_or(Path::new("."));
    let mut file = tempfile::Builder::new()
        .prefix(".obvert-")
        .suffix(".tmp")
        .tempfile_in(folder)
        .map_err(|error| {
        format!("{name}: cannot write in its folder: {error}; give -o OUT to write elsewhere")
    })?;
    file.write_all(content).map_err(fail)?;
    fs::set_permissions(file.path(), about.permissions()).map_err(fail)?;
    file.as_file().sync_all().map_err(fail)?;
    if fs::read(&place).map_err(fail)? != known {
        return Err(
            format!("{name}: was changed while it was being mended; nothing is written").into()
        );
    }
    file.persist(&place).map_err(|error| fail(error.error))?;
    Ok(())
}

/// Where a name leads: a link stays one, and what it leads to is written. What is no file and no
/// folder, such as a pipe or a device, would be replaced by a file, and is refused.
fn led_to(path: &Path) -> Result<PathBuf, Failure> {
    let name = path.display();
    let Ok(about) = fs::symlink_metadata(path) else { return Ok(path.to_owned()) };
    let place = match about.is_symlink() {
        true => path
            .canonicalize()
            .map_err(|_| format!("{name}: is a link that leads nowhere; name the file itself"))?,
        false => path.to_owned(),
    };
    if fs::metadata(&place).is_ok_and(|about| !about.is_file() && !about.is_dir()) {
        return Err(format!(
            "{name}: is neither a file nor a folder; name a file, or - for standard output"
        )
        .into());
    }
    Ok(place)
}

/// Whether two names lead to one file, which need not be there yet.
pub(crate) fn same(one: &Path, other: &Path) -> bool {
    let place = |path: &Path| {
        let folder =
            path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        path.canonicalize()
            .ok()
            .or_else(|| Some(folder.canonicalize().ok()?.join(path.file_name()?)))
    };
    one == other || place(one).is_some_and(|place_of_one| Some(place_of_one) == place(other))
}

/// A folder of tables that is being made. An existing folder is replaced only when asked, and only
/// when it holds nothing but files of this kind by their names: a folder with anything else in it
/// is somebody's.
pub(crate) struct AtomicFolder {
    _unfinished: Unfinished,
    fresh: TempDir,
    path: PathBuf,
    /// Whether there is a folder already, which is to be replaced.
    old: bool,
}

impl AtomicFolder {
    /// Begins a folder of files that can have such names; `replace` allows an existing one.
    pub(crate) fn begin(path: &Path, names: &[String], replace: bool) -> Result<Self, Failure> {
        let path = &led_to(path)?;
        not_read(path)?;
        let name = path.display();
        let fail = |error: io::Error| format!("{name}: {error}");
        let old = path.exists();
        if old {
            let entries: Vec<PathBuf> = fs::read_dir(path)
                .map_err(fail)?
                .map(|entry| entry.map(|e| e.path()))
                .collect::<Result<_, _>>()
                .map_err(fail)?;
            let ours = |entry: &PathBuf| {
                entry.is_file()
                    && entry
                        .file_name()
                        .is_some_and(|file| names.iter().any(|name| file == name.as_str()))
            };
            if let Some(other) = entries.iter().find(|entry| !ours(entry)) {
                let other = other.display();
                return Err(format!(
                    "{name}: holds {other}, which is none of the files that are written; choose another folder"
                )
                .into());
            }
            if !entries.is_empty() && !replace {
                return Err(
                    format!("{name}: is there already; give --replace to write over it").into()
                );
            }
        }
        let parent =
            path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        if !parent.is_dir() {
            return Err(
                format!("{name}: there is no folder {}; make it first", parent.display()).into()
            );
        }
        let mut builder = tempfile::Builder::new();
        let (unfinished, fresh) =
            Unfinished::make(|| builder.prefix(".obvert-").tempdir_in(parent), TempDir::path)
                .map_err(|error| format!("{name}: cannot write beside it: {error}"))?;
        let folder = Self { _unfinished: unfinished, fresh, path: path.to_owned(), old };
        fs::create_dir(folder.inside()).map_err(fail)?;
        Ok(folder)
    }

    fn inside(&self) -> PathBuf {
        self.fresh.path().join("new")
    }

    /// Puts the folder into its place.
    pub(crate) fn keep(self) -> Result<(), Failure> {
        let path = &self.path;
        let fail = |error: io::Error| format!("{}: {error}", path.display());
        if !self.old {
            return Ok(fs::rename(self.inside(), path).map_err(fail)?);
        }
        // Whoever stops the command now waits until one of the two folders is in its place, and
        // takes none away.
        let mut unfinished =
            UNFINISHED.lock().map_err(|error| format!("{}: {error}", path.display()))?;
        unfinished.remove(self.fresh.path());
        let aside = self.fresh.path().join("old");
        fs::rename(path, &aside).map_err(fail)?;
        if let Err(error) = fs::rename(self.inside(), path) {
            // Put back what was there.
            fs::rename(&aside, path).map_err(fail)?;
            return Err(fail(error).into());
        }
        Ok(())
    }
}

impl CreateFile for AtomicFolder {
    fn create(&mut self, file: &str) -> io::Result<Box<dyn Write + Send>> {
        Ok(Box::new(BufWriter::new(fs::File::create_new(self.inside().join(file))?)))
    }
}

/// Refuses a file that is there already and may not be replaced.
pub(crate) fn free(path: &Path, replace: bool) -> Result<(), Failure> {
    if path.is_dir() {
        return Err(format!("{}: is a folder; name a file", path.display()).into());
    }
    not_read(path)?;
    if !replace && path.exists() {
        return Err(format!(
            "{}: is there already; give --replace to write over it",
            path.display()
        )
        .into());
    }
    if fs::metadata(path).is_ok_and(|about| about.permissions().readonly()) {
        return Err(format!(
            "{}: is write-protected; take that away, or name another file",
            path.display()
        )
        .into());
    }
    Ok(())
}

/// The folder that a file is to be written in, which must be there.
pub(crate) fn folder_of(path: &Path) -> Result<&Path, Failure> {
    let folder =
        path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if folder.is_dir() {
        return Ok(folder);
    }
    Err(format!("{}: there is no folder {}; make it first", path.display(), folder.display())
        .into())
}

/// A temporary file is its owner's alone; a finished one is an ordinary file.
#[cfg(unix)]
fn open_to_others(path: &Path) {
    use std::os::unix::fs::PermissionsExt;
    let _ = fs::set_permissions(path, fs::Permissions::from_mode(0o644));
}

#[cfg(not(unix))]
fn open_to_others(_: &Path) {}
