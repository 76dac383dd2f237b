//! Applies the fixes of findings to the text of a document, round by round: independent fixes are
//! applied together, the result is checked, and a fix that causes an error is taken back.
//!
//! ```
//! use obvert_check::{Checker, MendSettings, Settings};
//!
//! let text = obvert_check::MINIMAL.replacen("\"Heron Drain Survey\"", "\"Heron Drain Survey \"", 1);
//! let checker = Checker::new(Settings { keep: usize::MAX, ..Settings::default() })?;
//! let mended = checker.mend(text.as_bytes(), &MendSettings::default(), None)?;
//! assert_eq!(mended.text, obvert_check::MINIMAL);
//! assert_eq!(mended.document.applied[0].rule, "text-untrimmed");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod ids;
mod log;
mod media;
mod verdict;

use std::collections::BTreeSet;

use obvert_model::edit::{self, Fix};
use obvert_model::read::ReadError;
use obvert_model::versions::renamed;

pub use self::log::{Applied, Change, Left, MendedDocument, Mending, Reach};
pub use self::media::{MediaError, MediaFile, MediaSource};
use crate::checker::Checker;
use crate::finding::{Finding, Severity};
use crate::report::Report;
use crate::subject::Subject;

/// Used in place of a rule's name for facts that a media file shows and its row does not have.
pub const MEDIA_FILE: &str = "media-file";

/// The maximum number of rounds. Each applies all independent fixes, so more than a few are needed
/// only if one fault hides another.
const ROUNDS: usize = 100;

/// What to fix.
#[derive(Clone, Debug, Default)]
pub struct MendSettings {
    /// Whether fixes that need confirmation are applied: setting this confirms what each of them
    /// states.
    pub confirmed: bool,
    /// The rules whose fixes are applied, kinds of structural problems, and [`MEDIA_FILE`]; all if
    /// empty.
    pub only: BTreeSet<String>,
}

impl MendSettings {
    fn wants(&self, rule: &str, fix: &Fix) -> bool {
        (fix.safe || self.confirmed) && (self.only.is_empty() || self.only.contains(rule))
    }
}

/// A document with fixes applied.
#[derive(Clone, Debug)]
pub struct Mended {
    /// Its text; unchanged if nothing was fixed.
    pub text: String,
    /// The log.
    pub document: MendedDocument,
    /// The report on the fixed document.
    pub report: Report,
}

/// Why a document could not be fixed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MendError {
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
    #[error("{name:?} is no rule, no structural problem, and not {MEDIA_FILE:?}{}", .near.as_ref().map(|near| format!("; did you mean {near:?}?")).unwrap_or_default())]
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

    /// What identifies it, whatever rows were added or removed before it.
    fn name(&self) -> String {
        let Subject { path, run, observation, .. } = &self.subject;
        format!("{} {path} {run:?} {observation:?} {}", self.rule, self.fix.does)
    }
}

impl Checker {
    /// Applies the fixes of what this checker finds in a document, and adds what the media files
    /// show, if they are provided. Keys keep their order, and unchanged parts keep their layout.
    /// Fixing the result again changes nothing. No files are written.
    ///
    /// Only listed findings are fixed, so `keep` in the settings should be large.
    ///
    /// # Errors
    /// If the document cannot be read, or the settings name a rule that does not exist.
    pub fn mend(
        &self,
        source: &[u8],
        settings: &MendSettings,
        media: Option<&dyn MediaSource>,
    ) -> Result<Mended, MendError> {
        for name in &settings.only {
            let known =
                self.rule(name).is_some() || verdict::is_problem(name) || name == MEDIA_FILE;
            if let Some(new) = renamed(name).filter(|_| !known) {
                return Err(MendError::Renamed { name: name.clone(), new });
            }
            if !known {
                return Err(MendError::Name { name: name.clone(), near: self.nearest_rule(name) });
            }
        }
        let report = self.check(source)?;
        // The checker reads only UTF-8.
        let text = String::from_utf8_lossy(source).into_owned();
        let mut work = Work {
            checker: self,
            settings,
            document: MendedDocument::before(&report),
            report,
            text,
            tried: BTreeSet::new(),
        };
        work.complete();
        work.rounds();
        let wants_media = settings.only.is_empty() || settings.only.contains(MEDIA_FILE);
        if let Some(media) = media.filter(|_| wants_media) {
            let learned = media::look(&work.text, media);
            work.document.media_missing = learned.missing;
            work.attempt(learned.candidates);
            for (candidate, why) in learned.left {
                work.document.left.push(Left::new(&candidate, why));
            }
            work.rounds();
        }
        work.document.after(&work.report);
        Ok(Mended { text: work.text, document: work.document, report: work.report })
    }
}

