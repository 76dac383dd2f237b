//! From a document to the rows of a table, by the layout that reads it.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use obvert_model::layout::{CellKind, Encoding, Layout};
use obvert_model::lists::{Code, CodeList};
use obvert_model::read::ProblemKind;
use obvert_model::tables::{Document, LengthUnit, QuantityUnit, SectionUnit};
use serde_json::{Value, json};

use super::difference::Letters;
use super::row::Way;
use super::{
    below, cells, difference, fill, forms, implied_unit, moment, needs, nested, read, said, units, unsurveyed,
};
use obvert_convert::{ConvertError, Loss, LossKind, LossReport, PlacedProblem};

/// Writes a table by a layout. The report names everything that reading the table by the same layout does not give back.
///
/// Lengths and sizes are turned into the units of the layout where they differ. `lists` are code lists beside the built-in ones.
///
/// # Errors
/// When the document is coded in another list than the layout's table; when the layout takes different runs or pipes of it for one.
pub fn write(document: &Document, layout: &Layout, lists: &[CodeList]) -> Result<(Vec<u8>, LossReport), ConvertError> {
    let letters = match &layout.table {
        Some(table) => Letters::Encoded(table.encoding.unwrap_or(Encoding::Utf8)),
        None => Letters::Xml,
    };
    written(document, layout, lists, letters, |rows| {
        let headings = || layout.columns.iter().map(|column| column.heading.as_str()).collect::<Vec<_>>();
        Ok(match (&layout.table, &layout.xml) {
            (Some(table), _) => cells::write(&headings(), rows, table),
            (None, Some(xml)) => {
                nested::bound(layout, xml)?;
                nested::write(layout, rows, xml)
            }
            (None, None) => Vec::new(),
        })
    })
}

/// Writes a table by a layout as a workbook with one sheet, which [`read`] takes as it takes a text.
///
/// # Errors
/// As [`write`](fn@write), and for a layout of XML.
#[cfg(feature = "xlsx")]
pub fn write_workbook(
    document: &Document,
    layout: &Layout,
    lists: &[CodeList],
) -> Result<(Vec<u8>, LossReport), ConvertError> {
    if layout.table.is_none() {
        let message = format!("the layout {} is one of XML, which no workbook is", layout.id);
        return Err(ConvertError::Refused { message });
    }
    written(document, layout, lists, Letters::All, |rows| {
        let headings: Vec<&str> = layout.columns.iter().map(|column| column.heading.as_str()).collect();
        super::book::write(&headings, rows, layout)
    })
}

