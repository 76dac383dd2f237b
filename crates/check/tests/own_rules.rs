//! Custom rules in addition to the catalogue: they are run, limited, suppressed and explained like
//! built-in rules, and every format of a report describes them.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_check::fixing::FixSettings;
use obvert_check::{
    Check, Checker, Fact, FactKind, Finding, Limit, MINIMAL, Need, Report, Rule, Section, Settings,
    SettingsError, Severity, Subject, output,
};
use obvert_model::profile::Profile;
use obvert_model::read::{Diagnosis, Problem, ProblemKind};
use serde_json::{Value, json};

const DOCUMENTATION: &str = "# What it checks
A run is no longer than `longest`, since the *tether* of the camera is not.

# Why it matters
There is no video of the rest.

# Fix
Look at the run's end again.";

static TETHER: Rule = Rule::new(
    "org.example/beyond-tether",
    Severity::Warning,
    Check::Run(|run, out| {
        let longest = out.limit("longest");
        let Some(travelled) = run.travelled().filter(|metres| *metres > longest) else { return };
        let length = run.survey.format_metres(travelled);
        out.report(run.subject("/surveyed"), format!("the run is {length} long"))
            .fact("length", travelled);
    }),
    DOCUMENTATION,
)
.with_limits(&[Limit::new("longest", 40.0, "m", "the length of the tether")])
.with_facts(&[Fact::new("length", FactKind::Metres, "how long the run is")]);

/// Counts pipes of a survey that has a run.
static FEW_PIPES: Rule = Rule::new(
    "org.example/few-pipes",
    Severity::Note,
    Check::Ending(|ending, out| {
        let pipes = ending.survey.head.pipes.len();
        if pipes < 2 {
            out.report(Subject::at(""), format!("only {pipes} pipes"));
        }
    }),
    "# What it checks\nA survey has two pipes.",
)
.concluding_from(&[&["pipes"]]);

fn settings() -> Settings {
    Settings::default()
        .with_rules([&TETHER, &FEW_PIPES])
        .with_today("2026-06-01".parse().expect("a date"))
}

fn check(settings: Settings) -> Report {
    Checker::new(settings).unwrap().check(MINIMAL.as_bytes()).unwrap()
}

fn found(report: &Report) -> Vec<(&str, Severity, &str)> {
    report
        .findings
        .iter()
        .map(|finding| (&*finding.rule, finding.severity, &*finding.subject.path))
        .collect()
}

#[test]
fn they_are_reported_like_any_other() {
    let report = check(settings());
    assert_eq!(
        found(&report),
        [("org.example/beyond-tether", Severity::Warning, "/runs/0/surveyed")]
    );
    let finding = &report.findings[0];
    assert_eq!(finding.message, "the run is 200 ft long");
    assert_eq!(
        (finding.subject.pipe.as_deref(), finding.subject.run.as_deref()),
        (Some("L-101"), Some("R-101"))
    );
    assert_eq!(report.totals.warning, 1);
    assert!(report.ran("org.example/few-pipes", 0));
    assert_eq!(Report::read(&serde_json::to_vec(&report).unwrap()).unwrap(), report);
}

#[test]
fn severities_and_limits_apply() {
    let with = |change: &dyn Fn(&mut Settings)| {
        let mut settings = settings();
        change(&mut settings);
        check(settings)
    };
    let name = || TETHER.name.to_owned();
    let error = with(&|settings| {
        settings.severities.insert(name(), Some(Severity::Error));
    });
    assert_eq!((error.totals.error, error.totals.warning), (1, 0));
    let off = with(&|settings| {
        settings.severities.insert(name(), None);
    });
    assert_eq!((off.totals.all(), off.ran(TETHER.name, 0)), (0, false));
    let shorter = with(&|settings| {
        settings.limits.insert((name(), "longest".into()), 20.0);
    });
    assert_eq!(shorter.totals.warning, 3);
    assert_eq!(shorter.settings.limits["org.example/beyond-tether.longest"], 20.0);
}

#[test]
fn profiles_apply() {
    let profile = json!({
        "profile": "0.1", "id": "larkmoor", "version": "3", "title": "Sewer surveys",
        "rules": [{ "rule": TETHER.name, "severity": "error", "limits": [{ "name": "longest", "value": 66, "unit": "ft" }] }],
        "suppressions": [{ "rule": TETHER.name, "runs": ["R-101"], "reason": "the long tether was lent" }]
    });
    let profile = Profile::read(profile.to_string().as_bytes()).unwrap();
    let report = check(settings().with_profile(profile));
    assert_eq!((report.totals.error, report.totals.all()), (2, 2));
    let suppressed = &report.suppressed[0];
    assert_eq!((suppressed.rule.as_str(), suppressed.count), (TETHER.name, 1));
}

