//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::elevations::any_invert_mismatch;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// A pipe does not fall more steeply than pipes do: from its upstream invert, or that of its structure, to its own downstream
    /// invert, over the longer of its stated length and its geometry. An end that lies below its structure or above its ground is
    /// the finding of another rule, and this one stands back.
    ///
    /// # Why it matters
    /// Two exchanged digits in an invert make a pipe that falls like a roof. Capacity and velocity are computed from it.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/pipes/1/inverts`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/inverts/downstream", "value": 538.8},
    ///  {"op": "remove", "path": "/structures/2/invert"}]
    /// ```
    ///
    /// # Passes
    /// Exactly 40 %.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/inverts/downstream", "value": 567.6},
    ///  {"op": "remove", "path": "/structures/2/invert"}]
    /// ```
    ///
    /// # Fix
    /// Correct the invert or the length; a drop belongs to the structure and not to the pipe.
    name: "gradient-steep", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#gradient",
    limits: { "steepest" = 40.0 "%" "the steepest pipe; common practice, no published source" },
    facts: { "percent" = Percent "the fall over the length of the pipe" },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let survey = view.survey;
    let own = view.pipe.inverts.as_ref();
    // A structure's lowest invert says nothing of a pipe that comes in above it.
    if own.and_then(|inverts| inverts.downstream).is_none() {
        return;
    }
    let lower = own.and_then(|inverts| inverts.downstream);
    let upper = own.and_then(|inverts| inverts.upstream).or_else(|| view.upstream()?.invert);
    let Some((upper, lower)) = upper.zip(lower) else { return };
    let drop = survey.metres(upper) - survey.metres(lower);
    // Lengths or geometry may be in the wrong unit; the longer one is not the one that makes a gradient steep.
    let length = view.metres().unwrap_or(0.0).max(survey.map_lengths().length_on_map(view.index).unwrap_or(0.0));
    if length <= 0.0 || drop <= length * (out.limit("steepest") / 100.0) * (1.0 + 1e-9) || any_invert_mismatch(view) {
        return;
    }
    let percent = drop / length * 100.0;
    let said = (percent * 10.0).round() / 10.0;
    let message =
        format!("the pipe falls by {} over {}, which is {said} %", survey.say_metres(drop), survey.say_metres(length));
    out.report(view.subject("/inverts"), message).fact("percent", percent);
}
