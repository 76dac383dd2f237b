//! The part `rules`: documents in which a rule must have a finding, and near misses in which it must not.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use obvert::check::{Checker, Need, Section, Settings, catalogue, find};
use obvert::model::profile::Profile;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use crate::found::{Found, besides, by_document, differences};
use crate::layout;
use crate::manifest::{blessing, bytes, hold, json, paths};
use crate::support::{obvert_in, stderr};

/// The small survey that the examples of the rules change.
const MINIMAL: &str = "bases/minimal.obvert.json";
/// The date of today, unless a manifest of rules states another.
const TODAY: &str = "2026-06-01";
const SUITE: &str = "0.1";

#[derive(Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
struct Manifest {
    #[serde(rename = "$schema")]
    schema: String,
    suite: String,
    part: String,
    family: String,
    today: String,
    cases: Vec<Case>,
}

/// A document and its expected findings.
#[derive(Clone, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Case {
    pub(crate) id: String,
    pub(crate) rule: String,
    outcome: Outcome,
    from: Origin,
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    alone: bool,
    #[serde(skip_serializing_if = "std::ops::Not::not", default)]
    by_map: bool,
    about: String,
    base: String,
    #[serde(skip_serializing_if = "CaseSettings::is_plain", default)]
    settings: CaseSettings,
    patch: Value,
    pub(crate) expect: Vec<Expected>,
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    pub(crate) also: BTreeMap<String, Vec<String>>,
}

#[derive(Clone, Copy, Deserialize, Serialize, PartialEq, Debug)]
#[serde(rename_all = "kebab-case")]
enum Outcome {
    Fails,
    Passes,
}

/// Whether a case is from the documentation of its rule or was written for the suite.
#[derive(Clone, Copy, Deserialize, Serialize, PartialEq)]
#[serde(rename_all = "kebab-case")]
enum Origin {
    Rule,
    Hand,
}

#[derive(Clone, Default, Deserialize, Serialize, PartialEq)]
#[serde(deny_unknown_fields)]
struct CaseSettings {
    #[serde(skip_serializing_if = "Option::is_none", default)]
    today: Option<String>,
    #[serde(skip_serializing_if = "BTreeMap::is_empty", default)]
    limits: BTreeMap<String, f64>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    profile: Option<Value>,
}

impl CaseSettings {
    fn is_plain(&self) -> bool {
        *self == Self::default()
    }
}

#[derive(Clone, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Expected {
    pub(crate) rule: String,
    pub(crate) pointer: String,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(crate) severity: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(crate) params: Option<Map<String, Value>>,
}

