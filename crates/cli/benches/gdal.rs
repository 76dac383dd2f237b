//! Compares the command with GDAL's `ogr2ogr` on the same files: CSV tables to GeoJSON, and that
//! GeoJSON to a GeoPackage.
//!
//! `cargo bench --bench gdal` (20 MB of JSON), or `… -- 100` for another number of megabytes.
//! Without `ogr2ogr` on the path, nothing is measured.
//!
//! The two do not do the same work. `ogr2ogr` turns each table into a file of features without
//! geometry, and copies features between files. `obvert` reads the tables as one survey, validates
//! it, computes the position of every observation along its pipe, transforms positions to WGS 84,
//! and reads the survey back from the features. The ratios compare the fastest of several
//! alternating rounds, because machines are shared and noisy.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

#[path = "../../obvert/benches/generate/mod.rs"]
mod generate;

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

const TURNS: usize = 3;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let quick = arguments.iter().any(|argument| argument == "--test");
    let megabytes: usize = arguments
        .iter()
        .find_map(|argument| argument.parse().ok())
        .unwrap_or(if quick { 1 } else { 20 });
    if Command::new("ogr2ogr")
        .arg("--version")
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_err()
    {
        println!("ogr2ogr is not on the path; nothing to measure against");
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    fs::write(at("survey.obvert.json"), generate::document(megabytes * 1_000_000)).expect("write");
    ours(folder.path(), &["convert", "survey.obvert.json", "-o", "tables", "--to", "csv"]);
    let tables: Vec<String> = fs::read_dir(at("tables"))
        .expect("tables")
        .map(|entry| entry.expect("an entry").path().display().to_string())
        .filter(|path| path.ends_with(".csv"))
        .collect();
    let size = |name: &str| fs::metadata(at(name)).map_or(0.0, |about| about.len() as f64 / 1e6);
    let of_tables: f64 = tables
        .iter()
        .map(|path| fs::metadata(path).map_or(0.0, |about| about.len() as f64 / 1e6))
        .sum();

    let (mut here, mut there) = ([f64::INFINITY; 2], [f64::INFINITY; 2]);
    for _ in 0..TURNS {
        here[0] = here[0]
            .min(ours(folder.path(), &["convert", "tables", "-o", "survey.geojson", "--replace"]));
        let mut all = 0.0;
        for table in &tables {
            let _ = fs::remove_file(at("theirs.geojson"));
            all += theirs(folder.path(), &["-f", "GeoJSON", "theirs.geojson", table]);
        }
        there[0] = there[0].min(all);
        here[1] = here[1].min(ours(
            folder.path(),
            &["convert", "survey.geojson", "-o", "survey.gpkg", "--replace"],
        ));
        let _ = fs::remove_file(at("theirs.gpkg"));
        there[1] =
            there[1].min(theirs(folder.path(), &["-f", "GPKG", "theirs.gpkg", "survey.geojson"]));
    }
    println!(
        "{:.1} MB of JSON, {of_tables:.1} MB of CSV tables, {:.1} MB of GeoJSON",
        size("survey.obvert.json"),
        size("survey.geojson")
    );
    for (what, here, there) in
        [("CSV tables to GeoJSON", here[0], there[0]), ("GeoJSON to GeoPackage", here[1], there[1])]
    {
        println!(
            "{what:<24} obvert {here:7.3} s  ogr2ogr {there:7.3} s  ratio {:.2}",
            here / there
        );
    }
}

fn ours(folder: &Path, arguments: &[&str]) -> f64 {
    timed(Command::new(env!("CARGO_BIN_EXE_obvert")).args(arguments).current_dir(folder))
}

fn theirs(folder: &Path, arguments: &[&str]) -> f64 {
    timed(Command::new("ogr2ogr").args(arguments).current_dir(folder))
}

fn timed(command: &mut Command) -> f64 {
    let began = Instant::now();
    let output = command.output().expect("the command runs");
    let seconds = began.elapsed().as_secs_f64();
    assert!(output.status.success(), "{command:?}: {}", String::from_utf8_lossy(&output.stderr));
    seconds
}
