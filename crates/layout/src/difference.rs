//! What a table does not give back: the document that was written held against the one that is read from the table.

use std::collections::{HashMap, HashSet};

use obvert_model::edit::token;
use obvert_model::layout::{Encoding, Layout};
use obvert_model::tables::MediaKind;
use serde_json::{Map, Value};

use super::{below, bytes, fill, said};
use obvert_convert::{Loss, LossKind, LossReport};

/// The characters that a file can hold, and what it has in place of the others.
#[derive(Clone, Copy)]
pub(super) enum Letters {
    /// Those of an encoding, and a question mark.
    Encoded(Encoding),
    /// Those of XML 1.0, and the replacement character.
    Xml,
    /// All that a text can have, as a workbook does.
    #[cfg(feature = "xlsx")]
    All,
}

impl Letters {
    pub(super) fn has(self, letter: char) -> bool {
        match self {
            Self::Encoded(encoding) => bytes::has(letter, encoding),
            Self::Xml => obvert_convert::xml::markup::is_xml_char(letter),
            #[cfg(feature = "xlsx")]
            Self::All => true,
        }
    }

    fn substitute(self) -> char {
        if matches!(self, Self::Encoded(_)) { '?' } else { '\u{fffd}' }
    }

    /// A text as it is written.
    pub(super) fn written(self, text: &str) -> String {
        text.chars().map(|letter| if self.has(letter) { letter } else { self.substitute() }).collect()
    }

    /// Which characters of a text became others, with their code points, where that is the whole difference of the two.
    fn lacking(self, before: &str, after: &str) -> Option<String> {
        let written = self.written(before);
        let mut lacking: Vec<char> = before.chars().filter(|letter| !self.has(*letter)).collect();
        if lacking.is_empty() || written != after {
            return None;
        }
        lacking.sort_unstable();
        lacking.dedup();
        // A character that nobody can see has its code point alone.
        let named = |letter: &char| match letter.is_control() {
            true => format!("U+{:04X}", u32::from(*letter)),
            false => format!("{letter:?} (U+{:04X})", u32::from(*letter)),
        };
        Some(lacking.iter().map(named).collect::<Vec<_>>().join(", "))
    }
}

/// Adds every difference to the report, by pointers into the document that was written.
pub(super) fn differences(before: &Value, after: &Value, layout: &Layout, letters: Letters, report: &mut LossReport) {
    let rows = |table: &str| before[table].as_array().into_iter().flatten();
    let pipes = rows("pipes").filter_map(|pipe| Some((pipe["id"].as_str()?, pipe))).collect();
    let kinds = rows("media").filter_map(|media| Some((media["id"].as_str()?, media["kind"].as_str()?))).collect();
    Difference { document: before, pipes, kinds, layout, letters, report }.value(before, after, "", "");
}

/// What a document merely needs to be read, and says nothing of what was seen.
const FOR_READING: [&str; 3] = ["language", "crs", "vertical"];

struct Difference<'d> {
    document: &'d Value,
    pipes: HashMap<&'d str, &'d Value>,
    /// The kinds of media by id.
    kinds: HashMap<&'d str, &'d str>,
    layout: &'d Layout,
    letters: Letters,
    report: &'d mut LossReport,
}

