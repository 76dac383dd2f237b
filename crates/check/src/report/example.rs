//! Examples for the schemas of reports, fix logs and grade tables. They are computed, so that they
//! are valid.

use crate::fixing::{FixLog, FixSettings};
use crate::grading::{GradeSettings, GradeTable};
use crate::report::Report;
use crate::{Checker, MINIMAL, Settings};

/// The small survey, with a pipe whose height was lost in a spreadsheet.
fn source() -> String {
    MINIMAL.replacen("\"height\": 8,", "\"height\": 0,", 1)
}

fn checker() -> Option<Checker> {
    Checker::new(Settings::default().with_today("2026-06-01".parse().ok()?)).ok()
}

/// A report with one finding.
pub(crate) fn report() -> Option<Report> {
    let source = source();
    let mut report = checker()?.check(source.as_bytes()).ok()?;
    report.locate_in(source.as_bytes(), "survey.obvert.json");
    Some(report)
}

/// The log of fixing the same survey, with white space at the end of a remark.
pub(crate) fn fix_log() -> Option<FixLog> {
    let source =
        source().replacen("\"operator\"", "\"remark\": \"second visit \", \"operator\"", 1);
    let mut fixed = checker()?.fix(source.as_bytes(), &FixSettings::default(), None).ok()?;
    fixed.document.name_file("survey.obvert.json");
    Some(FixLog::new(Some("2026-06-01".to_owned()), vec![fixed.document]))
}

/// The table of grades of the same survey.
pub(crate) fn grades() -> Option<GradeTable> {
    checker()?.grades(source().as_bytes(), GradeSettings::default()).ok()
}
