//! `obvert convert`: a survey from one form into another.

use std::io::Write;
use std::path::Path;

use obvert::convert::{ConvertError, LossReport, csv, geojson, xml};
use obvert::model::read::ReadError;
use obvert::model::tables::Document;

use crate::args::{Convert, Form};
use crate::files::{self, Source};
use crate::render::failure;
use crate::{Failure, Status, render};

/// Converts.
pub(crate) fn run(arguments: &Convert) -> Result<Status, Failure> {
    let to = target(arguments)?;
    let source = files::read(&arguments.input, arguments.from)?;
    let Some(document) = document(&source)? else { return Ok(Status::Failed) };
    let standard = arguments.output == Path::new("-");
    if to == Form::Csv {
        if standard {
            return Err("CSV tables are a folder; name one, or write their zip with --to csv-zip".into());
        }
        let (tables, losses) = csv::write(&document)?;
        return finish(arguments, &losses, || files::write_folder(&arguments.output, arguments.replace, &tables));
    }
    let mut bytes = Vec::new();
    let losses = write(&document, to, &mut bytes)?;
    finish(arguments, &losses, || {
        if standard {
            super::print(&bytes).map(|_| ())
        } else {
            files::write_file(&arguments.output, arguments.replace, |sink| Ok(sink.write_all(&bytes)?))
        }
    })
}

fn target(arguments: &Convert) -> Result<Form, Failure> {
    let out = &arguments.output;
    let told = arguments.to.or_else(|| files::by_name(out));
    told.or_else(|| out.is_dir().then_some(Form::Csv)).ok_or_else(|| {
        format!(
            "{}: the name does not tell which form to write; end it in .json, .xml, .geojson or .zip, or give --to",
            out.display()
        )
        .into()
    })
}

/// The document of a source; `None` when it is not valid, which has been said.
fn document(source: &Source) -> Result<Option<Document>, Failure> {
    let name = &source.name;
    let read = match source.form {
        Form::Json => match obvert::read(source.bytes()) {
            Ok(document) => return Ok(Some(document)),
            Err(ReadError::Structure(problems)) => {
                for problem in &problems {
                    failure(&*Failure::from(format!("{name}: {problem}")));
                }
                return Ok(None);
            }
            Err(error) => return Err(format!("{name}: {error}").into()),
        },
        Form::Xml => xml::read(source.bytes(), name),
        Form::Geojson => geojson::read(source.bytes(), name),
        Form::CsvZip => csv::read_zip(source.bytes(), name),
        Form::Csv => csv::read(&source.files, name),
    };
    match read {
        Ok(survey) => Ok(Some(survey.document)),
        Err(ConvertError::Structure(placed)) => {
            for problem in &placed {
                failure(&*Failure::from(source.inside(&problem.to_string())));
            }
            Ok(None)
        }
        Err(error @ ConvertError::Form { place: Some(_), .. }) => Err(source.inside(&error.to_string()).into()),
        Err(error) => Err(format!("{name}: {error}").into()),
    }
}

fn write(document: &Document, to: Form, bytes: &mut Vec<u8>) -> Result<LossReport, ConvertError> {
    match to {
        Form::Json => {
            obvert::model::write::document(document, bytes)?;
            Ok(LossReport::default())
        }
        Form::Xml => xml::write(document, bytes),
        Form::Geojson => geojson::write(document, bytes),
        Form::CsvZip | Form::Csv => {
            let mut cursor = std::io::Cursor::new(Vec::new());
            let losses = csv::write_zip(document, &mut cursor)?;
            *bytes = cursor.into_inner();
            Ok(losses)
        }
    }
}

/// Says what was lost, and writes unless that is refused.
fn finish(
    arguments: &Convert,
    losses: &LossReport,
    write: impl FnOnce() -> Result<(), Failure>,
) -> Result<Status, Failure> {
    let mut say = anstream::stderr().lock();
    for loss in losses.losses.iter().take(20) {
        let kind = format!("{:?}", loss.kind).to_lowercase();
        writeln!(say, "{} {}: {}", render::strong(&kind), loss.pointer, loss.message)?;
    }
    if losses.losses.len() > 20 {
        writeln!(say, "and {} more", losses.losses.len() - 20)?;
    }
    drop(say);
    if arguments.lossless && !losses.is_empty() {
        return Err(format!(
            "{}: not written, since --lossless was given and something would be lost",
            arguments.output.display()
        )
        .into());
    }
    write()?;
    Ok(Status::Good)
}
