//! From the files of a package to its tables.

use obvert_model::read::Runs;
use obvert_model::tables::Head;

use super::file_of;
use super::records::Records;
use crate::tables::Rows;
use crate::tables::plan::{Plan, plan};
use crate::tables::read::{Stranger, form};
use crate::{ConvertError, Survey, flow, tables};

/// Reads the files of a package, each with its name: `runs.csv`. What is not a table of the root folder
/// (`datapackage.json`, media, a note) is passed over, a CSV file that is no table is an error. `name` is what
/// messages call the package.
///
/// # Errors
/// When the tables are not CSV as described at [the module](crate::csv), do not fit together, or do not describe a
/// valid document.
pub fn read<N: AsRef<str>, B: AsRef<[u8]>>(files: &[(N, B)], name: &str) -> Result<Survey, ConvertError> {
    let (tables, strangers) = open(files, name)?;
    match if strangers.is_empty() { tables::stream::survey(tables, file_of) } else { None } {
        Some(survey) => Ok(survey),
        None => read_whole(files, name),
    }
}

/// As [`read`](fn@crate::csv::read), by the road that holds the whole: it says what is wrong, and the other is held against it.
///
/// # Errors
/// As [`read`](fn@crate::csv::read).
#[doc(hidden)]
pub fn read_whole<N: AsRef<str>, B: AsRef<[u8]>>(files: &[(N, B)], name: &str) -> Result<Survey, ConvertError> {
    let (tables, strangers) = open(files, name)?;
    tables::read::read(tables, file_of, &strangers)
}

/// Reads the files of a package as a stream: calls `work` with the head and the runs to be taken from it, as
/// [`obvert_model::read::stream`] does. Beside the files themselves, memory is that of the head and of one run where the rows of
/// all tables stand in the order of the runs, as they are written; otherwise the whole is held, and `work` may be called again
/// for it. What it gave before is thrown away then, and also when the document turns out to be invalid.
///
/// # Errors
/// As [`read`].
pub fn read_stream<N: AsRef<str>, B: AsRef<[u8]>, T>(
    files: &[(N, B)],
    name: &str,
    mut work: impl FnMut(&Head, &mut dyn Runs) -> T,
) -> Result<T, ConvertError> {
    let (tables, strangers) = open(files, name)?;
    let fast = if strangers.is_empty() { tables::stream::stream(tables, &mut work) } else { None };
    flow::either(fast, || read_whole(files, name), &mut work)
}

fn open<'f, N: AsRef<str>, B: AsRef<[u8]>>(
    files: &'f [(N, B)],
    name: &str,
) -> Result<(Vec<Option<Records<'f>>>, Vec<Stranger>), ConvertError> {
    let (sources, strangers) = sources(plan(), files, name)?;
    let open = sources.into_iter().map(|source| source.map(|(file, bytes)| Records::open(file, bytes)).transpose());
    Ok((open.collect::<Result<_, _>>()?, strangers))
}

type Source<'f> = Option<(&'f str, &'f [u8])>;

/// The file of each table, and CSV files that are none.
fn sources<'f, N: AsRef<str>, B: AsRef<[u8]>>(
    plan: &Plan,
    files: &'f [(N, B)],
    name: &str,
) -> Result<(Vec<Source<'f>>, Vec<Stranger>), ConvertError> {
    let mut strangers = Vec::new();
    let mut sources: Vec<Source<'f>> = vec![None; plan.tables.len()];
    for (file, bytes) in files {
        let file = file.as_ref();
        if let Some(index) = plan.tables.iter().position(|table| file_of(table) == file) {
            if sources[index].replace((file, bytes.as_ref())).is_some() {
                return Err(form(file, 1, format!("{name} holds this table twice; keep one")));
            }
        } else if !file.contains('/') && file.to_lowercase().ends_with(".csv") {
            // Whatever else is wrong with it, it is none of the tables.
            let rows = Records::open(file, bytes.as_ref()).ok();
            let headings = rows.map_or_else(Vec::new, |rows| rows.headings().map(str::to_owned).collect());
            strangers.push(Stranger { name: file.to_owned(), headings });
        }
    }
    if sources.first().is_none_or(Option::is_none) {
        let message = format!(
            "{name}: there is no document.csv, which says the units, the code list and all else that holds for the whole survey; every package has one"
        );
        return Err(ConvertError::Form { place: None, message });
    }
    Ok((sources, strangers))
}
