//! Writes a report in other formats: for build servers, spreadsheets, and people who do not program.
//!
//! Each format is a module with a function `write`. Every format states which findings are counted
//! but not listed and which rules could not be run. The same report gives the same bytes.
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
mod summary;

pub use self::summary::{NotRunTotal, Summary};

use obvert_model::read::ProblemKind;

use crate::catalogue::{catalogue, find};
use crate::finding::{Finding, Severity};
use crate::report::{CheckedDocument, OwnRule, Report, RuleTotal};
use crate::rule::{self, Rule, Section};
use obvert_model::Location;

/// The limits of a clean check. Pages for people have it at the top.
pub const CAUTION: &str = "A clean check says that a record agrees with itself; it does not say that a pipe is safe to \
    enter or a place safe to dig, which local codes and licensed practice decide.";

/// What the name of a rule in a report refers to.
#[derive(Clone, Copy)]
pub(crate) enum Named<'r> {
    /// A rule of the catalogue.
    Rule(&'static Rule),
    /// A rule of your own, described in the report.
    Own(&'r OwnRule),
    /// A kind of structural problem.
    Problem(ProblemKind),
}

impl<'r> Named<'r> {
    pub(crate) fn find(report: &'r Report, name: &str) -> Option<Self> {
        let own = || report.own_rules.iter().find(|own| own.rule == name).map(Self::Own);
        let problem = || {
            ProblemKind::ALL.iter().copied().find(|kind| kind.as_str() == name).map(Self::Problem)
        };
        find(name).map(Self::Rule).or_else(own).or_else(problem)
    }

    /// The kinds of structural problems, the rules of the catalogue in its order, then your own.
    pub(crate) fn all(report: &'r Report) -> impl Iterator<Item = Self> {
        let problems = ProblemKind::ALL.iter().copied().map(Self::Problem);
        problems
            .chain(catalogue().iter().copied().map(Self::Rule))
            .chain(report.own_rules.iter().map(Self::Own))
    }

    pub(crate) fn name(self) -> &'r str {
        match self {
            Self::Rule(rule) => rule.name,
            Self::Own(own) => &own.rule,
            Self::Problem(kind) => kind.as_str(),
        }
    }

    pub(crate) fn family(self) -> &'r str {
        match self {
            Self::Rule(rule) => rule.family(),
            Self::Own(own) => own.rule.split_once('/').map_or("", |(family, _)| family),
            Self::Problem(_) => "structure-of-the-format",
        }
    }

    /// The severity of its findings by default.
    pub(crate) fn severity(self) -> Severity {
        match self {
            Self::Rule(rule) => rule.severity,
            Self::Own(own) => own.severity,
            Self::Problem(_) => Severity::Error,
        }
    }

    /// What it checks, in a sentence.
    pub(crate) fn summary(self) -> String {
        match self {
            Self::Problem(kind) => {
                kind.meaning().split_inclusive(". ").next().unwrap_or_default().trim().to_owned()
            }
            rule => rule::summary(rule.documentation()),
        }
    }

    /// What to do about its findings.
    pub(crate) fn advice(self) -> String {
        match self {
            Self::Problem(kind) => kind.meaning().to_owned(),
            rule => rule::advice(rule.documentation()),
        }
    }

    /// Its documentation for people: headings, each with a text in Markdown.
    pub(crate) fn sections(self) -> Vec<(&'static str, String)> {
        if let Self::Problem(kind) = self {
            return vec![(Section::Checks.heading(), kind.meaning().to_owned())];
        }
        let sections =
            [Section::Checks, Section::Exceptions, Section::Matters, Section::Source].into_iter();
        let texts = sections.map(|section| (section.heading(), section.of(self.documentation())));
        texts.filter(|(_, text)| !text.is_empty()).collect()
    }

    fn documentation(self) -> &'r str {
        match self {
            Self::Rule(rule) => rule.documentation,
            Self::Own(own) => &own.documentation,
            Self::Problem(kind) => kind.meaning(),
        }
    }
}

/// A part of a text in Markdown.
pub(crate) enum Block {
    Paragraph(String),
    List(Vec<String>),
}

/// The paragraphs and lists of a section of a rule's documentation.
pub(crate) fn blocks(text: &str) -> Vec<Block> {
    let mut blocks = Vec::new();
    for chunk in text.split("\n\n").map(str::trim).filter(|chunk| !chunk.is_empty()) {
        let (mut paragraph, mut items) = (Vec::new(), Vec::<String>::new());
        for line in chunk.lines().map(str::trim) {
            match (line.strip_prefix("- "), items.last_mut()) {
                (Some(item), _) => items.push(item.to_owned()),
                (None, Some(item)) => item.extend([" ", line]),
                (None, None) => paragraph.push(line),
            }
        }
        if !paragraph.is_empty() {
            blocks.push(Block::Paragraph(paragraph.join(" ")));
        }
        if !items.is_empty() {
            blocks.push(Block::List(items));
        }
    }
    blocks
}

/// What to do about the findings of a rule, if that is known.
pub(crate) fn advice_on(report: &Report, rule: &str) -> Option<String> {
    Named::find(report, rule).map(Named::advice).filter(|advice| !advice.is_empty())
}

/// The rules with findings that were counted but not listed, with the number listed and the total.
pub(crate) fn unlisted(rules: &[RuleTotal]) -> impl Iterator<Item = (&str, usize, usize)> {
    rules
        .iter()
        .filter(|rule| rule.listed < rule.total)
        .map(|rule| (rule.rule.as_str(), rule.listed, rule.total))
}

/// What a finding is about, in words; `None` if it is about the whole document.
pub(crate) fn subject_of(finding: &Finding, report: &Report) -> Option<String> {
    let unit = report
        .documents
        .get(finding.document)
        .and_then(|document| document.info.length_unit.as_deref());
    finding.subject.describe(unit)
}

/// The name of a document, for people.
pub(crate) fn name_of(document: &CheckedDocument) -> &str {
    document.info.name()
}

/// A number and a word: `1 rule`, `2 rules`, with separators between thousands.
pub(crate) fn count(number: usize, word: &str) -> String {
    format!("{} {word}{}", thousands(number), if number == 1 { "" } else { "s" })
}

pub(crate) fn thousands(number: usize) -> String {
    let digits = number.to_string();
    let mut out = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

/// The column in characters; `None` in a table, whose columns are fields.
pub(crate) fn character_column(at: &Location) -> Option<usize> {
    at.column.filter(|_| at.heading.is_none())
}
