//! Tests the checker with mistakes that people and machines really make. Each is put into clean
//! documents at random places and with random values. The right rule must report the right path,
//! with no more further findings than allowed. The mistakes are common in the trade (common
//! practice, no published list).
//!
//! `cargo test --test mistakes -- --nocapture` prints how many were detected, with the further
//! findings. `MISTAKES=50` makes 50 of each, `MISTAKES_SEED=7` makes other ones.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

#[path = "mistakes/codes.rs"]
mod codes;
#[path = "mistakes/contents.rs"]
mod contents;
#[path = "mistakes/distances.rs"]
mod distances;
#[path = "mistakes/edit.rs"]
mod edit;
#[path = "mistakes/places.rs"]
mod places;
#[path = "mistakes/recordings.rs"]
mod recordings;
#[path = "mistakes/records.rs"]
mod records;
#[path = "mistakes/surveys.rs"]
mod surveys;
#[path = "mistakes/trade.rs"]
mod trade;

use std::fmt::Write;

use edit::{Edit, Mistake};
use obvert::check::fixing::FixSettings;
use obvert::check::{Checker, Report, Settings, Severity};
use serde_json::Value;
use support::read;

/// The clean documents that mistakes are put into.
const DOCUMENTS: &[&str] =
    &["crates/check/src/minimal.obvert.json", "examples/data/larkmoor.obvert.json"];

const TODAY: &str = "2026-06-15";

/// How many of each mistake are made, over all documents, unless `MISTAKES` is set.
const TURNS: usize = 12;

fn number(name: &str, default: usize) -> usize {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(default)
}

fn check(checker: &Checker, document: &Value) -> Report {
    checker.check(document.to_string().as_bytes()).expect("a mistake leaves JSON")
}

fn warnings_and_errors(report: &Report) -> usize {
    report.findings.iter().filter(|finding| finding.severity > Severity::Note).count()
}

struct Outcome {
    made: usize,
    found: usize,
    further: usize,
    most: usize,
    why: Vec<String>,
}

/// Makes one mistake many times.
fn try_out(
    mistake: &Mistake,
    documents: &[Value],
    checker: &Checker,
    random: &mut fastrand::Rng,
) -> Outcome {
    let mut outcome = Outcome { made: 0, found: 0, further: 0, most: 0, why: Vec::new() };
    let turns = number("MISTAKES", TURNS);
    for attempt in 0..turns * 4 {
        if outcome.made == turns {
            break;
        }
        let mut document = documents[attempt % documents.len()].clone();
        let Some(path) = (mistake.make)(&mut Edit { document: &mut document, random }) else {
            continue;
        };
        outcome.made += 1;
        let report = check(checker, &document);
        let is_it = |finding: &&obvert::check::Finding| {
            mistake.rules.contains(&&*finding.rule)
                && (finding.subject.path == path || mistake.rules.len() > 1)
        };
        if report.findings.iter().any(|finding| is_it(&finding)) {
            outcome.found += 1;
        } else {
            let found = report
                .findings
                .iter()
                .map(|finding| format!("{} at {}", finding.rule, finding.subject.path));
            outcome.why.push(format!("expected at {path}, found {:?}", found.collect::<Vec<_>>()));
        }
        let own = |finding: &&obvert::check::Finding| {
            finding.severity > Severity::Note && mistake.rules.contains(&&*finding.rule)
        };
        let further = warnings_and_errors(&report) - report.findings.iter().filter(own).count();
        outcome.further += further;
        if further > outcome.most {
            outcome.most = further;
            if further > mistake.by_catch {
                let others = report.findings.iter().filter(|finding| !own(finding));
                let others = others.map(|finding| {
                    format!("{} at {}: {}", finding.rule, finding.subject.path, finding.message)
                });
                outcome.why.push(format!(
                    "{further} findings besides {path}: {:#?}",
                    others.collect::<Vec<_>>()
                ));
            }
        }
    }
    outcome
}

#[test]
fn every_mistake_is_found_and_little_else() {
    let checker = Checker::new(Settings::default().with_today(TODAY.parse().expect("a date")))
        .expect("settings");
    let documents: Vec<Value> = DOCUMENTS
        .iter()
        .map(|path| serde_json::from_str(&read(path)).expect("a document"))
        .collect();
    for (path, document) in DOCUMENTS.iter().zip(&documents) {
        assert_eq!(
            warnings_and_errors(&check(&checker, document)),
            0,
            "{path} has no findings at the start"
        );
    }
    let mistakes: Vec<&Mistake> = [
        distances::ALL,
        codes::ALL,
        records::ALL,
        surveys::ALL,
        places::ALL,
        recordings::ALL,
        contents::ALL,
        trade::ALL,
    ]
    .into_iter()
    .flatten()
    .collect();
    assert!(mistakes.len() >= 60, "{}", mistakes.len());
    let mut random = fastrand::Rng::with_seed(number("MISTAKES_SEED", 1) as u64);
    let mut table = format!(
        "{:<58} {:<28} {:>5} {:>7} {:>7} {:>5}\n",
        "mistake", "rule", "made", "found", "further", "most"
    );
    let mut wrong = String::new();
    for mistake in mistakes {
        let outcome = try_out(mistake, &documents, &checker, &mut random);
        let Outcome { made, found, further, most, why } = outcome;
        let share = 100.0 * found as f64 / made.max(1) as f64;
        let mean = further as f64 / made.max(1) as f64;
        let _ = writeln!(
            table,
            "{:<58} {:<28} {made:>5} {share:>5.0} % {mean:>7.1} {most:>5}",
            mistake.about, mistake.rules[0]
        );
        if made < 4 || found < made || most > mistake.by_catch {
            let _ = writeln!(
                wrong,
                "{}: {found} of {made} found, {most} further findings at most ({} allowed)\n  {}",
                mistake.about,
                mistake.by_catch,
                why.iter().take(3).cloned().collect::<Vec<_>>().join("\n  ")
            );
        }
    }
    println!("{table}");
    assert!(wrong.is_empty(), "{wrong}");
}

