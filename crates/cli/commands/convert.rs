//! `obvert convert`: a survey from one form into another.

use std::collections::{BTreeSet, HashMap};
use std::io::Write;
use std::path::{Path, PathBuf};

use obvert::convert::{
    Account, ConvertError, End, Loss, LossKind, LossReport, Place, SourceMap, csv, geojson, geopackage, geoparquet,
    kml, xlsx, xml,
};
use obvert::model::lists::CodeList;
use obvert::model::read::{ReadError, locate_all};
use obvert::model::tables::Document;

use crate::args::{Convert, Form};
use crate::files::{self, Source};
use crate::render::{failure, progress};
use crate::{Failure, Status, lists, render};

/// Converts.
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
        return Err("neither IN nor OUT is an office's own table, so --layout is of no use".into());
    }
    if layout.is_some() && out_layout.is_some() && source.form != Form::Layout {
        return Err(format!(
            "{}: is a survey as {}, and --layout says that it is an office's own table; leave --layout out, or say --from layout",
            source.name,
            files::word(source.form)
        )
        .into());
    }
    let Some((document, places, read)) = placed(&source)? else { return Ok(Status::Failed) };
    stage.say(|| format!("writing {}", arguments.output.display()));
    let from = document.head.coding.list.to_string();
    let (document, recoded) = recode(arguments, &own, document)?;
    let account = |reports: &[LossReport]| {
        let file = |path: &Path, form, list: &str| End {
            file: path.display().to_string(),
            form: files::word(form),
            code_list: list.to_owned(),
        };
        let from = End { file: source.name.clone(), ..file(&arguments.input, source.form, &from) };
        let to = file(&arguments.output, to, &document.head.coding.list);
        let pointers = reports.iter().flat_map(|report| {
            let losses = report.losses.iter().map(|loss| loss.pointer.as_str());
            losses.chain(report.notes.iter().map(|note| note.pointer.as_str()))
        });
        // JSON is placed in one scan of the source.
        let json = places.is_none().then(|| locate_all(source.current().unwrap_or_default(), pointers));
        Account::new(from, to, &document.head.id, reports, |pointer| match (&places, &json) {
            (Some(places), _) => places.place(pointer).map(|place| Place { file: source.inside(&place.file), ..place }),
            (None, Some(json)) => {
                let place = json.get(pointer);
                let before = source.migrated().map(|migrated| migrated.column_before(place.line, place.column));
                let column = Some(before.unwrap_or(place.column));
                Some(Place { file: source.name.clone(), line: place.line, column, heading: None })
            }
            (None, None) => None,
        })
    };
    if let Some(path) = &arguments.account {
        if *path == arguments.output {
            return Err(
                format!("{}: is named for the account and for the survey; give each its own", path.display()).into()
            );
        }
        files::free(path, arguments.replace)?;
        files::folder_of(path)?;
    }
    let standard = arguments.output == Path::new("-");
    if to == Form::Csv || to == Form::Geoparquet {
        if standard && to == Form::Geoparquet {
            return Err("GeoParquet is a folder with a file a layer; name one".into());
        }
        if standard {
            return Err("CSV tables are a folder; name one, or write their zip with --to csv-zip".into());
        }
        let (tables, losses) = if to == Form::Csv { csv::write(&document)? } else { geoparquet::write(&document)? };
        return finish(arguments, [read, recoded], &account, |before| {
            refuse(arguments, before, &losses)
                .and_then(|()| files::write_folder(&arguments.output, arguments.replace, &tables))
                .map_or_else(|error| (losses.clone(), Err(error)), |()| (losses.clone(), Ok(())))
        });
    }
    let write_out = |sink: &mut dyn Write| match (out_layout.as_ref().or(layout.as_ref()), to) {
        (Some(by), Form::Layout) => {
            // --to layout says that OUT is the office's own workbook; its name alone, that it is one of this format.
            let workbook = files::by_name(&arguments.output) == Some(Form::Xlsx);
            let write = if workbook { obvert::convert::layout::write_workbook } else { obvert::convert::layout::write };
            let (table, losses) = write(&document, &by.layout, &by.lists)?;
            sink.write_all(&table)?;
            Ok::<_, Failure>(losses)
        }
        _ => Ok(write(&document, to, sink)?),
    };
    finish(arguments, [read, recoded], &account, |before| {
        let mut losses = LossReport::default();
        let written = if standard {
            // What is refused must not have been printed by half.
            let mut bytes = Vec::new();
            write_out(&mut bytes).and_then(|lost| {
                losses = lost;
                refuse(arguments, before, &losses)?;
                super::print(&bytes).map(|_| ())
            })
        } else {
            // It goes to a temporary file as it is made, which becomes OUT only when nothing speaks against it.
            files::write_file(&arguments.output, arguments.replace, |sink| {
                losses = write_out(sink)?;
                refuse(arguments, before, &losses)
            })
        };
        (losses, written)
    })
}

