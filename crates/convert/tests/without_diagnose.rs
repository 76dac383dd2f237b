//! Without the feature `diagnose` a document of an older version is refused, since migrating it
//! needs the JSON Schema of that version:
//! `cargo test -p obvert-convert --no-default-features --features csv --test without_diagnose`.

#![cfg(not(feature = "diagnose"))]
#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_convert::{ConvertError, Input, json};

const DOCUMENT: &str = r#"{
  "obvert": "0.2", "id": "d", "issued": "2026-05-06T16:20:00-05:00",
  "units": { "length": "ft", "section": "in" },
  "coding": { "list": "obvert-terms", "version": "1" },
  "runs": []
}"#;

#[test]
fn a_document_of_an_older_version_is_refused_with_advice() {
    let open = |text: &str| {
        let input = Input::file("survey.obvert.json", text.as_bytes().to_vec());
        json::FORMAT.source(input).map(drop)
    };
    assert!(open(DOCUMENT).is_ok());
    let older = DOCUMENT.replacen("0.2", "0.1", 1);
    let Err(ConvertError::Refused { message }) = open(&older) else { panic!("it was opened") };
    for part in ["survey.obvert.json", "0.1", "0.2", "obvert", "`diagnose`"] {
        assert!(message.contains(part), "{message}");
    }
}
