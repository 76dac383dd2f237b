//! See the rule's documentation below.

use obvert_model::tables::CounterZero;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A counter that was set at the centre of the structure has no offset from there: `offset` is the distance from
    /// that centre to the zero point.
    ///
    /// # Why it matters
    /// Every distance of the run is moved by the offset when it is put on the map or joined with a run from the other
    /// end. What the counter showed at the zero point is `reads`.
    ///
    /// # Fails
    /// At `/runs/0/counter/offset`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/counter/offset", "value": 3}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/counter", "value": {"zero": "structure-wall", "offset": 2}}]
    /// ```
    ///
    /// # Fix
    /// Take the offset out, write it as `reads` if it is what the counter showed, or correct where the counter was set.
    name: "counter-offset-contradicts", severity: Error, scope: Run, since: "0.1", clause: "runs#counter",
    facts: { "offset" = Length "`offset` of the counter, as recorded" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let counter = run.run.counter.as_ref().filter(|counter| counter.zero == CounterZero::StructureCentre);
    if let Some(offset) = counter.and_then(|counter| counter.offset).filter(|offset| offset.get() != 0.0) {
        let said = run.survey.say(offset);
        let message = format!("the counter was set at the structure's centre, but {said} away from it");
        out.report(run.subject("/counter/offset"), message).fact("offset", offset.get());
    }
}
