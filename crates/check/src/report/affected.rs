//! The pipes and runs that have findings, and the ids of the rows that findings are about. With
//! these, other formats of the report can group and draw findings without the document.

use std::collections::BTreeSet;

use obvert_model::tables::{Head, Pipe};
use rustc_hash::FxHashSet;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::report::Report;
use crate::views::{Ending, RunSummary};

/// A pipe that has listed findings. Lengths are in the document's length unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct AffectedPipe {
    /// The pipe's id.
    pub pipe: String,
    /// The structure at its upper end, if the document has the pipe.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub upstream: Option<String>,
    /// The structure at its lower end; a lateral that joins a pipe has none.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub downstream: Option<String>,
    /// Its length.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub length: Option<f64>,
    /// Every run through it, in the order of the document.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub runs: Vec<AffectedRun>,
}

/// A run through a pipe that has findings. Lengths are in the document's length unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct AffectedRun {
    /// The run's id.
    pub run: String,
    /// Whether it went against the flow.
    pub upstream: bool,
    /// The structure that it started at, if recorded.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub from: Option<String>,
    /// The structure that it went to, if recorded.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub to: Option<String>,
    /// From the centre of the start structure to the counter's zero point, if recorded.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub offset: Option<f64>,
    /// What the counter showed at the zero point, if recorded.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub reads: Option<f64>,
    /// The counter's last reading, if recorded.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub surveyed: Option<f64>,
}

/// Adds the affected pipes, and the ids of the rows that listed findings are about. `more_pipes`
/// are pipes of findings that are added later.
pub(crate) fn describe(report: &mut Report, ending: &Ending<'_>, more_pipes: &BTreeSet<String>) {
    let head = ending.survey.head;
    for finding in &mut report.findings {
        finding.subject.record = record(head, &finding.subject.path);
    }
    let affected: FxHashSet<&str> = report
        .findings
        .iter()
        .filter_map(|finding| match (&finding.subject.pipe, &finding.subject.run) {
            (Some(pipe), _) => Some(pipe.as_str()),
            (None, Some(run)) => ending.run_named(run).map(|summary| summary.run.pipe.as_str()),
            (None, None) => None,
        })
        .chain(more_pipes.iter().map(String::as_str))
        .collect();
    let known = head.pipes.iter().filter(|pipe| affected.contains(pipe.id.as_str()));
    let mut pipes: Vec<AffectedPipe> = known.map(|known| pipe(known, ending)).collect();
    // Runs can name a pipe that the document does not have.
    let mut seen = FxHashSet::default();
    for summary in ending.runs {
        let id = summary.run.pipe.as_str();
        if affected.contains(id) && ending.survey.pipe(id).is_none() && seen.insert(id) {
            pipes.push(AffectedPipe {
                pipe: id.to_owned(),
                runs: runs(id, ending),
                ..AffectedPipe::default()
            });
        }
    }
    if let Some(document) = report.documents.first_mut() {
        document.affected_pipes = pipes;
    }
}

fn pipe(pipe: &Pipe, ending: &Ending<'_>) -> AffectedPipe {
    AffectedPipe {
        pipe: pipe.id.to_string(),
        upstream: Some(pipe.upstream.to_string()),
        downstream: pipe.downstream.as_ref().map(ToString::to_string),
        length: pipe.length.map(|length| length.get()),
        runs: runs(&pipe.id, ending),
    }
}

fn runs(pipe: &str, ending: &Ending<'_>) -> Vec<AffectedRun> {
    ending.runs_of(pipe).map(run).collect()
}

fn run(summary: &RunSummary) -> AffectedRun {
    let run = &summary.run;
    let counter = run.counter.as_ref();
    AffectedRun {
        run: run.id.to_string(),
        upstream: run.direction == obvert_model::tables::Direction::Upstream,
        from: run.from.as_ref().map(ToString::to_string),
        to: run.to.as_ref().map(ToString::to_string),
        offset: counter.and_then(|counter| counter.offset).map(|length| length.get()),
        reads: counter.and_then(|counter| counter.reads).map(|length| length.get()),
        surveyed: run.surveyed.map(|length| length.get()),
    }
}

/// The id of the row that a path leads into, for tables other than pipes and runs.
fn record(head: &Head, path: &str) -> Option<String> {
    let mut tokens = path.split('/').skip(1);
    let (table, row) = (tokens.next()?, tokens.next()?.parse::<usize>().ok()?);
    let id = match table {
        "parties" => head.parties.get(row)?.id.to_string(),
        "equipment" => head.equipment.get(row)?.id.to_string(),
        "structures" => head.structures.get(row)?.id.to_string(),
        "media" => head.media.get(row)?.id.to_string(),
        "locates" => head.locates.get(row)?.id.to_string(),
        "ratings" => head.ratings.get(row)?.id.to_string(),
        _ => return None,
    };
    Some(id)
}
