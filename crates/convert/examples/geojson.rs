//! Turns a document into GeoJSON and GeoJSON into a document: `geojson convert IN -o OUT`, by the ending of OUT. With `--moved take` or
//! `--moved keep` a geometry that was moved is taken over or taken no notice of. The interoperability tests run it where the `obvert`
//! command is not built.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::error::Error;
use std::fs::File;
use std::io::BufWriter;

use obvert_convert::{ConvertError, geojson};

fn main() -> Result<(), Box<dyn Error>> {
    let mut files = Vec::new();
    let mut moved = geojson::Moved::Refuse;
    let mut words = std::env::args().skip(1).filter(|word| word != "convert");
    while let Some(word) = words.next() {
        match word.as_str() {
            "-o" => {}
            "--moved" => {
                moved = match words.next().as_deref() {
                    Some("take") => geojson::Moved::TakeGeometry,
                    Some("keep") => geojson::Moved::KeepProperties,
                    other => return Err(format!("--moved takes take or keep, not {other:?}").into()),
                }
            }
            _ => files.push(word),
        }
    }
    let [from, to] = files.as_slice() else { return Err("usage: geojson convert IN -o OUT".into()) };
    let source = std::fs::read(from)?;
    if to.ends_with(".geojson") {
        let report = obvert_model::read::stream(&source, |head, runs| {
            // A document whose runs do not stand last is streamed a second time, into a new file.
            let sink = BufWriter::new(File::create(to)?);
            geojson::write_stream(head, std::iter::from_fn(|| runs.next_run()), sink)
        })??;
        for note in report.notes {
            eprintln!("{}: {}", note.pointer, note.message);
        }
    } else {
        let survey = geojson::read_with(&source, from, moved).map_err(|error| match error {
            ConvertError::Structure(problems) => problems.iter().map(|p| format!("{p}\n")).collect::<String>().into(),
            other => Box::<dyn Error>::from(other),
        })?;
        std::fs::write(to, obvert_model::write::to_string(&survey.document)?)?;
    }
    Ok(())
}
