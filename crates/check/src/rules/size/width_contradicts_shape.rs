//! See the rule's documentation below.

use obvert_model::tables::Shape;

use crate::sink::Sink;
use crate::views::PipeView;

rule! {
    /// # What it checks
    /// The width fits the shape: a circular pipe has none, or one that equals its height; an egg-shaped one stands upright
    /// and is higher than wide.
    ///
    /// # Why it matters
    /// Either the shape is wrong or one of the two sizes; whoever orders a liner cannot know which.
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
    /// Correct the shape or the sizes; the diameter of a circular pipe is its height, and it needs no width.
    name: "width-contradicts-shape", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#size",
    facts: {
        "shape" = Word "the shape, as recorded",
        "width" = Size "the width, as recorded",
    },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let (Some(shape), Some(width)) = (view.pipe.shape, view.pipe.width) else { return };
    // A size of nothing or less is `number-impossible`'s.
    if view.pipe.height.is_some_and(|height| height.get() <= 0.0) {
        return;
    }
    let wide = view.survey.say_section(width);
    let message = match (shape, view.pipe.height) {
        // Sizes that were converted from another unit are equal but for their rounding.
        (Shape::Circular, Some(height)) if (width.get() - height.get()).abs() > height.get().abs() * 0.01 => {
            format!(
                "the pipe is circular, but its width of {wide} is not its height of {}",
                view.survey.say_section(height)
            )
        }
        (Shape::Circular, None) => format!("the pipe is circular and has a width of {wide}, but no height"),
        (Shape::Egg, Some(height)) if width >= height => format!(
            "the pipe is egg-shaped, but its width of {wide} is not less than its height of {}",
            view.survey.say_section(height)
        ),
        _ => return,
    };
    out.report(view.subject("/width"), message).fact("shape", shape.as_str()).fact("width", width.get());
}
