//! Checks a document with structural problems: reports the problems and runs the rules over what is
//! readable.
//!
//! What was left out must not cause false findings. A finding is withheld if its rule concludes from
//! a part that is missing there, and a rule is not run if it concludes from a part that is missing
//! anywhere: see [`Rule::concludes_from`]. The report lists what was left out and which rules could
//! not be run, and counts the withheld findings.

mod damage;
mod structural;

use std::cell::LazyCell;
use std::collections::{BTreeMap, BTreeSet, HashMap};

use obvert_model::read::{Diagnosis, PartialReader, Problem, ReadError, Readable, ReadableRuns};
use obvert_model::tables::Run;

use self::damage::{Damage, leads_into};
use self::structural::Structural;
use crate::checker::{Checker, WITHOUT_STRUCTURE};
use crate::evidence::Evidence;
use crate::finding::Finding;
use crate::pipeline::{Borrowed, RunSource};
use crate::report::{self, NotRun, Report};
use crate::rule::Rule;
use crate::sink::Confirm;

impl Checker {
    /// Reports the structural problems of a document and checks what is readable of it. The paths of
    /// findings are pointers into the value of the diagnosis.
    ///
    /// ```
    /// use obvert_check::{Checker, MINIMAL, Settings};
    /// use obvert_model::read::diagnose;
    ///
    /// let wrong = MINIMAL.replacen("\"downstream\": \"LM-015\"", "\"downstream\": 15", 1);
    /// let report = Checker::new(Settings::default())?.check_value(diagnose(wrong.as_bytes())?);
    /// assert!(report.findings.iter().any(|finding| finding.rule == "wrong-type"));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn check_value(&self, diagnosis: Diagnosis) -> Report {
        let mut structural = Structural::new(self.keep());
        structural.add(&diagnosis.problems, |subject| subject.complete_from(&diagnosis.value));
        let without_rules = unreadable(&diagnosis.problems);
        let mut report = match diagnosis.into_remains() {
            None => self.without_rules(&without_rules),
            Some(remains) => {
                let (readable, runs) = remains.into_parts();
                self.check_readable(&readable, &mut Borrowed(runs.iter()), structural.pipes())
            }
        };
        structural.add_to(&mut report);
        report
    }

    /// The same for the text of a document, with one run in memory at a time; `None` if it has no
    /// structural problems, or has to be diagnosed as a whole.
    pub(crate) fn check_partial(&self, source: &[u8]) -> Result<Option<Report>, ReadError> {
        let Some(mut reader) = PartialReader::new(source)? else { return Ok(None) };
        let mut structural = Structural::new(self.keep());
        let mut pipes = HashMap::new();
        let in_head = !reader.head_damage().is_empty();
        while let Some(found) = reader.next_run()? {
            for damage in &found.damage {
                let value = LazyCell::new(|| damage.value());
                structural.add(&damage.problems, |subject| {
                    subject.complete_from_row(&found, || &value);
                });
            }
            if in_head && let (Some(run), Some(pipe)) = (found.id, found.pipe) {
                pipes.insert(run, pipe);
            }
        }
        for damage in reader.head_damage() {
            let value = LazyCell::new(|| damage.value());
            structural.add(&damage.problems, |subject| {
                subject.complete_from_record(&value, |run| pipes.get(run).cloned());
            });
        }
        if structural.is_empty() {
            return Ok(None);
        }
        let of_head = reader.head_damage().first();
        let without_rules = unreadable(of_head.map_or(&[], |damage| &damage.problems));
        let readable = reader.into_readable();
        let read_again = readable.as_ref().and_then(|readable| ReadableRuns::new(source, readable));
        let mut report = match (&readable, read_again) {
            (Some(readable), Some(runs)) => {
                self.check_readable(readable, &mut Again(runs), structural.pipes())
            }
            _ => self.without_rules(&without_rules),
        };
        structural.add_to(&mut report);
        Ok(Some(report))
    }

    /// Checks the readable part of a document. Findings that may have what is missing as their only
    /// cause are withheld.
    fn check_readable(
        &self,
        readable: &Readable,
        runs: &mut dyn RunSource,
        pipes: &BTreeSet<String>,
    ) -> Report {
        let (damage, damage_of_texts) = (Damage::of(readable, false), Damage::of(readable, true));
        let limits: Vec<Limit<'_>> = self
            .rules()
            .map(|rule| {
                let evidence: Vec<Evidence<'_>> = rule.evidence().collect();
                let texts = evidence.contains(&Evidence::Texts);
                let damage = if texts { &damage_of_texts } else { &damage };
                let stopped = damage.stops(rule, &evidence);
                Limit { rule, evidence, damage, stopped }
            })
            .collect();
        let tests: Vec<_> = limits
            .iter()
            .map(|limit| move |finding: &Finding| limit.confirms(finding, readable))
            .collect();
        let confirm: Vec<Option<Confirm<'_>>> =
            tests.iter().map(|test| Some(Confirm(test))).collect();
        let walk = |runs: &mut dyn RunSource| self.walk(&readable.head, runs, pipes, &confirm);
        let mut report = self.on_threads(runs, walk);
        for finding in &mut report.findings {
            finding.subject.path = readable.original(&finding.subject.path);
            // Edits apply to the source. If its rows have other numbers, the fix is dropped.
            finding.fix = finding.fix.take().filter(|_| readable.in_place());
        }
        if let Some(document) = report.documents.first_mut() {
            if readable.left_out.iter().any(|out| out.pointer == "/id") {
                document.info.id = None;
            }
            document.left_out = readable.left_out.iter().map(report::LeftOut::new).collect();
        }
        add_stopped(&mut report, &limits);
        report.sort();
        report
    }
}

