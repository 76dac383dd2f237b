//! The reports that every format is tested with.

use obvert_check::{Checker, Location, MINIMAL, Report, Settings};
use obvert_model::profile::Profile;
use serde_json::{Value, json};

/// A report by name.
pub(crate) struct Fixture {
    pub(crate) name: &'static str,
    pub(crate) report: Report,
}

/// Texts with a special meaning in HTML, XML, JSON, SARIF, spreadsheets, build servers or
/// terminals, or that hide or reverse the text next to them.
pub(crate) const HOSTILE: [&str; 12] = [
    "<script>alert(1)</script>",
    "\"'><img src=x onerror=alert(1)>",
    "]]> & &amp; &#0; <!-- -->",
    "=HYPERLINK(\"http://larkmoor.example\")",
    "-2+3+cmd|' /C calc'!A0",
    "\u{202E}drawkcab\u{202C} \u{2066}\u{200B}\u{FEFF}",
    "line\none\r\n::error::two%0A,:;",
    "[a link](http://larkmoor.example) {0} \\ `code` */",
    "\u{0}\u{1}\u{8}\u{B}\u{1B}[31m\u{7F}\u{FFFE}",
    "${{ secrets }} {{ template }} <?php ?>",
    "naïve Ωμέγα 漢字 👷🏽‍♀️ e\u{301}",
    "</style></title></svg><a href=javascript:alert(1)>",
];

/// The minimal document.
pub(crate) fn minimal() -> Value {
    serde_json::from_str(MINIMAL).expect("json")
}

/// The minimal document with mistakes in structures, pipes, media, runs and rows.
pub(crate) fn mistaken() -> Value {
    let mut document = minimal();
    document["structures"][0]["invert"] = json!(651);
    document["pipes"][0]["height"] = json!(0.3);
    document["media"].as_array_mut().expect("media").push(json!({
        "id": "M-9", "file": "photos/stray.jpg", "kind": "photo", "type": "image/jpeg"
    }));
    document["runs"][0]["observations"][4]["at"] = json!(1963);
    document["runs"][0]["observations"][5]["clock"] = json!({ "at": 13 });
    document["runs"][2]["observations"][1]["remark"] = json!("met ");
    document
}

/// A check of a document with a location for every finding.
pub(crate) fn check(document: &Value, file: &str, settings: Settings) -> Report {
    let source = serde_json::to_vec_pretty(document).expect("json");
    let mut report = Checker::new(settings)
        .expect("settings")
        .check(&source)
        .expect("json that was just written");
    report.locate_in(&source, file);
    report.name_file(file);
    report.name_format("json");
    report
}

pub(crate) fn today() -> Settings {
    Settings::default().with_today("2026-06-01".parse().expect("a date"))
}

/// Many rows with one mistake, of which two are listed.
fn capped() -> Report {
    let mut document = minimal();
    let rows = document["runs"][0]["observations"].as_array_mut().expect("rows");
    for row in rows.iter_mut().filter(|row| row["media"].is_array()) {
        // No other dial explains such an hour.
        row["clock"] = json!({ "at": 3.2 });
    }
    check(&document, "capped.obvert.json", today().with_keep(2))
}

fn structure() -> Report {
    let mut document = minimal();
    document["pipes"][0]["hieght"] = json!(8);
    document["runs"][0]["direction"] = json!("down");
    check(&document, "structure.obvert.json", today())
}

/// The report of tables, in a zip or a folder: locations have the number and heading of a column.
pub(crate) fn tables(file: &str, form: &str) -> Report {
    let source = serde_json::to_vec(&mistaken()).expect("json");
    let mut report = Checker::new(today()).expect("settings").check(&source).expect("json");
    report.name_file(file);
    report.name_format(form);
    let mut line = 1;
    report.locate_with(|path| {
        line += 1;
        let table = path.split('/').nth(1)?;
        Some(Location {
            file: format!("{file}/{table}.csv"),
            line,
            column: Some(3),
            heading: Some("at".into()),
        })
    });
    report
}

