//! The layout of what was chosen: kinds and patterns, translations of words, and for each column what it rests on.

use std::collections::BTreeSet;

use obvert_model::layout::{Column as OfLayout, Encoding, Layout};
use serde_json::{Map, Value, json};

use super::super::grid::GridRow;
use super::choose::{Choice, Column, lines, reason, unchosen};
use super::doubt;
use super::form::Form as Seen;
use super::gaps::Merged;
use super::look::{Look, settled};
use super::marks::Marks;
use super::moments::{self, Part, WHEN};
use super::words::{self, Wants};
use super::{Draft, Drafted};
use obvert_convert::ConvertError;

/// How a file is written.
pub(super) enum Form {
    /// A table: the encoding (none for a workbook), what stands between cells, the row that headings begin in, from 0, and how many they take.
    Table { encoding: Option<Encoding>, delimiter: char, first: usize, deep: usize },
    /// XML: the path of the element that is a row.
    Xml { rows: String },
}

/// A file as far as it is understood.
pub(super) struct Table<'t> {
    pub(super) columns: &'t [Column],
    pub(super) choices: &'t [Option<Choice>],
    /// The cell of a row that is of each column.
    pub(super) cells: &'t [usize],
    pub(super) rows: &'t [&'t GridRow],
    pub(super) form: Form,
    pub(super) marks: Marks,
    /// The mark of its numbers, where none of them tells whether it stands before decimals or between thousands.
    pub(super) unsettled: Option<char>,
    pub(super) american: bool,
    /// The cells that are merged over several rows, where it stands in a workbook.
    pub(super) merged: &'t [Merged],
}

