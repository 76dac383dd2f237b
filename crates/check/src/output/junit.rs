//! JUnit XML, which build servers show as a list of tests: a suite per document, a case per rule.
//!
//! A rule without findings is a passed case, so that the list shows what was checked. A rule that
//! could not be run is a skipped case.
//!
//! ```
//! use obvert_check::{Checker, MINIMAL, Settings, Severity, output};
//!
//! let report = Checker::new(Settings::default())?.check(MINIMAL.as_bytes())?;
//! let mut xml = Vec::new();
//! output::junit::write(&report, Severity::Error, &mut xml)?;
//! assert!(String::from_utf8(xml)?.contains("failures=\"0\""));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! The format has no standard. This is the part of it that readers agree on: `testsuites`,
//! `testsuite`, `testcase` with `classname` and `name`, and in a case at most one of `failure`,
//! `error` and `skipped`, then `system-out`.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::{self, Write};

use quick_xml::events::{BytesDecl, BytesText, Event};
use quick_xml::writer::Writer;

use super::{Named, advice_on, count, name_of, thousands};
use crate::finding::{Finding, Severity};
use crate::report::{CheckedDocument, Report, RuleTotal};

/// Writes a report as JUnit XML. Findings of severity `deny` or worse fail their case; the others
/// are in the output of a passed case.
///
/// # Errors
/// If the sink fails.
pub fn write(report: &Report, deny: Severity, sink: &mut dyn Write) -> io::Result<()> {
    let mut findings: BTreeMap<(usize, &str), Vec<&Finding>> = BTreeMap::new();
    for finding in &report.findings {
        findings.entry((finding.document, &finding.rule)).or_default().push(finding);
    }
    let suites: Vec<Suite<'_>> = report
        .documents
        .iter()
        .enumerate()
        .map(|(index, document)| suite(report, index, document, deny, &findings))
        .collect();
    let mut xml = Writer::new_with_indent(sink, b' ', 2);
    xml.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
    let mut suites_element =
        xml.create_element("testsuites").with_attribute(("name", "obvert check"));
    for (name, number) in sums(suites.iter().flat_map(|suite| &suite.cases)) {
        suites_element = suites_element.with_attribute((name, number.as_str()));
    }
    suites_element
        .write_inner_content(|xml| suites.iter().try_for_each(|suite| suite.write(xml)))?;
    xml.get_mut().write_all(b"\n")
}

struct Suite<'r> {
    report: &'r Report,
    index: usize,
    document: &'r CheckedDocument,
    cases: Vec<Case>,
}

struct Case {
    family: String,
    name: String,
    outcome: Outcome,
    /// The findings that do not fail the case, as a text.
    output: String,
}

enum Outcome {
    Passed,
    Failed {
        kind: &'static str,
        message: String,
        text: String,
    },
    /// The document could not be read.
    Broken {
        message: String,
    },
    Skipped {
        why: String,
    },
}

fn suite<'r>(
    report: &'r Report,
    index: usize,
    document: &'r CheckedDocument,
    deny: Severity,
    findings: &BTreeMap<(usize, &str), Vec<&Finding>>,
) -> Suite<'r> {
    if let Some(error) = &document.info.error {
        let outcome = Outcome::Broken { message: error.clone() };
        let case = Case {
            family: "document".into(),
            name: "readable".into(),
            outcome,
            output: String::new(),
        };
        return Suite { report, index, document, cases: vec![case] };
    }
    let totals: BTreeMap<&str, &RuleTotal> =
        document.rules.iter().map(|total| (total.rule.as_str(), total)).collect();
    let skipped: BTreeMap<&str, &str> = report
        .not_run
        .iter()
        .chain(&report.not_applicable)
        .filter(|not_run| not_run.documents.contains(&index))
        .flat_map(|not_run| not_run.rules.iter().map(|rule| (rule.as_str(), not_run.why.as_str())))
        .collect();
    let known = Named::all(report).filter(|named| {
        skipped.contains_key(named.name())
            || totals.contains_key(named.name())
            || report.ran(named.name(), index)
    });
    let mut cases: Vec<(String, &str)> =
        known.map(|named| (named.family().to_owned(), named.name())).collect();
    // Another version of the program, with other rules, may have made the report.
    let others = document
        .rules
        .iter()
        .map(|total| total.rule.as_str())
        .filter(|name| Named::find(report, name).is_none());
    cases.extend(others.map(|name| ("other".to_owned(), name)));
    let cases = cases.into_iter().map(|(family, name)| {
        let of_rule = findings.get(&(index, name)).map(Vec::as_slice).unwrap_or_default();
        let (mut outcome, mut output) = (Outcome::Passed, String::new());
        if let Some(total) = totals.get(name) {
            let text = listing(report, of_rule, total, document);
            if total.severity >= deny {
                let first = of_rule.first().map_or("", |finding| &finding.message);
                let message = format!("{}: {first}", count(total.total, "finding"));
                outcome = Outcome::Failed { kind: total.severity.as_str(), message, text };
            } else {
                output = text;
            }
        } else if let Some(why) = skipped.get(name) {
            outcome = Outcome::Skipped { why: (*why).to_owned() };
        }
        Case { family, name: name.to_owned(), outcome, output }
    });
    Suite { report, index, document, cases: cases.collect() }
}