/// Every text that comes from a survey or a command line is hostile.
fn hostile() -> Report {
    let mut report = check(&mistaken(), "hostile", today());
    let mut texts = HOSTILE.iter().cycle().map(|text| (*text).to_owned());
    let mut next = || texts.next().expect("endless");
    let template = report.findings.clone();
    report.findings = (0..HOSTILE.len()).flat_map(|_| template.clone()).collect();
    for finding in &mut report.findings {
        finding.message = next();
        finding.subject.path = format!("/{}", next());
        finding.help = Some(next());
        finding.subject.record = Some(next());
        for id in
            [&mut finding.subject.pipe, &mut finding.subject.run, &mut finding.subject.observation]
        {
            if id.is_some() {
                *id = Some(next());
            }
        }
        finding.params.insert(next(), next().into());
        if let Some(at) = &mut finding.at {
            at.file = next();
        }
    }
    for rule in &mut report.rules {
        rule.total *= HOSTILE.len();
        rule.listed *= HOSTILE.len();
    }
    let document = &mut report.documents[0];
    document.rules.clone_from(&report.rules);
    (document.info.file, document.info.id, document.info.length_unit) =
        (Some(next()), Some(next()), Some(next()));
    document.totals.error *= HOSTILE.len();
    document.totals.warning *= HOSTILE.len();
    document.totals.note *= HOSTILE.len();
    report.totals = document.totals;
    for pipe in &mut document.affected_pipes {
        (pipe.pipe, pipe.upstream, pipe.downstream) = (next(), Some(next()), Some(next()));
        for run in &mut pipe.runs {
            (run.run, run.from, run.to) = (next(), Some(next()), Some(next()));
        }
    }
    // Some findings are in the runs that are drawn.
    let drawn = document.affected_pipes[0].clone();
    for finding in report.findings.iter_mut().step_by(2) {
        finding.subject.pipe = Some(drawn.pipe.clone());
        finding.subject.run = Some(drawn.runs[0].run.clone());
        finding.subject.distance = Some(20.0);
    }
    let not_run = json!({ "why": next(), "rules": [next()], "documents": [0] });
    report.not_run.push(serde_json::from_value(not_run).expect("rules that were not run"));
    let profile = json!({ "id": next(), "version": next(), "title": next(), "digest": next() });
    report.profile = Some(serde_json::from_value(profile).expect("a profile's identity"));
    let suppressed =
        json!({ "rule": next(), "reason": next(), "count": 3, "until": next(), "document": 0 });
    report.suppressed.push(serde_json::from_value(suppressed).expect("suppressed findings"));
    report.settings.limits.insert(next(), -1.5);
    report.settings.severities.insert(next(), next());
    report
}

/// A check against a profile, with a suppressed finding and one whose suppression has expired.
fn against_profile() -> Report {
    let profile = json!({
        "profile": "0.1", "id": "larkmoor-water", "version": "3", "title": "Sewer surveys for the town of Larkmoor",
        "fields": [{ "path": "pipes.laid", "demand": "required" }],
        "suppressions": [
            { "rule": "required-field-missing", "pipes": ["L-101"], "reason": "the books were lost" },
            { "rule": "required-field-missing", "pipes": ["L-102"], "reason": "digging", "until": "2026-04-30" }
        ]
    });
    let profile = Profile::read(profile.to_string().as_bytes()).expect("a profile");
    check(&minimal(), "clean.obvert.json", today().with_profile(profile))
}

/// The report of a file that could not be read.
pub(crate) fn unread(file: &str, error: &str) -> Report {
    Checker::new(Settings::default()).expect("settings").unread(file, error)
}

/// Every report, by name.
pub(crate) fn all() -> Vec<Fixture> {
    let mut several = check(&minimal(), "clean.obvert.json", today());
    several.merge(check(&mistaken(), "mistakes.obvert.json", today()));
    several.merge(unread("torn, 100%.json", "torn, 100%.json: the source ends too early"));
    several.merge(structure());
    let mut both = unread("a.json", "a.json: there is no such file");
    both.merge(unread("b.json", "b.json: the source is empty"));
    let fixture = |name, report| Fixture { name, report };
    vec![
        fixture("clean", check(&minimal(), "clean.obvert.json", today())),
        fixture("mistakes", check(&mistaken(), "mistakes.obvert.json", today())),
        fixture("no today", check(&minimal(), "clean.obvert.json", Settings::default())),
        fixture("capped", capped()),
        fixture("several", several),
        fixture("structure", structure()),
        fixture("unread", both),
        fixture("folder", tables("survey tables", "csv")),
        fixture("zip", tables("survey.zip", "csv-zip")),
        fixture("profile", against_profile()),
        fixture("hostile", hostile()),
    ]
}
