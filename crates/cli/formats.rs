//! The formats on the command line: those of the registry, and an office's own table with its
//! layout.

use std::sync::OnceLock;

use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use obvert::convert::{Format, FormatError, Formats};
use obvert::open::LAYOUT;

use crate::Failure;

/// The formats that the command knows. Options, help, messages and file names are derived from this
/// registry.
pub(crate) fn formats() -> &'static Formats {
    static FORMATS: OnceLock<Formats> = OnceLock::new();
    FORMATS.get_or_init(registry)
}

#[cfg(not(test))]
fn registry() -> Formats {
    Formats::built_in()
}

/// Tests register one more format, to show that only the registry names the formats.
#[cfg(test)]
fn registry() -> Formats {
    Formats::built_in().with(&toy::TOY)
}

#[cfg(test)]
#[path = "../obvert/tests/toy_format/toy.rs"]
mod toy;

/// The names of the formats in which a survey can be delivered.
pub(crate) fn format_names() -> Vec<String> {
    formats()
        .iter()
        .filter(|format| format.is_written())
        .map(|format| format.name.to_owned())
        .collect()
}

/// Parses the name of a readable format, or of an office's own table.
pub(crate) fn parse_input_format() -> impl TypedValueParser<Value = &'static Format> {
    parser(formats(), |format| format.is_read() || format == &LAYOUT)
}

/// Parses the name of a readable format, without an office's own table.
pub(crate) fn parse_survey_format() -> impl TypedValueParser<Value = &'static Format> {
    parser(formats(), Format::is_read)
}

/// Parses the name of a writable format, or of an office's own table.
pub(crate) fn parse_output_format() -> impl TypedValueParser<Value = &'static Format> {
    parser(formats(), |format| format.is_written() || format == &LAYOUT)
}

/// Parses the name of a writable format, without an office's own table.
pub(crate) fn parse_unpacked_format() -> impl TypedValueParser<Value = &'static Format> {
    parser(formats(), Format::is_written)
}

fn parser(
    formats: &Formats,
    fits: fn(&'static Format) -> bool,
) -> impl TypedValueParser<Value = &'static Format> + use<> {
    let all: Vec<&'static Format> =
        formats.iter().chain([&LAYOUT]).filter(|format| fits(format)).collect();
    let values: Vec<PossibleValue> = all
        .iter()
        .map(|format| {
            PossibleValue::new(format.name).help(format.description.trim_end_matches('.'))
        })
        .collect();
    PossibleValuesParser::new(values).try_map(move |name| {
        let found = all.iter().find(|format| format.name == name);
        found.copied().ok_or_else(|| format!("there is no format {name}"))
    })
}

/// The extensions that imply a format, as a list: `.obvert.json, .xml or .zip`.
pub(crate) fn endings(formats: &Formats) -> String {
    let files = formats.iter().filter(|format| format.is_written() && format.folder().is_none());
    let mut endings: Vec<String> =
        files.map(|format| format!(".{}", format.extensions[0])).collect();
    let last = endings.pop().unwrap_or_default();
    if endings.is_empty() { last } else { format!("{} or {last}", endings.join(", ")) }
}

/// The end of `convert --help`.
pub(crate) fn convert_help() -> String {
    let folders =
        formats().iter().filter(|format| format.is_written() && format.folder().is_some());
    let folders: Vec<String> =
        folders.map(|format| format!("--to {} for {}", format.name, format.title)).collect();
    format!(
        "The extension of OUT implies the format: {}. For a folder, give {}.\n\n\
         Exit status: 0 on success, 2 on failure, also if --lossless refuses to write.",
        endings(formats()),
        folders.join(" or ")
    )
}

/// The error for a file or folder that is not read, with what to do about it on the command line.
pub(crate) fn refusal(name: &str, error: &FormatError) -> Failure {
    let why = match error {
        FormatError::Unknown if crate::advice::has("from") => {
            format!("{error}; state it with --from")
        }
        FormatError::NoFile(_) => {
            format!("{error}, and there is no survey in this folder; name the right folder")
        }
        FormatError::Contradicted { stated, detected } => {
            format!("looks like {detected}, but --from is {stated}; correct --from, or omit it")
        }
        FormatError::OneFile(_) if crate::advice::has("layout") => {
            format!("{error}, or for an office's own table its --layout")
        }
        FormatError::OneFile(_) => {
            format!("{error}; for an office's own table, {}", crate::advice::for_table())
        }
        FormatError::WriteOnly(format) if format.folder().is_some() && !format.is_named(name) => {
            format!("{}: {error}", format.title)
        }
        FormatError::NoFolder(stated) => {
            let read =
                formats().iter().filter(|format| format.is_read() && format.folder().is_some());
            let titles: Vec<&str> = read.map(|format| format.title).collect();
            format!(
                "is a folder, but --from is {stated}; only {} are read from a folder",
                titles.join(" and ")
            )
        }
        _ => error.to_string(),
    };
    format!("{name}: {why}").into()
}

