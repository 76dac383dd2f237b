//! What a rule is: a declaration that carries its own documentation, and a function.

use crate::fact::Fact;
use crate::finding::Severity;
use crate::sink::Sink;
use crate::views::{
    Ending, LocateView, MediaView, Part, PipeView, RatingView, RowView, RunView, StructureView, Survey,
};

pub(crate) type StructureRule = fn(&StructureView<'_>, &mut Sink<'_>);
pub(crate) type PipeRule = fn(&PipeView<'_>, &mut Sink<'_>);
pub(crate) type MediaRule = fn(&MediaView<'_>, &mut Sink<'_>);
pub(crate) type RunRule = fn(&RunView<'_>, &mut Sink<'_>);
pub(crate) type RowRule = fn(&RowView<'_>, &mut Sink<'_>);
pub(crate) type LocateRule = fn(&LocateView<'_>, &mut Sink<'_>);
pub(crate) type ThroughoutRule = fn(&Part<'_>, &mut Sink<'_>);
pub(crate) type RatingRule = fn(&RatingView<'_>, &mut Sink<'_>);

/// The function of a rule, by what it looks at. The checker walks the document once and calls every rule of a scope for
/// every record of that scope.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub enum Check {
    /// Once, before any run is read: the head and its tables.
    Document(fn(&Survey<'_>, &mut Sink<'_>)),
    /// Every structure.
    Structure(StructureRule),
    /// Every pipe.
    Pipe(PipeRule),
    /// Every media file.
    Media(MediaRule),
    /// Every run, with its observations.
    Run(RunRule),
    /// Every observation.
    Observation(RowRule),
    /// The head, then every run with its observations: for what can stand anywhere in a document.
    Throughout(ThroughoutRule),
    /// Every locate, after all runs.
    Locate(LocateRule),
    /// Every rating, after all runs.
    Rating(RatingRule),
    /// Once, after all runs.
    Ending(fn(&Ending<'_>, &mut Sink<'_>)),
}

impl Check {
    /// The scope's name.
    #[must_use]
    pub const fn scope(&self) -> &'static str {
        match self {
            Self::Document(_) => "document",
            Self::Structure(_) => "structure",
            Self::Pipe(_) => "pipe",
            Self::Media(_) => "media",
            Self::Run(_) => "run",
            Self::Observation(_) => "observation",
            Self::Throughout(_) => "throughout",
            Self::Locate(_) => "locate",
            Self::Rating(_) => "rating",
            Self::Ending(_) => "ending",
        }
    }
}

/// What a rule cannot do without. Where it is not to be had, the rule is not run, and the report says so.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Need {
    /// The document's code list.
    Codes,
    /// The document's grade scheme.
    Grades,
    /// A reference system that is known and can be computed with.
    Crs,
    /// The date of today.
    Today,
    /// A profile that the survey is held against. Without one nobody has demanded anything, and nothing is said.
    Profile,
}

impl Need {
    /// Why rules that need it have nothing to do, where nobody misses it.
    pub(crate) const fn absent(self) -> &'static str {
        match self {
            Self::Codes => "the document names no code list",
            Self::Grades => "the document names no grade scheme",
            Self::Crs => "the document names no reference system",
            Self::Today => "the date of today was not given",
            Self::Profile => "no profile was given",
        }
    }
}

/// A limit of a rule, which a receiving office may set otherwise.
#[derive(Clone, Copy, Debug)]
pub struct Limit {
    /// Its name.
    pub name: &'static str,
    /// Its value where nothing else is said.
    pub default: f64,
    /// Its unit.
    pub unit: &'static str,
    /// What it limits and where the default comes from.
    pub meaning: &'static str,
}

/// A rule.
#[derive(Debug)]
pub struct Rule {
    /// Its name, in kebab case; the name of its file as well.
    pub name: &'static str,
    /// The path of its module, whose last part but one is the family.
    pub(crate) module: &'static str,
    /// How much its findings weigh where nothing else is said.
    pub severity: Severity,
    /// The function.
    pub check: Check,
    /// The version of the format that has it first.
    pub since: &'static str,
    /// The clause of the specification that it guards.
    pub clause: &'static str,
    /// What it cannot do without.
    pub needs: &'static [Need],
    /// Its limits.
    pub limits: &'static [Limit],
    /// The facts that its findings state.
    pub facts: &'static [Fact],
    /// Its documentation, in Markdown with the headings of [`Section`].
    pub documentation: &'static str,
}

/// A section of a rule's documentation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Section {
    /// What is compared with what.
    Checks,
    /// The cases in which the rule is skipped or another rule reports instead, as a list.
    Exceptions,
    /// The formulas, lists and order that somebody needs who is to come to the same findings.
    Exactly,
    /// What goes wrong in the trade when it is not so.
    Matters,
    /// Where a limit comes from.
    Source,
    /// The profile that the examples are held against, without its id, version and title.
    Profile,
    /// Patches on a minimal valid document that the rule must find.
    Fails,
    /// Patches that it must let pass.
    Passes,
    /// What to do.
    Fix,
}

