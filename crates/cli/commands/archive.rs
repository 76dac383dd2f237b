//! `obvert archive`: files with one survey per line, read and written one survey at a time.

mod known;

use std::collections::HashMap;
use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, Write};
use std::path::{Path, PathBuf};

use obvert::convert::{Format, json};
use obvert::model::archive::{self, Line};
use obvert::model::tables::Document;
use obvert::model::write;
use serde_json::json;

use self::known::{Known, Standing};
use super::{convert, print};
use crate::args::{Archive, ArchiveList, ListFormat, Pack, Unpack};
use crate::atomic_output::AtomicFile;
use crate::input::{self, ByLayout, Input, is_archive};
use crate::render::{count, progress};
use crate::{Failure, Status, atomic_output, lists, render};

/// Packs, unpacks or lists archives.
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
        // An empty file is probably a truncated one, so it does not pass for an archive.
        if start.is_empty() {
            return Err(format!(
                "{name}: the file is empty; expected an archive with one survey per line"
            )
            .into());
        }
        // A first line of only a brace begins a single survey that is written over several lines.
        if first.is_some_and(|line| line == b"{" || !line.starts_with(b"{")) {
            let why = "is not an archive, which has one survey per line (JSON Lines); make one \
                       with obvert archive pack";
            return Err(format!("{name}: {why}").into());
        }
        Box::new(source)
    };
    Ok(archive::lines(source))
}

/// A line of an archive as a survey, whose name has the line number.
pub(super) fn input<'l>(path: &Path, line: Line) -> Result<Input<'l>, Failure> {
    Input::of_line(&path.display().to_string(), line.number, line.text)
}

/// The tables at a path, for a layout: the path itself, or the tables in the folder, by name. Other
/// files in the folder are reported and skipped.
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
            "{name}: skipped the folders in it; name them as well to include them: {folders}"
        ));
    }
    let files = named(&mut others.iter().filter(|file| !file.is_dir()));
    if !files.is_empty() {
        render::note(&format!(
            "{name}: skipped, because their names do not end in {ending}: {files}"
        ));
    }
    Ok(tables)
}

/// What was packed so far.
struct Packing<'s> {
    known: Known,
    packed: usize,
    /// Surveys that were packed already, with the same content.
    same: usize,
    /// Surveys with the id of another survey and another content.
    clashes: usize,
    invalid: usize,
    /// Where surveys go that have the id of another one.
    aside: Option<&'s mut AtomicFile>,
    stage: progress::Stage,
}

