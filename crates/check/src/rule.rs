//! A rule: a declaration with its documentation, and a function.
//!
//! ```
//! use obvert_check::{Check, Checker, MINIMAL, Rule, Settings, Severity};
//!
//! static STREET_MISSING: Rule = Rule::new(
//!     "org.example/street-missing",
//!     Severity::Warning,
//!     Check::Pipe(|view, out| {
//!         if view.pipe.street.is_none() {
//!             out.report(view.subject(""), "the pipe has no street");
//!         }
//!     }),
//!     "# What it checks\nEvery pipe has a street.\n\n# Fix\nAdd the street from the city's list.",
//! );
//!
//! let checker = Checker::new(Settings::default().with_rules([&STREET_MISSING]))?;
//! let report = checker.check(MINIMAL.as_bytes())?;
//! assert_eq!(report.findings[0].rule, "org.example/street-missing");
//! assert_eq!(report.findings[0].subject.pipe.as_deref(), Some("L-102"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::fact::Fact;
use crate::finding::Severity;
use crate::sink::Sink;
use crate::views::{
    Ending, LocateView, MediaView, Part, PipeView, RatingView, RowView, RunView, StructureView,
    Survey,
};

pub(crate) type DocumentRule = fn(&Survey<'_>, &mut Sink<'_>);
pub(crate) type StructureRule = fn(&StructureView<'_>, &mut Sink<'_>);
pub(crate) type PipeRule = fn(&PipeView<'_>, &mut Sink<'_>);
pub(crate) type MediaRule = fn(&MediaView<'_>, &mut Sink<'_>);
pub(crate) type RunRule = fn(&RunView<'_>, &mut Sink<'_>);
pub(crate) type RowRule = fn(&RowView<'_>, &mut Sink<'_>);
pub(crate) type LocateRule = fn(&LocateView<'_>, &mut Sink<'_>);
pub(crate) type ThroughoutRule = fn(&Part<'_>, &mut Sink<'_>);
pub(crate) type RatingRule = fn(&RatingView<'_>, &mut Sink<'_>);
pub(crate) type EndingRule = fn(&Ending<'_>, &mut Sink<'_>);

/// The function of a rule, by its scope. The checker walks the document once and calls every rule
/// of a scope for every record of that scope.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub enum Check {
    /// Once, before any run is read: the head and its tables.
    Document(DocumentRule),
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
    /// The head, then every run with its observations: for rules about any field of a document.
    Throughout(ThroughoutRule),
    /// Every locate, after all runs.
    Locate(LocateRule),
    /// Every rating, after all runs.
    Rating(RatingRule),
    /// Once, after all runs.
    Ending(EndingRule),
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

/// What a rule needs. If it is missing, the rule is not run, and the report gives the reason.
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
    /// A profile to check the survey against.
    Profile,
    /// The files that the survey names.
    Files,
}

impl Need {
    /// Why rules that need it did not apply.
    pub(crate) const fn absent(self) -> &'static str {
        match self {
            Self::Codes => "the document names no code list",
            Self::Grades => "the document names no grade scheme",
            Self::Crs => "the document names no reference system",
            Self::Today => "the date of today was not given",
            Self::Profile => "no profile was given",
            Self::Files => "the media files were not opened",
        }
    }
}

/// A limit of a rule. Settings and profiles can change it.
#[doc(alias = "threshold")]
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub struct Limit {
    /// Its name.
    pub name: &'static str,
    /// Its value by default.
    pub default: f64,
    /// Its unit.
    pub unit: &'static str,
    /// What it limits, and the source of the default.
    pub meaning: &'static str,
}

impl Limit {
    /// A limit with its default. `meaning` states what it limits, and the source of the default.
    #[must_use]
    pub const fn new(
        name: &'static str,
        default: f64,
        unit: &'static str,
        meaning: &'static str,
    ) -> Self {
        Self { name, default, unit, meaning }
    }
}

