//! A report in the forms that others read: build servers, spreadsheets, and people who do not program.
//!
//! Each form is a module with one `write`, from a [`Report`] into a sink. Every form says what was counted but not listed
//! and which rules could not be run, and the same report gives the same bytes.
//!
//! ```
//! use obvert_check::{Checker, MINIMAL, Settings, output};
//!
//! let mut report = Checker::new(Settings::default())?.check(MINIMAL.as_bytes())?;
//! report.name_file("minimal.obvert.json");
//! let mut page = Vec::new();
//! output::html::write(&report, &output::html::Options::default(), &mut page)?;
//! assert!(String::from_utf8(page)?.contains("Nothing to correct"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#[cfg(feature = "csv")]
pub mod csv;
pub mod github;
pub mod html;
pub mod jsonl;
#[cfg(feature = "junit")]
pub mod junit;
pub mod sarif;

use obvert_model::read::ProblemKind;

use crate::catalogue::{catalogue, find};
use crate::finding::Finding;
use crate::report::{Document, Report};
use crate::rule::{Rule, Section};
use obvert_model::Location;

/// What a clean check does not say. It stands on top of every page that people read.
pub const CAUTION: &str = "A clean check says that a record agrees with itself; it does not say that a pipe is safe to \
    enter or a place safe to dig, which local codes and licensed practice decide.";

/// What a finding concerns, in words: `pipe P-102, run R-03, observation 10, at 80 ft`. `None` where it concerns the
/// document as a whole.
#[must_use]
pub fn concerns(finding: &Finding, document: Option<&Document>) -> Option<String> {
    let mut parts = Vec::new();
    if let Some(record) = &finding.record {
        parts.push(format!("{} {record}", table_word(&finding.path)));
    }
    let ids = [("pipe", &finding.pipe), ("run", &finding.run), ("observation", &finding.observation)];
    parts.extend(ids.into_iter().filter_map(|(word, id)| id.as_ref().map(|id| format!("{word} {id}"))));
    if let Some(distance) = finding.distance {
        let unit = document.and_then(|document| document.length_unit.as_deref()).unwrap_or_default();
        parts.push(format!("at {distance} {unit}").trim_end().to_owned());
    }
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// The word for a row of the table that a path leads into.
fn table_word(path: &str) -> &'static str {
    match path.split('/').nth(1) {
        Some("parties") => "party",
        Some("equipment") => "equipment",
        Some("structures") => "structure",
        Some("media") => "media file",
        Some("locates") => "locate",
        Some("ratings") => "rating",
        _ => "row",
    }
}

/// A name that can stand in a finding: a rule's, or that of a kind of structural problem.
#[derive(Clone, Copy)]
pub(crate) enum Named {
    Rule(&'static Rule),
    Problem(ProblemKind),
}

impl Named {
    pub(crate) fn find(name: &str) -> Option<Self> {
        let problem = || ProblemKind::ALL.iter().copied().find(|kind| kind.as_str() == name).map(Self::Problem);
        find(name).map(Self::Rule).or_else(problem)
    }

    /// Every rule in the order of the catalogue, after the kinds of structural problems.
    pub(crate) fn all() -> impl Iterator<Item = Self> {
        ProblemKind::ALL.iter().copied().map(Self::Problem).chain(catalogue().iter().map(|rule| Self::Rule(rule)))
    }

    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Rule(rule) => rule.name,
            Self::Problem(kind) => kind.as_str(),
        }
    }

    pub(crate) fn family(self) -> &'static str {
        match self {
            Self::Rule(rule) => rule.family(),
            Self::Problem(_) => "structure-of-the-format",
        }
    }

    /// What it looks at, in a sentence.
    pub(crate) fn summary(self) -> String {
        match self {
            Self::Rule(rule) => rule.summary(),
            Self::Problem(kind) => kind.meaning().split_inclusive(". ").next().unwrap_or_default().trim().to_owned(),
        }
    }

    /// What to do about its findings.
    pub(crate) fn advice(self) -> String {
        match self {
            Self::Rule(rule) => rule.advice(),
            Self::Problem(kind) => kind.meaning().to_owned(),
        }
    }

    /// Its documentation for people: a heading and a text of paragraphs with `code` in them each.
    pub(crate) fn sections(self) -> Vec<(&'static str, String)> {
        match self {
            Self::Rule(rule) => [Section::Checks, Section::Matters, Section::Source]
                .into_iter()
                .map(|section| (section.heading(), rule.section(section)))
                .filter(|(_, text)| !text.is_empty())
                .collect(),
            Self::Problem(kind) => vec![(Section::Checks.heading(), kind.meaning().to_owned())],
        }
    }
}

/// How many findings were counted but not listed, by rule.
pub(crate) fn unlisted(report: &Report) -> impl Iterator<Item = (&str, usize, usize)> {
    report
        .rules
        .iter()
        .filter(|rule| rule.listed < rule.total)
        .map(|rule| (rule.rule.as_str(), rule.listed, rule.total))
}

/// How a document is named to people.
pub(crate) fn name_of(document: &Document) -> &str {
    document.file.as_deref().or(document.id.as_deref()).unwrap_or("the document")
}

/// A number and a word: `1 rule`, `2 rules`. Thousands are set apart.
pub(crate) fn count(number: usize, word: &str) -> String {
    format!("{} {word}{}", thousands(number), if number == 1 { "" } else { "s" })
}

pub(crate) fn thousands(number: usize) -> String {
    let digits = number.to_string();
    let mut out = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index) % 3 == 0 {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

/// The number of a column of a text file: in a table of values, `column` counts fields and not characters.
pub(crate) fn character_column(at: &Location) -> Option<usize> {
    at.column.filter(|_| at.heading.is_none())
}
