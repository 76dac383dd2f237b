//! `obvert convert`: a survey from one form into another.

use std::collections::BTreeSet;
use std::io::{Cursor, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use obvert::convert::recode::Recoder;
use obvert::convert::{
    Account, ConvertError, Each, End, Location, Loss, LossKind, LossReport, SourceMap, csv, geojson, geopackage,
    geoparquet, hand_over, kml, xlsx, xml,
};
use obvert::model::lists::CodeList;
use obvert::model::read::{ReadError, Runs, locate_all};
use obvert::model::tables::{Document, Head, Run};
use obvert::model::text::DocumentId;

use crate::args::{Convert, Form};
use crate::files::{self, Source};
use crate::pending::{self, PendingFile, PendingFolder, Sink};
use crate::render::{failure, losses, progress};
use crate::{Failure, Status, lists, render};

/// Converts, a run at a time where both forms allow that.
pub(crate) fn run(arguments: &Convert) -> Result<Status, Failure> {
    let own = lists::code_lists(&arguments.code_lists)?;
    let by = |path: &Option<PathBuf>| path.as_deref().map(|path| lists::layout(path, own.clone())).transpose();
    let (layout, out_layout) = (by(&arguments.layout)?, by(&arguments.out_layout)?);
    let to = match &out_layout {
        Some(_) => Form::Layout,
        None => target(arguments, layout.as_deref())?,
    };
    if let Some(by) = &out_layout {
        combination(arguments, by)?;
    }
    let stage = progress::stage(format!("reading {}", arguments.input.display()));
    let source = files::read_by(&arguments.input, arguments.from, layout.as_ref())?;
    if layout.is_some() && to != Form::Layout && source.form != Form::Layout {
        return Err("neither IN nor OUT is an office's own table, so --layout is of no use; give --to layout if OUT is to be one".into());
    }
    if layout.is_some() && out_layout.is_some() && source.form != Form::Layout {
        return Err(format!(
            "{}: is a survey as {}, and --layout says that it is an office's own table; leave --layout out, or say --from layout",
            source.name,
            files::word(source.form)
        )
        .into());
    }
    let coded = arguments.coding.is_some() || layout.is_some() || out_layout.is_some();
    if let Some(path) = arguments.code_lists.first().filter(|_| !coded) {
        return Err(format!("{}: a code list is of use with --coding or a layout only", path.display()).into());
    }
    if let Some(path) = &arguments.account {
        if pending::same(path, &arguments.output) {
            return Err(
                format!("{}: is named for the account and for the survey; give each its own", path.display()).into()
            );
        }
        pending::free(path, arguments.replace)?;
        pending::folder_of(path)?;
    }
    let mut out = Out::begin(arguments, to)?;
    let mut work = |head: &Head, runs: &mut dyn Runs| {
        let lists: Vec<&CodeList> = own.iter().chain(CodeList::built_ins()).collect();
        let mut recoder = recoder(arguments, &lists, head)?;
        let translated = recoder.as_ref().map(|recoder| recoder.head(head));
        let mut count =
            Count { runs, recoder: recoder.as_mut(), stage: &stage, arguments, said: Instant::now(), done: 0 };
        let losses = out.write(
            translated.as_ref().unwrap_or(head),
            &mut count,
            to,
            out_layout.as_deref().or(layout.as_deref()),
        )?;
        let observations = count.done;
        let from = head.coding.list.to_string();
        let to = translated.map_or_else(|| from.clone(), |head| head.coding.list.to_string());
        let recoded = recoder.map(Recoder::finish);
        Ok::<_, Failure>(Done { id: head.id.clone(), from, to, observations, recoded, losses })
    };
    let Some((done, read, places)) = streamed(&source, &mut work)? else { return Ok(Status::Failed) };
    let done = done?;
    drop(stage);
    let recoded = done.recoded.map_or_else(LossReport::default, |losses| {
        // A table has no room for what a translation keeps in remarks and extensions.
        let kept = to != Form::Layout;
        say_recoded(done.observations, &losses, (&done.from, &done.to), kept);
        losses
    });
    let reports = [migrated(&source), read, recoded, done.losses];
    losses::say(&reports, None, places.as_ref(), Some(done.observations))?;
    let refused = arguments.lossless && reports.iter().any(LossReport::loses);
    // A conversion that is refused for its losses is the one whose account is wanted most.
    let account = match &arguments.account {
        Some(_) => Some(account(arguments, &source, to, (&done.id, &done.from, &done.to), &reports, places)?),
        None => None,
    };
    let kept = if refused {
        Err(format!(
            "{}: not written, since --lossless was given and something would be lost",
            arguments.output.display()
        )
        .into())
    } else {
        out.keep()
    };
    if let (Some(path), Some(account)) = (&arguments.account, account)
        && (kept.is_ok() || refused)
    {
        let text = serde_json::to_string_pretty(&account)?;
        pending::write_file(path, arguments.replace, |sink| Ok(writeln!(sink, "{text}")?))?;
    }
    kept.map(|()| Status::Good)
}

/// That a document of an older version is written in this one: everything that it said is said, and it is another document by its digest.
fn migrated(source: &Source) -> LossReport {
    let mut report = LossReport::default();
    if let Some(migrated) = source.migrated() {
        let message = "the document is written in this version of the format; obvert migrate shows the steps";
        let loss = Loss::new(LossKind::Changed, "/obvert", message);
        report.losses.push(Loss { was: Some(migrated.from.into()), becomes: Some(migrated.to.into()), ..loss });
    }
    report
}

/// What a conversion gave.
struct Done {
    id: DocumentId,
    /// The code list of the document as it was, and as it is now.
    from: String,
    to: String,
    /// How many observations there are.
    observations: usize,
    /// What translating them lost.
    recoded: Option<LossReport>,
    losses: LossReport,
}

/// What is being written.
enum Out {
    /// What is refused must not have been printed by half.
    Standard(Cursor<Vec<u8>>),
    File(PendingFile),
    Folder(PendingFolder),
}

impl Out {
    fn begin(arguments: &Convert, to: Form) -> Result<Self, Failure> {
        let (path, folder) = (&arguments.output, matches!(to, Form::Csv | Form::Geoparquet));
        if path == Path::new("-") {
            return match to {
                Form::Geoparquet => Err("GeoParquet is a folder with a file a layer; name one".into()),
                Form::Csv => Err("CSV tables are a folder; name one, or write their zip with --to csv-zip".into()),
                _ => Ok(Self::Standard(Cursor::default())),
            };
        }
        if folder {
            return PendingFolder::begin(path, &names_of(to), arguments.replace).map(Self::Folder);
        }
        PendingFile::begin(path, arguments.replace).map(Self::File)
    }

    /// Writes a survey; what was written before is gone.
    fn write(
        &mut self,
        head: &Head,
        runs: &mut dyn Runs,
        to: Form,
        layout: Option<&files::ByLayout>,
    ) -> Result<LossReport, Failure> {
        match self {
            Self::Standard(bytes) => {
                *bytes = Cursor::default();
                write(head, runs, to, layout, false, bytes)
            }
            Self::File(file) => {
                // --to layout says that OUT is the office's own workbook; its name alone, that it is one of this format.
                let workbook = file.is_named(Form::Xlsx);
                file.write(|sink| write(head, runs, to, layout, workbook, sink))
            }
            Self::Folder(folder) => {
                write_folder(head, runs, to, folder).map_err(|error| pending::named(folder.path(), error))
            }
        }
    }

    /// Puts what was written into its place.
    fn keep(self) -> Result<(), Failure> {
        match self {
            Self::Standard(bytes) => super::print(bytes.get_ref()).map(drop),
            Self::File(file) => file.keep(),
            Self::Folder(folder) => folder.keep(),
        }
    }
}

/// The runs of a conversion on their way, translated where that was asked for, and counted for whoever waits.
struct Count<'r, 'l> {
    runs: &'r mut dyn Runs,
    recoder: Option<&'r mut Recoder<'l>>,
    stage: &'r progress::Stage,
    arguments: &'r Convert,
    /// When the stage was told last.
    said: Instant,
    /// How many observations have passed.
    done: usize,
}

impl Runs for Count<'_, '_> {
    fn next_run(&mut self) -> Option<Run> {
        const OFTEN: Duration = Duration::from_millis(200);
        let mut run = self.runs.next_run();
        if let Some(run) = &mut run {
            self.done += run.observations.len();
            if let Some(recoder) = &mut self.recoder {
                recoder.run(run);
            }
        }
        if run.is_none() || self.said.elapsed() >= OFTEN {
            self.said = Instant::now();
            let (path, done) = (self.arguments.output.display(), self.done);
            self.stage.say(|| format!("writing {path}, {done} observations"));
        }
        run
    }
}

/// What is lost, with the places of all values in IN and OUT.
fn account(
    arguments: &Convert,
    source: &Source,
    to: Form,
    (id, from_list, to_list): (&DocumentId, &str, &str),
    reports: &[LossReport],
    places: Option<SourceMap>,
) -> Result<Account, Failure> {
    let file = |path: &Path, form, list: &str| End {
        file: path.display().to_string(),
        form: files::word(form),
        code_list: list.to_owned(),
    };
    let from = End { file: source.name.clone(), ..file(&arguments.input, source.form, from_list) };
    let to = file(&arguments.output, to, to_list);
    let pointers = || {
        reports.iter().flat_map(|report| {
            let losses = report.losses.iter().map(|loss| loss.pointer.as_str());
            losses.chain(report.notes.iter().map(|note| note.pointer.as_str()))
        })
    };
    // JSON is placed in one scan of the source. Of other forms a stream keeps no places: the few accounts that need any have
    // the whole read for them.
    let json = (source.form == Form::Json).then(|| locate_all(source.current().unwrap_or_default(), pointers()));
    let places = match places {
        None if json.is_none() && pointers().next().is_some() => match source.survey_with_losses() {
            Some(Ok((survey, _))) => Some(survey.places),
            Some(Err(error)) => return Err(source.failure(&error)),
            None => None,
        },
        places => places,
    };
    Ok(Account::new(from, to, id, reports, |pointer| match (&places, &json) {
        (Some(places), _) => places.place(pointer).map(|place| Location { file: source.inside(&place.file), ..place }),
        (None, Some(json)) => {
            let place = json.get(pointer);
            let before = source.migrated().map(|migrated| migrated.column_before(place.line, place.column));
            let column = Some(before.unwrap_or(place.column));
            Some(Location { file: source.name.clone(), line: place.line, column, heading: None })
        }
        (None, None) => None,
    }))
}

/// What translates the observations to the code list that was asked for.
fn recoder<'l>(arguments: &Convert, known: &[&'l CodeList], head: &Head) -> Result<Option<Recoder<'l>>, Failure> {
    let Some(wanted) = &arguments.coding else { return Ok(None) };
    let coding = &head.coding;
    let from = known.iter().find(|list| list.id == coding.list && list.version == coding.version).ok_or_else(|| {
        format!(
            "the document is coded in {} {}, which is not at hand; give that list with --code-list",
            coding.list, coding.version
        )
    })?;
    let to = known.iter().find(|list| *list.id == **wanted).ok_or_else(|| {
        let all: Vec<&str> = known.iter().map(|list| list.id.as_str()).collect();
        format!("--coding {wanted}: there is no such code list; there are: {}", all.join(", "))
    })?;
    Ok(Some(Recoder::new(head, from, to)?))
}

