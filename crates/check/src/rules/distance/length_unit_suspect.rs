//! See the rule's documentation below.

use crate::reach::{unit_advice, unit_trap};
use crate::sink::Sink;
use crate::views::{Ending, Spot};

rule! {
    /// # What it checks
    /// Of the runs that reached the far structure, at least three and at least four in five are about 3.28 times as long
    /// as their pipes, or as short (within 10 %). That is one finding for the document; `run-past-pipe`,
    /// `run-short-of-pipe`, `reverse-gap` and `reverse-overlap` then stand back.
    ///
    /// # Why it matters
    /// A foot is 0.3048 m. Whoever takes feet for metres digs three times too far away.
    ///
    /// # Source
    /// The international foot: 0.3048 m exactly. How many runs must agree: common practice, no published source.
    ///
    /// # Fails
    /// The pipes' lengths are in metres, at `/units/length`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 60.96},
    ///  {"op": "replace", "path": "/pipes/1/length", "value": 27.43},
    ///  {"op": "replace", "path": "/runs/1/outcome", "value": {"kind": "reached"}},
    ///  {"op": "replace", "path": "/runs/2/outcome", "value": {"kind": "reached"}}]
    /// ```
    ///
    /// # Passes
    /// Two runs prove nothing.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/length", "value": 60.96},
    ///  {"op": "replace", "path": "/pipes/1/length", "value": 27.43},
    ///  {"op": "replace", "path": "/runs/2/outcome", "value": {"kind": "reached"}}]
    /// ```
    ///
    /// # Fix
    /// Convert the numbers that are in the other unit, in the system that they come from, or declare the right unit.
    name: "length-unit-suspect", severity: Error, scope: Ending, since: "0.1", clause: "document#units",
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let Some(trap) = unit_trap(ending) else { return };
    let (runs, of) = (trap.runs, trap.of);
    let how = if trap.long { "3.28 times as long as" } else { "3.28 times shorter than" };
    let message = format!("{runs} of {of} runs that reached the far structure are about {how} their pipes");
    out.report(Spot::at("/units/length"), message)
        .fact("runs", runs)
        .fact("of", of)
        .help(unit_advice(ending.survey.head.units.length, trap.long));
}