/// A rule, and what limits its findings.
struct Limit<'d> {
    rule: &'static Rule,
    evidence: Vec<Evidence<'static>>,
    damage: &'d Damage,
    /// Why none of its findings is reliable.
    stopped: Option<&'d str>,
}

impl Limit<'_> {
    fn confirms(&self, finding: &Finding, readable: &Readable) -> bool {
        let path = || readable.original(&finding.subject.path);
        self.stopped.is_none() && self.damage.confirms(self.rule, &self.evidence, &path(), finding)
    }
}

/// Lists the rules that were stopped as not run.
fn add_stopped(report: &mut Report, limits: &[Limit<'_>]) {
    let mut stopped: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for Limit { rule, stopped: why, .. } in limits {
        let not_run =
            report.not_run.iter().any(|not_run| not_run.rules.iter().any(|name| name == rule.name));
        if let Some(why) = why.filter(|_| !not_run) {
            stopped.entry(why).or_default().push(rule.name.to_owned());
        }
    }
    for not_applicable in &mut report.not_applicable {
        let names = &mut not_applicable.rules;
        names.retain(|rule| !stopped.values().flatten().any(|stopped| stopped == rule));
    }
    report.not_applicable.retain(|not_applicable| !not_applicable.rules.is_empty());
    report.not_run.extend(stopped.into_iter().map(|(why, rules)| NotRun {
        why: why.to_owned(),
        rules,
        documents: vec![0],
    }));
}

/// The readable runs of a document, read again.
struct Again<'s>(ReadableRuns<'s>);

impl RunSource for Again<'_> {
    fn next_run(&mut self) -> Option<Run> {
        self.0.next()
    }
}

/// Why no rule was run: a value that every rule needs could not be read.
fn unreadable(problems: &[Problem]) -> String {
    const HEAD: [&str; 3] = ["/obvert", "/units", "/coding"];
    let heads = |problem: &&Problem| HEAD.iter().any(|head| leads_into(head, &problem.pointer));
    match problems.iter().find(heads) {
        Some(problem) => {
            format!("{} could not be read, and every rule needs it", problem.pointer)
        }
        None => WITHOUT_STRUCTURE.to_owned(),
    }
}
