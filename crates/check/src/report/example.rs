//! Examples for the schemas of reports, logs of fixes and tables of grades. They are computed, so
//! that they look like real ones.

use crate::grading::{GradeBy, GradeTable};
use crate::report::Report;
use crate::{Checker, MINIMAL, MendSettings, Mending, Settings};

/// The small survey, with a pipe whose height was lost in a spreadsheet.
fn source() -> String {
    MINIMAL.replacen("\"height\": 8,", "\"height\": 0,", 1)
}

fn checker() -> Option<Checker> {
    Checker::new(Settings { today: "2026-06-01".parse().ok(), ..Settings::default() }).ok()
}

/// A report with one finding.
pub(crate) fn report() -> Option<Report> {
    let source = source();
    let mut report = checker()?.check(source.as_bytes()).ok()?;
    report.place_in(source.as_bytes(), "survey.obvert.json");
    Some(report)
}

/// The log of fixing the same survey, with white space at the end of a remark.
pub(crate) fn mending() -> Option<Mending> {
    let source =
        source().replacen("\"operator\"", "\"remark\": \"second visit \", \"operator\"", 1);
    let mut mended = checker()?.mend(source.as_bytes(), &MendSettings::default(), None).ok()?;
    mended.document.name_file("survey.obvert.json");
    Some(Mending::new(Some("2026-06-01".to_owned()), vec![mended.document]))
}

/// The table of grades of the same survey.
pub(crate) fn grades() -> Option<GradeTable> {
    checker()?.grades(source().as_bytes(), GradeBy { scheme: None, computed_only: false }).ok()
}
