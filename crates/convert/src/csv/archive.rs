//! The CSV tables packed into one zip archive.

use std::io::{Seek, Write};

use obvert_model::read::RunReader;
use obvert_model::tables::Document;
use zip::write::{SimpleFileOptions, ZipFileBuilder};
use zip::{CompressionMethod, DateTime, ZipWriter};

use super::read::CsvTables;
use super::write_runs;
use crate::tables::source;
use crate::unpack;
use crate::{ConvertError, DocumentRuns, Input, LossReport, Output, Source, Survey, ZipLimits};

/// Writes a document as a zip archive with the files of [`write`](fn@crate::csv::write). Equal
/// documents give equal bytes: the archive stores no times and no owners.
///
/// # Errors
/// When the sink fails.
pub fn write_zip(document: &Document, sink: impl Write + Seek) -> Result<LossReport, ConvertError> {
    write_zip_runs(&mut DocumentRuns::new(document), sink)
}

/// Writes a survey that is read run by run. The bytes are those of [`write_zip`]. All tables are
/// written at the same time, and are kept in memory, compressed, until the last run has been read.
///
/// # Errors
/// When the survey turns out to be invalid, or the sink fails.
pub fn write_zip_runs(
    survey: &mut dyn RunReader<Error = ConvertError>,
    sink: impl Write + Seek,
) -> Result<LossReport, ConvertError> {
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(DateTime::default())
        .unix_permissions(0o644);
    let (files, losses) = write_runs(survey, |name| Ok(ZipFileBuilder::new(name, options)?))?;
    let mut archive = ZipWriter::new(sink);
    for (_, file) in files {
        let packed = file.finish().map_err(std::io::Error::from)?;
        archive.add_prepared_file(packed).map_err(std::io::Error::from)?;
    }
    archive.finish().map_err(std::io::Error::from)?.flush()?;
    Ok(losses)
}

/// Writes a survey into a zip archive.
pub(super) fn create(
    survey: &mut dyn RunReader<Error = ConvertError>,
    output: &mut Output<'_>,
) -> Result<LossReport, ConvertError> {
    write_zip_runs(survey, output.seekable()?)
}

/// Reads a zip archive of tables, which may be in a folder of the archive. Messages call it `name`.
///
/// # Errors
/// As [`read`](fn@crate::csv::read), and when the archive is damaged, encrypted, ambiguous, or
/// unpacks beyond [`ZipLimits::DEFAULT`].
pub fn read_zip(archive: &[u8], name: &str) -> Result<Survey, ConvertError> {
    open(Input::file(name, archive))?.survey()
}

/// Opens a zip archive of tables. The unpacked tables are kept; the archive is not.
pub(super) fn open<'a>(input: Input<'a>) -> Result<Box<dyn Source + 'a>, ConvertError> {
    let files = files_of(input.bytes(), input.limits())
        .map_err(|message| refused(input.name(), &message))?;
    let tables = Input::folder(input.name(), files);
    drop(input);
    Ok(source::source(CsvTables::new(tables)?))
}

fn refused(name: &str, message: &str) -> ConvertError {
    ConvertError::Format { place: None, message: format!("{name}: {message}") }
}

fn files_of(archive: &[u8], limits: ZipLimits) -> Result<Vec<(String, Vec<u8>)>, String> {
    let mut archive = unpack::open(archive)?;
    let mut tables = Vec::new();
    let mut root: Option<String> = None;
    for index in 0..archive.len() {
        let entry = archive.by_index_raw(index).map_err(|error| unpack::damaged(&error))?;
        let path = unpack::path_of(&entry)?;
        let (folder, file) = path.rsplit_once('/').unwrap_or(("", &path));
        // One operating system adds these files, and they would be taken for a second set of
        // tables.
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
                        "the archive has document.csv in {other:?} and in {folder:?}; pack each survey into its own archive"
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
        let entry = archive
            .by_index(index)
            .map_err(|error| format!("{file} cannot be unpacked: {error}"))?;
        unpack::inflate(entry, &file, limits, &mut left, |piece| {
            bytes.extend_from_slice(piece);
            Ok(())
        })?;
        files.push((file, bytes));
    }
    Ok(files)
}
