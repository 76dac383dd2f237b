//! What stands in no column of a draft: units, the code list, what is always the same, and what follows from the rest.

use std::collections::HashMap;

use obvert_model::lists::CodeList;
use serde_json::{Value, json};

use super::super::UNSAID;
use super::super::grid::GridRow;
use super::fill::{Form, Table};
use super::form::Form as Seen;
use super::words::{self, Wants};

/// Why a unit was taken that nothing speaks for.
const NOTHING: &str = "nothing in the file tells";

impl Table<'_> {
    /// The unit that the heading of a column names.
    pub(super) fn named_unit(&self, column: usize) -> Option<&'static str> {
        self.columns[column].words.first().and_then(|words| words::unit_in(words))
    }

    fn unit_of(&self, to: &str) -> Option<&'static str> {
        self.named_unit(self.column_of(to)?)
    }

    /// The units of lengths and of sizes, each with why.
    pub(super) fn units(&self) -> [(&'static str, &'static str, String); 2] {
        let at = self.column_of("runs.observations.at").map(|column| self.look(column));
        let long = self.column_of("pipes.length").map(|column| self.look(column));
        let feet = at.is_some_and(|look| look.has(&Seen::Station))
            || [at, long].into_iter().flatten().any(|look| look.has(&Seen::FeetAndInches));
        let numbers = self.column_of("pipes.height").map(|column| self.look(column)).into_iter();
        let numbers = numbers.flat_map(|look| &look.distinct).filter_map(|(value, _)| self.marks.number(value));
        let range = numbers.fold(None, |range: Option<(f64, f64)>, size| {
            Some(range.map_or((size, size), |(least, most)| (least.min(size), most.max(size))))
        });
        // The unit that is written behind all values of a column.
        let written = |to: &str, known: [&'static str; 2]| {
            let units = self
                .look(self.column_of(to)?)
                .find(|form| if let Seen::Amount(units) = form { Some(units.clone()) } else { None })?;
            known.into_iter().find(|known| units.iter().all(|(_, unit)| unit == known))
        };
        let sizes = written("pipes.height", ["mm", "in"]);
        let section = match (self.unit_of("pipes.height").filter(|unit| ["mm", "in"].contains(unit)), sizes, range) {
            (Some(unit), ..) => Some((unit, "the heading of the size says so".to_owned())),
            (None, Some(unit), _) => Some((unit, "it stands behind each size".to_owned())),
            (None, None, Some((least, _))) if least >= 50.0 => {
                Some(("mm", format!("sizes from {least} on can be nothing else")))
            }
            (None, None, Some((_, most))) => Some(("in", format!("sizes up to {most} are none of millimetres"))),
            (None, None, None) => None,
        };
        let named = self.unit_of("pipes.length").or_else(|| self.unit_of("runs.observations.at"));
        let lengths = written("runs.observations.at", ["m", "ft"]).or_else(|| written("pipes.length", ["m", "ft"]));
        let length = match (named.filter(|unit| ["m", "ft"].contains(unit)), lengths, &section) {
            (Some(unit), ..) => (unit, "a heading says so".to_owned()),
            (None, Some(unit), _) => (unit, "it stands behind each length".to_owned()),
            _ if feet => ("ft", "distances are stations, or feet and inches".to_owned()),
            (None, None, Some(("mm", _))) => ("m", "sizes are in millimetres".to_owned()),
            (None, None, Some(_)) => ("ft", "sizes are in inches".to_owned()),
            (None, None, None) => ("m", NOTHING.to_owned()),
        };
        let section = section.unwrap_or_else(|| match length {
            ("ft", _) => ("in", "lengths are in feet".to_owned()),
            _ => ("mm", "lengths are in metres".to_owned()),
        });
        let said = |to: &str, guess: (&'static str, String)| {
            // A column that says so itself is no guess, where it always says the same.
            let column = self.column_of(to)?;
            let [(value, line)] = self.look(column).distinct.as_slice() else { return Some(guess) };
            let unit = words::unit_of(value)?;
            Some((unit, format!("{:?} on line {line} says so", self.columns[column].heading)))
        };
        let length = said("units.length", length.clone()).unwrap_or(length);
        let section = said("units.section", section.clone()).unwrap_or(section);
        [("units.length", length.0, length.1), ("units.section", section.0, section.1)]
    }

    /// What stands in no column.
    pub(super) fn around(
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
        for (to, unit, why) in units {
            fix(to, unit);
            if why == NOTHING {
                open.push(format!("{why} the unit of lengths; it was taken to be {unit}, so correct units in fixed"));
            }
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
        if self.has("runs.operator") {
            fix("parties.role", "operator");
        }
        fix("structures.kind", "manhole");
        if self.has("pipes.shape") {
            open.push("every structure is taken for a manhole; correct structures.kind in fixed".to_owned());
        } else {
            open.push("every structure is taken for a manhole, and every pipe for circular; correct structures.kind and pipes.shape in fixed".to_owned());
            fix("pipes.shape", "circular");
        }
        if !self.has("runs.direction") {
            fix("runs.direction", "downstream");
            open.push("no column says which way the camera went; every run is taken to go downstream".to_owned());
        }
        if both {
            made.push(json!({"to": "issued", "text": "{runs.started}"}));
            layout["zone"] = "+00:00".into();
            open.push("no table says the offset of its times from UTC; put it into zone in place of +00:00".to_owned());
        } else {
            fix("issued", UNSAID);
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
            if both && self.is_ambiguous() {
                made.push(json!({"to": "runs.id", "text": "{pipes.id} {runs.started}"}));
                open.push("no column names the run; a pipe and when it was begun are taken for one run".to_owned());
            } else {
                made.push(json!({"to": "runs.id", "text": "{pipes.id} {runs.direction}"}));
                open.push("no column names the run; each direction of a pipe is taken for one run".to_owned());
            }
        }
        made.push(json!({"to": "id", "text": "draft:{runs.id}"}));
        if self.has("runs.observations.media.offset")
            && !self.choices.iter().flatten().any(|choice| choice.target.wants == Wants::Recording)
        {
            let of_run = if self.has("runs.id") { "{runs.id}.mp4" } else { "{pipes.id}-{runs.direction}.mp4" };
            layout["video"] = of_run.into();
            open.push("no column names the recording that offsets are into; put how it is named into video".to_owned());
        }
        if let Some(column) = self.column_of("stretch")
            && let Some((start, finish)) = self.look(column).find(|form| {
                if let Seen::Stretch(start, finish) = form { Some((start.clone(), finish.clone())) } else { None }
            })
        {
            layout["stretches"] = json!({"column": self.columns[column].heading, "start": start, "finish": finish});
        }
        let mut words: Vec<(String, &str)> = Vec::new();
        for look in
            (0..self.columns.len()).filter(|column| self.choices[*column].is_some()).map(|column| self.look(column))
        {
            let units = look.find(|form| if let Seen::Amount(units) = form { Some(units.clone()) } else { None });
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

    /// Whether one direction of one pipe was begun at several times, or nothing tells.
    fn is_ambiguous(&self) -> bool {
        if let Form::Xml { .. } = self.form {
            return true;
        }
        let text = |row: &GridRow, column: usize| {
            row.cells.get(self.cells[column]).map_or("", |cell| cell.text.trim()).to_owned()
        };
        let texts = |row: &GridRow, of: &dyn Fn(&str) -> bool| -> Vec<String> {
            let choices = self.choices.iter().enumerate();
            let columns = choices.filter(|(_, choice)| choice.as_ref().is_some_and(|choice| of(&choice.target.to)));
            columns.map(|(column, _)| text(row, column)).collect()
        };
        let mut begun: HashMap<Vec<String>, Vec<String>> = HashMap::new();
        self.rows.iter().any(|row| {
            let run = texts(row, &|to| {
                ["pipes.id", "pipes.upstream", "pipes.downstream", "runs.from", "runs.to", "runs.direction"]
                    .contains(&to)
            });
            let started = texts(row, &|to| to == "runs.started");
            *begun.entry(run).or_insert_with(|| started.clone()) != started
        })
    }
}
