//! See the rule's documentation below.

use obvert_model::tables::{
    Carries, CounterZero, EquipmentKind, LocateMethod, Material, Method, PartyRole, Purpose, Shape,
    StopReason, StructureKind, Weather,
};

use crate::sink::Sink;
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// A field is `other` and the text field that describes it is missing (`kind_text` for `kind`,
    /// and so on).
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
    let survey = ending.survey;
    let head = survey.head;
    let mut check_text = |other: bool,
                          described: bool,
                          field: &str,
                          subject: &dyn Fn(&str) -> Subject| {
        if other && !described {
            let name = field.rsplit('/').next().unwrap_or(field);
            out.report(subject(field), format!("{name} is \"other\" but {name}_text is missing"));
        }
    };
    if let Some(work) = &head.assignment {
        check_text(
            work.purpose == Some(Purpose::Other),
            work.purpose_text.is_some(),
            "/assignment/purpose",
            &|field| Subject::at(field),
        );
    }
    for (index, row) in head.parties.iter().enumerate() {
        let subject = |field: &str| Subject::at(format!("/parties/{index}{field}"));
        check_text(row.role == Some(PartyRole::Other), row.role_text.is_some(), "/role", &subject);
    }
    for (index, row) in head.equipment.iter().enumerate() {
        let subject = |field: &str| Subject::at(format!("/equipment/{index}{field}"));
        check_text(row.kind == EquipmentKind::Other, row.kind_text.is_some(), "/kind", &subject);
    }
    for view in survey.structures() {
        let row = view.structure;
        check_text(row.kind == StructureKind::Other, row.kind_text.is_some(), "/kind", &|field| {
            view.subject(field)
        });
    }
    for view in survey.pipes() {
        let (row, subject) = (view.pipe, |field: &str| view.subject(field));
        check_text(
            row.carries == Some(Carries::Other),
            row.carries_text.is_some(),
            "/carries",
            &subject,
        );
        check_text(row.shape == Some(Shape::Other), row.shape_text.is_some(), "/shape", &subject);
        check_text(
            row.material == Some(Material::Other),
            row.material_text.is_some(),
            "/material",
            &subject,
        );
    }
    for view in ending.locates() {
        let row = view.locate;
        check_text(
            row.method == Some(LocateMethod::Other),
            row.method_text.is_some(),
            "/method",
            &|field| view.subject(field),
        );
    }
    for summary in ending.runs {
        let (run, subject) = (&summary.run, |field: &str| summary.subject(field));
        check_text(
            run.method == Some(Method::Other),
            run.method_text.is_some(),
            "/method",
            &subject,
        );
        check_text(
            run.purpose == Some(Purpose::Other),
            run.purpose_text.is_some(),
            "/purpose",
            &subject,
        );
        check_text(
            run.weather == Some(Weather::Other),
            run.weather_text.is_some(),
            "/weather",
            &subject,
        );
        if let Some(counter) = &run.counter {
            check_text(
                counter.zero == CounterZero::Other,
                counter.zero_text.is_some(),
                "/counter/zero",
                &subject,
            );
        }
        if let Some(outcome) = &run.outcome {
            check_text(
                outcome.reason == Some(StopReason::Other),
                outcome.reason_text.is_some(),
                "/outcome/reason",
                &subject,
            );
        }
    }
}
