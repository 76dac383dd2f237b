//! The sink that rules report their findings to.

use std::collections::BTreeMap;

use obvert_model::text::nearest;
use rustc_hash::FxHashMap;

use crate::finding::{Finding, Severity};
use crate::profile::PreparedSuppression;
use crate::report::document_order;
use crate::rule::Rule;
use crate::support::column_votes::Causes;
use crate::views::Subject;

/// Receives the findings of one rule, and knows its limits.
///
/// It counts every finding and lists the first ones.
#[doc(alias = "reporter")]
#[derive(Debug)]
pub struct Sink<'s> {
    pub(crate) rule: &'static Rule,
    pub(crate) severity: Severity,
    pub(crate) limits: &'s [f64],
    pub(crate) keep: usize,
    /// The profile's suppressions of the rule.
    pub(crate) suppressions: &'s [PreparedSuppression],
    /// Decides which findings are reliable; without it all are.
    pub(crate) confirm: Option<Confirm<'s>>,
    pub(crate) found: &'s mut Found,
}

/// Whether a finding is true of the whole document, of which a part could not be read.
#[derive(Clone, Copy)]
pub(crate) struct Confirm<'f>(pub(crate) &'f (dyn Fn(&Finding) -> bool + Sync));

impl std::fmt::Debug for Confirm<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Confirm")
    }
}

/// The findings of one rule.
#[derive(Debug, Default)]
pub(crate) struct Found {
    pub(crate) total: usize,
    pub(crate) kept: Vec<Finding>,
    spare: Option<Finding>,
    /// Where the last finding is, if it has not been confirmed. Rules complete a finding after they
    /// report it, so it is confirmed before the next one.
    unsettled: Option<Kept>,
    /// How many findings were not confirmed.
    pub(crate) withheld: usize,
    /// How many findings each suppression has covered.
    pub(crate) suppressed: Vec<usize>,
    /// How many names were compared for "did you mean".
    compared: usize,
    /// Advice by what it is about: a wrong word is often in many rows.
    advice: FxHashMap<Box<str>, Option<String>>,
    /// Missing rows by id. The number of references to each is known only at the end.
    missing: FxHashMap<Box<str>, Missing>,
    /// Whether the table has no rows at all.
    empty: bool,
    folded: Option<Folded>,
    /// Findings that are known to be true only at the end of the document.
    held: BTreeMap<Unless, Held>,
}

/// What would explain a finding, as is known only at the end of the document.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Unless {
    /// Mistakes in whole columns.
    pub(crate) causes: Causes,
    /// Another run of this pipe records one of these changes of the cross-section
    /// ([`changes`](crate::views::changes)): this run may then have begun in what the pipe changes
    /// to.
    pub(crate) changed: Option<(Box<str>, u8)>,
}

impl Unless {
    /// Another run of a pipe records a change.
    pub(crate) fn changed(pipe: &str, changes: u8) -> Self {
        Self::default().or_changed(pipe, changes)
    }

    pub(crate) fn or_changed(self, pipe: &str, changes: u8) -> Self {
        Self { changed: (changes != 0).then(|| (pipe.into(), changes)), ..self }
    }

    fn is_empty(&self) -> bool {
        self.causes.is_empty() && self.changed.is_none()
    }
}

impl From<Causes> for Unless {
    fn from(causes: Causes) -> Self {
        Self { causes, changed: None }
    }
}

/// Findings that have the same explanation.
#[derive(Debug, Default)]
struct Held {
    total: usize,
    kept: Vec<Finding>,
}

impl Found {
    /// Drops the findings that a change in another run of the pipe explains.
    pub(crate) fn drop_changed(&mut self, is_changed: impl Fn(&str, u8) -> bool) {
        self.held.retain(|unless, _| {
            !unless.changed.as_ref().is_some_and(|(pipe, changes)| is_changed(pipe, *changes))
        });
    }

    /// Drops the findings that the mistakes that were found explain, and lists the others.
    pub(crate) fn release(&mut self, explained: Causes, keep: usize) {
        let held = std::mem::take(&mut self.held);
        let mut released = false;
        for (_, held) in held.into_iter().filter(|(unless, _)| !unless.causes.meet(explained)) {
            self.total += held.total;
            self.kept.extend(held.kept);
            released = true;
        }
        if released {
            self.kept.sort_by_cached_key(|finding| document_order(&finding.subject.path));
            self.kept.truncate(keep);
        }
    }
}

/// Whether a finding is listed or only counted.
#[derive(Clone, Debug)]
enum Kept {
    Listed,
    Counted,
    /// Among those that something would explain.
    Held(Unless),
    HeldCounted(Unless),
}