fn listing(
    report: &Report,
    findings: &[&Finding],
    total: &RuleTotal,
    document: &CheckedDocument,
) -> String {
    let mut text = String::new();
    for finding in findings {
        let _ =
            writeln!(text, "{}: {}\n  {}", finding.severity, finding.message, finding.location());
        if let Some(subject) = finding.subject.describe(document.info.length_unit.as_deref()) {
            let _ = writeln!(text, "  {subject}");
        }
        if let Some(help) = &finding.help {
            let _ = writeln!(text, "  {help}");
        }
    }
    if findings.len() < total.total {
        let _ = writeln!(text, "and {} more, not listed", thousands(total.total - findings.len()));
    }
    if let Some(advice) = advice_on(report, &total.rule) {
        let _ = writeln!(text, "{advice}");
    }
    text
}

/// Attributes with the numbers of cases.
fn sums<'c>(cases: impl Iterator<Item = &'c Case>) -> [(&'static str, String); 4] {
    let (mut tests, mut failures, mut errors, mut skipped) = (0, 0, 0, 0);
    for case in cases {
        tests += 1;
        match case.outcome {
            Outcome::Passed => {}
            Outcome::Failed { .. } => failures += 1,
            Outcome::Broken { .. } => errors += 1,
            Outcome::Skipped { .. } => skipped += 1,
        }
    }
    [("tests", tests), ("failures", failures), ("errors", errors), ("skipped", skipped)]
        .map(|(name, number): (_, usize)| (name, number.to_string()))
}

impl Suite<'_> {
    /// The suppressions of the document, in words.
    fn suppressed(&self) -> Vec<String> {
        let own = self.report.suppressed.iter().filter(|own| own.document == self.index);
        own.map(|own| {
            let ended = if own.expired { " (ended, counted again)" } else { "" };
            format!("{} of {}{ended}: {}", own.count, own.rule, own.reason)
        })
        .collect()
    }

    fn write<W: Write>(&self, xml: &mut Writer<W>) -> io::Result<()> {
        let name = clean(name_of(self.document));
        let mut suite = xml.create_element("testsuite").with_attribute(("name", name.as_str()));
        for (name, number) in sums(self.cases.iter()) {
            suite = suite.with_attribute((name, number.as_str()));
        }
        suite.write_inner_content(|xml| {
            let baseline = self.report.baseline.as_ref();
            let profile = self.report.profile.as_ref();
            let suppressed = self.suppressed();
            let facts = [
                ("document", self.document.info.id.clone()),
                ("pipes", Some(self.document.pipes.to_string())),
                ("runs", Some(self.document.runs.to_string())),
                ("observations", Some(self.document.observations.to_string())),
                ("profile", profile.map(|profile| format!("{} {}", profile.id, profile.version))),
                ("profile-digest", profile.map(|profile| profile.digest.clone())),
                ("suppressed", (!suppressed.is_empty()).then(|| suppressed.join("; "))),
                ("part-not-read", self.document.incomplete()),
                ("known", baseline.map(|baseline| baseline.known.to_string())),
                ("resolved", baseline.map(|baseline| baseline.resolved.to_string())),
            ];
            xml.create_element("properties").write_inner_content(|xml| {
                for (name, value) in facts
                    .iter()
                    .filter_map(|(name, value)| value.as_ref().map(|value| (*name, value)))
                {
                    let value = clean(value);
                    xml.create_element("property")
                        .with_attribute(("name", name))
                        .with_attribute(("value", value.as_str()))
                        .write_empty()?;
                }
                Ok(())
            })?;
            self.cases.iter().try_for_each(|case| case.write(xml))
        })?;
        Ok(())
    }
}

impl Case {
    fn write<W: Write>(&self, xml: &mut Writer<W>) -> io::Result<()> {
        let class = format!("obvert.{}", self.family);
        let name = clean(&self.name);
        let case = xml
            .create_element("testcase")
            .with_attribute(("classname", class.as_str()))
            .with_attribute(("name", name.as_str()));
        if matches!(self.outcome, Outcome::Passed) && self.output.is_empty() {
            case.write_empty()?;
            return Ok(());
        }
        case.write_inner_content(|xml| {
            match &self.outcome {
                Outcome::Passed => {}
                Outcome::Failed { kind, message, text } => {
                    let message = clean(message);
                    let (text, kind) = (clean(text), *kind);
                    xml.create_element("failure")
                        .with_attribute(("type", kind))
                        .with_attribute(("message", message.as_str()))
                        .write_text_content(BytesText::new(&text))?;
                }
                Outcome::Broken { message } => {
                    let message = clean(message);
                    xml.create_element("error")
                        .with_attribute(("type", "not-read"))
                        .with_attribute(("message", message.as_str()))
                        .write_empty()?;
                }
                Outcome::Skipped { why } => {
                    let why = clean(why);
                    xml.create_element("skipped")
                        .with_attribute(("message", why.as_str()))
                        .write_empty()?;
                }
            }
            if !self.output.is_empty() {
                xml.create_element("system-out")
                    .write_text_content(BytesText::new(&clean(&self.output)))?;
            }
            Ok(())
        })?;
        Ok(())
    }
}

/// A text without the characters that XML 1.0 cannot contain (section 2.2, Char).
fn clean(text: &str) -> String {
    let allowed = |c: char| matches!(c, '\t' | '\n' | '\r' | '\u{20}'..='\u{D7FF}' | '\u{E000}'..='\u{FFFD}' | '\u{10000}'..);
    text.chars().map(|c| if allowed(c) { c } else { '\u{FFFD}' }).collect()
}
