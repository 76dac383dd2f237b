//! The findings on the page: the filter, then for each survey a section about the whole survey and
//! one for each pipe.

use std::io::{self, Write};

use super::draw;
use super::escape::{Inline, Paragraphs, Text};
use super::groups::{Group, Numbered, Page, Section, heading, meaning};
use crate::finding::{Finding, Severity};
use crate::output::{Named, advice_on, character_column, name_of, subject_of, thousands};
use crate::report::Report;

/// The findings.
pub(super) fn write(report: &Report, page: &Page<'_>, sink: &mut dyn Write) -> io::Result<()> {
    writeln!(
        sink,
        "<section id=\"findings\" tabindex=\"-1\" aria-labelledby=\"findings-head\">\n<h2 id=\"findings-head\">Findings</h2>"
    )?;
    if page.sections.is_empty() {
        let nothing = match report.documents.iter().all(|document| document.info.error.is_some()) {
            true => "Nothing was checked, since nothing could be read.",
            false if report.baseline.is_some() => "Nothing new was found.",
            false => "Nothing was found.",
        };
        return writeln!(sink, "<p>{nothing}</p>\n</section>");
    }
    filter(report, page, sink)?;
    let mut document = None;
    for section in &page.sections {
        if report.documents.len() > 1 && document != Some(section.document) {
            document = Some(section.document);
            let name = Text(name_of(&report.documents[section.document])).to_string();
            writeln!(sink, "<h3 class=\"survey\"><bdi>{name}</bdi></h3>")?;
        }
        one(report, page, section, sink)?;
    }
    writeln!(sink, "</section>")
}

/// Check boxes that hide findings, by CSS alone.
fn filter(report: &Report, page: &Page<'_>, sink: &mut dyn Write) -> io::Result<()> {
    writeln!(
        sink,
        "<div class=\"filter\" role=\"group\" aria-labelledby=\"filter-head\">\n<h3 id=\"filter-head\">Show</h3>\n<div class=\"boxes\">"
    )?;
    for severity in
        Severity::ALL.into_iter().rev().filter(|severity| report.totals.of(*severity) > 0)
    {
        writeln!(
            sink,
            "<label><input type=\"checkbox\" id=\"show-{0}\" checked> {1} {2} <span class=\"dim\">{3}</span></label>",
            severity.as_str(),
            mark(severity),
            meaning(severity),
            thousands(report.totals.of(severity)),
        )?;
    }
    writeln!(
        sink,
        "</div>\n<details><summary>Choose by rule</summary>\n<div class=\"boxes rules\">"
    )?;
    for total in &report.rules {
        writeln!(
            sink,
            "<label><input type=\"checkbox\" id=\"show-{0}\" checked> {1} <span>{2}</span> <span class=\"dim\">{3}</span></label>",
            page.class(&total.rule),
            mark(total.severity),
            Text(&heading(&total.rule)),
            thousands(total.total),
        )?;
    }
    let found: usize = Severity::ALL.into_iter().map(|severity| report.totals.of(severity)).sum();
    let (status, shown) = ("<p id=\"shown\" role=\"status\"", page.shown);
    writeln!(
        sink,
        "</div>\n</details>\n{status} data-all=\"{shown}\" data-found=\"{found}\"></p>\n</div>"
    )
}

fn one(
    report: &Report,
    page: &Page<'_>,
    section: &Section<'_>,
    sink: &mut dyn Write,
) -> io::Result<()> {
    let anchor = section.anchor();
    writeln!(sink, "<section class=\"part\" id=\"{anchor}\" aria-labelledby=\"{anchor}-head\">")?;
    match section.pipe {
        Some(pipe) => {
            writeln!(sink, "<h3 id=\"{anchor}-head\">Pipe <bdi>{}</bdi></h3>", Text(pipe))?
        }
        None => writeln!(sink, "<h3 id=\"{anchor}-head\">The whole survey</h3>")?,
    }
    let document = &report.documents[section.document];
    if let Some(pipe) = section.affected {
        draw::write(
            pipe,
            section,
            page,
            document.info.length_unit.as_deref().unwrap_or_default(),
            sink,
        )?;
    }
    for group in &section.groups {
        self::group(report, page, group, sink)?;
    }
    writeln!(sink, "</section>")
}

