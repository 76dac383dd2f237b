//! `obvert check`: surveys against the rules.

use std::collections::{HashMap, VecDeque};
use std::fs;
use std::path::Path;
use std::sync::Arc;

use obvert::check::{Checker, Report, Settings, Severity};
use obvert::convert::{ConvertError, Location, PlacedProblem};
use obvert::model::read::{Diagnosis, ProblemKind, locate};
use obvert::model::text::Date;

use super::archive;
use super::outputs::Outputs;
use crate::args::{Check, Form, Judged, Threshold};
use crate::files::{self, ByLayout, Source};
use crate::render::progress;
use crate::{Failure, Status, lists, render};

/// Checks every file, and gives one report in every form that is asked for.
pub(crate) fn run(arguments: &Check) -> Result<Status, Failure> {
    let checker = Checker::new(settings(&arguments.judged, arguments.all || arguments.baseline.is_some())?)?;
    let mut outputs = Outputs::new(arguments)?;
    let earlier = arguments.baseline.as_deref().map(baseline).transpose()?;
    let layout = match &arguments.layout {
        Some(path) => Some(lists::layout(path, lists::code_lists(&arguments.judged.code_lists)?)?),
        None => None,
    };
    let mut whole: Option<Report> = None;
    let mut failed = false;
    // Until the whole report has been held against the earlier one, nobody knows what a text has to show.
    let mut held = Vec::new();
    let mut sources = arguments.files.iter().flat_map(|path| sources(path, arguments.from, layout.as_ref()));
    for (name, source) in &mut sources {
        let checked = source.and_then(|source| {
            let mut report = report_on(&checker, &source)?;
            report.name_file(&source.name);
            in_archive(&mut report, &source);
            report.name_form(&files::word(source.form));
            failed |= unreadable_number(&source, &report);
            if earlier.is_none() {
                outputs.text(&source, &report)?;
            } else if outputs.wants_text() {
                held.push((whole.as_ref().map_or(0, |whole| whole.documents.len()), source));
            }
            Ok(report)
        });
        let report = checked.unwrap_or_else(|error| {
            failed = true;
            render::failure(&*error);
            checker.unread(&name, &error.to_string())
        });
        match &mut whole {
            None => whole = Some(report),
            Some(whole) => whole.join(report),
        }
    }
    let Some(mut report) = whole else { return Ok(Status::Good) };
    if let Some(earlier) = &earlier {
        report.hold_against(earlier, arguments.baseline.as_ref().map(|path| path.display().to_string()).as_deref());
        for (document, source) in &held {
            outputs.text(source, &report.of_document(*document))?;
        }
    }
    outputs.finish(&report)?;
    Ok(match report.worst() {
        _ if failed => Status::Failed,
        Some(worst) if worst >= severity(arguments.deny) => Status::Findings,
        _ => Status::Good,
    })
}

/// The surveys of a file, each with its name: one, or those of an archive, which are read one at a time.
fn sources<'p>(
    path: &'p Path,
    form: Option<Form>,
    layout: Option<&'p Arc<ByLayout>>,
) -> Box<dyn Iterator<Item = (String, Result<Source, Failure>)> + 'p> {
    let name = path.display().to_string();
    if form.is_some() || !archive::is_archive(path) {
        return Box::new(std::iter::once_with(move || {
            let source = files::read_by(path, form, layout).inspect(|source| {
                if layout.is_some() && source.form != Form::Layout {
                    unused_layout(&source.name, &files::word(source.form));
                }
            });
            (name, source)
        }));
    }
    if layout.is_some() {
        unused_layout(&name, "json");
    }
    match archive::lines(path) {
        Ok(lines) => Box::new(lines.map(move |line| match line {
            Ok(line) => {
                let source = archive::source(path, line);
                (source.name.clone(), Ok(source))
            }
            Err(error) => (name.clone(), Err(format!("{name}: {error}").into())),
        })),
        Err(error) => Box::new(std::iter::once((name, Err(error)))),
    }
}

