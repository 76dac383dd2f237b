//! The part `forms`: one survey as files of every form, all of which read to the same content.

use obvert::convert::{csv, geojson, geopackage, xlsx, xml};
use obvert::model::tables::Document;
use obvert::model::write;
use serde::Deserialize;

use crate::manifest::{CORPUS, bytes, json};
use crate::support::{obvert_in, root, status, stderr, stdout};

#[derive(Deserialize)]
struct Case {
    id: String,
    digest: String,
    forms: Vec<Form>,
}

#[derive(Deserialize)]
struct Form {
    form: String,
    file: String,
}

fn cases() -> Vec<Case> {
    serde_json::from_value(json("forms/manifest.json")["cases"].take()).expect("cases")
}

fn folder(path: &str) -> Vec<(String, Vec<u8>)> {
    let folder = root().join(CORPUS).join(path);
    std::fs::read_dir(&folder)
        .expect("a folder")
        .map(|entry| entry.expect("entry").file_name().into_string().expect("a name"))
        .map(|name| (name.clone(), std::fs::read(folder.join(name)).expect("a file")))
        .collect()
}

fn read(form: &Form) -> Document {
    let name = form.file.as_str();
    let survey = match form.form.as_str() {
        "json" => return obvert::read(&bytes(name)).expect("a document"),
        "xml" => xml::read(&bytes(name), name),
        "csv" => csv::read(&folder(name), name),
        "csv-zip" => csv::read_zip(&bytes(name), name),
        "geojson" => geojson::read(&bytes(name), name),
        "xlsx" => xlsx::read(&bytes(name), name),
        "geopackage" => geopackage::read(&bytes(name), name),
        other => panic!("no form {other}"),
    };
    survey.unwrap_or_else(|error| panic!("{name}: {error}")).document
}

/// The document written in a form and read again.
fn there_and_back(document: &Document, form: &str) -> Document {
    let mut out = Vec::new();
    let survey = match form {
        "json" => return obvert::read(obvert::to_string(document).unwrap().as_bytes()).expect("a document"),
        "xml" => xml::write(document, &mut out).and_then(|_| xml::read(&out, form)),
        "csv" => csv::write(document).and_then(|(files, _)| csv::read(&files, form)),
        "csv-zip" => {
            let mut zip = std::io::Cursor::new(Vec::new());
            csv::write_zip(document, &mut zip).and_then(|_| csv::read_zip(zip.get_ref(), form))
        }
        "geojson" => geojson::write(document, &mut out).and_then(|_| geojson::read(&out, form)),
        "xlsx" => xlsx::write(document, &mut out).and_then(|_| xlsx::read(&out, form)),
        "geopackage" => geopackage::write(document, &mut out).and_then(|_| geopackage::read(&out, form)),
        other => panic!("no form {other}"),
    };
    survey.unwrap_or_else(|error| panic!("{form}: {error}")).document
}

fn digest(document: &Document) -> String {
    write::digest(document).expect("a digest").to_string()
}

#[test]
fn every_form_has_the_digest_in_the_library() {
    for case in cases() {
        assert_eq!(case.forms.len(), 7, "{}", case.id);
        for form in &case.forms {
            let document = read(form);
            assert_eq!(digest(&document), case.digest, "{}", form.file);
            for other in &case.forms {
                let back = there_and_back(&document, &other.form);
                assert_eq!(digest(&back), case.digest, "{} by {}", form.file, other.form);
            }
        }
    }
}

#[test]
fn every_form_has_the_digest_in_the_command() {
    for case in cases() {
        let files: Vec<&str> = case.forms.iter().map(|form| form.file.as_str()).collect();
        let output = obvert_in(&root().join(CORPUS), &[&["digest"][..], &files].concat());
        assert_eq!(status(&output), 0, "{}: {}", case.id, stderr(&output));
        let digests: Vec<String> = stdout(&output).lines().map(|line| line[..case.digest.len()].to_owned()).collect();
        assert_eq!(digests, vec![case.digest.clone(); files.len()], "{}", case.id);
    }
}
