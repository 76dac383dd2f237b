//! Written documents are read back, and equal content gives equal bytes.

use obvert_model::read::{self, Reader, RunReader};
use obvert_model::tables::Document;
use obvert_model::write;
use proptest::prelude::*;
use serde_json::Value;

use super::generate;
use super::tree::Tree;

fn typed(value: &Value) -> Document {
    serde_json::from_value(value.clone()).unwrap_or_else(|error| panic!("{error}\n{value:#}"))
}

fn shuffled(value: &Value, keys: &mut impl FnMut(usize) -> usize) -> Tree {
    let mut tree = Tree::of(value);
    if let Tree::Object(entries) = &mut tree {
        for index in (1..entries.len()).rev() {
            entries.swap(index, keys(index + 1));
        }
    }
    tree
}

/// Copies a document from a reader to text.
fn copied<R: RunReader>(reader: &mut R) -> String
where
    R::Error: std::fmt::Debug,
{
    let mut text = Vec::new();
    write::from_reader(reader, &mut text).unwrap();
    String::from_utf8(text).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    #[test]
    fn written_documents_are_read_back(value in generate::document()) {
        prop_assert_eq!(read::value_problems(&value), []);
        let document = typed(&value);
        let written = write::to_string(&document).unwrap();
        prop_assert_eq!(&read::document(written.as_bytes()).unwrap(), &document);
        prop_assert_eq!(&serde_json::from_str::<Document>(&written).unwrap(), &document);
        // Written again, the bytes are equal; the layout affects white space only.
        prop_assert_eq!(&write::to_string(&read::document(written.as_bytes()).unwrap()).unwrap(), &written);
        let plain = serde_json::to_string(&document).unwrap();
        prop_assert_eq!(serde_json::from_str::<Value>(&written).unwrap(), serde_json::from_str::<Value>(&plain).unwrap());
    }

    #[test]
    fn a_line_of_an_archive_is_one_line_and_is_read_back(value in generate::document()) {
        let document = typed(&value);
        let mut archive = Vec::new();
        obvert_model::archive::write(&document, &mut archive).unwrap();
        obvert_model::archive::write(&document, &mut archive).unwrap();
        let lines: Vec<_> = obvert_model::archive::lines(archive.as_slice()).map(Result::unwrap).collect();
        prop_assert_eq!(lines.len(), 2);
        prop_assert_eq!(&read::document(&lines[1].text).unwrap(), &document);
        prop_assert_eq!(
            serde_json::from_slice::<Value>(&lines[0].text).unwrap(),
            serde_json::from_str::<Value>(&write::to_string(&document).unwrap()).unwrap()
        );
    }

    #[test]
    fn a_reader_gives_the_same_as_the_document(value in generate::document()) {
        let document = typed(&value);
        let written = write::to_string(&document).unwrap();
        let mut reader = Reader::new(written.as_bytes()).unwrap();
        prop_assert_eq!(reader.head(), &document.head);
        let mut runs = Vec::new();
        while let Some(run) = reader.next_run().unwrap() {
            runs.push(run);
        }
        prop_assert_eq!(&runs, &document.runs);
        for copy in [
            copied(&mut Reader::new(written.as_bytes()).unwrap()),
            copied(&mut document.clone().into_reader()),
        ] {
            prop_assert_eq!(&copy, &written);
        }
    }

    #[test]
    fn the_order_of_keys_and_escapes_have_no_meaning(
        value in generate::document(),
        keys in prop::collection::vec(any::<prop::sample::Index>(), 32),
        escapes in prop::collection::vec(any::<bool>(), 1..64),
        mark in any::<bool>(),
    ) {
        let document = typed(&value);
        let mut keys = keys.iter().cycle();
        let tree = shuffled(&value, &mut |below| keys.next().unwrap().index(below));
        let mut escapes = escapes.iter().cycle();
        let source = tree.source(&mut || *escapes.next().unwrap());
        let marked = if mark { format!("\u{FEFF}{source}") } else { source.clone() };
        prop_assert_eq!(&read::document(marked.as_bytes()).unwrap(), &document);
        prop_assert_eq!(&serde_json::from_str::<Document>(&source).unwrap(), &document);
        // RFC 8785 and RFC 6234: the digest is of the content.
        let again = read::document(source.as_bytes()).unwrap();
        prop_assert_eq!(write::digest(&again).unwrap(), write::digest(&document).unwrap());
        prop_assert_eq!(write::to_string(&again).unwrap(), write::to_string(&document).unwrap());
    }

    // RFC 8785: the canonical form is JSON of the same content, without white space, and its own
    // canonical form.
    #[test]
    fn the_canonical_form_is_stable(value in generate::document()) {
        let document = typed(&value);
        let canonical = write::canonical(&document).unwrap();
        let read = read::document(&canonical).unwrap();
        prop_assert_eq!(&read, &document);
        prop_assert_eq!(&write::canonical(&read).unwrap(), &canonical);
        let plain: Value = serde_json::from_slice(&canonical).unwrap();
        prop_assert_eq!(serde_json_canonicalizer::to_vec(&plain).unwrap(), canonical);
    }

    // One line for each row of a table, so that diffs of files show rows.
    #[test]
    fn every_row_has_a_line(value in generate::document()) {
        let document = typed(&value);
        let written = write::to_string(&document).unwrap();
        let rows: usize = {
            let head = &document.head;
            let tables = head.parties.len() + head.equipment.len() + head.structures.len() + head.pipes.len()
                + head.media.len() + head.locates.len() + head.ratings.len();
            tables + document.runs.len() + document.runs.iter().map(|run| run.observations.len()).sum::<usize>()
        };
        let lines = written.lines().filter(|line| line.trim_start().starts_with("{\"id\": ")).count();
        prop_assert_eq!(lines, rows, "{}", written);
        let ending = written.ends_with("}\n");
        prop_assert!(ending);
    }
}