fn written(
    document: &Document,
    layout: &Layout,
    lists: &[CodeList],
    letters: Letters,
    file: impl FnOnce(&[Vec<String>]) -> Result<Vec<u8>, ConvertError>,
) -> Result<(Vec<u8>, LossReport), ConvertError> {
    if let Some(list) = layout.fixed_text("coding.list").filter(|list| **list != *document.head.coding.list) {
        let message = format!(
            "the layout {} holds observations coded in {list}, and this survey is coded in {}; translate it first (--coding {list})",
            layout.id, document.head.coding.list
        );
        return Err(ConvertError::Refused { message });
    }
    let mut report = LossReport::default();
    let length = layout.fixed_text("units.length").and_then(|word| word.parse::<LengthUnit>().ok());
    let section = layout.fixed_text("units.section").and_then(|word| word.parse::<SectionUnit>().ok());
    let value = units::converted(document, length, section, &mut report);
    let codes = super::code_list(layout, lists);
    let writer = Writer {
        layout,
        codes: codes.iter().flat_map(|list| &list.codes).map(|code| (code.code.as_str(), code)).collect(),
        pipes: by_id(&value, "pipes"),
        media: by_id(&value, "media"),
        ways: layout.columns.iter().map(|column| Way::of(column, layout)).collect(),
        document: &value,
    };
    let mut rows = Vec::new();
    let places: HashMap<&str, usize> = value["pipes"]
        .as_array()
        .into_iter()
        .flatten()
        .enumerate()
        .filter_map(|(place, pipe)| Some((pipe["id"].as_str()?, place)))
        .collect();
    let alone = |(_, pipe): (usize, &Value)| writer.row(pipe, &Value::Null, &Value::Null, (0.0, Part::Point));
    let mut unsurveyed = unsurveyed::pipes(&value, layout).into_iter().peekable();
    // The first row of each run.
    let mut begins = Vec::new();
    let runs = value["runs"].as_array().map_or(&[][..], Vec::as_slice);
    for run in runs {
        // Pipes without runs keep their places among the others.
        let place = run["pipe"].as_str().and_then(|pipe| places.get(pipe)).copied().unwrap_or(0);
        while let Some(pipe) = unsurveyed.next_if(|(own, _)| *own < place) {
            rows.push(alone(pipe));
        }
        begins.push(rows.len());
        writer.run(run, &mut rows);
    }
    rows.extend(unsurveyed.map(alone));
    let bytes = file(&rows)?;
    let after = match read(&bytes, "", layout, lists) {
        Ok((survey, _)) => serde_json::to_value(&survey.document).unwrap_or_default(),
        Err(ConvertError::Structure(problems)) => {
            // What the layout makes of values that the survey does not have is missing in what is read, and no fault of the table.
            let mut wrong = problems.iter().filter(|placed| placed.problem.kind != ProblemKind::MissingKey).peekable();
            if let Some(first) = wrong.peek().map(|placed| placed.problem.message.clone()) {
                let lines: Vec<usize> =
                    wrong.filter_map(|placed| placed.place.as_ref()).map(|place| place.line).collect();
                let of: BTreeSet<usize> = lines_of(&rows, layout, letters)
                    .enumerate()
                    .filter(|(_, line)| lines.contains(line))
                    .map(|(row, _)| begins.partition_point(|begin| *begin <= row).saturating_sub(1))
                    .collect();
                let named = named(of.iter().filter_map(|run| runs.get(*run)));
                let message = format!(
                    "the layout {} cannot hold this survey, since nobody could read what it would write{}: {first}; complete the survey \
                     there, or write the other runs by themselves",
                    layout.id,
                    if named.is_empty() { String::new() } else { format!(" of run {named}") },
                );
                return Err(ConvertError::Refused { message });
            }
            let (missing, rest) = problems.into_parts();
            // One cell can be what several fields are made of.
            let said: BTreeMap<String, String> =
                missing.into_iter().map(|PlacedProblem { problem, .. }| (problem.message, problem.pointer)).collect();
            for (message, pointer) in said {
                let message = format!(
                    "the table is not whole by the layout {}, and whoever reads it will ask: {message}",
                    layout.id
                );
                report.losses.push(Loss::new(LossKind::Dropped, pointer, message));
            }
            rest.map(|rest| rest.value).unwrap_or_default()
        }
        Err(error) => return Err(error),
    };
    if after.is_null() {
        let message =
            format!("the layout {} has no rows for this survey: it holds runs and their pipes only", layout.id);
        return Err(ConvertError::Refused { message });
    }
    if after["runs"].as_array().map_or(0, Vec::len) < runs.len()
        && let Some(message) = confused(layout, letters, runs, &rows, &begins)
    {
        return Err(ConvertError::Refused { message });
    }
    difference::differences(&value, &after, layout, letters, &mut report);
    Ok((bytes, report))
}

/// In which line of the file each row begins; none in XML, whose rows have no lines of their own.
fn lines_of(rows: &[Vec<String>], layout: &Layout, letters: Letters) -> impl Iterator<Item = usize> {
    let table = layout.table.as_ref();
    let first = table.map(|table| table.heading_row.unwrap_or(1) + table.heading_rows.unwrap_or(1).max(1));
    let mut line = first.map_or(0, |first| first as usize);
    rows.iter().take(if first.is_some() { rows.len() } else { 0 }).map(move |row| {
        let begins = line;
        // A row of a sheet is one whatever stands in it.
        let breaks = row.iter().map(|cell| cell.matches('\n').count()).sum::<usize>();
        line += 1 + if matches!(letters, Letters::Encoded(_)) { breaks } else { 0 };
        begins
    })
}

/// The ids of runs for a message, the first few of many.
fn named<'v>(runs: impl Iterator<Item = &'v Value>) -> String {
    const SHOWN: usize = 6;
    let ids: Vec<String> = runs.filter_map(|run| run["id"].as_str()).map(str::to_owned).collect();
    let more = if ids.len() > SHOWN { format!(" and {} more", ids.len() - SHOWN) } else { String::new() };
    format!("{}{more}", ids[..ids.len().min(SHOWN)].join(", "))
}

