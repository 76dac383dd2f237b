//! The checker: rules with their severities and limits, ready to check documents.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use obvert_model::lists::{CodeList, GradeScheme};
use obvert_model::read::{self, ProblemKind, ReadError, Reader, RunReader};
use obvert_model::tables::{Document, Head};
use obvert_model::text::nearest;

use crate::files::{Audit, FileAudit, SurveyFiles};
use crate::finding::{Finding, Severity};
use crate::pipeline::{Borrowed, Pulled, RunSource, on_two_threads};
use crate::profile::{Demands, PreparedSuppression};
use crate::report::{self, CheckedDocument, DocumentInfo, NotRun, OpenedFiles, Report};
use crate::rule::{Need, Rule};
use crate::settings::{Settings, SettingsError};
use crate::sink::{Confirm, Found, Sink};
use crate::support::column_votes::ColumnVotes;
use crate::views::{Ending, Facts, RunFigures, RunSummary, ShownBy, Survey};
use crate::walk::Walk;

/// Rules with their severities and limits, ready to check documents.
///
/// Make one with [`Checker::new`] and use it for any number of documents.
#[doc(alias = "validator")]
#[doc(alias = "linter")]
#[derive(Debug)]
pub struct Checker {
    settings: Settings,
    demands: Option<Demands>,
    active: Vec<Active>,
    audit: Option<Audit>,
}

/// Why no rule was run on a source that does not have the structure of a document.
pub(crate) const WITHOUT_STRUCTURE: &str =
    "the document does not have the structure of the format; correct that first";

/// A rule that is turned on, with its severity, limits and suppressions.
#[derive(Clone, Debug)]
pub(crate) struct Active {
    pub(crate) rule: &'static Rule,
    pub(crate) severity: Severity,
    limits: Vec<f64>,
    pub(crate) suppressions: Vec<PreparedSuppression>,
}

impl Active {
    pub(crate) fn sink<'s>(
        &'s self,
        keep: usize,
        confirm: Option<Confirm<'s>>,
        found: &'s mut Found,
    ) -> Sink<'s> {
        Sink {
            rule: self.rule,
            severity: self.severity,
            limits: &self.limits,
            // Somebody looks for the files: a part of the list would be of no use.
            keep: if self.rule.needs.contains(&Need::Files) { usize::MAX } else { keep },
            suppressions: &self.suppressions,
            confirm,
            found,
        }
    }
}

/// Whether the only problems of a document are duplicate ids. Every row can still be read, so the
/// findings are valid.
fn has_duplicates_only(error: &ReadError) -> bool {
    let problems = error.problems();
    !problems.is_empty() && problems.iter().all(|problem| problem.kind == ProblemKind::DuplicateId)
}

impl Checker {
    /// Prepares a checker.
    ///
    /// # Errors
    /// If the settings name a rule or a limit that does not exist, or the profile or a rule of your
    /// own cannot be used.
    pub fn new(mut settings: Settings) -> Result<Self, SettingsError> {
        settings.validate()?;
        let demands = settings
            .profile
            .take()
            .map(|profile| Demands::new(profile, &mut settings))
            .transpose()?;
        let active = settings.all_rules().filter_map(|rule| {
            let severity =
                settings.severities.get(rule.name).copied().unwrap_or(Some(rule.severity))?;
            let set =
                |name: &str| settings.limits.get(&(rule.name.to_owned(), name.to_owned())).copied();
            let limits =
                rule.limits.iter().map(|limit| set(limit.name).unwrap_or(limit.default)).collect();
            let suppressions = demands
                .as_ref()
                .map(|demands| demands.suppressions_of(rule.name))
                .unwrap_or_default();
            Some(Active { rule, severity, limits, suppressions })
        });
        let active = active.collect();
        Ok(Self { active, settings, demands, audit: None })
    }

    /// Sets who looks at the files of the surveys that are checked from now on; without, the rules
    /// about files are not run.
    #[must_use]
    pub fn with_files(mut self, files: impl FileAudit + 'static) -> Self {
        self.set_files(Some(Arc::new(files)));
        self
    }

    /// Sets who looks at the files of the surveys that are checked from now on.
    pub fn set_files(&mut self, files: Option<Arc<dyn FileAudit>>) {
        self.audit = files.map(Audit);
    }

