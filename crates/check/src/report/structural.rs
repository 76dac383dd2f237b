//! Structural problems as findings.

use obvert_model::read::{Problem, ProblemKind};

use crate::finding::{Finding, Severity};
use crate::subject::Subject;

/// Whether a finding with this rule name is a structural problem, not a finding of a rule.
pub(crate) fn is_structural(rule: &str) -> bool {
    ProblemKind::ALL.iter().any(|kind| kind.as_str() == rule)
}

/// A structural problem as a finding.
pub(crate) fn structural(problem: &Problem) -> Finding {
    let subject = Subject::at(problem.pointer.as_str());
    Finding {
        help: Some(match &problem.suggestion {
            Some(near) => format!("Did you mean {near:?}?"),
            None if problem.kind == ProblemKind::UnknownWord && problem.pointer == "/obvert" => {
                "Use a newer version of this program, or ask for the survey in a version of the format that this one supports. Nothing else in it was checked.".to_owned()
            }
            None if problem.message.starts_with("expected a list") => {
                "Write a list in square brackets, with commas between its items.".to_owned()
            }
            None if problem.message.starts_with("expected an object") => {
                "Write an object in braces: each key in quotation marks, then a colon and the value.".to_owned()
            }
            None => ProblemKind::meaning(problem.kind).to_owned(),
        }),
        fix: problem.fix.clone().map(Box::new),
        ..Finding::new(problem.kind.as_str(), Severity::Error, problem.text(), subject)
    }
}
