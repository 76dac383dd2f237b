//! See the rule's documentation below.

use obvert_model::tables::Shape;

use crate::sink::Sink;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// A pipe that is not circular has a height but no width.
    ///
    /// # Why it matters
    /// The height alone does not tell what fits into the pipe, nor how much it can carry.
    ///
    /// # Fails
    /// At `/pipes/0`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/shape", "value": "egg"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/shape", "value": "egg"},
    ///  {"op": "replace", "path": "/pipes/0/height", "value": 36},
    ///  {"op": "add", "path": "/pipes/0/width", "value": 24}]
    /// ```
    /// The pipe has no size at all.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/shape", "value": "egg"},
    ///  {"op": "remove", "path": "/pipes/0/height"}]
    /// ```
    ///
    /// # Fix
    /// Add the width, or correct the shape.
    name: "width-missing", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#size",
    facts: { "shape" = Word "the shape, as recorded" },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let (Some(shape), Some(height), None) = (view.pipe.shape, view.pipe.height, view.pipe.width)
    else {
        return;
    };
    if shape != Shape::Circular {
        let of = match shape {
            Shape::Other => view.pipe.shape_text.as_ref().map_or("other", |text| text.as_str()),
            shape => shape.as_str(),
        };
        let message = format!(
            "the pipe is not circular ({of}); it has a height of {} but no width",
            view.survey.format_section(height)
        );
        out.report(view.subject(""), message).fact("shape", shape.as_str());
    }
}
