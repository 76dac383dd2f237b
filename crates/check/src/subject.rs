//! What a finding is about: a location in the document, and the pipe, run and observation that it
//! belongs to.

#[cfg(feature = "diagnose")]
use obvert_model::read::PartialRun;
use obvert_model::tables::Run;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
#[cfg(feature = "diagnose")]
use serde_json::Value;

/// What a finding, or a fix, is about.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Subject {
    /// The location, as a JSON Pointer (RFC 6901) into the document.
    pub path: String,
    /// The id of the row at `path`, if it is a structure, a media file, a locate, a rating, a party
    /// or a piece of equipment.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub record: Option<String>,
    /// The pipe.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pipe: Option<String>,
    /// The run.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub run: Option<String>,
    /// The observation.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub observation: Option<String>,
    /// The distance along the run, in the document's length unit.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub distance: Option<f64>,
}

impl Subject {
    /// A location outside of pipes and runs.
    #[must_use]
    pub fn at(path: impl Into<String>) -> Self {
        Self { path: path.into(), ..Self::default() }
    }

    /// A field of a run, or the run itself if `field` is empty.
    pub(crate) fn of_run(index: usize, run: &Run, field: &str) -> Self {
        Self {
            pipe: Some(run.pipe.to_string()),
            run: Some(run.id.to_string()),
            ..Self::at(format!("/runs/{index}{field}"))
        }
    }

    /// The subject in words: `pipe P-102, run R-03, observation 10, at 80 ft`. `None` for the whole
    /// document.
    #[must_use]
    pub fn describe(&self, length_unit: Option<&str>) -> Option<String> {
        let mut parts = Vec::new();
        if let Some(record) = &self.record {
            parts.push(format!("{} {record}", row_word(&self.path)));
        }
        let ids = [("pipe", &self.pipe), ("run", &self.run), ("observation", &self.observation)];
        parts.extend(
            ids.into_iter().filter_map(|(word, id)| id.as_ref().map(|id| format!("{word} {id}"))),
        );
        if let Some(distance) = self.distance {
            parts.push(
                format!("at {distance} {}", length_unit.unwrap_or_default()).trim_end().to_owned(),
            );
        }
        (!parts.is_empty()).then(|| parts.join(", "))
    }

    /// Fills in the ids from a document as a JSON value, for a document with structural problems
    /// that cannot be read into types.
    #[cfg(feature = "diagnose")]
    pub(crate) fn complete_from(&mut self, document: &Value) {
        let runs = || document.get("runs").and_then(Value::as_array);
        match self.path.strip_prefix("/runs/").and_then(|path| path.split('/').next()) {
            Some(row) => {
                let run = row.parse::<usize>().ok().and_then(|row| runs()?.get(row));
                run.into_iter().for_each(|run| self.complete_from_run(run));
            }
            None => self.complete_from_table(document, |id| {
                let run =
                    runs()?.iter().find(|run| run.get("id").and_then(Value::as_str) == Some(id));
                text(run?, "pipe")
            }),
        }
    }

    /// The same for a location in a table of the head. `pipe_of` gives the pipe of a run.
    #[cfg(feature = "diagnose")]
    pub(crate) fn complete_from_table(
        &mut self,
        head: &Value,
        pipe_of: impl Fn(&str) -> Option<String>,
    ) {
        let tokens: Vec<&str> = self.path.split('/').skip(1).take(2).collect();
        let [table, row] = tokens.as_slice() else { return };
        let row = row.parse::<usize>().ok();
        let record = row.and_then(|row| head.get(*table)?.get(row));
        record.into_iter().for_each(|record| self.complete_from_record(record, &pipe_of));
    }

    /// The same for a location in a row of such a table.
    #[cfg(feature = "diagnose")]
    pub(crate) fn complete_from_record(
        &mut self,
        record: &Value,
        pipe_of: impl Fn(&str) -> Option<String>,
    ) {
        if self.path.starts_with("/pipes/") {
            self.pipe = text(record, "id");
            return;
        }
        self.record = text(record, "id");
        self.run = text(record, "run");
        self.distance = number(record, "at").filter(|_| self.run.is_some());
        self.pipe = text(record, "pipe").or_else(|| pipe_of(self.run.as_deref()?));
    }

    /// The same for a location in a row of a run: the run with its observations, or one of them.
    #[cfg(feature = "diagnose")]
    pub(crate) fn complete_from_row<'v>(
        &mut self,
        found: &PartialRun<'_>,
        row: impl FnOnce() -> &'v Value,
    ) {
        let full = |text: &Option<String>| text.clone().filter(|text| !text.is_empty());
        (self.pipe, self.run) = (full(&found.pipe), full(&found.id));
        let tokens: Vec<&str> = self.path.split('/').skip(3).take(2).collect();
        let ["observations", index] = tokens.as_slice() else { return };
        let Ok(index) = index.parse::<usize>() else { return };
        let row = row();
        let row = match row.get("observations") {
            Some(rows) => rows.get(index),
            None => Some(row),
        };
        let Some(row) = row else { return };
        self.observation = text(row, "id");
        self.distance = number(row, "at");
    }

    /// The same for a location in a run.
    #[cfg(feature = "diagnose")]
    pub(crate) fn complete_from_run(&mut self, run: &Value) {
        self.pipe = text(run, "pipe");
        self.run = text(run, "id");
        let tokens: Vec<&str> = self.path.split('/').skip(3).take(2).collect();
        let ["observations", row] = tokens.as_slice() else { return };
        let row = row.parse::<usize>().ok();
        let Some(observation) = row.and_then(|row| run.get("observations")?.get(row)) else {
            return;
        };
        self.observation = text(observation, "id");
        self.distance = number(observation, "at");
    }
}

/// The word for a row of the table that a path is in.
fn row_word(path: &str) -> &'static str {
    match path.split('/').nth(1) {
        Some("parties") => "party",
        Some("equipment") => "equipment",
        Some("structures") => "structure",
        Some("media") => "media file",
        Some("locates") => "locate",
        Some("ratings") => "rating",
        _ => "row",
    }
}

#[cfg(feature = "diagnose")]
fn text(record: &Value, key: &str) -> Option<String> {
    record.get(key)?.as_str().filter(|text| !text.is_empty()).map(str::to_owned)
}

#[cfg(feature = "diagnose")]
fn number(record: &Value, key: &str) -> Option<f64> {
    record.get(key)?.as_f64()
}
