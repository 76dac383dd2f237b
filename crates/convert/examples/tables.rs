//! A survey to CSV tables and back, as an embedder would do it.
//!
//! ```console
//! $ cargo run -p obvert-convert --features csv --example tables -- convert survey.obvert.json -o tables --to csv
//! $ cargo run -p obvert-convert --features csv --example tables -- convert tables -o again.obvert.json --to json
//! ```
//!
//! A name that ends in `.zip` stands for an archive, any other for a folder. Exit status 2 when it could not be done.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::error::Error;
use std::fs::{self, File};
use std::io::BufWriter;
use std::path::Path;
use std::process::ExitCode;

use obvert_convert::{ConvertError, Each, csv};
use obvert_model::{read, write};

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let result = match arguments.as_slice() {
        ["convert", from, "-o", to, "--to", "csv" | "csv-zip"] => to_tables(Path::new(from), Path::new(to)),
        ["convert", from, "-o", to, "--to", "json"] => to_document(Path::new(from), Path::new(to)),
        _ => Err("usage: tables convert <from> -o <to> --to csv|csv-zip|json".into()),
    };
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("error: {error}");
            if let Some(ConvertError::Structure(problems)) = error.downcast_ref() {
                problems.iter().for_each(|problem| eprintln!("  {problem}"));
            }
            ExitCode::from(2)
        }
    }
}

fn to_tables(from: &Path, to: &Path) -> Result<(), Box<dyn Error>> {
    let source = fs::read(from)?;
    if is_zip(to) {
        csv::write_zip(&read::document(&source)?, File::create(to)?)?;
        return Ok(());
    }
    fs::create_dir_all(to)?;
    // The runs go from the document to the tables one at a time.
    let written = read::stream(&source, |head, runs| {
        csv::write_stream(head, Each(runs), |name| File::create(to.join(name)).map(BufWriter::new)).map(drop)
    })?;
    Ok(written?)
}

fn to_document(from: &Path, to: &Path) -> Result<(), Box<dyn Error>> {
    let name = from.display().to_string();
    let survey = if is_zip(from) {
        csv::read_zip(&fs::read(from)?, &name)?
    } else if from.is_file() {
        // A document as it is written by hand, in its canonical layout.
        fs::write(to, write::to_string(&read::document(&fs::read(from)?)?)?)?;
        return Ok(());
    } else {
        let mut files = Vec::new();
        for entry in fs::read_dir(from)? {
            let path = entry?.path();
            if path.is_file() {
                let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
                files.push((name, fs::read(&path)?));
            }
        }
        csv::read(&files, &name)?
    };
    fs::write(to, write::to_string(&survey.document)?)?;
    Ok(())
}

fn is_zip(path: &Path) -> bool {
    path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("zip"))
}
