//! Zip archives that contain tables or a workbook. They come from untrusted sources: nothing that
//! an archive states about itself is trusted, and there are limits for unpacking.

use std::io::{Cursor, Read};

use zip::ZipArchive;
use zip::read::ZipFile;
use zip::result::ZipError;

use crate::ZipLimits;

/// A file up to this size, in bytes, is unpacked whatever its compression ratio.
const HARMLESS: u64 = 16 << 20;
/// No package has more files than this, media included.
const MOST_ENTRIES: usize = 100_000;

/// The message about an archive that cannot be read.
pub(crate) fn damaged(error: &ZipError) -> String {
    format!("not a zip archive, or a damaged one: {error}")
}

/// Opens an archive. Archives that different tools would read differently are refused.
pub(crate) fn open(archive: &[u8]) -> Result<ZipArchive<Cursor<&[u8]>>, String> {
    let explained = |error: ZipError| {
        match error {
        // The library's message for this error is not understandable.
        ZipError::InvalidArchive(_) if archive.starts_with(b"PK") => {
            "the archive has no directory at its end, so it is incomplete; fetch it or pack it again"
                .to_owned()
        }
        error => damaged(&error),
    }
    };
    let mut archive = ZipArchive::new(Cursor::new(archive)).map_err(explained)?;
    if archive.len() > MOST_ENTRIES {
        return Err(format!(
            "the archive has {} entries, and at most {MOST_ENTRIES} are read; pack fewer files",
            archive.len()
        ));
    }
    if archive.has_duplicate_names() {
        return Err("the archive has two files with the same name, and tools differ in which one they use; pack it again"
            .to_owned());
    }
    if archive.has_overlapping_entries().map_err(|error| damaged(&error))? {
        return Err(
            "files in the archive overlap, which no packing tool does; pack it again".to_owned()
        );
    }
    Ok(archive)
}

/// The path of a file in the archive, if it is inside the archive.
pub(crate) fn path_of<R: Read>(entry: &ZipFile<'_, R>) -> Result<String, String> {
    let path = entry.name().map_err(|error| damaged(&error))?.into_owned();
    if path.starts_with('/')
        || path.contains(['\\', ':', '\0'])
        || path.split('/').any(|part| part == "..")
    {
        return Err(format!(
            "the path {path:?} points outside the archive or is not portable; pack the files again"
        ));
    }
    Ok(path)
}

/// Unpacks a file piece by piece, within the limits. `left` is the rest of the limit for all files.
pub(crate) fn inflate<R: Read>(
    mut entry: ZipFile<'_, R>,
    file: &str,
    limits: ZipLimits,
    left: &mut u64,
    mut take: impl FnMut(&[u8]) -> Result<(), String>,
) -> Result<(), String> {
    let most = entry.compressed_size().saturating_mul(limits.ratio).max(HARMLESS).min(*left);
    let mut size = 0_u64;
    let mut piece = vec![0; 64 << 10];
    loop {
        let count = entry
            .read(&mut piece)
            .map_err(|error| format!("{file} cannot be unpacked: {error}"))?;
        if count == 0 {
            break;
        }
        size += count as u64;
        if size > most {
            let why = if most == *left {
                "all tables together are larger than"
            } else {
                "its compression ratio is too high for a survey, and it is larger than"
            };
            return Err(format!(
                "{file} cannot be unpacked: {why} {most} bytes; send the survey in several archives"
            ));
        }
        take(piece.get(..count).unwrap_or_default())?;
    }
    *left -= size;
    Ok(())
}

/// Whether a zip archive is a workbook, by a name in its directory at the end, or at its start.
pub(crate) fn is_workbook(zip: &[u8]) -> bool {
    const REACH: usize = 1 << 16;
    let name = b"xl/workbook.xml";
    let parts = [&zip[..zip.len().min(REACH)], &zip[zip.len().saturating_sub(REACH)..]];
    zip.starts_with(b"PK")
        && parts.into_iter().any(|part| part.windows(name.len()).any(|window| window == name))
}
