//! `obvert check`: checks surveys against the rules.

use std::fs;
use std::path::Path;

use obvert::check::output::Summary;
use obvert::check::{Checker, Finding, Report, Settings, Severity};
use obvert::convert::Format;
use obvert::model::read::{ProblemKind, locate_all};
use obvert::model::text::Date;

use super::archive;
use super::outputs::Outputs;
use crate::args::{Check, RuleOptions, Threshold};
use crate::formats::format_names;
use crate::input::{self, ByLayout, Input};
use crate::media_audit::MediaAudits;
use crate::render::progress;
use crate::{Failure, Status, lists, render};

/// Checks every file, and writes one report in every requested format.
pub(crate) fn run(arguments: &Check) -> Result<Status, Failure> {
    let mut checker =
        Checker::new(settings(&arguments.rules, arguments.all || arguments.baseline.is_some())?)?;
    let mut outputs = Outputs::new(arguments)?;
    let earlier = arguments.baseline.as_deref().map(baseline).transpose()?;
    let layout = match &arguments.layout {
        Some(path) => {
            Some(lists::layout(path, lists::code_lists(&arguments.rules.own_lists.code_lists)?)?)
        }
        None => None,
    };
    // With a layout, a folder may hold tables of an office.
    let files = match layout {
        Some(_) => arguments.files.clone(),
        None => input::surveys(&arguments.files),
    };
    let mut merged: Option<Report> = None;
    let mut summary = Summary::default();
    let mut failed = false;
    // With a baseline, the text has to wait: which findings are new is known at the end.
    let mut waiting = Vec::new();
    let audits = MediaAudits::new(arguments, &files)?;
    let inputs = files.iter().flat_map(|path| {
        inputs(path, arguments.from, layout.as_ref()).map(move |(name, input)| (path, name, input))
    });
    for (path, name, input) in inputs {
        let checked = input.and_then(|mut input| {
            checker.set_files(audits.of(path)?);
            let report = report_on(&checker, &mut input)?;
            failed |= unreadable_number(&input, &report);
            if earlier.is_none() {
                outputs.text(&input, &report)?;
            } else if outputs.wants_text() {
                waiting.push((merged.as_ref().map_or(0, |merged| merged.documents.len()), input));
            }
            Ok(report)
        });
        let report = checked.unwrap_or_else(|error| {
            failed = true;
            render::failure(&*error);
            checker.unread(&name, &error.to_string())
        });
        outputs.add(&report, summary.documents)?;
        summary.add(&report);
        match &mut merged {
            // Of an archive of any size, only what is needed at the end is kept.
            _ if !outputs.wants_all() => {}
            None => merged = Some(report),
            Some(merged) => merged.merge(report),
        }
    }
    if summary.documents == 0 {
        return Ok(Status::Success);
    }
    if let (Some(earlier), Some(report)) = (&earlier, &mut merged) {
        report.compare_with(
            earlier,
            arguments.baseline.as_ref().map(|path| path.display().to_string()).as_deref(),
        );
        for (document, input) in &waiting {
            outputs.text(input, &report.of_document(*document))?;
        }
        summary = Summary::of(report);
    }
    outputs.finish(merged.as_ref(), &summary)?;
    Ok(match summary.worst() {
        _ if failed => Status::Failed,
        Some(worst) if worst >= severity(arguments.deny) => Status::Findings,
        _ => Status::Success,
    })
}

/// A survey, or the error of opening it, with its name.
type Named<'l> = (String, Result<Input<'l>, Failure>);

/// The surveys of a file, each with its name: one, or those of an archive, which is read line by
/// line.
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
                    note_unused_layout(input.name(), input.format().name);
                }
            });
            (name, input)
        }));
    }
    if layout.is_some() {
        note_unused_layout(&name, "json");
    }
    match archive::lines(path) {
        Ok(lines) => Box::new(lines.map(move |line| match line {
            Ok(line) => (format!("{name}:{}", line.number), archive::input(path, line)),
            Err(error) => (name.clone(), Err(format!("{name}: {error}").into())),
        })),
        Err(error) => Box::new(std::iter::once((name, Err(error)))),
    }
}

