//! Every text of a document that somebody typed: ids, names, numbers and free text. More than one rule reads them all.

use crate::views::{Part, RunView, Spot, Survey};

/// Calls `see` with every text of a part of a document.
pub(crate) fn for_each_text(part: &Part<'_>, see: &mut impl FnMut(&str, &dyn Fn() -> Spot)) {
    match part {
        Part::Head(survey) => head(survey, see),
        Part::Run(view) => run(view, see),
    }
}

/// Calls `see` with those of the texts, by their field, that are there.
fn look(texts: &[(Option<&str>, &str)], spot: &dyn Fn(&str) -> Spot, see: &mut impl FnMut(&str, &dyn Fn() -> Spot)) {
    for (text, field) in texts {
        if let Some(text) = text {
            see(text, &|| spot(field));
        }
    }
}

/// The text of a field that may be absent.
macro_rules! opt {
    ($field:expr) => {
        $field.as_ref().map(|text| text.as_str())
    };
}

fn head(survey: &Survey<'_>, see: &mut impl FnMut(&str, &dyn Fn() -> Spot)) {
    let head = survey.head;
    let at = |field: &str| Spot::at(field);
    look(&[(Some(&head.id), "/id"), (opt!(head.vertical), "/vertical")], &at, see);
    if let Some(work) = &head.assignment {
        let base = |field: &str| Spot::at(format!("/assignment{field}"));
        let texts = [
            (opt!(work.contract), "/contract"),
            (opt!(work.title), "/title"),
            (opt!(work.purpose_text), "/purpose_text"),
        ];
        look(&texts, &base, see);
    }
    if let Some(review) = &head.review {
        look(&[(opt!(review.note), "/review/note")], &at, see);
    }
    for (index, row) in head.parties.iter().enumerate() {
        let spot = |field: &str| Spot::at(format!("/parties/{index}{field}"));
        let texts = [
            (opt!(row.role_text), "/role_text"),
            (opt!(row.certificate), "/certificate"),
            (opt!(row.contact), "/contact"),
        ];
        look(&[(Some(&row.id), "/id"), (Some(&row.name), "/name")], &spot, see);
        look(&texts, &spot, see);
    }
    for (index, row) in head.equipment.iter().enumerate() {
        let spot = |field: &str| Spot::at(format!("/equipment/{index}{field}"));
        let texts = [(opt!(row.kind_text), "/kind_text"), (opt!(row.model), "/model"), (opt!(row.serial), "/serial")];
        look(&[(Some(&row.id), "/id")], &spot, see);
        look(&texts, &spot, see);
    }
    for view in survey.structures() {
        let (row, spot) = (view.structure, |field: &str| view.spot(field));
        let texts = [(opt!(row.kind_text), "/kind_text"), (opt!(row.street), "/street"), (opt!(row.asset), "/asset")];
        look(&[(Some(&row.id), "/id")], &spot, see);
        look(&texts, &spot, see);
    }
    for view in survey.pipes() {
        let (row, spot) = (view.pipe, |field: &str| view.spot(field));
        let words = [
            (opt!(row.carries_text), "/carries_text"),
            (opt!(row.shape_text), "/shape_text"),
            (opt!(row.material_text), "/material_text"),
        ];
        let texts = [(opt!(row.lining), "/lining"), (opt!(row.street), "/street"), (opt!(row.asset), "/asset")];
        look(&[(Some(&row.id), "/id")], &spot, see);
        look(&words, &spot, see);
        look(&texts, &spot, see);
    }
    for view in survey.all_media() {
        let texts = [(Some(&*view.media.id), "/id"), (opt!(view.media.caption), "/caption")];
        look(&texts, &|field| view.spot(field), see);
    }
    for (index, row) in head.locates.iter().enumerate() {
        let spot = |field: &str| Spot::at(format!("/locates/{index}{field}"));
        look(&[(Some(&row.id), "/id"), (opt!(row.method_text), "/method_text")], &spot, see);
    }
    for (index, row) in head.ratings.iter().enumerate() {
        look(&[(Some(&row.id), "/id")], &|field| Spot::at(format!("/ratings/{index}{field}")), see);
    }
}

fn run(view: &RunView<'_>, see: &mut impl FnMut(&str, &dyn Fn() -> Spot)) {
    let (run, spot) = (view.run, |field: &str| view.spot(field));
    look(&[(Some(&run.id), "/id"), (opt!(run.remark), "/remark")], &spot, see);
    let words = [
        (opt!(run.method_text), "/method_text"),
        (opt!(run.purpose_text), "/purpose_text"),
        (opt!(run.weather_text), "/weather_text"),
    ];
    look(&words, &spot, see);
    if let Some(counter) = &run.counter {
        look(&[(opt!(counter.zero_text), "/counter/zero_text")], &spot, see);
    }
    if let Some(outcome) = &run.outcome {
        look(&[(opt!(outcome.reason_text), "/outcome/reason_text")], &spot, see);
    }
    for row in view.rows() {
        look(&[(Some(&row.row.id), "/id"), (opt!(row.row.remark), "/remark")], &|field| row.spot(field), see);
    }
}
