//! See the rule's documentation below.

use rustc_hash::FxHashMap;

use crate::sink::Sink;
use crate::views::{Ending, RunSummary};

rule! {
    /// # What it checks
    /// Two runs of a pipe have the same rows: the run was entered twice, or the rows were copied
    /// from another run.
    ///
    /// # Exceptions
    /// - Fewer than two rows lie between the first and the last distance, so that two runs of a
    ///   pipe without defects may be equal.
    ///
    /// # Exactly
    /// Rows are the same if `at`, `to`, `code` and the amounts are equal, in the same order. The
    /// rows between are counted by their different distances. The later run is reported.
    ///
    /// # Why it matters
    /// Every defect and the surveyed length count twice.
    ///
    /// # Fails
    /// At `/runs/3`:
    /// ```json
    /// [{"op": "copy", "from": "/runs/0", "path": "/runs/-"}, {"op": "replace", "path": "/runs/3/id", "value": "R-103"}]
    /// ```
    ///
    /// With other times and in the other direction. At `/runs/3`:
    /// ```json
    /// [{"op": "copy", "from": "/runs/0", "path": "/runs/-"}, {"op": "replace", "path": "/runs/3/id", "value": "R-103"},
    ///  {"op": "replace", "path": "/runs/3/direction", "value": "upstream"},
    ///  {"op": "replace", "path": "/runs/3/started", "value": "2026-05-06T13:05:00-05:00"},
    ///  {"op": "replace", "path": "/runs/3/finished", "value": "2026-05-06T13:20:00-05:00"}]
    /// ```
    ///
    /// # Passes
    /// One distance differs.
    /// ```json
    /// [{"op": "copy", "from": "/runs/0", "path": "/runs/-"}, {"op": "replace", "path": "/runs/3/id", "value": "R-103"},
    ///  {"op": "replace", "path": "/runs/3/observations/4/at", "value": 96.4}]
    /// ```
    /// Nothing between start and finish.
    /// ```json
    /// [{"op": "copy", "from": "/runs/2", "path": "/runs/-"}, {"op": "replace", "path": "/runs/3/id", "value": "R-103"}]
    /// ```
    ///
    /// # Fix
    /// Remove the copy, or enter the run's own rows.
    name: "run-copied", severity: Error, scope: Ending, since: "0.1", clause: "runs#identity",
    concludes_from: ["observations.*"],
    facts: {
        "other" = Id "the first run",
        "rows" = Count "rows of each run",
    },
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let mut seen: FxHashMap<(&str, u64, usize), &RunSummary> = FxHashMap::default();
    for summary in ending.runs {
        let Some(content) = summary.figures.content else { continue };
        let key = (summary.run.pipe.as_str(), content, summary.figures.observations);
        let Some(first) = seen.get(&key) else {
            seen.insert(key, summary);
            continue;
        };
        let (id, rows) = (first.run.id.as_str(), summary.figures.observations);
        let message = format!("the run is a copy of run {id:?}: all {rows} rows are the same");
        out.report(summary.subject(""), message).fact("other", id).fact("rows", rows);
    }
}