    /// Checks a JSON document, run by run: only the head and one run are in memory at a time.
    ///
    /// If the document violates the structure of the format, the report has the structural problems
    /// and the findings on the rest: see [`check_value`](Self::check_value).
    ///
    /// # Errors
    /// If the source is not JSON.
    #[doc(alias = "validate")]
    #[doc(alias = "lint")]
    pub fn check(&self, source: &[u8]) -> Result<Report, ReadError> {
        if let Ok(mut reader) = Reader::new(source) {
            let (mut report, error) = self.walk_reader(&mut reader, has_duplicates_only);
            let Some(error) = error else { return Ok(report) };
            if has_duplicates_only(&error) {
                self.add_structural(&mut report, error.problems());
                return Ok(report);
            }
        }
        #[cfg(feature = "diagnose")]
        return match self.check_partial(source)? {
            Some(report) => Ok(report),
            None => Ok(self.check_value(read::diagnose(source)?)),
        };
        #[cfg(not(feature = "diagnose"))]
        match read::document(source) {
            Ok(document) => Ok(self.check_document(&document)),
            Err(ReadError::Structure(problems)) => Ok(self.report_structure(&problems)),
            Err(error) => Err(error),
        }
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
    /// If the survey is not valid. Diagnose it with the format of the reader and give the diagnosis
    /// to [`check_value`](Self::check_value), which checks what is readable.
    pub fn check_reader<R: RunReader + ?Sized>(&self, reader: &mut R) -> Result<Report, R::Error> {
        let (report, error) = self.walk_reader(reader, |_| false);
        error.map_or(Ok(report), Err)
    }

    /// Checks a document that is in memory.
    #[must_use]
    pub fn check_document(&self, document: &Document) -> Report {
        let mut report =
            self.walk(&document.head, &mut Borrowed(document.runs.iter()), &BTreeSet::new(), &[]);
        self.add_structural(&mut report, &read::duplicate_ids(document));
        report
    }

    /// A report of structural problems alone, for a source that another reader diagnosed. It states
    /// that no rule was run.
    #[must_use]
    pub fn report_structure(&self, problems: &[obvert_model::read::Problem]) -> Report {
        let mut report = self.without_rules(WITHOUT_STRUCTURE);
        self.add_structural(&mut report, problems);
        report
    }

    fn empty(&self) -> Report {
        self.report_of(CheckedDocument::default())
    }

    pub(crate) fn report_of(&self, document: CheckedDocument) -> Report {
        Report::new(
            document,
            &self.settings,
            self.demands.as_ref().map(|demands| demands.identity.clone()),
        )
    }

    /// The report of a file that could not be read.
    #[must_use]
    pub fn unread(&self, file: &str, error: &str) -> Report {
        self.report_of(CheckedDocument::unread(file, error))
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

    /// The rules that are turned on.
    #[cfg(feature = "diagnose")]
    pub(crate) fn rules(&self) -> impl Iterator<Item = &'static Rule> + '_ {
        self.active.iter().map(|active| active.rule)
    }

    /// The rule of a name, from the catalogue or your own.
    #[must_use]
    pub fn rule(&self, name: &str) -> Option<&'static Rule> {
        self.settings.rule(name).ok()
    }

    /// The rule name nearest to an unknown one.
    pub(crate) fn nearest_rule(&self, name: &str) -> Option<String> {
        nearest(name, self.settings.all_rules().map(|rule| rule.name)).map(str::to_owned)
    }

    /// How many findings of one rule are listed.
    #[cfg(feature = "diagnose")]
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

    /// The code list of a grade scheme, if it is available.
    pub(crate) fn list_graded(&self, scheme: &GradeScheme) -> Option<&CodeList> {
        let (id, version) = (&scheme.code_list.list, &scheme.code_list.version);
        let own =
            self.settings.code_lists.iter().find(|list| list.id == *id && list.version == *version);
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

    /// The available versions of the document's code list and grade scheme, if its own version is
    /// not among them.
    fn versions_for(&self, head: &Head, survey: &Survey<'_>) -> (Vec<&str>, Vec<&str>) {
        let lists = self.settings.code_lists.iter().chain(CodeList::built_ins());
        let lists = lists.filter(|list| survey.list.is_none() && list.id == head.coding.list);
        let schemes = self.settings.grade_schemes.iter().chain([GradeScheme::obvert_grades()]);
        let named = head.grading.as_ref().filter(|_| survey.scheme.is_none());
        let schemes =
            schemes.filter(|scheme| named.is_some_and(|grading| scheme.id == grading.scheme));
        (
            lists.map(|list| list.version.as_str()).collect(),
            schemes.map(|scheme| scheme.version.as_str()).collect(),
        )
    }

    /// Checks the runs of a reader, on another thread if the settings allow it. Also returns the
    /// error that ended the runs.
    fn walk_reader<R: RunReader + ?Sized>(
        &self,
        reader: &mut R,
        is_harmless: fn(&R::Error) -> bool,
    ) -> (Report, Option<R::Error>) {
        let head = reader.share_head();
        let mut runs = Pulled::new(reader, is_harmless);
        let walk = |runs: &mut dyn RunSource| self.walk(&head, runs, &BTreeSet::new(), &[]);
        let report = self.on_threads(&mut runs, walk);
        (report, runs.into_error())
    }

    /// Does work with runs, which are read on another thread if the settings allow it.
    pub(crate) fn on_threads<T: Send>(
        &self,
        runs: &mut dyn RunSource,
        work: impl Fn(&mut dyn RunSource) -> T + Sync,
    ) -> T {
        if self.settings.read_ahead { on_two_threads(runs, work) } else { work(runs) }
    }

    /// Gives every record to every rule of its scope. `more_pipes` are pipes of findings that are
    /// added later; `confirm` decides, for each active rule, which of its findings are reliable.
    pub(crate) fn walk(
        &self,
        head: &Head,
        runs: &mut dyn RunSource,
        more_pipes: &BTreeSet<String>,
        confirm: &[Option<Confirm<'_>>],
    ) -> Report {
        let list = self.list_for(head);
        let (today, demands) = (self.settings.today.as_ref(), self.demands.as_ref());
        let scheme = self.scheme_for(head);
        let graded = scheme.and_then(|scheme| self.list_graded(scheme));
        let mut survey = Survey::new(head, today, list, scheme, demands, graded);
        (survey.list_versions, survey.scheme_versions) = self.versions_for(head, &survey);
        let needed = self.active.iter().any(|active| active.rule.needs.contains(&Need::Files));
        let audit = self.audit.as_ref().filter(|_| needed);
        let audited = audit.map(|audit| audit.0.audit(head));
        match audited {
            Some(Ok(files)) => survey.files = Some(SurveyFiles::new(files)),
            Some(Err(why)) => survey.files_closed = Some(why),
            None => {}
        }
        let mut walk = Walk::new(&self.active, self.settings.keep, confirm, &survey);
        walk.head(&survey);
        let mut summaries = Vec::new();
        let mut shown_by = ShownBy::new(head);
        let mut columns = ColumnVotes::default();
        let mut facts = Facts::default();
        while let Some(mut run) = runs.next_run() {
            let index = summaries.len();
            facts.gather(&survey, &run, index);
            let view = facts.view(&survey, &run, index);
            walk.run(&view);
            shown_by.add(&view);
            columns.add(&view);
            let figures = RunFigures::of(&view);
            runs.recycle(std::mem::take(&mut run.observations));
            run.equipment.shrink_to_fit();
            summaries.push(RunSummary { index, run, figures });
        }
        if runs.is_broken_off() {
            // The survey is checked again, without what cannot be read.
            return self.empty();
        }
        let ending = Ending::new(&survey, &summaries, &shown_by, &columns);
        walk.ending(&ending);
        let mut report = self.report_of(CheckedDocument {
            info: DocumentInfo {
                id: Some(head.id.to_string()),
                length_unit: Some(head.units.length.to_string()),
                ..DocumentInfo::default()
            },
            pipes: head.pipes.len(),
            runs: summaries.len(),
            observations: summaries.iter().map(|summary| summary.figures.observations).sum(),
            files: OpenedFiles::of(&survey),
            ..CheckedDocument::default()
        });
        walk.finish(&mut report);
        report::withdraw_fixes(&mut report);
        report::describe(&mut report, &ending, more_pipes);
        report
    }
}
