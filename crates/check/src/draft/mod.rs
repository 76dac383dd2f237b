//! Drafts a profile from surveys that an office has accepted: what all of them have in common is
//! probably demanded. Every demand states its basis, so that a person can delete what is chance.
//!
//! A drafted profile accepts the surveys that it was drafted from. A limit is moved if they exceed
//! it, but never tightened: a few surveys show what happened, not what is demanded. Suppressions are
//! not drafted, since a person must decide to accept a fault.

mod fields;
mod ids;
mod limits;
mod values;

use std::collections::{BTreeMap, BTreeSet};

use obvert_model::number::Amount;
use obvert_model::probe::Plan;
use obvert_model::profile::{
    Allowed, AllowedList, AllowedScheme, LimitSetting, MediaDemand, MediaOf, Profile, RuleSetting,
    Weight,
};
use obvert_model::tables::{Document, LengthUnit, MediaKind, Run, SectionUnit};
use obvert_model::text::{CrsId, Text};
use rustc_hash::FxHashMap;

use crate::checker::Checker;
use crate::finding::Severity;
use crate::grading::tidy;
use crate::profile::MediaKinds;
use crate::report::is_structural;
use crate::settings::{Settings, SettingsError};
use fields::Statistics;
use limits::{Drafted, Extremes};

/// The kinds of video.
const VIDEOS: [MediaKind; 2] = [MediaKind::Video, MediaKind::IntervalVideo];

/// The settings of a draft.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct DraftSettings {
    /// The profile's id.
    pub id: Text,
    /// The least number of rows in a table for a demand on them; 10 by default.
    pub least_rows: usize,
    /// The least number of surveys for a demand on a value that each survey has once; 3 by default.
    pub least_surveys: usize,
    /// The settings for checking the surveys: the available lists, and the date of today.
    pub check: Settings,
}

impl DraftSettings {
    /// Settings for a draft with an id.
    #[must_use]
    pub fn new(id: Text) -> Self {
        Self { id, least_rows: 10, least_surveys: 3, check: Settings::default() }
    }

    /// Sets the least number of rows for a demand on them.
    #[must_use]
    pub fn with_least_rows(self, least_rows: usize) -> Self {
        Self { least_rows, ..self }
    }

    /// Sets the least number of surveys for a demand on a value that each survey has once.
    #[must_use]
    pub fn with_least_surveys(self, least_surveys: usize) -> Self {
        Self { least_surveys, ..self }
    }

    /// Sets how the surveys are checked.
    #[must_use]
    pub fn with_check(self, check: Settings) -> Self {
        Self { check, ..self }
    }
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
        "the document has structural problems, the first at {pointer}: {message}; draft from accepted surveys"
    )]
    Structure {
        /// The pointer of the first problem.
        pointer: String,
        /// Its message.
        message: String,
    },
    /// There is no survey to draft from.
    #[error("there is no survey to draft from")]
    Nothing,
}

/// A profile that is being drafted.
///
/// ```
/// use obvert_check::{Draft, DraftSettings, MINIMAL};
/// use obvert_model::read::document;
///
/// let settings = DraftSettings::new("larkmoor".parse()?).with_least_rows(2).with_least_surveys(1);
/// let mut draft = Draft::new(settings)?;
/// draft.add(&document(MINIMAL.as_bytes())?)?;
/// let profile = draft.finish()?;
/// assert!(profile.fields.iter().any(|demand| demand.path.to_string() == "pipes.material"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct Draft {
    settings: DraftSettings,
    checker: Checker,
    plan: Plan,
    statistics: Statistics,
    lists: BTreeSet<(Text, Text)>,
    schemes: BTreeSet<(Text, Text)>,
    lengths: Vec<LengthUnit>,
    sections: Vec<SectionUnit>,
    crs: BTreeSet<CrsId>,
    vertical: BTreeSet<Text>,
    /// For every rule, the number of its findings, and of surveys with findings.
    fired: BTreeMap<String, (usize, usize)>,
    /// How far limits must be moved so that their rules have no findings.
    extremes: Extremes,
    surveys: usize,
    runs: usize,
    /// How many runs have a video.
    runs_with_video: usize,
}

