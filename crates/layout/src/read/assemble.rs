//! A document, assembled from the collected records: fixed and made values are added, and problems
//! are reported.

use std::collections::HashSet;

use obvert_convert::{ConvertError, Loss, LossKind, LossReport, Survey};
use obvert_model::layout::{Record, Target, Template};
use obvert_model::read::ProblemKind;
use obvert_model::tables::Document;
use serde::Deserialize;
use serde_json::{Map, Value};

use super::check::Checked;
use super::collect::{Collector, LastRow, Latest};
use super::journal::Journal;
use super::records::Records;
use crate::plan::Plan;
use crate::{PLACEHOLDER_ISSUED, as_text};

/// A survey, and the report on reading it.
pub(crate) type Read = (Survey, LossReport);

impl<'l> Collector<'_, 'l> {
    /// Assembles the document. `None` if no cell has a problem and the document is still invalid:
    /// the values that would show why are not kept.
    ///
    /// # Errors
    /// As [`Self::diagnose`], if a cell has a problem.
    pub(crate) fn assemble(self, plan: &Plan<'l>) -> Result<Option<Read>, ConvertError> {
        let assembly = self.assembly(plan);
        if !assembly.journal.problems.is_empty() {
            return assembly.diagnose(plan).map(Some);
        }
        let Assembly { document, journal, .. } = assembly;
        let document = Document::deserialize(Value::Object(document)).ok();
        let document =
            document.filter(|document| obvert_model::read::duplicate_ids(document).is_empty());
        let places = journal.places.into_map();
        Ok(document.map(|document| (Survey { document, places }, journal.report)))
    }

    /// Assembles the document, or reports every problem.
    ///
    /// # Errors
    /// With the problems of cells, and the other problems that the format finds.
    pub(crate) fn diagnose(self, plan: &Plan<'l>) -> Result<Read, ConvertError> {
        self.assembly(plan).diagnose(plan)
    }

    fn assembly(self, plan: &Plan<'l>) -> Assembly<'l> {
        let Collector { mut records, mut journal, last, latest, digest, .. } = self;
        records.report_disputes(&mut journal);
        records.set_ends(&mut journal);
        complete_runs(&mut records, plan);
        let mut document = records.take_document();
        document.insert("obvert".to_owned(), obvert_model::versions::CURRENT.into());
        make(&mut document, latest, (&last, &digest), plan, &mut records, &mut journal);
        for (target, value) in &plan.fixed {
            if target.record() == Record::Document {
                fix(*target, value, &mut document, &records, plan, &mut journal);
            } else {
                fix_each(*target, value, &mut records);
            }
        }
        document.extend(records.into_lists());
        Assembly { document, journal, last }
    }
}

/// A document as a value, and the report on reading it.
struct Assembly<'l> {
    document: Map<String, Value>,
    journal: Journal<'l>,
    last: LastRow,
}

impl Assembly<'_> {
    fn diagnose(self, plan: &Plan<'_>) -> Result<Read, ConvertError> {
        let Journal { places, problems, report } = self.journal;
        let (headings, name) = (places.headings.clone(), places.name());
        let checked = Checked { plan, name, headings: &headings, last: &self.last };
        Ok((checked.survey(Value::Object(self.document), places.into_map(), problems)?, report))
    }
}

/// Links runs to the runs that they complete from the other end.
fn complete_runs(records: &mut Records, plan: &Plan<'_>) {
    let Some(suffix) = plan.layout.completed_by.as_deref() else { return };
    let ids: HashSet<String> = records
        .all_mut(Record::Run)
        .filter_map(|run| Target::RUN_ID.get_in(run)?.as_str().map(str::to_owned))
        .collect();
    for run in records.all_mut(Record::Run) {
        let other = Target::RUN_ID
            .get_in(run)
            .and_then(Value::as_str)
            .and_then(|id| id.strip_suffix(suffix));
        let other = other.filter(|other| ids.contains(*other)).map(str::to_owned);
        // A column that has it takes precedence.
        if let Some(other) = other.filter(|_| Target::REVERSE_OF.get_in(run).is_none()) {
            Target::REVERSE_OF.put(run, other.into());
        }
    }
}

/// Makes fields of the document from the last row.
fn make(
    document: &mut Map<String, Value>,
    mut latest: Option<Latest>,
    (last, digest): (&LastRow, &str),
    plan: &Plan<'_>,
    records: &mut Records,
    journal: &mut Journal<'_>,
) {
    for (target, template) in &plan.made {
        let of_last = || template.fill(|field| last.row.as_ref()?.text(field));
        match target.record() {
            Record::Document if target.get_in(document).is_none() => {}
            Record::Structure | Record::Media | Record::Party => {
                of_last().into_iter().for_each(|text| fix_each(*target, &text.into(), records));
                continue;
            }
            _ => continue,
        }
        let is_issued = *target == Target::ISSUED;
        let issued = latest.take_if(|_| is_issued);
        if let Some(issued) = &issued {
            journal.places.record(Target::ISSUED.pointer(), issued.origin);
        }
        let Some(mut text) = issued.map(|issued| issued.text).or_else(of_last) else { continue };
        if template.has_digest() {
            text = text.replace(Template::DIGEST, digest);
        }
        if is_issued {
            let message = "the table does not have the time of issue; the layout makes it from the latest value of this column";
            note_default(*target, text.clone().into(), message, journal);
        }
        target.put(document, text.into());
    }
}

/// Sets a fixed field of the document, or reports that the file has another value.
fn fix(
    target: Target,
    value: &Value,
    document: &mut Map<String, Value>,
    records: &Records,
    plan: &Plan<'_>,
    journal: &mut Journal<'_>,
) {
    match target.get_in(document) {
        None => {
            if target == Target::ISSUED && value == PLACEHOLDER_ISSUED {
                let message = "the layout still has the placeholder of a draft; set the time of issue in fixed";
                note_default(target, value.clone(), message, journal);
            }
            target.put(document, value.clone());
        }
        Some(found) if found != value => {
            let message = format!(
                "found {:?}, and the layout {} fixes {:?}; correct it, or use another layout",
                as_text(found),
                plan.layout.id,
                as_text(value)
            );
            journal.problem(
                ProblemKind::TextForm,
                records.origin(target),
                target.pointer(),
                message,
            );
        }
        Some(_) => {}
    }
}

/// Sets a field of all records of a list that do not have it.
fn fix_each(target: Target, value: &Value, records: &mut Records) {
    let set = |record: &mut Map<String, Value>| {
        if target.get_in(record).is_none() {
            target.put(record, value.clone());
        }
    };
    if target.record() != Record::Observation {
        return records.all_mut(target.record()).for_each(set);
    }
    for run in records.all_mut(Record::Run) {
        let observations = Target::OBSERVATIONS.keys().first().and_then(|key| run.get_mut(key));
        let observations = observations.and_then(Value::as_array_mut).into_iter().flatten();
        observations.filter_map(Value::as_object_mut).for_each(set);
    }
}

/// Reports a value that the layout added.
fn note_default(target: Target, value: Value, message: &str, journal: &mut Journal<'_>) {
    let loss = Loss::new(LossKind::Defaulted, target.pointer(), message);
    journal.report.losses.push(loss.with_values(None, Some(value)));
}
