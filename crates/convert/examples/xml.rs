//! Turns a document into XML and XML into a document: `xml convert IN -o OUT`, by the endings; `xml schema` prints the
//! XML Schema. The interoperability tests run it where the `obvert` command is not built.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use std::error::Error;
use std::process::ExitCode;

use obvert_convert::{ConvertError, xml};

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("error: {error}");
            ExitCode::from(2)
        }
    }
}

fn run() -> Result<(), Box<dyn Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let [from, to] = match words.as_slice() {
        ["schema", ..] => {
            print!("{}", xml::xsd());
            return Ok(());
        }
        ["convert", from, "-o", to] => [*from, *to],
        _ => return Err("usage: xml convert IN -o OUT, or xml schema".into()),
    };
    let source = std::fs::read(from)?;
    let document = if from.ends_with(".xml") {
        match xml::read(&source, from) {
            Ok(survey) => survey.document,
            Err(ConvertError::Structure(problems)) => {
                let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
                return Err(lines.join("\n").into());
            }
            Err(error) => return Err(error.into()),
        }
    } else {
        obvert_model::read::document(&source)?
    };
    let mut bytes = Vec::new();
    if to.ends_with(".xml") {
        xml::write(&document, &mut bytes)?;
    } else {
        obvert_model::write::document(&document, &mut bytes)?;
    }
    std::fs::write(to, bytes)?;
    Ok(())
}