impl Difference<'_> {
    /// The column that leads to a field, quoted, or the layout.
    fn column(&self, path: &str) -> Option<String> {
        let within = |one: &str, other: &str| one.strip_prefix(other).is_some_and(|rest| rest.starts_with('.'));
        let leads = |to: &str| to == path || within(path, to) || within(to, path);
        let column = self.layout.columns.iter().find(|column| column.to.as_deref().is_some_and(leads))?;
        Some(format!("{:?}", column.heading.replace('\n', " ")))
    }

    /// Accounts for a value that is not in the table, for each of a list by itself.
    fn dropped(&mut self, value: &Value, path: &str, pointer: &str) {
        if let Value::Array(items) = value {
            items.iter().enumerate().for_each(|(index, item)| self.dropped(item, path, &format!("{pointer}/{index}")));
            return;
        }
        let id = &self.layout.id;
        let message = match path {
            "runs.observations" => {
                format!("the layout {id} has no words for {}", value.get("code").map(said).unwrap_or_default())
            }
            "runs.observations.media" => self.why_no_media(value, pointer),
            "runs.observations.quantities" => {
                let unit = value.get("unit").map(said).unwrap_or_default();
                let place = pointer.rsplit('/').next().and_then(|place| place.parse::<u32>().ok()).unwrap_or(0) + 1;
                let takes = |to: &str| to == "runs.observations.quantities.value";
                let columns = || self.layout.columns.iter().filter(|column| column.to.as_deref().is_some_and(takes));
                let has_place = columns().any(|column| column.place.unwrap_or(1) == place);
                match self.column(path) {
                    Some(_) if !has_place => {
                        format!("the layout {id} has no column for amount {place} of an observation")
                    }
                    Some(_) => format!(
                        "no column of the layout {id} takes an amount in {unit} here: none has that unit, and what the code list has for \
                         this amount is none that {unit} can be turned into"
                    ),
                    None => format!("the layout {id} has no column for amounts"),
                }
            }
            "media" => format!("no row of the table names it, and a table of the layout {id} has no media but those"),
            _ => match self.column(path) {
                Some(column) => format!("the column {column} of the layout {id} cannot hold it"),
                None => format!("the layout {id} has no column for {path}"),
            },
        };
        let loss = Loss::new(LossKind::Dropped, pointer, message);
        self.report.losses.push(Loss { was: Some(value.clone()), ..loss });
    }

    /// Why an observation does not come back with a picture or recording.
    fn why_no_media(&self, value: &Value, pointer: &str) -> String {
        let (layout, id) = (self.layout, &self.layout.id);
        let file = value.get("id").map(said).unwrap_or_default();
        let kind = self.kinds.get(file.as_str()).copied();
        let recording = kind.and_then(|word| word.parse::<MediaKind>().ok()).is_some_and(super::seen::is_recording);
        let named = layout.columns.iter().find(|column| {
            column.to.as_deref() == Some("runs.observations.media.id")
                && kind == Some(column.media.map_or("photo", |kind| kind.as_str()))
        });
        match (named, &layout.video) {
            (Some(column), _) => format!("the column {:?} of the layout {id} cannot hold it", &*column.heading),
            (None, Some(pattern)) if recording => match self.video(pattern, pointer) {
                Some(video) if video == file => {
                    format!("a table of the layout {id} names {pattern} only by an offset into it, and this has none")
                }
                Some(_) => format!(
                    "offsets of the layout {id} are into {pattern}, and this recording has another name, so that the table cannot refer to it"
                ),
                None => format!(
                    "offsets of the layout {id} are into {pattern}, which cannot be told here, so that the table cannot refer to this recording"
                ),
            },
            _ => format!("the layout {id} has no column for media of the kind {}", kind.unwrap_or("that this is")),
        }
    }

    /// The recording that the layout takes the offsets of a run for, by a pointer into the run.
    fn video(&self, pattern: &str, pointer: &str) -> Option<String> {
        let index = pointer.strip_prefix("/runs/")?.split('/').next()?.parse::<usize>().ok()?;
        let run = self.document["runs"].get(index)?;
        let pipe = run["pipe"].as_str().and_then(|pipe| self.pipes.get(pipe))?;
        fill(pattern, &|path| match path.split_once('.')? {
            ("pipes", key) => below(pipe, key).map(said),
            (_, key) => below(run, key).map(said),
        })
    }

    fn value(&mut self, before: &Value, after: &Value, path: &str, pointer: &str) {
        match (before, after) {
            (Value::Object(before), Value::Object(after)) => self.object(before, after, path, pointer),
            (Value::Array(before), Value::Array(after)) => self.array(before, after, path, pointer),
            _ if before == after || before.as_f64().is_some_and(|number| Some(number) == after.as_f64()) => {}
            _ => {
                let id = &self.layout.id;
                let texts = before.as_str().zip(after.as_str());
                let lacking = texts.and_then(|(before, after)| self.letters.lacking(before, after));
                let message = match (lacking, self.letters, self.column(path)) {
                    (Some(lacking), Letters::Encoded(encoding), _) => {
                        format!("the layout {id} is written in {encoding}, which does not have {lacking}")
                    }
                    (Some(lacking), ..) => format!("XML cannot hold {lacking}"),
                    (None, _, Some(column)) => {
                        format!("through the column {column} of the layout {id} {path} comes back otherwise")
                    }
                    (None, _, None) => format!("the layout {id} has no column for {path} and makes another of it"),
                };
                let loss = Loss::new(LossKind::Changed, pointer, message);
                let (was, becomes) = (Some(before.clone()), Some(after.clone()));
                self.report.losses.push(Loss { was, becomes, ..loss });
            }
        }
    }

    fn object(&mut self, before: &Map<String, Value>, after: &Map<String, Value>, path: &str, pointer: &str) {
        if let ("runs.observations.quantities", Some(was), Some(unit)) = (path, before.get("unit"), after.get("unit"))
            && was != unit
        {
            let message = format!("the layout {} holds this amount in {}", self.layout.id, said(unit));
            let (was, becomes) = (Some(Value::Object(before.clone())), Some(Value::Object(after.clone())));
            self.report.losses.push(Loss { was, becomes, ..Loss::new(LossKind::Changed, pointer, message) });
            return;
        }
        let below = |key: &str| if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") };
        let child = |key: &str| format!("{pointer}/{}", token(key));
        for (key, value) in before {
            match after.get(key) {
                Some(other) => self.value(value, other, &below(key), &child(key)),
                None => self.dropped(value, &below(key), &child(key)),
            }
        }
        for (key, value) in after.iter().filter(|(key, _)| !before.contains_key(*key)) {
            self.put_in(value, &below(key), child(key));
        }
    }

    /// Accounts for a value that only the document that was read back has. What nobody recorded and the layout says of everything makes
    /// the survey say something else; what follows from the rest, or only says how to read it, does not.
    fn put_in(&mut self, value: &Value, path: &str, pointer: String) {
        let id = &self.layout.id;
        let inside = |to: &str| to == path || to.strip_prefix(path).is_some_and(|rest| rest.starts_with('.'));
        let constant = self.layout.fixed.iter().any(|fixed| inside(&fixed.to));
        let graded = || {
            let runs = self.document["runs"].as_array().into_iter().flatten();
            let mut seen = runs.filter_map(|run| run["observations"].as_array()).flatten();
            self.document.get("ratings").is_some() || seen.any(|row| row.get("grades").is_some())
        };
        let harmless = FOR_READING.contains(&path) || path == "grading" && !graded();
        let (kind, message) = match constant {
            true if harmless => {
                (LossKind::Defaulted, format!("the layout {id} fixes {path}, which the survey does not say"))
            }
            true => {
                let message =
                    format!("the survey does not say {path}, and the layout {id} says the same of every survey");
                (LossKind::Changed, message)
            }
            false => (LossKind::Defaulted, format!("the layout {id} makes {path} of what the table holds")),
        };
        self.report.losses.push(Loss { becomes: Some(value.clone()), ..Loss::new(kind, pointer, message) });
    }

    fn array(&mut self, before: &[Value], after: &[Value], path: &str, pointer: &str) {
        let partners = partners(before, after, path);
        let order: Vec<usize> = partners.iter().flatten().copied().collect();
        if !order.is_sorted() {
            let message =
                format!("through the layout {} the rows of {path} come back in another order", self.layout.id);
            self.report.add(LossKind::Changed, pointer, message);
        }
        let mut taken = vec![false; after.len()];
        for (index, value) in before.iter().enumerate() {
            let pointer = format!("{pointer}/{index}");
            match partners[index].and_then(|partner| after.get(partner).map(|other| (partner, other))) {
                Some((partner, other)) => {
                    taken[partner] = true;
                    self.value(value, other, path, &pointer);
                }
                None => self.dropped(value, path, &pointer),
            }
        }
        let id = &self.layout.id;
        for (other, _) in after.iter().zip(&taken).filter(|(_, taken)| !**taken) {
            // Rows of what the table names, such as its structures, say no more than that.
            let (kind, message) = match path {
                "pipes" | "runs" | "runs.observations" => {
                    (LossKind::Changed, format!("through the layout {id} another row of {path} comes back"))
                }
                _ => (LossKind::Defaulted, format!("the layout {id} makes rows of {path} of what the table names")),
            };
            self.report.losses.push(Loss { becomes: Some(other.clone()), ..Loss::new(kind, pointer, message) });
        }
    }
}

