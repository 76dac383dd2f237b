//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// A pipe has no length that no pipe between two structures has. One that is not above 0 is left to
    /// `number-impossible`. A long one that the geometry can be held
    /// against is left to `path-length-contradicts`: a tunnel that is as long on the map is no mistake.
    ///
    /// # Why it matters
    /// Every distance of every run is held against this length, and a grade for each length is divided by it.
    ///
    /// # Source
    /// Common practice, no published source: access is provided every 300 to 600 ft, in large sewers every half mile.
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
    /// Correct the length, or leave it out where it is not known.
    name: "length-implausible", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#length",
    limits: { "longest" = 1000.0 "m" "the longest pipe between two structures; common practice, no published source" },
    facts: { "metres" = Metres "the length, converted" },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let (Some(length), Some(metres)) = (view.pipe.length, view.metres()) else { return };
    let longest = out.limit("longest");
    let said = view.survey.say(length);
    if metres > longest
        && !view.survey.lengths_doubtful()
        && view.survey.map_lengths().length_on_map(view.index).is_none()
    {
        let longest = view.survey.say_metres(longest);
        let message = format!("the pipe's length of {said} is more than a pipe between two structures has ({longest})");
        out.report(view.subject("/length"), message).fact("metres", metres);
    }
}
