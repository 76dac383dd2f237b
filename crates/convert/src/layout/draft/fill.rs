//! The layout of what was chosen: kinds and patterns, translations of words, codes from words, and what no column holds.

use obvert_model::layout::{Encoding, Layout};
use obvert_model::lists::{Code, CodeList};
use serde_json::{Map, Value, json};

use super::super::grid::GridRow;
use super::look::{Form, Look, settled};
use super::words::{self, UNITS, Wants};
use super::{Choice, Draft, Drafted};
use crate::ConvertError;

/// The values of a column, each with the first word of a list that is in it.
pub(super) fn translated<'v>(
    values: &'v [(String, usize)],
    list: &[(&str, &'static str)],
) -> Vec<(&'v str, Option<&'static str>)> {
    let find = |value: &str| {
        let own = words::words(value);
        let holds = |phrase: &str| phrase.split(' ').all(|part| own.iter().any(|word| word == part));
        list.iter().find(|(phrase, _)| holds(phrase)).map(|(_, value)| *value)
    };
    values.iter().map(|(value, _)| (value.as_str(), find(value))).collect()
}

/// Whether a value is a word for yes, or for no.
pub(super) fn yes(value: &str) -> Option<bool> {
    let lower = value.trim().to_lowercase();
    words::YES.iter().find(|(word, _)| *word == lower).map(|(_, yes)| *yes)
}

/// A table as far as it is understood.
pub(super) struct Table<'t> {
    pub(super) headings: &'t [String],
    pub(super) looks: &'t [Look],
    pub(super) choices: &'t [Option<Choice>],
    pub(super) rows: &'t [&'t GridRow],
    pub(super) encoding: Encoding,
    pub(super) delimiter: char,
    pub(super) decimal: char,
    pub(super) american: bool,
    pub(super) first: usize,
    pub(super) deep: usize,
}

