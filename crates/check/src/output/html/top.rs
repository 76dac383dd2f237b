//! The top of the page: the verdict, the caution, the totals, and what could not be checked.

use std::io::{self, Write};

use super::escape::Text;
use super::findings::mark;
use super::groups::{Page, capital, heading, meaning};
use crate::finding::Severity;
use crate::output::{CAUTION, Named, count, name_of, thousands};
use crate::report::{NotRun, OpenedFiles, Report};

/// The verdict, in words.
pub(super) struct Verdict {
    /// The verdict in a few words.
    pub(super) title: &'static str,
    /// The class that sets its colour.
    class: &'static str,
    /// What to do, one sentence each.
    sentences: Vec<String>,
}

/// The verdict on a report.
pub(super) fn verdict(report: &Report) -> Verdict {
    let unread = report.documents.iter().filter(|document| document.info.error.is_some()).count();
    let totals = report.totals;
    let (title, class) = match (unread, report.worst()) {
        (0, Some(Severity::Error)) => ("Not ready to send", "error"),
        (0, Some(Severity::Warning)) => ("Nothing to correct, but questions to expect", "warning"),
        (0, Some(Severity::Note)) => ("Nothing to correct", "note"),
        (0, None) if report.baseline.is_some() => ("Nothing new", "note"),
        (0, None) => ("Nothing to correct", "note"),
        (_, _) if unread == report.documents.len() => ("Could not be read", "error"),
        (_, _) => ("Not ready to send", "error"),
    };
    let mut sentences = Vec::new();
    if unread > 0 {
        sentences.push(format!(
            "{} could not be read, so {} not checked.",
            count(unread, "file"),
            if unread == 1 { "it was" } else { "they were" },
        ));
    }
    let plural =
        |number: usize, one: &'static str, many: &'static str| if number == 1 { one } else { many };
    let new = if report.baseline.is_some() { "new " } else { "" };
    if totals.error > 0 {
        let mistakes = count(totals.error, &format!("{new}mistake"));
        sentences.push(format!("{mistakes} must be corrected before the survey is sent."));
    }
    if totals.warning > 0 {
        sentences.push(format!(
            "{}: expect questions from the receiving office, and correct or explain {}.",
            count(totals.warning, &format!("{new}warning")),
            plural(totals.warning, "it", "each"),
        ));
    }
    if totals.note > 0 {
        sentences.push(format!("{}, no action needed.", count(totals.note, &format!("{new}note"))));
    }
    if totals.all() == 0 && unread < report.documents.len() {
        sentences.push(if report.baseline.is_some() {
            "No finding is new since the earlier report.".to_owned()
        } else {
            "No check found anything.".to_owned()
        });
    }
    if let Some(baseline) = &report.baseline {
        let (known, resolved) = (count(baseline.known, "finding"), thousands(baseline.resolved));
        sentences.push(format!(
            "Compared with an earlier report: {known} already known and not listed here, {resolved} resolved."
        ));
    }
    for document in &report.documents {
        let files = document.files.as_ref().map(OpenedFiles::describe);
        let about = document.incomplete().into_iter().chain(files);
        sentences.extend(about.map(|sentence| match report.documents.len() {
            1 => format!("{}.", capital(&sentence)),
            _ => format!("{}: {sentence}.", name_of(document)),
        }));
    }
    if !report.not_run.is_empty() {
        sentences.push("Some checks could not be run; they are listed below.".to_owned());
    }
    Verdict { title, class, sentences }
}

/// The verdict, the caution and the table of contents.
pub(super) fn write(
    report: &Report,
    page: &Page<'_>,
    about: &str,
    sink: &mut dyn Write,
) -> io::Result<()> {
    let verdict = verdict(report);
    writeln!(sink, "<header class=\"verdict v-{}\">", verdict.class)?;
    writeln!(
        sink,
        "<p class=\"about\">Check of <bdi>{}</bdi></p>\n<h1>{}</h1>",
        Text(about),
        verdict.title
    )?;
    for sentence in &verdict.sentences {
        writeln!(sink, "<p>{}</p>", Text(sentence))?;
    }
    writeln!(
        sink,
        "<p class=\"caution\"><strong>Caution.</strong> {}</p>\n</header>",
        Text(CAUTION)
    )?;
    if page.sections.is_empty() {
        return Ok(());
    }
    writeln!(sink, "<nav aria-label=\"Contents\">\n<h2>Where the findings are</h2>\n<ul>")?;
    for section in &page.sections {
        let several = report.documents.len() > 1;
        let document = if several {
            format!("{}: ", Text(name_of(&report.documents[section.document])))
        } else {
            String::new()
        };
        let name = section
            .pipe
            .map_or_else(|| "whole survey".to_owned(), |pipe| format!("pipe {}", Text(pipe)));
        let errors: usize = section
            .groups
            .iter()
            .filter(|group| group.severity == Severity::Error)
            .map(|group| group.findings.len())
            .sum();
        let correct =
            if errors > 0 { format!(", {} to correct", thousands(errors)) } else { String::new() };
        writeln!(
            sink,
            "<li><a href=\"#{}\"><bdi>{document}{name}</bdi></a> <span class=\"dim\">{}{correct}</span></li>",
            section.anchor(),
            count(section.findings().count(), "finding"),
        )?;
    }
    writeln!(sink, "</ul>\n</nav>")
}

