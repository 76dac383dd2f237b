//! `obvert check`: surveys against the rules.

use std::fs;
use std::path::Path;

use obvert::check::{Checker, Report, Settings, Severity};
use obvert::convert::Format;
use obvert::model::read::{ProblemKind, locate};
use obvert::model::text::Date;

use super::archive;
use super::outputs::Outputs;
use crate::args::{Check, Judged, Threshold};
use crate::formats::format_names;
use crate::input::{self, ByLayout, Input};
use crate::render::progress;
use crate::{Failure, Status, lists, render};

/// Checks every file, and gives one report in every format that is asked for.
pub(crate) fn run(arguments: &Check) -> Result<Status, Failure> {
    let checker =
        Checker::new(settings(&arguments.judged, arguments.all || arguments.baseline.is_some())?)?;
    let mut outputs = Outputs::new(arguments)?;
    let earlier = arguments.baseline.as_deref().map(baseline).transpose()?;
    let layout = match &arguments.layout {
        Some(path) => Some(lists::layout(path, lists::code_lists(&arguments.judged.code_lists)?)?),
        None => None,
    };
    let mut whole: Option<Report> = None;
    let mut failed = false;
    // What a text has to show is known once the whole report has been compared with the earlier
    // one.
    let mut held = Vec::new();
    let inputs =
        arguments.files.iter().flat_map(|path| inputs(path, arguments.from, layout.as_ref()));
    for (name, input) in inputs {
        let checked = input.and_then(|mut input| {
            let report = report_on(&checker, &mut input)?;
            failed |= unreadable_number(&input, &report);
            if earlier.is_none() {
                outputs.text(&input, &report)?;
            } else if outputs.wants_text() {
                held.push((whole.as_ref().map_or(0, |whole| whole.documents.len()), input));
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
            Some(whole) => whole.merge(report),
        }
    }
    let Some(mut report) = whole else { return Ok(Status::Good) };
    if let Some(earlier) = &earlier {
        report.compare_with(
            earlier,
            arguments.baseline.as_ref().map(|path| path.display().to_string()).as_deref(),
        );
        for (document, input) in &held {
            outputs.text(input, &report.of_document(*document))?;
        }
    }
    outputs.finish(&report)?;
    Ok(match report.worst() {
        _ if failed => Status::Failed,
        Some(worst) if worst >= severity(arguments.deny) => Status::Findings,
        _ => Status::Good,
    })
}

/// A survey with its name, or why it cannot be opened.
type Named<'l> = (String, Result<Input<'l>, Failure>);

/// The surveys of a file, each with its name: one, or those of an archive, which are read one at a
/// time.
fn inputs<'l>(
    path: &'l Path,
    format: Option<&'static Format>,
    layout: Option<&'l ByLayout>,
) -> Box<dyn Iterator<Item = Named<'l>> + 'l> {
    let name = path.display().to_string();
    if format.is_some() || !input::is_archive(path) {
        return Box::new(std::iter::once_with(move || {
            let input = input::open(path, format, layout).inspect(|input| {
                if layout.is_some() && !input.is_by_layout() {
                    unused_layout(input.name(), input.format().name);
                }
            });
            (name, input)
        }));
    }
    if layout.is_some() {
        unused_layout(&name, "json");
    }
    match archive::lines(path) {
        Ok(lines) => Box::new(lines.map(move |line| match line {
            Ok(line) => (format!("{name}:{}", line.number), archive::input(path, line)),
            Err(error) => (name.clone(), Err(format!("{name}: {error}").into())),
        })),
        Err(error) => Box::new(std::iter::once((name, Err(error)))),
    }
}

/// The report on one survey, with what reading it lost.
fn report_on(checker: &Checker, input: &mut Input<'_>) -> Result<Report, Failure> {
    let _stage = progress::stage(format!("checking {}", input.name()));
    input.report_notes();
    let mut report = input.check(checker)?;
    input.report_losses()?;
    in_archive(&mut report, input);
    Ok(report)
}

/// Says that a survey is none of the office's tables that the layout is for.
fn unused_layout(name: &str, format: &str) {
    render::note(&format!(
        "{name}: is a survey as {format} and no office's own table, so it is checked without --layout; say --from layout if it is one"
    ));
}

/// Places the findings of a line of an archive in the archive.
fn in_archive(report: &mut Report, input: &Input<'_>) {
    let Some((archive, before)) = &input.line_of else { return };
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

/// Reads the earlier report that a check is compared with.
fn baseline(path: &Path) -> Result<Report, Failure> {
    let name = path.display();
    crate::atomic_output::note_read(path);
    let bytes = fs::read(path).map_err(|error| format!("--baseline {name}: {error}"))?;
    let hint = "give what `obvert check --all --format json` wrote";
    Report::read(&bytes)
        .map_err(|error| format!("--baseline {name}: no report of a check: {error}; {hint}").into())
}

/// Whether the source has a number that no double holds. It is reported with its place as any
/// structural problem is, but nobody can read such a source, so the check has not been done.
fn unreadable_number(input: &Input<'_>, report: &Report) -> bool {
    let numbers =
        report.findings.iter().filter(|finding| finding.rule == ProblemKind::NumberRange.as_str());
    input.is_json()
        && numbers.map(|finding| locate(input.bytes(), &finding.subject.path)).any(|place| {
            let token = input
                .bytes()
                .get(place.offset..place.end)
                .and_then(|token| std::str::from_utf8(token).ok());
            token.and_then(|token| token.parse::<f64>().ok()).is_some_and(f64::is_infinite)
        })
}

pub(super) fn settings(arguments: &Judged, all: bool) -> Result<Settings, Failure> {
    let mut settings = Settings::default().with_read_ahead(true).with_formats(format_names());
    if all {
        settings.keep = usize::MAX;
    }
    settings.today = Some(today(arguments.today.as_deref())?);
    for text in &arguments.weigh {
        let form =
            || format!("--weigh {text:?}: expected RULE=SEVERITY, such as camera-speed=error");
        let (rule, weight) = text.split_once('=').ok_or_else(form)?;
        let weight = match weight {
            "off" => None,
            word => Some(
                Severity::ALL
                    .into_iter()
                    .find(|severity| severity.as_str() == word)
                    .ok_or_else(form)?,
            ),
        };
        settings.severities.insert(rule.to_owned(), weight);
    }
    for text in &arguments.limits {
        let form = || {
            format!("--limit {text:?}: expected RULE.LIMIT=NUMBER, such as camera-speed.limit=12")
        };
        let (name, number) = text.split_once('=').ok_or_else(form)?;
        let (rule, limit) = name.split_once('.').ok_or_else(form)?;
        let number: f64 =
            number.parse().ok().filter(|number: &f64| number.is_finite()).ok_or_else(form)?;
        settings.limits.insert((rule.to_owned(), limit.to_owned()), number);
    }
    settings.code_lists = lists::code_lists(&arguments.code_lists)?;
    settings.grade_schemes = lists::grade_schemes(&arguments.grade_schemes, &settings.code_lists)?;
    settings.profile =
        arguments.profile.as_deref().map(|path| lists::profile(path, &settings)).transpose()?;
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