#[test]
fn they_are_explained() {
    let checker = Checker::new(settings()).unwrap();
    let rule = checker.rule("org.example/beyond-tether").unwrap();
    assert_eq!(
        rule.summary(),
        "A run is no longer than `longest`, since the *tether* of the camera is not."
    );
    assert_eq!(rule.section(Section::Matters), "There is no video of the rest.");
    assert_eq!(
        (rule.advice().as_str(), rule.family()),
        ("Look at the run's end again.", "org.example")
    );
    assert!(
        checker.rule("clock-range").is_some() && checker.rule("org.example/clock-range").is_none()
    );
}

#[test]
fn every_format_of_a_report_describes_them() {
    // Written and read again, since another program may convert the report.
    let report = Report::read(&serde_json::to_vec(&check(settings())).unwrap()).unwrap();
    let text = |write: &dyn Fn(&mut Vec<u8>) -> std::io::Result<()>| {
        let mut text = Vec::new();
        write(&mut text).unwrap();
        String::from_utf8(text).unwrap()
    };
    let sarif: Value =
        serde_json::from_str(&text(&|sink| output::sarif::write(&report, sink))).unwrap();
    let rules = sarif["runs"][0]["tool"]["driver"]["rules"].as_array().unwrap();
    let rule = rules.iter().find(|rule| rule["id"] == TETHER.name).expect("the rule");
    assert_eq!(rule["defaultConfiguration"]["level"], "warning");
    assert_eq!(rule["properties"]["tags"], json!(["org.example"]));
    assert!(rule["help"]["text"].as_str().unwrap().contains("no video of the rest"));
    let page = text(&|sink| output::html::write(&report, &output::html::Options::default(), sink));
    for part in [
        "Beyond tether",
        "org.example/beyond-tether",
        "no video of the rest",
        "Look at the run's end again.",
    ] {
        assert!(page.contains(part) || page.contains(&part.replace('\'', "&#39;")), "{part}");
    }
    for text in [
        text(&|sink| output::csv::write(&report, sink)),
        text(&|sink| output::github::write(&report, sink)),
        text(&|sink| output::junit::write(&report, Severity::Warning, sink)),
    ] {
        assert!(text.contains("beyond-tether") && text.contains("end again"), "{text}");
    }
}

#[test]
fn they_are_skipped_if_their_evidence_could_not_be_read() {
    let checker = Checker::new(settings()).unwrap();
    let spoiled = |pointer: &str| {
        let problem = Problem::new(ProblemKind::WrongType, pointer, "spoiled");
        checker.check_value(Diagnosis {
            value: serde_json::from_str(MINIMAL).unwrap(),
            problems: vec![problem],
        })
    };
    let report = spoiled("/pipes/1");
    let not_run = report
        .not_run
        .iter()
        .find(|not_run| not_run.rules.iter().any(|rule| rule == FEW_PIPES.name));
    assert_eq!(not_run.expect("not run").why, "/pipes/1 was left out");
    assert!(!report.findings.iter().any(|finding| finding.rule == FEW_PIPES.name));
    // A rule with the scope `Run` depends on the whole run and on nothing else.
    let of_tether = |report: &Report| {
        report.findings.iter().filter(|finding| finding.rule == TETHER.name).count()
    };
    assert_eq!(of_tether(&spoiled("/runs/0/observations/2")), 0);
    assert_eq!(of_tether(&spoiled("/runs/1/observations/0")), 1);
}