/// What was checked, and the totals.
pub(super) fn totals(report: &Report, sink: &mut dyn Write) -> io::Result<()> {
    write!(
        sink,
        "<section aria-labelledby=\"looked-at\">\n<h2 id=\"looked-at\">What was checked</h2>\n\
         <div class=\"wide\" tabindex=\"0\" role=\"group\" aria-labelledby=\"looked-at\">\n<table>\n<thead><tr><th scope=\"col\">Survey</th>\
         <th scope=\"col\" class=\"n\">Pipes</th><th scope=\"col\" class=\"n\">Runs</th>\
         <th scope=\"col\" class=\"n\">Observations</th>"
    )?;
    for severity in Severity::ALL.into_iter().rev() {
        write!(
            sink,
            "<th scope=\"col\" class=\"n\">{} {}</th>",
            mark(severity),
            meaning(severity)
        )?;
    }
    writeln!(sink, "</tr></thead>\n<tbody>")?;
    for document in &report.documents {
        write!(sink, "<tr><th scope=\"row\"><bdi>{}</bdi></th>", Text(name_of(document)))?;
        if let Some(error) = &document.info.error {
            writeln!(sink, "<td colspan=\"6\">could not be read: {}</td></tr>", Text(error))?;
            continue;
        }
        let numbers = [document.pipes, document.runs, document.observations];
        let totals = Severity::ALL.map(|severity| document.totals.of(severity));
        for number in numbers.into_iter().chain(totals.into_iter().rev()) {
            write!(sink, "<td class=\"n\">{}</td>", thousands(number))?;
        }
        writeln!(sink, "</tr>")?;
    }
    writeln!(sink, "</tbody>")?;
    if report.documents.len() > 1 {
        write!(sink, "<tfoot><tr><th scope=\"row\" colspan=\"4\">All of them</th>")?;
        for severity in Severity::ALL.into_iter().rev() {
            write!(sink, "<td class=\"n\">{}</td>", thousands(report.totals.of(severity)))?;
        }
        writeln!(sink, "</tr></tfoot>")?;
    }
    writeln!(sink, "</table>\n</div>")?;
    let run = Named::all(report).filter(|named| {
        (0..report.documents.len()).any(|document| report.ran(named.name(), document))
    });
    writeln!(sink, "<p>{} were run.</p>", count(run.count(), "check"))?;
    if let Some(profile) = &report.profile {
        writeln!(
            sink,
            "<p>The survey was checked against a profile: {}, <bdi>{} {}</bdi>, digest <code>{}</code>.</p>",
            Text(&profile.title),
            Text(&profile.id),
            Text(&profile.version),
            Text(&profile.digest),
        )?;
    }
    if !report.settings.is_empty() {
        writeln!(sink, "<p>Settings that differ from the catalogue of rules:</p>\n<ul>")?;
        for (rule, severity) in &report.settings.severities {
            let severity_text = if severity == "off" {
                "not run".to_owned()
            } else {
                format!("counts as {}", Text(severity))
            };
            writeln!(
                sink,
                "<li>{} <code>{}</code>: {severity_text}</li>",
                Text(&heading(rule)),
                Text(rule)
            )?;
        }
        for (limit, value) in &report.settings.limits {
            writeln!(sink, "<li>limit <code>{}</code> is {value}</li>", Text(limit))?;
        }
        writeln!(sink, "</ul>")?;
    }
    writeln!(sink, "</section>")
}

