//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::run_extent::exceeds;
use crate::views::{RunView, tolerance};

rule! {
    /// # What it checks
    /// A counter check (`counter.checks`) differs from the known distance by more than the
    /// tolerance.
    ///
    /// # Exceptions
    /// - The counter was corrected there: a row within the tolerance of the reading has the code
    ///   `run.counter-reset`, or one that links to it.
    ///
    /// # Exactly
    /// \|`reading` − `known`\| exceeds tolerance(`known`); both count from where the counter
    /// shows 0. Of several in a run the one farthest off is reported, of equals the first.
    ///
    /// # Why it matters
    /// A slipping counter or a wrong measuring wheel gives a wrong location to everything beyond
    /// the check.
    ///
    /// # Source
    /// Tolerance (0.5 % of the true length, at least 1 ft): City of Sunny Isles Beach FL, Section
    /// 02762.
    ///
    /// # Fails
    /// At `/runs/0/counter/checks/0/reading`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/counter/checks/0/reading", "value": 101.1}]
    /// ```
    /// At `/runs/0/counter/checks/1/reading`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/counter/checks/-", "value": {"reading": 195, "known": 200}}]
    /// ```
    ///
    /// # Passes
    /// 1 ft in 100 ft and 0.5 % of 1000 ft are the tolerance.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/counter/checks/0/reading", "value": 101},
    ///  {"op": "add", "path": "/runs/0/counter/checks/-", "value": {"reading": 1005, "known": 1000}}]
    /// ```
    ///
    /// # Fix
    /// Correct the distances in proportion and note it in `remark`, or repeat the run with a
    /// repaired counter.
    name: "counter-drift", severity: Warning, scope: Run, since: "0.1", clause: "runs#counter",
    facts: {
        "reading" = Length "`reading` of the check that is farthest off, as recorded",
        "known" = Length "`known` of that check, as recorded",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(counter) = &run.run.counter else { return };
    let mut worst = None;
    for (index, check) in counter.checks.iter().enumerate() {
        let (reading, known) = (run.survey.metres(check.reading), run.survey.metres(check.known));
        let off = (reading - known).abs();
        if corrected(run, reading) {
            continue;
        }
        if exceeds(off, tolerance(known)) && worst.is_none_or(|(_, most)| off > most) {
            worst = Some((index, off));
        }
    }
    let Some((index, off)) = worst else { return };
    let check = &counter.checks[index];
    let (reading, known) =
        (run.survey.format_length(check.reading), run.survey.format_length(check.known));
    let (off, allowed) = (
        run.survey.format_metres(off),
        run.survey.format_metres(tolerance(run.survey.metres(check.known))),
    );
    let message = format!(
        "the counter read {reading} at a known {known}: it is off by {off}, and {allowed} is allowed"
    );
    out.report(run.subject(&format!("/counter/checks/{index}/reading")), message)
        .fact("reading", check.reading.get())
        .fact("known", check.known.get());
}

/// Whether the counter was corrected at a reading.
fn corrected(run: &RunView<'_>, reading: f64) -> bool {
    run.rows().any(|row| {
        row.term().is_some_and(|term| term.code == "run.counter-reset")
            && !exceeds((run.survey.metres(row.row.at) - reading).abs(), tolerance(reading))
    })
}