/// Checks one survey, and reports what reading it lost.
fn report_on(checker: &Checker, input: &mut Input<'_>) -> Result<Report, Failure> {
    let _stage = progress::stage(format!("checking {}", input.name()));
    input.report_notes();
    let mut report = input.check(checker)?;
    input.report_losses()?;
    in_archive(&mut report, input);
    Ok(report)
}

/// Notes that a survey is not an office's own table, so that the layout is not used.
fn note_unused_layout(name: &str, format: &str) {
    render::note(&format!(
        "{name}: is a survey in the format {format}, so --layout is not used; give --from layout \
         if \
         it is an office's own table"
    ));
}

/// Gives the findings of a line of an archive their location in the archive.
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

/// Reads the report of an earlier check. Its findings may use the old names of renamed rules.
fn baseline(path: &Path) -> Result<Report, Failure> {
    let name = path.display();
    crate::atomic_output::note_read(path);
    let bytes = fs::read(path).map_err(|error| input::unreadable(path, &error))?;
    let hint = "give a report that `obvert check --all --format json` wrote";
    Report::read(&bytes)
        .map_err(|_| format!("--baseline {name}: is not a report in JSON; {hint}").into())
}

/// Whether the source has a number that is too large for a double. It is reported with its location
/// like any structural problem, but no program can read such a source, so the check has failed.
fn unreadable_number(input: &Input<'_>, report: &Report) -> bool {
    let is_number = |finding: &&Finding| finding.rule == ProblemKind::NumberRange.as_str();
    let numbers: Vec<&str> =
        report.findings.iter().filter(is_number).map(|f| f.subject.path.as_str()).collect();
    if !input.is_json() || numbers.is_empty() {
        return false;
    }
    // One scan for all of them: a scan for each would take quadratic time.
    let places = locate_all(input.bytes(), numbers.iter().copied());
    numbers.into_iter().map(|path| places.get(path)).any(|at| {
        let token =
            input.bytes().get(at.offset..at.end).and_then(|token| std::str::from_utf8(token).ok());
        token.and_then(|token| token.parse::<f64>().ok()).is_some_and(f64::is_infinite)
    })
}

pub(super) fn settings(arguments: &RuleOptions, all: bool) -> Result<Settings, Failure> {
    let mut settings = Settings::default().with_read_ahead(true).with_formats(format_names());
    if all {
        settings.keep = usize::MAX;
    }
    settings.today = Some(today(arguments.today.as_deref())?);
    for text in &arguments.severities {
        let malformed = || {
            format!(
                "--severity {text:?}: expected RULE=SEVERITY, such as camera-speed=error; the \
                 severities \
                 are error, warning, note and off"
            )
        };
        let (rule, severity) = text.split_once('=').ok_or_else(malformed)?;
        let severity = match severity {
            "off" => None,
            word => Some(
                Severity::ALL
                    .into_iter()
                    .find(|severity| severity.as_str() == word)
                    .ok_or_else(malformed)?,
            ),
        };
        settings.severities.insert(rule.to_owned(), severity);
    }
    for text in &arguments.limits {
        let malformed = || {
            format!("--limit {text:?}: expected RULE.LIMIT=NUMBER, such as camera-speed.limit=12")
        };
        let (name, number) = text.split_once('=').ok_or_else(malformed)?;
        let (rule, limit) = name.split_once('.').ok_or_else(malformed)?;
        let number: f64 =
            number.parse().ok().filter(|number: &f64| number.is_finite()).ok_or_else(malformed)?;
        settings.limits.insert((rule.to_owned(), limit.to_owned()), number);
    }
    (settings.code_lists, settings.grade_schemes) = lists::own(&arguments.own_lists)?;
    settings.profile =
        arguments.profile.as_deref().map(|path| lists::profile(path, &settings)).transpose()?;
    Ok(settings)
}

/// The date that is used as today.
pub(super) fn today(given: Option<&str>) -> Result<Date, Failure> {
    let today = match given {
        Some(today) => today.to_owned(),
        // The libraries read no clock.
        None => jiff::ZonedDateTime::now().date().to_string(),
    };
    let bad_date = || format!("--today {today:?}: expected a date, such as 2026-05-06");
    if today.parse::<jiff::civil::Date>().is_err() {
        return Err(bad_date().into());
    }
    Ok(today.parse().map_err(|_| bad_date())?)
}
