//! Adds a format: one file, and one line to register it. Everything else derives from the registry.
#![cfg(all(feature = "check", feature = "xml"))]
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod toy;

use obvert::check::{Checker, MINIMAL, Settings};
use obvert::convert::{DocumentRuns, FormatError, Formats, Input, Locations, Output};
use obvert::open::OpenErrorKind;
use obvert::{OpenError, Opened};
use toy::TOY;

fn formats() -> Formats {
    Formats::built_in().with(&TOY)
}

fn written() -> Vec<u8> {
    toy(MINIMAL)
}

fn toy(source: &str) -> Vec<u8> {
    let document = obvert::read(source.as_bytes()).unwrap();
    let mut bytes = Vec::new();
    let losses = TOY.write(&mut DocumentRuns::new(&document), Output::Stream(&mut bytes)).unwrap();
    assert!(losses.is_empty());
    bytes
}

fn opened<'a>(name: &str, bytes: &'a [u8]) -> Result<Opened<'a>, OpenError> {
    Opened::new(Input::file(name, bytes), &formats(), None)
}

#[test]
fn it_is_detected_by_name_and_content() {
    let bytes = written();
    for name in ["survey.toy", "survey", "SURVEY.TOY"] {
        assert_eq!(opened(name, &bytes).unwrap().format(), &TOY, "{name}");
    }
    assert_eq!(formats().by_name("a.toy"), Some(&TOY));
    assert_eq!(formats().get("toy"), Some(&TOY));
    // A stated format is compared with the detected one.
    let xml = formats().get("xml");
    let error = formats().detect(&Input::file("survey", bytes.as_slice()), xml).unwrap_err();
    assert_eq!(error.to_string(), "looks like toy, not like xml");
    // A registry without it does not know it.
    let error = Opened::new(Input::file("survey", bytes.as_slice()), &Formats::built_in(), None)
        .unwrap_err();
    assert!(matches!(error.kind(), OpenErrorKind::Format(FormatError::Unknown)), "{error}");
}

#[test]
fn it_is_read_and_written_run_by_run() {
    let bytes = written();
    let document = obvert::read(MINIMAL.as_bytes()).unwrap();
    assert_eq!(opened("survey.toy", &bytes).unwrap().survey().unwrap().document, document);

    // To another format and back, run by run.
    let mut toy = opened("survey.toy", &bytes).unwrap();
    let mut reader = toy.read(Locations::Skipped).unwrap();
    let mut xml = Vec::new();
    formats().get("xml").unwrap().write(&mut *reader, Output::Stream(&mut xml)).unwrap();
    let mut back = opened("survey.xml", &xml).unwrap();
    let mut again = Vec::new();
    TOY.write(&mut *back.read(Locations::Skipped).unwrap(), Output::Stream(&mut again)).unwrap();
    assert_eq!(String::from_utf8_lossy(&again), String::from_utf8_lossy(&bytes));
}

#[test]
fn it_is_checked_with_the_line_of_every_finding() {
    let checker = Checker::new(Settings::default()).unwrap();
    let mut survey: serde_json::Value = serde_json::from_str(MINIMAL).unwrap();
    survey["runs"][0]["surveyed"] = 900.into();
    let bytes = toy(&survey.to_string());
    let report = opened("survey.toy", &bytes).unwrap().check(&checker).unwrap();
    assert_eq!(report.documents[0].format.as_deref(), Some("toy"));
    let on_run =
        report.findings.iter().filter(|finding| finding.subject.path.starts_with("/runs/0"));
    let at: Vec<_> = on_run.filter_map(|finding| finding.at.as_ref()).collect();
    assert!(
        !at.is_empty() && at.iter().all(|at| at.file == "survey.toy" && at.line == 3),
        "{at:?}"
    );

    // An invalid survey is reported with its problems.
    let right = "\"direction\":\"downstream\"";
    let bytes = String::from_utf8(written())
        .unwrap()
        .replacen(right, "\"direction\":\"sideways\"", 1)
        .into_bytes();
    let report = opened("survey.toy", &bytes).unwrap().check(&checker).unwrap();
    let finding =
        report.findings.iter().find(|finding| finding.message.contains("sideways")).unwrap();
    assert_eq!(finding.at.as_ref().map(|at| at.line), Some(3));
    let error = opened("survey.toy", &bytes).unwrap().survey().unwrap_err().to_string();
    assert!(error.starts_with("survey.toy: not a valid obvert document: 1 problem"), "{error}");
}