impl Draft {
    /// Starts a draft.
    ///
    /// # Errors
    /// If the settings for the check cannot be used.
    pub fn new(settings: DraftSettings) -> Result<Self, DraftError> {
        let mut check = settings.check.clone();
        // A draft starts from the catalogue.
        (check.profile, check.keep) = (None, 1);
        let checker = Checker::new(check)?;
        let mut plan = Plan::default();
        let statistics = Statistics::new(&mut plan);
        Ok(Self {
            settings,
            checker,
            plan,
            statistics,
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
            runs_with_video: 0,
        })
    }

    /// Adds an accepted survey.
    ///
    /// # Errors
    /// If it has structural problems, which no profile can allow.
    pub fn add(&mut self, document: &Document) -> Result<(), DraftError> {
        let report = self.checker.check_document(document);
        if let Some(finding) = report.findings.iter().find(|finding| is_structural(&finding.rule)) {
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
        push_new(&mut self.lengths, head.units.length);
        push_new(&mut self.sections, head.units.section);
        self.crs.extend(head.crs.clone());
        self.vertical.extend(head.vertical.clone());
        self.plan.head(head, &mut self.statistics);
        for (index, run) in document.runs.iter().enumerate() {
            self.plan.run(run, index, &mut self.statistics);
        }
        self.count_videos(document);
        Ok(())
    }

    fn count_videos(&mut self, document: &Document) {
        let mut of_run: FxHashMap<&str, MediaKinds> = FxHashMap::default();
        let mut by_id = FxHashMap::default();
        for media in &document.head.media {
            by_id.insert(media.id.as_str(), media);
            if let Some(run) = &media.run {
                of_run.entry(run).or_default().add(media);
            }
        }
        let has_video = |run: &&Run| {
            let mut kinds = of_run.get(run.id.as_str()).copied().unwrap_or_default();
            let named = run.observations.iter().flat_map(|row| &row.media);
            named
                .filter_map(|named| by_id.get(named.id.as_str()))
                .for_each(|media| kinds.add(media));
            kinds.has_one(&VIDEOS)
        };
        self.runs += document.runs.len();
        self.runs_with_video += document.runs.iter().filter(has_video).count();
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
            "Drafted from {surveys}, assumed to be accepted. Review every demand before use: what these surveys have \
             is not always what you require. The basis of each demand states what it was concluded from."
        );
        let all_have_video =
            self.runs >= self.settings.least_rows && self.runs_with_video == self.runs;
        let media = all_have_video.then(|| {
            let mut media = MediaDemand::new(MediaOf::Run).with_kinds(VIDEOS.iter().copied());
            media.basis = text(&format!("all {} have a video", count(self.runs, "run")));
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
            .with_fields(self.field_demands())
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
                "{} in {surveys} of {}, which were accepted",
                count(*times, "finding"),
                count(self.surveys, "survey")
            );
            let limit = self.extremes.drafted(rule).and_then(|drafted| {
                let Drafted { name, unit, value, extreme, up } = drafted;
                let (most, margin) = if up { ("up to", "plus") } else { ("down to", "minus") };
                let extreme = tidy(extreme);
                let basis =
                    format!("{fired}; values {most} about {extreme} {unit}, {margin} a tenth");
                Some((LimitSetting::new(text(name)?, Amount::new(value).ok()?), basis))
            });
            let mut setting = RuleSetting::new(text(rule)?);
            (setting.limits, setting.severity, setting.basis) = match limit {
                Some((limit, basis)) => (vec![limit], None, text(&basis)),
                None => (Vec::new(), Some(Weight::Note), text(&fired)),
            };
            Some(setting)
        };
        self.fired.iter().filter_map(setting).collect()
    }
}

/// Appends a value if the list does not have it.
fn push_new<T: PartialEq>(all: &mut Vec<T>, value: T) {
    if !all.contains(&value) {
        all.push(value);
    }
}

fn count(number: usize, word: &str) -> String {
    format!("{number} {word}{}", if number == 1 { "" } else { "s" })
}

fn text(text: &str) -> Option<Text> {
    Text::new(text).ok()
}
