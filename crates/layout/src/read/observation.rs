//! The observation of a row, with its amounts, its grade and its media; or the end of an
//! observation that an earlier row starts.

use obvert_convert::{Loss, LossKind};
use obvert_model::layout::{Record, Target};
use obvert_model::lists::{Code, Family, Role};
use obvert_model::read::ProblemKind;
use obvert_model::tables::{MediaKind, QuantityUnit, StopReason};
use serde_json::{Map, Value, json};

use super::journal::Journal;
use super::records::{Records, RunEnd, put};
use super::row::{Amount, Row};
use super::stretches::{Mark, OpenStretches};
use crate::as_text;
use crate::grid::Origin;
use crate::plan::{Plan, implied_unit};

/// A row of an observation, and the record that it belongs to.
pub(crate) struct Seen<'r, 'l> {
    pub(crate) plan: &'r Plan<'l>,
    pub(crate) row: &'r Row,
    /// The code, if the code list has it.
    pub(crate) code: Option<&'l Code>,
    /// The index of the run, and its id.
    pub(crate) run: usize,
    pub(crate) run_id: &'r str,
    /// The index of the observation in the run, if it is one.
    pub(crate) place: usize,
    /// Its row, and its first column if the row has several observations.
    pub(crate) at: Origin,
}

impl Seen<'_, '_> {
    /// Adds the observation to its run, or ends the stretch that the row ends; returns the index of
    /// the observation in the run.
    pub(crate) fn add(
        &self,
        records: &mut Records,
        stretches: &mut OpenStretches,
        journal: &mut Journal<'_>,
    ) -> usize {
        let mut observation = self.observation(journal);
        let media = self.media(records, journal);
        if !media.is_empty() {
            Target::MEDIA_REFERENCES.put(&mut observation, media.into());
        }
        if let Some((text, origin)) = &self.row.stretch {
            let mark = Mark { text, origin: *origin };
            if let Some(begun) = stretches.take(mark, self, &mut observation, records, journal) {
                return begun;
            }
        }
        if Target::OBSERVATION_ID.get_in(&observation).is_none() {
            Target::OBSERVATION_ID.put(&mut observation, (self.place + 1).to_string().into());
        }
        self.end_run(&observation, records);
        self.record_places(journal);
        if let Some(list) = records.observations_mut(self.run) {
            list.push(Value::Object(observation));
        }
        self.place
    }

    /// The pointer of the observation, if it is one.
    pub(super) fn pointer(&self) -> String {
        format!("/runs/{}/observations/{}", self.run, self.place)
    }

    /// The observation without its media.
    fn observation(&self, journal: &mut Journal<'_>) -> Map<String, Value> {
        let mut observation = self.row.observation();
        if let Some(key) = self.plan.layout.extension.as_deref() {
            for (heading, text, _) in self.row.texts(Record::Observation) {
                put(&mut observation, &["extensions", key, heading], text.into());
            }
        }
        let characterisation = self.characterisation(journal);
        let quantities = self.quantities(&characterisation, journal);
        if !characterisation.is_empty() {
            Target::CHARACTERISATION.put(&mut observation, characterisation.into());
        }
        if !quantities.is_empty() {
            Target::AMOUNTS.put(&mut observation, quantities.into());
        }
        self.grade(&mut observation, journal);
        observation
    }

    fn characterisation(&self, journal: &mut Journal<'_>) -> Vec<String> {
        let values = &self.row.characterisation;
        if values.keys().enumerate().any(|(index, place)| index != *place) {
            let origin =
                values.values().next().map_or(Origin::line(self.at.line), |cell| cell.origin);
            let pointer = format!("{}{}", self.pointer(), Target::CHARACTERISATION.pointer());
            let message = "a later characterisation is given and an earlier one is blank";
            journal.problem(ProblemKind::TextForm, origin, &pointer, message);
        }
        values.values().map(|cell| as_text(&cell.value)).collect()
    }