impl Table<'_> {
    fn column_of(&self, to: &str) -> Option<usize> {
        self.choices.iter().position(|choice| choice.as_ref().is_some_and(|choice| choice.target.to == to))
    }

    fn has(&self, to: &str) -> bool {
        self.column_of(to).is_some()
    }

    /// The unit that a heading names.
    fn unit_of(&self, to: &str) -> Option<&'static str> {
        let own = words::words(&self.headings[self.column_of(to)?]);
        UNITS.iter().find(|(word, _)| own.iter().any(|part| part == word)).map(|(_, unit)| *unit)
    }

    /// The units of lengths and of sizes, each with why.
    fn units(&self) -> [(&'static str, &'static str, String); 2] {
        let at = self.column_of("runs.observations.at").map(|column| &self.looks[column]);
        let feet = at.is_some_and(|look| look.has(&Form::Station) || look.has(&Form::FeetAndInches));
        let size = self.column_of("pipes.height").map_or(0.0, |column| self.looks[column].greatest);
        let smallest = self.column_of("pipes.height").and_then(|column| {
            let numbers =
                self.looks[column].distinct.iter().filter_map(|(value, _)| super::look::number(value, self.decimal));
            numbers.min_by(f64::total_cmp)
        });
        let section = match self.unit_of("pipes.height").filter(|unit| ["mm", "in"].contains(unit)) {
            Some(unit) => (unit, "the heading of the size says so".to_owned()),
            None if smallest.is_some_and(|size| size >= 50.0) => {
                ("mm", format!("sizes from {} on can be nothing else", smallest.unwrap_or(0.0)))
            }
            None => ("in", format!("sizes up to {size} are none of millimetres")),
        };
        let named = self.unit_of("pipes.length").or_else(|| self.unit_of("runs.observations.at"));
        let length = match named.filter(|unit| ["m", "ft"].contains(unit)) {
            Some(unit) => (unit, "a heading says so".to_owned()),
            None if feet => ("ft", "distances are stations, or feet and inches".to_owned()),
            None if section.0 == "mm" => ("m", "sizes are in millimetres".to_owned()),
            None => ("ft", "sizes are in inches".to_owned()),
        };
        [("units.length", length.0, length.1), ("units.section", section.0, section.1)]
    }

    /// The whole draft.
    pub(super) fn draft(&self, mut guesses: Vec<String>) -> Result<Draft, ConvertError> {
        let mut open = Vec::new();
        let units = self.units();
        for (what, unit, why) in &units {
            guesses.push(format!("{unit} for {what}: {why}"));
        }
        let (codes, coding) = self.codes(&mut open);
        let both = self.whole_moment();
        if self.has("runs.started") && !both {
            open.push(
                "dates stand without times of day, so when a run began is left out; a moment needs both".to_owned(),
            );
        }
        let mut columns = Vec::new();
        let mut drafted = Vec::new();
        let mut places: Map<String, Value> = Map::new();
        for (index, heading) in self.headings.iter().enumerate() {
            let look = &self.looks[index];
            let choice = self.choices[index].as_ref();
            let mut column = json!({ "heading": heading });
            let mut told = None;
            match choice.map(|choice| choice.target.to) {
                Some("runs.started") if !both => {}
                Some("stretch") => told = Some("stretches".to_owned()),
                Some("codes" | "codes.detail") if codes.is_some() => told = Some("codes".to_owned()),
                Some("codes") => {
                    column["to"] = "runs.observations.code".into();
                    told = Some("runs.observations.code".to_owned());
                }
                Some("codes.detail") | None => {}
                Some(to) => {
                    column["to"] = to.into();
                    self.kind(&mut column, index, to, &mut places, &mut open);
                    told = Some(to.to_owned());
                }
            }
            let (confidence, reason) = match choice.filter(|_| told.is_some()) {
                Some(choice) => (choice.confidence, reason(choice, look)),
                None => (0.0, "neither its heading nor its values say what it holds".to_owned()),
            };
            let sample = look.distinct.first().cloned();
            if told.is_none() {
                column["drop"] = "the draft found no field for it".into();
                open.push(format!(
                    "{heading:?}: {reason}; give it a field in to, or the reason why it has none in drop"
                ));
            }
            let shown = sample.as_ref().map(|(value, line)| format!("; {value:?} on line {line}")).unwrap_or_default();
            if told.is_some() {
                column["basis"] = format!("drafted, {confidence:.2}: {reason}{shown}").into();
            }
            columns.push(column);
            drafted.push(Drafted { heading: heading.clone(), to: told, confidence, reason, sample });
        }
        let mut layout = json!({
            "layout": "0.1", "id": "draft", "version": "0", "title": "Draft",
            "description": "Proposed from a table; look at each column's basis, then take the bases out.",
            "table": {
                "encoding": self.encoding.as_str(), "delimiter": self.delimiter.to_string(), "decimal_mark": self.decimal.to_string()
            },
            "columns": columns
        });
        if self.first > 0 {
            layout["table"]["heading_row"] = (self.first + 1).into();
        }
        if self.deep > 1 {
            layout["table"]["heading_rows"] = self.deep.into();
        }
        if let Some(codes) = codes {
            layout["codes"] = codes;
        }
        self.around(&mut layout, &units, coding, both, &mut open);
        let layout: Layout = serde_json::from_value(layout).map_err(|error| ConvertError::Refused {
            message: format!("the table has texts that no layout can hold: {error}"),
        })?;
        open.extend(layout.problems().iter().map(|problem| format!("the draft does not make sense yet: {problem}")));
        Ok(Draft { layout, columns: drafted, guesses, open })
    }

    /// Whether date and time of day both stand in the table.
    fn whole_moment(&self) -> bool {
        let looks = self.looks.iter().zip(self.choices);
        let of = looks.filter(|(_, choice)| choice.as_ref().is_some_and(|choice| choice.target.to == "runs.started"));
        let (mut date, mut time) = (false, false);
        for (look, _) in of {
            let both = look.find(|form| matches!(form, Form::DateTime(_)).then_some(())).is_some();
            let is_date = look.find(|form| matches!(form, Form::Date(_)).then_some(())).is_some();
            date |= both || is_date;
            time |= both || !is_date;
        }
        date && time
    }

    /// Kind, pattern, place, words and what else a column needs.
    fn kind(
        &self,
        column: &mut Value,
        index: usize,
        to: &str,
        places: &mut Map<String, Value>,
        open: &mut Vec<String>,
    ) {
        let (look, heading) = (&self.looks[index], &self.headings[index]);
        let Some(choice) = &self.choices[index] else { return };
        let decimals = |column: &mut Value| {
            if look.even {
                column["decimals"] = look.decimals.into();
            }
        };
        let amount = look.find(|form| if let Form::Amount(units) = form { Some(units.clone()) } else { None });
        match choice.target.wants {
            Wants::Number | Wants::Hour | Wants::Grade | Wants::Year => column["kind"] = "number".into(),
            Wants::Distance | Wants::Amount => {
                let kind = match &amount {
                    _ if look.has(&Form::Station) => "station",
                    _ if look.has(&Form::FeetAndInches) => "feet-and-inches",
                    Some(_) => "amount",
                    None => "number",
                };
                column["kind"] = kind.into();
                if kind == "station" {
                    let digits = look
                        .distinct
                        .first()
                        .and_then(|(value, _)| value.split_once(self.decimal))
                        .map_or(0, |(_, rest)| rest.len());
                    column["decimals"] = digits.into();
                } else if kind == "number" && to != "runs.observations.quantities.value" {
                    decimals(column);
                }
                let own = words::words(heading);
                let unit = UNITS.iter().find(|(word, _)| own.iter().any(|part| part == word)).map(|(_, unit)| *unit);
                let [length, section] = self.units();
                let document = match to {
                    "pipes.height" | "pipes.width" => Some(section.1),
                    "runs.observations.quantities.value" => None,
                    _ => Some(length.1),
                };
                if let Some(unit) = unit.filter(|unit| kind == "number" && Some(*unit) != document) {
                    column["unit"] = unit.into();
                }
            }
            Wants::Moment => {
                let pattern = look.find(|form| match form {
                    Form::DateTime(pattern) => Some(("date-time", pattern.clone())),
                    Form::Date(pattern) => Some(("date", (*pattern).to_owned())),
                    Form::Time(pattern) => Some(("time", (*pattern).to_owned())),
                    _ => None,
                });
                let Some((kind, pattern)) = pattern else { return };
                if kind != "time" && !settled(&pattern, &look.distinct) {
                    let why = if self.american {
                        "since times are written with am and pm"
                    } else {
                        "as most of the world writes it"
                    };
                    open.push(format!(
                        "{heading:?}: nothing tells day and month apart; it was taken for {pattern}, {why}"
                    ));
                }
                column["kind"] = kind.into();
                column["pattern"] = pattern.into();
            }
            Wants::Clock => {
                column["kind"] = "clock".into();
                let separator =
                    look.find(|form| if let Form::Clock(separator) = form { Some(separator.clone()) } else { None });
                column["separator"] = separator.unwrap_or_else(|| "-".to_owned()).into();
            }
            Wants::Yes => {
                column["kind"] = "yes-no".into();
                let words =
                    look.distinct.iter().filter_map(|(value, _)| Some(json!({"text": value, "value": yes(value)?})));
                column["translate"] = words.collect();
            }
            Wants::Offset if look.has(&Form::Duration) => column["kind"] = "duration".into(),
            Wants::Offset if look.has(&Form::Minutes) => {
                column["kind"] = "duration".into();
                column["pattern"] = "m:ss".into();
            }
            Wants::Offset => column["kind"] = "number".into(),
            Wants::Picture | Wants::Recording => {
                column["media"] = if choice.target.wants == Wants::Picture { "photo" } else { "video" }.into();
            }
            Wants::Word if to == "runs.direction" || to == "pipes.material" => {
                let list = if to == "runs.direction" { words::DIRECTIONS } else { words::MATERIALS };
                let found = translated(&look.distinct, list);
                for (value, _) in found.iter().filter(|(_, value)| value.is_none()) {
                    open.push(format!(
                        "{heading:?}: {value:?} is no word that is known; add what it stands for to translate"
                    ));
                }
                let known = found.iter().filter_map(|(text, value)| Some(json!({"text": text, "value": (*value)?})));
                column["translate"] = known.collect();
            }
            _ => {}
        }
        if ["runs.observations.characterisation", "runs.observations.quantities.value"].contains(&to) {
            let alone = self.choices.iter().flatten().filter(|other| other.target.to == to).count() == 1;
            if alone {
                return;
            }
            let next = places.get(to).and_then(Value::as_u64).unwrap_or(0) + 1;
            places.insert(to.to_owned(), next.into());
            column["place"] = next.into();
        }
    }

    /// The code columns: the words of the table with the codes that they are taken for, or nothing where the table holds codes; and the
    /// list that they are of.
    fn codes(&self, open: &mut Vec<String>) -> (Option<Value>, &'static CodeList) {
        let (terms, en) = (CodeList::obvert_terms(), CodeList::en_13508_2());
        let Some(column) = self.column_of("codes") else { return (None, terms) };
        let values = &self.looks[column].distinct;
        let of = |list: &CodeList| {
            !values.is_empty() && values.iter().all(|(value, _)| list.codes.iter().any(|code| *code.code == **value))
        };
        if of(terms) {
            return (None, terms);
        }
        // A code of three letters that the list does not have is a mistake in the table, which the checker finds.
        if of(en) || self.looks[column].has(&Form::Letters3) {
            return (None, en);
        }
        let detail = self.column_of("codes.detail");
        let mut seen: Vec<(Vec<String>, usize)> = Vec::new();
        for row in self.rows {
            let text = |column: usize| row.cells.get(column).map_or("", |cell| cell.text.trim()).to_owned();
            let mut words = vec![text(column)];
            words.extend(detail.map(text).filter(|text| !text.is_empty()));
            if !words[0].is_empty() && !seen.iter().any(|(other, _)| *other == words) {
                seen.push((words, row.line));
            }
        }
        let mut entries = Vec::new();
        for (words, line) in seen {
            match coded(&words.join(" "), terms) {
                Some((code, characterisation)) => {
                    let mut entry = json!({"words": words, "code": code.code.as_str()});
                    if !characterisation.is_empty() {
                        entry["characterisation"] = characterisation.into();
                    }
                    entries.push(entry);
                }
                None => open
                    .push(format!("line {line}: no code is known for {:?}; add one to codes.words", words.join(", "))),
            }
        }
        let mut columns = vec![self.headings[column].clone()];
        columns.extend(detail.map(|detail| self.headings[detail].clone()));
        (Some(json!({"columns": columns, "words": entries})), terms)
    }

    /// What stands in no column.
    fn around(
        &self,
        layout: &mut Value,
        units: &[(&'static str, &'static str, String); 2],
        coding: &CodeList,
        both: bool,
        open: &mut Vec<String>,
    ) {
        let mut fixed = Vec::new();
        let mut made = Vec::new();
        let mut fix = |to: &str, value: &str| fixed.push(json!({"to": to, "value": value}));
        for (to, unit, _) in units {
            fix(to, unit);
        }
        fix("coding.list", coding.id.as_str());
        fix("coding.version", coding.version.as_str());
        if self.has("runs.observations.grades") {
            fix("grading.scheme", "obvert-grades");
            fix("grading.version", "1");
            open.push(
                "grades are taken for those of obvert-grades; if the office has a scheme of its own, name it in fixed"
                    .to_owned(),
            );
        }
        fix("structures.kind", "manhole");
        open.push("every structure is taken for a manhole, and every pipe for circular; correct structures.kind and pipes.shape in fixed".to_owned());
        fix("pipes.shape", "circular");
        if !self.has("runs.direction") {
            fix("runs.direction", "downstream");
            open.push("no column says which way the camera went; every run is taken to go downstream".to_owned());
        }
        if both {
            made.push(json!({"to": "issued", "text": "{runs.started}"}));
            layout["zone"] = "+00:00".into();
            open.push("no table says the offset of its times from UTC; put it into zone in place of +00:00".to_owned());
        } else {
            fix("issued", "2000-01-01T00:00:00Z");
            open.push("nothing says when the record was issued; put it into fixed in place of 2000-01-01".to_owned());
        }
        if !self.has("pipes.id") {
            let ends =
                if self.has("runs.from") { "{runs.from}/{runs.to}" } else { "{pipes.upstream}/{pipes.downstream}" };
            // The two ends in the order of the flow, whichever way the camera went.
            let ends = if self.has("runs.from") && self.has("runs.direction") {
                "{pipes.upstream}/{pipes.downstream}"
            } else {
                ends
            };
            made.push(json!({"to": "pipes.id", "text": ends}));
        }
        if !self.has("runs.id") {
            made.push(json!({"to": "runs.id", "text": "{pipes.id} {runs.direction}"}));
            open.push("no column names the run; each direction of a pipe is taken for one run".to_owned());
        }
        made.push(json!({"to": "id", "text": "draft:{runs.id}"}));
        if self.has("runs.observations.media.offset")
            && !self.choices.iter().flatten().any(|choice| choice.target.wants == Wants::Recording)
        {
            layout["video"] = "{runs.id}.mp4".into();
            open.push("no column names the recording that offsets are into; put how it is named into video".to_owned());
        }
        if let Some(column) = self.column_of("stretch")
            && let Some((start, finish)) = self.looks[column].find(|form| {
                if let Form::Stretch(start, finish) = form { Some((start.clone(), finish.clone())) } else { None }
            })
        {
            layout["stretches"] = json!({"column": self.headings[column], "start": start, "finish": finish});
        }
        let mut words: Vec<(String, &str)> = Vec::new();
        for (look, _) in self.looks.iter().zip(self.choices).filter(|(_, choice)| choice.is_some()) {
            let units = look.find(|form| if let Form::Amount(units) = form { Some(units.clone()) } else { None });
            units.into_iter().flatten().for_each(|unit| {
                if !words.contains(&unit) {
                    words.push(unit)
                }
            });
        }
        if !words.is_empty() {
            layout["units"] = words.iter().map(|(text, unit)| json!({"text": text, "unit": unit})).collect();
        }
        layout["fixed"] = fixed.into();
        layout["made"] = made.into();
        layout["outcome_from_codes"] = true.into();
    }
}

