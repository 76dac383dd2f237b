//! SARIF. The tests of the command validate it with the official schema, and so does an external
//! validator.

use std::collections::BTreeSet;

use obvert_check::Report;
use serde_json::{Value, json};

use crate::fixtures::{all, check, mistaken, tables, today};
use crate::{FORMS, text};

fn log(report: &Report) -> Value {
    serde_json::from_str(&text(FORMS[1].1, report)).expect("json")
}

fn run(report: &Report) -> Value {
    log(report)["runs"][0].take()
}

fn list<'v>(value: &'v Value, key: &str) -> &'v [Value] {
    value[key].as_array().map(Vec::as_slice).unwrap_or_default()
}

#[test]
fn indices_match_ids() {
    for fixture in all() {
        let (name, report) = (fixture.name, fixture.report);
        let run = run(&report);
        let rules = list(&run["tool"]["driver"], "rules");
        let artifacts = list(&run, "artifacts");
        let results = list(&run, "results");
        assert_eq!(results.len(), report.findings.len(), "{name}");
        for (result, finding) in results.iter().zip(&report.findings) {
            let index = result["ruleIndex"].as_u64().expect("a rule index") as usize;
            assert_eq!(rules[index]["id"], result["ruleId"], "{name}");
            assert_eq!(result["ruleId"], &*finding.rule, "{name}");
            assert_eq!(result["level"], finding.severity.as_str(), "{name}");
            let location = &result["locations"][0]["physicalLocation"]["artifactLocation"];
            if let Some(index) = location["index"].as_u64() {
                assert_eq!(artifacts[index as usize]["location"]["uri"], location["uri"], "{name}");
            }
            let uri = location["uri"].as_str().unwrap_or_default();
            // RFC 3986, appendix A: the characters of the path of a URI reference.
            assert!(
                uri.bytes().all(|b| b.is_ascii_alphanumeric() || b"-._~/%:".contains(&b)),
                "{name}: {uri}"
            );
        }
        let ids: BTreeSet<&str> = rules.iter().filter_map(|rule| rule["id"].as_str()).collect();
        assert_eq!(ids.len(), rules.len(), "{name}: no rule is listed twice");
        for rule in rules.iter().filter(|rule| rule["shortDescription"].is_object()) {
            for key in ["shortDescription", "fullDescription"] {
                assert!(
                    rule[key]["text"].as_str().is_some_and(|text| text.len() > 10),
                    "{name}: {rule}"
                );
            }
            assert!(
                rule["help"]["text"].as_str().is_some_and(|text| text.contains("Fix: ")),
                "{name}: {rule}"
            );
            assert!(
                rule["help"]["markdown"].as_str().is_some_and(|text| text.contains("## Fix")),
                "{name}: {rule}"
            );
        }
        let read = report.documents.iter().all(|document| document.info.error.is_none());
        assert_eq!(run["invocations"][0]["executionSuccessful"], read, "{name}");
        let notifications = list(&run["invocations"][0], "toolExecutionNotifications");
        let reported = |id: &str| {
            notifications.iter().filter(|reported| reported["descriptor"]["id"] == id).count()
        };
        assert_eq!(
            reported("rule-not-run"),
            report.not_run.iter().map(|not_run| not_run.rules.len()).sum::<usize>()
        );
        assert_eq!(
            reported("findings-not-listed"),
            report.rules.iter().filter(|rule| rule.listed < rule.total).count()
        );
        assert_eq!(
            reported("document-not-read"),
            report.documents.iter().filter(|one| one.info.error.is_some()).count()
        );
        let known = list(&run["tool"]["driver"], "notifications");
        for notification in notifications {
            let index = notification["descriptor"]["index"].as_u64().expect("an index") as usize;
            assert_eq!(known[index]["id"], notification["descriptor"]["id"], "{name}");
        }
    }
}

#[test]
fn rules_without_findings_are_listed() {
    let run = run(&all().remove(0).report);
    let rules = list(&run["tool"]["driver"], "rules");
    assert!(rules.iter().any(|rule| rule["id"] == "clock-range"));
    let speed = rules.iter().find(|rule| rule["id"] == "camera-speed").expect("the rule");
    assert!(speed["properties"]["limits"]["limit"]["value"].is_number(), "{speed}");
}

#[test]
fn rules_have_their_exceptions() {
    let run = run(&all().remove(0).report);
    let rules = list(&run["tool"]["driver"], "rules");
    let range = rules.iter().find(|rule| rule["id"] == "clock-range").expect("the rule");
    let (text, markdown) = (&range["help"]["text"], &range["help"]["markdown"]);
    let exception = "Exceptions:\n- The code takes no clock reference (clock-not-applicable).\n- A mistake in \
                     the whole column explains it (*Mistakes in a column* in Checking).\n\n";
    assert!(text.as_str().expect("a text").contains(exception), "{text}");
    let exception = "## Exceptions\n\n- The code takes no clock reference (`clock-not-applicable`).\n- A mistake in the \
                     whole column explains it (*Mistakes in a column* in Checking).\n\n";
    assert!(markdown.as_str().expect("Markdown").contains(exception), "{markdown}");
    // A list of several items has a line for each, and a wrapped item is one line.
    let drift = rules.iter().find(|rule| rule["id"] == "clock-extent").expect("the rule");
    let text = drift["help"]["text"].as_str().expect("a text");
    let list = text.split("\n\n").find(|part| part.starts_with("Exceptions:")).expect("a list");
    assert!(list.lines().skip(1).all(|line| line.starts_with("- ")), "{list}");
    assert_eq!(list.lines().count(), 5, "{list}");
}

