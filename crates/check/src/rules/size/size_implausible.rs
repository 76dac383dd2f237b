//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// The height and the width of a pipe are sizes that a camera is sent through. A size that is in the wrong unit is the
    /// finding of `size-unit-suspect`, and one that is not above 0 that of `number-impossible`.
    ///
    /// # Why it matters
    /// A slipped decimal point in a diameter spoils every percentage and every grade that follows from it.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/pipes/0/height`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/height", "value": 0.8}]
    /// ```
    /// At `/pipes/0/width`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/shape", "value": "egg"},
    ///  {"op": "add", "path": "/pipes/0/width", "value": 0.4}]
    /// ```
    ///
    /// # Passes
    /// The exact limits pass.
    /// ```json
    /// [{"op": "replace", "path": "/units/section", "value": "mm"},
    ///  {"op": "replace", "path": "/pipes/0/height", "value": 40},
    ///  {"op": "replace", "path": "/pipes/1/height", "value": 6000}]
    /// ```
    ///
    /// # Fix
    /// Correct the size; look for a slipped decimal point.
    name: "size-implausible", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#size",
    limits: {
        "smallest" = 40.0 "mm" "the smallest pipe that a push rod is used in; common practice, no published source",
        "largest" = 6000.0 "mm" "the largest pipe that is surveyed by camera; common practice, no published source",
    },
    facts: { "millimetres" = Millimetres "the height or width, converted" },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    if view.size_doubtful() {
        return;
    }
    let survey = view.survey;
    for (size, what, field) in [(view.pipe.height, "height", "/height"), (view.pipe.width, "width", "/width")] {
        let Some(size) = size.filter(|size| size.get() > 0.0) else { continue };
        let (millimetres, one) = (survey.millimetres(size), survey.head.units.section.millimetres());
        let (limit, how) = match (out.limit("smallest"), out.limit("largest")) {
            (smallest, _) if millimetres < smallest => (smallest, "smaller than"),
            (_, largest) if millimetres > largest => (largest, "larger than"),
            _ => continue,
        };
        let limit = format!("{} {}", (limit / one * 100.0).round() / 100.0, survey.head.units.section);
        let message =
            format!("the {what} of {} is {how} any pipe that is surveyed ({limit})", survey.say_section(size));
        out.report(view.subject(field), message).fact("millimetres", millimetres);
    }
}
