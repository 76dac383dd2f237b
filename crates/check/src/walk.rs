//! One pass over a survey that gives each record to every rule of its scope.

use std::collections::BTreeMap;

use crate::checker::Active;
use crate::profile::suppressed;
use crate::report::{NotRun, Report};
use crate::rule::{self, Check, Need};
use crate::sink::{Confirm, Found};
use crate::support::column_votes::{Cause, Causes};
use crate::views::{
    Ending, LocateView, MediaView, Part, PipeView, RatingView, RowView, RunView, StructureView,
    Survey,
};

/// A pass over one survey: the rules that are run, by scope, and their findings so far. A rule is
/// its index among the active ones, and its function.
pub(crate) struct Walk<'c> {
    active: &'c [Active],
    keep: usize,
    /// For each active rule, what decides which of its findings are reliable; empty if all are.
    confirm: &'c [Option<Confirm<'c>>],
    document: Vec<(usize, rule::DocumentRule)>,
    structure: Vec<(usize, rule::StructureRule)>,
    pipe: Vec<(usize, rule::PipeRule)>,
    media: Vec<(usize, rule::MediaRule)>,
    run: Vec<(usize, rule::RunRule)>,
    row: Vec<(usize, rule::RowRule)>,
    throughout: Vec<(usize, rule::ThroughoutRule)>,
    locate: Vec<(usize, rule::LocateRule)>,
    rating: Vec<(usize, rule::RatingRule)>,
    ending: Vec<(usize, rule::EndingRule)>,
    found: Vec<Found>,
    /// The mistakes in whole columns that the survey shows.
    shown: Causes,
    not_run: BTreeMap<String, Vec<String>>,
    not_applicable: BTreeMap<&'static str, Vec<String>>,
}

macro_rules! scoped {
    ($($method:ident over $rules:ident: $view:ident),+) => { $(
        fn $method(&mut self, view: &$view<'_>) {
            for (index, rule) in &self.$rules {
                let confirm = self.confirm.get(*index).copied().flatten();
                let found = &mut self.found[*index];
                rule(view, &mut self.active[*index].sink(self.keep, confirm, found));
            }
        }
    )+ };
}

impl<'c> Walk<'c> {
    scoped!(
        of_document over document: Survey, of_structure over structure: StructureView, of_pipe over pipe: PipeView,
        of_media over media: MediaView, of_run over run: RunView, of_part over throughout: Part,
        of_locate over locate: LocateView, of_rating over rating: RatingView, of_ending over ending: Ending
    );

