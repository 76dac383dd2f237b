//! The walk: once over the document, each record handed to every rule of its scope.

use std::collections::{BTreeMap, BTreeSet};

use obvert_model::lists::{CodeList, GradeScheme};
use obvert_model::read::{self, ProblemKind, ReadError, Reader, RunReader};
use obvert_model::tables::{Aspect, Document, Head};

use crate::catalogue::near;
use crate::finding::{Finding, Severity};
use crate::grading::GradeTotals;
use crate::pipeline::{Borrowed, Pulled, RunSource, on_two_threads};
use crate::profile::{Demands, Held, suppressed};
use crate::report::{self, NotRun, Report};
use crate::rule::{Check, Need, Rule};
use crate::settings::{Settings, SettingsError};
use crate::sink::{Found, Sink};
use crate::views::{Ending, Facts, NO_RUN, Part, RatingView, RowView, RunSummary, RunView, Survey};

/// A set of rules with their severities and limits, ready to check documents.
#[derive(Debug)]
pub struct Checker {
    settings: Settings,
    demands: Option<Demands>,
    active: Vec<Active>,
}

/// Why no rule was run on what is no document.
pub(crate) const WITHOUT_STRUCTURE: &str = "the document does not have the structure of the format; correct that first";

/// A rule that is run, as the settings have it.
#[derive(Clone, Debug)]
struct Active {
    rule: &'static Rule,
    severity: Severity,
    limits: Vec<f64>,
    held: Vec<Held>,
}

impl Checker {
    /// Prepares a check.
    ///
    /// # Errors
    /// When the settings name a rule or a limit that does not exist, or the profile does not make sense.
    pub fn new(mut settings: Settings) -> Result<Self, SettingsError> {
        for rule in &settings.rules {
            if let Some(why) = settings.problem_of(rule) {
                return Err(SettingsError::OwnRule { name: rule.name.to_owned(), why });
            }
        }
        for name in settings.severities.keys() {
            settings.rule(name)?;
        }
        for ((name, limit), value) in &settings.limits {
            let rule = settings.rule(name)?;
            if let Some(known) = rule.limits.iter().find(|known| known.name == limit) {
                if !value.is_finite() || *value < 0.0 {
                    let (rule, name) = (name.clone(), limit.clone());
                    return Err(SettingsError::LimitValue { rule, name, value: *value, unit: known.unit });
                }
            } else {
                let has: Vec<&str> = rule.limits.iter().map(|limit| limit.name).collect();
                let has = if has.is_empty() { "none".to_owned() } else { has.join(", ") };
                return Err(SettingsError::Limit { rule: name.clone(), name: limit.clone(), has });
            }
        }
        let demands = settings.profile.take().map(|profile| Demands::new(profile, &mut settings)).transpose()?;
        let active = settings.all_rules().filter_map(|rule| {
            let severity = settings.severities.get(rule.name).copied().unwrap_or(Some(rule.severity))?;
            let set = |name: &str| settings.limits.get(&(rule.name.to_owned(), name.to_owned())).copied();
            let limits = rule.limits.iter().map(|limit| set(limit.name).unwrap_or(limit.default)).collect();
            let held = demands.as_ref().map(|demands| demands.held_of(rule.name)).unwrap_or_default();
            Some(Active { rule, severity, limits, held })
        });
        let active = active.collect();
        Ok(Self { active, settings, demands })
    }

    /// Checks a JSON document, run by run: no more than the head and one run is held at a time.
    ///
    /// A document that is JSON but violates the structure of the format is diagnosed. The report then has those problems, and what
    /// the rules find in the rest: see [`check_value`](Self::check_value).
    ///
    /// # Errors
    /// When the source is not JSON.
    pub fn check(&self, source: &[u8]) -> Result<Report, ReadError> {
        if let Ok(mut reader) = Reader::new(source) {
            let (mut report, error) = self.walk_reader(&mut reader);
            let Some(error) = error else { return Ok(report) };
            // Ids that repeat leave every row readable, so what the rules found still holds.
            let problems = error.problems();
            if !problems.is_empty() && problems.iter().all(|problem| problem.kind == ProblemKind::DuplicateId) {
                self.add_structural(&mut report, problems);
                return Ok(report);
            }
        }
        Ok(self.check_value(read::diagnose(source)?))
    }

