//! A house rule of an office, checked beside the rules of the catalogue: every manhole in the office's own town has the number
//! of its drawing.
//!
//! `cargo run --example own_rule examples/data/larkmoor-rejected.obvert.json`

use std::error::Error;

use obvert::check::{Check, Fact, FactKind, Limit, Rule, Sink, StructureView};
use obvert::model::tables::StructureKind;
use obvert::prelude::*;

/// The documentation has the headings of the catalogue's rules: reports show what is checked, why, and what to do.
static DEEP_MANHOLE: Rule = Rule::new(
    "org.larkmoor/deep-manhole-unnamed",
    Severity::Warning,
    Check::Structure(check),
    "# What it checks
A manhole deeper than `depth` has a number in the asset register.

# Why it matters
The crew needs a permit for a deep manhole, and permits are issued by asset number.

# Fix
Add the number from the register as `asset`.",
)
.with_limits(&[Limit::new("depth", 3.0, "m", "the depth from which a permit is needed")])
.with_facts(&[Fact::new("depth", FactKind::Length, "the depth of the manhole")]);

fn check(view: &StructureView<'_>, out: &mut Sink<'_>) {
    let (survey, structure) = (view.survey, view.structure);
    let Some(depth) = structure.depth.filter(|_| structure.kind == StructureKind::Manhole) else {
        return;
    };
    if structure.asset.is_none() && survey.metres(depth) > out.limit("depth") {
        let message = format!("a manhole {} deep has no asset number", survey.format_length(depth));
        out.report(view.subject(""), message).fact("depth", depth.get());
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args()
        .nth(1)
        .unwrap_or_else(|| "examples/data/larkmoor-rejected.obvert.json".into());
    let source = std::fs::read(&path)?;
    let mut settings = Settings::default().with_rules([&DEEP_MANHOLE]);
    // It is weighed and limited as the catalogue's rules are, here or in a profile.
    settings.limits.insert((DEEP_MANHOLE.name.into(), "depth".into()), 2.5);
    let checker = Checker::new(settings)?;
    let report = checker.check(&source)?;
    let found = report.findings.iter().filter(|finding| finding.rule == DEEP_MANHOLE.name);
    for finding in found.take(3) {
        let what = finding.subject.describe(None).unwrap_or_default();
        println!("{}: {what}: {}", finding.severity, finding.message);
    }
    let total = report
        .rules
        .iter()
        .find(|total| total.rule == DEEP_MANHOLE.name)
        .map_or(0, |total| total.total);
    println!("{total} of {} findings are of {}", report.totals.all(), DEEP_MANHOLE.name);
    Ok(())
}
