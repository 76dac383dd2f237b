//! The losses of writing: the document that was written, compared with the one that is read back
//! from the file.

use std::collections::{HashMap, HashSet};

use obvert_convert::{Loss, LossKind, LossReport};
use obvert_model::edit::token;
use obvert_model::layout::{Record, Target, Template};
use obvert_model::tables::MediaKind;
use serde_json::{Map, Value};

use super::list;
use super::repertoire::Repertoire;
use crate::as_text;
use crate::plan::{ColumnBinding, Plan};
use crate::read::is_recording;
use crate::read::journal::one_line;

/// Adds every difference to the report, by pointers into the document that was written.
pub(super) fn differences(
    before: &Value,
    after: &Value,
    plan: &Plan<'_>,
    repertoire: Repertoire,
    report: &mut LossReport,
) {
    let pipes = list(before, Target::PIPES).iter();
    let media = list(before, Target::MEDIA).iter();
    let mut difference = Difference {
        document: before,
        pipes: pipes.filter_map(|pipe| Some((pipe["id"].as_str()?, pipe))).collect(),
        kinds: media
            .filter_map(|medium| Some((medium["id"].as_str()?, medium["kind"].as_str()?)))
            .collect(),
        plan,
        repertoire,
        report,
    };
    difference.value(before, after, &Place::default());
}

/// The location of a value in the document.
#[derive(Clone, Default)]
struct Place {
    /// Its field in the format.
    target: Option<Target>,
    /// Its path; a path in extensions is not a field.
    path: String,
    pointer: String,
}

impl Place {
    /// The value of a key.
    fn child(&self, key: &str) -> Self {
        let path =
            if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) };
        Self {
            target: Target::named(&path),
            path,
            pointer: format!("{}/{}", self.pointer, token(key)),
        }
    }

    /// An item of a list.
    fn item(&self, index: usize) -> Self {
        Self { pointer: format!("{}/{index}", self.pointer), ..self.clone() }
    }

    fn is(&self, target: Target) -> bool {
        self.target == Some(target)
    }
}

struct Difference<'d> {
    document: &'d Value,
    pipes: HashMap<&'d str, &'d Value>,
    /// The kinds of media, by id.
    kinds: HashMap<&'d str, &'d str>,
    plan: &'d Plan<'d>,
    repertoire: Repertoire,
    report: &'d mut LossReport,
}

