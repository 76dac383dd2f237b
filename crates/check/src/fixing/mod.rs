//! Applies the fixes of findings to the text of a document.
//!
//! Fixes are applied in rounds. Independent fixes go into one round, the result is checked, and a
//! fix that causes a new error is undone and logged.
//!
//! ```
//! use obvert_check::{Checker, MINIMAL, Settings, fixing::FixSettings};
//!
//! let text = MINIMAL.replacen("\"Heron Drain Survey\"", "\"Heron Drain Survey \"", 1);
//! let checker = Checker::new(Settings::default().with_keep(usize::MAX))?;
//! let fixed = checker.fix(text.as_bytes(), &FixSettings::default(), None)?;
//! assert_eq!(fixed.text, MINIMAL);
//! assert_eq!(fixed.document.applied[0].rule, "text-untrimmed");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod ids;
mod log;
mod media;
mod regressions;

use std::collections::BTreeSet;

use obvert_model::edit::{self, Fix};
use obvert_model::read::ReadError;
use obvert_model::versions::renamed;

pub use self::log::{AppliedEdit, AppliedFix, FixLog, Fixable, FixedDocument, SkippedFix};
pub use self::media::{MediaContent, MediaError, MediaFile, MediaSource};
use crate::checker::Checker;
use crate::finding::{Finding, Severity};
use crate::report::{Report, is_structural};
use crate::subject::Subject;

/// The name that a fix has instead of a rule's if it completes or corrects a row of `media` from
/// the media file.
pub const MEDIA_FILE: &str = "media-file";

/// The maximum number of rounds. Each round applies all independent fixes, so more than a few are
/// needed only if one fault hides another.
const ROUNDS: usize = 100;

/// Which fixes are applied. By default all safe ones.
#[derive(Clone, Debug, Default)]
#[non_exhaustive]
pub struct FixSettings {
    /// Whether fixes that need confirmation are applied too. Setting this confirms what each of
    /// them states.
    pub confirmed: bool,
    /// Apply only the fixes of these rules, kinds of structural problems, or [`MEDIA_FILE`]; the
    /// fixes of all if empty.
    pub only: BTreeSet<String>,
}

impl FixSettings {
    /// Sets whether fixes that need confirmation are applied too.
    #[must_use]
    pub fn with_confirmed(self, confirmed: bool) -> Self {
        Self { confirmed, ..self }
    }

    /// Applies only the fixes of these rules.
    #[must_use]
    pub fn with_only<T: Into<String>>(self, names: impl IntoIterator<Item = T>) -> Self {
        Self { only: names.into_iter().map(Into::into).collect(), ..self }
    }

    fn wants(&self, rule: &str, fix: &Fix) -> bool {
        (fix.safe || self.confirmed) && (self.only.is_empty() || self.only.contains(rule))
    }
}

/// A document with fixes applied.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct FixOutcome {
    /// Its text; unchanged if nothing was fixed.
    pub text: String,
    /// The log.
    pub document: FixedDocument,
    /// The report on the fixed document.
    pub report: Report,
}

/// Why a document could not be fixed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FixError {
    /// It could not be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The settings name a rule or a problem that was renamed.
    #[error("{name:?} was renamed to {new:?}")]
    Renamed {
        /// The name given.
        name: String,
        /// Its name now.
        new: &'static str,
    },
    /// The settings name something that is neither a rule nor a structural problem.
    #[error("{name:?} is neither a rule nor a structural problem nor {MEDIA_FILE:?}{}", .near.as_ref().map(|near| format!("; did you mean {near:?}?")).unwrap_or_default())]
    Name {
        /// The name given.
        name: String,
        /// The nearest name.
        near: Option<String>,
    },
}

/// A fix that may be applied, with what the log needs.
#[derive(Clone, Debug)]
struct Candidate {
    rule: String,
    severity: Option<Severity>,
    message: Option<String>,
    subject: Subject,
    fix: Fix,
}

impl Candidate {
    fn of(fix: Fix) -> Self {
        Self {
            rule: String::new(),
            severity: None,
            message: None,
            subject: Subject::default(),
            fix,
        }
    }

    fn from(finding: &Finding) -> Option<Self> {
        let fix = finding.fix.as_deref()?.clone();
        Some(Self {
            rule: finding.rule.to_string(),
            severity: Some(finding.severity),
            message: Some(finding.message.clone()),
            subject: finding.subject.clone(),
            ..Self::of(fix)
        })
    }

    /// A key that identifies it in later rounds too.
    fn key(&self) -> String {
        let Subject { path, run, observation, .. } = &self.subject;
        format!("{} {path} {run:?} {observation:?} {}", self.rule, self.fix.does)
    }
}

