//! An office's own table, workbook or XML file of pipe inspections, read, written and drafted by a layout
//! ([`obvert_model::layout`]): usually one row per observation, with what is known of its pipe and run repeated in every row.
//!
//! - Rows with the same `pipes.id` belong to one pipe, rows with the same `runs.id` to one run, in the order of the file, and must
//!   agree on what they say of it. Structures come from the pipes' ends, media from the columns that name them.
//! - The table can be text, a sheet of a workbook (feature `xlsx`) or an XML file.
//! - A cell that cannot be read is a problem with its row, its column, the text found and what was expected. All problems are
//!   reported at once.
//! - Whatever is written is read again by the same layout. The loss report lists what does not come back, so it is empty exactly
//!   when the table holds everything.

#[cfg(feature = "xlsx")]
mod book;
mod bytes;
mod cells;
mod difference;
mod draft;
mod forms;
mod grid;
mod headed;
mod moment;
mod needs;
mod nested;
mod pattern;
mod read;
mod row;
mod seen;
mod units;
mod unsurveyed;
mod whole;
mod write;

pub use draft::{Draft, Drafted, draft, draft_sheet};
pub use grid::{Grid, GridCell, GridRow, Kept};
pub use read::{read, read_rows};
pub use write::write;
#[cfg(feature = "xlsx")]
pub use write::write_workbook;

use obvert_model::layout::Layout;
use obvert_model::lists::{Code, CodeList};
use serde_json::{Map, Value};

/// When a record was issued, in a draft of a table that does not say it: no survey is as old, so nobody takes it for true.
const UNSAID: &str = "2000-01-01T00:00:00Z";

/// The code list that a layout's table is coded in, where it is at hand.
fn code_list<'l>(layout: &Layout, lists: &'l [CodeList]) -> Option<&'l CodeList> {
    let (id, version) = (layout.fixed_text("coding.list")?, layout.fixed_text("coding.version")?);
    let own = lists.iter().find(|list| *list.id == *id && *list.version == *version);
    own.or_else(|| CodeList::built_ins().into_iter().find(|list| *list.id == *id && *list.version == *version))
}

/// The unit of an amount that stands without one, by what the code list says of it.
fn implied_unit(code: Option<&Code>, characterisation: &[String], place: usize) -> Option<&'static str> {
    code?.amounts(characterisation).nth(place).map(|amount| amount.unit.as_str())
}

/// Puts a value at the keys below an object.
fn put(object: &mut Map<String, Value>, keys: &[&str], value: Value) {
    match keys {
        [] => {}
        [last] => {
            object.insert((*last).to_owned(), value);
        }
        [first, rest @ ..] => {
            let below = object.entry((*first).to_owned()).or_insert_with(|| Value::Object(Map::new()));
            if let Some(below) = below.as_object_mut() {
                put(below, rest, value);
            }
        }
    }
}

/// The value at keys joined by points.
fn at<'v>(object: &'v Map<String, Value>, path: &str) -> Option<&'v Value> {
    let (first, rest) = path.split_once('.').map_or((path, None), |(first, rest)| (first, Some(rest)));
    let value = object.get(first)?;
    rest.map_or(Some(value), |rest| at(value.as_object()?, rest))
}

/// The value at keys joined by points, below a value.
fn below<'v>(value: &'v Value, path: &str) -> Option<&'v Value> {
    at(value.as_object()?, path)
}

/// A text with the fields in its braces filled in; `None` where one is absent.
fn fill(text: &str, field: &dyn Fn(&str) -> Option<String>) -> Option<String> {
    let mut pieces = text.split('{');
    let mut filled = pieces.next().unwrap_or_default().to_owned();
    for piece in pieces {
        let (path, rest) = piece.split_once('}')?;
        filled.push_str(&field(path)?);
        filled.push_str(rest);
    }
    Some(filled)
}

/// A value as it stands in a text.
fn said(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}
