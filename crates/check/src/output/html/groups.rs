//! The order of the page: findings by document, by pipe, and by rule.

use std::collections::BTreeMap;
use std::io::{self, Write};

use crate::finding::{Finding, Severity};
use crate::report::AffectedPipe;
use crate::report::Report;

/// A finding with its number on the page.
#[derive(Clone, Copy)]
pub(super) struct Numbered<'r> {
    pub(super) number: usize,
    pub(super) finding: &'r Finding,
}

/// The findings of one rule in one section.
pub(super) struct Group<'r> {
    pub(super) rule: &'r str,
    pub(super) severity: Severity,
    pub(super) findings: Vec<Numbered<'r>>,
}

/// The findings about one pipe, or about the whole document.
pub(super) struct Section<'r> {
    pub(super) document: usize,
    pub(super) pipe: Option<&'r str>,
    /// The pipe and its runs, if the document has them.
    pub(super) affected: Option<&'r AffectedPipe>,
    pub(super) groups: Vec<Group<'r>>,
}

impl<'r> Section<'r> {
    pub(super) fn findings(&self) -> impl Iterator<Item = Numbered<'r>> + '_ {
        self.groups.iter().flat_map(|group| group.findings.iter().copied())
    }

    /// Adds a finding to those of its rule.
    fn add(&mut self, finding: &'r Finding) {
        let numbered = Numbered { number: 0, finding };
        match self.groups.iter_mut().find(|group| group.rule == finding.rule) {
            Some(group) => group.findings.push(numbered),
            None => {
                let (rule, severity) = (&*finding.rule, finding.severity);
                self.groups.push(Group { rule, severity, findings: vec![numbered] });
            }
        }
    }

    pub(super) fn anchor(&self) -> String {
        let first = self.findings().next().map_or(0, |numbered| numbered.number);
        format!("s-{first}")
    }
}

/// The sections of one document: one for the whole document, and one for every pipe.
struct Sections<'r> {
    whole: Section<'r>,
    by_pipe: Vec<Section<'r>>,
    /// The sections of pipes, by the pipe.
    place: BTreeMap<&'r str, usize>,
    pipe_of_run: BTreeMap<&'r str, &'r str>,
}

impl<'r> Sections<'r> {
    fn new(document: usize, affected: &'r [AffectedPipe]) -> Self {
        let section = |pipe, affected| Section { document, pipe, affected, groups: Vec::new() };
        let runs = |pipe: &'r AffectedPipe| {
            pipe.runs.iter().map(|run| (run.run.as_str(), pipe.pipe.as_str()))
        };
        Self {
            whole: section(None, None),
            by_pipe: affected
                .iter()
                .map(|pipe| section(Some(pipe.pipe.as_str()), Some(pipe)))
                .collect(),
            place: affected
                .iter()
                .enumerate()
                .map(|(index, pipe)| (pipe.pipe.as_str(), index))
                .collect(),
            pipe_of_run: affected.iter().flat_map(runs).collect(),
        }
    }

    /// The section of a finding. It is added if the pipe has none.
    fn of(&mut self, finding: &'r Finding) -> &mut Section<'r> {
        let run =
            || finding.subject.run.as_deref().and_then(|run| self.pipe_of_run.get(run).copied());
        let Some(pipe) = finding.subject.pipe.as_deref().or_else(run) else {
            return &mut self.whole;
        };
        let by_pipe = &mut self.by_pipe;
        let document = self.whole.document;
        let index = *self.place.entry(pipe).or_insert_with(|| {
            by_pipe.push(Section {
                document,
                pipe: Some(pipe),
                affected: None,
                groups: Vec::new(),
            });
            by_pipe.len() - 1
        });
        &mut by_pipe[index]
    }
}

/// The order of the page.
pub(super) struct Page<'r> {
    pub(super) sections: Vec<Section<'r>>,
    /// The rules with findings, by their index in the report.
    pub(super) rules: BTreeMap<&'r str, usize>,
    /// Rules of which the page does not show all findings, with the number shown and the total.
    pub(super) truncated: Vec<(&'r str, usize, usize)>,
    pub(super) shown: usize,
}

impl<'r> Page<'r> {
    pub(super) fn new(report: &'r Report, per_rule: usize) -> Self {
        let mut shown: BTreeMap<&str, usize> = BTreeMap::new();
        let mut sections: Vec<Section<'r>> = Vec::new();
        for (document, of_document) in report.documents.iter().enumerate() {
            let mut parts = Sections::new(document, &of_document.affected_pipes);
            for finding in report.findings.iter().filter(|finding| finding.document == document) {
                let count = shown.entry(&finding.rule).or_default();
                if *count < per_rule {
                    *count += 1;
                    parts.of(finding).add(finding);
                }
            }
            let parts = std::iter::once(parts.whole).chain(parts.by_pipe);
            sections.extend(parts.filter(|section| !section.groups.is_empty()));
        }
        let mut number = 0;
        for section in &mut sections {
            section.groups.sort_by_key(|group| std::cmp::Reverse(group.severity));
            for numbered in section.groups.iter_mut().flat_map(|group| &mut group.findings) {
                number += 1;
                numbered.number = number;
            }
        }
        let truncated = report
            .rules
            .iter()
            .map(|total| {
                (
                    total.rule.as_str(),
                    shown.get(total.rule.as_str()).copied().unwrap_or(0),
                    total.total,
                )
            })
            .filter(|(_, shown, total)| shown < total)
            .collect();
        let rules = report
            .rules
            .iter()
            .enumerate()
            .map(|(index, total)| (total.rule.as_str(), index))
            .collect();
        Self { sections, rules, truncated, shown: number }
    }

    /// The CSS class of a rule's findings, also in the id of its check box. It is a number, since a
    /// name can have any characters.
    pub(super) fn class(&self, rule: &str) -> String {
        self.rules.get(rule).map_or_else(|| "r-other".to_owned(), |index| format!("r{index}"))
    }

    /// The CSS that hides findings whose box is not checked. It works without a script.
    pub(super) fn filter_style(&self, sink: &mut dyn Write) -> io::Result<()> {
        for severity in Severity::ALL {
            let word = severity.as_str();
            writeln!(sink, "body:has(#show-{word}:not(:checked)) .is-{word} {{ display: none }}")?;
        }
        for index in self.rules.values() {
            writeln!(sink, "body:has(#show-r{index}:not(:checked)) .r{index} {{ display: none }}")?;
        }
        Ok(())
    }
}

/// A severity in words, for people who send or receive surveys.
pub(super) const fn meaning(severity: Severity) -> &'static str {
    match severity {
        Severity::Error => "To correct",
        Severity::Warning => "To look at",
        Severity::Note => "To know",
    }
}

/// A rule's name as a heading: `clock-range` is Clock range, and so is `org.example/clock-range`.
pub(super) fn heading(rule: &str) -> String {
    let (_, name) = rule.split_once('/').unwrap_or(("", rule));
    capital(&name.replace('-', " "))
}

/// A text that begins with a capital.
pub(super) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map(|first| first.to_uppercase().chain(chars).collect()).unwrap_or_default()
}
