//! The account of a conversion: the format that was read, the format that was written, and every
//! value that was not carried over unchanged, each with its location in the source. It is the same
//! for every pair of formats, and it states explicitly if nothing was lost.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::loss::{Loss, LossKind, LossReport, Note};
use obvert_model::Location;

/// The version of the account's own format.
const VERSION: &str = "0.2";

/// The account of one conversion.
#[doc(alias = "loss report")]
#[doc(alias = "lossiness")]
#[non_exhaustive]
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Account {
    /// The version of the account's own format.
    pub account: String,
    /// What was read.
    pub from: End,
    /// What was written.
    pub to: End,
    /// The id of the document.
    pub document: String,
    /// Whether nothing of the document was lost: every entry is of the kind `defaulted`. The
    /// document comes back unchanged only if there are no entries at all.
    pub lossless: bool,
    /// How many entries there are of each kind.
    pub totals: Totals,
    /// The values that were not carried over unchanged, in the order of the document; translations
    /// of codes come first.
    pub entries: Vec<Entry>,
    /// Other notes about the output. They are not losses.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub notes: Vec<Remark>,
}

/// One end of a conversion.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct End {
    /// The file or folder, as it was named.
    pub file: String,
    /// Its format: the name of a format in the registry, or `layout` for an office's own table.
    pub format: String,
    /// The code list of its observations.
    pub code_list: String,
}

/// How many entries there are of each kind.
#[non_exhaustive]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Totals {
    /// Values that are not in the output.
    pub dropped: usize,
    /// Values that are in the output, but cannot be converted back exactly.
    pub changed: usize,
    /// Values that the conversion added.
    pub defaulted: usize,
    /// Codes that became a code with another meaning.
    pub translated: usize,
}

/// One value that was not carried over unchanged.
#[non_exhaustive]
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Entry {
    /// What happened.
    pub kind: LossKind,
    /// The value, as a JSON Pointer (RFC 6901) into the document that was read.
    pub pointer: String,
    /// Its location in the source.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub at: Option<At>,
    /// Why, in lower case without a full stop.
    pub message: String,
    /// The old value, if it is known, in the units of the output if those differ.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub was: Option<Value>,
    /// The new value, if there is one and it is known, in the units of the output.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub becomes: Option<Value>,
}

/// A note about the output that is not a loss.
#[non_exhaustive]
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Remark {
    /// Its subject, as a JSON Pointer (RFC 6901) into the document that was read.
    pub pointer: String,
    /// The location of the subject in the source.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub at: Option<At>,
    /// The note, in lower case without a full stop.
    pub message: String,
}

/// A location in the source.
#[non_exhaustive]
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct At {
    /// The file; the table's file for a folder or zip of tables, the sheet for a workbook, the
    /// table for a GeoPackage.
    pub file: String,
    /// Line, from 1. For CSV the line on which the row begins, for a workbook the row, for a
    /// GeoPackage the primary key.
    pub line: usize,
    /// Column in characters, or the number of a CSV file's, sheet's or table's column, from 1.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub column: Option<usize>,
    /// The heading of that column.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub heading: Option<String>,
}

impl From<Location> for At {
    fn from(place: Location) -> Self {
        let Location { file, line, column, heading } = place;
        Self { file, line, column, heading }
    }
}

impl Account {
    /// An account of the loss reports of one or more steps of a conversion. `place` returns the
    /// location of a pointer in the source.
    #[must_use]
    pub fn new<'r>(
        from: End,
        to: End,
        document: &str,
        reports: impl IntoIterator<Item = &'r LossReport>,
        mut place: impl FnMut(&str) -> Option<Location>,
    ) -> Self {
        let (mut entries, mut notes, mut totals) = (Vec::new(), Vec::new(), Totals::default());
        for report in reports {
            for loss in &report.losses {
                let Loss { kind, pointer, message, was, becomes, place: own } = loss.clone();
                totals.add(kind);
                let at = own.map(|own| *own).or_else(|| place(&pointer)).map(At::from);
                entries.push(Entry { kind, pointer, at, message, was, becomes });
            }
            for Note { pointer, message, .. } in &report.notes {
                let at = place(pointer).map(At::from);
                notes.push(Remark { pointer: pointer.clone(), at, message: message.clone() });
            }
        }
        let lossless = entries.iter().all(|entry| entry.kind == LossKind::Defaulted);
        Self {
            account: VERSION.to_owned(),
            from,
            to,
            document: document.to_owned(),
            lossless,
            totals,
            entries,
            notes,
        }
    }

    /// The schema of an account.
    #[must_use]
    pub fn schema() -> serde_json::Value {
        let example = serde_json::to_value(example()).into_iter().collect();
        obvert_model::schema::of::<Self>(
            "account",
            "Account of a conversion of an obvert survey document",
            example,
        )
    }
}

/// The account of a survey in CSV tables that was translated into another code list, where one code
/// has no equivalent.
fn example() -> Account {
    let end = |file: &str, format: &str, list: &str| End {
        file: file.into(),
        format: format.into(),
        code_list: list.into(),
    };
    let message = "access.manhole has no equivalent in en-13508-2; it becomes BDB, general remark";
    let loss = Loss {
        was: Some("access.manhole".into()),
        becomes: Some("BDB".into()),
        ..Loss::new(LossKind::Translated, "/runs/0/observations/1/code", message)
    };
    let report = LossReport { losses: vec![loss], notes: Vec::new() };
    let (file, heading) = ("survey/observations.csv".to_owned(), Some("code".to_owned()));
    Account::new(
        end("survey", "csv", "obvert-terms"),
        end("survey.xml", "xml", "en-13508-2"),
        "urn:uuid:0b1e5f0c-5c0e-4f43-9a53-6b7d0c1f9a20",
        [&report],
        |_| {
            Some(Location {
                file: file.clone(),
                line: 3,
                column: Some(9),
                heading: heading.clone(),
            })
        },
    )
}

impl Totals {
    fn add(&mut self, kind: LossKind) {
        *match kind {
            LossKind::Dropped => &mut self.dropped,
            LossKind::Changed => &mut self.changed,
            LossKind::Defaulted => &mut self.defaulted,
            LossKind::Translated => &mut self.translated,
        } += 1;
    }
}