#[test]
fn levels_and_limits_are_those_of_the_check() {
    let mut settings = today();
    settings.severities.insert("camera-speed".into(), Some(obvert_check::Severity::Error));
    settings.severities.insert("media-unused".into(), None);
    settings.limits.insert(("camera-speed".into(), "limit".into()), 3.0);
    let run = run(&check(&mistaken(), "m.json", settings));
    let rules = list(&run["tool"]["driver"], "rules");
    let speed = rules.iter().find(|rule| rule["id"] == "camera-speed").expect("the rule");
    assert_eq!(speed["defaultConfiguration"]["level"], "error");
    assert_eq!(speed["properties"]["limits"]["limit"]["value"], 3.0);
    assert!(
        !rules.iter().any(|rule| rule["id"] == "media-unused"),
        "what is turned off did not run"
    );
}

#[test]
fn a_finding_has_its_observation_run_and_pipe() {
    let run = run(&check(&mistaken(), "a b/m.json", today()));
    let results = list(&run, "results");
    let clock =
        results.iter().find(|result| result["ruleId"] == "clock-range").expect("the finding");
    let location = &clock["locations"][0];
    let names: Vec<&str> = list(location, "logicalLocations")
        .iter()
        .filter_map(|one| one["fullyQualifiedName"].as_str())
        .collect();
    let of_run = "a%20b/m.json/pipes/L-101/runs/R-101";
    assert_eq!(names, [&format!("{of_run}/observations/6"), of_run, "a%20b/m.json/pipes/L-101"]);
    assert_eq!(location["physicalLocation"]["artifactLocation"]["uri"], "a%20b/m.json");
    assert!(location["physicalLocation"]["region"]["startColumn"].is_u64());
    assert_eq!(clock["properties"]["distance"], 120.0);
    assert_eq!(clock["properties"]["unit"], "ft");
    assert_eq!(clock["properties"]["params"], json!({ "hour": 13.0 }));
}

#[test]
fn a_table_has_lines_but_no_columns_and_a_zip_contains_its_tables() {
    let of_folder = run(&tables("survey tables", "csv"));
    let region = |run: &Value| run["results"][0]["locations"][0]["physicalLocation"].clone();
    assert_eq!(region(&of_folder)["artifactLocation"]["uri"], "survey%20tables/structures.csv");
    assert_eq!(region(&of_folder)["region"], json!({ "startLine": 2 }));
    assert_eq!(of_folder["results"][0]["properties"]["csvColumn"], 3);
    assert_eq!(of_folder["results"][0]["properties"]["csvHeading"], "at");
    for (file, form) in
        [("survey.zip", "csv-zip"), ("survey.xlsx", "xlsx"), ("s.gpkg", "geopackage")]
    {
        let inside = run(&tables(file, form));
        assert_eq!(region(&inside)["artifactLocation"]["uri"], "/structures.csv");
        let index =
            region(&inside)["artifactLocation"]["index"].as_u64().expect("an index") as usize;
        assert_eq!(inside["artifacts"][index]["parentIndex"], 0);
        assert_eq!(inside["artifacts"][0]["location"]["uri"], file);
    }
}

#[test]
fn names_of_files_become_uris() {
    for (file, uri) in [
        ("survey.json", "survey.json"),
        ("./survey.json", "survey.json"),
        ("../a/survey.json", "../a/survey.json"),
        ("100 % #1?.json", "100%20%25%20%231%3F.json"),
        ("a:b.json", "a%3Ab.json"),
        ("/srv/Ω.json", "file:///srv/%CE%A9.json"),
        ("C:\\surveys\\a b.json", "file:///C:/surveys/a%20b.json"),
        ("\\\\office\\surveys\\a.json", "file://office/surveys/a.json"),
        ("folder\\a.json", "folder/a.json"),
    ] {
        let run = run(&check(&mistaken(), file, today()));
        assert_eq!(run["artifacts"][0]["location"]["uri"], uri, "{file}");
    }
}

/// An inserted row changes lines and row numbers, but not the fingerprints.
#[test]
fn fingerprints_are_stable() {
    let prints = |document: &Value| -> BTreeSet<String> {
        let run = run(&check(document, "m.json", today()));
        let results = list(&run, "results").iter();
        results
            .filter_map(|one| {
                one["partialFingerprints"]["obvertFinding/v1"].as_str().map(str::to_owned)
            })
            .collect()
    };
    let before = mistaken();
    let mut after = before.clone();
    let row = json!({ "id": "1a", "at": 1, "code": "note.remark", "remark": "put in", "media": [{ "id": "M-2", "offset": 5 }] });
    after["runs"][0]["observations"].as_array_mut().expect("rows").insert(2, row);
    let party = json!({ "id": "P-0", "name": "another" });
    after["parties"].as_array_mut().expect("parties").insert(0, party);
    assert_eq!(prints(&before), prints(&after));
    assert_eq!(
        prints(&before).len(),
        check(&before, "m.json", today()).findings.len(),
        "each has its own"
    );
}

/// Source: SARIF 2.1.0, 3.11.5 and 3.11.6.
#[test]
fn messages_are_neither_links_nor_placeholders() {
    let mut report = check(&mistaken(), "m.json", today());
    report.findings.truncate(1);
    report.findings[0].help = None;
    for (message, expected) in [
        ("see [this](http://larkmoor.example)", "see \\[this\\](http://larkmoor.example)"),
        ("{0} of {1}", "{{0}} of {{1}}"),
        ("[12] is no row", "[12] is no row"),
    ] {
        report.findings[0].message = message.to_owned();
        assert_eq!(run(&report)["results"][0]["message"]["text"], expected);
    }
}
