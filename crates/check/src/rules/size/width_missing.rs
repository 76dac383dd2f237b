//! See the rule's documentation below.

use obvert_model::tables::Shape;

use crate::sink::Sink;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// A pipe that is not circular and has a height has a width as well.
    ///
    /// # Why it matters
    /// The height alone does not say what fits into an egg-shaped or a rectangular sewer, nor how much it can carry.
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
    /// A pipe whose size is not known at all.
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
    let (Some(shape), Some(height), None) = (view.pipe.shape, view.pipe.height, view.pipe.width) else { return };
    if shape != Shape::Circular {
        let of = match shape {
            Shape::Other => view.pipe.shape_text.as_ref().map_or("other", |text| text.as_str()),
            shape => shape.as_str(),
        };
        let message = format!(
            "the shape ({of}) is not circular, and beside the height of {} there is no width",
            view.survey.say_section(height)
        );
        out.report(view.subject(""), message).fact("shape", shape.as_str());
    }
}
