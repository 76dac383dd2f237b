//! Applying the fixes of findings to the text of a document, round by round: what does not touch one another is applied
//! together, the outcome is checked again, and a fix after which something is wrong that was right before is taken back.
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

/// What stands in the place of a rule's name where nothing was found by a rule: what a file of the table of media says of
/// itself was not in its row.
pub const MEDIA_FILE: &str = "media-file";

/// How many rounds there are at most. Each applies all fixes that do not touch one another, so that more than a handful are
/// needed only where one mistake hides another.
const ROUNDS: usize = 100;

/// What is to be mended.
#[derive(Clone, Debug, Default)]
pub struct MendSettings {
    /// Whether fixes are applied that somebody must confirm: whoever sets it states what each of them states.
    pub confirmed: bool,
    /// The rules whose fixes are applied, and the kinds of structural problems, and [`MEDIA_FILE`]; all when empty.
    pub only: BTreeSet<String>,
}

impl MendSettings {
    fn wants(&self, rule: &str, fix: &Fix) -> bool {
        (fix.safe || self.confirmed) && (self.only.is_empty() || self.only.contains(rule))
    }
}

/// A document that was mended.
#[derive(Clone, Debug)]
pub struct Mended {
    /// Its text; what was given, where there was nothing to mend.
    pub text: String,
    /// What was done to it, and what was not.
    pub document: MendedDocument,
    /// The report on it as it is now.
    pub report: Report,
}

/// Why a document could not be mended.
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
    /// The settings name something that has no fix.
    #[error("{name:?} is no rule, no structural problem, and not {MEDIA_FILE:?}{}", .near.as_ref().map(|near| format!("; did you mean {near:?}?")).unwrap_or_default())]
    Name {
        /// The name given.
        name: String,
        /// The nearest name.
        near: Option<String>,
    },
}

/// A fix that may be applied, with what the log says of it.
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
        Self { rule: String::new(), severity: None, message: None, subject: Subject::default(), fix }
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

    /// What tells it from others, whatever rows have come or gone before it.
    fn name(&self) -> String {
        let Subject { path, run, observation, .. } = &self.subject;
        format!("{} {path} {run:?} {observation:?} {}", self.rule, self.fix.does)
    }
}

impl Checker {
    /// Applies the fixes of what this checker finds in a document, and states of its media files what the files themselves say,
    /// where they are lent. The text keeps its order of keys and its layout where nothing changes. The outcome is the same however
    /// often it is mended; nothing is written anywhere.
    ///
    /// Only findings that are listed are mended: `keep` in the settings should be as large as can be.
    ///
    /// # Errors
    /// When the document cannot be read, or the settings name a rule that does not exist.
    pub fn mend(
        &self,
        source: &[u8],
        settings: &MendSettings,
        media: Option<&dyn MediaSource>,
    ) -> Result<Mended, MendError> {
        for name in &settings.only {
            let known = self.rule(name).is_some() || verdict::is_problem(name) || name == MEDIA_FILE;
            if let Some(new) = renamed(name).filter(|_| !known) {
                return Err(MendError::Renamed { name: name.clone(), new });
            }
            if !known {
                return Err(MendError::Name { name: name.clone(), near: self.nearest_rule(name) });
            }
        }
        let report = self.check(source)?;
        // What the checker reads is UTF-8.
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

/// The state of a document that is being mended.
struct Work<'c> {
    checker: &'c Checker,
    settings: &'c MendSettings,
    text: String,
    report: Report,
    document: MendedDocument,
    /// Fixes that were taken back, so that they are not tried for ever.
    tried: BTreeSet<String>,
}

impl Work<'_> {
    fn complete(&mut self) {
        ids::complete(&mut self.report, &self.text);
    }

    /// Applies what can be applied until nothing is left: what is safe first, since it can show that something else needs no
    /// confirmation, or another one.
    fn rounds(&mut self) {
        for _ in 0..ROUNDS {
            let wanted =
                |finding: &&Finding| finding.fix.as_ref().is_some_and(|fix| self.settings.wants(&finding.rule, fix));
            let found = self.report.findings.iter().filter(wanted).filter_map(Candidate::from);
            let mut all: Vec<Candidate> = found.filter(|candidate| !self.tried.contains(&candidate.name())).collect();
            if all.iter().any(|candidate| candidate.fix.safe) {
                all.retain(|candidate| candidate.fix.safe);
            }
            // What the rules found in the readable part may look different in the whole.
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

    /// Applies fixes that do not touch one another; where something is worse after them, those of them after which it is
    /// not.
    fn attempt(&mut self, mut batch: Vec<Candidate>) {
        if batch.is_empty() {
            return;
        }
        let edits: Vec<_> = batch.iter().flat_map(|candidate| candidate.fix.edits.iter().cloned()).collect();
        let why = match edit::text(&self.text, &edits) {
            Ok(text) => match self.checker.check(text.as_bytes()) {
                Ok(mut report) => {
                    ids::complete(&mut report, &text);
                    let reorders = batch.iter().all(|candidate| candidate.fix.reorders());
                    let of_structure = batch.iter().any(|candidate| verdict::is_problem(&candidate.rule));
                    let confirmed = batch.iter().all(|candidate| !candidate.fix.safe);
                    // A sum follows from what was confirmed, and a word shows once its key is right: the next round has them.
                    let mended_next = |finding: &Finding| {
                        (confirmed || verdict::is_problem(&finding.rule))
                            && finding.fix.as_ref().is_some_and(|fix| self.settings.wants(&finding.rule, fix))
                    };
                    match verdict::worse(&self.report, &report, of_structure, mended_next).filter(|_| !reorders) {
                        None => {
                            self.document.log(&batch, &self.text);
                            (self.text, self.report) = (text, report);
                            return;
                        }
                        Some(why) => why,
                    }
                }
                Err(error) => error.to_string(),
            },
            Err(error) => error.to_string(),
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
}

/// The first fixes in order that do not touch one another.
fn apart(candidates: Vec<Candidate>) -> Vec<Candidate> {
    let mut taken: BTreeSet<String> = BTreeSet::new();
    let mut batch = Vec::new();
    for candidate in candidates {
        let free = candidate.fix.touched().all(|pointer| {
            let above = std::iter::successors(Some(pointer), |at| at.rfind('/').map(|end| &at[..end]));
            let below = format!("{pointer}/");
            let below = taken.range(below.clone()..).next().is_some_and(|other| other.starts_with(&below));
            !below && !above.into_iter().any(|holder| taken.contains(holder))
        });
        if free {
            taken.extend(candidate.fix.touched().map(str::to_owned));
            batch.push(candidate);
        }
    }
    batch
}
