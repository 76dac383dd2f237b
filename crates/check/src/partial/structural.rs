//! The structural problems of a document as findings: all are counted, the first are listed.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use obvert_model::read::{Problem, ProblemKind};

use crate::finding::{Finding, Severity};
use crate::report::{self, Report};
use crate::subject::Subject;

/// The structural problems of a document.
pub(super) struct Structural {
    keep: usize,
    /// By kind: how many, and the first ones.
    kinds: BTreeMap<&'static str, (usize, Vec<Finding>)>,
    /// The pipes of those that are listed.
    pipes: BTreeSet<String>,
}

impl Structural {
    pub(super) fn new(keep: usize) -> Self {
        Self { keep, kinds: BTreeMap::new(), pipes: BTreeSet::new() }
    }

    /// Adds problems of one part of the document. `complete` fills in what a finding is about.
    pub(super) fn add(&mut self, problems: &[Problem], complete: impl Fn(&mut Subject)) {
        let misspelt = misspelt(problems);
        // A misspelt key and the missing key are one finding.
        let explained: HashSet<usize> = misspelt.values().copied().collect();
        for (index, problem) in
            problems.iter().enumerate().filter(|(index, _)| !explained.contains(index))
        {
            let (total, listed) = self.kinds.entry(problem.kind.as_str()).or_default();
            *total += 1;
            if listed.len() >= self.keep {
                continue;
            }
            let mut finding = report::structural(problem);
            if let Some(missing) = misspelt.get(&index) {
                let help = finding.help.take().unwrap_or_default();
                finding.help = Some(format!("{help} {}", sentence(&problems[*missing].message)));
            }
            complete(&mut finding.subject);
            self.pipes.extend(finding.subject.pipe.clone());
            listed.push(finding);
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.kinds.is_empty()
    }

    /// The pipes that the listed problems are about.
    pub(super) fn pipes(&self) -> &BTreeSet<String> {
        &self.pipes
    }

    pub(super) fn add_to(self, report: &mut Report) {
        for (kind, (total, listed)) in self.kinds {
            report.add_found(kind, Severity::Error, total, listed);
        }
        report.sort();
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
