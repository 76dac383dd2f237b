//! See the rule's documentation below.

use obvert_model::tables::Method;

use crate::sink::Sink;
use crate::support::run_extent::exceeds;
use crate::support::section_unit::PLAUSIBLE_HEIGHTS;
use crate::views::RunView;

rule! {
    /// # What it checks
    /// The camera does not fit into the pipe: the pipe is too small for a crawler, or too low for a
    /// person to walk through.
    ///
    /// # Exceptions
    /// - The size is in a doubtful unit (`size-unit-suspect`) or below 40 mm.
    /// - The cross-section changes along the run.
    ///
    /// # Exactly
    /// `height` of the pipe is below the limit for the `method`. A row of the role of a change is
    /// one.
    ///
    /// # Why it matters
    /// The run was through another pipe, or the size of this one is wrong.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/runs/0/method`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/height", "value": 3}]
    /// ```
    /// At `/runs/0/method`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/method", "value": "walk-through"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/height", "value": 4}]
    /// ```
    ///
    /// # Fix
    /// Correct the method or the size of the pipe.
    name: "camera-does-not-fit", severity: Warning, scope: Run, since: "0.1", clause: "runs#references",
    limits: {
        "crawler" = 90.0 "mm" "smallest pipe for a crawler; common practice, no published source",
        "walk_through" = 600.0 "mm"
            "lowest pipe for a person; common practice, no published source",
    },
    facts: { "millimetres" = Millimetres "the height of the pipe, converted" },
}

fn check(run: &RunView<'_>, out: &mut Sink<'_>) {
    let limit = match run.run.method {
        Some(Method::Crawler) => "crawler",
        Some(Method::WalkThrough) => "walk_through",
        _ => return,
    };
    let Some(view) = run.pipe else { return };
    let Some(height) =
        view.pipe.height.filter(|height| height.get() > 0.0 && !view.size_doubtful())
    else {
        return;
    };
    // A pipe that becomes larger along the run may admit the camera at its other end.
    let millimetres = run.survey.millimetres(height);
    if !exceeds(out.limit(limit), millimetres)
        || !run.changes.is_empty()
        || millimetres < *PLAUSIBLE_HEIGHTS.start()
    {
        return;
    }
    let (method, size) =
        (run.run.method.map_or("", Method::as_str), run.survey.format_section(height));
    let message = format!("the method is {method:?}, but the pipe is {size} high");
    out.report(run.subject("/method"), message).fact("millimetres", millimetres);
}