    fn quantities(&self, characterisation: &[String], journal: &mut Journal<'_>) -> Vec<Value> {
        let (mut quantities, mut wrong) = (Vec::new(), Vec::new());
        for (place, cell) in &self.row.units {
            if !self.row.amounts.contains_key(place) {
                let message = format!(
                    "found the unit {} without an amount; fill in the amount, or clear the unit",
                    cell.unit
                );
                wrong.push((place, cell.origin, message));
            }
        }
        for (place, amount) in &self.row.amounts {
            let own = self.row.units.get(place).map(|cell| cell.unit);
            let implied = implied_unit(self.code, characterisation, *place);
            match self.unit(amount, (own, implied), *place == quantities.len()) {
                Ok(Some(unit)) => {
                    quantities.push(json!({"value": amount.value, "unit": unit.as_str()}))
                }
                Ok(None) => {}
                Err(message) => wrong.push((place, amount.origin, message)),
            }
        }
        for (place, origin, message) in wrong {
            let pointer = format!("{}{}/{place}", self.pointer(), Target::AMOUNTS.pointer());
            journal.problem(ProblemKind::TextForm, origin, &pointer, message);
        }
        quantities
    }

    /// The unit of an amount; `None` if it depends on a code that could not be read, which has been
    /// reported.
    fn unit(
        &self,
        amount: &Amount,
        (own, implied): (Option<QuantityUnit>, Option<QuantityUnit>),
        is_next: bool,
    ) -> Result<Option<QuantityUnit>, String> {
        if let (Some(unit), Some(other)) = (amount.unit, own)
            && unit != other
        {
            return Err(format!(
                "found {} in {unit}, and the column of its unit has {other}; correct one of them",
                as_text(&amount.value)
            ));
        }
        let other =
            implied.filter(|unit| amount.shown_in_percent && *unit != QuantityUnit::Percent);
        if let Some(other) = other {
            return Err(format!(
                "found {} %, in a cell that is formatted as a percentage, where the code list has {other} for this amount; format the \
                 cell as a number and type the amount in {other}",
                as_text(&amount.value)
            ));
        }
        match amount.unit.or(own).or(implied) {
            Some(unit) if is_next => Ok(Some(unit)),
            Some(_) => {
                let message = "an earlier amount is blank; fill it in, or move this one there";
                Err(message.to_owned())
            }
            None if !self.has_code() => Ok(None),
            None => {
                let why = match self.code {
                    Some(_) => "the code list has none for an amount of this code here".to_owned(),
                    None => self.why_unlisted(),
                };
                Err(format!("found {} without a unit; {why}", amount.value))
            }
        }
    }

    /// Puts a grade where the family of the code has it.
    fn grade(&self, observation: &mut Map<String, Value>, journal: &mut Journal<'_>) {
        let Some(grade) = &self.row.grade else { return };
        let aspect = match self.code.map(|code| code.family) {
            Some(Family::Structural) => Ok("structural"),
            Some(Family::Operational) => Ok("operational"),
            None if !self.has_code() => return,
            None => Err(format!(
                "found {}, and the aspect of the grade, structural or operational, is not known: {}",
                grade.value,
                self.why_unlisted()
            )),
            Some(_) => {
                Err("the code is neither structural nor operational, so it has no grade; remove the grade".to_owned())
            }
        };
        match aspect.map(|aspect| Target::GRADES.child(aspect)) {
            Ok(Some(target)) => target.put(observation, grade.value.clone()),
            Ok(None) => {}
            Err(message) => {
                let pointer = format!("{}{}", self.pointer(), Target::GRADES.pointer());
                journal.problem(ProblemKind::TextForm, grade.origin, &pointer, message);
            }
        }
    }

    fn has_code(&self) -> bool {
        self.row.get(Target::CODE).is_some()
    }