/// Says how the translation went.
fn say_recoded(all: usize, losses: &LossReport, (from, to): (&str, &str), kept: bool) {
    // A loss points into its observation: /runs/0/observations/1/code.
    let row = |loss: &Loss| loss.pointer.split('/').take(5).collect::<Vec<_>>().join("/");
    let with_loss = losses.losses.iter().map(row).collect::<BTreeSet<_>>().len();
    let said = match with_loss {
        0 => "all with nothing lost".to_owned(),
        some if kept => {
            format!("{some} of them with the losses below; their remarks and extensions keep what was lost")
        }
        some => format!("{some} of them with the losses below"),
    };
    let plural = if all == 1 { "" } else { "s" };
    // Whether anybody reads this does not decide whether the survey is written.
    let _ = writeln!(anstream::stderr(), "{all} observation{plural} translated from {from} to {to}, {said}");
}

/// Writes a document in a form, and says what the form could not hold.
pub(super) fn write_to(document: Document, to: Form, path: &Path, replace: bool) -> Result<(), Failure> {
    let mut write = |head: &Head, runs: &mut dyn Runs| {
        if to == Form::Csv || to == Form::Geoparquet {
            let folder = PendingFolder::begin(path, &names_of(to), replace)?;
            let losses = write_folder(head, runs, to, &folder)?;
            folder.keep()?;
            return Ok(losses);
        }
        let mut file = PendingFile::begin(path, replace)?;
        let losses = file.write(|sink| self::write(head, runs, to, None, false, sink))?;
        file.keep()?;
        Ok::<_, Failure>(losses)
    };
    let losses = hand_over(document, &mut write)?;
    let name = path.display().to_string();
    losses::say(&[losses], Some(&name), None, None)
}

