//! A page for the office that has to act on a report: one file that needs no network and no script.
//!
//! It begins with what must be done, then lists what could not be checked, then the findings: those
//! about the document as a whole, then those of each pipe, drawn at their distances. Severity is
//! shown by word and shape, never by colour alone. Texts of the survey are escaped, and characters
//! that would hide or reverse text are shown by their numbers.

mod draw;
mod escape;
mod findings;
mod groups;
mod scale;
mod top;

use std::io::{self, Write};

use self::escape::Text;
use self::groups::Page;
use super::name_of;
use crate::report::Report;

/// The page's style. The colours are custom properties at the top, so that a test can compute their
/// contrast.
const STYLE: &str = include_str!("page.css");
/// What a script adds: the number of visible findings, and hiding sections without any.
const SCRIPT: &str = include_str!("page.js");
/// The digest of the script, the only one that the page's content security policy allows. A test
/// computes it.
const SCRIPT_DIGEST: &str = "sha256-Td9AGgc3/mxkmmzz4l/+Xc6+t4zreAwZ3gavBQIoPm0=";

/// Options of a page.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Options {
    /// How many findings of one rule the page shows; the page says how many more there are.
    pub per_rule: usize,
}

impl Default for Options {
    fn default() -> Self {
        Self { per_rule: 200 }
    }
}

/// Writes a report as a page.
///
/// # Errors
/// If the sink fails.
pub fn write(report: &Report, options: &Options, sink: &mut dyn Write) -> io::Result<()> {
    let page = Page::new(report, options.per_rule);
    let names: Vec<&str> = report.documents.iter().map(name_of).collect();
    let about = match names.as_slice() {
        [one] => (*one).to_owned(),
        many => format!("{} surveys", many.len()),
    };
    write!(
        sink,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; \
         script-src '{SCRIPT_DIGEST}'; base-uri 'none'; form-action 'none'\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n\
         <title>{}: {}</title>\n<style>\n{STYLE}",
        top::verdict(report).title,
        Text(&about),
    )?;
    page.filter_style(sink)?;
    write!(
        sink,
        "</style>\n</head>\n<body>\n<a class=\"skip\" href=\"#findings\">Skip to the findings</a>\n"
    )?;
    top::write(report, &page, &about, sink)?;
    writeln!(sink, "<main id=\"main\">")?;
    top::totals(report, sink)?;
    top::unchecked(report, &page, sink)?;
    findings::write(report, &page, sink)?;
    write!(
        sink,
        "</main>\n<footer>\n<p>Made by {} {}{}. Rule names in small letters are explained by <code>obvert explain</code> \
         and in the specification.</p>\n</footer>\n<script>{SCRIPT}</script>\n</body>\n</html>\n",
        Text(&report.tool.name),
        Text(&report.tool.version),
        report
            .today
            .as_ref()
            .map(|today| format!(", using {} as today", Text(today)))
            .unwrap_or_default(),
    )
}
