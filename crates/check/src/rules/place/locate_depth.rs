//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::LocateView;

rule! {
    /// # What it checks
    /// A located depth is below the ground, and not deeper than anybody locates.
    ///
    /// # Why it matters
    /// A depth with a wrong sign or unit sends an excavator to the wrong level.
    ///
    /// # Fails
    /// At `/locates/0/depth`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/depth", "value": -9}]
    /// ```
    /// At `/locates/0/depth`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/depth", "value": 108}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/depth", "value": 0}]
    /// ```
    ///
    /// # Fix
    /// Correct the depth; it is positive below the ground, in the document's length unit.
    name: "locate-depth", severity: Warning, scope: Locate, since: "0.1", clause: "locates#depth",
    limits: {
        "deepest" = 30.0 "m" "the greatest plausible depth; common practice, no published source",
    },
}

fn check(view: &LocateView<'_>, out: &mut Sink<'_>) {
    let survey = view.ending.survey;
    let Some(depth) = view.locate.depth else { return };
    let said = survey.say(depth);
    if depth.get() < 0.0 {
        out.report(view.spot("/depth"), format!("a depth of {said} puts the pipe above the ground"))
            .fact("depth", depth.get());
    } else if survey.metres(depth) > out.limit("deepest") {
        let most = survey.say_metres(out.limit("deepest"));
        out.report(view.spot("/depth"), format!("a depth of {said} is more than {most}")).fact("depth", depth.get());
    }
}
