//! See the rule's documentation below.

use crate::sink::Sink;
use crate::views::{Part, RunView, Spot, Survey};

rule! {
    /// # What it checks
    /// No id, name, number or free text begins or ends with white space.
    ///
    /// # Why it matters
    /// `LM-014` and `LM-014 ` look the same on paper and are two structures to software.
    ///
    /// # Fails
    /// At `/parties/1/name`:
    /// ```json
    /// [{"op": "replace", "path": "/parties/1/name", "value": "Heron Drain Survey "}]
    /// ```
    /// At `/runs/0/observations/3/remark`:
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/remark", "value": "\tdry"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "add", "path": "/runs/0/observations/3/remark", "value": "dry,  and clean"}]
    /// ```
    ///
    /// # Fix
    /// Take the white space away, in every place that names the id.
    name: "text-untrimmed", severity: Note, scope: Throughout, since: "0.1", clause: "conventions#text",
}

fn check(part: &Part<'_>, out: &mut Sink<'_>) {
    match part {
        Part::Head(survey) => head(survey, out),
        Part::Run(view) => run(view, out),
    }
}

/// Reports those of the texts, by their field, that have white space at an end.
fn look(texts: &[(Option<&str>, &str)], spot: &dyn Fn(&str) -> Spot, out: &mut Sink<'_>) {
    for (text, field) in texts {
        let Some(text) = text.filter(|text| text.len() != text.trim().len()) else { continue };
        let end = if text.starts_with(char::is_whitespace) { "begins" } else { "ends" };
        out.report(spot(field), format!("{text:?} {end} with white space")).fact("text", text);
    }
}

/// The text of a field that may be absent.
macro_rules! opt {
    ($field:expr) => {
        $field.as_ref().map(|text| text.as_str())
    };
}

fn head(survey: &Survey<'_>, out: &mut Sink<'_>) {
    let head = survey.head;
    let at = |field: &str| Spot::at(field);
    look(&[(Some(&head.id), "/id"), (opt!(head.vertical), "/vertical")], &at, out);
    if let Some(work) = &head.assignment {
        let base = |field: &str| Spot::at(format!("/assignment{field}"));
        let texts = [
            (opt!(work.contract), "/contract"),
            (opt!(work.title), "/title"),
            (opt!(work.purpose_text), "/purpose_text"),
        ];
        look(&texts, &base, out);
    }
    if let Some(review) = &head.review {
        look(&[(opt!(review.note), "/review/note")], &at, out);
    }
    for (index, row) in head.parties.iter().enumerate() {
        let spot = |field: &str| Spot::at(format!("/parties/{index}{field}"));
        let texts = [
            (opt!(row.role_text), "/role_text"),
            (opt!(row.certificate), "/certificate"),
            (opt!(row.contact), "/contact"),
        ];
        look(&[(Some(&row.id), "/id"), (Some(&row.name), "/name")], &spot, out);
        look(&texts, &spot, out);
    }
    for (index, row) in head.equipment.iter().enumerate() {
        let spot = |field: &str| Spot::at(format!("/equipment/{index}{field}"));
        let texts = [(opt!(row.kind_text), "/kind_text"), (opt!(row.model), "/model"), (opt!(row.serial), "/serial")];
        look(&[(Some(&row.id), "/id")], &spot, out);
        look(&texts, &spot, out);
    }
    for view in survey.structures() {
        let (row, spot) = (view.structure, |field: &str| view.spot(field));
        let texts = [(opt!(row.kind_text), "/kind_text"), (opt!(row.street), "/street"), (opt!(row.asset), "/asset")];
        look(&[(Some(&row.id), "/id")], &spot, out);
        look(&texts, &spot, out);
    }
    for view in survey.pipes() {
        let (row, spot) = (view.pipe, |field: &str| view.spot(field));
        let words = [
            (opt!(row.carries_text), "/carries_text"),
            (opt!(row.shape_text), "/shape_text"),
            (opt!(row.material_text), "/material_text"),
        ];
        let texts = [(opt!(row.lining), "/lining"), (opt!(row.street), "/street"), (opt!(row.asset), "/asset")];
        look(&[(Some(&row.id), "/id")], &spot, out);
        look(&words, &spot, out);
        look(&texts, &spot, out);
    }
    for view in survey.all_media() {
        let texts = [(Some(&*view.media.id), "/id"), (opt!(view.media.caption), "/caption")];
        look(&texts, &|field| view.spot(field), out);
    }
    for (index, row) in head.locates.iter().enumerate() {
        let spot = |field: &str| Spot::at(format!("/locates/{index}{field}"));
        look(&[(Some(&row.id), "/id"), (opt!(row.method_text), "/method_text")], &spot, out);
    }
    for (index, row) in head.ratings.iter().enumerate() {
        look(&[(Some(&row.id), "/id")], &|field| Spot::at(format!("/ratings/{index}{field}")), out);
    }
}

fn run(view: &RunView<'_>, out: &mut Sink<'_>) {
    let (run, spot) = (view.run, |field: &str| view.spot(field));
    look(&[(Some(&run.id), "/id"), (opt!(run.remark), "/remark")], &spot, out);
    let words = [
        (opt!(run.method_text), "/method_text"),
        (opt!(run.purpose_text), "/purpose_text"),
        (opt!(run.weather_text), "/weather_text"),
    ];
    look(&words, &spot, out);
    if let Some(counter) = &run.counter {
        look(&[(opt!(counter.zero_text), "/counter/zero_text")], &spot, out);
    }
    if let Some(outcome) = &run.outcome {
        look(&[(opt!(outcome.reason_text), "/outcome/reason_text")], &spot, out);
    }
    for row in view.rows() {
        look(&[(Some(&row.row.id), "/id"), (opt!(row.row.remark), "/remark")], &|field| row.spot(field), out);
    }
}