/// What to say of a survey of which several runs would be one: which, by the columns that name a run, and whether the encoding has a
/// part in it; `None` where no two are alike.
fn confused(
    layout: &Layout,
    letters: Letters,
    runs: &[Value],
    rows: &[Vec<String>],
    begins: &[usize],
) -> Option<String> {
    let mut naming: Vec<&str> =
        ["runs.id", "pipes.id"].iter().flat_map(|path| needs::columns_of(layout, path)).collect();
    naming.sort_by_key(|heading| layout.columns.iter().position(|column| *column.heading == **heading));
    naming.dedup();
    let columns: Vec<usize> =
        (0..layout.columns.len()).filter(|index| naming.contains(&layout.columns[*index].heading.as_str())).collect();
    let mut alike: BTreeMap<Vec<String>, Vec<usize>> = BTreeMap::new();
    let mut lacking = BTreeSet::new();
    for (run, begin) in begins.iter().enumerate() {
        let Some(row) = rows.get(*begin) else { continue };
        let cells = columns.iter().filter_map(|column| row.get(*column));
        lacking.extend(cells.clone().flat_map(|cell| cell.chars()).filter(|letter| !letters.has(*letter)));
        let key = cells.map(|cell| letters.written(cell)).collect();
        alike.entry(key).or_default().push(run);
    }
    let groups = alike.values().filter(|group| group.len() > 1);
    let groups: Vec<String> = groups.map(|group| named(group.iter().filter_map(|run| runs.get(*run)))).collect();
    let which = groups.first()?;
    let why = if lacking.is_empty() {
        format!("nothing in {} tells them apart", needs::quoted(&naming))
    } else {
        let letters: Vec<String> =
            lacking.iter().map(|letter| format!("{letter:?} (U+{:04X})", u32::from(*letter))).collect();
        format!("their ids differ in characters that the encoding of the layout does not have, {}", letters.join(", "))
    };
    Some(format!(
        "the layout {} cannot hold this survey, since several of its runs would come back as one: {which}; {why}, so write them each by itself",
        layout.id
    ))
}

fn by_id<'v>(document: &'v Value, table: &str) -> HashMap<&'v str, &'v Value> {
    let rows = document[table].as_array().into_iter().flatten();
    rows.filter_map(|row| Some((row.get("id")?.as_str()?, row))).collect()
}

/// Which part of an observation a row holds.
#[derive(Clone, Copy, PartialEq)]
enum Part {
    Point,
    Start(usize),
    Finish(usize),
}

struct Writer<'w> {
    layout: &'w Layout,
    codes: HashMap<&'w str, &'w Code>,
    pipes: HashMap<&'w str, &'w Value>,
    media: HashMap<&'w str, &'w Value>,
    ways: Vec<Way<'w>>,
    document: &'w Value,
}