/// Refuses what would be lost, where that was asked for.
fn refuse(arguments: &Convert, before: &[LossReport], losses: &LossReport) -> Result<(), Failure> {
    if arguments.lossless && before.iter().chain([losses]).any(LossReport::loses) {
        return Err(format!(
            "{}: not written, since --lossless was given and something would be lost",
            arguments.output.display()
        )
        .into());
    }
    Ok(())
}

/// Translates the observations to the code list that was asked for.
fn recode(arguments: &Convert, own: &[CodeList], document: Document) -> Result<(Document, LossReport), Failure> {
    let Some(wanted) = &arguments.coding else {
        let by_layout = arguments.layout.is_some() || arguments.out_layout.is_some();
        if let Some(path) = arguments.code_lists.first().filter(|_| !by_layout) {
            return Err(format!("{}: a code list is of use with --coding or a layout only", path.display()).into());
        }
        return Ok((document, LossReport::default()));
    };
    let known: Vec<&CodeList> = own.iter().chain(CodeList::built_ins()).collect();
    let coding = &document.head.coding;
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
    let (translated, losses) = obvert::convert::recode::document(&document, from, to)?;
    let all: usize = document.runs.iter().map(|run| run.observations.len()).sum();
    // A loss points into its observation: /runs/0/observations/1/code.
    let row = |loss: &Loss| loss.pointer.split('/').take(5).collect::<Vec<_>>().join("/");
    let with_loss = losses.losses.iter().map(row).collect::<BTreeSet<_>>().len();
    let said = match with_loss {
        0 => "all with nothing lost".to_owned(),
        some => format!("{some} of them with the losses below; their remarks and extensions keep what was lost"),
    };
    let plural = if all == 1 { "" } else { "s" };
    // Whether anybody reads this does not decide whether the survey is written.
    let _ = writeln!(anstream::stderr(), "{all} observation{plural} translated from {} to {}, {said}", from.id, to.id);
    Ok((translated, losses))
}

/// Writes a document in a form, and says what the form could not hold.
pub(super) fn write_to(document: &Document, to: Form, path: &Path, replace: bool) -> Result<(), Failure> {
    let losses = if to == Form::Csv || to == Form::Geoparquet {
        let (tables, losses) = if to == Form::Csv { csv::write(document)? } else { geoparquet::write(document)? };
        files::write_folder(path, replace, &tables)?;
        losses
    } else {
        let mut losses = LossReport::default();
        files::write_file(path, replace, |sink| {
            losses = write(document, to, sink)?;
            Ok(())
        })?;
        losses
    };
    say_losses(&[losses])
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
    told.or_else(|| out.is_dir().then_some(Form::Csv)).ok_or_else(|| {
        format!(
            "{}: the name does not tell which form to write; end it in .json, .xml, .geojson, .xlsx, .gpkg, .kml or .zip, or give --to",
            out.display()
        )
        .into()
    })
}

/// The document of a source; `None` when it is not valid, which has been said.
pub(super) fn document(source: &Source) -> Result<Option<Document>, Failure> {
    Ok(placed(source)?.map(|(document, ..)| document))
}

/// A document, the places of its values, which JSON has none of until they are looked for, and what its form lost.
type Placed = (Document, Option<SourceMap>, LossReport);

/// The document of a source with all that is known of its reading.
fn placed(source: &Source) -> Result<Option<Placed>, Failure> {
    let name = &source.name;
    let Some(read) = source.survey_with_losses() else {
        let current = match source.current() {
            Ok(current) => current,
            Err(error) => {
                let problems = files::problems_before(error);
                if problems.is_empty() {
                    return Err(format!("{name}: {error}").into());
                }
                for problem in problems {
                    failure(&*Failure::from(format!("{name}: {problem}")));
                }
                return Ok(None);
            }
        };
        return match obvert::read(current) {
            Ok(document) => Ok(Some((document, None, LossReport::default()))),
            Err(ReadError::Structure(problems)) => {
                for problem in &problems {
                    failure(&*Failure::from(format!("{name}: {problem}")));
                }
                Ok(None)
            }
            Err(error) => Err(format!("{name}: {error}").into()),
        };
    };
    match read {
        Ok((survey, losses)) => Ok(Some((survey.document, Some(survey.places), losses))),
        Err(ConvertError::Structure(placed)) => {
            for problem in &placed {
                failure(&*Failure::from(source.problem(problem)));
            }
            Ok(None)
        }
        Err(error) => Err(source.failure(&error)),
    }
}

