//! A page for the office that has to act on a report: one file that needs no network and no script.
//!
//! The page begins with what to do. Then it lists what could not be checked, the findings about the
//! whole document, and those of each pipe, drawn at their distances. A word and a shape show the
//! severity, never colour alone. Texts of the survey are escaped, and characters that would hide or
//! reverse text are replaced by their numbers.
//!
//! ```
//! use obvert_check::{Checker, MINIMAL, Settings, output::html};
//!
//! let report = Checker::new(Settings::default())?.check(MINIMAL.as_bytes())?;
//! let mut page = Vec::new();
//! html::write(&report, &html::Options::default().with_per_rule(50), &mut page)?;
//! assert!(page.starts_with(b"<!DOCTYPE html>"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

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

/// The page's style. Its colours are custom properties at the top, from which a test computes the
/// contrast.
const STYLE: &str = include_str!("page.css");
/// The page's script. It counts the visible findings and hides sections without any.
const SCRIPT: &str = include_str!("page.js");
/// The digest of the script: the content security policy allows no other script. A test computes
/// it.
const SCRIPT_DIGEST: &str = "sha256-3HACNT7GE84YVz9vLDobidpEtae+HCiWQr5yr0kkoic=";

/// Options of a page.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Options {
    /// How many findings of one rule the page shows. It states how many more there are.
    pub per_rule: usize,
}

impl Default for Options {
    fn default() -> Self {
        Self { per_rule: 200 }
    }
}

impl Options {
    /// Sets how many findings of one rule the page shows.
    #[must_use]
    pub fn with_per_rule(self, per_rule: usize) -> Self {
        Self { per_rule }
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
