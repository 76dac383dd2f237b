//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::elevations::any_invert_mismatch;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// A pipe is steeper than pipes are laid.
    ///
    /// # Exceptions
    /// - The pipe has no recorded downstream invert.
    /// - An end is below its structure or above its ground (`invert-outside-structure`,
    ///   `invert-above-ground`).
    ///
    /// # Exactly
    /// The fall is from the pipe's upstream invert, or else its structure's, to its own downstream
    /// invert. It is compared with the limit times the longer of the stated length and the length
    /// on the map.
    ///
    /// # Why it matters
    /// Capacity and velocity are computed from the inverts.
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
    /// Correct the invert or the length. A drop belongs to the structure, not to the pipe.
    name: "gradient-steep", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#gradient",
    limits: { "steepest" = 40.0 "%" "the steepest pipe; common practice, no published source" },
    facts: { "percent" = Percent "the gradient, fall over length" },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let survey = view.survey;
    let own = view.pipe.inverts.as_ref();
    // A pipe may enter its lower structure above that structure's invert.
    if own.and_then(|inverts| inverts.downstream).is_none() {
        return;
    }
    let lower = own.and_then(|inverts| inverts.downstream);
    let upper = own.and_then(|inverts| inverts.upstream).or_else(|| view.upstream()?.invert);
    let Some((upper, lower)) = upper.zip(lower) else { return };
    let drop = survey.metres(upper) - survey.metres(lower);
    // Either may be in the wrong unit, and the longer one gives the smaller gradient.
    let length = view
        .metres()
        .unwrap_or(0.0)
        .max(survey.map_lengths().length_on_map(view.index).unwrap_or(0.0));
    let steepest = out.limit("steepest");
    if length <= 0.0
        || drop <= length * (steepest / 100.0) * (1.0 + 1e-9)
        || any_invert_mismatch(view)
    {
        return;
    }
    let percent = drop / length * 100.0;
    let rounded = (percent * 10.0).round() / 10.0;
    let message = format!(
        "the pipe falls by {} over {}, which is {rounded} %, more than {steepest} %",
        survey.format_metres(drop),
        survey.format_metres(length)
    );
    out.report(view.subject("/inverts"), message).fact("percent", percent);
}
