//! What a receiving office does with every delivery: check it run by run, let it in or send it back with reasons.
//!
//! `cargo run --example gate examples/data/larkmoor-rejected.obvert.json`

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::error::Error;
use std::process::ExitCode;

use obvert::prelude::*;

fn main() -> Result<ExitCode, Box<dyn Error>> {
    let path = std::env::args()
        .nth(1)
        .unwrap_or_else(|| "examples/data/larkmoor-rejected.obvert.json".into());
    let source = std::fs::read(&path)?;
    let mut settings = Settings::default().with_today("2026-06-15".parse().expect("a date"));
    // This office takes a missing photo of the worst grade for an error.
    settings.severities.insert("worst-grade-without-photo".into(), Some(Severity::Error));
    let mut report = Checker::new(settings)?.check(&source)?;
    report.locate_in(&source, &path);
    for finding in
        report.findings.iter().filter(|finding| finding.severity == Severity::Error).take(5)
    {
        let line = finding.at.as_ref().map_or(0, |at| at.line);
        println!("{path}:{line}: {} [{}]", finding.message, finding.rule);
    }
    println!("{} errors, {} warnings", report.totals.error, report.totals.warning);
    Ok(if report.totals.error == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}
