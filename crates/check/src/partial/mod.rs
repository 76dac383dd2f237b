//! The check of a document that has structural problems: they are reported, and the rules run over
//! what is readable.
//!
//! What was left out must not make findings. A finding is withheld if its rule concludes from
//! something that is missing there, and a rule is not run if it concludes from something that is
//! missing for the whole document: see [`Rule::concludes_from`]. The report lists what was left out
//! and which rules could not be run, and counts the findings that were withheld.

mod damage;

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use obvert_model::read::{Diagnosis, Problem, ProblemKind, Remains};

use self::damage::{Damage, leads_into};
use crate::checker::{Checker, WITHOUT_STRUCTURE};
use crate::evidence::Evidence;
use crate::finding::Finding;
use crate::pipeline::Borrowed;
use crate::report::{self, NotRun, Report};
#[cfg(doc)]
use crate::rule::Rule;

impl Checker {
    /// Checks the readable part of a document that has structural problems, and reports those as
    /// well. The paths of findings are pointers into the value of the diagnosis.
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
        let problems = &diagnosis.problems;
        let misspelt = misspelt(problems);
        let explained: HashSet<usize> = misspelt.values().copied().collect();
        let mut structural = Vec::new();
        for (index, problem) in
            problems.iter().enumerate().filter(|(index, _)| !explained.contains(index))
        {
            let mut finding = report::structural(problem);
            if let Some(missing) = misspelt.get(&index) {
                let help = finding.help.take().unwrap_or_default();
                finding.help = Some(format!("{help} {}", problems[*missing].message));
            }
            structural.push(finding);
        }
        structural.iter_mut().for_each(|finding| finding.subject.complete_from(&diagnosis.value));
        let pipes: BTreeSet<String> =
            structural.iter().filter_map(|finding| finding.subject.pipe.clone()).collect();
        let without_rules = unreadable(problems);
        let mut report = match diagnosis.into_remains() {
            None => self.without_rules(&without_rules),
            Some(remains) => {
                let document = &remains.document;
                let runs = &mut Borrowed(document.runs.iter());
                let whole = self.keeping_all().walk(&document.head, runs, &pipes);
                self.without_consequences(whole, &remains)
            }
        };
        self.add_found(&mut report, structural);
        report
    }

    /// What of a report on the readable part holds for the whole, with the places of the whole.
    fn without_consequences(&self, mut whole: Report, remains: &Remains) -> Report {
        let (damage, damage_of_texts) = (Damage::of(remains, false), Damage::of(remains, true));
        let mut document = std::mem::take(&mut whole.documents[0]);
        (document.totals, document.rules) = Default::default();
        if remains.left_out.iter().any(|out| out.pointer == "/id") {
            document.id = None;
        }
        document.left_out = remains.left_out.iter().map(report::LeftOut::new).collect();
        let mut by_rule: BTreeMap<String, Vec<Finding>> = BTreeMap::new();
        for mut finding in std::mem::take(&mut whole.findings) {
            finding.subject.path = remains.original(&finding.subject.path);
            // A change is made to the source, whose rows have other numbers.
            finding.fix = finding.fix.filter(|_| remains.in_place());
            by_rule.entry(finding.rule.to_string()).or_default().push(finding);
        }
        let mut kept = Vec::new();
        let mut stopped: BTreeMap<String, Vec<String>> = BTreeMap::new();
        let not_run: BTreeSet<&str> =
            whole.not_run.iter().flat_map(|not_run| &not_run.rules).map(String::as_str).collect();
        for rule in self.rules() {
            let mut findings = by_rule.remove(rule.name).unwrap_or_default();
            let evidence: Vec<Evidence<'_>> = rule.evidence().collect();
            let damage =
                if evidence.contains(&Evidence::Texts) { &damage_of_texts } else { &damage };
            let found = findings.len();
            match damage.stops(rule, &evidence) {
                Some(why) => {
                    findings.clear();
                    if !not_run.contains(rule.name) {
                        stopped.entry(why.to_owned()).or_default().push(rule.name.to_owned());
                    }
                }
                None => findings.retain(|finding| damage.confirms(rule, &evidence, finding)),
            }
            document.withheld += found - findings.len();
            kept.push((rule.name, findings));
        }
        let mut report = self.report_of(document);
        for (rule, mut findings) in kept {
            let Some(of_rule) = whole.rules.iter().find(|of_rule| of_rule.rule == rule) else {
                continue;
            };
            let total = findings.len();
            findings.truncate(self.keep());
            report.add_found(rule, of_rule.severity, total, findings);
        }
        report.suppressed = whole.suppressed;
        (report.not_run, report.idle) = (whole.not_run, whole.idle);
        for idle in &mut report.idle {
            idle.rules.retain(|rule| !stopped.values().flatten().any(|stopped| stopped == rule));
        }
        report.idle.retain(|idle| !idle.rules.is_empty());
        let stopped = stopped.into_iter();
        report.not_run.extend(stopped.map(|(why, rules)| NotRun {
            why,
            rules,
            documents: vec![0],
        }));
        report.sort();
        report
    }
}

/// Keys that the format does not have, each with the problem of the missing one that it seems to
/// be: that is one mistake.
fn misspelt(problems: &[Problem]) -> HashMap<usize, usize> {
    let mut missing: HashMap<(&str, &str), usize> = HashMap::new();
    for (index, problem) in problems.iter().enumerate() {
        if let (ProblemKind::MissingKey, Some(key)) = (problem.kind, &problem.key) {
            missing.entry((&problem.pointer, key)).or_insert(index);
        }
    }
    let unknown =
        problems.iter().enumerate().filter(|(_, problem)| problem.kind == ProblemKind::UnknownKey);
    let pairs = unknown.filter_map(|(index, problem)| {
        let (object, _) = problem.pointer.rsplit_once('/')?;
        Some((index, *missing.get(&(object, problem.suggestion.as_deref()?))?))
    });
    pairs.collect()
}

/// Why nothing is left of a document: what no rule can do without could not be read.
fn unreadable(problems: &[Problem]) -> String {
    const HEAD: [&str; 3] = ["/obvert", "/units", "/coding"];
    let heads = |problem: &&Problem| HEAD.iter().any(|head| leads_into(head, &problem.pointer));
    match problems.iter().find(heads) {
        Some(problem) => {
            format!("{} could not be read, and no rule can do without it", problem.pointer)
        }
        None => WITHOUT_STRUCTURE.to_owned(),
    }
}