    /// Checks a survey of any format, run by run.
    ///
    /// ```
    /// use obvert_check::{Checker, MINIMAL, Settings};
    /// use obvert_model::read::{Reader, RunReader};
    ///
    /// let checker = Checker::new(Settings::default())?;
    /// let report = checker.check_reader(&mut Reader::new(MINIMAL.as_bytes())?)?;
    /// assert_eq!(report, checker.check(MINIMAL.as_bytes())?);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// When the survey is not valid. Its reader's format can diagnose it, and [`check_value`](Self::check_value) then checks what
    /// is readable.
    pub fn check_reader<R: RunReader + ?Sized>(&self, reader: &mut R) -> Result<Report, R::Error> {
        let (report, error) = self.walk_reader(reader);
        error.map_or(Ok(report), Err)
    }

    /// Checks a document that is in memory.
    #[must_use]
    pub fn check_document(&self, document: &Document) -> Report {
        let mut report = self.walk(&document.head, &mut Borrowed(document.runs.iter()), &BTreeSet::new());
        self.add_structural(&mut report, &read::twice(document));
        report
    }

    /// A report of structural problems alone, for a source that another reader found them in. It says that no rule was
    /// run.
    #[must_use]
    pub fn report_structure(&self, problems: &[obvert_model::read::Problem]) -> Report {
        let mut report = self.without_rules(WITHOUT_STRUCTURE);
        self.add_structural(&mut report, problems);
        report
    }

    fn empty(&self) -> Report {
        self.report_of(report::Document::default())
    }

    pub(crate) fn report_of(&self, document: report::Document) -> Report {
        Report::new(document, &self.settings, self.demands.as_ref().map(|demands| demands.stamp.clone()))
    }

    /// A report that says only that a file could not be read.
    #[must_use]
    pub fn unread(&self, file: &str, error: &str) -> Report {
        self.report_of(report::Document {
            file: Some(file.to_owned()),
            error: Some(error.to_owned()),
            ..report::Document::default()
        })
    }

    pub(crate) fn without_rules(&self, why: &str) -> Report {
        let mut report = self.empty();
        report.not_run.push(NotRun {
            why: why.to_owned(),
            rules: self.active.iter().map(|active| active.rule.name.to_owned()).collect(),
            documents: vec![0],
        });
        report
    }

    fn add_structural(&self, report: &mut Report, problems: &[obvert_model::read::Problem]) {
        self.add_found(report, problems.iter().map(report::structural).collect());
    }

    /// Adds the findings of structural problems.
    pub(crate) fn add_found(&self, report: &mut Report, structural: Vec<Finding>) {
        let mut by_kind: BTreeMap<String, Vec<Finding>> = BTreeMap::new();
        for finding in structural {
            by_kind.entry(finding.rule.to_string()).or_default().push(finding);
        }
        for (kind, mut findings) in by_kind {
            let total = findings.len();
            findings.truncate(self.settings.keep);
            report.add_found(&kind, Severity::Error, total, findings);
        }
        report.sort();
    }

    /// The same checker, but every finding is kept.
    pub(crate) fn keeping_all(&self) -> Self {
        let settings = Settings { keep: usize::MAX, ..self.settings.clone() };
        Self { settings, demands: self.demands.clone(), active: self.active.clone() }
    }

    /// The rules that are not turned off.
    pub(crate) fn rules(&self) -> impl Iterator<Item = &'static Rule> + '_ {
        self.active.iter().map(|active| active.rule)
    }

