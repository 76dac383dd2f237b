//! How long the two roads of the reader take, and that neither is worse than the size of what it reads.
//!
//! `cargo run --release -p obvert-model --example two_roads [MEGABYTES]`
//!
//! One document is made in memory, valid; then broken in ways that send the reader down the slow road from its last bytes, on
//! long lines and in many places. Each is read twice, at the given size and at a quarter of it: the last column shows by how much
//! four times the size takes longer. About 4 is in proportion; 16 would be its square.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::fmt::Write;
use std::hint::black_box;
use std::time::Instant;

use obvert_model::read;

fn made(megabytes: f64) -> String {
    let size = (megabytes * 1e6) as usize;
    let mut text = String::from(
        r#"{"obvert": "0.1", "id": "d", "issued": "2026-05-06T16:20:00-05:00", "units": {"length": "ft", "section": "in"},
"coding": {"list": "obvert-terms", "version": "1"}, "runs": [
"#,
    );
    let mut run = 0;
    while text.len() < size {
        if run > 0 {
            text.push_str(",\n");
        }
        let _ = write!(
            text,
            r#"{{"id": "R{run}", "pipe": "L-{}", "direction": "downstream", "observations": ["#,
            run % 997
        );
        for row in 0..100 {
            let _ = write!(
                text,
                r#"{}{{"id": "{row}", "at": {}.5, "code": "crack.longitudinal", "quantities": [{{"value": 2.5, "unit": "mm"}}], "clock": {{"from": 11, "to": 1}}, "remark": "Tannery Row, fußbreit"}}"#,
                if row > 0 { "," } else { "" },
                row * 2
            );
        }
        text.push_str("]}");
        run += 1;
    }
    text.push_str("\n]}\n");
    text
}

fn seconds(source: &str) -> (f64, usize) {
    let start = Instant::now();
    let problems = match black_box(read::document(source.as_bytes())) {
        Ok(_) => 0,
        Err(error) => error.problems().len().max(1),
    };
    (start.elapsed().as_secs_f64(), problems)
}

fn main() {
    let megabytes = std::env::args().nth(1).and_then(|text| text.parse().ok()).unwrap_or(5.0);
    type Break = fn(String) -> String;
    let ways: [(&str, Break); 9] = [
        ("valid", |text| text),
        ("valid, runs first", |text| match text.find(", \"runs\"").or_else(|| text.find(",\n\"runs\"")) {
            Some(at) => format!("{{{}, {}}}\n", text[at + 1..].trim_end().trim_end_matches('}'), &text[1..at]),
            None => text,
        }),
        ("one wrong value at the end", |text| replace_last(&text, "\"crack.longitudinal\"", "7")),
        ("the same on one line", |text| replace_last(&text.replace('\n', " "), "\"crack.longitudinal\"", "7")),
        ("every clock wrong, on one line", |text| text.replace('\n', " ").replace("\"from\": 11", "\"from\": \"11\"")),
        ("every row with an unknown key, on one line", |text| {
            text.replace('\n', " ").replace("\"remark\"", "\"remarks\"")
        }),
        ("one id in every run and row", |text| text.replace("\"id\": \"", "\"id\": \"\\u0041\", \"id\": \"")),
        ("a number beyond a double in every row", |text| text.replace("\"at\": ", "\"at\": 1e999, \"x\": ")),
        ("cut off", |text| text[..text.len() - 40].to_owned()),
    ];
    println!("{:<46} {:>8} {:>9} {:>9} {:>6}", "", "MB", "problems", "seconds", "times");
    for (name, way) in ways {
        let (small, whole) = (way(made(megabytes / 4.0)), way(made(megabytes)));
        let (quarter, _) = seconds(&small);
        let (time, problems) = seconds(&whole);
        println!("{name:<46} {:>8.2} {problems:>9} {time:>9.3} {:>6.1}", whole.len() as f64 / 1e6, time / quarter);
    }
}

fn replace_last(text: &str, old: &str, new: &str) -> String {
    match text.rfind(old) {
        Some(at) => format!("{}{new}{}", &text[..at], &text[at + old.len()..]),
        None => text.to_owned(),
    }
}
