//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::run_extent::exceeds;
use crate::views::{RunView, tolerance};

rule! {
    /// # What it checks
    /// The counter was right, to the tolerance, wherever it was checked against a distance known otherwise. Of several
    /// checks in a run that show it wrong, the one farthest off is reported, of equals the first. `reading` and `known` are
    /// compared as they stand, both from where the counter shows 0.
    ///
    /// # Why it matters
    /// A counter that slips on a wet cable, or has the wrong wheel, puts everything beyond the check in the wrong place.
    ///
    /// # Source
    /// Tolerance: the greater of 0.5 % of the true length and 1 ft, City of Sunny Isles Beach FL, Section 02762,
    /// Televising Storm Sewer Systems.
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
    /// 1 ft in 100 ft, and half a per cent of 1000 ft, are the tolerance.
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/counter/checks/0/reading", "value": 101},
    ///  {"op": "add", "path": "/runs/0/counter/checks/-", "value": {"reading": 1005, "known": 1000}}]
    /// ```
    ///
    /// # Fix
    /// Correct the distances of the run in proportion and say so in its remark, or drive it again with the counter
    /// mended.
    name: "counter-drift", severity: Warning, scope: Run, since: "0.1", clause: "runs#counter",
    facts: {
        "reading" = Length "what the counter showed at the check that is farthest off, as recorded",
        "known" = Length "the true distance there, as recorded",
    },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let Some(counter) = &run.run.counter else { return };
    let mut worst = None;
    for (index, check) in counter.checks.iter().enumerate() {
        let (reading, known) = (run.survey.metres(check.reading), run.survey.metres(check.known));
        let off = (reading - known).abs();
        if exceeds(off, tolerance(known)) && worst.is_none_or(|(_, most)| off > most) {
            worst = Some((index, off));
        }
    }
    let Some((index, off)) = worst else { return };
    let check = &counter.checks[index];
    let (reading, known) = (run.survey.say(check.reading), run.survey.say(check.known));
    let (off, may) = (run.survey.say_metres(off), run.survey.say_metres(tolerance(run.survey.metres(check.known))));
    let message = format!("the counter showed {reading} where it is {known}: {off} off, and {may} is allowed");
    out.report(run.subject(&format!("/counter/checks/{index}/reading")), message)
        .fact("reading", check.reading.get())
        .fact("known", check.known.get());
}
