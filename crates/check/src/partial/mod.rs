//! Checks a document with structural problems: reports the problems and runs the rules over what is
//! readable.
//!
//! What was left out must not cause false findings. A finding is withheld if its rule concludes from
//! a part that is missing there, and a rule is not run if it concludes from a part that is missing
//! anywhere: see [`Rule::concludes_from`]. The report lists what was left out and which rules could
//! not be run, and counts the withheld findings.

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
        let problems = &diagnosis.problems;
        let misspelt = misspelt(problems);
        // A misspelt key and the missing key are one finding.
        let explained: HashSet<usize> = misspelt.values().copied().collect();
        let mut structural = Vec::new();
        for (index, problem) in
            problems.iter().enumerate().filter(|(index, _)| !explained.contains(index))
        {
            let mut finding = report::structural(problem);
            if let Some(missing) = misspelt.get(&index) {
                let help = finding.help.take().unwrap_or_default();
                finding.help = Some(format!("{help} {}", sentence(&problems[*missing].message)));
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

    /// Keeps the findings on the readable part that are true of the whole document, with their
    /// locations in the source.
    fn without_consequences(&self, mut whole: Report, remains: &Remains) -> Report {
        let (damage, damage_of_texts) = (Damage::of(remains, false), Damage::of(remains, true));
        let mut document = std::mem::take(&mut whole.documents[0]);
        (document.totals, document.rules) = Default::default();
        if remains.left_out.iter().any(|out| out.pointer == "/id") {
            document.info.id = None;
        }
        document.left_out = remains.left_out.iter().map(report::LeftOut::new).collect();
        let mut by_rule: BTreeMap<String, Vec<Finding>> = BTreeMap::new();
        for mut finding in std::mem::take(&mut whole.findings) {
            finding.subject.path = remains.original(&finding.subject.path);
            // Edits apply to the source. If its rows have other numbers, the fix is dropped.
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
        (report.not_run, report.not_applicable) = (whole.not_run, whole.not_applicable);
        for not_applicable in &mut report.not_applicable {
            not_applicable
                .rules
                .retain(|rule| !stopped.values().flatten().any(|stopped| stopped == rule));
        }
        report.not_applicable.retain(|not_applicable| !not_applicable.rules.is_empty());
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

/// A message as a sentence after another one.
fn sentence(message: &str) -> String {
    let mut letters = message.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}

/// Unknown keys that are probably a misspelt required key, each with the problem of the missing key.
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
