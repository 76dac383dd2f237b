//! Reading and writing, by size.

#![allow(clippy::expect_used)]

#[path = "../../obvert/benches/generate/mod.rs"]
mod generate;

use divan::counter::BytesCount;
use obvert_model::read::{Reader, RunReader};
use obvert_model::tables::Document;

const SIZES: [usize; 2] = [100_000, 2_000_000];

fn main() {
    divan::main();
}

#[divan::bench(args = SIZES)]
fn strict(bencher: divan::Bencher<'_, '_>, bytes: usize) {
    let source = generate::document(bytes);
    bencher
        .counter(BytesCount::of_str(&source))
        .bench(|| obvert_model::read::document(source.as_bytes()).expect("valid"));
}

#[divan::bench(args = SIZES)]
fn bare_serde_json(bencher: divan::Bencher<'_, '_>, bytes: usize) {
    let source = generate::document(bytes);
    bencher
        .counter(BytesCount::of_str(&source))
        .bench(|| serde_json::from_str::<Document>(&source).expect("valid"));
}

#[divan::bench(args = SIZES)]
fn run_by_run(bencher: divan::Bencher<'_, '_>, bytes: usize) {
    let source = generate::document(bytes);
    bencher.counter(BytesCount::of_str(&source)).bench(|| {
        let mut reader = Reader::new(source.as_bytes()).expect("valid");
        let mut rows = 0;
        while let Some(run) = reader.next_run().expect("valid") {
            rows += run.observations.len();
        }
        rows
    });
}

#[divan::bench(args = SIZES)]
fn write(bencher: divan::Bencher<'_, '_>, bytes: usize) {
    let source = generate::document(bytes);
    let document = obvert_model::read::document(source.as_bytes()).expect("valid");
    bencher
        .counter(BytesCount::of_str(&source))
        .bench(|| obvert_model::write::to_string(&document));
}
