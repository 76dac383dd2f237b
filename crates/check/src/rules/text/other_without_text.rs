//! See the rule's documentation below.

use obvert_model::tables::{
    Carries, CounterZero, EquipmentKind, LocateMethod, Material, Method, PartyRole, Purpose, Shape,
    StopReason, StructureKind, Weather,
};

use crate::sink::Sink;
use crate::views::{Ending, RunSummary, Subject};

rule! {
    /// # What it checks
    /// A field is `other` and the text field that describes it is missing (`kind_text` for `kind`,
    /// and so on).
    ///
    /// # Exactly
    /// At the field that is `other`.
    ///
    /// # Why it matters
    /// Without the text a later reader cannot tell what was there.
    ///
    /// # Fails
    /// At `/pipes/0/material`:
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/material", "value": "other"}]
    /// ```
    /// At `/runs/1/outcome/reason`:
    /// ```json
    /// [{"op": "replace", "path": "/runs/1/outcome/reason", "value": "other"}]
    /// ```
    ///
    /// # Passes
    /// ```json
    /// [{"op": "replace", "path": "/pipes/0/material", "value": "other"},
    ///  {"op": "add", "path": "/pipes/0/material_text", "value": "hollowed timber"}]
    /// ```
    ///
    /// # Fix
    /// Describe it in the text field, or use a value that fits.
    name: "other-without-text", severity: Warning, scope: Ending, since: "0.1", clause: "document#structure",
    concludes_from: ["texts"],
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    check_head(ending, out);
    for summary in ending.runs {
        check_run(summary, out);
    }
    for view in ending.locates() {
        let row = view.locate;
        let method =
            ("/method", row.method == Some(LocateMethod::Other), row.method_text.is_some());
        report(&[method], |field| view.subject(field), out);
    }
}

fn check_head(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    if let Some(work) = &survey.head.assignment {
        let other = work.purpose == Some(Purpose::Other);
        let purpose = ("/assignment/purpose", other, work.purpose_text.is_some());
        report(&[purpose], |field| Subject::at(field), out);
    }
    for (index, row) in survey.head.parties.iter().enumerate() {
        let role = ("/role", row.role == Some(PartyRole::Other), row.role_text.is_some());
        report(&[role], |field| Subject::at(format!("/parties/{index}{field}")), out);
    }
    for (index, row) in survey.head.equipment.iter().enumerate() {
        let kind = ("/kind", row.kind == EquipmentKind::Other, row.kind_text.is_some());
        report(&[kind], |field| Subject::at(format!("/equipment/{index}{field}")), out);
    }
    for view in survey.structures() {
        let row = view.structure;
        let kind = ("/kind", row.kind == StructureKind::Other, row.kind_text.is_some());
        report(&[kind], |field| view.subject(field), out);
    }
    for view in survey.pipes() {
        let row = view.pipe;
        let fields = [
            ("/carries", row.carries == Some(Carries::Other), row.carries_text.is_some()),
            ("/shape", row.shape == Some(Shape::Other), row.shape_text.is_some()),
            ("/material", row.material == Some(Material::Other), row.material_text.is_some()),
        ];
        report(&fields, |field| view.subject(field), out);
    }
}

fn check_run(summary: &RunSummary, out: &mut Sink<'_>) {
    let run = &summary.run;
    let fields = [
        ("/method", run.method == Some(Method::Other), run.method_text.is_some()),
        ("/purpose", run.purpose == Some(Purpose::Other), run.purpose_text.is_some()),
        ("/weather", run.weather == Some(Weather::Other), run.weather_text.is_some()),
    ];
    report(&fields, |field| summary.subject(field), out);
    if let Some(counter) = &run.counter {
        let other = counter.zero == CounterZero::Other;
        let zero = ("/counter/zero", other, counter.zero_text.is_some());
        report(&[zero], |field| summary.subject(field), out);
    }
    if let Some(outcome) = &run.outcome {
        let other = outcome.reason == Some(StopReason::Other);
        let reason = ("/outcome/reason", other, outcome.reason_text.is_some());
        report(&[reason], |field| summary.subject(field), out);
    }
}

/// Reports fields of a record that are `other` without a text. A field is its pointer, whether it
/// is `other`, and whether it has a text.
fn report(fields: &[(&str, bool, bool)], subject: impl Fn(&str) -> Subject, out: &mut Sink<'_>) {
    for (field, _, _) in fields.iter().filter(|(_, other, has_text)| *other && !has_text) {
        let name = field.rsplit('/').next().unwrap_or(field);
        out.report(subject(field), format!("{name} is \"other\" but {name}_text is missing"));
    }
}
