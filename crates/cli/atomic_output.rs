//! Outputs that are complete or absent: each is written to a temporary file next to its path, and
//! renamed once it is complete.

use std::collections::BTreeSet;
use std::fs;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, Once};

use obvert::convert::{ConvertError, CreateFile, WriteSeek};
use tempfile::{NamedTempFile, TempDir};

use crate::{Failure, advice};

/// The inputs of this command. No output may replace one of them, even with `--replace`, so that a
/// mistyped command line never destroys a file.
static READ: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

/// Records that a file was read, or a folder with its files.
pub(crate) fn note_read(path: &Path) {
    if let (Ok(mut all), Ok(target)) = (READ.lock(), path.canonicalize()) {
        all.insert(target);
    }
}

/// Refuses to write to an input of this command.
fn not_read(path: &Path) -> Result<(), Failure> {
    let read =
        READ.lock().is_ok_and(|all| path.canonicalize().is_ok_and(|target| all.contains(&target)));
    if read {
        Err(format!("{}: is an input of this command; choose another output", path.display())
            .into())
    } else {
        Ok(())
    }
}

/// Unfinished outputs, which are deleted if the command is interrupted.
static UNFINISHED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

/// An unfinished output. It is registered until this guard is dropped.
struct Unfinished(PathBuf);

impl Unfinished {
    /// Creates a file or folder and registers it. An interrupt in between waits until it is
    /// registered.
    fn create<T>(
        create: impl FnOnce() -> io::Result<T>,
        path: impl FnOnce(&T) -> &Path,
    ) -> io::Result<(Self, T)> {
        static ONCE: Once = Once::new();
        // If the handler cannot be set, an interrupt leaves the temporary file behind.
        ONCE.call_once(|| drop(ctrlc::set_handler(stop)));
        let all = UNFINISHED.lock();
        let created = create()?;
        let path = path(&created).to_owned();
        if let Ok(mut all) = all {
            all.insert(path.clone());
        }
        Ok((Self(path), created))
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        if let Ok(mut all) = UNFINISHED.lock() {
            all.remove(&self.0);
        }
    }
}

/// Deletes the unfinished outputs and exits as an interrupted command does.
fn stop() {
    // The lock is held until the end, so that no more outputs are created.
    let all = UNFINISHED.lock();
    for path in all.iter().flat_map(|all| all.iter()) {
        let _ = if path.is_dir() { fs::remove_dir_all(path) } else { fs::remove_file(path) };
    }
    std::process::exit(130);
}

/// A file that is being written.
pub(crate) struct AtomicFile {
    _unfinished: Unfinished,
    file: NamedTempFile,
    path: PathBuf,
    replace: bool,
}