/// Says that a survey is none of the office's tables that the layout is for.
fn unused_layout(name: &str, form: &str) {
    render::note(&format!(
        "{name}: is a survey as {form} and no office's own table, so it is checked without --layout; say --from layout if it is one"
    ));
}

/// Places the findings of a line of an archive in the archive.
fn in_archive(report: &mut Report, source: &Source) {
    let Some((archive, before)) = &source.line_of else { return };
    for at in report.findings.iter_mut().filter_map(|finding| finding.at.as_mut()) {
        archive.clone_into(&mut at.file);
        at.line += before;
    }
}

pub(super) fn severity(threshold: Threshold) -> Severity {
    match threshold {
        Threshold::Error => Severity::Error,
        Threshold::Warning => Severity::Warning,
        Threshold::Note => Severity::Note,
    }
}

/// Reads the report that a check is held against.
fn baseline(path: &Path) -> Result<Report, Failure> {
    let name = path.display();
    crate::pending::note_read(path);
    let bytes = fs::read(path).map_err(|error| format!("--baseline {name}: {error}"))?;
    let form = "give what `obvert check --all --format json` wrote";
    Report::read(&bytes).map_err(|error| format!("--baseline {name}: no report of a check: {error}; {form}").into())
}

/// Whether the source has a number that no double holds. It is reported with its place as any structural problem is, but
/// nobody can read such a source, so the check has not been done.
fn unreadable_number(source: &Source, report: &Report) -> bool {
    let numbers = report.findings.iter().filter(|finding| finding.rule == ProblemKind::NumberRange.as_str());
    source.form == Form::Json
        && numbers.map(|finding| locate(source.bytes(), &finding.path)).any(|place| {
            let token = source.bytes().get(place.offset..place.end).and_then(|token| std::str::from_utf8(token).ok());
            token.and_then(|token| token.parse::<f64>().ok()).is_some_and(f64::is_infinite)
        })
}

pub(super) fn settings(arguments: &Judged, all: bool) -> Result<Settings, Failure> {
    let mut settings = Settings { read_ahead: true, ..Settings::default() };
    if all {
        settings.keep = usize::MAX;
    }
    settings.today = Some(today(arguments.today.as_deref())?);
    for text in &arguments.weigh {
        let form = || format!("--weigh {text:?}: expected RULE=SEVERITY, such as camera-speed=error");
        let (rule, weight) = text.split_once('=').ok_or_else(form)?;
        let weight = match weight {
            "off" => None,
            word => Some(Severity::ALL.into_iter().find(|severity| severity.as_str() == word).ok_or_else(form)?),
        };
        settings.severities.insert(rule.to_owned(), weight);
    }
    for text in &arguments.limits {
        let form = || format!("--limit {text:?}: expected RULE.LIMIT=NUMBER, such as camera-speed.limit=12");
        let (name, number) = text.split_once('=').ok_or_else(form)?;
        let (rule, limit) = name.split_once('.').ok_or_else(form)?;
        let number: f64 = number.parse().ok().filter(|number: &f64| number.is_finite()).ok_or_else(form)?;
        settings.limits.insert((rule.to_owned(), limit.to_owned()), number);
    }
    settings.code_lists = lists::code_lists(&arguments.code_lists)?;
    settings.grade_schemes = lists::grade_schemes(&arguments.grade_schemes, &settings.code_lists)?;
    settings.profile = arguments.profile.as_deref().map(|path| lists::profile(path, &settings)).transpose()?;
    Ok(settings)
}

/// The date that is taken for today.
pub(super) fn today(given: Option<&str>) -> Result<Date, Failure> {
    let today = match given {
        Some(today) => today.to_owned(),
        // The libraries have no clock; a person who checks a survey means today.
        None => jiff::ZonedDateTime::now().date().to_string(),
    };
    let bad_date = || format!("--today {today:?}: expected a date, such as 2026-05-06");
    if today.parse::<jiff::civil::Date>().is_err() {
        return Err(bad_date().into());
    }
    Ok(today.parse().map_err(|_| bad_date())?)
}