/// Which row of the one list is which of the other: observations in their order by distance and code, other rows by id where
/// each has its own, and those that are left in their order where there are as many.
fn partners(before: &[Value], after: &[Value], path: &str) -> Vec<Option<usize>> {
    if path == "runs.observations" {
        let mut next = 0;
        return before
            .iter()
            .map(|value| {
                let same = |other: &Value| value.get("code") == other.get("code");
                let found = after.get(next).filter(|other| same(other)).map(|_| next);
                next += usize::from(found.is_some());
                found
            })
            .collect();
    }
    // The first row with an id is the partner of the first with it, the second of the second.
    let keys = |rows: &[Value]| -> Option<Vec<(String, usize)>> {
        let mut seen: HashMap<String, usize> = HashMap::new();
        let key = |row: &Value| {
            let id = said(row.get("id")?);
            let count = seen.entry(id.clone()).or_default();
            *count += 1;
            Some((id, *count))
        };
        rows.iter().map(key).collect()
    };
    let (Some(own), Some(others)) = (keys(before), keys(after)) else {
        return (0..before.len()).map(|index| (index < after.len()).then_some(index)).collect();
    };
    let ids: HashMap<(String, usize), usize> = others.into_iter().zip(0..).collect();
    let mut found: Vec<Option<usize>> = own.iter().map(|key| ids.get(key).copied()).collect();
    let taken: HashSet<usize> = found.iter().flatten().copied().collect();
    let left: Vec<usize> = (0..after.len()).filter(|index| !taken.contains(index)).collect();
    let open: Vec<usize> = (0..before.len()).filter(|index| found[*index].is_none()).collect();
    if left.len() == open.len() {
        for (index, partner) in open.into_iter().zip(left) {
            found[index] = Some(partner);
        }
    }
    found
}
