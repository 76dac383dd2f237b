//! Drafts a profile from surveys that an office has accepted: what all of them have in common is
//! probably demanded. Every demand names what it rests on, so that people can delete what is
//! chance.
//!
//! A drafted profile accepts the surveys that it was drafted from. A limit is moved if they exceed
//! it, and never tightened: a few surveys show what happened, not what is demanded. Suppressions
//! are not drafted, since accepting a fault is a decision.

mod ids;
mod limits;
mod values;

use std::collections::{BTreeMap, BTreeSet};

use obvert_model::number::Amount;
use obvert_model::probe::{Plan, Slot, Value, Visitor};
use obvert_model::profile::{
    Allowed, AllowedList, AllowedScheme, Demand, FieldDemand, FieldPath, LimitSetting, MediaDemand,
    MediaOf, Pattern, Profile, RuleSetting, Scalar, Weight,
};
use obvert_model::read::ProblemKind;
use obvert_model::shape::{self, Field, ObjectShape, Shape};
use obvert_model::tables::{Document, LengthUnit, MediaKind, Run, SectionUnit};
use obvert_model::text::{CrsId, Text};
use rustc_hash::{FxHashMap, FxHashSet};

use crate::checker::Checker;
use crate::finding::Severity;
use crate::grading::tidy;
use crate::profile::MediaKinds;
use crate::settings::{Settings, SettingsError};
use ids::Ids;
use limits::{Drafted, Extremes};
use values::Words;

/// Texts that an office may have a pattern for.
const IDS: [&str; 7] = [
    "structures.id",
    "structures.asset",
    "pipes.id",
    "pipes.asset",
    "runs.id",
    "media.id",
    "assignment.contract",
];

/// The kinds of video.
const VIDEOS: [MediaKind; 2] = [MediaKind::Video, MediaKind::IntervalVideo];

/// Settings of a draft.
#[derive(Clone, Debug)]
pub struct DraftSettings {
    /// The profile's id.
    pub id: Text,
    /// How many rows of a table are needed for a demand on them.
    pub least_rows: usize,
    /// How many surveys are needed for a demand on a value that each survey has once.
    pub least_surveys: usize,
    /// How surveys are checked: the available lists, and the date of today.
    pub check: Settings,
}

/// Why a profile cannot be drafted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DraftError {
    /// The settings for the check cannot be used.
    #[error(transparent)]
    Settings(#[from] SettingsError),
    /// The survey has structural problems.
    #[error(
        "the document has problems of structure, the first at {pointer}: {message}; draft from surveys that were accepted"
    )]
    Structure {
        /// Where.
        pointer: String,
        /// What.
        message: String,
    },
    /// There is no survey to draft from.
    #[error("there is no survey to draft from")]
    Nothing,
}

/// A profile that is being drafted.
#[derive(Debug)]
pub struct Draft {
    settings: DraftSettings,
    checker: Checker,
    plan: Plan,
    seen: Seen,
    lists: BTreeSet<(Text, Text)>,
    schemes: BTreeSet<(Text, Text)>,
    lengths: Vec<LengthUnit>,
    sections: Vec<SectionUnit>,
    crs: BTreeSet<CrsId>,
    vertical: BTreeSet<Text>,
    /// For every rule, the number of its findings, and of surveys with findings.
    fired: BTreeMap<String, (usize, usize)>,
    /// How far limits would have to be moved for no findings.
    extremes: Extremes,
    surveys: usize,
    runs: usize,
    /// How many runs have a video.
    shown: usize,
}

/// What was seen in the rows.
#[derive(Debug, Default)]
struct Seen {
    /// For every table, the number of rows.
    rows: Vec<usize>,
    /// For every field, the number of rows that have it.
    there: Vec<Vec<usize>>,
    now: Vec<FxHashSet<usize>>,
    ids: FxHashMap<Slot, Ids>,
    words: FxHashMap<Slot, Words>,
}

