//! An archive from elsewhere is not trusted: what is ambiguous, hidden or too large to unpack is
//! refused.
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

fn said(archive: &[u8]) -> String {
    csv::read_zip(archive, "survey.zip")
        .err()
        .map_or_else(|| "nothing".to_owned(), |error| error.to_string())
}

#[test]
fn tables_may_stand_in_a_folder_among_other_files() {
    let mut inside: Vec<(String, Vec<u8>)> =
        files().into_iter().map(|(name, bytes)| (format!("Larkmoor/2026/{name}"), bytes)).collect();
    inside.push(("Larkmoor/2026/media/list.csv".to_owned(), b"x".to_vec()));
    inside.push(("Larkmoor/notes.csv".to_owned(), b"x".to_vec()));
    inside.push(("__MACOSX/Larkmoor/2026/._document.csv".to_owned(), b"\0\x05\x16\x07".to_vec()));
    let survey = csv::read_zip(&packed(&inside), "survey.zip").unwrap();
    common::assert_same(&document(), &survey.document);
}

#[test]
fn what_is_not_an_archive_is_said_to_be_none() {
    let whole = packed(&files());
    let half = &whole[..whole.len() / 2];
    for damaged in [&b""[..], b"not an archive"] {
        assert!(said(damaged).starts_with("survey.zip: not a zip archive"), "{}", said(damaged));
    }
    for cut in [b"PK", &b"PK\x03\x04"[..], b"PK\x05\x06", half] {
        assert!(
            said(cut).starts_with("survey.zip: the archive has no directory at its end"),
            "{}",
            said(cut)
        );
    }
    let mut flipped = whole.clone();
    let name = flipped.windows(12).position(|bytes| bytes == b"document.csv").unwrap();
    flipped[name + 20] ^= 0x55;
    assert!(said(&flipped).contains("document.csv cannot be unpacked"), "{}", said(&flipped));
    assert!(said(&packed(&[])).starts_with("survey.zip: there is no document.csv"));
}

/// Each byte of a small archive changed in turn: a verdict, never a panic.
#[test]
fn any_byte_may_be_wrong() {
    let minimal = csv::write(&common::document_of(common::minimal())).unwrap().0;
    let whole = packed(&minimal[1..2]);
    let mut refused = 0;
    for index in 0..whole.len() {
        let mut damaged = whole.clone();
        damaged[index] ^= 0xFF;
        refused += usize::from(said(&damaged) != "nothing");
    }
    assert!(refused * 2 > whole.len(), "{refused} of {}", whole.len());
}

#[test]
fn paths_that_lead_out_are_refused() {
    for path in ["../runs.csv", "a/../../runs.csv", "/etc/runs.csv", "C:/runs.csv", "a\\runs.csv"] {
        let mut files = files();
        files.push((path.to_owned(), b"x".to_vec()));
        assert!(
            said(&packed(&files)).contains("points outside the archive"),
            "{path}: {}",
            said(&packed(&files))
        );
    }
}

/// The writer refuses names that stand twice, so one is renamed in the bytes.
#[test]
fn names_that_stand_twice_are_refused() {
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
    assert!(said(&archive).contains("two files with the same name"), "{}", said(&archive));
}

#[test]
fn two_packages_in_one_archive_are_refused() {
    let mut both = files();
    both.extend(files().into_iter().map(|(name, bytes)| (format!("again/{name}"), bytes)));
    assert!(said(&packed(&both)).contains("each survey into its own archive"));
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
    assert!(said(&archive).contains("is encrypted"), "{}", said(&archive));
}

#[test]
fn archives_that_unpack_without_end_are_refused() {
    let mut files = files();
    let (_, runs) = files.iter_mut().find(|(name, _)| name == "runs.csv").unwrap();
    runs.resize(40 << 20, b'\n');
    let archive = packed(&files);
    assert!(archive.len() < 200_000, "{}", archive.len());
    assert!(
        said(&archive).contains("its compression ratio is too high for a survey"),
        "{}",
        said(&archive)
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
