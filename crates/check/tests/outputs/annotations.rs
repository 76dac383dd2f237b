//! Workflow commands of GitHub Actions.

use std::collections::BTreeMap;

use obvert_check::Severity;

use crate::fixtures::all;
use crate::{FORMS, text};

/// A command as its runner reads it. Source: `actions/runner`, ActionCommand: the properties end at
/// the first `::`, are separated by commas, and are unescaped after that.
struct Command {
    kind: String,
    properties: BTreeMap<String, String>,
    message: String,
}

fn parse(line: &str) -> Command {
    let rest = line.strip_prefix("::").expect("a command");
    let (head, message) = rest.split_once("::").expect("a message");
    let (kind, properties) = head.split_once(' ').unwrap_or((head, ""));
    let unescape = |text: &str| text.replace("%0D", "\r").replace("%0A", "\n").replace("%25", "%");
    let properties = properties
        .split(',')
        .map(|pair| {
            let (name, value) = pair.split_once('=').expect("name=value");
            (name.to_owned(), unescape(&value.replace("%3A", ":").replace("%2C", ",")))
        })
        .collect();
    Command { kind: kind.to_owned(), properties, message: unescape(message) }
}

#[test]
fn every_finding_is_an_annotation_and_keeps_its_text() {
    for fixture in all() {
        let (name, report) = (fixture.name, fixture.report);
        let text = text(FORMS[3].1, &report);
        let commands: Vec<Command> = text.lines().map(parse).collect();
        let kind = |severity| match severity {
            Severity::Error => "error",
            Severity::Warning => "warning",
            Severity::Note => "notice",
        };
        let messages: Vec<&Command> = commands.iter().rev().take(report.findings.len()).collect();
        assert!(commands.len() > report.findings.len(), "{name}");
        for finding in &report.findings {
            let found = messages.iter().any(|command| {
                command.kind == kind(finding.severity)
                    && command.properties.get("title").map(String::as_str) == Some(&*finding.rule)
                    && command.message.starts_with(&finding.message)
                    && finding.at.as_ref().is_none_or(|at| {
                        command.properties.get("file") == Some(&at.file)
                            && command.properties.get("line") == Some(&at.line.to_string())
                            && command.properties.contains_key("col") == at.heading.is_none()
                    })
            });
            assert!(found, "{name}: {finding:?}\n{text}");
        }
        let totals = commands
            .iter()
            .find(|command| command.properties.get("title").is_some_and(|t| t == "obvert check"));
        let expected = format!("{} error", report.totals.error);
        assert!(
            totals.is_some_and(|totals| totals.message.starts_with(&expected)),
            "{name}: {text}"
        );
        // The runner shows only the first ones, so the most severe findings come first.
        let order: Vec<&str> = messages.iter().rev().map(|command| command.kind.as_str()).collect();
        let mut sorted = order.clone();
        sorted.sort_by_key(|kind| {
            ["error", "warning", "notice"].iter().position(|known| known == kind)
        });
        assert_eq!(order, sorted, "{name}");
    }
}

#[test]
fn the_escaping_is_the_documented_one() {
    let mut report = all().remove(1).report;
    report.findings.truncate(1);
    let finding = &mut report.findings[0];
    finding.message = "100 %, a: b\r\nc".into();
    finding.help = Some("d".into());
    (
        finding.subject.record,
        finding.subject.pipe,
        finding.subject.run,
        finding.subject.observation,
        finding.subject.distance,
    ) = (None, None, None, None, None);
    finding.at.as_mut().expect("a place").file = "a,b:c%.json".into();
    let text = text(FORMS[3].1, &report);
    let line = text.lines().last().expect("a line");
    let file = "file=a%2Cb%3Ac%25.json,line=";
    assert!(line.contains(file), "{line}");
    assert!(line.ends_with("::100 %25, a: b%0D%0Ac%0Ad"), "{line}");
}