impl Visitor for Seen {
    fn field(&mut self, slot: Slot, value: Value<'_>) {
        self.now[slot.table].insert(slot.field);
        let Value::Text(text) = value else { return };
        if let Some(ids) = self.ids.get_mut(&slot) {
            ids.add(text);
        }
        if let Some(words) = self.words.get_mut(&slot) {
            words.add(text);
        }
    }

    fn row(&mut self, table: usize, _: &[usize]) {
        self.rows[table] += 1;
        for field in self.now[table].drain() {
            self.there[table][field] += 1;
        }
    }
}

/// A field of the format, with its path.
struct Place {
    table: Vec<String>,
    keys: Vec<String>,
    field: &'static Field,
}

/// Every field of the format that can be demanded.
fn places(object: &'static ObjectShape, table: &[String], keys: &[String], found: &mut Vec<Place>) {
    for field in &object.fields {
        let skipped = field.name.starts_with('$') || field.shape == Shape::Extensions;
        if skipped {
            continue;
        }
        let keys = [keys, std::slice::from_ref(&field.name)].concat();
        // Runs are read one at a time.
        if !(table.is_empty() && keys == ["runs"]) {
            found.push(Place { table: table.to_vec(), keys: keys.clone(), field });
        }
        match &field.shape {
            Shape::Object(name) => places(shape::object(name), table, &keys, found),
            Shape::List(item) => {
                if let Shape::Object(name) = &**item {
                    places(shape::object(name), &[table, &keys].concat(), &[], found);
                }
            }
            _ => {}
        }
    }
}

fn path(table: &[String], keys: &[String]) -> String {
    [table, keys].concat().join(".")
}

impl Draft {
    /// Begins a draft.
    ///
    /// # Errors
    /// If the settings for the check cannot be used.
    pub fn new(settings: DraftSettings) -> Result<Self, DraftError> {
        let mut check = settings.check.clone();
        // A draft starts from the catalogue.
        (check.profile, check.keep) = (None, 1);
        let checker = Checker::new(check)?;
        let mut plan = Plan::default();
        let mut all = Vec::new();
        places(shape::document(), &[], &[], &mut all);
        let mut seen = Seen::default();
        for place in &all {
            let slot = plan.want(&place.table, &place.keys);
            if IDS.contains(&path(&place.table, &place.keys).as_str()) {
                seen.ids.insert(slot, Ids::default());
            }
            if vocabulary(place.field).is_some() {
                seen.words.insert(slot, Words::default());
            }
        }
        let tables = plan.tables();
        seen.rows = vec![0; tables];
        seen.there = (0..tables).map(|table| vec![0; plan.fields(table)]).collect();
        seen.now = vec![FxHashSet::default(); tables];
        Ok(Self {
            settings,
            checker,
            plan,
            seen,
            lists: BTreeSet::new(),
            schemes: BTreeSet::new(),
            lengths: Vec::new(),
            sections: Vec::new(),
            crs: BTreeSet::new(),
            vertical: BTreeSet::new(),
            fired: BTreeMap::new(),
            extremes: Extremes::default(),
            surveys: 0,
            runs: 0,
            shown: 0,
        })
    }

    /// Adds an accepted survey.
    ///
    /// # Errors
    /// If it has structural problems, which no profile can allow.
    pub fn add(&mut self, document: &Document) -> Result<(), DraftError> {
        let report = self.checker.check_document(document);
        let structural = |rule: &str| ProblemKind::ALL.iter().any(|kind| kind.as_str() == rule);
        if let Some(finding) = report.findings.iter().find(|finding| structural(&finding.rule)) {
            return Err(DraftError::Structure {
                pointer: finding.subject.path.clone(),
                message: finding.message.clone(),
            });
        }
        for rule in report.rules.iter().filter(|rule| rule.severity > Severity::Note) {
            let (times, surveys) = self.fired.entry(rule.rule.clone()).or_default();
            *times += rule.total;
            *surveys += 1;
            self.extremes.add(&rule.rule, document, &self.settings.check);
        }
        self.surveys += 1;
        let head = &document.head;
        self.lists.insert((head.coding.list.clone(), head.coding.version.clone()));
        self.schemes.extend(
            head.grading.iter().map(|grading| (grading.scheme.clone(), grading.version.clone())),
        );
        once(&mut self.lengths, head.units.length);
        once(&mut self.sections, head.units.section);
        self.crs.extend(head.crs.clone());
        self.vertical.extend(head.vertical.clone());
        self.plan.head(head, &mut self.seen);
        for (index, run) in document.runs.iter().enumerate() {
            self.plan.run(run, index, &mut self.seen);
        }
        self.videos(document);
        Ok(())
    }

