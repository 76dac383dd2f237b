//! Adding findings to a report, and merging the reports of several documents.

use super::{NotRun, Report, RuleTotal, Suppressed, sort_rules};
use crate::finding::{Finding, Severity};

impl Report {
    /// Adds the findings of a rule in the only document: their number, and those that are listed.
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

    /// Adds a finding of your own, for example of a check outside of this crate. It is counted and
    /// listed like the findings of rules, with the document that [`Finding::document`] names.
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

    /// Adds the report of another check. Its documents follow those of this report.
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
        for total in other.rules {
            add_total(&mut self.rules, total);
        }
        sort_rules(&mut self.rules);
        for own in other.own_rules {
            if !self.own_rules.iter().any(|known| known.rule == own.rule) {
                self.own_rules.push(own);
            }
        }
        merge_not_run(&mut self.not_run, other.not_run, before);
        merge_not_run(&mut self.not_applicable, other.not_applicable, before);
        self.suppressed.extend(other.suppressed.into_iter().map(|mut suppressed| {
            suppressed.document += before;
            suppressed
        }));
        self.findings.extend(other.findings.into_iter().map(|mut finding| {
            finding.document += before;
            finding
        }));
    }

    /// The part of the report about one of its documents, by its index in `documents`.
    #[must_use]
    pub fn of_document(&self, document: usize) -> Self {
        let own = self.documents.get(document);
        let not_run = |all: &[NotRun]| -> Vec<NotRun> {
            let own = all.iter().filter(|not_run| not_run.documents.contains(&document));
            own.map(|not_run| NotRun { documents: vec![0], ..not_run.clone() }).collect()
        };
        let suppressed = self.suppressed.iter().filter(|part| part.document == document);
        let findings = self.findings.iter().filter(|finding| finding.document == document);
        Self {
            documents: own.cloned().into_iter().collect(),
            totals: own.map(|own| own.totals).unwrap_or_default(),
            rules: own.map(|own| own.rules.clone()).unwrap_or_default(),
            not_run: not_run(&self.not_run),
            not_applicable: not_run(&self.not_applicable),
            suppressed: suppressed.map(|part| Suppressed { document: 0, ..part.clone() }).collect(),
            findings: findings.map(|part| Finding { document: 0, ..part.clone() }).collect(),
            report: self.report.clone(),
            tool: self.tool.clone(),
            today: self.today.clone(),
            profile: self.profile.clone(),
            settings: self.settings.clone(),
            own_rules: self.own_rules.clone(),
            baseline: self.baseline.clone(),
        }
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

/// Adds rules that were not run on the documents of another report, whose indices begin at `before`.
fn merge_not_run(all: &mut Vec<NotRun>, others: Vec<NotRun>, before: usize) {
    for mut other in others {
        other.documents.iter_mut().for_each(|document| *document += before);
        match all.iter_mut().find(|known| known.why == other.why && known.rules == other.rules) {
            Some(known) => known.documents.extend(other.documents),
            None => all.push(other),
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