#[test]
fn names_never_collide() {
    let with =
        |rules: Vec<&'static Rule>| Checker::new(Settings::default().with_rules(rules)).map(|_| ());
    let why = |rules: Vec<&'static Rule>| match with(rules) {
        Err(SettingsError::OwnRule { why, .. }) => why,
        other => panic!("{other:?}"),
    };
    const CHECK: Check = Check::Document(|_, _| {});
    const SAYS: &str = "# What it checks\nNothing.";
    static BUILT_IN: Rule = Rule::new("clock-range", Severity::Note, CHECK, SAYS);
    static NO_DOMAIN: Rule = Rule::new("ours/clock-range", Severity::Note, CHECK, SAYS);
    static UPPER: Rule = Rule::new("org.example/Clock", Severity::Note, CHECK, SAYS);
    for rule in [&BUILT_IN, &NO_DOMAIN, &UPPER] {
        assert_eq!(
            why(vec![rule]),
            "its name needs a reverse domain name, such as org.example/street-missing, all in lower case",
            "{}",
            rule.name
        );
    }
    assert_eq!(why(vec![&TETHER, &TETHER]), "another rule has the same name");
    static SILENT: Rule = Rule::new("org.example/silent", Severity::Note, CHECK, "");
    assert_eq!(why(vec![&SILENT]), "its documentation has no section `What it checks`");
    static VAGUE: Rule = Rule::new("org.example/vague", Severity::Note, CHECK, SAYS)
        .concluding_from(&[&["weather"]]);
    assert_eq!(
        why(vec![&VAGUE]),
        "it concludes from \"weather\", which is not a part of a document"
    );
    static NEGATIVE: Rule = Rule::new("org.example/negative", Severity::Note, CHECK, SAYS)
        .with_limits(&[Limit::new("least", -1.0, "m", "nothing")]);
    assert_eq!(why(vec![&NEGATIVE]), "its limit least is -1; a limit must be 0 or more");
    // A name similar to that of the custom rule.
    let mut settings = settings();
    settings.severities.insert("org.example/beyond-tethers".into(), None);
    let error = Checker::new(settings).map(|_| ()).unwrap_err();
    let near = "there is no rule \"org.example/beyond-tethers\"; did you mean \"org.example/beyond-tether\"?";
    assert_eq!(error.to_string(), near);
}

#[test]
fn needs_are_checked_and_fixes_applied() {
    static NEEDS_LIST: Rule = Rule::new(
        "org.example/pipe-unnamed",
        Severity::Note,
        Check::Pipe(|view, out| {
            if view.pipe.street.is_none() {
                let edits =
                    vec![obvert_check::Edit::add(view.subject("/street").path, "Unnamed Lane")];
                out.report(view.subject(""), "no street").fix_safely("adds the street", edits);
            }
        }),
        "# What it checks\nEvery pipe has a street.",
    )
    .with_needs(&[Need::Codes]);
    let checker = Checker::new(Settings::default().with_rules([&NEEDS_LIST])).unwrap();
    let only = FixSettings::default().with_only([NEEDS_LIST.name]);
    let fixed = checker.fix(MINIMAL.as_bytes(), &only, None).unwrap();
    assert_eq!(fixed.document.applied[0].rule, NEEDS_LIST.name);
    assert!(fixed.text.contains("Unnamed Lane"));
    let unlisted = MINIMAL.replace("obvert-terms", "terms-of-nowhere");
    let report = checker.check(unlisted.as_bytes()).unwrap();
    assert!(!report.ran(NEEDS_LIST.name, 0));
}

#[test]
fn findings_and_reports_are_added() {
    let mut report = check(settings());
    let finding = Finding::new(
        "org.example/unpaid",
        Severity::Error,
        "no invoice names the run",
        Subject::at("/runs/1"),
    );
    report.add(finding.clone());
    assert_eq!((report.totals.error, report.totals.warning), (1, 1));
    assert_eq!((report.documents[0].totals.error, report.documents[0].rules.len()), (1, 2));
    // Findings are in the order of the document, not in that of adding.
    report.extend([Finding::new(
        "org.example/unpaid",
        Severity::Error,
        "first",
        Subject::at("/pipes/0"),
    )]);
    let paths: Vec<&str> =
        report.findings.iter().map(|finding| finding.subject.path.as_str()).collect();
    assert_eq!(paths, ["/pipes/0", "/runs/0/surveyed", "/runs/1"]);
    assert_eq!(report.rules[0].total, 2);

    let mut all = check(settings());
    all.extend([report, check(Settings::default())]);
    assert_eq!(all.documents.len(), 3);
    assert_eq!((all.totals.error, all.totals.warning), (2, 2));
    assert_eq!(all.own_rules.len(), 2);
    let mut second = finding;
    second.document = 1;
    all.add(second);
    assert_eq!((all.documents[0].totals.error, all.documents[1].totals.error), (0, 3));
    let order: Vec<usize> = all.findings.iter().map(|finding| finding.document).collect();
    assert_eq!(order, [0, 1, 1, 1, 1]);
}
