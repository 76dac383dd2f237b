//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::run_extent::exceeds;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// `length` is more than that of any pipe between two structures.
    ///
    /// # Exceptions
    /// - The pipe's length on the map is known: `path-length-contradicts` compares the two, and a
    ///   tunnel may be that long.
    /// - Lengths are in a doubtful unit (`length-unit-suspect`).
    ///
    /// # Exactly
    /// Above `longest`. On the map is the *course* (Checking).
    ///
    /// # Why it matters
    /// Distances are compared with this length, and grades per length are divided by it.
    ///
    /// # Source
    /// Common practice, no published source: access is provided every 300 to 600 ft, in large
    /// sewers every half mile.
    ///
    /// # Fails
    /// At `/pipes/1/length`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 18000},
    ///  {"op": "remove", "path": "/structures/2/position"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 1000},
    ///  {"op": "remove", "path": "/structures/2/position"}]
    /// ```
    ///
    /// # Fix
    /// Correct the length, or leave it out if it is not known.
    name: "length-implausible", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#length",
    limits: { "longest" = 1000.0 "m" "the longest pipe between two structures; common practice, no published source" },
    facts: { "metres" = Metres "the length, converted" },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let (Some(length), Some(metres)) = (view.pipe.length, view.metres()) else { return };
    let longest = out.limit("longest");
    let length_text = view.survey.format_length(length);
    if exceeds(metres, longest)
        && !view.survey.lengths_doubtful()
        && view.survey.map_lengths().length_on_map(view.index).is_none()
    {
        let longest = view.survey.format_metres(longest);
        let message = format!(
            "the pipe's length of {length_text} is more than the longest between two structures, {longest}"
        );
        out.report(view.subject("/length"), message).fact("metres", metres);
    }
}
