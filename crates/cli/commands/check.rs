//! `obvert check`: surveys against the rules.

use obvert::check::{Checker, Report, Settings, Severity, SourcePlace, catalogue};
use obvert::convert::{ConvertError, Place, csv, geojson, xml};
use obvert::model::read::{ProblemKind, locate};

use super::print;
use crate::args::{Check, Form, Format, Threshold};
use crate::files::{self, Source};
use crate::{Failure, Status, lists, render};

/// Checks every file, and prints one report.
pub(crate) fn run(arguments: &Check) -> Result<Status, Failure> {
    let checker = Checker::new(settings(arguments)?)?;
    let mut whole: Option<Report> = None;
    let mut failed = false;
    for path in &arguments.files {
        let name = path.display().to_string();
        let checked = files::read(path, arguments.from).and_then(|source| {
            let mut report = report_on(&checker, &source)?;
            report.name_file(&source.name);
            failed |= unreadable_number(&source, &report);
            if arguments.format == Format::Text {
                render::out(|out| render::findings::document(out, &source, &report, arguments.all))?;
            }
            Ok(report)
        });
        let report = checked.unwrap_or_else(|error| {
            failed = true;
            render::failure(&*error);
            Report::unread(&name, &error.to_string())
        });
        match &mut whole {
            None => whole = Some(report),
            Some(whole) => whole.join(report),
        }
    }
    let Some(report) = whole else { return Ok(Status::Good) };
    match arguments.format {
        Format::Json => print(format!("{}\n", serde_json::to_string_pretty(&report)?).as_bytes())?,
        Format::Text if report.documents.iter().all(|document| document.error.is_some()) => Status::Failed,
        Format::Text => render::out(|out| render::findings::summary(out, &report, catalogue().len()))?,
    };
    let threshold = match arguments.deny {
        Threshold::Error => Severity::Error,
        Threshold::Warning => Severity::Warning,
        Threshold::Note => Severity::Note,
    };
    Ok(match report.worst() {
        _ if failed => Status::Failed,
        Some(worst) if worst >= threshold => Status::Findings,
        _ => Status::Good,
    })
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

fn settings(arguments: &Check) -> Result<Settings, Failure> {
    let mut settings = Settings::default();
    let today = match &arguments.today {
        Some(today) => today.clone(),
        // The libraries have no clock; a person who checks a survey means today.
        None => jiff::ZonedDateTime::now().date().to_string(),
    };
    let bad_date = || format!("--today {today:?}: expected a date, such as 2026-05-06");
    if today.parse::<jiff::civil::Date>().is_err() {
        return Err(bad_date().into());
    }
    settings.today = Some(today.parse().map_err(|_| bad_date())?);
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
    Ok(settings)
}

fn report_on(checker: &Checker, source: &Source) -> Result<Report, Failure> {
    let name = &source.name;
    let read = match source.form {
        Form::Json => {
            let mut report = checker.check(source.bytes()).map_err(|error| format!("{name}: {error}"))?;
            report.place_in(source.bytes(), name);
            return Ok(report);
        }
        Form::Xml => xml::read(source.bytes(), name),
        Form::Geojson => geojson::read(source.bytes(), name),
        Form::CsvZip => csv::read_zip(source.bytes(), name),
        Form::Csv => csv::read(&source.files, name),
    };
    match read {
        Ok(survey) => {
            let mut report = checker.check_document(&survey.document);
            report.place_with(|path| survey.places.place(path).map(|place| source_place(source, place)));
            Ok(report)
        }
        Err(ConvertError::Structure(placed)) => {
            let problems: Vec<_> = placed.iter().map(|placed| placed.problem.clone()).collect();
            let mut report = checker.report_structure(&problems);
            report.place_with(|path| {
                let found = placed.iter().find(|placed| placed.problem.pointer == path)?;
                found.place.clone().map(|place| source_place(source, place))
            });
            Ok(report)
        }
        // The places in these errors name the file already.
        Err(error @ ConvertError::Form { place: Some(_), .. }) => Err(source.inside(&error.to_string()).into()),
        Err(error) => Err(format!("{name}: {error}").into()),
    }
}

fn source_place(source: &Source, place: Place) -> SourcePlace {
    SourcePlace { file: source.inside(&place.file), line: place.line, column: place.column, heading: place.heading }
}