/// Safe fixes restore the value before the mistake. No fix causes an error, and fixing again
/// changes nothing.
#[test]
fn fixes_undo_mistakes_and_cause_none() {
    let settings =
        Settings::default().with_today(TODAY.parse().expect("a date")).with_keep(usize::MAX);
    let checker = Checker::new(settings).expect("settings");
    let documents: Vec<Value> = DOCUMENTS
        .iter()
        .map(|path| serde_json::from_str(&read(path)).expect("a document"))
        .collect();
    let mut random = fastrand::Rng::with_seed(number("MISTAKES_SEED", 1) as u64);
    // 9 and 9.0 are the same number in JSON, and rows at one distance have no order.
    let plain = |value: &Value| -> Value {
        let mut plain: Value =
            serde_json::from_str(&obvert::model::edit::spelled(value)).expect("json");
        let runs = plain["runs"].as_array_mut().expect("runs");
        for rows in runs.iter_mut().filter_map(|run| run["observations"].as_array_mut()) {
            let at = |row: &Value| row["at"].as_f64().unwrap_or(f64::NAN);
            rows.sort_by(|a, b| {
                at(a).total_cmp(&at(b)).then_with(|| a["id"].as_str().cmp(&b["id"].as_str()))
            });
        }
        plain
    };
    let (mut table, mut wrong) = (String::new(), String::new());
    let (mut safe_kinds, mut confirmed_kinds) = (0, 0);
    let mistakes = [
        distances::ALL,
        codes::ALL,
        records::ALL,
        surveys::ALL,
        places::ALL,
        recordings::ALL,
        contents::ALL,
        trade::ALL,
    ];
    let mistakes = mistakes.into_iter().flatten();
    for (number, mistake) in mistakes.enumerate() {
        let (mut made, mut safe, mut confirmed) = (0, 0, 0);
        for attempt in 0..8 {
            let clean = &documents[(number + attempt) % documents.len()];
            let mut document = clean.clone();
            if made == 1
                || (mistake.make)(&mut Edit { document: &mut document, random: &mut random })
                    .is_none()
            {
                continue;
            }
            made += 1;
            let text = serde_json::to_string_pretty(&document).expect("json");
            for confirm in [false, true] {
                let what = FixSettings::default().with_confirmed(confirm);
                let fixed = checker.fix(text.as_bytes(), &what, None).expect("json");
                let log = &fixed.document;
                let again = checker.fix(fixed.text.as_bytes(), &what, None).expect("json");
                if !again.document.applied.is_empty() || again.text != fixed.text {
                    let _ = writeln!(
                        wrong,
                        "{}: fixed again: {:?}",
                        mistake.about, again.document.applied
                    );
                }
                if log.after.error > log.before.error {
                    let _ = writeln!(
                        wrong,
                        "{}: {:?} after {:?}",
                        mistake.about, log.after, log.applied
                    );
                }
                *(if confirm { &mut confirmed } else { &mut safe }) +=
                    usize::from(!log.applied.is_empty());
                let now: Value = serde_json::from_str(&fixed.text).expect("json");
                // The fix of a name that Windows does not allow is another name, not the original
                // one.
                let other_name = mistake.rules.contains(&"media-path-unportable");
                if !confirm && !other_name && !log.applied.is_empty() && plain(&now) != plain(clean)
                {
                    let _ = writeln!(wrong, "{}: not as it was: {:?}", mistake.about, log.applied);
                }
            }
        }
        let _ = writeln!(
            table,
            "{:<58} {made:>2} made, {safe:>2} fixed, {confirmed:>2} if confirmed",
            mistake.about
        );
        safe_kinds += usize::from(safe > 0);
        confirmed_kinds += usize::from(confirmed > safe);
    }
    println!("{table}{safe_kinds} kinds are fixed, {confirmed_kinds} more if confirmed");
    assert!(wrong.is_empty(), "{wrong}");
    assert!(safe_kinds >= 2 && confirmed_kinds >= 7, "{safe_kinds} {confirmed_kinds}");
}
