//! The tables in one file: a zip archive.

use std::io::{Seek, Write};

use obvert_model::tables::Document;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

use super::{read, write};
use crate::unpack::{self, ZipLimits};
use crate::{ConvertError, LossReport, Survey};

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
        &files_of(archive, limits)
            .map_err(|message| ConvertError::Form { place: None, message: format!("{name}: {message}") })?,
        name,
    )
}

fn files_of(archive: &[u8], limits: ZipLimits) -> Result<Vec<(String, Vec<u8>)>, String> {
    let mut archive = unpack::open(archive)?;
    let mut tables = Vec::new();
    let mut root: Option<String> = None;
    for index in 0..archive.len() {
        let entry = archive.by_index_raw(index).map_err(|error| unpack::damaged(&error))?;
        let path = unpack::path_of(&entry)?;
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
        let mut bytes = Vec::new();
        let entry = archive.by_index(index).map_err(|error| format!("{file} cannot be unpacked: {error}"))?;
        unpack::inflate(entry, &file, limits, &mut left, |piece| {
            bytes.extend_from_slice(piece);
            Ok(())
        })?;
        files.push((file, bytes));
    }
    Ok(files)
}
