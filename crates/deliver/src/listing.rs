//! Lists the files in the folder of a survey. A folder that somebody sent is untrusted: a link may
//! lead out of it, or round in a circle.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// How deep folders are followed: more than a delivery has.
const MAX_DEPTH: usize = 16;

/// A file in a folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Listed {
    /// A file that may be opened.
    File(PathBuf),
    /// Something that must not be opened, with the reason.
    Refused(String),
}

/// The files directly in a folder and in those below it that are wanted, by their path from it with
/// `/` between folders. `wanted` are paths of folders in lower case; other folders are not even
/// listed, since a survey may be in a folder with everything that somebody has. With `below`, so are
/// the folders inside the wanted ones. Names that are no text, and hidden files and folders, are
/// left out.
pub(crate) fn list(
    folder: &Path,
    wanted: &BTreeSet<String>,
    below: bool,
) -> std::io::Result<BTreeMap<String, Listed>> {
    let root = folder.canonicalize()?;
    let mut found = BTreeMap::new();
    let mut waiting = vec![(root.clone(), String::new(), 0)];
    let mut first = true;
    while let Some((path, name, depth)) = waiting.pop() {
        let entries = match fs::read_dir(&path) {
            Ok(entries) => entries,
            Err(error) if first => return Err(error),
            // A folder without permission; the files in it are missing.
            Err(_) => continue,
        };
        first = false;
        for entry in entries.flatten() {
            let Ok(own) = entry.file_name().into_string() else { continue };
            if own.starts_with('.') {
                continue;
            }
            let name = if name.is_empty() { own } else { format!("{name}/{own}") };
            match listed(&root, &entry.path()) {
                Some(Kind::Folder) if depth < MAX_DEPTH && is_wanted(&name, wanted, below) => {
                    waiting.push((entry.path(), name, depth + 1));
                }
                Some(Kind::Folder) | None => {}
                Some(Kind::File(listed)) => {
                    found.insert(name, listed);
                }
            }
        }
    }
    Ok(found)
}

/// Whether a folder is wanted, leads to one that is, or is inside one.
fn is_wanted(name: &str, wanted: &BTreeSet<String>, below: bool) -> bool {
    let name = name.to_lowercase();
    let inside = |inner: &str, outer: &str| {
        inner.strip_prefix(outer).is_some_and(|rest| rest.starts_with('/'))
    };
    wanted
        .iter()
        .any(|folder| *folder == name || inside(folder, &name) || below && inside(&name, folder))
}

enum Kind {
    Folder,
    File(Listed),
}

/// What a path is; `None` if it vanished.
fn listed(root: &Path, path: &Path) -> Option<Kind> {
    let refused = |why: &str| Some(Kind::File(Listed::Refused(why.to_owned())));
    let about = fs::symlink_metadata(path).ok()?;
    if about.is_dir() {
        return Some(Kind::Folder);
    }
    if about.is_symlink() {
        // A link to a folder is not followed, so that no circle is possible.
        return match path.canonicalize() {
            Ok(target) if !target.starts_with(root) => {
                refused("it is a link that leads out of the folder")
            }
            Ok(target) if target.is_file() => Some(Kind::File(Listed::File(target))),
            Ok(_) => refused("it is a link to a folder"),
            Err(_) => refused("it is a broken link"),
        };
    }
    if about.is_file() {
        return Some(Kind::File(Listed::File(path.to_owned())));
    }
    refused("it is not a file")
}
