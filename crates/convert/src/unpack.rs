//! Zip archives with tables or a workbook in them. Whoever receives one did not make it, so it is
//! opened with care: nothing is taken on trust that the archive says about itself, and there is a
//! limit to what it may unpack to.

use std::io::{Cursor, Read};

use zip::ZipArchive;
use zip::read::ZipFile;
use zip::result::ZipError;

use crate::ZipLimits;

/// Up to this size a file is unpacked whatever its ratio, in bytes.
const HARMLESS: u64 = 16 << 20;
/// More files than this no package has, media included.
const MOST_ENTRIES: usize = 100_000;

/// What is said of an archive that cannot be read.
pub(crate) fn damaged(error: &ZipError) -> String {
    format!("not a zip archive that can be read, or a damaged one: {error}")
}

/// Opens an archive, refusing what tools would read in different ways.
pub(crate) fn open(archive: &[u8]) -> Result<ZipArchive<Cursor<&[u8]>>, String> {
    let whole = |error: ZipError| {
        match error {
        // The libraries' words for this are those of the format's inventors.
        ZipError::InvalidArchive(_) if archive.starts_with(b"PK") => {
            "the archive has no directory at its end, so it is not whole; it was cut off on its way, most likely: fetch or pack it again"
                .to_owned()
        }
        error => damaged(&error),
    }
    };
    let mut archive = ZipArchive::new(Cursor::new(archive)).map_err(whole)?;
    if archive.len() > MOST_ENTRIES {
        return Err(format!(
            "the archive has {} entries; more than {MOST_ENTRIES} are not read",
            archive.len()
        ));
    }
    if archive.has_duplicate_names() {
        return Err("the archive has two files of one name, and tools differ in which of them they take; pack it anew"
            .to_owned());
    }
    if archive.has_overlapping_entries().map_err(|error| damaged(&error))? {
        return Err(
            "files of the archive share their bytes, which no packing tool does; pack it anew"
                .to_owned(),
        );
    }
    Ok(archive)
}

/// The path of a file in the archive, if it stays there.
pub(crate) fn path_of<R: Read>(entry: &ZipFile<'_, R>) -> Result<String, String> {
    let path = entry.name().map_err(|error| damaged(&error))?.into_owned();
    if path.starts_with('/')
        || path.contains(['\\', ':', '\0'])
        || path.split('/').any(|part| part == "..")
    {
        return Err(format!(
            "the path {path:?} leads out of the archive or is not portable; pack the files anew"
        ));
    }
    Ok(path)
}

/// Unpacks a file, in pieces, as far as the limits allow. `left` is what is left of the total.
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
                "the tables are larger together than"
            } else {
                "it is packed tighter than any survey and would be larger than"
            };
            return Err(format!("{file} was not unpacked further: {why} {most} bytes"));
        }
        take(piece.get(..count).unwrap_or_default())?;
    }
    *left -= size;
    Ok(())
}

/// Whether a zip archive is a workbook, by a name that is in its directory at the end, or at the
/// start in most.
pub(crate) fn is_workbook(zip: &[u8]) -> bool {
    const REACH: usize = 1 << 16;
    let name = b"xl/workbook.xml";
    let parts = [&zip[..zip.len().min(REACH)], &zip[zip.len().saturating_sub(REACH)..]];
    zip.starts_with(b"PK")
        && parts.into_iter().any(|part| part.windows(name.len()).any(|window| window == name))
}