impl Table<'_> {
    pub(super) fn column_of(&self, to: &str) -> Option<usize> {
        self.choices.iter().position(|choice| choice.as_ref().is_some_and(|choice| choice.target.to == to))
    }

    pub(super) fn has(&self, to: &str) -> bool {
        self.column_of(to).is_some()
    }

    /// The look of a column that was taken.
    pub(super) fn look(&self, column: usize) -> &Look {
        let own = &self.columns[column];
        self.choices[column].as_ref().map_or(&own.look, |choice| choice.look(own))
    }

    /// The whole draft.
    pub(super) fn draft(&self, mut guesses: Vec<String>, mut open: Vec<String>) -> Result<Draft, ConvertError> {
        let units = self.units();
        for (what, unit, why) in &units {
            guesses.push(format!("{unit} for {what}: {why}"));
        }
        let (codes, coding) = self.codes(&mut open);
        let both = match self.moment().as_slice() {
            [] => false,
            [Part::Date] => {
                let why = "dates stand without times of day, so when a run began is left out; a moment needs both";
                open.push(why.to_owned());
                false
            }
            [Part::Time] => {
                let why = "times of day stand without dates, so when a run began is left out; a moment needs both";
                open.push(why.to_owned());
                false
            }
            _ => true,
        };
        let mut columns = Vec::new();
        let mut drafted = Vec::new();
        let mut places: Map<String, Value> = Map::new();
        for (index, own) in self.columns.iter().enumerate() {
            let choice = self.choices[index].as_ref();
            let mut column = json!({ "heading": own.heading });
            let to = choice.map(|choice| choice.target.to.as_str());
            let told = match to {
                Some(WHEN) if !both => None,
                // Without a value, nothing tells the words for yes and no, which the column would need.
                Some(_) if choice.is_some_and(|choice| choice.target.wants == Wants::Yes && own.look.count == 0) => {
                    None
                }
                Some("codes.detail") if codes.is_none() => None,
                Some("stretch") => Some("stretches".to_owned()),
                Some("codes" | "codes.detail") if codes.is_some() => Some("codes".to_owned()),
                Some("codes") => {
                    column["to"] = "runs.observations.code".into();
                    Some("runs.observations.code".to_owned())
                }
                Some(to) => {
                    column["to"] = to.into();
                    self.kind(&mut column, index, to, &mut places, &mut open);
                    Some(to.to_owned())
                }
                None => None,
            };
            if let Some(separator) = own.several {
                column["separator"] = separator.into();
            }
            let taken = choice.filter(|_| told.is_some());
            let (confidence, reason) = match (taken, choice) {
                (Some(choice), _) => (choice.confidence, reason(choice, own)),
                (None, Some(choice)) => {
                    let why = match choice.target.to.as_str() {
                        _ if choice.target.wants == Wants::Yes => "which words stand for yes and no has to be said",
                        WHEN => "a moment needs a date and a time of day",
                        _ => "the codes say all themselves",
                    };
                    (0.0, format!("{}, but {why}", reason(choice, own)))
                }
                (None, None) => (0.0, unchosen(index, self.columns, self.choices)),
            };
            // As likely one as the other.
            let confidence = if self.can_be_either(&column, index) { confidence * 0.5 } else { confidence };
            let mut odd = taken.and_then(|choice| choice.near(own)).map(|near| near.odd.clone()).unwrap_or_default();
            let mut reason = reason;
            let strange = odd.len();
            odd.retain(|(value, _)| !self.is_percentage(&column, index, value));
            if odd.len() < strange {
                reason.push_str("; what the sheet shows as a percentage is read as one");
            }
            // Dates in the other order have been told of, and are no slips.
            let pattern = column["pattern"].as_str();
            let slips: Vec<_> = odd
                .iter()
                .filter(|(value, _)| !pattern.is_some_and(|own| doubt::is_turned(value, own)))
                .cloned()
                .collect();
            if !slips.is_empty() {
                let rest = match taken.map(|choice| choice.target.wants) {
                    Some(Wants::Picture) => {
                        "which is not written as the others are; write it so, or clear the cell where there is none, or it is read as other files"
                    }
                    _ => {
                        "which is none of the others' kind; correct it in the table, or clear the cell where nothing is known, or its row \
                         cannot be read"
                    }
                };
                open.push(format!("{:?}: {}, {rest}", own.heading, lines(&slips)));
            }
            let sample = self.look(index).distinct.first().cloned();
            if told.is_none() {
                let (drop, field) = match choice.map(|choice| choice.target.wants) {
                    Some(Wants::Yes) => (
                        "no value tells its words for yes and no",
                        "give it its field in to and those words in translate",
                    ),
                    _ => ("the draft found no field for it", "give it a field in to"),
                };
                column["drop"] = drop.into();
                open.push(format!("{:?}: {reason}; {field}, or the reason why it has none in drop", own.heading));
            }
            let shown = sample.as_ref().map(|(value, line)| format!("; {value:?} on line {line}")).unwrap_or_default();
            if told.is_some() {
                column["basis"] = format!("drafted, {confidence:.2}: {reason}{shown}").into();
            }
            columns.push(column);
            drafted.push(Drafted { heading: own.heading.clone(), to: told, confidence, reason, sample, odd });
        }
        let mut layout = json!({
            "layout": "0.1", "id": "draft", "version": "0", "title": "Draft",
            "description": "Proposed from a table; look at each column's basis, then take the bases out.",
            "columns": columns
        });
        self.form(&mut layout);
        if let Some(codes) = codes {
            layout["codes"] = codes;
        }
        self.around(&mut layout, &units, coding, both, &mut open);
        let layout: Layout = serde_json::from_value(layout).map_err(|error| ConvertError::Refused {
            message: format!("the table has texts that no layout can hold: {error}"),
        })?;
        open.extend(rounds(&layout));
        // What keeps whole rows from being read comes before what is open about single columns.
        if let Some(gaps) = self.gaps(&layout) {
            open.insert(0, gaps);
        }
        open.extend(layout.problems().iter().map(|problem| format!("the draft does not make sense yet: {problem}")));
        Ok(Draft { layout, columns: drafted, guesses, open })
    }

    /// How the file is written.
    fn form(&self, layout: &mut Value) {
        match &self.form {
            Form::Table { encoding, delimiter, first, deep } => {
                let mut table =
                    json!({"delimiter": delimiter.to_string(), "decimal_mark": self.marks.decimal.to_string()});
                if let Some(encoding) = encoding {
                    table["encoding"] = encoding.as_str().into();
                }
                if let Some(mark) = self.marks.thousands {
                    table["thousands_mark"] = mark.to_string().into();
                }
                if *first > 0 {
                    table["heading_row"] = (first + 1).into();
                }
                if *deep > 1 {
                    table["heading_rows"] = (*deep).into();
                }
                layout["table"] = table;
            }
            Form::Xml { rows } => {
                let mut xml = json!({ "rows": rows });
                if self.marks.decimal != '.' {
                    xml["decimal_mark"] = self.marks.decimal.to_string().into();
                }
                if let Some(mark) = self.marks.thousands {
                    xml["thousands_mark"] = mark.to_string().into();
                }
                layout["xml"] = xml;
            }
        }
    }

    /// What stands in the table of when a run began.
    fn moment(&self) -> Vec<Part> {
        let choices = self.choices.iter().enumerate();
        let of = choices.filter(|(_, choice)| choice.as_ref().is_some_and(|choice| choice.target.to == WHEN));
        of.filter_map(|(column, _)| moments::part(self.look(column))).collect()
    }

    /// Whether the values of a column, as it is drafted, are numbers or dates of two readings, between which nothing decides.
    fn can_be_either(&self, column: &Value, index: usize) -> bool {
        let (look, heading) = (self.look(index), &self.columns[index].heading);
        match column["kind"].as_str() {
            Some("number") => doubt::thousandfold(heading, look, self.unsettled, (self.marks, &self.form)).is_some(),
            Some("date" | "date-time") => column["pattern"].as_str().is_some_and(|pattern| {
                pattern != doubt::SERIAL
                    && (doubt::mixed(heading, pattern, &self.columns[index].look).is_some()
                        || !settled(pattern, &look.distinct))
            }),
            _ => false,
        }
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
        let (look, heading) = (self.look(index), &self.columns[index].heading);
        let Some(choice) = &self.choices[index] else { return };
        let decimals = |column: &mut Value| {
            // Whole numbers in one table do not say that those of the next are, and would round them.
            if look.even && look.decimals > 0 {
                column["decimals"] = look.decimals.into();
            }
        };
        let amount = look.find(|form| if let Seen::Amount(units) = form { Some(units.clone()) } else { None });
        match choice.target.wants {
            Wants::Number | Wants::Hour | Wants::Grade | Wants::Year => column["kind"] = "number".into(),
            Wants::Distance | Wants::Amount => {
                let kind = match &amount {
                    _ if look.has(&Seen::Station) => "station",
                    _ if look.has(&Seen::FeetAndInches) => "feet-and-inches",
                    Some(_) => "amount",
                    None => "number",
                };
                column["kind"] = kind.into();
                if kind == "station" {
                    // The most that stand behind one of them, and as many as is usual where none has any.
                    let digits = |value: &str| value.split_once(self.marks.decimal).map_or(0, |(_, rest)| rest.len());
                    let most = look.distinct.iter().map(|(value, _)| digits(value)).max().unwrap_or(0);
                    if most > 0 {
                        column["decimals"] = most.into();
                    }
                } else if kind == "number" && to != "runs.observations.quantities.value" {
                    decimals(column);
                }
                let unit = self.named_unit(index);
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
                    Seen::DateTime(pattern) => Some(("date-time", pattern.clone())),
                    Seen::Date(pattern) => Some(("date", (*pattern).to_owned())),
                    Seen::Time(pattern) => Some(("time", (*pattern).to_owned())),
                    _ => None,
                });
                let Some((kind, pattern)) = pattern else { return };
                if let Some(mixed) = doubt::mixed(heading, &pattern, &self.columns[index].look) {
                    open.push(mixed);
                } else if pattern == doubt::SERIAL {
                    open.extend(doubt::counted(heading, look));
                } else if kind != "time" && !settled(&pattern, &look.distinct) {
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
                    look.find(|form| if let Seen::Clock(separator) = form { Some(*separator) } else { None });
                let separator = separator.unwrap_or(Some("-"));
                if let Some(separator) = separator {
                    column["separator"] = separator.into();
                }
                let values = look.distinct.iter().map(|(value, _)| value.as_str());
                let hours: Vec<&str> = match separator {
                    Some(separator) => values.flat_map(|value| value.split(separator)).collect(),
                    None => values.collect(),
                };
                // With zeros before them, and none without where one would be.
                if hours.iter().any(|hour| hour.len() == 2 && hour.starts_with('0'))
                    && hours.iter().all(|hour| hour.len() > 1)
                {
                    column["digits"] = 2.into();
                }
            }
            Wants::Yes => {
                column["kind"] = "yes-no".into();
                let words = look
                    .distinct
                    .iter()
                    .filter_map(|(value, _)| Some(json!({"text": value, "value": words::yes(value)?})));
                column["translate"] = words.collect();
            }
            Wants::Offset if look.has(&Seen::Duration) => column["kind"] = "duration".into(),
            Wants::Offset if look.has(&Seen::Minutes) => {
                column["kind"] = "duration".into();
                column["pattern"] = "m:ss".into();
            }
            Wants::Offset => column["kind"] = "number".into(),
            Wants::Picture | Wants::Recording => {
                if let (None, Some(separator)) = (self.columns[index].several, look.between_files()) {
                    column["separator"] = separator.into();
                }
                column["media"] = if choice.target.wants == Wants::Picture { "photo" } else { "video" }.into();
            }
            Wants::Word if choice.target.words.is_none() => {}
            Wants::Word => {
                let mut known = Vec::new();
                for (value, line) in &look.distinct {
                    match words::meant(value, choice.target) {
                        Some(meant) => known.push(json!({"text": value, "value": meant})),
                        None => open.push(format!(
                            "{heading:?}: line {line} has {value:?}, which is no word that is known; add what it stands for to translate"
                        )),
                    }
                }
                column["translate"] = known.into();
            }
            Wants::Unit => {
                let other = |value: &str| words::unit_of(value).filter(|unit| *unit != value);
                let words: Vec<Value> = look
                    .distinct
                    .iter()
                    .filter_map(|(value, _)| Some(json!({"text": value, "value": other(value)?})))
                    .collect();
                if !words.is_empty() {
                    column["translate"] = words.into();
                }
            }
            _ => {}
        }
        if column["kind"] == "number"
            && let Some(doubt) = doubt::thousandfold(heading, look, self.unsettled, (self.marks, &self.form))
            && let Some(column) = column.as_object_mut()
        {
            // What stands behind the mark may be no decimals.
            column.remove("decimals");
            open.push(doubt);
        }
        if ["runs.observations.characterisation", "runs.observations.quantities.value"].contains(&to) {
            let all: Vec<usize> = (0..self.columns.len())
                .filter(|other| self.choices[*other].as_ref().is_some_and(|other| other.target.to == to))
                .collect();
            if all.len() == 1 || self.are_alternatives(&all) {
                return;
            }
            let next = places.get(to).and_then(Value::as_u64).unwrap_or(0) + 1;
            places.insert(to.to_owned(), next.into());
            column["place"] = next.into();
        }
    }

    /// Whether a value of a column is a number that a sheet shows as a percentage, and is read as what is shown: an amount in percent.
    fn is_percentage(&self, column: &Value, index: usize, value: &str) -> bool {
        let amount = column["to"] == "runs.observations.quantities.value"
            && column["kind"] == "number"
            && column.get("unit").is_none_or(|unit| unit == "percent");
        let cells = self.rows.iter().filter_map(|row| row.cells.get(self.cells[index]));
        let mut same = cells.filter(|cell| cell.text.trim() == value).peekable();
        amount && same.peek().is_some() && same.all(|cell| cell.percent().is_some())
    }

    /// Whether columns are of units of their own and no row has a value in two of them, so that each is the first amount of its row.
    fn are_alternatives(&self, columns: &[usize]) -> bool {
        let units: BTreeSet<&str> = columns.iter().filter_map(|column| self.named_unit(*column)).collect();
        let filled = |row: &GridRow| {
            let cell =
                |column: &&usize| row.cells.get(self.cells[**column]).is_some_and(|cell| !cell.text.trim().is_empty());
            columns.iter().filter(cell).count()
        };
        units.len() == columns.len() && self.rows.iter().all(|row| filled(row) < 2)
    }
}

/// What a layout rounds when it writes; another survey may have more decimals than the table that it was drafted from.
fn rounds(layout: &Layout) -> Option<String> {
    let said = |column: &OfLayout| Some(format!("{:?} to {}", column.heading.replace('\n', " "), column.decimals?));
    let all: Vec<String> = layout.columns.iter().filter_map(said).collect();
    let start = "as many decimals as the values have are written, and more of them are rounded";
    let end = "give a column more, or take decimals out of one of plain numbers to have none rounded";
    (!all.is_empty()).then(|| format!("{start}: {}; {end}", all.join(", ")))
}
