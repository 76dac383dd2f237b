//! Tests of the test documents: the generator must produce valid and varied ones.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod common;

use proptest::prelude::*;

proptest! {
    #![proptest_config(common::cases(64))]
    #[test]
    fn arbitrary_documents_are_valid(value in common::values()) {
        let source = value.to_string();
        let read = obvert_model::read::document(source.as_bytes());
        prop_assert!(read.is_ok(), "{}\n{source}", read.unwrap_err());
    }
}

#[test]
fn the_handwritten_documents_are_valid_and_round_trip_through_json() {
    let documents = common::difficult();
    assert!(documents.len() >= 10);
    for (name, document) in documents {
        let text = common::canonical(&document);
        let again = obvert_model::read::document(text.as_bytes())
            .unwrap_or_else(|error| panic!("{name}: {error}"));
        common::assert_same(&document, &again);
    }
}
