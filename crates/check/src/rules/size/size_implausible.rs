//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::run_extent::exceeds;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// The height or width of a pipe is smaller or larger than that of any pipe that is surveyed by
    /// camera.
    ///
    /// # Exceptions
    /// - The size is in a doubtful unit (`size-unit-suspect`).
    /// - The size is not above 0 (`number-impossible`).
    ///
    /// # Exactly
    /// Each below `smallest` or above `largest`.
    ///
    /// # Why it matters
    /// Percentages and grades that are derived from a wrong size are wrong.
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
    /// The limits themselves pass.
    /// ```json
    /// [{"op": "replace", "path": "/units/section", "value": "mm"},
    ///  {"op": "replace", "path": "/pipes/0/height", "value": 25}, {"op": "replace", "path": "/pipes/0/material", "value": "polyethylene"},
    ///  {"op": "replace", "path": "/pipes/1/height", "value": 6000}]
    /// ```
    ///
    /// # Fix
    /// Correct the size; check the decimal point.
    name: "size-implausible", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#size",
    limits: {
        "smallest" = 25.0 "mm" "the smallest pipe that is surveyed by push rod; common practice, no published source",
        "largest" = 12000.0 "mm" "the largest tunnel that is walked or surveyed by camera; common practice, no published source",
    },
    facts: { "millimetres" = Millimetres "the height or width, converted" },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    if view.size_doubtful() {
        return;
    }
    let survey = view.survey;
    for (size, what, field) in
        [(view.pipe.height, "height", "/height"), (view.pipe.width, "width", "/width")]
    {
        let Some(size) = size.filter(|size| size.get() > 0.0) else { continue };
        let (millimetres, one) =
            (survey.millimetres(size), survey.head.units.section.millimetres());
        let (limit, how) = match (out.limit("smallest"), out.limit("largest")) {
            (smallest, _) if exceeds(smallest, millimetres) => {
                (smallest, "smaller than the smallest")
            }
            (_, largest) if exceeds(millimetres, largest) => (largest, "larger than the largest"),
            _ => continue,
        };
        let limit =
            format!("{} {}", (limit / one * 100.0).round() / 100.0, survey.head.units.section);
        let message = format!(
            "the {what} of {} is {how} pipe surveyed by camera, {limit}",
            survey.format_section(size)
        );
        out.report(view.subject(field), message).fact("millimetres", millimetres);
    }
}