/// Why a column was taken for what it was.
fn reason(choice: &Choice, look: &Look) -> String {
    let what = choice.target.is;
    let heading = match choice.named {
        0.0 => "the heading says nothing".to_owned(),
        named if named >= 0.9 => format!("the heading is a word for {what}"),
        _ => format!("a part of the heading is a word for {what}"),
    };
    let values = match look.count {
        0 => "and there are no values to judge by".to_owned(),
        1 => "and the one value can be it".to_owned(),
        count if choice.fit >= 0.9 => format!("and all {count} values look like it"),
        count => format!("and {count} values can be it"),
    };
    format!("{heading}, {values}")
}

/// The code that words are most likely for: all words of its id stand among them, and the more the better.
fn coded<'l>(text: &str, list: &'l CodeList) -> Option<(&'l Code, Vec<String>)> {
    let mut own: Vec<String> = words::words(text).iter().map(|word| words::known(word).to_owned()).collect();
    // Nobody says of what a start is the start.
    if own.len() == 1 && ["start", "finish", "stopped"].contains(&own[0].as_str()) {
        own.push("run".to_owned());
    }
    let has = |word: &str| own.iter().any(|own| own == word);
    let id_words = |code: &Code| words::words(&code.code);
    let best = list
        .codes
        .iter()
        .filter(|code| id_words(code).iter().all(|word| has(word)))
        .max_by_key(|code| id_words(code).len())
        .or_else(|| {
            // Or all words of its name in some language.
            list.codes.iter().find(|code| {
                code.label.values().any(|label| {
                    let label = words::words(label);
                    label.len() > 1 && label.iter().all(|word| own.contains(&words::known(word).to_owned()))
                })
            })
        })?;
    let characterisation = best
        .characterisation
        .iter()
        .map_while(|place| {
            let found = place.values.iter().find(|value| words::words(&value.value).iter().all(|word| has(word)));
            found.map(|value| value.value.to_string())
        })
        .collect();
    Some((best, characterisation))
}
