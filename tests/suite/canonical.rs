//! The part `canonical`: how numbers are written, what the canonical form of a text is, and the digests of documents.

use std::path::Path;

use obvert::model::write;
use serde::Deserialize;
use serde_json::Value;

use crate::manifest::{blessing, bytes, hold, json};
use crate::support::{obvert_in, status, stderr, stdout};
use crate::{layout, manifest};

#[derive(Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
enum Case {
    Number { id: String, bits: String, text: String, in_format: bool },
    Text { id: String, input: String, canonical: String, digest: String },
    File { id: String, file: String, digest: String },
}

fn cases() -> Vec<Case> {
    serde_json::from_value(json("canonical/manifest.json")["cases"].take()).expect("cases")
}

/// The result for a document: its canonical form and its digest, or the problem.
trait Judge {
    fn canonical(&self, source: &[u8]) -> Result<(String, String), String>;
}

struct Library;

impl Judge for Library {
    fn canonical(&self, source: &[u8]) -> Result<(String, String), String> {
        let document = obvert::read(source).map_err(|error| match error.problems().first() {
            Some(problem) => problem.kind.to_string(),
            None => error.to_string(),
        })?;
        let canonical = write::canonical(&document).expect("a canonical form");
        let digest = write::digest(&document).expect("a digest");
        Ok((String::from_utf8(canonical).expect("UTF-8"), digest.to_string()))
    }
}

struct Command<'f>(&'f Path);

impl Judge for Command<'_> {
    fn canonical(&self, source: &[u8]) -> Result<(String, String), String> {
        std::fs::write(self.0.join("a.obvert.json"), source).expect("write");
        let canonical = obvert_in(self.0, &["digest", "--canonical", "a.obvert.json"]);
        if status(&canonical) != 0 {
            let report = obvert_in(self.0, &["check", "--format", "json", "a.obvert.json"]);
            let report: Value =
                serde_json::from_slice(&report.stdout).map_err(|_| stderr(&canonical))?;
            return Err(report["findings"][0]["rule"].as_str().unwrap_or_default().to_owned());
        }
        let digest = stdout(&obvert_in(self.0, &["digest", "a.obvert.json"]));
        Ok((stdout(&canonical), digest.split("  ").next().expect("a digest").trim().to_owned()))
    }
}

fn hold_all(judge: &impl Judge) {
    for case in cases() {
        match case {
            Case::Number { id, bits, text, in_format } => {
                let number =
                    f64::from_bits(u64::from_str_radix(&bits, 16).expect("16 hexadecimal digits"));
                // Written with more digits than necessary, so that the shortest form must be found.
                let document = format!(
                    r#"{{"obvert":"0.2","id":"N","issued":"2026-05-06T16:20:00-05:00","units":{{"length":"m","section":"mm"}},
                    "coding":{{"list":"obvert-terms","version":"1"}},"extensions":{{"org.example.number":{number:.20e}}}}}"#
                );
                match judge.canonical(document.as_bytes()) {
                    Ok((canonical, _)) => {
                        let written = format!(r#""org.example.number":{text}}}"#);
                        assert!(
                            in_format && canonical.contains(&written),
                            "{id}: {canonical} has not {written}"
                        );
                    }
                    Err(problem) => {
                        assert!(!in_format && problem == "number-range", "{id}: {problem}")
                    }
                }
            }
            Case::Text { id, input, canonical, digest } => {
                assert_eq!(judge.canonical(input.as_bytes()), Ok((canonical, digest)), "{id}");
            }
            Case::File { id, file, digest } => {
                let (_, computed) =
                    judge.canonical(&bytes(&file)).expect("a document that can be read");
                assert!(blessing() || computed == digest, "{id}: {computed}");
            }
        }
    }
}

#[test]
fn vectors_hold_in_the_library() {
    hold_all(&Library);
}

#[test]
fn vectors_hold_in_the_command() {
    let folder = tempfile::tempdir().expect("folder");
    hold_all(&Command(folder.path()));
}

/// The digests of other files are up to date; those of texts do not change.
#[test]
fn digests_of_files_are_fresh() {
    let mut manifest = json("canonical/manifest.json");
    for case in manifest["cases"]
        .as_array_mut()
        .expect("cases")
        .iter_mut()
        .filter(|case| case["kind"] == "file")
    {
        let file = manifest::bytes(case["file"].as_str().expect("a path"));
        case["digest"] = Value::from(Library.canonical(&file).expect("a document").1);
    }
    assert_eq!(hold("canonical/manifest.json", &layout::text(&manifest)), None);
}

/// The strings of the numbers parse to the same numbers.
#[test]
fn numbers_read_back_to_their_bits() {
    let mut judged = 0;
    for case in cases() {
        if let Case::Number { id, bits, text, .. } = case {
            let bits = u64::from_str_radix(&bits, 16).expect("16 hexadecimal digits");
            let read: f64 = text.parse().expect("a number");
            assert!(read.to_bits() == bits || read == 0.0 && bits << 1 == 0, "{id}");
            judged += 1;
        }
    }
    assert!(judged >= 20, "{judged}");
}
