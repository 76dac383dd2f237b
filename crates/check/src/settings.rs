//! How a check is made: the office's profile, severities, limits, lists at hand, today.

use std::collections::BTreeMap;

use obvert_model::lists::{CodeList, GradeScheme};
use obvert_model::profile::Profile;
use obvert_model::text::Date;

use crate::finding::Severity;

/// How a check is made. The default is the catalogue as it stands, the built-in lists, and no date of today.
#[derive(Clone, Debug)]
pub struct Settings {
    /// What the receiving office demands.
    pub profile: Option<Profile>,
    /// Rules whose findings weigh differently, whatever the profile says of them; `None` for rules that are not run.
    pub severities: BTreeMap<String, Option<Severity>>,
    /// Limits that are set otherwise, whatever the profile says of them; by rule and limit, in the limit's unit.
    pub limits: BTreeMap<(String, String), f64>,
    /// Code lists at hand besides the built-in ones.
    pub code_lists: Vec<CodeList>,
    /// Grade schemes at hand besides the built-in ones.
    pub grade_schemes: Vec<GradeScheme>,
    /// The names of the formats that a profile can ask for under `deliver`. If there are none, they are not compared.
    pub formats: Vec<String>,
    /// The date of today, which rules about the future need. It is never taken from a clock: the same document and
    /// settings give the same report.
    pub today: Option<Date>,
    /// How many findings of one rule are kept; further ones are counted.
    pub keep: usize,
    /// Whether [`Checker::check`](crate::Checker::check) may start a thread, to read the next runs while the rules look at the
    /// last ones. The report is the same; a few hundred kilobytes more are held. Where the system has no threads, as in a
    /// browser, it is done without.
    pub read_ahead: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            profile: None,
            severities: BTreeMap::new(),
            limits: BTreeMap::new(),
            code_lists: Vec::new(),
            grade_schemes: Vec::new(),
            formats: Vec::new(),
            today: None,
            keep: 1000,
            read_ahead: false,
        }
    }
}

/// Why settings cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SettingsError {
    /// The profile does not make sense.
    #[error("the profile {id} cannot be used: {first}{}", if *.more > 0 { format!("; and {more} more") } else { String::new() })]
    Profile {
        /// The profile's id.
        id: String,
        /// The first of its problems.
        first: String,
        /// How many more there are.
        more: usize,
    },
    /// Whether a suppression has ended cannot be judged.
    #[error("the profile {id} has suppressions that end; give the date of today")]
    ProfileNeedsToday {
        /// The profile's id.
        id: String,
    },
    /// There is no such rule.
    #[error("no rule is called {name:?}{}", .near.as_ref().map(|near| format!("; did you mean {near:?}?")).unwrap_or_default())]
    Rule {
        /// The name given.
        name: String,
        /// The nearest name.
        near: Option<String>,
    },
    /// It is a problem of structure and no rule: what cannot be read cannot be weighed.
    #[error("{name:?} is a problem of the document's structure, always an error; only rules can be weighed")]
    Structural {
        /// The name given.
        name: String,
    },
    /// A limit below zero, or none at all.
    #[error("{value} is no limit for {rule:?}: {name} is 0 or more, in {unit}")]
    LimitValue {
        /// The rule.
        rule: String,
        /// The limit.
        name: String,
        /// The value given.
        value: f64,
        /// The limit's unit.
        unit: &'static str,
    },
    /// The rule has no such limit.
    #[error("the rule {rule:?} has no limit {name:?}; it has: {has}")]
    Limit {
        /// The rule.
        rule: String,
        /// The name given.
        name: String,
        /// The limits that it has.
        has: String,
    },
}