impl Writer<'_> {
    fn run(&self, run: &Value, rows: &mut Vec<Vec<String>>) {
        let nothing = Value::Null;
        let pipe = run["pipe"].as_str().and_then(|id| self.pipes.get(id)).copied().unwrap_or(&nothing);
        let observations = run["observations"].as_array().map_or(&[][..], Vec::as_slice);
        let mut order: Vec<(f64, usize, Part)> = Vec::new();
        // Stretches that have not ended, the one that ends first at the end.
        let mut waiting: Vec<(f64, usize, usize)> = Vec::new();
        let mut stretches = 0;
        for (index, row) in observations.iter().enumerate() {
            if !self.has_words(row) {
                continue;
            }
            let distance = row["at"].as_f64().unwrap_or_default();
            // Where a stretch ends comes before what is seen at that distance.
            while let Some((to, index, number)) = waiting.pop_if(|(to, ..)| *to <= distance) {
                order.push((to, index, Part::Finish(number)));
            }
            if row["continuous"] == true && self.layout.stretches.is_some() {
                stretches += 1;
                order.push((distance, index, Part::Start(stretches)));
                if let Some(to) = row["to"].as_f64() {
                    let place = waiting.partition_point(|(other, ..)| *other > to);
                    waiting.insert(place, (to, index, stretches));
                }
            } else {
                order.push((distance, index, Part::Point));
            }
        }
        order.extend(waiting.into_iter().rev().map(|(to, index, number)| (to, index, Part::Finish(number))));
        if order.is_empty() {
            rows.push(self.row(pipe, run, &nothing, (0.0, Part::Point)));
        }
        for (distance, index, part) in order {
            rows.push(self.row(pipe, run, &observations[index], (distance, part)));
        }
    }

    fn words(&self, row: &Value) -> Option<&obvert_model::layout::CodeWords> {
        let values = row["characterisation"].as_array().map_or(&[][..], Vec::as_slice);
        let same = |entry: &&obvert_model::layout::CodeWords| {
            row["code"] == *entry.code.as_str()
                && entry.characterisation.len() == values.len()
                && entry.characterisation.iter().zip(values).all(|(one, other)| *other == *one.as_str())
        };
        let words = &self.layout.codes.as_ref()?.words;
        // Rather the code with less than is known than no row at all; the report says what went missing.
        let bare = |entry: &&obvert_model::layout::CodeWords| {
            row["code"] == *entry.code.as_str() && entry.characterisation.is_empty()
        };
        words.iter().find(same).or_else(|| words.iter().find(bare))
    }

    fn has_words(&self, row: &Value) -> bool {
        self.layout.codes.is_none() || self.words(row).is_some()
    }

    fn row(&self, pipe: &Value, run: &Value, observation: &Value, (distance, part): (f64, Part)) -> Vec<String> {
        let cell = |way: &Way<'_>| self.cell(*way, pipe, run, observation, (distance, part)).unwrap_or_default();
        self.ways.iter().map(cell).collect()
    }

    fn cell(
        &self,
        way: Way<'_>,
        pipe: &Value,
        run: &Value,
        row: &Value,
        (distance, part): (f64, Part),
    ) -> Option<String> {
        let (layout, column) = (self.layout, way.column);
        if let Some(place) =
            layout.codes.as_ref().and_then(|codes| codes.columns.iter().position(|one| *one == column.heading))
        {
            return self.words(row)?.words.get(place).map(ToString::to_string);
        }
        if let Some(stretches) = layout.stretches.as_ref().filter(|stretches| stretches.column == column.heading) {
            return match part {
                Part::Point => None,
                Part::Start(number) => Some(stretches.start.replace('#', &number.to_string())),
                Part::Finish(number) => Some(stretches.finish.replace('#', &number.to_string())),
            };
        }
        let to = column.to.as_deref()?;
        let place = column.place.unwrap_or(1) as usize - 1;
        let finish = matches!(part, Part::Finish(_));
        let write = |value: &Value| match (column.unit, way.unit) {
            (Some(unit), Some(own)) => forms::write(&units::turned(value, own.factor_to(unit))?, column, layout),
            (None, Some(own)) if column.kind == Some(CellKind::Amount) => {
                forms::write(&json!({"value": value, "unit": own.as_str()}), column, layout)
            }
            _ => forms::write(value, column, layout),
        };
        let Some(key) = to.strip_prefix("runs.observations.") else {
            let value = match to.split_once('.').unwrap_or((to, "")) {
                ("pipes", key) => self.held(pipe, key, &column.heading),
                ("runs", key) => self.held(run, key, &column.heading),
                _ => self.held(self.document, to, &column.heading),
            }?;
            if matches!(column.kind, Some(CellKind::Date | CellKind::Time | CellKind::DateTime)) {
                let moment = moment::in_zone(value.as_str()?, layout.zone.as_deref().unwrap_or("Z"))?;
                return write(&moment.into());
            }
            return write(value);
        };
        match key {
            // Said once, where the stretch begins.
            "remark" if finish => None,
            "at" if row.is_object() => write(&forms::number(distance)),
            "characterisation" => match &column.separator {
                Some(separator) => {
                    let all = row[key].as_array()?.iter().filter_map(write).collect::<Vec<_>>();
                    Some(all.join(separator))
                }
                None => write(row[key].get(place)?),
            },
            "quantities.value" => {
                let quantity = row["quantities"].get(place)?;
                if column.kind == Some(CellKind::Amount) {
                    forms::write(quantity, column, layout)
                        .or_else(|| forms::write(&self.in_word(quantity)?, column, layout))
                } else {
                    forms::write(&self.amount(row, quantity, place, column.unit)?, column, layout)
                }
            }
            "grades" => {
                let grades = row[key].as_object()?;
                // One column holds one grade.
                grades.values().find(|grade| grade.is_number()).and_then(write)
            }
            "clock.from" => write(below(row, key).or_else(|| below(row, "clock.at"))?),
            "media.id" => {
                let kind = column.media.map_or("photo", |kind| kind.as_str());
                let mut of_kind = row["media"]
                    .as_array()?
                    .iter()
                    .filter_map(|one| one["id"].as_str())
                    .filter(|id| self.media.get(id).is_some_and(|media| media["kind"] == *kind));
                if column.is_recording() && self.names_recordings() {
                    return of_kind.nth(usize::from(finish)).and_then(|id| write(&id.into()));
                }
                if finish {
                    return None;
                }
                match &column.separator {
                    Some(separator) => {
                        Some(of_kind.filter_map(|id| write(&id.into())).collect::<Vec<_>>().join(separator))
                    }
                    None => of_kind.nth(place).and_then(|id| write(&id.into())),
                }
            }
            "media.offset" => {
                let is = |id: &str| match self.names_recordings() {
                    true => self.media.get(id).is_some_and(|media| self.is_recording(&media["kind"])),
                    false => self.video(pipe, run).is_some_and(|video| video == id),
                };
                let refs = row["media"].as_array()?.iter();
                let mut of_kind = refs.filter(|one| one["id"].as_str().is_some_and(is));
                of_kind.nth(usize::from(finish)).and_then(|one| one.get("offset")).and_then(write)
            }
            _ => write(self.held(row, key, &column.heading)?),
        }
    }

    /// An amount in a unit that the layout has a word for, and its own can be turned into: that of sizes first, then of lengths.
    fn in_word(&self, quantity: &Value) -> Option<Value> {
        let unit = quantity["unit"].as_str()?.parse::<QuantityUnit>().ok()?;
        let fixed = ["units.section", "units.length"].into_iter().filter_map(|path| self.layout.fixed_text(path));
        let fixed = fixed.filter_map(|word| word.parse::<QuantityUnit>().ok());
        let has_word = |unit: &QuantityUnit| self.layout.units.iter().any(|word| word.unit == *unit);
        let mut candidates = fixed.chain(self.layout.units.iter().map(|word| word.unit)).filter(has_word);
        candidates.find_map(|other| {
            let value = units::turned(&quantity["value"], unit.factor_to(other))?;
            Some(json!({"value": value, "unit": other.as_str()}))
        })
    }

    /// Whether a column names the recordings that offsets are into.
    fn names_recordings(&self) -> bool {
        self.ways.iter().any(|way| way.names_recording())
    }

    fn is_recording(&self, kind: &Value) -> bool {
        self.ways.iter().any(|way| way.names_recording() && way.column.media.is_some_and(|own| *kind == *own.as_str()))
    }

    /// The recording that the layout names for a run.
    fn video(&self, pipe: &Value, run: &Value) -> Option<String> {
        let field = |path: &str| match path.split_once('.')? {
            ("pipes", key) => below(pipe, key).map(said),
            (_, key) => below(run, key).map(said),
        };
        fill(self.layout.video.as_deref()?, &field)
    }

    /// The value of a field, or the text that is kept for a column under `extensions`.
    fn held<'v>(&self, row: &'v Value, key: &str, heading: &str) -> Option<&'v Value> {
        match key.strip_suffix("extensions") {
            Some(_) => row.get("extensions")?.get(self.layout.extension.as_deref()?)?.get(heading),
            None => below(row, key),
        }
    }

    /// An amount in the unit that the column has, or else the code list, since the cell says none.
    fn amount(&self, row: &Value, quantity: &Value, place: usize, stated: Option<QuantityUnit>) -> Option<Value> {
        let code = row["code"].as_str().and_then(|code| self.codes.get(code)).copied();
        let values: Vec<String> = row["characterisation"].as_array().into_iter().flatten().map(said).collect();
        let wanted = match stated {
            Some(unit) => unit,
            None => implied_unit(code, &values, place)?.parse::<QuantityUnit>().ok()?,
        };
        let is = quantity["unit"].as_str()?.parse::<QuantityUnit>().ok()?;
        let value = quantity["value"].as_f64()?;
        if is == wanted {
            return Some(json!(value));
        }
        let turned = value * is.factor_to(wanted)?;
        Some(json!(format!("{turned:.9}").parse::<f64>().unwrap_or(turned)))
    }
}
