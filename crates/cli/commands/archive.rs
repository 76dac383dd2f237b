//! `obvert archive`: many surveys in one file, a document a line, read and written one at a time.

use std::cell::Cell;
use std::collections::HashMap;
use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, Write};
use std::path::{Path, PathBuf};

use obvert::convert::{Format, json};
use obvert::model::archive::{self, Line};
use obvert::model::tables::Document;
use obvert::model::text::Digest;
use obvert::model::write;
use obvert::open::LAYOUT;
use serde_json::json;

use super::{convert, print};
use crate::args::{Archive, ArchiveList, ListFormat, Pack, Unpack};
use crate::input::{self, ByLayout, Input, is_archive};
use crate::render::progress;
use crate::{Failure, Status, atomic_output, lists, render};

/// Does what was asked of archives.
pub(crate) fn run(arguments: &Archive) -> Result<Status, Failure> {
    match arguments {
        Archive::Pack(pack) => self::pack(pack),
        Archive::Unpack(unpack) => self::unpack(unpack),
        Archive::List(list) => self::list(list),
    }
}

/// The lines of an archive, or of standard input for `-`.
pub(super) fn lines(path: &Path) -> Result<archive::Lines<Box<dyn BufRead>>, Failure> {
    let source: Box<dyn BufRead> = if path == Path::new("-") {
        Box::new(BufReader::new(io::stdin()))
    } else {
        let name = path.display();
        atomic_output::note_read(path);
        let file = File::open(path).map_err(|error| input::unreadable(path, &error))?;
        let mut source = BufReader::with_capacity(1 << 16, file);
        let start = source.fill_buf().map_err(|error| format!("{name}: {error}"))?;
        let start = start.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(start);
        let first = start
            .split(|byte| *byte == b'\n')
            .map(<[u8]>::trim_ascii)
            .find(|line| !line.is_empty());
        // What was cut off on its way to nothing is no archive without a survey in it.
        if start.is_empty() {
            return Err(format!(
                "{name}: the source is empty; expected an archive, a survey a line"
            )
            .into());
        }
        // Of the first line more than a brace is at hand, unless it is written over many lines as
        // one survey is.
        if first.is_some_and(|line| line == b"{" || !line.starts_with(b"{")) {
            let why = "is no archive, which has a survey a line (JSON lines); obvert archive pack makes one";
            return Err(format!("{name}: {why}").into());
        }
        Box::new(source)
    };
    Ok(archive::lines(source))
}

/// A line of an archive as a survey of its own, with its place in its name.
pub(super) fn input<'l>(path: &Path, line: Line) -> Result<Input<'l>, Failure> {
    Input::of_line(&path.display().to_string(), line.number, line.text)
}

/// Documents that were seen, by id.
#[derive(Default)]
struct Seen(HashMap<String, (String, Digest)>);

impl Seen {
    /// Whether a document is new; `false` when the same one was seen before.
    fn is_new(&mut self, document: &Document, name: &str) -> Result<bool, Failure> {
        let digest = write::digest(document)?;
        match self.0.get(document.head.id.as_str()) {
            None => {
                self.0.insert(document.head.id.to_string(), (name.to_owned(), digest));
                Ok(true)
            }
            Some((_, same)) if *same == digest => Ok(false),
            Some((first, _)) => Err(format!(
                "{name}: has the id {:?}, as {first} has, and says something else; give the later one an id of its own and \
                 name the earlier in `revises`",
                document.head.id.as_str()
            )
            .into()),
        }
    }
}