impl Checker {
    /// Fixes a document: applies the fixes of the findings of this checker. If media files are
    /// provided, it also completes the rows of `media` from them. Keys keep their order, and
    /// unchanged parts keep their layout. Fixing the result again changes nothing. No files are
    /// written.
    ///
    /// Only listed findings are fixed, so [`Settings::keep`](crate::Settings::keep) should be large.
    ///
    /// # Errors
    /// If the document cannot be read, or the settings name a rule that does not exist.
    #[doc(alias = "repair")]
    #[doc(alias = "autofix")]
    pub fn fix(
        &self,
        source: &[u8],
        settings: &FixSettings,
        media: Option<&dyn MediaSource>,
    ) -> Result<FixOutcome, FixError> {
        for name in &settings.only {
            let known = self.rule(name).is_some() || is_structural(name) || name == MEDIA_FILE;
            if let Some(new) = renamed(name).filter(|_| !known) {
                return Err(FixError::Renamed { name: name.clone(), new });
            }
            if !known {
                return Err(FixError::Name { name: name.clone(), near: self.nearest_rule(name) });
            }
        }
        let report = self.check(source)?;
        // The checker reads only UTF-8.
        let text = String::from_utf8_lossy(source).into_owned();
        let mut fixer = Fixer {
            checker: self,
            settings,
            document: FixedDocument::before(&report),
            report,
            text,
            rejected: BTreeSet::new(),
        };
        ids::add_fixes(&mut fixer.report, &fixer.text);
        fixer.rounds();
        let wants_media = settings.only.is_empty() || settings.only.contains(MEDIA_FILE);
        if let Some(media) = media.filter(|_| wants_media) {
            let inspection = media::inspect(&fixer.text, media, settings.confirmed);
            fixer.document.media_missing = inspection.missing;
            fixer.attempt(inspection.candidates);
            let mismatches = inspection.mismatches.into_iter();
            fixer
                .document
                .skipped
                .extend(mismatches.map(|(candidate, why)| SkippedFix::new(candidate, why)));
            fixer.rounds();
        }
        fixer.document.after(&fixer.report);
        Ok(FixOutcome { text: fixer.text, document: fixer.document, report: fixer.report })
    }
}

/// A document while it is being fixed.
struct Fixer<'c> {
    checker: &'c Checker,
    settings: &'c FixSettings,
    text: String,
    report: Report,
    document: FixedDocument,
    /// The keys of fixes that were undone and must not be tried again.
    rejected: BTreeSet<String>,
}

impl Fixer<'_> {
    /// Applies fixes until none is left. Safe ones go first, since they may make another fix safe
    /// or unnecessary.
    fn rounds(&mut self) {
        for _ in 0..ROUNDS {
            let wanted = |finding: &&Finding| {
                finding.fix.as_ref().is_some_and(|fix| self.settings.wants(&finding.rule, fix))
            };
            let found = self.report.findings.iter().filter(wanted).filter_map(Candidate::from);
            let mut all: Vec<Candidate> =
                found.filter(|candidate| !self.rejected.contains(&candidate.key())).collect();
            if all.iter().any(|candidate| candidate.fix.safe) {
                all.retain(|candidate| candidate.fix.safe);
            }
            // With structural problems only a part is checked, and its findings may change once
            // the whole document is readable.
            if all.iter().any(|candidate| is_structural(&candidate.rule)) {
                all.retain(|candidate| is_structural(&candidate.rule));
            }
            let batch = independent(all);
            if batch.is_empty() {
                return;
            }
            self.attempt(batch);
        }
    }

    /// Applies independent fixes. If they cause an error, it applies those that do not.
    fn attempt(&mut self, mut batch: Vec<Candidate>) {
        if batch.is_empty() {
            return;
        }
        let why = match self.outcome(&batch) {
            Ok((text, report)) => {
                self.document.log(&batch, &self.text);
                (self.text, self.report) = (text, report);
                return;
            }
            Err(why) => why,
        };
        if batch.len() > 1 {
            let rest = batch.split_off(batch.len() / 2);
            self.attempt(batch);
            self.attempt(rest);
            return;
        }
        for candidate in batch {
            self.rejected.insert(candidate.key());
            self.document.skipped.push(SkippedFix::new(candidate, why.clone()));
        }
    }

    /// The text and the report after fixes, or why they cannot be applied together.
    fn outcome(&self, batch: &[Candidate]) -> Result<(String, Report), String> {
        let edits: Vec<_> =
            batch.iter().flat_map(|candidate| candidate.fix.edits.iter().cloned()).collect();
        let text = edit::text(&self.text, &edits).map_err(|error| error.to_string())?;
        let mut report = self.checker.check(text.as_bytes()).map_err(|error| error.to_string())?;
        ids::add_fixes(&mut report, &text);
        if batch.iter().all(|candidate| candidate.fix.reorders()) {
            return Ok((text, report));
        }
        let structural = batch.iter().any(|candidate| is_structural(&candidate.rule));
        let confirmed = batch.iter().all(|candidate| !candidate.fix.safe);
        // The next round fixes what follows from this one: a total changes with a confirmed value,
        // and a misspelt word shows once its key is right.
        let fixed_next = |finding: &Finding| {
            (confirmed || is_structural(&finding.rule))
                && finding.fix.as_ref().is_some_and(|fix| self.settings.wants(&finding.rule, fix))
        };
        match regressions::find(&self.report, &report, structural, fixed_next) {
            None => Ok((text, report)),
            Some(why) => Err(why),
        }
    }
}

/// The first fixes in order that are independent of each other.
fn independent(candidates: Vec<Candidate>) -> Vec<Candidate> {
    let mut taken: BTreeSet<String> = BTreeSet::new();
    let mut batch = Vec::new();
    for candidate in candidates {
        let free = candidate.fix.touched().all(|pointer| {
            let above =
                std::iter::successors(Some(pointer), |at| at.rfind('/').map(|end| &at[..end]));
            let below = format!("{pointer}/");
            let below =
                taken.range(below.clone()..).next().is_some_and(|other| other.starts_with(&below));
            !below && !above.into_iter().any(|holder| taken.contains(holder))
        });
        if free {
            taken.extend(candidate.fix.touched().map(str::to_owned));
            batch.push(candidate);
        }
    }
    batch
}