    /// The rule of a name, in the catalogue or of your own, as for [`Rule::documentation`].
    #[must_use]
    pub fn rule(&self, name: &str) -> Option<&'static Rule> {
        self.settings.rule(name).ok()
    }

    /// The name nearest to one that no rule has.
    pub(crate) fn nearest_rule(&self, name: &str) -> Option<String> {
        near(name, self.settings.all_rules().map(|rule| rule.name))
    }

    /// How many findings of one rule are kept.
    pub(crate) fn keep(&self) -> usize {
        self.settings.keep
    }

    pub(crate) fn list_for(&self, head: &Head) -> Option<&CodeList> {
        let (id, version) = (&head.coding.list, &head.coding.version);
        self.settings
            .code_lists
            .iter()
            .find(|list| list.id == *id && list.version == *version)
            .or_else(|| CodeList::built_in(id, version))
    }

    /// The code list that a scheme grades, where it is at hand.
    pub(crate) fn list_graded(&self, scheme: &GradeScheme) -> Option<&CodeList> {
        let (id, version) = (&scheme.code_list.list, &scheme.code_list.version);
        let own = self.settings.code_lists.iter().find(|list| list.id == *id && list.version == *version);
        own.or_else(|| CodeList::built_in(id, version))
    }

    pub(crate) fn scheme_for(&self, head: &Head) -> Option<&GradeScheme> {
        let grading = head.grading.as_ref()?;
        self.settings
            .grade_schemes
            .iter()
            .find(|scheme| scheme.id == grading.scheme && scheme.version == grading.version)
            .or_else(|| GradeScheme::built_in(&grading.scheme, &grading.version))
    }

    /// The versions at hand of the list and of the scheme that a document names, where it names another version.
    fn versions_for(&self, head: &Head, survey: &Survey<'_>) -> (Vec<&str>, Vec<&str>) {
        let lists = self.settings.code_lists.iter().chain(CodeList::built_ins());
        let lists = lists.filter(|list| survey.list.is_none() && list.id == head.coding.list);
        let schemes = self.settings.grade_schemes.iter().chain([GradeScheme::obvert_grades()]);
        let named = head.grading.as_ref().filter(|_| survey.scheme.is_none());
        let schemes = schemes.filter(|scheme| named.is_some_and(|grading| scheme.id == grading.scheme));
        (lists.map(|list| list.version.as_str()).collect(), schemes.map(|scheme| scheme.version.as_str()).collect())
    }

    /// The walk over what a reader gives, and the error that ended it; on a thread of its own if the settings allow it.
    fn walk_reader<R: RunReader + ?Sized>(&self, reader: &mut R) -> (Report, Option<R::Error>) {
        let head = reader.share_head();
        let mut runs = Pulled::new(reader);
        let walk = |runs: &mut dyn RunSource| self.walk(&head, runs, &BTreeSet::new());
        let report = if self.settings.read_ahead { on_two_threads(&mut runs, walk) } else { walk(&mut runs) };
        (report, runs.into_error())
    }

    /// The walk: every record is given to every rule of its scope. `beside` names pipes that other findings will concern.
    pub(crate) fn walk(&self, head: &Head, runs: &mut dyn RunSource, beside: &BTreeSet<String>) -> Report {
        let list = self.list_for(head);
        let (today, demands) = (self.settings.today.as_ref(), self.demands.as_ref());
        let scheme = self.scheme_for(head);
        let graded = scheme.and_then(|scheme| self.list_graded(scheme));
        let mut survey = Survey::new(head, today, list, scheme, demands, graded);
        (survey.list_versions, survey.scheme_versions) = self.versions_for(head, &survey);
        let mut walk = Walk::new(self, &survey);

        walk.each(
            |check| matches!(check, Check::Document(_)),
            |check, sink| {
                if let Check::Document(rule) = check {
                    rule(&survey, sink);
                }
            },
        );
        for view in survey.structures() {
            walk.structure(&view);
        }
        for view in survey.pipes() {
            walk.pipe(&view);
        }
        for view in survey.all_media() {
            walk.media(&view);
        }
        walk.throughout(&Part::Head(&survey));
        let mut summaries = Vec::new();
        let mut shown_by = vec![NO_RUN; head.media.len()];
        let mut observations = 0;
        let mut facts = Facts::default();
        while let Some(mut run) = runs.next_run() {
            let index = summaries.len();
            facts.gather(&survey, &run, index);
            let view = facts.view(&survey, &run, index);
            walk.throughout(&Part::Run(&view));
            walk.run(&view);
            walk.rows(&view);
            let mut tallies = [GradeTotals::default(), GradeTotals::default()];
            let mut graded = 0;
            for row in view.rows() {
                graded += usize::from(row.row.grades.is_some());
                tally(&row, &mut tallies);
            }
            if let Some(grader) = &survey.grader {
                tallies.iter_mut().for_each(|tally| tally.end_run(grader.scheme));
            }
            let corrected = survey
                .grader
                .as_ref()
                .and_then(|grader| crate::support::corrected_grades::corrected_totals(&view, grader.scheme));
            for index in view.media.iter().flatten() {
                let shown = &mut shown_by[*index];
                if *shown == NO_RUN || head.media[*index].run.as_ref() == Some(&run.id) {
                    *shown = u32::try_from(summaries.len()).unwrap_or(NO_RUN);
                }
            }
            observations += run.observations.len();
            let (travelled, marks) = (view.travelled(), view.marks());
            let [structural, operational] = tallies;
            let rows = std::mem::take(&mut run.observations);
            let count = rows.len();
            runs.recycle(rows);
            run.equipment.shrink_to_fit();
            summaries.push(RunSummary {
                index,
                run,
                observations: count,
                graded,
                travelled,
                marks,
                structural,
                operational,
                corrected,
            });
        }
        let ending = Ending::new(&survey, &summaries, &shown_by);
        for view in ending.locates() {
            walk.locate(&view);
        }
        for (index, rating) in head.ratings.iter().enumerate() {
            walk.rating(&RatingView { ending: &ending, rating, index });
        }
        walk.each(
            |check| matches!(check, Check::Ending(_)),
            |check, sink| {
                if let Check::Ending(rule) = check {
                    rule(&ending, sink);
                }
            },
        );
        let mut report = walk.finish(report::Document {
            id: Some(head.id.to_string()),
            length_unit: Some(head.units.length.to_string()),
            pipes: head.pipes.len(),
            runs: summaries.len(),
            observations,
            ..report::Document::default()
        });
        crate::report::describe(&mut report, &ending, beside);
        report
    }
}