/// The files that a path stands for, where a layout is given: itself, or the tables in a folder of
/// an office's, by name. Other files in it are reported and left alone.
fn tables(path: &Path, by: &ByLayout) -> Result<Vec<PathBuf>, Failure> {
    // CSV tables of this format are one survey.
    if !path.is_dir() || path.join("document.csv").exists() {
        return Ok(vec![path.to_owned()]);
    }
    let name = path.display();
    let entries = fs::read_dir(path)
        .and_then(|entries| entries.map(|entry| Ok(entry?.path())).collect::<Result<_, _>>());
    let mut files: Vec<PathBuf> = entries.map_err(|error: io::Error| format!("{name}: {error}"))?;
    files.sort();
    let is_table = |file: &PathBuf| {
        let hidden =
            file.file_name().is_some_and(|name| name.to_string_lossy().starts_with(['.', '~']));
        file.is_file() && !hidden && input::by_name(file).is_some_and(|format| by.shares(format))
    };
    let (tables, others): (Vec<PathBuf>, Vec<PathBuf>) = files.into_iter().partition(is_table);
    let ending = by.endings();
    if tables.is_empty() {
        return Err(format!(
            "{name}: there is no table of the layout {} in this folder ({ending})",
            by.layout.id
        )
        .into());
    }
    let named = |files: &mut dyn Iterator<Item = &PathBuf>| {
        let names: Vec<String> = files
            .filter_map(|file| Some(file.file_name()?.to_string_lossy().into_owned()))
            .collect();
        names.join(", ")
    };
    let folders = named(&mut others.iter().filter(|file| file.is_dir()));
    if !folders.is_empty() {
        render::note(&format!(
            "{name}: what is in folders within it is left out; name them as well: {folders}"
        ));
    }
    let files = named(&mut others.iter().filter(|file| !file.is_dir()));
    if !files.is_empty() {
        render::note(&format!(
            "{name}: left out, since they are no tables by their names ({ending}): {files}"
        ));
    }
    Ok(tables)
}

fn pack(arguments: &Pack) -> Result<Status, Failure> {
    let layout = match &arguments.layout {
        Some(path) => Some(lists::layout(path, lists::code_lists(&arguments.code_lists)?)?),
        None => None,
    };
    let mut seen = Seen::default();
    let (mut packed, mut twice, bad) = (0_usize, 0_usize, Cell::new(0_usize));
    let stage = progress::stage("packing");
    let mut one = |input: &mut Input<'_>, sink: &mut dyn Write| -> Result<(), Failure> {
        let name = input.name().to_owned();
        stage.say(|| format!("packing {name}, {packed} surveys packed"));
        // What is wrong with one is reported, and the others are read all the same.
        let document = match convert::document(input) {
            Ok(Some(document)) => document,
            wrong => {
                if let Err(error) = wrong {
                    render::failure(&*error);
                }
                bad.set(bad.get() + 1);
                return Ok(());
            }
        };
        if seen.is_new(&document, &name)? {
            archive::write(&document, sink)?;
            packed += 1;
        } else {
            twice += 1;
        }
        Ok(())
    };
    let mut all = |sink: &mut dyn Write| -> Result<(), Failure> {
        for path in &arguments.files {
            if is_archive(path) {
                for line in lines(path)? {
                    let line = line.map_err(|error| format!("{}: {error}", path.display()))?;
                    one(&mut input(path, line)?, sink)?;
                }
            } else if let Some(by) = &layout {
                for table in tables(path, by)? {
                    one(&mut input::open(&table, None, Some(by))?, sink)?;
                }
            } else {
                one(&mut input::open(path, None, None)?, sink)?;
            }
        }
        let by = if layout.is_some() { " with the same --layout" } else { "" };
        match bad.get() {
                0 => Ok(()),
                1 => Err(format!("one of these is no valid survey, so nothing was packed; obvert check{by} says more")
                    .into()),
                bad => Err(format!(
                    "{bad} of these are no valid surveys, so nothing was packed; obvert check{by} says more"
                )
                .into()),
            }
    };
    if arguments.output == Path::new("-") {
        all(&mut io::stdout().lock())?;
    } else {
        atomic_output::write_file(&arguments.output, arguments.replace, |sink| all(sink))?;
    }
    let again = if twice == 0 {
        String::new()
    } else {
        format!("; {twice} left out that were packed already")
    };
    let plural = if packed == 1 { "" } else { "s" };
    drop(stage);
    // Whether anybody reads this does not decide whether the archive is written.
    let _ = writeln!(anstream::stderr(), "{packed} survey{plural} packed{again}");
    Ok(Status::Good)
}

