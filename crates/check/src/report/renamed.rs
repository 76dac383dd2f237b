//! Old rule names in a report of an earlier version of this program. Reports are compared by rule
//! name, so without the new names every finding of a renamed rule would count as new.

use std::borrow::Cow;

use obvert_model::versions;

use crate::report::Report;

impl Report {
    /// Replaces the old names of renamed rules in the findings, the totals and the suppressions.
    pub(super) fn use_current_rule_names(&mut self) {
        for finding in &mut self.findings {
            if let Some(new) = versions::renamed(&finding.rule) {
                finding.rule = Cow::Borrowed(new);
            }
        }
        let totals = self.documents.iter_mut().flat_map(|document| &mut document.rules);
        let totals = totals.chain(&mut self.rules).map(|total| &mut total.rule);
        for rule in totals.chain(self.suppressed.iter_mut().map(|suppressed| &mut suppressed.rule))
        {
            if let Some(new) = versions::renamed(rule) {
                new.clone_into(rule);
            }
        }
    }
}
