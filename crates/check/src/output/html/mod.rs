//! A page for the office that has to act on a report: one file that needs no network and no script to be read.
//!
//! What must be done comes first, in words; then what could not be checked; then the findings, those about the document
//! as a whole on top and the others pipe by pipe, each drawn at its distance. Severity is told by word and shape, never by
//! colour alone. Every text that comes from the survey is escaped, and characters that would hide or turn text are shown
//! by their numbers.

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

/// The page's style. The colours are custom properties on top, so that their contrast can be computed.
const STYLE: &str = include_str!("page.css");
/// What a script adds: a count of what the filter leaves, and sections without anything left put away.
const SCRIPT: &str = include_str!("page.js");
/// The digest of the script, which the page's content security policy lets through and nothing else. A test computes it.
const SCRIPT_DIGEST: &str = "sha256-Td9AGgc3/mxkmmzz4l/+Xc6+t4zreAwZ3gavBQIoPm0=";

/// How a page is made.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Options {
    /// How many findings of one rule the page shows; further ones are counted, and the page says so.
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
/// When the sink fails.
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
    write!(sink, "</style>\n</head>\n<body>\n<a class=\"skip\" href=\"#findings\">Skip to the findings</a>\n")?;
    top::write(report, &page, &about, sink)?;
    writeln!(sink, "<main id=\"main\">")?;
    top::totals(report, sink)?;
    top::unchecked(report, &page, sink)?;
    findings::write(report, &page, sink)?;
    write!(
        sink,
        "</main>\n<footer>\n<p>Made by {} {}{}. Rule names in small letters are the ones that <code>obvert explain</code> \
         and the specification know.</p>\n</footer>\n<script>{SCRIPT}</script>\n</body>\n</html>\n",
        Text(&report.tool.name),
        Text(&report.tool.version),
        report.today.as_ref().map(|today| format!(", taking {} for today", Text(today))).unwrap_or_default(),
    )
}
