//! The walk: once over a survey, each record given to every rule of its scope.

use std::collections::BTreeMap;

use crate::checker::Active;
use crate::profile::suppressed;
use crate::report::{NotRun, Report};
use crate::rule::{self, Check, Need};
use crate::sink::Found;
use crate::views::{
    Ending, LocateView, MediaView, Part, PipeView, RatingView, RowView, RunView, StructureView,
    Survey,
};

/// A walk over one survey: the rules that are run, by scope, and what they have found so far. A
/// rule is its index among the active ones, and its function.
pub(crate) struct Walk<'c> {
    active: &'c [Active],
    keep: usize,
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
    not_run: BTreeMap<String, Vec<String>>,
    idle: BTreeMap<&'static str, Vec<String>>,
}

macro_rules! scoped {
    ($($method:ident over $rules:ident: $view:ident),+) => { $(
        fn $method(&mut self, view: &$view<'_>) {
            for (index, rule) in &self.$rules {
                rule(view, &mut self.active[*index].sink(self.keep, &mut self.found[*index]));
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

    /// Sorts the active rules into those that are run and those that the survey does not have what
    /// they need for.
    pub(crate) fn new(active: &'c [Active], keep: usize, survey: &Survey<'_>) -> Self {
        let mut walk = Self {
            active,
            keep,
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
            not_run: BTreeMap::new(),
            idle: BTreeMap::new(),
        };
        for (index, active) in active.iter().enumerate() {
            let mut needs = active.rule.needs.iter();
            if let Some((need, why)) = needs.find_map(|need| Some((*need, missing(*need, survey)?)))
            {
                let name = active.rule.name.to_owned();
                match why.is_empty() {
                    true => walk.idle.entry(need.absent()).or_default().push(name),
                    false => walk.not_run.entry(why).or_default().push(name),
                }
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

    /// The head and its tables.
    pub(crate) fn head(&mut self, survey: &Survey<'_>) {
        self.of_document(survey);
        survey.structures().for_each(|view| self.of_structure(&view));
        survey.pipes().for_each(|view| self.of_pipe(&view));
        survey.all_media().for_each(|view| self.of_media(&view));
        self.of_part(&Part::Head(survey));
    }

    /// A run and its observations.
    pub(crate) fn run(&mut self, view: &RunView<'_>) {
        self.of_part(&Part::Run(view));
        self.of_run(view);
        // Rule by rule, so that the function of a rule and its limits stay in the cache.
        let rows: Vec<RowView<'_>> = view.rows().collect();
        for (index, rule) in &self.row {
            let mut sink = self.active[*index].sink(self.keep, &mut self.found[*index]);
            rows.iter().for_each(|row| rule(row, &mut sink));
        }
    }

    /// What is checked after all runs.
    pub(crate) fn ending(&mut self, ending: &Ending<'_>) {
        ending.locates().for_each(|view| self.of_locate(&view));
        ending.ratings().for_each(|view| self.of_rating(&view));
        self.of_ending(ending);
    }

    /// Adds what was found to the report.
    pub(crate) fn finish(self, report: &mut Report) {
        for (active, mut found) in self.active.iter().zip(self.found) {
            active.sink(self.keep, &mut found).settle();
            report.add_found(active.rule.name, active.severity, found.total, found.kept);
            report.suppressed.extend(suppressed(&active.held, &found.held));
        }
        let not_run = |(why, rules)| NotRun { why, rules, documents: vec![0] };
        report.not_run = self.not_run.into_iter().map(not_run).collect();
        report.idle =
            self.idle.into_iter().map(|(why, rules)| not_run((why.to_owned(), rules))).collect();
        report.sort();
    }
}

/// Why a need is not met; the empty text if what is needed was not asked for.
fn missing(need: Need, survey: &Survey<'_>) -> Option<String> {
    let head = survey.head;
    let no_list =
        || format!("the code list {} {} is not available", head.coding.list, head.coding.version);
    match need {
        Need::Codes => survey.list.is_none().then(no_list),
        Need::Grades => {
            survey.grader.is_none().then(|| match (&head.grading, survey.scheme, survey.list) {
                (None, ..) => String::new(),
                (Some(grading), None, _) => {
                    format!(
                        "the grade scheme {} {} is not available",
                        grading.scheme, grading.version
                    )
                }
                (_, _, None) => no_list(),
                (Some(grading), Some(scheme), Some(list)) => format!(
                    "the grade scheme {} grades codes of {}, not of {}",
                    grading.scheme, scheme.code_list.list, list.id
                ),
            })
        }
        Need::Crs => survey.crs.is_none().then(|| survey.crs_error.clone().unwrap_or_default()),
        Need::Profile => survey.demands.is_none().then(String::new),
        Need::Today => survey.today.is_none().then(|| "the date of today was not given".to_owned()),
    }
}