/// Rolls an observation up: by its recorded grade, since that is what a rating states; by the computed one where none is recorded.
fn tally(row: &RowView<'_>, tallies: &mut [GradeTotals; 2]) {
    let survey = row.survey();
    let Some(grader) = &survey.grader else { return };
    if row.row.grades.is_none() && row.facts.entries.is_none() {
        return;
    }
    let grade_extent = row.grade_extent();
    for (aspect, tally) in [Aspect::Structural, Aspect::Operational].into_iter().zip(tallies) {
        if let Some(grade) = row.recorded(aspect).or_else(|| row.graded(aspect)) {
            tally.add(grade, grade_extent, grader.scheme);
        }
    }
}

struct Walk<'c> {
    checker: &'c Checker,
    /// Rules that run, by scope: where the rule is among the active ones, and its function.
    structure: Vec<(usize, crate::rule::StructureRule)>,
    pipe: Vec<(usize, crate::rule::PipeRule)>,
    media: Vec<(usize, crate::rule::MediaRule)>,
    run: Vec<(usize, crate::rule::RunRule)>,
    row: Vec<(usize, crate::rule::RowRule)>,
    throughout: Vec<(usize, crate::rule::ThroughoutRule)>,
    locate: Vec<(usize, crate::rule::LocateRule)>,
    rating: Vec<(usize, crate::rule::RatingRule)>,
    once: Vec<usize>,
    found: Vec<Found>,
    not_run: BTreeMap<String, Vec<String>>,
    idle: BTreeMap<&'static str, Vec<String>>,
}

macro_rules! scoped {
    ($($method:ident: $view:ident),+) => { $(
        fn $method(&mut self, view: &crate::views::$view<'_>) {
            for (index, rule) in &self.$method {
                rule(view, &mut sink(&self.checker.active[*index], self.checker.settings.keep, &mut self.found[*index]));
            }
        }
    )+ };
}

fn sink<'s>(active: &'s Active, keep: usize, found: &'s mut Found) -> Sink<'s> {
    Sink { rule: active.rule, severity: active.severity, limits: &active.limits, keep, held: &active.held, found }
}

impl<'c> Walk<'c> {
    scoped!(structure: StructureView, pipe: PipeView, media: MediaView, run: RunView, throughout: Part, locate: LocateView, rating: RatingView);