/// A finding that is reported once for the whole document.
#[derive(Debug)]
struct Folded {
    message: fn(usize) -> String,
    subject: Subject,
    places: usize,
}

/// A row that other rows refer to and that its table does not have.
#[derive(Debug)]
struct Missing {
    kind: &'static str,
    near: Option<String>,
    subject: Subject,
    rows: usize,
}

impl Sink<'_> {
    /// The value of one of the rule's limits.
    #[must_use]
    pub fn limit(&self, name: &str) -> f64 {
        let index = self.rule.limits.iter().position(|limit| limit.name == name);
        debug_assert!(index.is_some(), "the rule {} has no limit {name}", self.rule.name);
        index.map_or(f64::NAN, |index| self.limits[index])
    }

    /// Whether the next finding will be listed and not only counted, so that computing its advice is
    /// worth the time.
    pub(crate) fn lists(&self) -> bool {
        self.found.total < self.keep
    }

    /// The candidate nearest to a word, for "did you mean". `None` also for a finding that is only
    /// counted, and after so many comparisons that long tables would slow the check down.
    pub(crate) fn near<'w>(
        &mut self,
        word: &str,
        candidates: impl Iterator<Item = &'w str>,
    ) -> Option<String> {
        const COMPARISONS: usize = 300_000;
        let found = &mut *self.found;
        if found.total + found.missing.len() >= self.keep || found.compared >= COMPARISONS {
            return None;
        }
        let guess = nearest(
            word,
            candidates.take(COMPARISONS - found.compared).inspect(|_| found.compared += 1),
        );
        guess.filter(|_| found.compared < COMPARISONS).map(str::to_owned)
    }

    /// The advice about something, computed once. `about` names all that it depends on.
    pub(crate) fn advice(
        &mut self,
        about: &str,
        compute: impl FnOnce(&mut Self) -> Option<String>,
    ) -> Option<String> {
        const REMEMBERED: usize = 1000;
        if let Some(known) = self.found.advice.get(about) {
            return known.clone();
        }
        let advice = compute(self);
        if self.found.advice.len() < REMEMBERED {
            self.found.advice.insert(about.into(), advice.clone());
        }
        advice
    }

    /// Records that a table has no row with an id. It is reported at the end of the document, as one
    /// finding for all rows that refer to the id.
    pub(crate) fn unknown<'w>(
        &mut self,
        kind: &'static str,
        id: &str,
        known: impl Iterator<Item = &'w str>,
        subject: impl FnOnce() -> Subject,
    ) {
        let found = &mut *self.found;
        // If the table is empty, all missing ids are one finding.
        let known_missing =
            if found.empty { found.missing.values_mut().next() } else { found.missing.get_mut(id) };
        if let Some(missing) = known_missing {
            missing.rows += 1;
            return;
        }
        if self.found.missing.len() >= self.keep && self.confirm.is_none() {
            self.found.total += 1;
            return;
        }
        let mut known = known.peekable();
        self.found.empty = known.peek().is_none();
        let subject = subject();
        // Most ids that only a part of the document refers to are withheld, and need no advice.
        let withheld = self.confirm.is_some_and(|Confirm(confirm)| {
            let mut finding = Finding::new(self.rule.name, self.severity, "", subject.clone());
            finding.fact("id", id);
            !confirm(&finding)
        });
        // Ids that differ only in their digits are different rows.
        let near = if withheld { None } else { self.near(id, known) };
        let near = near.filter(|near| without_digits(near) != without_digits(id));
        self.found.missing.insert(id.into(), Missing { kind, near, subject, rows: 1 });
    }

    /// Counts an occurrence of a problem that is one finding for the whole document, reported at its
    /// first place. `message` makes the message from the number of places.
    pub(crate) fn fold(&mut self, message: fn(usize) -> String, subject: impl FnOnce() -> Subject) {
        match &mut self.found.folded {
            Some(folded) => folded.places += 1,
            none => *none = Some(Folded { message, subject: subject(), places: 1 }),
        }
    }

    /// Reports the findings that are complete only at the end of the document.
    pub(crate) fn finish(&mut self) {
        if let Some(Folded { message, subject, places }) = self.found.folded.take() {
            self.report(subject, message(places)).fact("places", places);
        }
        let mut missing: Vec<_> = std::mem::take(&mut self.found.missing).into_iter().collect();
        missing.sort_by(|a, b| (&a.1.subject.path, &a.0).cmp(&(&b.1.subject.path, &b.0)));
        for (id, Missing { kind, near, subject, rows }) in missing {
            let message = match rows {
                _ if self.found.empty && rows > 1 => {
                    format!("the document has no {kind} at all, but {rows} rows refer to one")
                }
                1 => format!("no {kind} has the id {id:?}"),
                _ => format!("no {kind} has the id {id:?}, but {rows} rows refer to it"),
            };
            let finding = self.report(subject, message);
            finding.fact("id", &*id).fact("rows", rows);
            match near {
                // Several rows rarely have the same typing error, so the row that they refer to
                // probably existed once.
                _ if rows > 1 => {
                    finding
                        .help(format!("was the {kind} deleted, or did its id change? Restore it, or correct the rows"));
                }
                Some(near) => {
                    finding.help(format!("Did you mean {near:?}?"));
                }
                None => {}
            }
        }
        self.settle();
    }

    /// Reports a finding. The message is in lower case without a full stop, numbers with their
    /// units.
    pub fn report(&mut self, subject: Subject, message: impl Into<String>) -> &mut Finding {
        self.settle();
        let suppressed = self.suppressed(&subject);
        self.found.total += usize::from(!suppressed);
        let finding = Finding::new(self.rule.name, self.severity, message, subject);
        let found = &mut *self.found;
        let kept = if found.kept.len() < self.keep { Kept::Listed } else { Kept::Counted };
        found.unsettled = Some(kept).filter(|_| !suppressed && self.confirm.is_some());
        if !suppressed && found.kept.len() < self.keep {
            found.kept.push(finding);
            let last = found.kept.len() - 1;
            &mut found.kept[last]
        } else {
            found.spare.insert(finding)
        }
    }

    /// Withholds the last finding unless it is reliable.
    pub(crate) fn settle(&mut self) {
        let Some(Confirm(confirm)) = self.confirm else { return };
        let found = &mut *self.found;
        let Some(kept) = found.unsettled.take() else { return };
        let last = match &kept {
            Kept::Listed => found.kept.last(),
            Kept::Counted | Kept::HeldCounted(_) => found.spare.as_ref(),
            Kept::Held(unless) => found.held.get(unless).and_then(|held| held.kept.last()),
        };
        if last.is_some_and(confirm) {
            return;
        }
        found.withheld += 1;
        let is_listed = matches!(kept, Kept::Listed | Kept::Held(_));
        let (total, listed) = match kept {
            Kept::Listed | Kept::Counted => (&mut found.total, &mut found.kept),
            Kept::Held(unless) | Kept::HeldCounted(unless) => {
                let held = found.held.entry(unless).or_default();
                (&mut held.total, &mut held.kept)
            }
        };
        *total -= 1;
        if is_listed {
            listed.pop();
        }
    }

    /// Reports a finding, unless something turns out to explain it. That is known only at the end of
    /// the document.
    pub(crate) fn report_unless(
        &mut self,
        unless: impl Into<Unless>,
        subject: Subject,
        message: impl Into<String>,
    ) -> &mut Finding {
        let unless = unless.into();
        if unless.is_empty() {
            return self.report(subject, message);
        }
        self.settle();
        let suppressed = self.suppressed(&subject);
        let finding = Finding::new(self.rule.name, self.severity, message, subject);
        let found = &mut *self.found;
        if suppressed {
            return found.spare.insert(finding);
        }
        let listed = found.held.get(&unless).map_or(0, |held| held.kept.len()) < self.keep;
        if self.confirm.is_some() {
            let kept = if listed { Kept::Held } else { Kept::HeldCounted };
            found.unsettled = Some(kept(unless.clone()));
        }
        let held = found.held.entry(unless).or_default();
        held.total += 1;
        if listed {
            held.kept.push(finding);
            let last = held.kept.len() - 1;
            &mut held.kept[last]
        } else {
            found.spare.insert(finding)
        }
    }

    /// Whether the profile suppresses a finding. It is counted for the first suppression that covers
    /// it and has not expired, or else for the first expired one, which the report lists too.
    fn suppressed(&mut self, subject: &Subject) -> bool {
        if self.suppressions.is_empty() {
            return false;
        }
        let covering = |expired: bool| {
            self.suppressions
                .iter()
                .position(|known| known.expired == expired && known.covers(subject))
        };
        let Some(first) = covering(false).or_else(|| covering(true)) else { return false };
        self.found.suppressed.resize(self.suppressions.len(), 0);
        self.found.suppressed[first] += 1;
        !self.suppressions[first].expired
    }
}

fn without_digits(id: &str) -> String {
    id.chars().filter(|letter| !letter.is_ascii_digit()).collect()
}