fn write(document: &Document, to: Form, sink: &mut dyn Write) -> Result<LossReport, ConvertError> {
    match to {
        Form::Json => {
            obvert::model::write::document(document, sink)?;
            Ok(LossReport::default())
        }
        Form::Xml => xml::write(document, sink),
        Form::Geojson => geojson::write(document, sink),
        Form::Xlsx => xlsx::write(document, sink),
        Form::Geopackage => geopackage::write(document, sink),
        Form::Kml => kml::write(document, sink),
        // A folder is written elsewhere.
        Form::Geoparquet => Ok(LossReport::default()),
        Form::Layout => Err(ConvertError::Refused { message: "give the layout of the table with --layout".into() }),
        Form::CsvZip | Form::Csv => {
            let mut cursor = std::io::Cursor::new(Vec::new());
            let losses = csv::write_zip(document, &mut cursor)?;
            sink.write_all(cursor.get_ref())?;
            Ok(losses)
        }
    }
}

/// A pointer behind a word; nothing where the whole document is meant.
fn spaced(pointer: &str) -> String {
    if pointer.is_empty() { String::new() } else { format!(" {pointer}") }
}

/// How many different losses are shown.
const SHOWN: usize = 200;

/// Writes unless that is refused, and says what was lost, first in reading, then by the translation of codes, then by the form.
fn finish(
    arguments: &Convert,
    before: [LossReport; 2],
    account: &dyn Fn(&[LossReport]) -> Account,
    write: impl FnOnce(&[LossReport]) -> (LossReport, Result<(), Failure>),
) -> Result<Status, Failure> {
    let (losses, written) = write(&before);
    let [read, recoded] = before;
    let reports = [read, recoded, losses];
    say_losses(&reports)?;
    // A conversion that is refused for its losses is the one whose account is wanted most; of one that failed there is none.
    let refused = arguments.lossless && reports.iter().any(LossReport::loses);
    if let Some(path) = arguments.account.as_ref().filter(|_| written.is_ok() || refused) {
        let text = serde_json::to_string_pretty(&account(&reports))?;
        files::write_file(path, arguments.replace, |sink| Ok(writeln!(sink, "{text}")?))?;
    }
    written.map(|()| Status::Good)
}

/// What a value was and what it became, where both are known, or what was put in.
fn values(loss: &Loss) -> String {
    const LONGEST: usize = 60;
    let short = |value: &serde_json::Value| {
        let text = value.to_string();
        let cut = text.chars().take(LONGEST).collect::<String>();
        if cut.len() < text.len() { format!("{cut}…") } else { text }
    };
    match (&loss.was, &loss.becomes) {
        (Some(was), Some(becomes)) => format!(": {} becomes {}", short(was), short(becomes)),
        (None, Some(becomes)) => format!(": {}", short(becomes)),
        (_, None) => String::new(),
    }
}

/// Says what was lost, the same loss of many values once.
fn say_losses(reports: &[LossReport]) -> Result<(), Failure> {
    let mut folds: Vec<(&Loss, usize)> = Vec::new();
    let mut places: HashMap<(LossKind, &str), usize> = HashMap::new();
    for loss in reports.iter().flat_map(|report| &report.losses) {
        let place = *places.entry((loss.kind, &loss.message)).or_insert(folds.len());
        match folds.get_mut(place) {
            Some((_, count)) => *count += 1,
            None => folds.push((loss, 1)),
        }
    }
    // The most frequent first; those that are as frequent stay in the order of the document.
    folds.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    let mut said = Vec::new();
    let say = &mut said;
    for (loss, count) in folds.iter().take(SHOWN) {
        let kind = format!("{:?}", loss.kind).to_lowercase();
        let times = if *count == 1 { String::new() } else { format!(" ({count} times, the first here)") };
        let at = loss.place.as_ref().map_or_else(|| loss.pointer.clone(), ToString::to_string);
        writeln!(say, "{}{}: {}{}{times}", render::strong(&kind), spaced(&at), loss.message, values(loss))?;
    }
    if folds.len() > SHOWN {
        let more: usize = folds.iter().skip(SHOWN).map(|(_, count)| count).sum();
        writeln!(say, "and {more} more of {} other kinds", folds.len() - SHOWN)?;
    }
    // What is worth knowing of a form stands in its description; what of a translation, depends on the survey.
    for note in reports.split_last().into_iter().flat_map(|(_, before)| before).flat_map(|recoded| &recoded.notes) {
        writeln!(say, "{}{}: {}", render::strong("note"), spaced(&note.pointer), note.message)?;
    }
    // Whether anybody reads this does not decide whether the survey is written.
    let _ = anstream::stderr().lock().write_all(&said);
    Ok(())
}