fn unpack(arguments: &Unpack) -> Result<Status, Failure> {
    let folder = &arguments.output;
    let to = arguments.to.unwrap_or(&json::FORMAT);
    if to == &LAYOUT {
        return Err("--to layout: convert the unpacked surveys with --layout one by one".into());
    }
    match fs::metadata(folder) {
        Ok(about) if !about.is_dir() => {
            return Err(format!("{}: is no folder", folder.display()).into());
        }
        Ok(_) => {}
        Err(_) => {
            fs::create_dir_all(folder).map_err(|error| format!("{}: {error}", folder.display()))?
        }
    }
    let mut names: HashMap<String, usize> = HashMap::new();
    let (mut written, mut failed) = (0_usize, false);
    let stage = progress::stage("unpacking");
    for line in lines(&arguments.file)? {
        let line = line.map_err(|error| format!("{}: {error}", arguments.file.display()))?;
        let mut input = input(&arguments.file, line)?;
        stage.say(|| format!("unpacking {}, {written} surveys unpacked", input.name()));
        // A line that is no survey keeps no other from being unpacked.
        let unpacked = convert::document(&mut input).and_then(|document| {
            let Some(document) = document else { return Ok(false) };
            let name = name_of(&document, to, &mut names);
            convert::write_to(document, to, &folder.join(name), arguments.replace)?;
            Ok(true)
        });
        match unpacked {
            Ok(true) => written += 1,
            Ok(false) => failed = true,
            Err(error) => {
                failed = true;
                render::failure(&*error);
            }
        }
    }
    drop(stage);
    let plural = if written == 1 { "" } else { "s" };
    let _ =
        writeln!(anstream::stderr(), "{written} survey{plural} unpacked to {}", folder.display());
    Ok(if failed { Status::Failed } else { Status::Good })
}

/// The name of a document's file: its id, as far as every file system can have it, and a number
/// where that is not enough.
fn name_of(document: &Document, format: &Format, names: &mut HashMap<String, usize>) -> PathBuf {
    let plain = |character: char| {
        if character.is_ascii_alphanumeric() || "-_.".contains(character) { character } else { '-' }
    };
    let id: String = document.head.id.chars().map(plain).take(100).collect();
    let id = id.trim_start_matches(['.', '-']);
    let id = if id.is_empty() { "survey" } else { id };
    // File systems that do not tell cases apart would write one over the other.
    let count = names.entry(id.to_ascii_lowercase()).or_default();
    *count += 1;
    let number = if *count == 1 { String::new() } else { format!("-{count}") };
    let ending = if format.folder().is_some() {
        String::new()
    } else {
        format!(".{}", format.extensions[0])
    };
    PathBuf::from(format!("{id}{number}{ending}"))
}

fn list(arguments: &ArchiveList) -> Result<Status, Failure> {
    let mut failed = false;
    for path in &arguments.files {
        for line in lines(path)? {
            let line = line.map_err(|error| format!("{}: {error}", path.display()))?;
            let number = line.number;
            let document =
                match input(path, line).and_then(|mut input| convert::document(&mut input)) {
                    Ok(Some(document)) => document,
                    Ok(None) => {
                        failed = true;
                        continue;
                    }
                    Err(error) => {
                        failed = true;
                        render::failure(&*error);
                        continue;
                    }
                };
            let head = &document.head;
            let observations: usize = document.runs.iter().map(|run| run.observations.len()).sum();
            let digest = write::digest(&document)?;
            let text = match arguments.format {
                ListFormat::Json => json!({
                    "file": path.display().to_string(),
                    "line": number,
                    "id": head.id.as_str(),
                    "issued": head.issued.as_str(),
                    "pipes": head.pipes.len(),
                    "runs": document.runs.len(),
                    "observations": observations,
                    "digest": digest.as_str(),
                })
                .to_string(),
                ListFormat::Text => format!(
                    "{}:{number}  {}  issued {}  {}, {}, {}",
                    path.display(),
                    render::plain(head.id.as_str()),
                    render::plain(head.issued.as_str()),
                    render::count(head.pipes.len(), "pipe"),
                    render::count(document.runs.len(), "run"),
                    render::count(observations, "observation"),
                ),
            };
            print(format!("{text}\n").as_bytes())?;
        }
    }
    Ok(if failed { Status::Failed } else { Status::Good })
}