impl Difference<'_> {
    fn id(&self) -> &str {
        &self.plan.layout.id
    }

    /// The heading of the column that maps to a field, to a field in it, or to one that contains
    /// it.
    fn column(&self, place: &Place) -> Option<String> {
        let within = |one: &str, other: &str| {
            one.strip_prefix(other).is_some_and(|rest| rest.starts_with('.'))
        };
        let leads =
            |to: &str| to == place.path || within(&place.path, to) || within(to, &place.path);
        let leads = |column: &&ColumnBinding<'_>| {
            column.target().is_some_and(|target| leads(target.path()))
        };
        let column = self.plan.columns.iter().find(leads)?;
        Some(format!("{:?}", one_line(column.heading())))
    }

    fn lose(
        &mut self,
        kind: LossKind,
        place: &Place,
        message: String,
        was: Option<&Value>,
        becomes: Option<&Value>,
    ) {
        let loss = Loss::new(kind, place.pointer.as_str(), message);
        self.report.losses.push(loss.with_values(was.cloned(), becomes.cloned()));
    }

    /// Reports a value that is not in the file; for a list, each item separately.
    fn dropped(&mut self, value: &Value, place: &Place) {
        if let Value::Array(items) = value {
            items
                .iter()
                .enumerate()
                .for_each(|(index, item)| self.dropped(item, &place.item(index)));
            return;
        }
        let message = self.why_dropped(value, place);
        self.lose(LossKind::Dropped, place, message, Some(value), None);
    }

    fn why_dropped(&self, value: &Value, place: &Place) -> String {
        let id = self.id();
        match place.target {
            Some(Target::OBSERVATIONS) => {
                format!(
                    "the layout {id} has no words for {}",
                    value.get("code").map(as_text).unwrap_or_default()
                )
            }
            Some(Target::MEDIA_REFERENCES) => self.why_no_media(value, place),
            Some(Target::AMOUNTS) => self.why_no_amount(value, place),
            Some(Target::MEDIA) => {
                format!("no row of the table names it, and the layout {id} has no other media")
            }
            _ => match self.column(place) {
                Some(column) => format!("the column {column} of the layout {id} cannot hold it"),
                None => format!("the layout {id} has no column for {}", place.path),
            },
        }
    }

    fn why_no_amount(&self, value: &Value, place: &Place) -> String {
        let id = self.id();
        let unit = value.get("unit").map(as_text).unwrap_or_default();
        let index = place
            .pointer
            .rsplit('/')
            .next()
            .and_then(|index| index.parse::<usize>().ok())
            .unwrap_or(0);
        let mut columns =
            self.plan.columns.iter().filter(|column| column.target() == Some(Target::AMOUNT));
        if self.column(place).is_none() {
            return format!("the layout {id} has no column for amounts");
        }
        if !columns.any(|column| column.place() == index) {
            return format!(
                "the layout {id} has no column for amount {} of an observation",
                index + 1
            );
        }
        format!(
            "no column of the layout {id} takes an amount in {unit} here: none has that unit, and {unit} cannot be converted \
             to that of the code list for this amount"
        )
    }

    /// Why an observation is not read back with a picture or recording.
    fn why_no_media(&self, value: &Value, place: &Place) -> String {
        let id = self.id();
        let file = value.get("id").map(as_text).unwrap_or_default();
        let kind = self.kinds.get(file.as_str()).copied();
        let names = |column: &&ColumnBinding<'_>| {
            let own = column.column.media.map_or("photo", |kind| kind.as_str());
            column.target() == Some(Target::MEDIA_FILE) && kind == Some(own)
        };
        if let Some(column) = self.plan.columns.iter().find(names) {
            return format!("the column {:?} of the layout {id} cannot hold it", column.heading());
        }
        let is_recording =
            kind.and_then(|word| word.parse::<MediaKind>().ok()).is_some_and(is_recording);
        let (Some(template), Some(pattern), true) =
            (&self.plan.video, &self.plan.layout.video, is_recording)
        else {
            return format!(
                "the layout {id} has no column for media of the kind {}",
                kind.unwrap_or("that this is")
            );
        };
        match self.video(template, place) {
            Some(video) if video == file => {
                format!(
                    "a table of the layout {id} refers to {pattern} only by an offset, and this observation has none"
                )
            }
            Some(_) => format!(
                "offsets of the layout {id} refer to {pattern}, and this recording has another name, so the table cannot refer to it"
            ),
            None => format!(
                "offsets of the layout {id} refer to {pattern}, which cannot be filled in here, so the table cannot refer to this recording"
            ),
        }
    }

    /// The recording that the layout assumes for the offsets of a run that contains a value.
    fn video(&self, template: &Template, place: &Place) -> Option<String> {
        let index =
            place.pointer.strip_prefix("/runs/")?.split('/').next()?.parse::<usize>().ok()?;
        let run = list(self.document, Target::RUNS).get(index)?;
        let pipe = Target::RUN_PIPE.get(run)?.as_str().and_then(|pipe| self.pipes.get(pipe))?;
        template.fill(|field| {
            field.get(if field.record() == Record::Pipe { pipe } else { run }).map(as_text)
        })
    }

    fn value(&mut self, before: &Value, after: &Value, place: &Place) {
        match (before, after) {
            (Value::Object(before), Value::Object(after)) => self.object(before, after, place),
            (Value::Array(before), Value::Array(after)) => self.array(before, after, place),
            _ if before == after
                || before.as_f64().is_some_and(|number| Some(number) == after.as_f64()) => {}
            _ => {
                let message = self.why_changed(before, after, place);
                self.lose(LossKind::Changed, place, message, Some(before), Some(after));
            }
        }
    }

    fn why_changed(&self, before: &Value, after: &Value, place: &Place) -> String {
        let (id, path) = (self.id(), &place.path);
        let texts = before.as_str().zip(after.as_str());
        match (
            texts.and_then(|(before, after)| self.repertoire.lacking(before, after)),
            self.repertoire,
        ) {
            (Some(lacking), Repertoire::Encoded(charset)) => {
                format!(
                    "the layout {id} uses the encoding {charset}, which does not have {lacking}"
                )
            }
            (Some(lacking), _) => format!("XML cannot hold {lacking}"),
            (None, _) => match self.column(place) {
                Some(column) => {
                    format!(
                        "{path} is read back differently through the column {column} of the layout {id}"
                    )
                }
                None => {
                    format!("the layout {id} has no column for {path} and makes a different value")
                }
            },
        }
    }

    fn object(&mut self, before: &Map<String, Value>, after: &Map<String, Value>, place: &Place) {
        if let (true, Some(was), Some(unit)) =
            (place.is(Target::AMOUNTS), before.get("unit"), after.get("unit"))
            && was != unit
        {
            let message =
                format!("the layout {} holds this amount in {}", self.id(), as_text(unit));
            let (was, becomes) = (Value::Object(before.clone()), Value::Object(after.clone()));
            self.lose(LossKind::Changed, place, message, Some(&was), Some(&becomes));
            return;
        }
        for (key, value) in before {
            match after.get(key) {
                Some(other) => self.value(value, other, &place.child(key)),
                None => self.dropped(value, &place.child(key)),
            }
        }
        for (key, value) in after.iter().filter(|(key, _)| !before.contains_key(*key)) {
            self.put_in(value, &place.child(key));
        }
    }

    /// Reports a value that is only in the document that was read back. A value that was not
    /// recorded and is fixed by the layout changes the meaning of the survey; one that follows from
    /// other values, or only defines how to read them, does not.
    fn put_in(&mut self, value: &Value, place: &Place) {
        let (id, path) = (self.id(), &place.path);
        let is_fixed =
            |target: Target| self.plan.fixed.iter().any(|(fixed, _)| target.holds(*fixed));
        let (kind, message) = match place.target.filter(|target| is_fixed(*target)) {
            Some(target) if self.is_for_reading(target) => (
                LossKind::Defaulted,
                format!("the layout {id} fixes {path}, which the survey does not have"),
            ),
            Some(_) => {
                let message = format!(
                    "the survey does not have {path}, and the layout {id} adds it to every survey"
                );
                (LossKind::Changed, message)
            }
            None => (
                LossKind::Defaulted,
                format!("the layout {id} makes {path} from other values of the table"),
            ),
        };
        self.lose(kind, place, message, None, Some(value));
    }

    /// Whether a field is only needed to read a document, and is not an observation.
    fn is_for_reading(&self, target: Target) -> bool {
        let is_graded = || {
            let runs = list(self.document, Target::RUNS).iter();
            let mut observations = runs.flat_map(|run| list(run, Target::OBSERVATIONS));
            Target::RATINGS.get(self.document).is_some()
                || observations.any(|row| Target::GRADES.get(row).is_some())
        };
        match target {
            Target::LANGUAGE | Target::CRS | Target::VERTICAL => true,
            Target::GRADING => !is_graded(),
            _ => false,
        }
    }

    fn array(&mut self, before: &[Value], after: &[Value], place: &Place) {
        let partners = partners(before, after, place);
        let order: Vec<usize> = partners.iter().flatten().copied().collect();
        if !order.is_sorted() {
            let (id, path) = (self.id(), &place.path);
            let message = format!(
                "the rows of {path} are read back in another order through the layout {id}"
            );
            self.lose(LossKind::Changed, place, message, None, None);
        }
        let mut taken = vec![false; after.len()];
        for (index, value) in before.iter().enumerate() {
            let item = place.item(index);
            match partners[index]
                .and_then(|partner| after.get(partner).map(|other| (partner, other)))
            {
                Some((partner, other)) => {
                    taken[partner] = true;
                    self.value(value, other, &item);
                }
                None => self.dropped(value, &item),
            }
        }
        for (other, _) in after.iter().zip(&taken).filter(|(_, taken)| !**taken) {
            let (id, path) = (self.id(), &place.path);
            // Rows for things that the table names, such as structures, add nothing.
            let (kind, message) = match place.target {
                Some(Target::PIPES | Target::RUNS | Target::OBSERVATIONS) => (
                    LossKind::Changed,
                    format!("another row of {path} is read back through the layout {id}"),
                ),
                _ => (
                    LossKind::Defaulted,
                    format!("the layout {id} makes rows of {path} from names in the table"),
                ),
            };
            self.lose(kind, place, message, None, Some(other));
        }
    }
}

/// Matches the rows of two lists: observations in order by distance and code; other rows by id, if
/// all have one; and the remaining rows in order, if there are as many in both lists.
fn partners(before: &[Value], after: &[Value], place: &Place) -> Vec<Option<usize>> {
    if place.is(Target::OBSERVATIONS) {
        return observation_partners(before, after);
    }
    let (Some(own), Some(others)) = (numbered_ids(before), numbered_ids(after)) else {
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

fn observation_partners(before: &[Value], after: &[Value]) -> Vec<Option<usize>> {
    let mut next = 0;
    let partner = |value: &Value| {
        let found =
            after.get(next).filter(|other| value.get("code") == other.get("code")).map(|_| next);
        next += usize::from(found.is_some());
        found
    };
    before.iter().map(partner).collect()
}

/// The ids of rows, each with its occurrence number: the first row with an id matches the first
/// with it. `None` if a row has none.
fn numbered_ids(rows: &[Value]) -> Option<Vec<(String, usize)>> {
    let mut seen: HashMap<String, usize> = HashMap::new();
    let key = |row: &Value| {
        let id = as_text(row.get("id")?);
        let count = seen.entry(id.clone()).or_default();
        *count += 1;
        Some((id, *count))
    };
    rows.iter().map(key).collect()
}
