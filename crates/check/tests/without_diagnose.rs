//! Without the feature `diagnose` an invalid document is still rejected, with the first problem:
//! `cargo test -p obvert-check --no-default-features --test without_diagnose`.

#![cfg(not(feature = "diagnose"))]
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_check::{Checker, MINIMAL, Settings};

#[test]
fn an_invalid_document_has_one_structural_problem_and_no_rules() {
    let checker = Checker::new(Settings::default()).unwrap();
    assert_eq!(checker.check(MINIMAL.as_bytes()).unwrap().totals.error, 0);
    let wrong = MINIMAL.replacen("\"downstream\": \"LM-015\"", "\"downstream\": 15", 1);
    let report = checker.check(wrong.as_bytes()).unwrap();
    assert_eq!(report.totals.error, 1);
    assert_eq!(report.findings[0].rule, "wrong-type");
    assert!(!report.not_run.is_empty());
    assert!(checker.check(b"{").is_err());
}