fn group(
    report: &Report,
    page: &Page<'_>,
    group: &Group<'_>,
    sink: &mut dyn Write,
) -> io::Result<()> {
    let named = Named::find(report, group.rule);
    writeln!(
        sink,
        "<div class=\"group is-{} {}\">\n<h4>{} <span class=\"weight\">{}:</span> {} <code>{}</code></h4>",
        group.severity,
        page.class(group.rule),
        mark(group.severity),
        meaning(group.severity),
        Text(&heading(group.rule)),
        Text(group.rule),
    )?;
    writeln!(sink, "<ol class=\"places\">")?;
    let advice = advice_on(report, group.rule);
    for numbered in &group.findings {
        place(report, *numbered, advice.as_deref(), sink)?;
    }
    writeln!(sink, "</ol>")?;
    if let Some(named) = named {
        if let Some(advice) = &advice {
            writeln!(sink, "<p class=\"do\"><strong>What to do.</strong> {}</p>", Inline(advice))?;
        }
        write!(sink, "<details><summary>About this check</summary>")?;
        for (heading, text) in named.sections() {
            write!(sink, "<h5>{heading}</h5>{}", Paragraphs(&text))?;
        }
        writeln!(sink, "</details>")?;
    }
    writeln!(sink, "</div>")
}

/// One finding of a group. Its own advice is left out if it is that of the whole group.
fn place(
    report: &Report,
    numbered: Numbered<'_>,
    advice: Option<&str>,
    sink: &mut dyn Write,
) -> io::Result<()> {
    let Numbered { number, finding } = numbered;
    writeln!(
        sink,
        "<li id=\"f-{number}\" value=\"{number}\" tabindex=\"-1\"><p class=\"message\">{}</p>",
        Text(&finding.message)
    )?;
    write!(sink, "<dl>")?;
    if let Some(subject) = subject_of(finding, report) {
        write!(sink, "<div><dt>Where</dt><dd><bdi>{}</bdi></dd></div>", Text(&subject))?;
    }
    write!(sink, "<div><dt>In the file</dt><dd>{}</dd></div>", source(finding))?;
    if let Some(help) = finding.help.as_ref().filter(|help| Some(help.as_ref()) != advice) {
        write!(sink, "<div><dt>Advice</dt><dd>{}</dd></div>", Inline(help))?;
    }
    if let Some(fix) = &finding.fix {
        let (term, command) = match fix.safe {
            true => ("Can be fixed automatically", "obvert fix"),
            false => ("Can be fixed if you confirm", "obvert fix --confirm"),
        };
        write!(
            sink,
            "<div><dt>{term}</dt><dd>{} (<code>{command}</code>)</dd></div>",
            Text(&fix.does)
        )?;
    }
    writeln!(sink, "</dl></li>")
}

/// The location in the source.
fn source(finding: &Finding) -> String {
    let Some(at) = &finding.at else {
        let path = if finding.subject.path.is_empty() {
            "the whole document"
        } else {
            &finding.subject.path
        };
        return format!("<code>{}</code>", Text(path));
    };
    let file = format!("<bdi>{}</bdi>", Text(&at.file));
    match (&at.heading, at.column, character_column(at)) {
        (Some(heading), Some(column), _) => {
            format!("{file}, line {}, column {column} (<code>{}</code>)", at.line, Text(heading))
        }
        (_, _, Some(column)) => format!("{file}, line {}, character {column}", at.line),
        _ => format!("{file}, line {}", at.line),
    }
}

/// The mark of a severity. The word is always next to it.
pub(super) fn mark(severity: Severity) -> String {
    format!(
        "<svg class=\"mark m-{}\" viewBox=\"-11 -11 22 22\" width=\"18\" height=\"18\" aria-hidden=\"true\" focusable=\"false\">{}\
         <text y=\"5\">{}</text></svg>",
        severity.as_str(),
        draw::shape(severity),
        match severity {
            Severity::Error => "!",
            Severity::Warning => "?",
            Severity::Note => "i",
        }
    )
}
