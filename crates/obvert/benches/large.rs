//! Ratios on a large document, measured in one run: the strict typed read and the streaming check
//! with every rule, on one thread and on two, against bare `serde_json` into the same owned types,
//! and the check's peak memory against the size of its input.
//!
//! `cargo bench -p obvert --bench large` (100 MB), or `… -- 25` for another number of megabytes.
//!
//! Ratios are of the fastest of several turns taken in alternation, since machines are shared and
//! noisy. Peak memory is that of a process of its own, which does nothing but read the file and
//! check it on two threads, its program and its code lists included (Linux only).

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

mod generate;

use std::hint::black_box;
use std::sync::Mutex;
use std::time::{Duration, Instant};

use obvert::model::profile::Profile;
use obvert::model::read::{Reader, RunReader};
use obvert::prelude::*;

const TURNS: usize = 5;

fn main() {
    let arguments: Vec<String> =
        std::env::args().skip(1).filter(|argument| argument != "--bench").collect();
    match arguments.as_slice() {
        [command, file] if command == "peak-of" => return peak(file),
        [command, size, file] if command == "generate" => {
            let text = generate::document(size.parse::<usize>().expect("megabytes") * 1_000_000);
            return std::fs::write(file, text).expect("write");
        }
        _ => {}
    }
    // `cargo test --benches` asks for a quick turn only.
    let quick = arguments.iter().any(|argument| argument == "--test");
    let megabytes: usize = arguments
        .iter()
        .find_map(|argument| argument.parse().ok())
        .unwrap_or(if quick { 1 } else { 100 });
    let text = generate::document(megabytes * 1_000_000);
    let source = text.as_bytes();
    let size = source.len() as f64 / 1e6;
    let checker = Checker::new(settings()).expect("settings");
    let report = checker.check(source).expect("json");
    let runs = report.documents[0].runs;
    println!("{size:.1} MB, {runs} runs, {} observations", report.documents[0].observations);
    assert!(report.findings.is_empty(), "the document is clean: {:?}", report.findings.first());

    let under = Checker::new(settings().with_profile(profile())).expect("settings");
    let report = under.check(source).expect("json");
    assert!(report.findings.is_empty(), "it meets the profile: {:?}", report.findings.first());

    let ahead = Checker::new(settings().with_read_ahead(true)).expect("settings");

    let mut times = [Duration::MAX; 11];
    for _ in 0..if quick { 1 } else { TURNS } {
        let mut turn = |slot: usize, work: &mut dyn FnMut()| {
            let start = Instant::now();
            work();
            times[slot] = times[slot].min(start.elapsed());
        };
        turn(0, &mut || {
            black_box(serde_json::from_slice::<Document>(source).expect("bare serde_json"));
        });
        turn(1, &mut || {
            black_box(obvert::read(source).expect("strict"));
        });
        turn(2, &mut || {
            black_box(checker.check(source).expect("check"));
        });
        turn(7, &mut || {
            black_box(ahead.check(source).expect("check"));
        });
        turn(8, &mut || {
            let mut reader = Reader::new(source).expect("read");
            while black_box(reader.next_run().expect("read")).is_some() {}
        });
        turn(9, &mut || {
            let mut slices = Reader::new(source).expect("read").into_slices();
            assert_eq!(slices.by_ref().count(), runs);
        });
        turn(10, &mut || {
            let slices = Mutex::new(Reader::new(source).expect("read").into_slices());
            let work = || {
                loop {
                    let next = slices.lock().expect("lock").next();
                    let Some(slice) = next else { return };
                    black_box(slice.expect("slice").read().expect("run"));
                }
            };
            std::thread::scope(|scope| {
                scope.spawn(work);
                work();
            });
        });
        turn(6, &mut || {
            black_box(under.check(source).expect("check"));
        });
        turn(3, &mut || {
            let document = obvert::read(source).expect("strict");
            let mut out = Vec::with_capacity(source.len());
            obvert::convert::xml::write(&document, &mut out).expect("xml");
            black_box(out);
        });
        turn(4, &mut || {
            let document = obvert::read(source).expect("strict");
            black_box(obvert::convert::csv::write(&document).expect("csv"));
        });
        turn(5, &mut || {
            let document = obvert::read(source).expect("strict");
            let mut out = Vec::with_capacity(source.len());
            obvert::convert::geojson::write(&document, &mut out).expect("geojson");
            black_box(out);
        });
    }
    let base = times[0].as_secs_f64();
    for (what, time) in [
        "bare serde_json into Document",
        "strict typed read",
        "streaming check, all rules",
        "read and write XML",
        "read and write CSV tables",
        "read and write GeoJSON",
        "streaming check, and a profile",
        "streaming check, on two threads",
        "streaming read, without rules",
        "head, and finding the runs",
        "reading slices on two threads",
    ]
    .iter()
    .zip(times)
    {
        let seconds = time.as_secs_f64();
        println!(
            "{what:<32} {seconds:>7.3} s  {:>6.0} MB/s  ratio {:.2}",
            size / seconds,
            seconds / base
        );
    }
    memory(source);
}