/// A rule of the [`catalogue`](crate::catalogue()), or one of your own. Make one with [`Rule::new`]
/// and add it to the [`Settings`](crate::Settings::with_rules).
#[doc(alias = "lint")]
#[doc(alias = "validation")]
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Rule {
    /// Its name, in kebab case. The name of a rule of your own begins with a reverse domain name and
    /// a slash.
    pub name: &'static str,
    /// The path of its module, whose last part but one is its family; empty for a rule of your own.
    pub(crate) module: &'static str,
    /// The severity of its findings by default.
    pub severity: Severity,
    /// The function.
    pub check: Check,
    /// The version of the format that introduced it; empty for a rule of your own.
    pub since: &'static str,
    /// The clause of the specification that it checks; empty for a rule of your own.
    pub clause: &'static str,
    /// What it needs.
    pub needs: &'static [Need],
    /// What it concludes from: its own declaration, and that of each module that it uses.
    pub(crate) evidence: &'static [&'static [&'static str]],
    /// The table that the references it checks refer to.
    pub refers_to: Option<&'static str>,
    /// Its limits.
    pub limits: &'static [Limit],
    /// The facts in its findings.
    pub facts: &'static [Fact],
    /// Its documentation, in Markdown with the headings of [`Section`].
    pub documentation: &'static str,
}

/// A section of a rule's documentation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Section {
    /// The condition that it checks.
    Checks,
    /// The cases in which the rule is skipped or another rule reports instead, as a list.
    Exceptions,
    /// The formulas, lists and order that another implementation needs.
    Exactly,
    /// What goes wrong in practice otherwise.
    Matters,
    /// Where a limit comes from.
    Source,
    /// The profile for the examples, without its id, version and title.
    Profile,
    /// Patches of a minimal valid document that must give a finding.
    Fails,
    /// Patches that must not give a finding.
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

    /// Its text in the documentation of a rule; empty if the rule has no such section.
    pub(crate) fn of(self, documentation: &str) -> String {
        let mut inside = false;
        let mut text = String::new();
        for line in documentation.lines() {
            let line = line.strip_prefix(' ').unwrap_or(line);
            match line.strip_prefix("# ") {
                Some(heading) => inside = heading.trim() == self.heading(),
                None if inside => {
                    text.push_str(line);
                    text.push('\n');
                }
                None => {}
            }
        }
        text.trim().to_owned()
    }
}

/// An example in a rule's documentation: a JSON Patch (RFC 6902) of [`MINIMAL`](crate::MINIMAL).
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Example {
    /// The pointer that the finding must have, for an example that fails.
    pub path: String,
    /// The patch.
    pub patch: String,
}

impl Rule {
    /// A rule of your own. Its name begins with a reverse domain name and a slash, such as
    /// `org.example/street-missing`, so that it never collides with a rule of the catalogue.
    /// `documentation` is Markdown with the headings of [`Section`]. Reports show *What it checks*,
    /// *Exceptions*, *Why it matters* and *Fix*.
    ///
    /// The function is called for every record of its scope, so it should compare and not search,
    /// and build a text only when it reports.
    #[must_use]
    pub const fn new(
        name: &'static str,
        severity: Severity,
        check: Check,
        documentation: &'static str,
    ) -> Self {
        Self {
            name,
            module: "",
            severity,
            check,
            since: "",
            clause: "",
            needs: &[],
            evidence: &[],
            refers_to: None,
            limits: &[],
            facts: &[],
            documentation,
        }
    }

    /// Declares what it needs: see [`needs`](Self::needs).
    #[must_use]
    pub const fn with_needs(self, needs: &'static [Need]) -> Self {
        Self { needs, ..self }
    }

    /// Declares limits, which settings and profiles can change: see [`Sink::limit`].
    #[must_use]
    pub const fn with_limits(self, limits: &'static [Limit]) -> Self {
        Self { limits, ..self }
    }

    /// Declares the facts in its findings: see [`Finding::fact`](crate::Finding::fact).
    #[must_use]
    pub const fn with_facts(self, facts: &'static [Fact]) -> Self {
        Self { facts, ..self }
    }

    /// Declares what it concludes from, so that it is skipped if that could not be read: see
    /// [`concludes_from`](Self::concludes_from). It takes several lists, so that rules can share
    /// some.
    #[must_use]
    pub const fn concluding_from(self, evidence: &'static [&'static [&'static str]]) -> Self {
        Self { evidence, ..self }
    }

    /// Sets where it is in the crate and in the specification.
    pub(crate) const fn built_in(
        self,
        module: &'static str,
        since: &'static str,
        clause: &'static str,
    ) -> Self {
        Self { module, since, clause, ..self }
    }

    /// Declares the table that the references it checks refer to, if it checks references.
    pub(crate) const fn referring_to(self, table: &[&'static str]) -> Self {
        match table {
            [table, ..] => Self { refers_to: Some(table), ..self },
            [] => self,
        }
    }

    /// What it concludes from, beyond the record that a finding is about. The rule is skipped if one
    /// of these could not be read:
    ///
    /// - `issued`: a value of the head, by its key;
    /// - `structures`: which rows a table has; `structures.position`: a value in all of its rows, or
    ///   any value with `*` as key; `observations` are those of all runs;
    /// - `pipe`: the pipe that a finding is about, with its runs; `pipe.runs`: which runs it has;
    ///   `pipe.lining`: one of its values;
    /// - `run`: the values of the run that a finding is about; `run.counter`: one of them;
    /// - `run.observations`: which observations that run has; `run.observations.clock`: a value in
    ///   all of them, or any value with `*` as key;
    /// - `observation.quantities`: a list of the observation that a finding is about;
    /// - `texts`: free texts and extensions, on which no other rule depends.
    pub fn concludes_from(&self) -> impl Iterator<Item = &'static str> + use<> {
        let needs = self.needs.iter().filter_map(|need| need.head());
        needs
            .chain(self.check.concludes_from().iter().copied())
            .chain(self.evidence.iter().copied().flatten().copied())
    }

    /// Its family: the folder of its file, or the reverse domain name of a rule of your own.
    #[must_use]
    pub fn family(&self) -> &'static str {
        match self.name.split_once('/') {
            Some((family, _)) => family,
            None => self.module.rsplit("::").nth(1).unwrap_or_default(),
        }
    }

