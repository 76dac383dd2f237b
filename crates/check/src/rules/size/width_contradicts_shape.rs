//! See the rule's documentation below.

use obvert_model::tables::Shape;

use crate::sink::Sink;
use crate::support::run_extent::exceeds;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// The width of a pipe does not fit its shape.
    ///
    /// # Exceptions
    /// - The height is not above 0 (`number-impossible`).
    ///
    /// # Exactly
    /// - `circular`: the width differs from the height by more than 1 % of the height, or there is
    ///   no height.
    /// - `egg`: the width is not less than the height.
    ///
    /// # Why it matters
    /// A liner cannot be ordered until it is known which is wrong.
    ///
    /// # Fails
    /// At `/pipes/0/width`:
    /// ```json
    /// [{"op": "add", "path": "/pipes/0/width", "value": 10}]
    /// ```
    /// Height and width exchanged, at `/pipes/0/width`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/shape", "value": "egg"},
    ///  {"op": "replace", "path": "/pipes/0/height", "value": 24},
    ///  {"op": "add", "path": "/pipes/0/width", "value": 36}]
    /// ```
    /// The diameter in the wrong field, at `/pipes/0/width`:
    /// ```json
    /// [{"op": "move", "from": "/pipes/0/height", "path": "/pipes/0/width"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/pipes/0/width", "value": 8}]
    /// ```
    ///
    /// # Fix
    /// Correct the shape or the sizes. A circular pipe needs no width.
    name: "width-contradicts-shape", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#size",
    facts: {
        "shape" = Word "the shape, as recorded",
        "width" = Size "the width, as recorded",
    },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let (Some(shape), Some(width)) = (view.pipe.shape, view.pipe.width) else { return };
    // `number-impossible` reports a height that is not above 0.
    if view.pipe.height.is_some_and(|height| height.get() <= 0.0) {
        return;
    }
    let wide = view.survey.format_section(width);
    let message = match (shape, view.pipe.height) {
        // Sizes that were converted from another unit may differ by rounding.
        (Shape::Circular, Some(height))
            if exceeds((width.get() - height.get()).abs(), height.get().abs() * 0.01) =>
        {
            format!(
                "the pipe is circular, but its width of {wide} differs from its height of {}",
                view.survey.format_section(height)
            )
        }
        (Shape::Circular, None) => {
            format!("the pipe is circular and has a width of {wide}, but no height")
        }
        (Shape::Egg, Some(height)) if width >= height => format!(
            "the pipe is egg-shaped, but its width of {wide} is not less than its height of {}",
            view.survey.format_section(height)
        ),
        _ => return,
    };
    out.report(view.subject("/width"), message)
        .fact("shape", shape.as_str())
        .fact("width", width.get());
}
