//! Where a rule reports its findings.

use obvert_model::text::nearest;
use rustc_hash::FxHashMap;

use crate::finding::{Finding, Severity};
use crate::profile::Held;
use crate::rule::Rule;
use crate::views::Subject;

/// Where a rule reports its findings. It knows the rule and its limits, counts every finding and
/// keeps the first ones.
#[derive(Debug)]
pub struct Sink<'s> {
    pub(crate) rule: &'static Rule,
    pub(crate) severity: Severity,
    pub(crate) limits: &'s [f64],
    pub(crate) keep: usize,
    /// What the profile suppresses of the rule.
    pub(crate) held: &'s [Held],
    pub(crate) found: &'s mut Found,
}

/// The findings of one rule.
#[derive(Debug, Default)]
pub(crate) struct Found {
    pub(crate) total: usize,
    pub(crate) kept: Vec<Finding>,
    spare: Option<Finding>,
    /// How many findings each suppression of the rule has covered.
    pub(crate) held: Vec<usize>,
    compared: usize,
    /// Missing rows by id; how many rows refer to one is known only at the end.
    missing: FxHashMap<Box<str>, Missing>,
    /// Whether the table has no rows at all.
    empty: bool,
    folded: Option<Folded>,
}

/// A finding that is reported once for the whole document.
#[derive(Debug)]
struct Folded {
    say: fn(usize) -> String,
    subject: Subject,
    places: usize,
}

/// A row that others refer to and no table has.
#[derive(Debug)]
struct Missing {
    what: &'static str,
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

    /// Whether the next finding will be listed, and not only counted, so that it is worth computing
    /// advice.
    pub(crate) fn lists(&self) -> bool {
        self.found.total < self.keep
    }

    /// The candidate nearest to a word, for "did you mean". There is none for a finding that will
    /// only be counted, or after so many comparisons that long tables would slow the check down.
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

    /// Records that no row of a table has an id. It is one finding, however many rows refer to the
    /// id, and is reported at the end of the document.
    pub(crate) fn unknown<'w>(
        &mut self,
        what: &'static str,
        id: &str,
        known: impl Iterator<Item = &'w str>,
        subject: impl FnOnce() -> Subject,
    ) {
        let found = &mut *self.found;
        // If the table has no rows, every id is missing, and that is one finding.
        let again =
            if found.empty { found.missing.values_mut().next() } else { found.missing.get_mut(id) };
        if let Some(missing) = again {
            missing.rows += 1;
            return;
        }
        if self.found.missing.len() >= self.keep {
            self.found.total += 1;
            return;
        }
        let mut known = known.peekable();
        self.found.empty = known.peek().is_none();
        // Ids that differ only in their number are different things.
        let near = self.near(id, known).filter(|near| without_digits(near) != without_digits(id));
        self.found.missing.insert(id.into(), Missing { what, near, subject: subject(), rows: 1 });
    }

    /// Counts an occurrence of what is one finding for the whole document, reported at the first
    /// place. `say` makes the message from the number of places.
    pub(crate) fn fold(&mut self, say: fn(usize) -> String, subject: impl FnOnce() -> Subject) {
        match &mut self.found.folded {
            Some(folded) => folded.places += 1,
            none => *none = Some(Folded { say, subject: subject(), places: 1 }),
        }
    }

    /// Reports what is known only at the end of the document.
    pub(crate) fn settle(&mut self) {
        if let Some(Folded { say, subject, places }) = self.found.folded.take() {
            self.report(subject, say(places)).fact("places", places);
        }
        let mut missing: Vec<_> = std::mem::take(&mut self.found.missing).into_iter().collect();
        missing.sort_by(|a, b| (&a.1.subject.path, &a.0).cmp(&(&b.1.subject.path, &b.0)));
        for (id, Missing { what, near, subject, rows }) in missing {
            let message = match rows {
                _ if self.found.empty && rows > 1 => {
                    format!("the document has no {what} at all, but {rows} rows name one")
                }
                1 => format!("no {what} has the id {id:?}"),
                _ => format!("no {what} has the id {id:?}, which {rows} rows name"),
            };
            let finding = self.report(subject, message);
            finding.fact("id", &*id).fact("rows", rows);
            match near {
                // Several rows are rarely mistyped alike, so the row they refer to probably existed
                // once.
                _ if rows > 1 => {
                    finding
                        .help(format!("was the {what} deleted, or given another id? Put it back, or correct the rows"));
                }
                Some(near) => {
                    finding.help(format!("did you mean {near:?}?"));
                }
                None => {}
            }
        }
    }

    /// Reports a finding. The message is lower case without a full stop, numbers with their units.
    pub fn report(&mut self, subject: Subject, message: impl Into<String>) -> &mut Finding {
        let suppressed = self.suppressed(&subject);
        self.found.total += usize::from(!suppressed);
        let finding = Finding::new(self.rule.name, self.severity, message, subject);
        let found = &mut *self.found;
        if !suppressed && found.kept.len() < self.keep {
            found.kept.push(finding);
            let last = found.kept.len() - 1;
            &mut found.kept[last]
        } else {
            found.spare.insert(finding)
        }
    }

    /// Whether the profile suppresses findings at a place. Each is counted for the first
    /// suppression that covers it and has not ended, or else for one that has ended, so that the
    /// report can list it.
    fn suppressed(&mut self, subject: &Subject) -> bool {
        if self.held.is_empty() {
            return false;
        }
        let covering = |ended: bool| {
            self.held.iter().position(|held| held.expired == ended && held.covers(subject))
        };
        let Some(first) = covering(false).or_else(|| covering(true)) else { return false };
        self.found.held.resize(self.held.len(), 0);
        self.found.held[first] += 1;
        !self.held[first].expired
    }
}
fn without_digits(id: &str) -> String {
    id.chars().filter(|letter| !letter.is_ascii_digit()).collect()
}
