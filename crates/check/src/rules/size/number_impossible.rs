//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{Part, RunView, Subject, Survey};

rule! {
    /// # What it checks
    /// A number is negative, or is 0 where that is impossible.
    ///
    /// # Exactly
    /// - Not above 0: `height`, `width`, `length` and `joint_spacing` of a pipe;
    ///   `counter_resolution`, `cable_length` and `frequency` of equipment; `duration` and
    ///   `frame_rate` of a media file; `frequency` of a locate; `counter.resolution` of a run.
    /// - Below 0: `depth` of a structure; `depth` and `accuracy` of a locate.
    /// - Below `counter.reads` (0 when absent): `surveyed` of a run.
    ///
    /// # Why it matters
    /// In a spreadsheet a lost number becomes 0 and a dash a minus sign; dividing by it fails.
    ///
    /// # Fails
    /// At `/pipes/0/height`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/height", "value": 0}]
    /// ```
    /// At `/pipes/1/length`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/1/length", "value": -180}]
    /// ```
    /// At `/structures/0/depth`:
    /// ```json
    /// [{"op": "replace", "path": "/structures/0", "value": {"id": "LM-014", "kind": "manhole", "depth": -9.5}}]
    /// ```
    /// At `/runs/1/surveyed`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/surveyed", "value": -90}]
    /// ```
    ///
    /// # Passes
    /// An outfall at ground level.
    /// ```json
    /// [{"op": "replace", "path": "/structures/2", "value": {"id": "LM-016", "kind": "outfall", "depth": 0}}]
    /// ```
    ///
    /// # Fix
    /// Correct the number, or leave it out if it is not known.
    name: "number-impossible", severity: Error, scope: Throughout, since: "0.1", clause: "conventions#numbers",
    facts: { "value" = Number "the number, as recorded" },
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    match part {
        Part::Head(survey) => head(survey, out),
        Part::Run(view) => run(view, out),
    }
}

/// The value of an optional number, whatever it measures.
macro_rules! value {
    ($field:expr) => {
        $field.map(|number| number.get())
    };
}

fn head(survey: &Survey<'_>, out: &mut Sink<'_>) {
    for (index, row) in survey.head.equipment.iter().enumerate() {
        let subject = |field: &str| Subject::at(format!("/equipment/{index}{field}"));
        above_zero(
            value!(row.counter_resolution),
            "counter resolution",
            "/counter_resolution",
            &subject,
            out,
        );
        above_zero(value!(row.cable_length), "cable length", "/cable_length", &subject, out);
        above_zero(value!(row.frequency), "frequency", "/frequency", &subject, out);
    }
    for view in survey.structures() {
        zero_or_more(
            value!(view.structure.depth),
            "depth",
            "/depth",
            &|field| view.subject(field),
            out,
        );
    }
    for view in survey.pipes() {
        let (row, subject) = (view.pipe, |field: &str| view.subject(field));
        above_zero(value!(row.height), "height", "/height", &subject, out);
        above_zero(value!(row.width), "width", "/width", &subject, out);
        above_zero(value!(row.length), "length", "/length", &subject, out);
        above_zero(value!(row.joint_spacing), "joint spacing", "/joint_spacing", &subject, out);
    }
    for view in survey.all_media() {
        let (row, subject) = (view.media, |field: &str| view.subject(field));
        above_zero(value!(row.duration), "duration", "/duration", &subject, out);
        above_zero(value!(row.frame_rate), "frame rate", "/frame_rate", &subject, out);
    }
    for (index, row) in survey.head.locates.iter().enumerate() {
        let subject = |field: &str| Subject {
            path: format!("/locates/{index}{field}"),
            run: Some(row.run.to_string()),
            ..Subject::default()
        };
        zero_or_more(value!(row.depth), "depth", "/depth", &subject, out);
        zero_or_more(value!(row.accuracy), "accuracy", "/accuracy", &subject, out);
        above_zero(value!(row.frequency), "frequency", "/frequency", &subject, out);
    }
}

fn run(view: &RunView<'_>, out: &mut Sink<'_>) {
    let subject = |field: &str| view.subject(field);
    if let Some(counter) = &view.run.counter {
        above_zero(
            value!(counter.resolution),
            "counter resolution",
            "/counter/resolution",
            &subject,
            out,
        );
    }
    let reads = view.reads();
    if let Some(surveyed) = view.run.surveyed.filter(|surveyed| surveyed.get() < reads) {
        let unit = view.survey.head.units.length;
        let message =
            format!("surveyed is {surveyed} {unit}, below the zero reading of {reads} {unit}");
        out.report(view.subject("/surveyed"), message).fact("value", surveyed.get());
    }
}

/// Reports a number that is not above 0.
fn above_zero(
    value: Option<f64>,
    what: &str,
    field: &str,
    subject: &dyn Fn(&str) -> Subject,
    out: &mut Sink<'_>,
) {
    if let Some(value) = value.filter(|value| *value <= 0.0) {
        out.report(subject(field), format!("the {what} of {value} is not above 0"))
            .fact("value", value);
    }
}

/// Reports a number that is below 0.
fn zero_or_more(
    value: Option<f64>,
    what: &str,
    field: &str,
    subject: &dyn Fn(&str) -> Subject,
    out: &mut Sink<'_>,
) {
    if let Some(value) = value.filter(|value| *value < 0.0) {
        out.report(subject(field), format!("the {what} of {value} is below 0"))
            .fact("value", value);
    }
}