impl Section {
    /// Every section, in order; `Exceptions`, `Exactly`, `Source` and `Profile` are optional.
    pub const ALL: [Self; 9] = [
        Self::Checks,
        Self::Exceptions,
        Self::Exactly,
        Self::Matters,
        Self::Source,
        Self::Profile,
        Self::Fails,
        Self::Passes,
        Self::Fix,
    ];

    /// Its heading.
    #[must_use]
    pub const fn heading(self) -> &'static str {
        match self {
            Self::Checks => "What it checks",
            Self::Exceptions => "Exceptions",
            Self::Exactly => "Exactly",
            Self::Matters => "Why it matters",
            Self::Source => "Source",
            Self::Profile => "Profile",
            Self::Fails => "Fails",
            Self::Passes => "Passes",
            Self::Fix => "Fix",
        }
    }
}

/// An example in a rule's documentation: a JSON Patch (RFC 6902) on the minimal valid document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Example {
    /// The place where the finding must be, for an example that fails.
    pub path: String,
    /// The patch.
    pub patch: String,
}

impl Rule {
    /// The family, the folder that its file is in.
    #[must_use]
    pub fn family(&self) -> &'static str {
        self.module.rsplit("::").nth(1).unwrap_or_default()
    }

    /// The text of a section, or the empty text when it has none.
    #[must_use]
    pub fn section(&self, section: Section) -> String {
        let mut inside = false;
        let mut text = String::new();
        for line in self.documentation.lines() {
            let line = line.strip_prefix(' ').unwrap_or(line);
            match line.strip_prefix("# ") {
                Some(heading) => inside = heading.trim() == section.heading(),
                None if inside => {
                    text.push_str(line);
                    text.push('\n');
                }
                None => {}
            }
        }
        text.trim().to_owned()
    }

    /// What it checks, in one sentence.
    #[must_use]
    pub fn summary(&self) -> String {
        let text = self.section(Section::Checks).replace('\n', " ");
        match text.split_once(". ") {
            Some((sentence, _)) => format!("{sentence}."),
            None => text,
        }
    }

    /// The examples in [`Section::Fails`] or [`Section::Passes`].
    #[must_use]
    pub fn examples(&self, section: Section) -> Vec<Example> {
        let text = self.section(section);
        let mut rest = text.as_str();
        let mut examples = Vec::new();
        while let Some((before, block)) = rest.split_once("```json\n") {
            let Some((patch, after)) = block.split_once("```") else { break };
            // The place stands in the sentence above the patch: at `/pipes/0/height`.
            let path = before.rsplit('`').nth(1).unwrap_or_default();
            examples.push(Example { path: path.to_owned(), patch: patch.trim().to_owned() });
            rest = after;
        }
        examples
    }

    /// The profile that the examples are held against, as JSON; `None` for a rule that needs none.
    #[must_use]
    pub fn profile(&self) -> Option<String> {
        let text = self.section(Section::Profile);
        let block = text.split_once("```json\n")?.1.split_once("```")?.0.trim();
        let head = r#""profile": "0.1", "id": "example", "version": "1", "title": "Example", "#;
        Some(format!("{{{head}{}", block.strip_prefix('{')?))
    }

    /// The advice that goes with a finding that has none of its own.
    #[must_use]
    pub fn advice(&self) -> String {
        self.section(Section::Fix).replace('\n', " ")
    }
}

/// Declares a rule: its documentation, then its declarations, then the function that follows the declaration in the same file.
macro_rules! rule {
    ($(#[doc = $doc:literal])+
     name: $name:literal, severity: $severity:ident, scope: $scope:ident, since: $since:literal, clause: $clause:literal,
     $(needs: [$($need:ident),+],)?
     $(limits: { $($limit:literal = $default:literal $unit:literal $meaning:literal),+ $(,)? },)?
     $(facts: { $($fact:literal = $kind:ident $says:literal $(if $when:literal)?),+ $(,)? },)?
    ) => {
        $(#[doc = $doc])+
        pub(crate) static RULE: $crate::rule::Rule = $crate::rule::Rule {
            name: $name,
            module: module_path!(),
            severity: $crate::finding::Severity::$severity,
            check: $crate::rule::Check::$scope(check),
            since: $since,
            clause: $clause,
            needs: &[$($($crate::rule::Need::$need),+)?],
            limits: &[$($($crate::rule::Limit { name: $limit, default: $default, unit: $unit, meaning: $meaning }),+)?],
            facts: &[$($($crate::fact::Fact {
                name: $fact,
                kind: $crate::fact::FactKind::$kind,
                meaning: $says,
                when: concat!($($when)?),
            }),+)?],
            documentation: concat!($($doc, "\n"),+),
        };
    };
}
