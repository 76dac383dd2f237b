//! Each form, there and back, by the size of the document.

#![allow(clippy::expect_used)]

#[path = "../../obvert/benches/generate/mod.rs"]
mod generate;

use divan::counter::BytesCount;
use obvert_convert::{csv, geojson, xml};
use obvert_model::tables::Document;

const SIZES: [usize; 2] = [100_000, 2_000_000];

fn main() {
    divan::main();
}

fn document(bytes: usize) -> (Document, BytesCount) {
    let source = generate::document(bytes);
    (obvert_model::read::document(source.as_bytes()).expect("valid"), BytesCount::of_str(&source))
}

#[divan::bench(args = SIZES)]
fn xml_write(bencher: divan::Bencher<'_, '_>, bytes: usize) {
    let (document, size) = document(bytes);
    bencher.counter(size).bench(|| xml::write(&document, std::io::sink()).expect("xml"));
}

#[divan::bench(args = SIZES)]
fn xml_read(bencher: divan::Bencher<'_, '_>, bytes: usize) {
    let (document, size) = document(bytes);
    let mut text = Vec::new();
    xml::write(&document, &mut text).expect("xml");
    bencher.counter(size).bench(|| xml::read(&text, "survey.xml").expect("survey"));
}

#[divan::bench(args = SIZES)]
fn csv_write(bencher: divan::Bencher<'_, '_>, bytes: usize) {
    let (document, size) = document(bytes);
    bencher.counter(size).bench(|| csv::write(&document).expect("csv"));
}

#[divan::bench(args = SIZES)]
fn csv_read(bencher: divan::Bencher<'_, '_>, bytes: usize) {
    let (document, size) = document(bytes);
    let (files, _) = csv::write(&document).expect("csv");
    bencher.counter(size).bench(|| csv::read(&files, "tables").expect("survey"));
}

#[divan::bench(args = SIZES)]
fn geojson_write(bencher: divan::Bencher<'_, '_>, bytes: usize) {
    let (document, size) = document(bytes);
    bencher.counter(size).bench(|| geojson::write(&document, std::io::sink()).expect("geojson"));
}

#[divan::bench(args = SIZES)]
fn geojson_read(bencher: divan::Bencher<'_, '_>, bytes: usize) {
    let (document, size) = document(bytes);
    let mut text = Vec::new();
    geojson::write(&document, &mut text).expect("geojson");
    bencher.counter(size).bench(|| geojson::read(&text, "survey.geojson").expect("survey"));
}
