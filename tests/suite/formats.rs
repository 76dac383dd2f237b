//! The part `formats`: one survey as files of every format, all with the same content.

use std::io::Cursor;

use obvert::Opened;
use obvert::convert::{DocumentRuns, Format, Formats, Input, MemoryFolder, Output};
use obvert::model::tables::Document;
use obvert::model::write;
use serde::Deserialize;

use crate::manifest::{CORPUS, bytes, json};
use crate::support::{obvert_in, root, status, stderr, stdout};

#[derive(Deserialize)]
struct Case {
    id: String,
    digest: String,
    formats: Vec<File>,
}

#[derive(Deserialize)]
struct File {
    format: String,
    file: String,
}

fn cases() -> Vec<Case> {
    serde_json::from_value(json("formats/manifest.json")["cases"].take()).expect("cases")
}

fn folder(path: &str) -> Vec<(String, Vec<u8>)> {
    let folder = root().join(CORPUS).join(path);
    std::fs::read_dir(&folder)
        .expect("a folder")
        .map(|entry| entry.expect("entry").file_name().into_string().expect("a name"))
        .map(|name| (name.clone(), std::fs::read(folder.join(name)).expect("a file")))
        .collect()
}

fn format(name: &str) -> &'static Format {
    Formats::built_in().get(name).unwrap_or_else(|| panic!("no format {name}"))
}

/// The document of a file, whose format is detected.
fn read(file: &File) -> Document {
    let name = file.file.as_str();
    let input = match format(&file.format).folder() {
        Some(_) => Input::folder(name, folder(name)),
        None => Input::file(name, bytes(name)),
    };
    let mut opened =
        Opened::new(input, &Formats::built_in(), None).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(opened.format().name, file.format, "{name}");
    opened.survey().unwrap_or_else(|error| panic!("{error}")).document
}

/// The document written in a format and read again.
fn there_and_back(document: &Document, name: &str) -> Document {
    let format = format(name);
    let mut survey = DocumentRuns::new(document);
    let (mut file, mut folder) = (Cursor::new(Vec::new()), MemoryFolder::default());
    let output = match format.folder() {
        Some(_) => Output::Folder(&mut folder),
        None => Output::File(&mut file),
    };
    let losses =
        format.write(&mut survey, output).unwrap_or_else(|error| panic!("{name}: {error}"));
    assert!(losses.is_empty(), "{name}");
    let input = match format.folder() {
        Some(_) => Input::folder(name, folder.into_files()),
        None => Input::file(name, file.into_inner()),
    };
    let read = Opened::in_format(input, format).and_then(|mut opened| opened.survey());
    read.unwrap_or_else(|error| panic!("{error}")).document
}

fn digest(document: &Document) -> String {
    write::digest(document).expect("a digest").to_string()
}

#[test]
fn every_format_has_the_digest_in_the_library() {
    let lossless = Formats::built_in().iter().filter(|format| format.capabilities.lossless).count();
    for case in cases() {
        // A case may be about what a reader of one format accepts.
        let of_one = case.id.starts_with("formats/csv-") && case.formats.len() == 2;
        assert!(of_one || case.formats.len() == lossless, "{}", case.id);
        for file in &case.formats {
            let document = read(file);
            assert_eq!(digest(&document), case.digest, "{}", file.file);
            for other in &case.formats {
                let back = there_and_back(&document, &other.format);
                assert_eq!(digest(&back), case.digest, "{} by {}", file.file, other.format);
            }
        }
    }
}

#[test]
fn every_format_has_the_digest_in_the_command() {
    for case in cases() {
        let files: Vec<&str> = case.formats.iter().map(|file| file.file.as_str()).collect();
        let output = obvert_in(&root().join(CORPUS), &[&["digest"][..], &files].concat());
        assert_eq!(status(&output), 0, "{}: {}", case.id, stderr(&output));
        let digests: Vec<String> =
            stdout(&output).lines().map(|line| line[..case.digest.len()].to_owned()).collect();
        assert_eq!(digests, vec![case.digest.clone(); files.len()], "{}", case.id);
    }
}
