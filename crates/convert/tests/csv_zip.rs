//! Archives from other sources are not trusted: ambiguous or hidden content, or content too large
//! to unpack, is refused.
#![cfg(feature = "csv")]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::io::{Cursor, Write};

use obvert_convert::{Input, ZipLimits, csv};
use obvert_model::tables::Document;
use zip::write::SimpleFileOptions;

fn document() -> Document {
    common::document_of(common::full(2))
}

fn files() -> csv::Files {
    csv::write(&document()).unwrap().0
}

fn packed(files: &[(String, Vec<u8>)]) -> Vec<u8> {
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        archive.start_file(name.as_str(), SimpleFileOptions::default()).unwrap();
        archive.write_all(bytes).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

fn message(archive: &[u8]) -> String {
    csv::read_zip(archive, "survey.zip")
        .err()
        .map_or_else(|| "nothing".to_owned(), |error| error.to_string())
}

#[test]
fn tables_may_be_in_a_folder_among_other_files() {
    let mut inside: Vec<(String, Vec<u8>)> =
        files().into_iter().map(|(name, bytes)| (format!("Larkmoor/2026/{name}"), bytes)).collect();
    inside.push(("Larkmoor/2026/media/list.csv".to_owned(), b"x".to_vec()));
    inside.push(("Larkmoor/notes.csv".to_owned(), b"x".to_vec()));
    inside.push(("__MACOSX/Larkmoor/2026/._document.csv".to_owned(), b"\0\x05\x16\x07".to_vec()));
    let survey = csv::read_zip(&packed(&inside), "survey.zip").unwrap();
    common::assert_same(&document(), &survey.document);
}

#[test]
fn files_that_are_not_archives_are_refused() {
    let complete = packed(&files());
    let half = &complete[..complete.len() / 2];
    for damaged in [&b""[..], b"not an archive"] {
        assert!(
            message(damaged).starts_with("survey.zip: not a zip archive"),
            "{}",
            message(damaged)
        );
    }
    for cut in [b"PK", &b"PK\x03\x04"[..], b"PK\x05\x06", half] {
        assert!(
            message(cut).starts_with("survey.zip: the archive has no directory at its end"),
            "{}",
            message(cut)
        );
    }
    let mut flipped = complete.clone();
    let name = flipped.windows(12).position(|bytes| bytes == b"document.csv").unwrap();
    flipped[name + 20] ^= 0x55;
    assert!(message(&flipped).contains("document.csv cannot be unpacked"), "{}", message(&flipped));
    assert!(message(&packed(&[])).starts_with("survey.zip: there is no document.csv"));
}

/// Changes each byte of a small archive in turn, which gives a verdict and never a panic.
#[test]
fn any_changed_byte_gives_a_verdict() {
    let minimal = csv::write(&common::document_of(common::minimal())).unwrap().0;
    let complete = packed(&minimal[1..2]);
    let mut refused = 0;
    for index in 0..complete.len() {
        let mut damaged = complete.clone();
        damaged[index] ^= 0xFF;
        refused += usize::from(message(&damaged) != "nothing");
    }
    assert!(refused * 2 > complete.len(), "{refused} of {}", complete.len());
}

#[test]
fn paths_outside_the_folder_are_refused() {
    for path in ["../runs.csv", "a/../../runs.csv", "/etc/runs.csv", "C:/runs.csv", "a\\runs.csv"] {
        let mut files = files();
        files.push((path.to_owned(), b"x".to_vec()));
        assert!(
            message(&packed(&files)).contains("points outside the archive"),
            "{path}: {}",
            message(&packed(&files))
        );
    }
}

/// The zip writer refuses duplicate names, so one is renamed in the bytes.
#[test]
fn duplicate_names_are_refused() {
    let mut files = files();
    files.push(("rums.csv".to_owned(), b"x".to_vec()));
    let mut archive = packed(&files);
    let places: Vec<usize> = archive
        .windows(8)
        .enumerate()
        .filter(|(_, bytes)| *bytes == b"rums.csv")
        .map(|(at, _)| at)
        .collect();
    assert_eq!(places.len(), 2);
    for at in places {
        archive[at + 2] = b'n';
    }
    assert!(message(&archive).contains("two files with the same name"), "{}", message(&archive));
}

#[test]
fn two_packages_in_one_archive_are_refused() {
    let mut both = files();
    both.extend(files().into_iter().map(|(name, bytes)| (format!("again/{name}"), bytes)));
    assert!(message(&packed(&both)).contains("each survey into its own archive"));
}

/// Bit 0 of the general purpose flags (APPNOTE 4.4.4), in the local and in the central header.
#[test]
fn encryption_is_refused() {
    let mut archive = packed(&files());
    for (signature, flags) in [(b"PK\x03\x04", 6), (b"PK\x01\x02", 8)] {
        let headers: Vec<usize> = archive
            .windows(4)
            .enumerate()
            .filter(|(_, bytes)| bytes == signature)
            .map(|(at, _)| at)
            .collect();
        headers.into_iter().for_each(|at| archive[at + flags] |= 1);
    }
    assert!(message(&archive).contains("is encrypted"), "{}", message(&archive));
}

#[test]
fn archives_that_unpack_without_end_are_refused() {
    let mut files = files();
    let (_, runs) = files.iter_mut().find(|(name, _)| name == "runs.csv").unwrap();
    runs.resize(40 << 20, b'\n');
    let archive = packed(&files);
    assert!(archive.len() < 200_000, "{}", archive.len());
    assert!(
        message(&archive).contains("its compression ratio is too high for a survey"),
        "{}",
        message(&archive)
    );
    let roomy = ZipLimits::DEFAULT.with_total(64 << 20).with_ratio(2000);
    let read = |limits| {
        let input = Input::file("survey.zip", archive.as_slice()).with_limits(limits);
        csv::ZIP_FORMAT.source(input).and_then(|mut source| source.survey())
    };
    assert!(read(roomy).is_ok());
    let small = ZipLimits::DEFAULT.with_total(4 << 20).with_ratio(2000);
    let error = read(small).unwrap_err().to_string();
    assert!(error.contains("all tables together are larger than"), "{error}");
}
