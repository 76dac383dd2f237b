//! Structural problems as findings.

use obvert_model::read::{Problem, ProblemKind};

use crate::finding::{Finding, Severity};
use crate::subject::Subject;

/// A structural problem as a finding.
pub(crate) fn structural(problem: &Problem) -> Finding {
    let subject = Subject::at(problem.pointer.as_str());
    Finding {
        help: Some(match &problem.suggestion {
            Some(near) => format!("did you mean {near:?}?"),
            None if problem.kind == ProblemKind::UnknownWord && problem.pointer == "/obvert" => {
                "Take a newer reader, or ask for the survey in a version that this one knows; nothing else of it is judged.".to_owned()
            }
            None if problem.message.starts_with("expected a list") => {
                "A list stands between square brackets, its items separated by commas.".to_owned()
            }
            None if problem.message.starts_with("expected an object") => {
                "An object stands between braces: a key between quotation marks, a colon, its value.".to_owned()
            }
            None => ProblemKind::meaning(problem.kind).to_owned(),
        }),
        fix: problem.fix.clone().map(Box::new),
        ..Finding::new(problem.kind.as_str(), Severity::Error, problem.text(), subject)
    }
}