impl Packing<'_> {
    /// Adds a survey to the archive. If it is not valid, or has the id of another survey, that is
    /// reported and counted, so that the others are read too.
    fn add(&mut self, input: &mut Input<'_>, sink: &mut dyn Write) -> Result<(), Failure> {
        let name = input.name().to_owned();
        self.stage.update(|| format!("packing {name}, {} packed", count(self.packed, "survey")));
        let document = match convert::document(input) {
            Ok(Some(document)) => document,
            invalid => {
                if let Err(error) = invalid {
                    render::failure(&*error);
                }
                self.invalid += 1;
                return Ok(());
            }
        };
        match self.known.add(&document, &name)? {
            Standing::New => {
                archive::write(&document, sink)?;
                self.packed += 1;
            }
            Standing::Same(same) => {
                self.same += 1;
                render::note(&format!("{name}: is the same survey as {same}; skipped"));
            }
            Standing::Clash(first) => {
                self.clashes += 1;
                let id = document.head.id.as_str();
                let clash =
                    format!("{name}: has the same id {id:?} as {first}, but its content differs");
                match &mut self.aside {
                    Some(aside) => {
                        aside.write(|sink| archive::write(&document, sink))?;
                        render::note(&format!("{clash}; set aside"));
                    }
                    None => render::failure(&*Failure::from(clash)),
                }
            }
        }
        Ok(())
    }

    /// Adds the surveys at a path: an archive, tables of the layout, or one survey.
    fn add_path(
        &mut self,
        path: &Path,
        layout: Option<&ByLayout>,
        sink: &mut dyn Write,
    ) -> Result<(), Failure> {
        if is_archive(path) {
            for line in lines(path)? {
                let line = line.map_err(|error| format!("{}: {error}", path.display()))?;
                self.add(&mut input(path, line)?, sink)?;
            }
        } else if let Some(by) = layout {
            for table in tables(path, by)? {
                self.add(&mut input::open(&table, None, Some(by))?, sink)?;
            }
        } else {
            self.add(&mut input::open(path, None, None)?, sink)?;
        }
        Ok(())
    }

    /// Refuses to write an archive if a survey was not valid, or could not be packed for its id.
    fn finish(&self, with_layout: bool) -> Result<(), Failure> {
        let mut why = Vec::new();
        match self.invalid {
            0 => {}
            1 => why.push("1 survey is not valid".to_owned()),
            several => why.push(format!("{several} surveys are not valid")),
        }
        match self.clashes {
            clashes if clashes == 0 || self.aside.is_some() => {}
            1 => why.push("1 survey has the id of a different one".to_owned()),
            several => why.push(format!("{several} surveys have the id of a different one")),
        }
        if why.is_empty() {
            return Ok(());
        }
        let mut advice = Vec::new();
        if self.invalid > 0 {
            let by = if with_layout { " with the same --layout" } else { "" };
            advice.push(format!("run obvert check{by} for details"));
        }
        if self.clashes > 0 && self.aside.is_none() {
            advice.push(
                "give each survey its own id, and name the survey that it replaces, if any, in \
                 `revises`; or give --set-aside FILE to pack the first survey of each id and write \
                 the others to FILE"
                    .to_owned(),
            );
        }
        let (why, advice) = (why.join(", and "), advice.join("; "));
        Err(format!("{why}, so nothing was packed; {advice}").into())
    }

    /// What was packed and what was not, in a sentence.
    fn account(&self, aside: Option<&Path>) -> String {
        let mut account = format!("{} packed", count(self.packed, "survey"));
        if self.same > 0 {
            let same = count(self.same, "duplicate");
            account.push_str(&format!("; {same} with the same content skipped"));
        }
        if let Some(aside) = aside.filter(|_| self.clashes > 0) {
            let (clashes, aside) = (count(self.clashes, "survey"), aside.display());
            account.push_str(&format!(
                "; {clashes} with the id of a different one written to {aside}"
            ));
        }
        account
    }
}

fn pack(arguments: &Pack) -> Result<Status, Failure> {
    if arguments.output != Path::new("-") && !is_archive(&arguments.output) {
        return Err(format!(
            "{}: an archive has one survey per line (JSON Lines); end its name in .jsonl",
            arguments.output.display()
        )
        .into());
    }
    let layout = match &arguments.layout {
        Some(path) => Some(lists::layout(path, lists::code_lists(&arguments.code_lists)?)?),
        None => None,
    };
    let mut aside = match &arguments.set_aside {
        Some(path) if atomic_output::is_same_file(path, &arguments.output) => {
            let name = path.display();
            return Err(
                format!("--set-aside {name}: is the archive itself; name another file").into()
            );
        }
        Some(path) => Some(AtomicFile::begin(path, arguments.replace)?),
        None => None,
    };
    let mut packing = Packing {
        known: Known::default(),
        packed: 0,
        same: 0,
        clashes: 0,
        invalid: 0,
        aside: aside.as_mut(),
        stage: progress::stage("packing"),
    };
    let mut pack_all = |sink: &mut dyn Write| -> Result<(), Failure> {
        // With a layout, a folder may hold tables of an office.
        let files = match layout {
            Some(_) => arguments.files.clone(),
            None => input::in_folders(&arguments.files),
        };
        for path in &files {
            packing.add_path(path, layout.as_ref(), sink)?;
        }
        packing.finish(layout.is_some())
    };
    if arguments.output == Path::new("-") {
        pack_all(&mut io::stdout().lock())?;
    } else {
        atomic_output::write_file(&arguments.output, arguments.replace, |sink| pack_all(sink))?;
    }
    let (account, clashes) = (packing.account(arguments.set_aside.as_deref()), packing.clashes);
    drop(packing);
    // Without surveys, there is no file.
    if let Some(aside) = aside.filter(|_| clashes > 0) {
        aside.keep()?;
    }
    // The archive is written whether or not standard error can be written.
    let _ = writeln!(anstream::stderr(), "{account}");
    Ok(Status::Success)
}

