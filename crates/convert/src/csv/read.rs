//! From the files of a package to its tables.

use serde::Deserialize;

use super::file_of;
use super::records::Records;
use crate::tables::Rows;
use crate::tables::assemble::{Names, format_error};
use crate::tables::plan::plan;
use crate::tables::source::{self, Pass, TableFile, Tables};
use crate::tables::unknown_table::UnknownTable;
use crate::{ConvertError, Input, Source, Survey};

/// Reads the files of a package, each with its name: `runs.csv`. Files that are not CSV files of
/// the root folder (`datapackage.json`, media, notes) are skipped; a CSV file that is not a table
/// is an error. Messages call the package `name`.
///
/// # Errors
/// When the tables are not CSV as described at [the module](crate::csv), are inconsistent, or do
/// not describe a valid document.
pub fn read<N: AsRef<str>, B: AsRef<[u8]>>(
    files: &[(N, B)],
    name: &str,
) -> Result<Survey, ConvertError> {
    let files = files.iter().map(|(name, bytes)| (name.as_ref(), bytes.as_ref()));
    open(Input::folder(name, files))?.survey()
}

/// Opens the files of a package.
pub(super) fn open<'a>(input: Input<'a>) -> Result<Box<dyn Source + 'a>, ConvertError> {
    let mut tables = CsvTables::new(input)?;
    tables.shows_text = true;
    Ok(source::source(tables))
}

/// The files of a package.
pub(super) struct CsvTables<'a> {
    input: Input<'a>,
    /// For each table, the index of its file.
    files: Vec<Option<usize>>,
    unknown: Vec<UnknownTable>,
    notes: Vec<String>,
    /// Whether the package is a folder of files, not an archive.
    shows_text: bool,
}

impl<'a> CsvTables<'a> {
    pub(super) fn new(input: Input<'a>) -> Result<Self, ConvertError> {
        let mut unknown = Vec::new();
        let mut files: Vec<Option<usize>> = vec![None; plan().tables.len()];
        for (number, (file, bytes)) in input.files().enumerate() {
            let table = plan().tables.iter().position(|table| file_of(table) == file);
            let Some(index) = table else {
                if !file.contains('/') && is_csv(file) {
                    unknown.push(unknown_table(file, bytes));
                }
                continue;
            };
            if files[index].replace(number).is_some() {
                let message = format!("{} has two files for this table; keep one", input.name());
                return Err(format_error(file, 1, message));
            }
        }
        if files.first().is_none_or(Option::is_none) {
            let message = format!(
                "{}: there is no document.csv, which has the units, the code list and the other fields of the whole survey; \
                 every package has one",
                input.name()
            );
            return Err(ConvertError::Format { place: None, message });
        }
        let missing = missing_of(&input).into_iter();
        let note = |file| {
            format!("{file} is named in datapackage.json and is missing; the other tables are read")
        };
        Ok(Self { files, unknown, notes: missing.map(note).collect(), shows_text: false, input })
    }
}

/// A file that is not a table. Other errors in it do not matter.
fn unknown_table(file: &str, bytes: &[u8]) -> UnknownTable {
    let rows = Records::open(file, bytes).ok();
    let headings = rows.map(|rows| rows.headings().map(str::to_owned).collect());
    UnknownTable { name: file.to_owned(), headings: headings.unwrap_or_default() }
}

/// Whether the name of a file is that of a CSV file of the root folder.
pub(super) fn is_csv(file: &str) -> bool {
    file.to_ascii_lowercase().ends_with(".csv")
}

/// The missing tables that the description of a package names. Nothing else is read from the
/// description: the tables contain everything.
fn missing_of(input: &Input<'_>) -> Vec<String> {
    let described = input.files().find(|(file, _)| *file == super::schema::FILE);
    let package =
        described.and_then(|(_, bytes)| serde_json::from_slice::<Description>(bytes).ok());
    let resources = package.map(|package| package.resources).unwrap_or_default();
    let paths = resources.into_iter().filter_map(|resource| resource.path);
    let is_missing = |path: &String| !input.files().any(|(file, _)| file == *path);
    paths.filter(|path| !path.contains('/') && is_csv(path)).filter(is_missing).collect()
}

/// The part of `datapackage.json` that is read.
#[derive(Deserialize)]
struct Description {
    #[serde(default)]
    resources: Vec<Resource>,
}

#[derive(Deserialize)]
struct Resource {
    path: Option<String>,
}

impl TableFile for CsvTables<'_> {
    type Rows<'f>
        = Records<'f>
    where
        Self: 'f;

    const NAMES: Names = file_of;

    fn tables(&mut self, _: Pass) -> Result<Tables<'_, Records<'_>>, ConvertError> {
        let open = |file: &Option<usize>| {
            let (name, bytes) = self.input.file_at((*file)?)?;
            Some(Records::open(name, bytes))
        };
        let rows =
            self.files.iter().map(|file| open(file).transpose()).collect::<Result<_, _>>()?;
        Ok(Tables { rows, unknown: &self.unknown, compare: Box::new(|_| Ok(())) })
    }

    fn text(&self, file: &str) -> Option<&[u8]> {
        self.input.text(file).filter(|_| self.shows_text)
    }

    fn notes(&self) -> &[String] {
        &self.notes
    }
}
