//! The original coding of a translated observation, which is kept in its extensions.

use obvert_model::extension::{Extensions, Json};
use obvert_model::lists::CodeList;
use obvert_model::tables::{Observation, Quantity};
use obvert_model::text::{CodeId, ExtensionKey, Text};
use serde::{Deserialize, Serialize};

pub use obvert_model::lists::ORIGINAL;

/// The values of an observation that a translation changes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Coded {
    pub(super) code: CodeId,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(super) characterisation: Vec<Text>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(super) quantities: Vec<Quantity>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) remark: Option<Text>,
}

impl Coded {
    pub(super) fn of(row: &Observation) -> Self {
        Self {
            code: row.code.clone(),
            characterisation: row.characterisation.clone(),
            quantities: row.quantities.clone(),
            remark: row.remark.clone(),
        }
    }

    pub(super) fn put_into(self, mut row: Observation) -> Observation {
        (row.code, row.characterisation) = (self.code, self.characterisation);
        (row.quantities, row.remark) = (self.quantities, self.remark);
        row
    }

    pub(super) fn same_but_for_remark(&self, other: &Self) -> bool {
        self.code == other.code
            && self.characterisation == other.characterisation
            && self.quantities == other.quantities
    }
}

/// The content of the extension.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Original {
    list: Text,
    version: Text,
    #[serde(flatten)]
    pub(super) coded: Coded,
    /// A list, since the previous value may be `null`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    earlier: Vec<Json>,
}

impl Original {
    /// The original coding of an observation; `None` if there is none, or the extension has other
    /// content.
    pub(super) fn of(row: &Observation) -> Option<Self> {
        let json = serde_json::to_value(row.extensions.as_ref()?.entries().get(ORIGINAL)?).ok()?;
        let kept: Self = serde_json::from_value(json.clone()).ok()?;
        // Additional content would be lost.
        (serde_json::to_value(&kept).ok()? == json).then_some(kept)
    }

    pub(super) fn is_of(&self, list: &CodeList) -> bool {
        self.list == list.id && self.version == list.version
    }

    /// Keeps a coding in an observation, with the previous value of the extension.
    pub(super) fn keep(mut row: Observation, list: &CodeList, coded: Coded) -> Observation {
        let earlier = row
            .extensions
            .as_ref()
            .and_then(|all| all.entries().get(ORIGINAL).cloned())
            .into_iter()
            .collect();
        let kept = Self { list: list.id.clone(), version: list.version.clone(), coded, earlier };
        // Codes, texts and amounts that were read can always be written as JSON.
        put(
            &mut row,
            serde_json::to_value(&kept).ok().and_then(|value| serde_json::from_value(value).ok()),
        );
        row
    }

    /// The original observation, with a remark, and with the previous value of the extension.
    pub(super) fn restored(&self, row: &Observation, remark: Option<Text>) -> Observation {
        let mut row = Coded { remark, ..self.coded.clone() }.put_into(row.clone());
        put(&mut row, self.earlier.first().cloned());
        row
    }
}

/// Replaces the value of [`ORIGINAL`] in an observation.
fn put(row: &mut Observation, kept: Option<Json>) {
    let mut rest = row.extensions.take().and_then(|all| all.without(ORIGINAL));
    if let (Ok(key), Some(kept)) = (ExtensionKey::new(ORIGINAL), kept) {
        match &mut rest {
            // A value that was nested to the limit is now too deep.
            Some(rest) => drop(rest.insert(key, kept)),
            None => rest = Extensions::new([(key, kept)]).ok(),
        }
    }
    row.extensions = rest.map(Box::new);
}