impl AtomicFile {
    /// Creates the temporary file; `replace` allows `path` to exist.
    pub(crate) fn begin(path: &Path, replace: bool) -> Result<Self, Failure> {
        let path = &followed(path)?;
        may_write(path, replace)?;
        let folder = folder_of(path)?;
        let mut builder = tempfile::Builder::new();
        let create = || builder.prefix(".obvert-").suffix(".tmp").tempfile_in(folder);
        let (unfinished, file) =
            Unfinished::create(create, NamedTempFile::path).map_err(|error| {
                format!(
                    "{}: cannot write to its folder: {}",
                    path.display(),
                    advice::system(&error)
                )
            })?;
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

    /// Renames the temporary file to its path.
    pub(crate) fn keep(self) -> Result<(), Failure> {
        let name = self.path.display();
        not_read(&self.path)?;
        make_readable(self.file.path());
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

/// Names the output in an error of the operating system.
pub(crate) fn named(path: &Path, error: Failure) -> Failure {
    let system = match error.downcast_ref::<ConvertError>() {
        Some(ConvertError::Write(system)) => Some(system),
        _ => error.downcast_ref::<io::Error>(),
    };
    match system {
        Some(system) => {
            format!("{}: cannot be written: {}", path.display(), advice::system(system)).into()
        }
        None => error,
    }
}

/// Writes a complete file, or none. `replace` allows an existing file.
pub(crate) fn write_file(
    path: &Path,
    replace: bool,
    write: impl FnOnce(&mut dyn WriteSeek) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let mut file = AtomicFile::begin(path, replace)?;
    file.write(write).map_err(|error| named(path, error))?;
    file.keep()
}

/// Rewrites a file in place, completely or not at all, and keeps its permissions. If the path is a
/// link, its target is rewritten. `known` is what was read: a file that changed since then is not
/// touched.
pub(crate) fn rewrite(path: &Path, known: &[u8], content: &[u8]) -> Result<(), Failure> {
    let name = path.display();
    let fail = |error: io::Error| format!("{name}: cannot be written: {}", advice::system(&error));
    let target = path.canonicalize().map_err(fail)?;
    let about = fs::metadata(&target).map_err(fail)?;
    if about.permissions().readonly() {
        return Err(format!(
            "{name}: is write-protected; make it writable, or give -o OUT to write another file"
        )
        .into());
    }
    let folder = target.parent().unwrap_or(Path::new("."));
    let mut file =
        tempfile::Builder::new().prefix(".obvert-").suffix(".tmp").tempfile_in(folder).map_err(
            |error| {
                let why = advice::system(&error);
                format!("{name}: cannot write to its folder: {why}; give -o OUT to write elsewhere")
            },
        )?;
    file.write_all(content).map_err(fail)?;
    fs::set_permissions(file.path(), about.permissions()).map_err(fail)?;
    file.as_file().sync_all().map_err(fail)?;
    if fs::read(&target).map_err(fail)? != known {
        return Err(format!(
            "{name}: was changed by another program in the meantime, so nothing was written; run \
             the \
             command again"
        )
        .into());
    }
    file.persist(&target).map_err(|error| fail(error.error))?;
    Ok(())
}

/// Follows a link to its target. A pipe or a device is refused, because a file would replace it.
fn followed(path: &Path) -> Result<PathBuf, Failure> {
    let name = path.display();
    let Ok(about) = fs::symlink_metadata(path) else { return Ok(path.to_owned()) };
    let target = match about.is_symlink() {
        true => path
            .canonicalize()
            .map_err(|_| format!("{name}: is a broken link; name the file itself"))?,
        false => path.to_owned(),
    };
    if fs::metadata(&target).is_ok_and(|about| !about.is_file() && !about.is_dir()) {
        return Err(format!(
            "{name}: is neither a file nor a folder; name a file, or - for standard output"
        )
        .into());
    }
    Ok(target)
}

/// Whether two paths refer to the same file, which need not exist yet.
pub(crate) fn is_same_file(one: &Path, other: &Path) -> bool {
    let target = |path: &Path| {
        let folder =
            path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        path.canonicalize()
            .ok()
            .or_else(|| Some(folder.canonicalize().ok()?.join(path.file_name()?)))
    };
    one == other || target(one).is_some_and(|one| Some(one) == target(other))
}

/// A folder of tables that is being written. An existing folder is replaced only on request, and
/// only if it contains no other files than the format writes.
pub(crate) struct AtomicFolder {
    _unfinished: Unfinished,
    fresh: TempDir,
    path: PathBuf,
    /// Whether an existing folder is replaced.
    old: bool,
}

impl AtomicFolder {
    /// Creates the temporary folder for files that can have these names; `replace` allows `path` to
    /// exist.
    pub(crate) fn begin(path: &Path, names: &[String], replace: bool) -> Result<Self, Failure> {
        let path = &followed(path)?;
        not_read(path)?;
        let name = path.display();
        let fail =
            |error: io::Error| format!("{name}: cannot be written: {}", advice::system(&error));
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
                    "{name}: contains {other}, which is not a file of this format; choose another \
                     folder"
                )
                .into());
            }
            if !entries.is_empty() && !replace {
                return Err(already_exists(path));
            }
        }
        let parent =
            path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        if !parent.is_dir() {
            return Err(no_folder(path, parent));
        }
        let mut builder = tempfile::Builder::new();
        let (unfinished, fresh) =
            Unfinished::create(|| builder.prefix(".obvert-").tempdir_in(parent), TempDir::path)
                .map_err(|error| {
                    format!("{name}: cannot write to its folder: {}", advice::system(&error))
                })?;
        let folder = Self { _unfinished: unfinished, fresh, path: path.to_owned(), old };
        fs::create_dir(folder.inside()).map_err(fail)?;
        Ok(folder)
    }

    fn inside(&self) -> PathBuf {
        self.fresh.path().join("new")
    }

    /// Renames the temporary folder to its path.
    pub(crate) fn keep(self) -> Result<(), Failure> {
        let path = &self.path;
        let fail = |error: io::Error| format!("{}: {error}", path.display());
        if !self.old {
            return Ok(fs::rename(self.inside(), path).map_err(fail)?);
        }
        // An interrupt now waits until one of the two folders is at the path, and deletes neither.
        let mut unfinished =
            UNFINISHED.lock().map_err(|error| format!("{}: {error}", path.display()))?;
        unfinished.remove(self.fresh.path());
        let aside = self.fresh.path().join("old");
        fs::rename(path, &aside).map_err(fail)?;
        if let Err(error) = fs::rename(self.inside(), path) {
            // Restore the old folder.
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

/// Refuses a path that no file can be written to: a folder, an input of this command, an existing
/// file without `replace`, a write-protected file, a file in a folder that does not exist.
pub(crate) fn may_write(path: &Path, replace: bool) -> Result<(), Failure> {
    // A path that ends in a slash is a folder, whether it exists or not.
    let named = path.as_os_str().to_string_lossy();
    if path.is_dir() || named.ends_with(std::path::is_separator) {
        return Err(format!("{}: is a folder; name a file", path.display()).into());
    }
    not_read(path)?;
    if !replace && path.exists() {
        return Err(already_exists(path));
    }
    if fs::metadata(path).is_ok_and(|about| about.permissions().readonly()) {
        return Err(format!(
            "{}: is write-protected; make it writable, or name another file",
            path.display()
        )
        .into());
    }
    folder_of(path).map(drop)
}

/// The folder that a file is to be written to, which must exist.
fn folder_of(path: &Path) -> Result<&Path, Failure> {
    let folder =
        path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if folder.is_dir() {
        return Ok(folder);
    }
    Err(no_folder(path, folder))
}

fn already_exists(path: &Path) -> Failure {
    format!("{}: already exists; give --replace to overwrite it", path.display()).into()
}

fn no_folder(path: &Path, folder: &Path) -> Failure {
    format!("{}: the folder {} does not exist; create it first", path.display(), folder.display())
        .into()
}

/// Gives a temporary file, which only its owner can read, the permissions of an ordinary file.
#[cfg(unix)]
fn make_readable(path: &Path) {
    use std::os::unix::fs::PermissionsExt;
    let _ = fs::set_permissions(path, fs::Permissions::from_mode(0o644));
}

#[cfg(not(unix))]
fn make_readable(_: &Path) {}
