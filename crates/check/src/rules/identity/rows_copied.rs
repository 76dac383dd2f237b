//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::row_digest::RowDigest;
use crate::views::Ending;

rule! {
    /// # What it checks
    /// Consecutive rows of a run equal consecutive rows of a run through another pipe in distance,
    /// code, clock reference and amounts. The longest such sequence of a run is reported.
    ///
    /// # Exceptions
    /// - Rows of start, end, water levels, photos, remarks and the run itself do not count.
    ///
    /// # Exactly
    /// - Of the rows that count, at least `rows` follow each other in both runs, and they are equal
    ///   pair by pair in `at`, `to`, `code`, `characterisation`, `clock` and `quantities`.
    /// - At least `kinds` of them differ from each other in code, characterisation, clock reference
    ///   or amounts: joints at regular distances are equal in many pipes.
    /// - A run is compared with the earlier ones of the table; for each of its rows with the last
    ///   eight places that have it and the row after it. The finding is at the first of the rows.
    ///
    /// # Why it matters
    /// The rows were pasted into the wrong run, and this pipe is repaired for the defects of
    /// another.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/3/observations/1`:
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "LM-017", "kind": "manhole"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-103", "upstream": "LM-016", "downstream": "LM-017"}},
    ///  {"op": "add", "path": "/runs/0/observations/5", "value": {"id": "5a", "at": 99, "code": "joint.open", "quantities": [{"value": 20, "unit": "mm"}], "joint": true}},
    ///  {"op": "add", "path": "/runs/0/observations/6", "value": {"id": "5b", "at": 111, "code": "joint.displaced", "quantities": [{"value": 11, "unit": "mm"}], "joint": true}},
    ///  {"op": "copy", "from": "/runs/0", "path": "/runs/-"}, {"op": "replace", "path": "/runs/3/id", "value": "R-103"},
    ///  {"op": "replace", "path": "/runs/3/pipe", "value": "L-103"}, {"op": "remove", "path": "/runs/3/observations/1"}]
    /// ```
    ///
    /// # Passes
    /// The same pipe, surveyed again.
    /// ```json
    /// [{"op": "copy", "from": "/runs/0", "path": "/runs/-"}, {"op": "replace", "path": "/runs/3/id", "value": "R-103"}]
    /// ```
    /// Four of the rows.
    /// ```json
    /// [{"op": "add", "path": "/structures/-", "value": {"id": "LM-017", "kind": "manhole"}},
    ///  {"op": "add", "path": "/pipes/-", "value": {"id": "L-103", "upstream": "LM-016", "downstream": "LM-017"}},
    ///  {"op": "copy", "from": "/runs/0", "path": "/runs/-"}, {"op": "replace", "path": "/runs/3/id", "value": "R-103"},
    ///  {"op": "replace", "path": "/runs/3/pipe", "value": "L-103"}]
    /// ```
    ///
    /// # Fix
    /// Compare the rows with the video of this run, and remove or correct those that do not belong
    /// to it.
    name: "rows-copied", severity: Warning, scope: Ending, since: "0.1", clause: "runs#identity",
    concludes_from: ["runs", "runs.pipe", "observations", "observations.*"],
    limits: {
        "rows" = 6.0 "rows" "fewest rows; common practice, no published source",
        "kinds" = 4.0 "rows" "fewest different rows; common practice, no published source",
    },
    facts: {
        "other" = Id "the run that has the same rows",
        "rows" = Count "rows that are equal",
    },
}

/// How many earlier runs with one pair of rows are compared, so that the time stays linear.
const MAX_RUNS: usize = 8;

/// Two rows that follow each other in a run and, equal to them, in an earlier run through another
/// pipe: the runs by their index, and the first of the two rows.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Meeting {
    run: u32,
    row: u32,
    other: u32,
    other_row: u32,
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let (least, kinds) = (out.limit("rows"), out.limit("kinds"));
    let meetings = meetings(ending);
    for of_run in meetings.chunk_by(|a, b| a.run == b.run) {
        let mut best: Option<(usize, Meeting)> = None;
        for meeting in of_run {
            let rows = equal_rows(ending, meeting).len();
            if best.is_none_or(|(most, _)| rows > most) {
                best = Some((rows, *meeting));
            }
        }
        let Some((some, meeting)) = best else { continue };
        let rows = equal_rows(ending, &meeting);
        if !enough(some, least) || !enough(different(rows), kinds) {
            continue;
        }
        let summary = &ending.runs[meeting.run as usize];
        let other = &ending.runs[meeting.other as usize].run;
        let (id, pipe) = (other.id.as_str(), other.pipe.as_str());
        let message = format!(
            "{some} rows from here on are the same as in run {id:?} through {pipe:?}, distances included"
        );
        out.report(summary.subject(&format!("/observations/{}", rows[0].row)), message)
            .fact("other", id)
            .fact("rows", some);
    }
}

/// Whether a number of rows reaches a limit.
fn enough(rows: usize, limit: f64) -> bool {
    u32::try_from(rows).is_ok_and(|rows| f64::from(rows) >= limit)
}

/// The pairs of rows that two runs have, by run.
fn meetings(ending: &Ending<'_>) -> Vec<Meeting> {
    let mut pairs: Vec<(u32, u32, u32)> = Vec::new();
    for (summary, run) in ending.runs.iter().zip(0_u32..) {
        let keys = summary.figures.rows.windows(2).zip(0_u32..);
        pairs.extend(keys.map(|(pair, row)| (key(&pair[0], &pair[1]), run, row)));
    }
    pairs.sort_unstable();
    let mut meetings = Vec::new();
    for group in pairs.chunk_by(|a, b| a.0 == b.0).filter(|group| group.len() > 1) {
        for (index, (_, run, row)) in group.iter().enumerate() {
            let pipe = &ending.runs[*run as usize].run.pipe;
            let elsewhere =
                |(_, other, _): &&(u32, u32, u32)| ending.runs[*other as usize].run.pipe != *pipe;
            let others = group[..index].iter().rev().take(MAX_RUNS).filter(elsewhere);
            meetings.extend(others.map(|(_, other, other_row)| Meeting {
                run: *run,
                row: *row,
                other: *other,
                other_row: *other_row,
            }));
        }
    }
    meetings.sort_unstable();
    meetings
}

/// A number for two rows that follow each other.
fn key(first: &RowDigest, second: &RowDigest) -> u32 {
    (first.same.rotate_left(5) ^ second.same).wrapping_mul(0x9e37_79b1)
}

/// The rows of a run from a meeting on that equal those of the other run.
fn equal_rows<'d>(ending: &'d Ending<'_>, meeting: &Meeting) -> &'d [RowDigest] {
    let rows = &ending.runs[meeting.run as usize].figures.rows[meeting.row as usize..];
    let others = &ending.runs[meeting.other as usize].figures.rows[meeting.other_row as usize..];
    let equal = rows.iter().zip(others).take_while(|(a, b)| a.same == b.same);
    &rows[..equal.count()]
}

fn different(rows: &[RowDigest]) -> usize {
    let mut seen: Vec<u32> = rows.iter().map(|row| row.seen).collect();
    seen.sort_unstable();
    seen.dedup();
    seen.len()
}
