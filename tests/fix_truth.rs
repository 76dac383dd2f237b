//! No fix makes a record less true. Mistakes are put into surveys that are known to be true, every
//! fix that is offered is applied, and each value must then be the true one, or the mistaken one
//! that has not been corrected yet. Nothing else may change.
//!
//! `FIX_CASES=50 cargo test --test fix_truth -- --nocapture` makes 50 of each mistake in each
//! survey; `MISTAKES_SEED=7` makes other ones.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used, dead_code)]

mod support;

#[path = "mistakes/codes.rs"]
mod codes;
#[path = "mistakes/distances.rs"]
mod distances;
#[path = "mistakes/edit.rs"]
mod edit;
#[path = "mistakes/records.rs"]
mod records;
#[path = "mistakes/surveys.rs"]
mod surveys;
#[path = "mistakes/truth.rs"]
mod truth;
#[path = "mistakes/untrue.rs"]
mod untrue;

use edit::Edit;
use obvert::check::fixing::FixSettings;
use obvert::check::{Checker, Report, Settings};
use serde_json::Value;
use support::read;
use truth::Truth;

/// The true surveys: none has an error or a warning.
const DOCUMENTS: &[&str] = &[
    "crates/check/src/minimal.obvert.json",
    "examples/data/morvelde.obvert.json",
    "examples/data/osier-9.obvert.json",
    "examples/data/larkmoor.obvert.json",
];

const TODAY: &str = "2026-06-15";

/// How many of each mistake are made in each survey, unless `FIX_CASES` is set.
const TURNS: usize = 1;

fn number(name: &str, default: usize) -> usize {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(default)
}

/// Makes a mistake, and returns whether the document has a place for it.
type Make<'m> = Box<dyn Fn(&mut Edit<'_>) -> bool + 'm>;

fn mistakes() -> Vec<(&'static str, Make<'static>)> {
    let harness = [distances::ALL, codes::ALL, records::ALL, surveys::ALL].into_iter().flatten();
    let harness = harness.map(|mistake| {
        let make: Make<'_> = Box::new(|edit: &mut Edit<'_>| (mistake.make)(edit).is_some());
        (mistake.about, make)
    });
    let more = [untrue::DISTANCES, untrue::VALUES, untrue::RECORDS].into_iter().flatten();
    let more = more.map(|(about, made)| {
        let make: Make<'_> = Box::new(move |edit: &mut Edit<'_>| made(edit).is_some());
        (*about, make)
    });
    harness.chain(more).collect()
}

/// Makes a mistake, and returns whether it was made. A survey that does not have what the mistake
/// is about is no place for it.
fn attempted(make: &Make<'_>, edit: &mut Edit<'_>) -> bool {
    let hook = std::panic::take_hook();
    std::panic::set_hook(Box::new(|_| {}));
    let made = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| make(edit)));
    std::panic::set_hook(hook);
    made.unwrap_or(false)
}

/// Whether a finding has a fix that only the command finds: that of an id, and what refers to it.
fn refers(report: &Report) -> bool {
    let about_id = |rule: &str| rule == "text-untrimmed" || rule.starts_with("unknown-");
    report.findings.iter().any(|finding| about_id(&finding.rule))
}

/// What was tried.
#[derive(Default)]
struct Tried {
    mistakes: usize,
    applications: usize,
    fixed: usize,
    wrong: Vec<String>,
}

impl Tried {
    /// Applies everything that is offered for a mistaken survey, in every way.
    fn apply(&mut self, checker: &Checker, about: &str, truth: &Truth, mistaken: &Value) {
        self.mistakes += 1;
        let text = serde_json::to_string_pretty(mistaken).expect("json");
        let report = checker.check(text.as_bytes()).expect("json");
        if report.findings.iter().all(|finding| finding.fix.is_none()) && !refers(&report) {
            return;
        }
        for confirmed in [false, true] {
            let settings = FixSettings::default().with_confirmed(confirmed);
            let fixed = checker.fix(text.as_bytes(), &settings, None).expect("json");
            let log = fixed.document.applied.iter();
            let what: Vec<_> = log.map(|fix| format!("{}: {}", fix.rule, fix.does)).collect();
            self.compare(about, truth, mistaken, &fixed.text, &what);
        }
        for finding in &report.findings {
            let Some(fix) = &finding.fix else { continue };
            let fixed = obvert::model::edit::text(&text, &fix.edits).expect("the edits apply");
            let what = [format!("{} alone: {}", finding.rule, fix.does)];
            self.compare(about, truth, mistaken, &fixed, &what);
        }
    }

    fn compare(
        &mut self,
        about: &str,
        truth: &Truth,
        mistaken: &Value,
        fixed: &str,
        what: &[String],
    ) {
        self.applications += 1;
        self.fixed += usize::from(!what.is_empty());
        let fixed: Value = serde_json::from_str(fixed).expect("json");
        let untrue = truth.untrue(mistaken, &fixed);
        if !untrue.is_empty() {
            let untrue = untrue.iter().take(4).cloned().collect::<Vec<_>>().join("\n    ");
            self.wrong.push(format!("{about}: {what:?}\n    {untrue}"));
        }
    }
}

#[test]
fn no_fix_changes_a_true_value_to_an_untrue_one() {
    let settings =
        Settings::default().with_today(TODAY.parse().expect("a date")).with_keep(usize::MAX);
    let checker = Checker::new(settings).expect("settings");
    let mut random = fastrand::Rng::with_seed(number("MISTAKES_SEED", 1) as u64);
    let turns = number("FIX_CASES", TURNS);
    let mut tried = Tried::default();
    let mistakes = mistakes();
    for path in DOCUMENTS {
        let document: Value = serde_json::from_str(&read(path)).expect("a document");
        let whole = Truth::new(&checker, document.clone());
        for (about, make) in &mistakes {
            for turn in 0..turns {
                // Every other turn begins with a survey that states less.
                let less = (turn % 2 == 1).then(|| {
                    let mut less = document.clone();
                    truth::state_less(&mut less, &mut random);
                    Truth::new(&checker, less)
                });
                let truth = less.as_ref().unwrap_or(&whole);
                let mut mistaken = truth.document.clone();
                let mut edit = Edit { document: &mut mistaken, random: &mut random };
                if attempted(make, &mut edit) {
                    tried.apply(&checker, about, truth, &mistaken);
                }
            }
        }
    }
    let Tried { mistakes: made, applications, fixed, wrong } = tried;
    println!(
        "{} kinds of mistakes in {} surveys: {made} made, fixes applied in {applications} ways, \
         {fixed} of them with a fix; {} made a true value untrue",
        mistakes.len(),
        DOCUMENTS.len(),
        wrong.len()
    );
    assert!(made >= turns * mistakes.len() * 2, "only {made} mistakes were made");
    assert!(fixed >= turns * mistakes.len() / 2, "only {fixed} fixes were applied");
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}