/// The reason why checks were not run or did not apply, and their list.
fn reason(report: &Report, checks: &NotRun, outcome: &str, sink: &mut dyn Write) -> io::Result<()> {
    let documents = checks.documents.iter().filter_map(|index| report.documents.get(*index));
    let names: Vec<String> =
        documents.map(|document| Text(name_of(document)).to_string()).collect();
    let on = if report.documents.len() > 1 {
        format!(" in {}", names.join(", "))
    } else {
        String::new()
    };
    let rules = checks.rules.iter();
    let rules: Vec<String> = rules
        .map(|rule| format!("<li>{} <code>{}</code></li>", Text(&heading(rule)), Text(rule)))
        .collect();
    writeln!(
        sink,
        "<li>Because {}{on}:\n<details><summary>{} {outcome}</summary><ul class=\"names\">{}</ul></details></li>",
        Text(&checks.why),
        count(checks.rules.len(), "check"),
        rules.join(""),
    )
}

/// What could not be checked and what is not listed.
pub(super) fn unchecked(report: &Report, page: &Page<'_>, sink: &mut dyn Write) -> io::Result<()> {
    let parts = report.documents.iter().any(|document| !document.left_out.is_empty());
    if !report.not_run.is_empty() || parts {
        writeln!(
            sink,
            "<section aria-labelledby=\"unchecked\">\n<h2 id=\"unchecked\">What could not be checked</h2>\n<ul>"
        )?;
        for not_run in &report.not_run {
            reason(report, not_run, "not run", sink)?;
        }
        writeln!(sink, "</ul>")?;
        let left_out: Vec<String> = report
            .documents
            .iter()
            .flat_map(|document| &document.left_out)
            .map(|out| format!("<li><code>{}</code></li>", Text(&out.path)))
            .collect();
        if !left_out.is_empty() {
            writeln!(
                sink,
                "<details><summary>What could not be read</summary><ul class=\"names\">{}</ul></details>",
                left_out.join("")
            )?;
        }
        writeln!(sink, "</section>")?;
    }
    if !report.not_applicable.is_empty() {
        writeln!(
            sink,
            "<section aria-labelledby=\"not-applicable\">\n<h2 id=\"not-applicable\">Checks that did not apply</h2>\n<ul>"
        )?;
        for not_applicable in &report.not_applicable {
            reason(report, not_applicable, "did not apply", sink)?;
        }
        writeln!(sink, "</ul>\n</section>")?;
    }
    if !page.truncated.is_empty() {
        writeln!(
            sink,
            "<section aria-labelledby=\"not-listed\">\n<h2 id=\"not-listed\">Findings that are not listed</h2>\n\
             <p>Some rules have so many findings that not all are listed. All are counted.</p>\n<ul>"
        )?;
        for (rule, shown, total) in &page.truncated {
            writeln!(
                sink,
                "<li>{} <code>{}</code>: {} of {} shown</li>",
                Text(&heading(rule)),
                Text(rule),
                thousands(*shown),
                thousands(*total)
            )?;
        }
        writeln!(sink, "</ul>\n</section>")?;
    }
    suppressed(report, sink)?;
    if let Some(uncertain) = report
        .baseline
        .as_ref()
        .map(|baseline| &baseline.uncertain)
        .filter(|uncertain| !uncertain.is_empty())
    {
        let names: Vec<String> =
            uncertain.iter().map(|rule| format!("<code>{}</code>", Text(rule))).collect();
        writeln!(
            sink,
            "<p>Not all findings of {} are listed in both reports. Unlisted findings cannot be recognised, so \
             known findings may be shown as new.</p>",
            names.join(", ")
        )?;
    }
    Ok(())
}

/// Active and expired suppressions of the profile.
fn suppressed(report: &Report, sink: &mut dyn Write) -> io::Result<()> {
    if report.suppressed.is_empty() {
        return Ok(());
    }
    writeln!(
        sink,
        "<section aria-labelledby=\"suppressed\">\n<h2 id=\"suppressed\">Suppressed by the profile</h2>\n\
         <p>These are not counted above, unless the suppression has expired.</p>\n<ul>"
    )?;
    for suppressed in &report.suppressed {
        let until = match (&suppressed.until, suppressed.expired) {
            (Some(until), true) => {
                format!(", until {} (expired: counted and listed again)", Text(until))
            }
            (Some(until), false) => format!(", until {}", Text(until)),
            (None, _) => String::new(),
        };
        let document = report.documents.get(suppressed.document);
        let on = document
            .filter(|_| report.documents.len() > 1)
            .map(|document| format!(" in <bdi>{}</bdi>", Text(name_of(document))))
            .unwrap_or_default();
        writeln!(
            sink,
            "<li>{} <code>{}</code>: {}{on}{until}. {}</li>",
            Text(&heading(&suppressed.rule)),
            Text(&suppressed.rule),
            thousands(suppressed.count),
            Text(&suppressed.reason)
        )?;
    }
    writeln!(sink, "</ul>\n</section>")
}
