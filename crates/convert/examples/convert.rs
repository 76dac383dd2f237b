//! Turns a survey from any format into any other, as an embedder would do it, run by run:
//!
//! ```console
//! $ cargo run -p obvert-convert --example convert -- convert survey.obvert.json -o survey.xml
//! $ cargo run -p obvert-convert --example convert -- convert moved.geojson -o again.obvert.json --option moved-geometry=take
//! ```
//!
//! Exit status 2 if it fails.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::error::Error;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use obvert_convert::{
    ConvertError, CreateFile, Format, Formats, Input, Locations, LossReport, Output, Source,
};

fn main() -> ExitCode {
    match run() {
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

fn run() -> Result<(), Box<dyn Error>> {
    let formats = Formats::built_in();
    let (mut files, mut options, mut to) = (Vec::new(), Vec::new(), None);
    let mut words = std::env::args().skip(1).filter(|word| word != "convert" && word != "-o");
    while let Some(word) = words.next() {
        match word.as_str() {
            "--option" => options.push(words.next().ok_or("--option NAME=VALUE")?),
            "--to" => to = words.next(),
            _ => files.push(PathBuf::from(word)),
        }
    }
    let [from, path] = files.as_slice() else {
        return Err("usage: convert IN -o OUT [--to FORMAT]".into());
    };
    let format = match to {
        Some(name) => formats.get(&name),
        None => formats.by_name(&path.display().to_string()),
    };
    let format = format.ok_or("the format of OUT cannot be told; give --to FORMAT")?;
    let mut input = input(from)?;
    for option in &options {
        let (name, value) = option.split_once('=').ok_or("--option NAME=VALUE")?;
        input = input.with_option(name, value);
    }
    let mut source = formats.open(input, None)?;
    let written = write(&mut *source, format, path);
    let losses = written.map_err(|error| source.explain(error))?;
    for note in losses.notes {
        eprintln!("{}: {}", note.pointer, note.message);
    }
    Ok(())
}

/// Passes the runs of a survey on to a writer, one at a time.
fn write(
    source: &mut dyn Source,
    format: &Format,
    path: &Path,
) -> Result<LossReport, ConvertError> {
    let mut reader = source.read(Locations::Skipped)?;
    if format.folder().is_some() {
        return format.write(&mut *reader, Output::Folder(&mut Folder(path)));
    }
    format.write(&mut *reader, Output::File(&mut BufWriter::new(File::create(path)?)))
}

fn input(path: &Path) -> io::Result<Input<'static>> {
    let name = path.display().to_string();
    if path.is_file() {
        return Ok(Input::file(name, fs::read(path)?));
    }
    let mut files = Vec::new();
    for entry in fs::read_dir(path)? {
        let file = entry?.path();
        if file.is_file() {
            let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
            files.push((name, fs::read(&file)?));
        }
    }
    Ok(Input::folder(name, files))
}

struct Folder<'p>(&'p Path);

impl CreateFile for Folder<'_> {
    fn create(&mut self, name: &str) -> io::Result<Box<dyn Write + Send>> {
        fs::create_dir_all(self.0)?;
        Ok(Box::new(BufWriter::new(File::create(self.0.join(name))?)))
    }
}