fn settings() -> Settings {
    Settings::default().with_today("2027-01-01".parse().expect("a date"))
}

/// What an office might demand, on every table and every row.
fn profile() -> Profile {
    let source = br#"{ "profile": "0.1", "id": "large", "version": "1", "title": "For measuring",
      "allow": { "code_lists": [{ "list": "obvert-terms" }], "length_units": ["m"], "section_units": ["mm"] },
      "fields": [
        { "path": "structures.id", "pattern": "N[0-9]{6}" }, { "path": "pipes.id", "pattern": "P[0-9]{6}" },
        { "path": "pipes.material", "demand": "required" }, { "path": "pipes.height", "values": [200, 250, 300] },
        { "path": "runs.operator", "demand": "required" }, { "path": "runs.counter.zero", "demand": "required" },
        { "path": "runs.method", "values": ["crawler", "push-rod"] }, { "path": "runs.started", "demand": "required" },
        { "path": "runs.observations.id", "pattern": "[0-9]{1,3}" },
        { "path": "runs.observations.remark", "demand": "required", "where": [{ "field": "code", "pattern": "note\\..*" }] },
        { "path": "runs.observations.clock", "demand": "required",
          "where": [{ "field": "code", "values": ["crack.longitudinal", "roots.fine", "connection.preformed"] }] },
        { "path": "runs.observations.joins", "demand": "forbidden" },
        { "path": "runs.observations.quantities.unit", "values": ["mm", "percent"] },
        { "path": "runs.observations.media.offset", "demand": "required" }
      ],
      "media": [
        { "of": "run", "kinds": ["video"] }, { "of": "observation", "kinds": ["video", "photo"], "from_grade": 2 },
        { "of": "observation", "kinds": ["video"], "roles": ["connection"] }
      ] }"#;
    Profile::read(source).expect("a profile")
}

fn memory(source: &[u8]) {
    let file = std::env::temp_dir().join(format!("obvert-large-{}.json", std::process::id()));
    std::fs::write(&file, source).expect("write");
    let program = std::env::current_exe().expect("own path");
    let output = std::process::Command::new(program).arg("peak-of").arg(&file).output();
    let _ = std::fs::remove_file(&file);
    let output = output.expect("run");
    match String::from_utf8_lossy(&output.stdout).trim().parse::<f64>() {
        Ok(peak) => {
            println!(
                "peak memory of the check: {:.2} times the input, the input included",
                peak / source.len() as f64
            )
        }
        Err(_) => println!("peak memory: not measured on this system"),
    }
}

/// Checks a file and prints the greatest resident memory of this process, in bytes.
fn peak(file: &str) {
    let source = std::fs::read(file).expect("read");
    let checker = Checker::new(settings().with_read_ahead(true)).expect("settings");
    black_box(checker.check(&source).expect("check"));
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM:")).unwrap_or_default();
    if let Some(kilobytes) =
        line.split_whitespace().nth(1).and_then(|number| number.parse::<f64>().ok())
    {
        println!("{}", kilobytes * 1024.0);
    }
}
