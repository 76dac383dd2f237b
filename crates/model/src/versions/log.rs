//! The log of a migration, as data, for archives and software.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::{Migrated, Step};
use crate::edit::Edit;

/// The version of the log's format.
const VERSION: &str = "0.1";

/// The log of a migration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Migration {
    /// The version of the log's format.
    pub migration: String,
    /// The documents, in the order given.
    pub documents: Vec<MigratedDocument>,
}

/// The migration of one document.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MigratedDocument {
    /// The file, as it was named.
    pub file: String,
    /// The version that it had; absent if it could not be migrated.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub from: Option<String>,
    /// The version that it has now, or would have.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub to: Option<String>,
    /// The file that it was written to; absent if it was not written.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub written: Option<String>,
    /// The steps that changed something, in order.
    pub steps: Vec<AppliedStep>,
    /// Why it could not be migrated.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub error: Option<String>,
}

/// A step that changed something.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AppliedStep {
    /// Its name.
    pub name: String,
    /// The version that it starts from.
    pub from: String,
    /// The version that it results in.
    pub to: String,
    /// What it does, in words. Not stable.
    pub does: String,
    /// Whether the document keeps all of its information.
    pub lossless: bool,
    /// What it changed, as operations of RFC 6902.
    pub edits: Vec<Edit>,
}

impl AppliedStep {
    pub(super) fn of(step: &Step, edits: Vec<Edit>) -> Self {
        Self {
            name: step.name.into(),
            from: step.from.into(),
            to: step.to.into(),
            does: step.does.into(),
            lossless: step.lossless,
            edits,
        }
    }
}

impl Migration {
    /// A log of documents.
    #[must_use]
    pub fn new(documents: Vec<MigratedDocument>) -> Self {
        Self { migration: VERSION.into(), documents }
    }

    /// The schema of a log.
    #[must_use]
    pub fn schema() -> Value {
        let example =
            super::migrate(include_bytes!("../../data/versions/example-0.1.json"), super::CURRENT)
                .ok();
        let documents = example
            .iter()
            .map(|migrated| MigratedDocument::of("plover-street.obvert.json", migrated));
        let example = serde_json::to_value(Self::new(documents.collect())).ok();
        let title = "Log of the migration of obvert survey documents";
        crate::schema::of::<Self>("migration", title, example.into_iter().collect())
    }
}

impl MigratedDocument {
    /// The migration of a document, with its file name.
    #[must_use]
    pub fn of(file: &str, migrated: &Migrated) -> Self {
        Self {
            file: file.into(),
            from: Some(migrated.from.into()),
            to: Some(migrated.to.into()),
            written: None,
            steps: migrated.steps.clone(),
            error: None,
        }
    }

    /// A document that could not be migrated, with its file name.
    #[must_use]
    pub fn failed(file: &str, error: &str) -> Self {
        Self { file: file.into(), error: Some(error.into()), ..Self::default() }
    }
}