    /// Sorts the active rules by scope, and sets those aside whose needs the survey does not meet.
    pub(crate) fn new(
        active: &'c [Active],
        keep: usize,
        confirm: &'c [Option<Confirm<'c>>],
        survey: &Survey<'_>,
    ) -> Self {
        let mut walk = Self {
            active,
            keep,
            confirm,
            document: Vec::new(),
            structure: Vec::new(),
            pipe: Vec::new(),
            media: Vec::new(),
            run: Vec::new(),
            row: Vec::new(),
            throughout: Vec::new(),
            locate: Vec::new(),
            rating: Vec::new(),
            ending: Vec::new(),
            found: active.iter().map(|_| Found::default()).collect(),
            shown: Causes::default(),
            not_run: BTreeMap::new(),
            not_applicable: BTreeMap::new(),
        };
        for (index, active) in active.iter().enumerate() {
            let mut needs = active.rule.needs.iter();
            if let Some((need, why)) = needs.find_map(|need| Some((*need, unmet(*need, survey)?))) {
                let name = active.rule.name.to_owned();
                match why {
                    Unmet::NotNamed => walk.not_applicable.entry(need.absent()).or_default(),
                    Unmet::Unavailable(why) => walk.not_run.entry(why).or_default(),
                }
                .push(name);
                continue;
            }
            match active.rule.check {
                Check::Document(rule) => walk.document.push((index, rule)),
                Check::Structure(rule) => walk.structure.push((index, rule)),
                Check::Pipe(rule) => walk.pipe.push((index, rule)),
                Check::Media(rule) => walk.media.push((index, rule)),
                Check::Run(rule) => walk.run.push((index, rule)),
                Check::Observation(rule) => walk.row.push((index, rule)),
                Check::Throughout(rule) => walk.throughout.push((index, rule)),
                Check::Locate(rule) => walk.locate.push((index, rule)),
                Check::Rating(rule) => walk.rating.push((index, rule)),
                Check::Ending(rule) => walk.ending.push((index, rule)),
            }
        }
        walk
    }

    /// Checks the head and its tables.
    pub(crate) fn head(&mut self, survey: &Survey<'_>) {
        self.of_document(survey);
        survey.structures().for_each(|view| self.of_structure(&view));
        survey.pipes().for_each(|view| self.of_pipe(&view));
        survey.all_media().for_each(|view| self.of_media(&view));
        self.of_part(&Part::Head(survey));
    }

    /// Checks a run and its observations.
    pub(crate) fn run(&mut self, view: &RunView<'_>) {
        self.of_part(&Part::Run(view));
        self.of_run(view);
        // Rule by rule, so that the function of a rule and its limits stay in the cache.
        let rows: Vec<RowView<'_>> = view.rows().collect();
        for (index, rule) in &self.row {
            let confirm = self.confirm.get(*index).copied().flatten();
            let mut sink = self.active[*index].sink(self.keep, confirm, &mut self.found[*index]);
            rows.iter().for_each(|row| rule(row, &mut sink));
        }
    }

    /// Checks what needs all runs.
    pub(crate) fn ending(&mut self, ending: &Ending<'_>) {
        self.shown = Cause::ALL.into_iter().fold(Causes::default(), |causes, cause| {
            causes.with(cause, ending.columns.show(cause))
        });
        ending.locates().for_each(|view| self.of_locate(&view));
        ending.ratings().for_each(|view| self.of_rating(&view));
        self.of_ending(ending);
        for (index, found) in self.found.iter_mut().enumerate() {
            let confirm = self.confirm.get(index).copied().flatten();
            self.active[index].sink(self.keep, confirm, found).settle();
            found.drop_changed(|pipe, changes| ending.changes_within(pipe, changes));
        }
    }

    /// Adds the findings to the report.
    pub(crate) fn finish(self, report: &mut Report) {
        let mut found_by_rule = self.found;
        let mut withheld = 0;
        for (index, (active, found)) in self.active.iter().zip(&mut found_by_rule).enumerate() {
            let confirm = self.confirm.get(index).copied().flatten();
            active.sink(self.keep, confirm, found).finish();
            withheld += found.withheld;
        }
        // A mistake that no finding names explains nothing: its rule may be turned off.
        let named = |cause: Cause| {
            let mut rules = self.active.iter().zip(&found_by_rule);
            rules.any(|(active, found)| active.rule.name == cause.rule() && found.total > 0)
        };
        let explained = Cause::ALL.into_iter().fold(Causes::default(), |causes, cause| {
            causes.with(cause, self.shown.meet(cause.into()) && named(cause))
        });
        for (active, mut found) in self.active.iter().zip(found_by_rule) {
            found.release(explained, self.keep);
            report.add_found(active.rule.name, active.severity, found.total, found.kept);
            report.suppressed.extend(suppressed(&active.suppressions, &found.suppressed));
        }
        if let Some(document) = report.documents.first_mut() {
            document.withheld = withheld;
        }
        let not_run = |(why, rules)| NotRun { why, rules, documents: vec![0] };
        report.not_run = self.not_run.into_iter().map(not_run).collect();
        report.not_applicable = self
            .not_applicable
            .into_iter()
            .map(|(why, rules)| not_run((why.to_owned(), rules)))
            .collect();
        report.sort();
    }
}

/// Why a need is not met.
enum Unmet {
    /// The document does not name it, or it was not given.
    NotNamed,
    /// It is not available, for this reason.
    Unavailable(String),
}

/// Why a need is not met; `None` if it is met.
fn unmet(need: Need, survey: &Survey<'_>) -> Option<Unmet> {
    let met = match need {
        Need::Codes => survey.list.is_some(),
        Need::Grades => survey.grader.is_some(),
        Need::Crs => survey.crs.is_some(),
        Need::Profile => survey.demands.is_some(),
        Need::Today => survey.today.is_some(),
        Need::Files => survey.files.is_some(),
    };
    if met {
        return None;
    }
    let why = match need {
        Need::Codes => Some(no_list(survey)),
        Need::Grades => no_grades(survey),
        Need::Crs => survey.crs_error.clone(),
        Need::Profile | Need::Files => None,
        Need::Today => Some(need.absent().to_owned()),
    };
    Some(why.map_or(Unmet::NotNamed, Unmet::Unavailable))
}

fn no_list(survey: &Survey<'_>) -> String {
    let coding = &survey.head.coding;
    format!("the code list {} {} is not available", coding.list, coding.version)
}

/// Why nothing can be graded; `None` if the document names no grade scheme.
fn no_grades(survey: &Survey<'_>) -> Option<String> {
    let grading = survey.head.grading.as_ref()?;
    Some(match (survey.scheme, survey.list) {
        (None, _) => {
            format!("the grade scheme {} {} is not available", grading.scheme, grading.version)
        }
        (_, None) => no_list(survey),
        (Some(scheme), Some(list)) => {
            let of = &scheme.code_list;
            format!(
                "the grade scheme {} grades codes of {} {}, not of {} {}",
                grading.scheme, of.list, of.version, list.id, list.version
            )
        }
    })
}
