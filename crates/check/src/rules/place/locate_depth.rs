//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::run_extent::exceeds;
use crate::views::LocateView;

rule! {
    /// # What it checks
    /// A located depth is greater than is plausible.
    ///
    /// # Exceptions
    /// - The depth is negative (`number-impossible`).
    /// - Lengths are in a doubtful unit (`length-unit-suspect`).
    ///
    /// # Exactly
    /// `depth`, converted, exceeds `deepest`.
    ///
    /// # Why it matters
    /// A depth in the wrong unit sends an excavator to the wrong level.
    ///
    /// # Source
    /// 15 m is the range that a maker of transmitters for sewers publishes: what lies deeper cannot
    /// be located from the surface.
    ///
    /// # Fails
    /// At `/locates/0/depth`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/depth", "value": 108}]
    /// ```
    /// 20 m. At `/locates/0/depth`:
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/depth", "value": 65.6}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/depth", "value": 0}]
    /// ```
    /// 14.9 m.
    /// ```json
    /// [{"op": "replace", "path": "/locates/0/depth", "value": 49}]
    /// ```
    ///
    /// # Fix
    /// Correct the depth; it is in the document's length unit.
    name: "locate-depth", severity: Warning, scope: Locate, since: "0.1", clause: "locates#depth",
    limits: {
        "deepest" = 15.0 "m" "greatest plausible depth: the published range of transmitters for sewers",
    },
    facts: { "depth" = Length "the depth, as recorded" },
}

fn check(view: &LocateView<'_>, out: &mut Sink<'_>) {
    let survey = view.ending.survey;
    let Some(depth) = view.locate.depth else { return };
    let depth_text = survey.format_length(depth);
    if exceeds(survey.metres(depth), out.limit("deepest")) && !view.ending.lengths_doubtful() {
        let most = survey.format_metres(out.limit("deepest"));
        out.report(
            view.subject("/depth"),
            format!("the depth of {depth_text} is greater than the plausible {most}"),
        )
        .fact("depth", depth.get())
        .help(
            "correct the depth, which is in the document's length unit. Do not dig by a doubtful \
             locate: measure again, ask the owners of all services, and follow local rules",
        );
    }
}
