//! What was seen: observations from their rows, the media that they name, stretches that begin in one row and end in another, and how
//! a run ended where its rows say so.

use obvert_model::lists::{Code, Family, Role};
use obvert_model::read::ProblemKind;
use obvert_model::tables::{MediaKind, StopReason};
use serde_json::{Map, Value, json};

use super::grid::Spot;
use super::read::Reader;
use super::row::Row;
use super::{fill, implied_unit, put, said};
use obvert_convert::{Loss, LossKind};

impl Reader<'_> {
    /// Adds the observation of a row to its run, or ends the stretch that it ends; gives the place in the run of what the row is of.
    pub(super) fn observation(&mut self, row: &Row, run: usize, run_id: &str, line: usize) -> usize {
        let mut observation = row.observation();
        let next = self.tables["runs"][run].get("observations").and_then(Value::as_array).map_or(0, Vec::len);
        let pointer = format!("/runs/{run}/observations/{next}");
        if let Some(key) = &self.layout.extension {
            for (heading, text, _) in row.texts("runs.observations") {
                put(&mut observation, &["extensions", key, heading], text.into());
            }
        }
        let code = row.text("runs.observations.code").and_then(|code| self.codes.get(code.as_str()).copied());
        let characterisation: Vec<String> = row.characterisation.values().map(|(value, _)| said(value)).collect();
        if row.characterisation.keys().enumerate().any(|(index, place)| index != *place) {
            let spot = row.characterisation.values().next().map_or(Spot::line(line), |(_, spot)| *spot);
            let message = "a later characterisation is given and an earlier one is blank".to_owned();
            self.problem(ProblemKind::TextForm, spot, &format!("{pointer}/characterisation"), message);
        }
        if !characterisation.is_empty() {
            observation.insert("characterisation".to_owned(), characterisation.clone().into());
        }
        let mut quantities = Vec::new();
        for (place, (value, unit, spot)) in &row.amounts {
            let below = format!("{pointer}/quantities/{place}");
            let implied = implied_unit(code, &characterisation, *place);
            if let Some(other) = implied.filter(|other| row.percentages.contains(place) && *other != "percent") {
                let message = format!(
                    "found {} %, in a cell that is formatted as a percentage, where the code list has {other} for this amount; format the \
                     cell as a number and type the amount in {other}",
                    said(value)
                );
                self.problem(ProblemKind::TextForm, *spot, &below, message);
                continue;
            }
            match unit.or(implied) {
                Some(unit) if *place == quantities.len() => quantities.push(json!({"value": value, "unit": unit})),
                Some(_) => {
                    let message =
                        "an earlier amount is blank, so this one has no place; fill that in, or move this one there"
                            .to_owned();
                    self.problem(ProblemKind::TextForm, *spot, &below, message);
                }
                None if code.is_none() && !observation.contains_key("code") => {}
                None => {
                    let why = match code {
                        Some(_) => "the code list has none for an amount of this code here".to_owned(),
                        None => self.unlisted(&observation),
                    };
                    let message = format!("found {value} without a unit; {why}");
                    self.problem(ProblemKind::TextForm, *spot, &below, message);
                }
            }
        }
        if !quantities.is_empty() {
            observation.insert("quantities".to_owned(), quantities.into());
        }
        if let Some((value, spot)) = &row.grade {
            match code.map(|code| code.family) {
                Some(Family::Structural) => put(&mut observation, &["grades", "structural"], value.clone()),
                Some(Family::Operational) => put(&mut observation, &["grades", "operational"], value.clone()),
                // What is wrong with the code has been said.
                None if !observation.contains_key("code") => {}
                None => {
                    let message = format!(
                        "found {value}, and nothing tells whether it is a structural or an operational grade: {}",
                        self.unlisted(&observation)
                    );
                    self.problem(ProblemKind::TextForm, *spot, &format!("{pointer}/grades"), message);
                }
                _ => {
                    let message = "a grade of a code that is neither structural nor operational".to_owned();
                    self.problem(ProblemKind::TextForm, *spot, &format!("{pointer}/grades"), message);
                }
            }
        }
        let media = self.media(row, run_id);
        if !media.is_empty() {
            observation.insert("media".to_owned(), media.into());
        }
        if let Some((mark, spot)) = &row.stretch
            && let Some(begun) = self.stretch(mark, row, &mut observation, run, next, *spot)
        {
            return begun;
        }
        if !observation.contains_key("id") {
            observation.insert("id".to_owned(), (next + 1).to_string().into());
        }
        self.outcome(&observation, code, run, row, line);
        self.record_row(&pointer, line);
        let cells = row.of("runs.observations").map(|(below, (_, spot))| (below.replace('.', "/"), *spot));
        let amounts = row.amounts.iter().map(|(place, (.., spot))| (format!("quantities/{place}"), *spot));
        let values = row.characterisation.iter().map(|(place, (_, spot))| (format!("characterisation/{place}"), *spot));
        let grade = row.grade.iter().map(|(_, spot)| ("grades".to_owned(), *spot));
        let files = row.files.iter().enumerate().map(|(index, (.., spot))| (format!("media/{index}"), *spot));
        let begins = row.stretch.iter().map(|(_, spot)| ("continuous".to_owned(), *spot));
        for (below, spot) in cells.chain(amounts).chain(values).chain(grade).chain(files).chain(begins) {
            self.record_below(&pointer, line, &below, spot);
        }
        if let Some((_, spot)) = row.fields.get("runs.observations.media.offset") {
            let recording = row.files.iter().position(|(_, kind, _)| is_recording(*kind)).unwrap_or(row.files.len());
            self.record_below(&pointer, line, &format!("media/{recording}/offset"), *spot);
            if recording == row.files.len() {
                self.record_below(&pointer, line, &format!("media/{recording}"), *spot);
            }
        }
        // A position in the first of two columns alone became a point, whose place is that column.
        for (from, to) in [("clock/from", "clock/at"), ("clock/from", "clock")] {
            if let Some((_, spot)) = row.fields.get(&format!("runs.observations.{}", from.replace('/', "."))) {
                self.record_below(&pointer, line, to, *spot);
            }
        }
        if let Some(list) = self.observations(run) {
            list.push(Value::Object(observation));
        }
        next
    }

    /// Why nothing is known of a code.
    fn unlisted(&self, observation: &Map<String, Value>) -> String {
        let code = observation.get("code").map(said).unwrap_or_default();
        let list = self.layout.fixed_text("coding.list").unwrap_or_default();
        match self.codes.is_empty() {
            true => {
                format!("that follows from the code, and the code list {list} is not at hand; give it with --code-list")
            }
            false => format!("that follows from the code, and the code list {list} has no {code:?}; correct the code"),
        }
    }

    fn observations(&mut self, run: usize) -> Option<&mut Vec<Value>> {
        let run = self.tables.get_mut("runs")?.get_mut(run)?;
        run.entry("observations").or_insert_with(|| Value::Array(Vec::new())).as_array_mut()
    }

    /// The media that a row names, each also a row of the table of media.
    fn media(&mut self, row: &Row, run: &str) -> Vec<Value> {
        let mut found = Vec::new();
        let more = |file: &str, kind: MediaKind| {
            Map::from_iter([
                ("file".to_owned(), file.into()),
                ("kind".to_owned(), kind.as_str().into()),
                ("run".to_owned(), run.into()),
            ])
        };
        let mut offset = row.fields.get("runs.observations.media.offset");
        for (file, kind, spot) in &row.files {
            self.add("media", file, more(file, *kind), *spot);
            let into = if is_recording(*kind) { offset.take() } else { None };
            found.push(match into {
                Some((offset, _)) => json!({"id": file, "offset": offset}),
                None => json!({"id": file}),
            });
        }
        let video = self.layout.video.as_deref().and_then(|text| fill(text, &|path| row.text(path)));
        match (offset, video) {
            (Some((offset, spot)), Some(file)) => {
                self.add("media", &file, more(&file, MediaKind::Video), *spot);
                found.push(json!({"id": file, "offset": offset}));
            }
            (Some((offset, spot)), None) => {
                let message = format!("found {offset} seconds into a recording, and nothing in the row names which");
                self.problem(ProblemKind::TextForm, *spot, "", message);
            }
            (None, _) => {}
        }
        found
    }

    /// Opens or closes a stretch; where the row only ends one and is no observation of its own, the place of that one in the run.
    fn stretch(
        &mut self,
        mark: &str,
        row: &Row,
        observation: &mut Map<String, Value>,
        run: usize,
        next: usize,
        place: Spot,
    ) -> Option<usize> {
        let stretches = self.layout.stretches.as_ref()?;
        let number = |pattern: &str| {
            let (before, after) = pattern.split_once('#')?;
            let number = mark.strip_prefix(before)?.strip_suffix(after)?;
            (!number.is_empty() && number.bytes().all(|byte| byte.is_ascii_digit())).then(|| number.to_owned())
        };
        let pointer = format!("/runs/{run}/observations/{next}");
        if let Some(number) = number(&stretches.start) {
            observation.insert("continuous".to_owned(), true.into());
            if self.open.insert((run, number), next).is_some() {
                let message =
                    format!("found {mark:?}, which begins a stretch that this run has not ended; end it or count on");
                self.problem(ProblemKind::OrphanRow, place, &pointer, message);
            }
            return None;
        }
        let Some(number) = number(&stretches.finish) else {
            let message =
                format!("found {mark:?}; expected {} or {}, with a number for #", stretches.start, stretches.finish);
            self.problem(ProblemKind::TextForm, place, &pointer, message);
            return None;
        };
        let Some(start) = self.open.remove(&(run, number)) else {
            let message = format!("found {mark:?}, which ends a stretch that no row of this run before it begins");
            self.problem(ProblemKind::OrphanRow, place, &pointer, message);
            return Some(next);
        };
        let at = row.fields.get("runs.observations.at").map_or(place, |(_, spot)| *spot);
        let coded = row.fields.get("runs.observations.code").map_or(place, |(_, spot)| *spot);
        let Some(begun) = self.observations(run).and_then(|list| list.get_mut(start)).and_then(Value::as_object_mut)
        else {
            return Some(start);
        };
        if let Some(to) = observation.remove("at") {
            begun.insert("to".to_owned(), to);
        }
        if let Some(Value::Array(more)) = observation.remove("media") {
            let media = begun.entry("media").or_insert_with(|| Value::Array(Vec::new()));
            media.as_array_mut().into_iter().for_each(|media| media.extend(more.clone()));
        }
        let other: Vec<String> = observation
            .iter()
            .filter(|(key, value)| begun.get(*key) != Some(*value))
            .map(|(key, _)| key.clone())
            .collect();
        let pointer = format!("/runs/{run}/observations/{start}");
        self.record(&format!("{pointer}/to"), at);
        for key in other {
            if key == "code" || key == "characterisation" {
                let begins = self.places.place(&pointer).map_or(0, |place| place.line);
                let message = format!(
                    "the row that ends the stretch {mark:?} is of another code than line {begins}, which begins it; correct one of them"
                );
                self.problem(ProblemKind::TextForm, coded, &pointer, message);
            } else {
                let message =
                    format!("the row that ends the stretch has another {key}; what stands where it begins counts");
                let loss = Loss::new(LossKind::Dropped, format!("{pointer}/{key}"), message);
                let own = row.of("runs.observations").find(|(below, _)| below.split('.').next() == Some(key.as_str()));
                let spot = match key.as_str() {
                    "quantities" => row.amounts.values().next().map(|(.., spot)| *spot),
                    "grades" => row.grade.as_ref().map(|(_, spot)| *spot),
                    _ => own.map(|(_, (_, spot))| *spot),
                };
                let place = self.place(spot.unwrap_or(place));
                let was = observation.get(&key).cloned();
                self.report.losses.push(Loss { was, place: Some(place), ..loss });
            }
        }
        Some(start)
    }

    /// How the run ended, where its rows say so.
    fn outcome(&mut self, observation: &Map<String, Value>, code: Option<&Code>, run: usize, row: &Row, line: usize) {
        if self.layout.outcome_from_codes != Some(true) {
            return;
        }
        let Some(role) = code.and_then(|code| code.role) else { return };
        let reason = observation.get("characterisation").and_then(|values| values.get(0)).and_then(Value::as_str);
        let outcome = match role {
            Role::Finish if code.is_some_and(|code| &*code.code == "run.met") => json!({"kind": "met"}),
            Role::Finish => json!({"kind": "reached"}),
            Role::Stopped => match reason.filter(|reason| reason.parse::<StopReason>().is_ok()) {
                Some(reason) => json!({"kind": "stopped", "reason": reason}),
                None => json!({"kind": "stopped"}),
            },
            _ => return,
        };
        let at = row.fields.get("runs.observations.at").map_or(Spot::line(line), |(_, spot)| *spot);
        let Some(object) = self.tables.get_mut("runs").and_then(|runs| runs.get_mut(run)) else { return };
        object.insert("outcome".to_owned(), outcome);
        if let Some(at) = observation.get("at") {
            object.insert("surveyed".to_owned(), at.clone());
        }
        self.record(&format!("/runs/{run}/outcome"), Spot::line(line));
        self.record(&format!("/runs/{run}/surveyed"), at);
    }
}

pub(super) fn is_recording(kind: MediaKind) -> bool {
    matches!(kind, MediaKind::Video | MediaKind::IntervalVideo | MediaKind::Audio)
}
