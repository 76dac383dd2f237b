//! See the rule's documentation below.

use obvert_model::tables::Method;

use crate::sink::{Sink, Unless};
use crate::support::run_extent::exceeds;
use crate::support::section_unit::PLAUSIBLE_HEIGHTS;
use crate::views::{RunView, changes};

rule! {
    /// # What it checks
    /// The camera does not fit into the pipe: the pipe is too small for a crawler, or too low for a
    /// person to walk through.
    ///
    /// # Exceptions
    /// - The run did not go through the whole pipe, and another run of it records a change of size.
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
    /// Crawler: common practice, no published source. Person: a public glossary of trenchless work
    /// calls pipes from 1.0 m to 1.2 m accessible. Local rules for confined spaces decide, and may
    /// ask for more.
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
    /// 24 in do not admit a person. At `/runs/0/method`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/method", "value": "walk-through"}, {"op": "replace", "path": "/pipes/0/height", "value": 24}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/runs/0/method", "value": "walk-through"}, {"op": "replace", "path": "/pipes/0/height", "value": 42}]
    /// ```
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/height", "value": 4}]
    /// ```
    ///
    /// # Fix
    /// Correct the method or the size of the pipe.
    name: "camera-does-not-fit", severity: Warning, scope: Run, since: "0.1", clause: "runs#references",
    concludes_from: ["pipe.runs"],
    limits: {
        "crawler" = 90.0 "mm" "smallest pipe for a crawler; common practice, no published source",
        "walk_through" = 1000.0 "mm"
            "lowest pipe for a person; a public glossary of trenchless work, local rules decide",
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
    let subject = run.subject("/method");
    let finding = if run.may_differ(changes::SIZE) {
        out.report_unless(Unless::changed(&run.run.pipe, changes::SIZE), subject, message)
    } else {
        out.report(subject, message)
    };
    finding.fact("millimetres", millimetres);
    if limit == "walk_through" {
        finding.help(
            "correct the method or the size. A pipe this low is a confined space: do not enter it \
             unless local rules and licensed practice allow it",
        );
    }
}