fn read(path: &str) -> Manifest {
    serde_json::from_value(json(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

fn manifests() -> Vec<(String, Manifest)> {
    paths()
        .into_iter()
        .filter(|path| path.starts_with("rules/"))
        .map(|path| (path.clone(), read(&path)))
        .collect()
}

/// Base documents, each read once.
#[derive(Default)]
struct Bases(BTreeMap<String, Value>);

impl Bases {
    fn base(&mut self, path: &str) -> &Value {
        self.0
            .entry(path.to_owned())
            .or_insert_with(|| serde_json::from_slice(&bytes(path)).expect("a base is JSON"))
    }

    fn document(&mut self, case: &Case) -> Value {
        let patch: json_patch::Patch = serde_json::from_value(case.patch.clone())
            .unwrap_or_else(|error| panic!("{}: {error}", case.id));
        let mut document = self.base(&case.base).clone();
        json_patch::patch(&mut document, &patch)
            .unwrap_or_else(|error| panic!("{}: {error}", case.id));
        document
    }
}

/// The library's report on a document, in JSON.
fn report(document: &Value, settings: &CaseSettings, today: &str) -> Value {
    let limits = settings.limits.iter().map(|(name, value)| {
        let (rule, limit) = name.split_once('.').expect("rule.limit");
        ((rule.to_owned(), limit.to_owned()), *value)
    });
    let profile = settings.profile.as_ref().map(|profile| {
        Profile::read(profile.to_string().as_bytes())
            .unwrap_or_else(|error| panic!("{error} in {profile}"))
    });
    let today = settings.today.as_deref().unwrap_or(today).parse().expect("a date");
    let mut settings = Settings::default().with_profile(profile).with_today(today);
    settings.limits = limits.collect();
    let checker = Checker::new(settings).expect("settings");
    let report = checker.check(document.to_string().as_bytes()).expect("json");
    serde_json::to_value(report).expect("a report is JSON")
}

fn not_run(report: &Value, document: usize, rule: &str) -> bool {
    report.get("not_run").and_then(Value::as_array).into_iter().flatten().any(|not_run| {
        let named = not_run["rules"].as_array().into_iter().flatten().any(|name| name == rule);
        let concerned = not_run["documents"]
            .as_array()
            .is_some_and(|all| all.iter().any(|one| one == document));
        named && concerned
    })
}

/// The cases that the documentation of the rules has, for one family.
fn documented(family: &str, bases: &mut Bases) -> Vec<Case> {
    let mut cases = Vec::new();
    for rule in catalogue().iter().filter(|rule| rule.family() == family) {
        let profile = rule.profile().map(|text| serde_json::from_str(&text).expect("a profile"));
        let settings = CaseSettings { profile, ..CaseSettings::default() };
        for (section, outcome, word) in [
            (Section::Fails, Outcome::Fails, "fails"),
            (Section::Passes, Outcome::Passes, "passes"),
        ] {
            for (number, example) in (1..).zip(rule.examples(section)) {
                let expected = Expected {
                    rule: rule.name.into(),
                    pointer: example.path,
                    severity: None,
                    params: None,
                };
                let case = Case {
                    id: format!("{}/{word}-{number}", rule.name),
                    rule: rule.name.into(),
                    outcome,
                    from: Origin::Rule,
                    alone: false,
                    by_map: false,
                    about: format!(
                        "example {number} under {} in the documentation of the rule",
                        section.heading()
                    ),
                    base: MINIMAL.into(),
                    settings: settings.clone(),
                    patch: serde_json::from_str(&example.patch).expect("a patch"),
                    expect: if outcome == Outcome::Fails { vec![expected] } else { Vec::new() },
                    also: BTreeMap::new(),
                };
                // An example that equals the base is of no use to implementers.
                if bases.document(&case) != *bases.base(&case.base) {
                    cases.push(case);
                }
            }
        }
    }
    cases
}

/// Whether rules that need no reference system have other findings if the document's system is unknown: they are skipped
/// if the positions show that the units are doubtful.
fn goes_by_map(case: &Case, found: &[Found], today: &str, bases: &mut Bases) -> bool {
    // If the units are wrong, that is a finding.
    if !found
        .iter()
        .any(|found| ["length-unit-suspect", "crs-unit-suspect"].contains(&found.rule.as_str()))
    {
        return false;
    }
    let mut document = bases.document(case);
    match document.get_mut("crs") {
        Some(crs) => *crs = Value::from("NOBODY:1"),
        None => return false,
    }
    let blind = by_document(&report(&document, &case.settings, today)).remove(0);
    let others = |found: &[Found]| -> BTreeSet<(String, String)> {
        // Findings on the system itself do not count.
        let placeless = |name: &str| {
            !name.starts_with("crs-")
                && find(name).is_some_and(|rule| !rule.needs.contains(&Need::Crs))
        };
        let found = found.iter().filter(|found| placeless(&found.rule));
        found.map(|found| (found.rule.clone(), found.pointer.clone())).collect()
    };
    others(found) != others(&blind)
}

/// The case with its derived parts computed again.
fn derived(mut case: Case, found: &[Found], today: &str, bases: &mut Bases) -> Case {
    case.by_map = goes_by_map(&case, found, today, bases);
    case.also = besides(&case, found);
    for expected in &mut case.expect {
        let is_it =
            |found: &&Found| found.rule == expected.rule && found.pointer == expected.pointer;
        if let Some(found) = found.iter().find(is_it) {
            expected.severity = Some(found.severity.clone());
            expected.params = Some(found.params.clone()).filter(|params| !params.is_empty());
        }
    }
    case
}

/// The result of a case in the library: its manifest's path, the case, the findings, and whether its rule was not run.
type Result = (String, Case, Vec<Found>, bool);

/// Every case of every manifest through the library, once for all tests that look at the results.
fn results() -> &'static [Result] {
    static RESULTS: OnceLock<Vec<Result>> = OnceLock::new();
    RESULTS.get_or_init(|| {
        let mut bases = Bases::default();
        let mut results = Vec::new();
        for (path, manifest) in manifests() {
            for case in manifest.cases {
                let report = report(&bases.document(&case), &case.settings, &manifest.today);
                let kept = not_run(&report, 0, &case.rule);
                results.push((path.clone(), case, by_document(&report).remove(0), kept));
            }
        }
        results
    })
}

/// Every finding of every case.
pub(crate) fn findings() -> impl Iterator<Item = &'static Found> {
    results().iter().flat_map(|(_, _, found, _)| found)
}

/// Everything derived in the manifests of rules is what this implementation gives, and the examples are those of the
/// catalogue. Rules, pointers and outcomes are never derived.
#[test]
fn manifests_are_fresh() {
    let mut stale: Vec<String> = hold(MINIMAL, obvert::check::MINIMAL).into_iter().collect();
    let mut bases = Bases::default();
    let mut families: BTreeSet<String> = catalogue()
        .iter()
        .map(|rule| rule.family())
        .filter(|name| *name != "files")
        .map(str::to_owned)
        .collect();
    for (path, manifest) in manifests() {
        families.remove(&manifest.family);
        let order = |rule: &str| catalogue().iter().position(|one| one.name == rule);
        let mut cases = documented(&manifest.family, &mut bases);
        cases.extend(manifest.cases.into_iter().filter(|case| case.from == Origin::Hand));
        if manifest.family != "larkmoor" {
            cases.sort_by_key(|case| (order(&case.rule), case.outcome == Outcome::Passes));
        }
        let known: BTreeMap<&str, &Result> = results()
            .iter()
            .filter(|(of, ..)| *of == path)
            .map(|result| (result.1.id.as_str(), result))
            .collect();
        let same = |case: &Case, other: &Case| {
            (&case.patch, &case.base, &case.settings)
                == (&other.patch, &other.base, &other.settings)
        };
        let cases = cases
            .into_iter()
            .map(|case| match known.get(case.id.as_str()).filter(|known| same(&case, &known.1)) {
                Some(known) => derived(case, &known.2, &manifest.today, &mut bases),
                None => {
                    let report = report(&bases.document(&case), &case.settings, &manifest.today);
                    derived(case, &by_document(&report)[0], &manifest.today, &mut bases)
                }
            })
            .collect();
        let manifest = Manifest { cases, ..manifest };
        let text = layout::text(&serde_json::to_value(manifest).expect("json"));
        stale.extend(hold(&path, &text));
    }
    assert_eq!(families, BTreeSet::new(), "families without a manifest");
    assert!(stale.is_empty(), "{}", stale.join("\n"));
}

/// Every case through the library.
#[test]
fn every_case_holds_in_the_library() {
    let wrong: Vec<String> = results()
        .iter()
        .flat_map(|(_, case, found, not_run)| complaints(case, found, *not_run))
        .collect();
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}

fn complaints(case: &Case, found: &[Found], not_run: bool) -> Vec<String> {
    let mut wrong = differences(case, found);
    if not_run {
        wrong.push(format!("{} was not run", case.rule));
    }
    wrong.into_iter().map(|what| format!("{}: {what}", case.id)).collect()
}

/// Every case through the command: all documents with the same settings in one call.
#[test]
fn every_case_holds_in_the_command() {
    let mut bases = Bases::default();
    let mut calls: BTreeMap<String, (CaseSettings, Vec<(Case, Value)>)> = BTreeMap::new();
    for (_, manifest) in manifests() {
        for case in manifest.cases {
            let document = bases.document(&case);
            let mut settings = case.settings.clone();
            settings.today.get_or_insert_with(|| manifest.today.clone());
            let key = serde_json::to_string(&settings).expect("json");
            calls.entry(key).or_insert_with(|| (settings, Vec::new())).1.push((case, document));
        }
    }
    let mut wrong = Vec::new();
    for (settings, cases) in calls.into_values() {
        let folder = tempfile::tempdir().expect("folder");
        let names: Vec<String> =
            (0..cases.len()).map(|number| format!("{number:04}.obvert.json")).collect();
        for (name, (_, document)) in names.iter().zip(&cases) {
            std::fs::write(folder.path().join(name), document.to_string()).expect("write");
        }
        let mut arguments =
            vec!["check".to_owned(), "--format".into(), "json".into(), "--all".into()];
        arguments.extend(["--today".into(), settings.today.expect("a date")]);
        for (limit, value) in &settings.limits {
            arguments.extend(["--limit".into(), format!("{limit}={value}")]);
        }
        if let Some(profile) = &settings.profile {
            std::fs::write(folder.path().join("profile.json"), profile.to_string()).expect("write");
            arguments.extend(["--profile".into(), "profile.json".into()]);
        }
        arguments.extend(names);
        let output =
            obvert_in(folder.path(), &arguments.iter().map(String::as_str).collect::<Vec<_>>());
        let report: Value = serde_json::from_slice(&output.stdout)
            .unwrap_or_else(|error| panic!("{error} after {}: {}", cases[0].0.id, stderr(&output)));
        let found = by_document(&report);
        assert_eq!(found.len(), cases.len());
        for (number, ((case, _), found)) in cases.iter().zip(&found).enumerate() {
            wrong.extend(complaints(case, found, not_run(&report, number, &case.rule)));
        }
    }
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}

/// Every rule has at least two documents that fail and two near misses, all different.
#[test]
fn every_rule_has_its_cases() {
    let mut bases = Bases::default();
    let mut wrong = Vec::new();
    let mut counted: BTreeMap<(String, bool), BTreeSet<String>> = BTreeMap::new();
    for (path, manifest) in manifests() {
        assert_eq!((manifest.suite.as_str(), manifest.part.as_str()), (SUITE, "rules"), "{path}");
        for case in &manifest.cases {
            let mut say = |what: &str| wrong.push(format!("{}: {what}", case.id));
            let Some(rule) = find(&case.rule) else {
                say("there is no such rule");
                continue;
            };
            let document = bases.document(case);
            if document == *bases.base(&case.base) {
                say("the patch changes nothing");
            }
            if manifest.family == "larkmoor" {
                if case.outcome == Outcome::Passes {
                    say("a mistake that passes is none");
                }
                // Further findings of the same mistake are listed by hand, so that they do not grow unnoticed.
                if case.also.values().map(Vec::len).sum::<usize>() > usize::from(case.alone) * 3 {
                    say("finds more than it is about");
                }
            } else {
                if rule.family() != manifest.family
                    || !case.id.starts_with(&format!("{}/", rule.name))
                {
                    say("stands in the wrong place");
                }
                let of = counted
                    .entry((rule.name.to_owned(), case.outcome == Outcome::Fails))
                    .or_default();
                if !of.insert(format!(
                    "{document}{}",
                    serde_json::to_string(&case.settings).expect("json")
                )) {
                    say("the same document as another case");
                }
            }
            let expects = case.expect.iter().any(|expected| expected.rule == case.rule);
            if expects != (case.outcome == Outcome::Fails)
                || case.outcome == Outcome::Passes && !case.expect.is_empty()
            {
                say("the outcome and what is expected contradict each other");
            }
            if case.also.keys().any(|other| find(other).is_none()) {
                say("the document is not one that can be read");
            }
            if case.outcome == Outcome::Passes && case.also.contains_key(&case.rule) {
                say("passes, but its rule is among what else is found");
            }
        }
    }
    for rule in catalogue().iter().filter(|rule| !rule.needs.contains(&Need::Files)) {
        for (fails, word) in [(true, "fail"), (false, "pass")] {
            let count = counted.get(&(rule.name.to_owned(), fails)).map_or(0, BTreeSet::len);
            if count < 2 {
                wrong.push(format!("{}: {count} documents that {word}, wanted are two", rule.name));
            }
        }
    }
    assert!(wrong.is_empty() || blessing(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}

/// The comparison works: every changed expectation is reported.
#[test]
fn a_flipped_expectation_fails() {
    let mut flipped = [0; 6];
    {
        for (_, case, found, _) in results() {
            let mut check = |number: usize, changed: &dyn Fn(&mut Case)| {
                let mut case = case.clone();
                changed(&mut case);
                assert_ne!(
                    differences(&case, found),
                    Vec::<String>::new(),
                    "{}: flip {number}",
                    case.id
                );
                flipped[number] += 1;
            };
            let phantom = || Expected {
                rule: case.rule.clone(),
                pointer: "/nowhere".into(),
                severity: None,
                params: None,
            };
            check(0, &|case| case.expect.push(phantom()));
            check(1, &|case| drop(case.also.insert("no-such-rule".into(), vec![String::new()])));
            if case.outcome == Outcome::Fails {
                check(2, &|case| case.expect.clear());
                check(3, &|case| case.expect[0].pointer.push_str("/0"));
                check(4, &|case| case.expect[0].severity = Some("none".into()));
                if case.expect[0].params.is_some() {
                    check(5, &|case| {
                        for value in case.expect[0].params.iter_mut().flat_map(Map::values_mut) {
                            *value = Value::String("another".into());
                        }
                    });
                }
            }
        }
    }
    assert!(flipped.iter().all(|count| *count > 100), "{flipped:?}");
}

/// The default date of the manifests is the one that the documentation of the rules is checked with.
#[test]
fn the_date_is_that_of_the_examples() {
    for (path, manifest) in
        manifests().into_iter().filter(|(_, manifest)| manifest.family != "larkmoor")
    {
        assert_eq!(manifest.today, TODAY, "{path}");
    }
}
