//! See the rule's documentation below.

use std::collections::BTreeMap;

use obvert_model::number::Length;

use crate::sink::Sink;
use crate::views::{RowView, RunView};

rule! {
    /// # What it checks
    /// `rows` or more rows at one place record single cracks or fractures, and the code list has a
    /// code for all of them together. There is one finding for them, at the last row.
    ///
    /// # Exceptions
    /// - A row with the combined code is at the place as well (`observation-duplicate` compares
    ///   equal rows).
    /// - Some of them are exact duplicates (`observation-duplicate`).
    ///
    /// # Exactly
    /// Rows are at one place if they have the same `at` and the same end. By the code, or the code
    /// of `obvert-terms` that it links to, they are of one of the groups `surface-crack`, `crack` and
    /// `fracture`, of the codes *longitudinal*, *circumferential*, *helical* or *radiating* of it;
    /// the combined code is *complex*.
    ///
    /// # Why it matters
    /// Each row counts by itself in the totals of grades, so that one broken place counts several
    /// times, and its grade is lower than that of the pieces together.
    ///
    /// # Source
    /// Two cracks at one place are common: the crown and the invert of an overloaded rigid pipe.
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/observations/4/code`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 8, "code": "fracture.longitudinal", "clock": {"at": 12}, "grades": {"structural": 3}}},
    ///  {"op": "add", "path": "/runs/0/observations/3", "value":
    ///   {"id": "2b", "at": 8, "code": "fracture.longitudinal", "clock": {"at": 3}, "grades": {"structural": 3}}},
    ///  {"op": "add", "path": "/runs/0/observations/4", "value":
    ///   {"id": "2c", "at": 8, "code": "fracture.longitudinal", "clock": {"at": 9}, "grades": {"structural": 3}}}]
    /// ```
    ///
    /// # Passes
    /// Two of them.
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/2", "value":
    ///   {"id": "2a", "at": 8, "code": "fracture.longitudinal", "clock": {"at": 12}, "grades": {"structural": 3}}},
    ///  {"op": "add", "path": "/runs/0/observations/3", "value":
    ///   {"id": "2b", "at": 8, "code": "fracture.longitudinal", "clock": {"at": 6}, "grades": {"structural": 3}}}]
    /// ```
    ///
    /// # Fix
    /// Record them as one row with the combined code and an arc that covers them, or correct the
    /// distances if they are at different places.
    name: "combined-code-fits", severity: Warning, scope: Run, since: "0.1", clause: "observations#codes",
    needs: [Codes],
    limits: {
        "rows" = 3.0 "rows" "the number from which the combined code applies; common practice",
    },
    facts: { "rows" = Count "rows at the place", "combined" = Code "the combined code of `obvert-terms`" },
}

/// Groups of codes with a combined code, and that code.
const GROUPS: [(&str, &str); 3] = [
    ("surface-crack", "surface-crack.complex"),
    ("crack", "crack.complex"),
    ("fracture", "fracture.complex"),
];

/// The rows of a group at one place.
#[derive(Default)]
struct Place {
    rows: Vec<usize>,
    combined: bool,
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    // Rows at one distance are next to each other unless the run is out of order.
    let mut places: BTreeMap<usize, Place> = BTreeMap::new();
    let mut here: Option<(Length, Length)> = None;
    for row in run.rows() {
        let Some(term) = row.term() else { continue };
        let ends = (row.row.at, row.row.end());
        if here.is_some_and(|(at, _)| at != ends.0) {
            report(run, std::mem::take(&mut places), out);
            here = None;
        }
        let Some(number) = GROUPS.iter().position(|(group, _)| *group == term.group()) else {
            continue;
        };
        // Stretches that begin together and end apart are different defects.
        if here.is_some_and(|(_, end)| end != ends.1) {
            continue;
        }
        here = Some(ends);
        let place = places.entry(number).or_default();
        place.combined |= term.code == GROUPS[number].1;
        if !place.rows.iter().any(|other| is_duplicate(&run.row(*other), &row)) {
            place.rows.push(row.index);
        }
    }
    report(run, places, out);
}

fn is_duplicate(a: &RowView<'_>, b: &RowView<'_>) -> bool {
    a.row.equals_except_id(b.row)
}

fn report(run: &RunView<'_>, places: BTreeMap<usize, Place>, out: &mut Sink<'_>) {
    let least = out.limit("rows");
    for (number, Place { rows, combined }) in places {
        let Some(last) = rows.last().filter(|_| !combined && rows.len() as f64 >= least) else {
            continue;
        };
        let row = run.row(*last);
        let combined = GROUPS[number].1;
        let message = format!(
            "{} rows at {} record one broken place in parts; {combined} is the code for all of them",
            rows.len(),
            run.survey.format_length(row.row.at)
        );
        out.report(row.subject("/code"), message)
            .fact("rows", rows.len())
            .fact("combined", combined);
    }
}