/// The state of the document while it is fixed.
struct Work<'c> {
    checker: &'c Checker,
    settings: &'c MendSettings,
    text: String,
    report: Report,
    document: MendedDocument,
    /// Fixes that were taken back and must not be tried again.
    tried: BTreeSet<String>,
}

impl Work<'_> {
    fn complete(&mut self) {
        ids::complete(&mut self.report, &self.text);
    }

    /// Applies fixes until none is left. Safe ones go first, since they may make another fix safe
    /// or unnecessary.
    fn rounds(&mut self) {
        for _ in 0..ROUNDS {
            let wanted = |finding: &&Finding| {
                finding.fix.as_ref().is_some_and(|fix| self.settings.wants(&finding.rule, fix))
            };
            let found = self.report.findings.iter().filter(wanted).filter_map(Candidate::from);
            let mut all: Vec<Candidate> =
                found.filter(|candidate| !self.tried.contains(&candidate.name())).collect();
            if all.iter().any(|candidate| candidate.fix.safe) {
                all.retain(|candidate| candidate.fix.safe);
            }
            // Findings of the readable part may be different for the whole document.
            if all.iter().any(|candidate| verdict::is_problem(&candidate.rule)) {
                all.retain(|candidate| verdict::is_problem(&candidate.rule));
            }
            let batch = apart(all);
            if batch.is_empty() {
                return;
            }
            self.attempt(batch);
        }
    }

    /// Applies independent fixes; if they make something worse, those of them that do not.
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
        for candidate in &batch {
            self.tried.insert(candidate.name());
            self.document.left.push(Left::new(candidate, why.clone()));
        }
    }

    /// The text and the report after fixes, or why they cannot be applied together.
    fn outcome(&self, batch: &[Candidate]) -> Result<(String, Report), String> {
        let edits: Vec<_> =
            batch.iter().flat_map(|candidate| candidate.fix.edits.iter().cloned()).collect();
        let text = edit::text(&self.text, &edits).map_err(|error| error.to_string())?;
        let mut report = self.checker.check(text.as_bytes()).map_err(|error| error.to_string())?;
        ids::complete(&mut report, &text);
        if batch.iter().all(|candidate| candidate.fix.reorders()) {
            return Ok((text, report));
        }
        let of_structure = batch.iter().any(|candidate| verdict::is_problem(&candidate.rule));
        let confirmed = batch.iter().all(|candidate| !candidate.fix.safe);
        // A total follows from what was confirmed, and a word is seen once its key is right: the
        // next round fixes them.
        let fixed_next = |finding: &Finding| {
            (confirmed || verdict::is_problem(&finding.rule))
                && finding.fix.as_ref().is_some_and(|fix| self.settings.wants(&finding.rule, fix))
        };
        match verdict::worse(&self.report, &report, of_structure, fixed_next) {
            None => Ok((text, report)),
            Some(why) => Err(why),
        }
    }
}

/// The first fixes in order that are independent of each other.
fn apart(candidates: Vec<Candidate>) -> Vec<Candidate> {
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
