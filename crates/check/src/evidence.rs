//! What a rule concludes from, beyond the record that its finding is about. If that part of a
//! document could not be read, the rule might report a false finding, so it is skipped.

use obvert_model::shape::{self, Shape};

use crate::rule::{Check, Need, Rule};

/// A part of a document that a rule concludes from, as [`Rule::concludes_from`] names it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Evidence<'r> {
    /// A value of the head.
    Head(&'r str),
    /// Which rows a table has.
    Rows(&'r str),
    /// A value in every row of a table, or all values.
    Column(&'r str, Option<&'r str>),
    /// The pipe that the finding is about, with its runs.
    Pipe,
    /// A value of that pipe.
    ValueOfPipe(&'r str),
    /// Which runs the pipe has.
    RunsOfPipe,
    /// The values of the run that the finding is about, or one of them.
    Run(Option<&'r str>),
    /// Which observations that run has.
    RowsOfRun,
    /// The values of those observations, or one of them.
    ColumnOfRun(Option<&'r str>),
    /// A list of the observation that the finding is about.
    Observation(&'r str),
    /// Free texts and extensions.
    Texts,
}

impl<'r> Evidence<'r> {
    /// Reads a declaration; `None` if the format has no such part.
    pub(crate) fn parse(text: &'r str) -> Option<Self> {
        let known = |path: &[&str]| shape::field(path).is_some();
        match text.split_once('.') {
            None => match text {
                "texts" => Some(Self::Texts),
                "pipe" => Some(Self::Pipe),
                "run" => Some(Self::Run(None)),
                table if is_table(table) => Some(Self::Rows(table)),
                key => known(&[key]).then_some(Self::Head(key)),
            },
            Some(("pipe", "runs")) => Some(Self::RunsOfPipe),
            Some(("pipe", key)) => known(&["pipes", key]).then_some(Self::ValueOfPipe(key)),
            Some(("run", OBSERVATIONS)) => Some(Self::RowsOfRun),
            Some(("run", "observations.*")) => Some(Self::ColumnOfRun(None)),
            Some(("run", key)) => match key.strip_prefix("observations.") {
                Some(key) => {
                    known(&["runs", OBSERVATIONS, key]).then_some(Self::ColumnOfRun(Some(key)))
                }
                None => known(&["runs", key]).then_some(Self::Run(Some(key))),
            },
            Some(("observation", key)) => {
                known(&["runs", OBSERVATIONS, key]).then_some(Self::Observation(key))
            }
            Some((table, "*")) if is_table(table) => Some(Self::Column(table, None)),
            Some((table, key)) if is_table(table) => {
                let path =
                    if table == OBSERVATIONS { vec!["runs", table, key] } else { vec![table, key] };
                known(&path).then_some(Self::Column(table, Some(key)))
            }
            Some(_) => None,
        }
    }
}

/// The table inside every run.
pub(crate) const OBSERVATIONS: &str = "observations";

/// Whether a name is that of a table: one of the document, or the observations of its runs.
pub(crate) fn is_table(name: &str) -> bool {
    name == OBSERVATIONS || is_document_table(name)
}

/// Whether a name is that of a table of the document.
pub(crate) fn is_document_table(name: &str) -> bool {
    tables().any(|table| table == name)
}

/// The tables of a document, in the order of the format.
pub(crate) fn tables() -> impl Iterator<Item = &'static str> {
    let rows =
        |shape: &Shape| matches!(shape, Shape::List(item) if matches!(**item, Shape::Object(_)));
    shape::document()
        .fields
        .iter()
        .filter(move |field| rows(&field.shape))
        .map(|field| field.name.as_str())
}

impl Check {
    /// What every rule of the scope concludes from. A rule with the scope of a run uses all of the
    /// run, and a rule that is called after all runs compares the runs of a pipe with the pipe.
    pub(crate) const fn concludes_from(&self) -> &'static [&'static str] {
        match self {
            Self::Run(_) => &["run", "run.observations", "run.observations.*"],
            Self::Locate(_) | Self::Rating(_) | Self::Ending(_) => &["pipe"],
            _ => &[],
        }
    }
}

impl Need {
    /// The value of the head that meets the need.
    pub(crate) const fn head(self) -> Option<&'static str> {
        match self {
            Self::Codes => Some("coding"),
            Self::Grades => Some("grading"),
            Self::Crs => Some("crs"),
            Self::Today | Self::Profile | Self::Files => None,
        }
    }
}

impl Rule {
    /// What it concludes from.
    #[cfg(feature = "diagnose")]
    pub(crate) fn evidence(&self) -> impl Iterator<Item = Evidence<'static>> + use<> {
        self.concludes_from().filter_map(Evidence::parse)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::catalogue;

    #[test]
    fn declarations_name_parts_of_the_format() {
        for rule in catalogue() {
            for text in rule.concludes_from() {
                assert!(Evidence::parse(text).is_some(), "{} concludes from {text:?}", rule.name);
            }
            assert!(
                rule.refers_to.is_none_or(is_document_table),
                "{} refers to {:?}",
                rule.name,
                rule.refers_to
            );
        }
        for text in [
            "run.colour",
            "run.observations.colour",
            "colour",
            "pipes.colour",
            "pipe.colour",
            "observation",
            "observation.colour",
            "",
        ] {
            assert_eq!(Evidence::parse(text), None, "{text:?}");
        }
        assert_eq!(Evidence::parse("pipes.*"), Some(Evidence::Column("pipes", None)));
        assert_eq!(Evidence::parse("pipe.lining"), Some(Evidence::ValueOfPipe("lining")));
        assert_eq!(Evidence::parse("issued"), Some(Evidence::Head("issued")));
        assert_eq!(
            Evidence::parse("observations.media"),
            Some(Evidence::Column("observations", Some("media")))
        );
    }

    #[test]
    fn tables_come_from_the_shape() {
        let all: Vec<&str> = tables().collect();
        assert_eq!(
            all,
            ["parties", "equipment", "structures", "pipes", "media", "locates", "ratings", "runs"]
        );
    }
}