fn unpack(arguments: &Unpack) -> Result<Status, Failure> {
    let folder = &arguments.output;
    let to = arguments.to.unwrap_or(&json::FORMAT);
    match fs::metadata(folder) {
        Ok(about) if !about.is_dir() => {
            return Err(format!("{}: is not a folder; name a folder", folder.display()).into());
        }
        Ok(_) => {}
        Err(_) => {
            fs::create_dir_all(folder).map_err(|error| format!("{}: {error}", folder.display()))?
        }
    }
    let mut names: HashMap<String, usize> = HashMap::new();
    let (mut unpacked, mut failed) = (0_usize, false);
    let stage = progress::stage("unpacking");
    for line in lines(&arguments.file)? {
        let line = line.map_err(|error| format!("{}: {error}", arguments.file.display()))?;
        let mut input = input(&arguments.file, line)?;
        stage.update(|| {
            format!("unpacking {}, {} unpacked", input.name(), count(unpacked, "survey"))
        });
        // If a line is not a survey, the others are unpacked all the same.
        let written = convert::document(&mut input).and_then(|document| {
            let Some(document) = document else { return Ok(false) };
            let name = name_of(&document, to, &mut names);
            convert::write_to(document, to, &folder.join(name), arguments.replace)?;
            Ok(true)
        });
        match written {
            Ok(true) => unpacked += 1,
            Ok(false) => failed = true,
            Err(error) => {
                failed = true;
                render::failure(&*error);
            }
        }
    }
    drop(stage);
    let _ = writeln!(
        anstream::stderr(),
        "{} unpacked to {}",
        count(unpacked, "survey"),
        folder.display()
    );
    Ok(if failed { Status::Failed } else { Status::Success })
}

/// The name of a document's file: its id, without characters that a file system may refuse, and a
/// number if two ids give the same name.
fn name_of(document: &Document, format: &Format, names: &mut HashMap<String, usize>) -> PathBuf {
    let plain = |character: char| {
        if character.is_ascii_alphanumeric() || "-_.".contains(character) { character } else { '-' }
    };
    let id: String = document.head.id.chars().map(plain).take(100).collect();
    let id = id.trim_start_matches(['.', '-']);
    let id = if id.is_empty() { "survey" } else { id };
    // On a file system that ignores case, one file would overwrite the other.
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
            match input(path, line).and_then(|mut input| convert::document(&mut input)) {
                Ok(Some(document)) => {
                    let entry = entry(&document, path, number, arguments.format)?;
                    print(format!("{entry}\n").as_bytes())?;
                }
                Ok(None) => failed = true,
                Err(error) => {
                    failed = true;
                    render::failure(&*error);
                }
            }
        }
    }
    Ok(if failed { Status::Failed } else { Status::Success })
}

/// The entry of a document in the list.
fn entry(
    document: &Document,
    path: &Path,
    line: usize,
    format: ListFormat,
) -> Result<String, Failure> {
    let head = &document.head;
    let observations: usize = document.runs.iter().map(|run| run.observations.len()).sum();
    Ok(match format {
        ListFormat::Json => json!({
            "file": path.display().to_string(),
            "line": line,
            "id": head.id.as_str(),
            "issued": head.issued.as_str(),
            "pipes": head.pipes.len(),
            "runs": document.runs.len(),
            "observations": observations,
            "digest": write::digest(document)?.as_str(),
        })
        .to_string(),
        ListFormat::Text => format!(
            "{}:{line}  {}  issued {}  {}, {}, {}",
            path.display(),
            render::plain(head.id.as_str()),
            render::plain(head.issued.as_str()),
            count(head.pipes.len(), "pipe"),
            count(document.runs.len(), "run"),
            count(observations, "observation"),
        ),
    })
}