/// What to do about a format of several files if the output cannot be a folder.
pub(crate) fn folder_hint(format: &Format, standard_output: bool) -> String {
    let Some(folder) = format.folder() else { return String::new() };
    let packed = folder.packed.and_then(|name| formats().get(name));
    if standard_output {
        let packed = packed.map(|format| format!(", or write their zip with --to {}", format.name));
        return format!("{}; name one{}", folder.sentence, packed.unwrap_or_default());
    }
    let packed = packed.map(|format| format!(", or end it in .{}", format.extensions[0]));
    format!(
        "{}; name a folder and give --to {}{}",
        folder.sentence,
        format.name,
        packed.unwrap_or_default()
    )
}

#[cfg(test)]
mod tests {
    use clap::{CommandFactory, Parser};

    use super::*;
    use crate::args::Arguments;
    use crate::{Status, commands};

    fn run(arguments: &[&str]) -> Result<Status, String> {
        let arguments = Arguments::try_parse_from([&["obvert"], arguments].concat())
            .map_err(|error| error.to_string())?;
        commands::run(&arguments).map_err(|error| error.to_string())
    }

    /// The command converts, checks and packs a format that only the registry names.
    #[test]
    fn a_format_needs_nothing_but_the_registry() {
        let folder = tempfile::tempdir().unwrap();
        let place = |name: &str| folder.path().join(name).display().to_string();
        let survey = format!("{}/examples/data/larkmoor.obvert.json", env!("CARGO_MANIFEST_DIR"));
        let (toy, xml, back) =
            (place("survey.toy"), place("survey.xml"), place("back.obvert.json"));
        assert_eq!(run(&["convert", &survey, "-o", &toy]), Ok(Status::Success));
        assert_eq!(run(&["convert", &toy, "-o", &xml, "--lossless"]), Ok(Status::Success));
        assert_eq!(
            run(&["convert", &xml, "-o", &place("again"), "--to", "toy"]),
            Ok(Status::Success)
        );
        assert_eq!(run(&["convert", &place("again"), "-o", &back]), Ok(Status::Success));
        assert_eq!(std::fs::read(&back).unwrap(), std::fs::read(&survey).unwrap());
        assert_eq!(
            run(&["check", &toy, "--today", "2026-06-15", "--from", "toy"]),
            Ok(Status::Success)
        );
        assert_eq!(run(&["archive", "pack", &toy, "-o", &place("all.jsonl")]), Ok(Status::Success));
        let unpacked =
            run(&["archive", "unpack", &place("all.jsonl"), "-o", &place("out"), "--to", "toy"]);
        assert_eq!(unpacked, Ok(Status::Success));
        let names: Vec<_> =
            std::fs::read_dir(place("out")).unwrap().map(|entry| entry.unwrap().path()).collect();
        assert!(
            names.len() == 1 && names[0].extension().is_some_and(|ending| ending == "toy"),
            "{names:?}"
        );
        let error = run(&["check", &toy, "--from", "xml"]).unwrap();
        assert_eq!(error, Status::Failed);
        assert!(
            run(&["convert", &survey, "-o", &place("x.unknown")])
                .unwrap_err()
                .contains(".kml or .toy, or give --to")
        );
    }

    #[test]
    fn the_help_lists_the_formats_of_the_registry() {
        let mut command = Arguments::command();
        let convert =
            command.find_subcommand_mut("convert").unwrap().render_long_help().to_string();
        let convert = convert.split_whitespace().collect::<Vec<_>>().join(" ");
        for format in formats().iter() {
            assert!(convert.contains(&format!("- {}", format.name)), "{format}: {convert}");
            assert!(
                convert.contains(format.description.trim_end_matches('.')),
                "{format}: {convert}"
            );
        }
        assert!(
            convert.contains("The extension of OUT implies the format: .obvert.json, .xml"),
            "{convert}"
        );
    }
}