    /// The text of a section; empty if it has no such section.
    #[must_use]
    pub fn section(&self, section: Section) -> String {
        section.of(self.documentation)
    }

    /// What it checks, in one sentence.
    #[must_use]
    pub fn summary(&self) -> String {
        summary(self.documentation)
    }

    /// The examples in [`Section::Fails`] or [`Section::Passes`]; none of a rule that needs
    /// [`Need::Files`], whose examples are [`delivery_examples`](Self::delivery_examples).
    #[must_use]
    pub fn examples(&self, section: Section) -> Vec<Example> {
        if self.needs.contains(&Need::Files) { Vec::new() } else { self.all_examples(section) }
    }

    /// The examples of a rule that needs [`Need::Files`]: patches of [`MINIMAL`](crate::MINIMAL)
    /// with [`MINIMAL_FILES`](crate::MINIMAL_FILES) under the key `files`.
    #[must_use]
    pub fn delivery_examples(&self, section: Section) -> Vec<Example> {
        if self.needs.contains(&Need::Files) { self.all_examples(section) } else { Vec::new() }
    }

    fn all_examples(&self, section: Section) -> Vec<Example> {
        let text = self.section(section);
        let mut rest = text.as_str();
        let mut examples = Vec::new();
        while let Some((before, block)) = rest.split_once("```json\n") {
            let Some((patch, after)) = block.split_once("```") else { break };
            // The sentence above the patch names the pointer: at `/pipes/0/height`.
            let path = before.rsplit('`').nth(1).unwrap_or_default();
            examples.push(Example { path: path.to_owned(), patch: patch.trim().to_owned() });
            rest = after;
        }
        examples
    }

    /// The profile for the examples, as JSON; `None` if the rule needs none.
    #[must_use]
    pub fn profile(&self) -> Option<String> {
        let text = self.section(Section::Profile);
        let block = text.split_once("```json\n")?.1.split_once("```")?.0.trim();
        let head = r#""profile": "0.1", "id": "example", "version": "1", "title": "Example", "#;
        Some(format!("{{{head}{}", block.strip_prefix('{')?))
    }

    /// The advice for findings that have no advice for their own case.
    #[must_use]
    pub fn advice(&self) -> String {
        advice(self.documentation)
    }
}

/// What a rule checks, in one sentence, by its documentation.
pub(crate) fn summary(documentation: &str) -> String {
    let text = Section::Checks.of(documentation).replace('\n', " ");
    match text.split_once(". ") {
        Some((sentence, _)) => format!("{sentence}."),
        None => text,
    }
}

/// The advice of a rule, by its documentation.
pub(crate) fn advice(documentation: &str) -> String {
    Section::Fix.of(documentation).replace('\n', " ")
}

/// Declares a rule: its documentation and its declarations. The function `check` follows in the
/// same file.
macro_rules! rule {
    ($(#[doc = $doc:literal])+
     name: $name:literal, severity: $severity:ident, scope: $scope:ident, since: $since:literal, clause: $clause:literal,
     $(needs: [$($need:ident),+],)?
     $(concludes_from: [$($evidence:literal),+ $(,)?],)?
     $(uses: [$($support:ident),+],)?
     $(refers_to: $table:literal,)?
     $(limits: { $($limit:literal = $default:literal $unit:literal $meaning:literal),+ $(,)? },)?
     $(facts: { $($fact:literal = $kind:ident $says:literal $(if $when:literal)?),+ $(,)? },)?
    ) => {
        $(#[doc = $doc])+
        pub(crate) static RULE: $crate::rule::Rule = $crate::rule::Rule::new(
            $name,
            $crate::finding::Severity::$severity,
            $crate::rule::Check::$scope(check),
            concat!($($doc, "\n"),+),
        )
        .built_in(module_path!(), $since, $clause)
        .with_needs(&[$($($crate::rule::Need::$need),+)?])
        .concluding_from(&[$(&[$($evidence),+],)? $($($crate::support::$support::EVIDENCE),+)?])
        .referring_to(&[$($table)?])
        .with_limits(&[$($($crate::rule::Limit::new($limit, $default, $unit, $meaning)),+)?])
        .with_facts(&[$($($crate::fact::Fact::new($fact, $crate::fact::FactKind::$kind, $says)$(.only_if($when))?),+)?]);
    };
}