/// Refuses options that contradict --out-layout.
fn combination(arguments: &Convert, by: &files::ByLayout) -> Result<(), Failure> {
    if let Some(to) = arguments.to.filter(|to| *to != Form::Layout) {
        let word = files::word(to);
        return Err(format!(
            "--out-layout says that OUT is an office's own table, and --to {word} that it is not; leave one of them out"
        )
        .into());
    }
    let out = &arguments.output;
    if out.is_dir() {
        return Err(
            format!("{}: is a folder, and an office's own table is one file; name the file", out.display()).into()
        );
    }
    let ending = out.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_ascii_lowercase();
    if ["xls", "xlsm", "xlsb", "ods", "pdf", "doc", "docx"].contains(&ending.as_str()) {
        return Err(format!("{}: no such file is written; end it in .csv or .xlsx", out.display()).into());
    }
    let fits = |form| form == by.form() || form == Form::Xlsx && by.form() == Form::Csv;
    if let Some(named) = files::by_name(out).filter(|form| arguments.to.is_none() && !fits(*form)) {
        let ending = if by.form() == Form::Xml { ".xml" } else { ".csv or .xlsx" };
        return Err(format!(
            "{}: is named as {} is, and --out-layout says that it is an office's own table; end it in {ending}, or give --to layout",
            out.display(),
            files::word(named)
        )
        .into());
    }
    Ok(())
}

