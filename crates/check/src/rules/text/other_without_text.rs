//! See the rule's documentation below.

use obvert_model::tables::{
    Carries, CounterZero, EquipmentKind, LocateMethod, Material, Method, PartyRole, Purpose, Shape, StopReason,
    StructureKind, Weather,
};

use crate::sink::Sink;
use crate::views::{Ending, Subject};

rule! {
    /// # What it checks
    /// Wherever one of the format's words is `other`, the field beside it says what (`kind_text` beside `kind`, and so
    /// on).
    ///
    /// # Why it matters
    /// `other` alone says only what it is not. Whoever reads the record in ten years cannot ask.
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
    /// Say it in the field beside it, or take a word of the format that fits.
    name: "other-without-text", severity: Warning, scope: Ending, since: "0.1", clause: "document#structure",
    concludes_from: ["texts"],
}

fn check(ending: &Ending<'_>, out: &mut Sink<'_>) {
    let survey = ending.survey;
    let head = survey.head;
    let mut look = |other: bool, told: bool, field: &str, subject: &dyn Fn(&str) -> Subject| {
        if other && !told {
            let name = field.rsplit('/').next().unwrap_or(field);
            out.report(subject(field), format!("{name} is \"other\", and {name}_text does not say what"));
        }
    };
    if let Some(work) = &head.assignment {
        look(work.purpose == Some(Purpose::Other), work.purpose_text.is_some(), "/assignment/purpose", &|field| {
            Subject::at(field)
        });
    }
    for (index, row) in head.parties.iter().enumerate() {
        let subject = |field: &str| Subject::at(format!("/parties/{index}{field}"));
        look(row.role == Some(PartyRole::Other), row.role_text.is_some(), "/role", &subject);
    }
    for (index, row) in head.equipment.iter().enumerate() {
        let subject = |field: &str| Subject::at(format!("/equipment/{index}{field}"));
        look(row.kind == EquipmentKind::Other, row.kind_text.is_some(), "/kind", &subject);
    }
    for view in survey.structures() {
        let row = view.structure;
        look(row.kind == StructureKind::Other, row.kind_text.is_some(), "/kind", &|field| view.subject(field));
    }
    for view in survey.pipes() {
        let (row, subject) = (view.pipe, |field: &str| view.subject(field));
        look(row.carries == Some(Carries::Other), row.carries_text.is_some(), "/carries", &subject);
        look(row.shape == Some(Shape::Other), row.shape_text.is_some(), "/shape", &subject);
        look(row.material == Some(Material::Other), row.material_text.is_some(), "/material", &subject);
    }
    for view in ending.locates() {
        let row = view.locate;
        look(row.method == Some(LocateMethod::Other), row.method_text.is_some(), "/method", &|field| {
            view.subject(field)
        });
    }
    for summary in ending.runs {
        let (run, subject) = (&summary.run, |field: &str| summary.subject(field));
        look(run.method == Some(Method::Other), run.method_text.is_some(), "/method", &subject);
        look(run.purpose == Some(Purpose::Other), run.purpose_text.is_some(), "/purpose", &subject);
        look(run.weather == Some(Weather::Other), run.weather_text.is_some(), "/weather", &subject);
        if let Some(counter) = &run.counter {
            look(counter.zero == CounterZero::Other, counter.zero_text.is_some(), "/counter/zero", &subject);
        }
        if let Some(outcome) = &run.outcome {
            look(outcome.reason == Some(StopReason::Other), outcome.reason_text.is_some(), "/outcome/reason", &subject);
        }
    }
}
