//! The same survey in every format and back, through the command, byte for byte.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod support;

use support::{obvert_in, read, root, status, stderr};

const DOCUMENTS: &[&str] = &[
    "examples/data/larkmoor.obvert.json",
    "examples/data/larkmoor-rejected.obvert.json",
    "crates/check/src/minimal.obvert.json",
    "tests/corpus/nasty.obvert.json",
];

/// Converting a document in the canonical form to the canonical form changes nothing.
#[test]
fn canonical_documents_stay_as_they_are() {
    for path in DOCUMENTS {
        let folder = tempfile::tempdir().expect("folder");
        let source = root().join(path);
        let output = obvert_in(
            folder.path(),
            &["convert", source.to_str().expect("path"), "-o", "same.obvert.json"],
        );
        assert_eq!(status(&output), 0, "{}", stderr(&output));
        let same = std::fs::read_to_string(folder.path().join("same.obvert.json")).expect("output");
        assert_eq!(same, read(path), "{path} is not in the canonical form");
    }
}

#[test]
fn every_format_gives_the_same_document_back() {
    for path in DOCUMENTS {
        for (form, name) in [
            ("xml", "survey.xml"),
            ("csv", "tables"),
            ("csv-zip", "tables.zip"),
            ("geojson", "survey.geojson"),
            ("xlsx", "survey.xlsx"),
            ("geopackage", "survey.gpkg"),
        ] {
            // A document whose positions cannot be placed on the globe has no GeoJSON.
            if form == "geojson" && path.ends_with("larkmoor-rejected.obvert.json") {
                continue;
            }
            let folder = tempfile::tempdir().expect("folder");
            let source = root().join(path);
            let there =
                ["convert", source.to_str().expect("path"), "-o", name, "--to", form, "--lossless"];
            let output = obvert_in(folder.path(), &there);
            assert_eq!(status(&output), 0, "{path} to {form}: {}", stderr(&output));
            let output = obvert_in(folder.path(), &["convert", name, "-o", "back.obvert.json"]);
            assert_eq!(status(&output), 0, "{path} from {form}: {}", stderr(&output));
            let back =
                std::fs::read_to_string(folder.path().join("back.obvert.json")).expect("output");
            assert!(back == read(path), "{path} comes back from {form} changed");
        }
    }
}

/// A finding in a survey read from another format has its location in that format.
#[test]
fn findings_have_their_location_in_the_source_format() {
    let source = root().join("examples/data/larkmoor-rejected.obvert.json");
    for (form, name, ending) in [
        ("xml", "survey.xml", "survey.xml"),
        ("csv", "tables", "observations.csv"),
        ("xlsx", "survey.xlsx", "survey.xlsx/observations"),
        ("geopackage", "survey.gpkg", "survey.gpkg/observations"),
    ] {
        let folder = tempfile::tempdir().expect("folder");
        let there = ["convert", source.to_str().expect("path"), "-o", name, "--to", form];
        assert_eq!(status(&obvert_in(folder.path(), &there)), 0);
        let output =
            obvert_in(folder.path(), &["check", name, "--format", "json", "--today", "2026-06-15"]);
        assert_eq!(status(&output), 1, "{}", stderr(&output));
        let report: serde_json::Value = serde_json::from_slice(&output.stdout).expect("json");
        let finding = report["findings"]
            .as_array()
            .expect("findings")
            .iter()
            .find(|finding| finding["rule"] == "clock-range")
            .expect("the rejected survey has an hour that no clock has");
        let at = &finding["at"];
        let file = at["file"].as_str().expect("a file");
        assert!(file.ends_with(ending), "{file}");
        // The row and column of a sheet or table; the invalid hour is the only one in it.
        if form == "xlsx" || form == "geopackage" {
            let text = support::stdout(&obvert_in(
                folder.path(),
                &["check", name, "--today", "2026-06-15"],
            ));
            assert!(text.contains(&format!("{ending}:")), "{text}");
            assert_eq!(at["heading"], "clock.at", "{at}");
            assert!(at["line"].as_u64().is_some_and(|row| row > 2), "{at}");
            continue;
        }
        let file = if form == "csv" {
            folder.path().join(name).join(ending)
        } else {
            folder.path().join(name)
        };
        let text = std::fs::read_to_string(file).expect("the file");
        let line =
            text.lines().nth(at["line"].as_u64().expect("a line") as usize - 1).expect("that line");
        let hour = finding["message"].as_str().and_then(|m| {
            m.split(|c: char| !c.is_ascii_digit() && c != '.').find(|n| !n.is_empty())
        });
        assert!(line.contains(hour.expect("an hour")), "{line} does not hold {hour:?}");
        if form == "csv" {
            assert!(at["heading"].as_str().expect("a heading").starts_with("clock"), "{at}");
        }
    }
}