fn target(arguments: &Convert, layout: Option<&files::ByLayout>) -> Result<Form, Failure> {
    let out = &arguments.output;
    let told = arguments.to.or_else(|| match files::by_name(out) {
        Some(form) if layout.is_some_and(|by| by.form() == form) && !out.is_dir() => Some(Form::Layout),
        named => named,
    });
    if arguments.to.is_none() && told == Some(Form::Csv) && !out.is_dir() {
        return Err(format!(
            "{}: CSV tables are a folder, and one file is none; name a folder and give --to csv, or end it in .zip",
            out.display()
        )
        .into());
    }
    if arguments.to.is_none() && told == Some(Form::Geoparquet) {
        return Err(format!(
            "{}: GeoParquet is a folder with a file a layer; name a folder and give --to geoparquet",
            out.display()
        )
        .into());
    }
    told.or_else(|| out.is_dir().then_some(Form::Csv)).ok_or_else(|| {
        format!(
            "{}: the name does not tell which form to write; end it in .json, .xml, .geojson, .xlsx, .gpkg, .kml or .zip, or give --to",
            out.display()
        )
        .into()
    })
}

/// The document of a source, what reading it lost being said; `None` when it is not valid, which has been said.
pub(super) fn document(source: &Source) -> Result<Option<Document>, Failure> {
    let mut whole = |head: &Head, runs: &mut dyn Runs| Document { head: head.clone(), runs: Each(runs).collect() };
    let Some((document, read, places)) = streamed(source, &mut whole)? else { return Ok(None) };
    for note in &read.notes {
        render::note(&format!("{}: {}", source.name, note.message));
    }
    losses::say(&[LossReport { notes: Vec::new(), ..read }], Some(&source.name), places.as_ref(), None)?;
    Ok(Some(document))
}