    /// Why a code is not known.
    fn why_unlisted(&self) -> String {
        let list = self.plan.layout.fixed_text(Target::CODE_LIST).unwrap_or_default();
        if self.plan.codes.is_empty() {
            return format!(
                "that follows from the code, but the code list {list} is not available; give it with --code-list"
            );
        }
        let code = self.row.text(Target::CODE).unwrap_or_default();
        format!(
            "that follows from the code, but the code list {list} has no {code:?}; correct the code"
        )
    }

    /// The media that a row names; each becomes a record.
    fn media(&self, records: &mut Records, journal: &mut Journal<'_>) -> Vec<Value> {
        let mut references = Vec::new();
        let mut offset = self.row.get(Target::MEDIA_OFFSET);
        for file in &self.row.files {
            let is_new = self.add_medium(&file.name, file.kind, file.origin, records, journal);
            if !is_recording(file.kind) && self.ends_stretch() {
                self.place_at_end((&file.name, is_new), file.origin, records, journal);
            }
            let into = if is_recording(file.kind) { offset.take() } else { None };
            references.push(reference(&file.name, into.map(|cell| &cell.value)));
        }
        let Some(offset) = offset else { return references };
        let video = self
            .plan
            .video
            .as_ref()
            .and_then(|template| template.fill(|field| self.row.text(field)));
        match video {
            Some(file) => {
                self.add_medium(&file, MediaKind::Video, offset.origin, records, journal);
                references.push(reference(&file, Some(&offset.value)));
            }
            None => {
                let message = format!(
                    "found {} seconds into a recording, but the row does not name the recording",
                    offset.value
                );
                journal.problem(ProblemKind::TextForm, offset.origin, "", message);
            }
        }
        references
    }

    /// Whether the row is the one that ends a stretch.
    fn ends_stretch(&self) -> bool {
        let stretches = self.plan.layout.stretches.as_ref();
        stretches.zip(self.row.stretch.as_ref()).is_some_and(|(stretches, (text, origin))| {
            Mark { text, origin: *origin }.number(&stretches.finish).is_some()
        })
    }

    /// Records the distance of a picture in the row that ends a stretch, since the observation does
    /// not have at which of its ends the picture was taken.
    fn place_at_end(
        &self,
        (file, is_new): (&str, bool),
        origin: Origin,
        records: &mut Records,
        journal: &mut Journal<'_>,
    ) {
        let distance = self.row.get(Target::DISTANCE).map(|cell| &cell.value);
        let Some(medium) = records.named_mut(Record::Media, file) else { return };
        if medium.get("at") == distance && distance.is_some() {
            return;
        }
        if let Some(distance) = distance.filter(|_| is_new) {
            medium.insert("at".to_owned(), distance.clone());
            return;
        }
        let message = "the picture is in the row that ends a stretch, and has no distance or is in another row too; the survey does not keep at which end it was taken";
        let loss = Loss::new(LossKind::Changed, self.pointer(), message);
        journal.lose(loss.with_values(Some(file.into()), None), origin);
    }

    fn add_medium(
        &self,
        file: &str,
        kind: MediaKind,
        origin: Origin,
        records: &mut Records,
        journal: &mut Journal<'_>,
    ) -> bool {
        let fields =
            [("file", file.into()), ("kind", kind.as_str().into()), ("run", self.run_id.into())];
        let earlier = records.named(Record::Media, file).and_then(|medium| medium.get("kind"));
        if let Some(earlier) = earlier.and_then(Value::as_str).filter(|own| *own != kind.as_str()) {
            let message = format!(
                "found {file:?} as {}, and another cell names it as {earlier}; correct one of them",
                kind.as_str()
            );
            journal.problem(ProblemKind::TextForm, origin, &self.pointer(), message);
        }
        records.add(Record::Media, file, fields, origin, journal)
    }