    fn new(checker: &'c Checker, survey: &Survey<'_>) -> Self {
        let mut walk = Self {
            checker,
            structure: Vec::new(),
            pipe: Vec::new(),
            media: Vec::new(),
            run: Vec::new(),
            row: Vec::new(),
            throughout: Vec::new(),
            locate: Vec::new(),
            rating: Vec::new(),
            once: Vec::new(),
            found: checker.active.iter().map(|_| Found::default()).collect(),
            not_run: BTreeMap::new(),
            idle: BTreeMap::new(),
        };
        for (index, active) in checker.active.iter().enumerate() {
            if let Some((need, why)) = active.rule.needs.iter().find_map(|need| Some((*need, missing(*need, survey)?)))
            {
                let name = active.rule.name.to_owned();
                match why.is_empty() {
                    true => walk.idle.entry(need.absent()).or_default().push(name),
                    false => walk.not_run.entry(why).or_default().push(name),
                }
                continue;
            }
            match active.rule.check {
                Check::Document(_) | Check::Ending(_) => walk.once.push(index),
                Check::Structure(rule) => walk.structure.push((index, rule)),
                Check::Pipe(rule) => walk.pipe.push((index, rule)),
                Check::Media(rule) => walk.media.push((index, rule)),
                Check::Run(rule) => walk.run.push((index, rule)),
                Check::Observation(rule) => walk.row.push((index, rule)),
                Check::Throughout(rule) => walk.throughout.push((index, rule)),
                Check::Locate(rule) => walk.locate.push((index, rule)),
                Check::Rating(rule) => walk.rating.push((index, rule)),
            }
        }
        walk
    }

    /// Every rule of an observation, over the observations of a run: a rule's function and its limits are then at hand
    /// for all of them.
    fn rows(&mut self, view: &RunView<'_>) {
        let rows: Vec<RowView<'_>> = view.rows().collect();
        for (index, rule) in &self.row {
            let mut sink = sink(&self.checker.active[*index], self.checker.settings.keep, &mut self.found[*index]);
            for row in &rows {
                rule(row, &mut sink);
            }
        }
    }

    fn each(&mut self, of: impl Fn(&Check) -> bool, call: impl Fn(&Check, &mut Sink<'_>)) {
        for index in &self.once {
            let active = &self.checker.active[*index];
            if of(&active.rule.check) {
                call(&active.rule.check, &mut sink(active, self.checker.settings.keep, &mut self.found[*index]));
            }
        }
    }

    fn finish(self, document: report::Document) -> Report {
        let mut report = self.checker.report_of(document);
        for (active, mut found) in self.checker.active.iter().zip(self.found) {
            sink(active, self.checker.settings.keep, &mut found).settle();
            report.add_found(active.rule.name, active.severity, found.total, found.kept);
            report.suppressed.extend(suppressed(&active.held, &found.held));
        }
        report.not_run =
            self.not_run.into_iter().map(|(why, rules)| NotRun { why, rules, documents: vec![0] }).collect();
        let idle = self.idle.into_iter();
        report.idle = idle.map(|(why, rules)| NotRun { why: why.into(), rules, documents: vec![0] }).collect();
        report.sort();
        report
    }
}

/// Why a need is not met; the empty text where nothing is missing that a reader would want to hear of.
fn missing(need: Need, survey: &Survey<'_>) -> Option<String> {
    let head = survey.head;
    match need {
        Need::Codes => survey
            .list
            .is_none()
            .then(|| format!("the code list {} {} is not at hand", head.coding.list, head.coding.version)),
        Need::Grades => survey.grader.is_none().then(|| match (&head.grading, survey.scheme, survey.list) {
            (None, ..) => String::new(),
            (Some(grading), None, _) => {
                format!("the grade scheme {} {} is not at hand", grading.scheme, grading.version)
            }
            (_, _, None) => format!("the code list {} {} is not at hand", head.coding.list, head.coding.version),
            (Some(grading), Some(scheme), Some(list)) => {
                format!(
                    "the grade scheme {} grades codes of {}, not of {}",
                    grading.scheme, scheme.code_list.list, list.id
                )
            }
        }),
        Need::Crs => survey.crs.is_none().then(|| survey.crs_error.clone().unwrap_or_default()),
        Need::Profile => survey.demands.is_none().then(String::new),
        Need::Today => survey.today.is_none().then(|| "the date of today was not given".to_owned()),
    }
}
