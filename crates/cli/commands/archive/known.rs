//! The surveys that were packed so far, by id, so that none gets into an archive twice.

use std::collections::HashMap;

use obvert::model::tables::Document;
use obvert::model::text::Digest;
use obvert::model::write;

use crate::Failure;

/// The surveys that were read so far: of each id, every content with the survey that first had it.
#[derive(Default)]
pub(super) struct Known(HashMap<String, Vec<(Digest, String)>>);

/// How a survey compares with those before it.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Standing {
    /// No survey before it has its id.
    New,
    /// This survey before it has its id and its content.
    Same(String),
    /// This survey, the first with its id, has another content.
    Clash(String),
}

impl Known {
    /// Compares a survey with those before it, and remembers it.
    pub(super) fn add(&mut self, document: &Document, name: &str) -> Result<Standing, Failure> {
        let digest = write::digest(document)?;
        let with_id = self.0.entry(document.head.id.to_string()).or_default();
        if let Some((_, same)) = with_id.iter().find(|(known, _)| *known == digest) {
            return Ok(Standing::Same(same.clone()));
        }
        let standing = match with_id.first() {
            Some((_, first)) => Standing::Clash(first.clone()),
            None => Standing::New,
        };
        with_id.push((digest, name.to_owned()));
        Ok(standing)
    }
}