    /// How the run ended and at which distance, if its rows say so.
    fn end_run(&self, observation: &Map<String, Value>, records: &mut Records) {
        if self.plan.layout.outcome_from_codes != Some(true) {
            return;
        }
        let Some((code, role)) = self.code.and_then(|code| Some((code, code.role?))) else {
            return;
        };
        let reason = self.row.characterisation.values().next().and_then(|cell| cell.value.as_str());
        let outcome = match role {
            Role::Finish if &*code.code == "run.met" => json!({"kind": "met"}),
            Role::Finish if &*code.code == "run.as-ordered" => json!({"kind": "as-ordered"}),
            Role::Finish => json!({"kind": "reached"}),
            Role::Stopped => match reason.filter(|reason| reason.parse::<StopReason>().is_ok()) {
                Some(reason) => json!({"kind": "stopped", "reason": reason}),
                None => json!({"kind": "stopped"}),
            },
            _ => return,
        };
        let distance = Target::DISTANCE.get_in(observation).cloned();
        let origin = self.row.origin(Target::DISTANCE, self.at.line);
        let line = Origin::line(self.at.line);
        records.end_run(self.run, RunEnd { outcome, distance, line, origin });
    }

    /// Records the locations of the observation and its values.
    fn record_places(&self, journal: &mut Journal<'_>) {
        let (pointer, row) = (self.pointer(), self.row);
        journal.places.record_row(&pointer, self.at);
        let cells = row.of(Record::Observation).map(|(target, cell)| (below(target), cell.origin));
        let of_list = |target: Target, place: usize| format!("{}/{place}", below(target));
        let amounts = row
            .amounts
            .iter()
            .map(|(place, amount)| (of_list(Target::AMOUNTS, *place), amount.origin));
        let units = row.units.iter().map(|(place, cell)| {
            (format!("{}/unit", of_list(Target::AMOUNTS, *place)), cell.origin)
        });
        let values = row
            .characterisation
            .iter()
            .map(|(place, cell)| (of_list(Target::CHARACTERISATION, *place), cell.origin));
        let grade = row.grade.iter().map(|cell| (below(Target::GRADES), cell.origin));
        let files = row
            .files
            .iter()
            .zip(0..)
            .map(|(file, place)| (of_list(Target::MEDIA_REFERENCES, place), file.origin));
        let begins = row.stretch.iter().map(|(_, origin)| (below(Target::CONTINUOUS), *origin));
        for (below, origin) in
            cells.chain(amounts).chain(units).chain(values).chain(grade).chain(files).chain(begins)
        {
            journal.places.record_below(&pointer, self.at.line, &below, origin);
        }
        if let Some(offset) = row.get(Target::MEDIA_OFFSET) {
            let recording = row
                .files
                .iter()
                .position(|file| is_recording(file.kind))
                .unwrap_or(row.files.len());
            let medium = of_list(Target::MEDIA_REFERENCES, recording);
            journal.places.record_below(
                &pointer,
                self.at.line,
                &format!("{medium}/offset"),
                offset.origin,
            );
            if recording == row.files.len() {
                journal.places.record_below(&pointer, self.at.line, &medium, offset.origin);
            }
        }
        // A position in the first of two columns only became a point, located in that column.
        if let Some(cell) = row.get(Target::CLOCK_FROM) {
            for target in [Target::CLOCK_AT, Target::CLOCK] {
                journal.places.record_below(&pointer, self.at.line, &below(target), cell.origin);
            }
        }
    }
}

/// The pointer of a field in its record, without the leading slash.
fn below(target: Target) -> String {
    target.keys().join("/")
}

/// A reference to a medium, with an offset into it if there is one.
fn reference(file: &str, offset: Option<&Value>) -> Value {
    match offset {
        Some(offset) => json!({"id": file, "offset": offset}),
        None => json!({"id": file}),
    }
}

/// Whether media of a kind have offsets.
pub(crate) const fn is_recording(kind: MediaKind) -> bool {
    matches!(kind, MediaKind::Video | MediaKind::IntervalVideo | MediaKind::Audio)
}
