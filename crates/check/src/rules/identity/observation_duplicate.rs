//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// Two observations of a run are the same, or rows are repeated farther down. Rules about
    /// order, the counter and overlapping stretches skip repeated rows.
    ///
    /// # Exceptions
    /// - Stretches at one distance (`stretch-overlap`).
    /// - Two rows at one distance, if the counter shows steps of 0.3 m (a foot) or more: what is at
    ///   one reading need not be at one place.
    ///
    /// # Exactly
    /// Two rows at one distance are the *same* if code, characterisation, amounts, clock reference,
    /// joint, `joins` and flow are equal (absent ones only to absent ones), and neither remarks nor
    /// media differ where both have them. A row that is no stretch is compared with the sixteen
    /// rows directly above it, as far as they are at its distance and no stretches; `other` is the
    /// nearest.
    ///
    /// Several rows are *repeated* if the first lies before the row above it and they equal, in all
    /// keys but `id`, as many consecutive rows above them, of which the last lies beyond the first.
    /// Of the first sixteen rows above at the distance of the first, the one counts that gives the
    /// longest sequence; of equals, the first. No row of a sequence begins another. The finding is
    /// at the first row.
    ///
    /// A single row is *repeated* if all of these hold:
    ///
    /// - it is in no such sequence;
    /// - it is not in order with the rows above and below it, and those are with each other;
    /// - it equals, in all keys but `id`, another row that is in order with those above and below
    ///   it, among the first sixteen at that distance.
    ///
    /// Two rows are in order if the lower one does not lie before the upper.
    ///
    /// # Why it matters
    /// A defect entered twice counts twice, in grades and costs. Repeated rows look like a counter
    /// reset, and adding to their distances would make it worse.
    ///
    /// # Fails
    /// At `/runs/0/observations/4`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 31.9, "code": "connection.preformed",
    ///   "quantities": [{"value": 4, "unit": "in"}], "clock": {"at": 2}}}]
    /// ```
    /// Three rows pasted twice, at `/runs/0/observations/6`:
    /// ```json
    /// [{"op": "copy", "from": "/runs/0/observations/3", "path": "/runs/0/observations/6"},
    ///  {"op": "copy", "from": "/runs/0/observations/4", "path": "/runs/0/observations/7"},
    ///  {"op": "copy", "from": "/runs/0/observations/5", "path": "/runs/0/observations/8"},
    ///  {"op": "replace", "path": "/runs/0/observations/6/id", "value": "4a"},
    ///  {"op": "replace", "path": "/runs/0/observations/7/id", "value": "5a"},
    ///  {"op": "replace", "path": "/runs/0/observations/8/id", "value": "6a"}]
    /// ```
    /// One row pasted farther down, at `/runs/0/observations/6`:
    /// ```json
    /// [{"op": "copy", "from": "/runs/0/observations/3", "path": "/runs/0/observations/6"},
    ///  {"op": "replace", "path": "/runs/0/observations/6/id", "value": "4a"}]
    /// ```
    /// With a row between, at `/runs/0/observations/5`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 31.9, "code": "note.remark", "remark": "clean"}},
    ///  {"op": "add", "path": "/runs/0/observations/5", "value": {"id": "4b", "at": 31.9, "code": "connection.preformed",
    ///   "quantities": [{"value": 4, "unit": "in"}], "clock": {"at": 2}}}]
    /// ```
    ///
    /// # Passes
    /// On the other side of the pipe.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 31.9, "code": "connection.preformed",
    ///   "quantities": [{"value": 4, "unit": "in"}], "clock": {"at": 10}}}]
    /// ```
    /// Two general photos at one distance.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 60, "code": "note.photo", "media": [{"id": "M-1"}]}},
    ///  {"op": "add", "path": "/runs/0/observations/5", "value": {"id": "4b", "at": 60, "code": "note.photo", "media": [{"id": "M-3"}]}}]
    /// ```
    /// Only one of the two names the lateral.
    /// ```json
    /// [{"op": "add", "path": "/pipes/-", "value": {"id": "L-3", "upstream": "LM-016", "joins": {"pipe": "L-101", "at": 31.9, "clock": 2}}},
    ///  {"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 31.9, "code": "connection.preformed",
    ///   "quantities": [{"value": 4, "unit": "in"}], "clock": {"at": 2}, "joins": "L-3"}}]
    /// ```
    ///
    /// Two fittings within a foot, by a counter in whole feet.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/4", "value": {"id": "4a", "at": 31.9, "code": "connection.preformed",
    ///   "quantities": [{"value": 4, "unit": "in"}], "clock": {"at": 2}}}, {"op": "replace", "path": "/runs/0/counter/resolution", "value": 1}]
    /// ```
    ///
    /// # Fix
    /// Remove one of the two; if there really are two defects, distinguish them in a remark.
    name: "observation-duplicate", severity: Warning, scope: Run, since: "0.1", clause: "observations#order",
    facts: {
        "other" = Id "the row that is repeated, or the first of several",
        "rows" = Count "consecutive rows that are repeated" if "several are",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let rows = &run.run.observations;
    for repeat in run.repeated_rows() {
        let (first, last) = (&rows[repeat.of], &rows[repeat.of + repeat.rows - 1]);
        let (from, to) = (run.survey.format_length(first.at), run.survey.format_length(last.at));
        if repeat.rows == 1 {
            let message = format!("the row repeats observation {:?} at {from}", first.id.as_str());
            out.report(run.row(repeat.from).subject(""), message)
                .fact("other", first.id.as_str())
                .help(
                    "remove the row if it was pasted or imported twice; do not change its distance",
                );
            continue;
        }
        let message = format!(
            "{} rows from here on repeat observations {:?} to {:?}, from {from} to {to}",
            repeat.rows,
            first.id.as_str(),
            last.id.as_str()
        );
        out.report(run.row(repeat.from).subject(""), message)
            .fact("other", first.id.as_str())
            .fact("rows", repeat.rows)
            .help("remove the rows if they were pasted or imported twice; do not change their distances");
    }
    for (duplicate, first) in run.duplicates() {
        let (row, id) = (&rows[*duplicate], rows[*first].id.as_str());
        let message = format!(
            "{:?} at {} is already recorded as observation {id:?}",
            row.code.as_str(),
            run.survey.format_length(row.at)
        );
        out.report(run.row(*duplicate).subject(""), message).fact("other", id);
    }
}
