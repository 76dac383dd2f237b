//! Adding findings to a report, and putting reports of several documents together.

use super::{NotRun, Report, RuleTotal, sort_rules};
use crate::finding::{Finding, Severity};

impl Report {
    /// Adds what a rule found in the only document: how much there is, and what of it is listed.
    pub(crate) fn add_found(
        &mut self,
        rule: &str,
        severity: Severity,
        total: usize,
        listed: Vec<Finding>,
    ) {
        if total > 0 {
            self.count(0, RuleTotal { rule: rule.into(), severity, total, listed: listed.len() });
            self.findings.extend(listed);
        }
    }

    /// Counts findings of a rule in one of the documents.
    fn count(&mut self, document: usize, found: RuleTotal) {
        if let Some(document) = self.documents.get_mut(document) {
            document.totals.add(found.severity, found.total);
            add_total(&mut document.rules, found.clone());
        }
        self.totals.add(found.severity, found.total);
        add_total(&mut self.rules, found);
    }

    /// Adds a finding of your own, such as one of a check that is made elsewhere. It is counted and
    /// listed like those of a rule, in the order of the document that [`Finding::document`] names.
    ///
    /// ```
    /// use obvert_check::{Checker, Finding, MINIMAL, Settings, Severity, Subject};
    ///
    /// let mut report = Checker::new(Settings::default())?.check(MINIMAL.as_bytes())?;
    /// report.add(Finding::new("org.example/unpaid", Severity::Note, "no invoice names the run", Subject::at("/runs/1")));
    /// assert_eq!((report.totals.note, report.rules[0].rule.as_str()), (1, "org.example/unpaid"));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    pub fn add(&mut self, finding: Finding) {
        self.extend([finding]);
    }

    /// Adds the report of another check, whose documents come after those of this one.
    pub fn merge(&mut self, other: Self) {
        let before = self.documents.len();
        self.documents.extend(other.documents);
        self.today = self.today.take().or(other.today);
        self.profile = self.profile.take().or(other.profile);
        if self.settings.is_empty() {
            self.settings = other.settings;
        }
        for severity in Severity::ALL {
            self.totals.add(severity, other.totals.of(severity));
        }
        for theirs in other.rules {
            add_total(&mut self.rules, theirs);
        }
        sort_rules(&mut self.rules);
        for theirs in other.own_rules {
            if !self.own_rules.iter().any(|ours| ours.rule == theirs.rule) {
                self.own_rules.push(theirs);
            }
        }
        merge_not_run(&mut self.not_run, other.not_run, before);
        merge_not_run(&mut self.idle, other.idle, before);
        self.suppressed.extend(other.suppressed.into_iter().map(|mut suppressed| {
            suppressed.document += before;
            suppressed
        }));
        self.findings.extend(other.findings.into_iter().map(|mut finding| {
            finding.document += before;
            finding
        }));
    }

    /// The part of the report that is about one of its documents, by its place in `documents`.
    #[must_use]
    pub fn of_document(&self, document: usize) -> Self {
        let own = self.documents.get(document);
        let mut part = Self {
            documents: own.cloned().into_iter().collect(),
            totals: own.map(|own| own.totals).unwrap_or_default(),
            rules: own.map(|own| own.rules.clone()).unwrap_or_default(),
            not_run: self
                .not_run
                .iter()
                .filter(|not_run| not_run.documents.contains(&document))
                .cloned()
                .collect(),
            idle: self
                .idle
                .iter()
                .filter(|idle| idle.documents.contains(&document))
                .cloned()
                .collect(),
            suppressed: self
                .suppressed
                .iter()
                .filter(|held| held.document == document)
                .cloned()
                .collect(),
            findings: self
                .findings
                .iter()
                .filter(|finding| finding.document == document)
                .cloned()
                .collect(),
            report: self.report.clone(),
            tool: self.tool.clone(),
            today: self.today.clone(),
            profile: self.profile.clone(),
            settings: self.settings.clone(),
            own_rules: self.own_rules.clone(),
            baseline: self.baseline.clone(),
        };
        part.not_run
            .iter_mut()
            .chain(&mut part.idle)
            .for_each(|not_run| not_run.documents = vec![0]);
        part.suppressed.iter_mut().for_each(|suppressed| suppressed.document = 0);
        part.findings.iter_mut().for_each(|finding| finding.document = 0);
        part
    }
}

impl Extend<Finding> for Report {
    /// Adds findings of your own: see [`add`](Self::add).
    fn extend<T: IntoIterator<Item = Finding>>(&mut self, findings: T) {
        for finding in findings {
            let rule = finding.rule.to_string();
            self.count(
                finding.document,
                RuleTotal { rule, severity: finding.severity, total: 1, listed: 1 },
            );
            self.findings.push(finding);
        }
        self.sort();
    }
}

impl Extend<Self> for Report {
    /// Merges reports: see [`merge`](Self::merge).
    fn extend<T: IntoIterator<Item = Self>>(&mut self, reports: T) {
        reports.into_iter().for_each(|report| self.merge(report));
    }
}

/// Adds what could not be run on other documents, whose numbers begin at `before`.
fn merge_not_run(all: &mut Vec<NotRun>, others: Vec<NotRun>, before: usize) {
    for mut theirs in others {
        theirs.documents.iter_mut().for_each(|document| *document += before);
        match all.iter_mut().find(|ours| ours.why == theirs.why && ours.rules == theirs.rules) {
            Some(ours) => ours.documents.extend(theirs.documents),
            None => all.push(theirs),
        }
    }
}

/// Adds findings to those of their rule.
fn add_total(rules: &mut Vec<RuleTotal>, found: RuleTotal) {
    match rules.iter_mut().find(|known| known.rule == found.rule) {
        Some(known) => {
            known.total += found.total;
            known.listed += found.listed;
        }
        None => rules.push(found),
    }
}
