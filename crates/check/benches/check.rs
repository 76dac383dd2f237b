//! Checking with every rule, by size.

#![allow(clippy::expect_used)]

#[path = "../../obvert/benches/generate/mod.rs"]
mod generate;

use divan::counter::BytesCount;
use obvert_check::{Checker, Settings};

fn main() {
    divan::main();
}

#[divan::bench(args = [100_000, 2_000_000])]
fn every_rule(bencher: divan::Bencher<'_, '_>, bytes: usize) {
    let source = generate::document(bytes);
    let checker =
        Checker::new(Settings::default().with_today("2027-01-01".parse().expect("a date")))
            .expect("settings");
    bencher
        .counter(BytesCount::of_str(&source))
        .bench(|| checker.check(source.as_bytes()).expect("JSON"));
}