fn report_on(checker: &Checker, source: &Source) -> Result<Report, Failure> {
    let name = &source.name;
    let _stage = progress::stage(format!("checking {name}"));
    let Some(read) = source.survey() else {
        let current = match source.current() {
            Ok(current) => current,
            Err(error) => {
                let problems = files::problems_before(error);
                if problems.is_empty() {
                    return Err(format!("{name}: {}", crate::render::with_causes(error)).into());
                }
                let mut report = checker.report_structure(problems);
                report.place_in(source.bytes(), name);
                return Ok(report);
            }
        };
        let mut report = checker.check(current).map_err(|error| format!("{name}: {error}"))?;
        report.place_in(current, name);
        // The places are those of the file that somebody has.
        if let Some(migrated) = source.migrated() {
            for at in report.findings.iter_mut().filter_map(|finding| finding.at.as_mut()) {
                at.column = at.column.map(|column| migrated.column_before(at.line, column));
            }
        }
        return Ok(report);
    };
    match read {
        Ok(survey) => {
            let mut report = checker.check_document(&survey.document);
            report.place_with(|path| survey.places.place(path).map(|place| source_place(source, place)));
            Ok(report)
        }
        Err(ConvertError::Structure(placed)) => {
            let (placed, rest) = placed.into_parts();
            let problems: Vec<_> = placed.iter().map(|placed| placed.problem.clone()).collect();
            // Several rows can have the same to be said of them, and no place in the document to tell them apart.
            let mut places: HashMap<(String, String), VecDeque<Location>> = HashMap::new();
            for PlacedProblem { place, problem } in placed {
                places.entry((problem.pointer, problem.message)).or_default().extend(place);
            }
            let mut report = match &rest {
                Some(rest) => checker.check_value(Diagnosis { problems, value: rest.value.clone() }),
                None => checker.report_structure(&problems),
            };
            if source.is_tabular() {
                in_table_words(&mut report, source.form);
            }
            report.place_each(|finding| {
                let own =
                    places.get_mut(&(finding.path.clone(), finding.message.clone())).and_then(VecDeque::pop_front);
                let place = own.or_else(|| rest.as_ref()?.places.place(&finding.path))?;
                Some(source_place(source, place))
            });
            Ok(report)
        }
        Err(error) => Err(source.failure(&error)),
    }
}

/// What to do about what could not be read, for somebody who has a table and no document with keys and texts.
fn in_table_words(report: &mut Report, form: Form) {
    let by_layout = form == Form::Layout;
    for finding in &mut report.findings {
        let help = match finding.rule.as_ref() {
            "missing-key" if by_layout => "Fill in the cell.",
            "missing-key" => "Fill in the cell, or add the column.",
            "text-form" | "wrong-type" | "unknown-word" if by_layout => {
                "Correct the cell. If the table is right and all such cells are written like this, correct the layout."
            }
            "text-form" | "wrong-type" | "unknown-word" => "Correct the cell.",
            "number-range" => "Correct the number in the cell.",
            "orphan-row" => "Correct the row; until then nothing that it says is checked.",
            "unknown-key" | "duplicate-key" if by_layout => "Correct the heading in the table, or the layout.",
            "unknown-key" | "duplicate-key" => "Correct the name, or take out what has it.",
            "duplicate-id" if by_layout => "Correct the name in one of the rows.",
            "duplicate-id" => "Give one of the rows another id, and what refers to it as well.",
            _ => continue,
        };
        // A near word says more.
        if finding.help.as_ref().is_some_and(|help| help.starts_with("did you mean")) {
            continue;
        }
        finding.help = Some(help.to_owned());
    }
}

fn source_place(source: &Source, place: Location) -> Location {
    Location { file: source.inside(&place.file), line: place.line, column: place.column, heading: place.heading }
}
