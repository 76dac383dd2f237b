//! The tables in one file: a zip archive. Whoever receives it did not make it, so it is opened with care: nothing is
//! taken on trust that the archive says about itself, and there is a limit to what it may unpack to.

use std::io::{Cursor, Read, Seek, Write};

use obvert_model::tables::Document;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipArchive, ZipWriter};

use super::{read, write};
use crate::{ConvertError, LossReport, Survey};

/// How far an archive may unpack.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ZipLimits {
    /// All tables together, in bytes.
    pub total: u64,
    /// How many times a table may be larger than it is in the archive, once it is over 16 MiB. Tables of many alike
    /// rows are packed to about a twentieth; what is packed to a thousandth was made to be a nuisance.
    pub ratio: u64,
}

impl Default for ZipLimits {
    fn default() -> Self {
        Self { total: 1 << 30, ratio: 200 }
    }
}

/// Up to this size a table is unpacked whatever its ratio, in bytes.
const HARMLESS: u64 = 16 << 20;
/// More files than this no package has, media included.
const MOST_ENTRIES: usize = 100_000;

/// Writes a document as a zip archive with the files of [`write`](fn@crate::csv::write). Equal documents give equal
/// bytes: the archive carries no time and no owner.
///
/// # Errors
/// When the sink fails.
pub fn write_zip(document: &Document, sink: impl Write + Seek) -> Result<LossReport, ConvertError> {
    let (files, losses) = write(document)?;
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(DateTime::default())
        .unix_permissions(0o644);
    let mut archive = ZipWriter::new(sink);
    for (name, bytes) in &files {
        archive.start_file(name.as_str(), options).map_err(std::io::Error::from)?;
        archive.write_all(bytes)?;
    }
    archive.finish().map_err(std::io::Error::from)?.flush()?;
    Ok(losses)
}

/// Reads a zip archive of tables, which may stand in a folder of the archive. `name` is what messages call it.
///
/// # Errors
/// As [`read`](fn@crate::csv::read), and when the archive is damaged, encrypted, ambiguous, or unpacks beyond
/// [`ZipLimits::default`].
pub fn read_zip(archive: &[u8], name: &str) -> Result<Survey, ConvertError> {
    read_zip_within(archive, name, ZipLimits::default())
}

/// As [`read_zip`], with limits of the caller's own.
///
/// # Errors
/// As [`read_zip`].
pub fn read_zip_within(archive: &[u8], name: &str, limits: ZipLimits) -> Result<Survey, ConvertError> {
    read(
        &unpack(archive, limits)
            .map_err(|message| ConvertError::Form { place: None, message: format!("{name}: {message}") })?,
        name,
    )
}

fn unpack(archive: &[u8], limits: ZipLimits) -> Result<Vec<(String, Vec<u8>)>, String> {
    let damaged =
        |error: zip::result::ZipError| format!("not a zip archive that can be read, or a damaged one: {error}");
    let mut archive = ZipArchive::new(Cursor::new(archive)).map_err(damaged)?;
    if archive.len() > MOST_ENTRIES {
        return Err(format!("the archive has {} entries; more than {MOST_ENTRIES} are not read", archive.len()));
    }
    if archive.has_duplicate_names() {
        return Err("the archive has two files of one name, and tools differ in which of them they take; pack it anew"
            .to_owned());
    }
    if archive.has_overlapping_entries().map_err(damaged)? {
        return Err("files of the archive share their bytes, which no packing tool does; pack it anew".to_owned());
    }
    let mut tables = Vec::new();
    let mut root: Option<String> = None;
    for index in 0..archive.len() {
        let entry = archive.by_index_raw(index).map_err(damaged)?;
        let path = entry.name().map_err(damaged)?.into_owned();
        if path.starts_with('/') || path.contains(['\\', ':', '\0']) || path.split('/').any(|part| part == "..") {
            return Err(format!("the path {path:?} leads out of the archive or is not portable; pack the files anew"));
        }
        let (folder, file) = path.rsplit_once('/').unwrap_or(("", &path));
        // What one operating system adds beside each file; it would pass for a second package.
        if !file.to_lowercase().ends_with(".csv")
            || path.split('/').any(|part| part == "__MACOSX" || part.starts_with("._"))
        {
            continue;
        }
        if entry.encrypted() {
            return Err(format!("{path} is encrypted; pack the files without a password"));
        }
        if file == "document.csv" {
            match &root {
                Some(other) => {
                    return Err(format!(
                        "the archive has document.csv in {other:?} and in {folder:?}; pack one survey an archive"
                    ));
                }
                None => root = Some(folder.to_owned()),
            }
        }
        tables.push((index, folder.to_owned(), file.to_owned()));
    }
    let root = root.unwrap_or_default();
    let mut files = Vec::new();
    let mut left = limits.total;
    for (index, _, file) in tables.into_iter().filter(|(_, folder, _)| *folder == root) {
        let mut entry = archive.by_index(index).map_err(|error| format!("{file} cannot be unpacked: {error}"))?;
        let most = entry.compressed_size().saturating_mul(limits.ratio).max(HARMLESS).min(left);
        let mut bytes = Vec::new();
        let unpacked = entry.by_ref().take(most + 1).read_to_end(&mut bytes);
        unpacked.map_err(|error| format!("{file} cannot be unpacked: {error}"))?;
        let size = bytes.len() as u64;
        if size > most {
            let why = if most == left {
                "the tables are larger together than"
            } else {
                "it is packed tighter than any survey and would be larger than"
            };
            return Err(format!("{file} was not unpacked further: {why} {most} bytes"));
        }
        left -= size;
        files.push((file, bytes));
    }
    Ok(files)
}
