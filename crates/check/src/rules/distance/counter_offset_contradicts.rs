//! See the rule's documentation below.

use obvert_model::tables::CounterZero;

use crate::sink::Sink;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// A counter was set at the centre of the structure, but its `offset` from there is not 0.
    ///
    /// # Why it matters
    /// The offset shifts every distance when the run is mapped or joined with a run from the other
    /// end.
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
    /// Remove `offset`, write it as `reads` if the counter showed it at the zero point, or correct
    /// `zero`.
    name: "counter-offset-contradicts", severity: Error, scope: Run, since: "0.1", clause: "runs#counter",
    facts: { "offset" = Length "`offset` of the counter, as recorded" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let centred =
        run.run.counter.as_ref().filter(|counter| counter.zero == CounterZero::StructureCentre);
    if let Some(offset) =
        centred.and_then(|counter| counter.offset).filter(|offset| offset.get() != 0.0)
    {
        let said = run.survey.format_length(offset);
        let message = format!(
            "the counter was set at the structure's centre, but its offset from there is {said}"
        );
        out.report(run.subject("/counter/offset"), message).fact("offset", offset.get());
    }
}