    fn videos(&mut self, document: &Document) {
        let mut of_run: FxHashMap<&str, MediaKinds> = FxHashMap::default();
        let mut by_id = FxHashMap::default();
        for media in &document.head.media {
            by_id.insert(media.id.as_str(), media);
            if let Some(run) = &media.run {
                of_run.entry(run).or_default().add(media);
            }
        }
        let shown = |run: &&Run| {
            let mut kinds = of_run.get(run.id.as_str()).copied().unwrap_or_default();
            let named = run.observations.iter().flat_map(|row| &row.media);
            named
                .filter_map(|named| by_id.get(named.id.as_str()))
                .for_each(|media| kinds.add(media));
            kinds.has_one(&VIDEOS)
        };
        self.runs += document.runs.len();
        self.shown += document.runs.iter().filter(shown).count();
    }

    /// The profile.
    ///
    /// # Errors
    /// If no survey was added.
    pub fn finish(self) -> Result<Profile, DraftError> {
        if self.surveys == 0 {
            return Err(DraftError::Nothing);
        }
        let surveys = count(self.surveys, "survey");
        let description = format!(
            "Drafted from {surveys} taken for accepted. Read every demand before you use it: what was so there need not be what \
             you ask for. Each says in its basis what it rests on."
        );
        let many = self.runs >= self.settings.least_rows && self.shown == self.runs;
        let media = many.then(|| {
            let mut media = MediaDemand::new(MediaOf::Run).with_kinds(VIDEOS.iter().copied());
            media.basis = text(&format!("all {} have one", count(self.runs, "run")));
            media
        });
        let (Some(version), Some(title)) =
            (text("draft"), text(&format!("Drafted from {surveys}")))
        else {
            return Err(DraftError::Nothing);
        };
        let mut profile = Profile::new(self.settings.id.clone(), version, title)
            .with_allow(self.allowed(&surveys))
            .with_rules(self.rules())
            .with_fields(self.fields())
            .with_media(media);
        profile.description = text(&description);
        Ok(profile)
    }

    fn allowed(&self, surveys: &str) -> Allowed {
        let lists = self.lists.iter().cloned();
        let schemes = self.schemes.iter().cloned();
        let mut allowed = Allowed::new()
            .with_code_lists(
                lists.map(|(list, version)| AllowedList::new(list).with_version(version)),
            )
            .with_grade_schemes(
                schemes.map(|(scheme, version)| AllowedScheme::new(scheme).with_version(version)),
            )
            .with_length_units(self.lengths.iter().copied())
            .with_section_units(self.sections.iter().copied())
            .with_crs(self.crs.iter().cloned())
            .with_vertical(self.vertical.iter().cloned());
        allowed.basis = text(&format!("what {surveys} declared"));
        allowed
    }

    fn rules(&self) -> Vec<RuleSetting> {
        let setting = |(rule, (times, surveys)): (&String, &(usize, usize))| {
            let fired = format!(
                "fired {} in {surveys} of {}, which were accepted all the same",
                count(*times, "time"),
                count(self.surveys, "survey")
            );
            let limit = self.extremes.drafted(rule).and_then(|drafted| {
                let Drafted { name, unit, value, extreme, up } = drafted;
                let (way, margin) = if up { ("up", "added") } else { ("down", "taken off") };
                let extreme = tidy(extreme);
                let said = format!(
                    "{fired}; they went {way} to about {extreme} {unit}, and a tenth is {margin}"
                );
                Some((LimitSetting::new(text(name)?, Amount::new(value).ok()?), said))
            });
            let mut setting = RuleSetting::new(text(rule)?);
            (setting.limits, setting.severity, setting.basis) = match limit {
                Some((limit, said)) => (vec![limit], None, text(&said)),
                None => (Vec::new(), Some(Weight::Note), text(&fired)),
            };
            Some(setting)
        };
        self.fired.iter().filter_map(setting).collect()
    }