/// What reading gave, with the losses and the places that are known; `None` when the source is not valid, which has been said.
type Read<T> = Option<(T, LossReport, Option<SourceMap>)>;

/// Reads a source a run at a time where its form allows that.
fn streamed<T>(source: &Source, work: &mut dyn FnMut(&Head, &mut dyn Runs) -> T) -> Result<Read<T>, Failure> {
    let name = &source.name;
    let Some(read) = source.stream(work) else {
        let current = match source.current() {
            Ok(current) => current,
            Err(error) => {
                let problems = files::problems_before(error);
                if problems.is_empty() {
                    return Err(format!("{name}: {}", crate::render::with_causes(error)).into());
                }
                for problem in problems {
                    failure(&*Failure::from(format!("{name}: {problem}")));
                }
                return Ok(None);
            }
        };
        return match obvert::model::read::stream(current, work) {
            Ok(result) => Ok(Some((result, LossReport::default(), None))),
            Err(ReadError::Structure(problems)) => {
                for line in render::problems::of_json(&problems, name) {
                    failure(&*Failure::from(line));
                }
                Ok(None)
            }
            Err(error) => Err(format!("{name}: {error}").into()),
        };
    };
    match read {
        Ok(read) => Ok(Some(read)),
        Err(ConvertError::Structure(placed)) => {
            for line in render::problems::placed(&placed, source) {
                failure(&*Failure::from(line));
            }
            Ok(None)
        }
        Err(error) => Err(source.failure(&error)),
    }
}

/// Writes a survey into one file.
fn write(
    head: &Head,
    runs: &mut dyn Runs,
    to: Form,
    layout: Option<&files::ByLayout>,
    workbook: bool,
    sink: &mut dyn Sink,
) -> Result<LossReport, Failure> {
    let runs = Each(runs);
    Ok(match to {
        Form::Json => {
            obvert::model::write::stream(head, runs, sink)?;
            LossReport::default()
        }
        Form::Xml => xml::write_stream(head, runs, sink)?,
        Form::Geojson => geojson::write_stream(head, runs, sink)?,
        Form::Xlsx => xlsx::write_stream(head, runs, sink)?,
        Form::Geopackage => geopackage::write_stream(head, runs, sink)?,
        Form::Kml => kml::write_stream(head, runs, sink)?,
        Form::Layout => {
            let Some(by) = layout else { return Err("give the layout of the table with --layout".into()) };
            // What a layout makes of a document is read again to see what it holds, and so the whole has to be there.
            let document = Document { head: head.clone(), runs: runs.collect() };
            let write = if workbook { obvert::layout::write_workbook } else { obvert::layout::write };
            let (table, losses) = write(&document, &by.layout, &by.lists)?;
            sink.write_all(&table)?;
            losses
        }
        Form::CsvZip | Form::Csv => csv::write_zip_stream(head, runs, sink)?,
        Form::Geoparquet => return Err("GeoParquet is a folder with a file a layer".into()),
    })
}

/// The names of the files that a form of a folder can have.
fn names_of(form: Form) -> Vec<String> {
    if form == Form::Csv { csv::file_names().collect() } else { geoparquet::FILES.map(str::to_owned).to_vec() }
}

/// Writes a survey into a folder of files.
fn write_folder(head: &Head, runs: &mut dyn Runs, to: Form, folder: &PendingFolder) -> Result<LossReport, Failure> {
    folder.clear()?;
    let (runs, open) = (Each(runs), |file: &str| folder.create(file));
    Ok(if to == Form::Csv {
        csv::write_stream(head, runs, open)?.1
    } else {
        geoparquet::write_stream(head, runs, open)?.1
    })
}
