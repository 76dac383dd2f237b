//! See the rule's documentation below.

use crate::sink::Sink;
use crate::support::elevations::any_invert_mismatch;
use crate::views::{PipeView, tolerance};

rule! {
    /// # What it checks
    /// A pipe is steeper than pipes are laid.
    ///
    /// # Exceptions
    /// - The pipe has no recorded downstream invert.
    /// - An end is below its structure or above its ground (`invert-outside-structure`,
    ///   `invert-above-ground`).
    /// - The pipe is a backdrop or a chute: its length is not below its fall, and either it is not
    ///   below √(course² + fall²), the length on the map being known and less than nine tenths of
    ///   it, or the pipe is shorter than 10 m and its length on the map unknown.
    ///
    /// # Exactly
    /// The fall is from the pipe's upstream invert, or else its structure's, to its own downstream
    /// invert. It is compared with the limit times the longer of the stated length and the length
    /// on the map.
    ///
    /// # Why it matters
    /// Capacity and velocity are computed from the inverts.
    ///
    /// # Source
    /// Common practice, no published source.
    ///
    /// # Fails
    /// At `/pipes/1/inverts`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/inverts/downstream", "value": 538.8},
    ///  {"op": "remove", "path": "/structures/2/invert"}]
    /// ```
    ///
    /// # Passes
    /// Exactly 40 %.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/inverts/downstream", "value": 567.6},
    ///  {"op": "remove", "path": "/structures/2/invert"}]
    /// ```
    ///
    /// A backdrop, 12 ft long, that falls by 10 ft.
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": 12}, {"op": "replace", "path": "/pipes/1/inverts/downstream", "value": 629.6},
    ///  {"op": "remove", "path": "/structures/2/position"}, {"op": "remove", "path": "/structures/2/invert"},
    ///  {"op": "remove", "path": "/structures/2/depth"}, {"op": "remove", "path": "/structures/2/ground"},
    ///  {"op": "remove", "path": "/runs/2"}, {"op": "replace", "path": "/runs/1/surveyed", "value": 12},
    ///  {"op": "replace", "path": "/runs/1/outcome", "value": {"kind": "reached"}},
    ///  {"op": "replace", "path": "/runs/1/observations", "value": [{"id": "1", "at": 0, "code": "run.start"}, {"id": "2", "at": 12, "code": "run.finish"}]},
    ///  {"op": "remove", "path": "/media/2"}, {"op": "replace", "path": "/runs/1/finished", "value": "2026-05-06T10:08:00-05:00"}]
    /// ```
    ///
    /// # Fix
    /// Correct the invert or the length. A drop belongs to the structure, not to the pipe.
    name: "gradient-steep", severity: Warning, scope: Pipe, since: "0.1", clause: "pipes#gradient",
    limits: { "steepest" = 40.0 "%" "the steepest pipe; common practice, no published source" },
    facts: { "percent" = Percent "the gradient, fall over length" },
}

fn check(view: &PipeView<'_>, out: &mut Sink<'_>) {
    let survey = view.survey;
    let own = view.pipe.inverts.as_ref();
    // A pipe may enter its lower structure above that structure's invert.
    if own.and_then(|inverts| inverts.downstream).is_none() {
        return;
    }
    let lower = own.and_then(|inverts| inverts.downstream);
    let upper = own.and_then(|inverts| inverts.upstream).or_else(|| view.upstream()?.invert);
    let Some((upper, lower)) = upper.zip(lower) else { return };
    let drop = survey.metres(upper) - survey.metres(lower);
    // Either may be in the wrong unit, and the longer one gives the smaller gradient.
    let length = view
        .metres()
        .unwrap_or(0.0)
        .max(survey.map_lengths().length_on_map(view.index).unwrap_or(0.0));
    let steepest = out.limit("steepest");
    if length <= 0.0
        || drop <= length * (steepest / 100.0) * (1.0 + 1e-9)
        || any_invert_mismatch(view)
    {
        return;
    }
    let course = survey.map_lengths().fitted_length(view.index);
    if is_upright(view.metres(), course, drop) {
        return;
    }
    let percent = drop / length * 100.0;
    let rounded = (percent * 10.0).round() / 10.0;
    let message = format!(
        "the pipe falls by {} over {}, which is {rounded} %, more than {steepest} %",
        survey.format_metres(drop),
        survey.format_metres(length)
    );
    out.report(view.subject("/inverts"), message).fact("percent", percent);
}

/// In metres: a longer pipe that falls so steeply is on the map as well.
const BACKDROP: f64 = 10.0;

/// Whether the recorded length of a pipe confirms that it falls by `drop` metres: it is a backdrop,
/// or a chute on a hillside.
fn is_upright(stated: Option<f64>, course: Option<f64>, drop: f64) -> bool {
    let Some(stated) = stated.filter(|stated| *stated >= drop - tolerance(*stated)) else {
        return false;
    };
    match course {
        Some(course) => course < stated * 0.9 && course.hypot(drop) <= stated + tolerance(stated),
        None => stated <= BACKDROP,
    }
}