    fn fields(&self) -> Vec<FieldDemand> {
        let mut all = Vec::new();
        places(shape::document(), &[], &[], &mut all);
        let mut plan = self.plan.clone();
        let mut demands = Vec::new();
        let mut required: FxHashSet<String> = FxHashSet::default();
        for place in &all {
            let slot = plan.want(&place.table, &place.keys);
            let rows = self.seen.rows[slot.table];
            let least = if place.table.is_empty() {
                self.settings.least_surveys
            } else {
                self.settings.least_rows
            };
            let name = path(&place.table, &place.keys);
            let (last, above) = place
                .keys
                .split_last()
                .map_or(("", &[][..]), |(last, above)| (last.as_str(), above));
            // A field that its object always has is demanded with the object.
            let implied = place.field.required
                && (above.is_empty() || required.contains(&path(&place.table, above)));
            let everywhere = rows >= least && self.seen.there[slot.table][slot.field] == rows;
            let demanded = everywhere && !implied && !last.ends_with("_text");
            if everywhere {
                required.insert(name.clone());
            }
            let ids = self.seen.ids.get(&slot).filter(|ids| ids.count() >= least);
            let pattern = ids.and_then(|ids| Some((ids, Pattern::new(&ids.pattern()?).ok()?)));
            let words = self.seen.words.get(&slot).filter(|words| words.count() >= least);
            let allowed = words
                .and_then(|words| Some((words.count(), words.allowed(vocabulary(place.field)?)?)));
            if !demanded && pattern.is_none() && allowed.is_none() {
                continue;
            }
            let there = demanded.then(|| match place.table.is_empty() {
                true => format!("in all {}", count(rows, "survey")),
                false => format!("in all {} of {}", count(rows, "row"), place.table.join(".")),
            });
            let formed = pattern
                .as_ref()
                .map(|(ids, _)| format!("all {} have the pattern", count(ids.count(), "text")));
            let among = allowed.as_ref().map(|(times, words)| match words.len() {
                1 => format!("all {} are this word", count(*times, "value")),
                several => {
                    format!("all {} are among these {several} words", count(*times, "value"))
                }
            });
            let basis: Vec<String> = there.into_iter().chain(formed).chain(among).collect();
            let values = allowed
                .iter()
                .flat_map(|(_, words)| words)
                .filter_map(|word| Some(Scalar::Text(text(word)?)));

            let Ok(path) = FieldPath::new(&name) else { continue };
            let mut demand = FieldDemand::new(path).with_values(values);
            demand.demand = demanded.then_some(Demand::Required);
            demand.pattern = pattern.map(|(_, pattern)| pattern);
            demand.basis = text(&basis.join("; "));
            demands.push(demand);
        }
        demands
    }
}

/// How many words the format has for a field; `None` if it is not a word.
fn vocabulary(field: &Field) -> Option<usize> {
    match &field.shape {
        Shape::Word(words) => Some(words.len()),
        Shape::List(item) => match &**item {
            Shape::Word(words) => Some(words.len()),
            _ => None,
        },
        _ => None,
    }
}

fn once<T: PartialEq>(all: &mut Vec<T>, one: T) {
    if !all.contains(&one) {
        all.push(one);
    }
}

fn count(number: usize, word: &str) -> String {
    format!("{number} {word}{}", if number == 1 { "" } else { "s" })
}

fn text(text: &str) -> Option<Text> {
    Text::new(text).ok()
}
