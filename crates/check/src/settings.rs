//! How a check is made: the office's profile, severities, limits, available lists, today.

use std::collections::BTreeMap;

use obvert_model::lists::{CodeList, GradeScheme};
use obvert_model::profile::Profile;
use obvert_model::read::ProblemKind;
use obvert_model::text::{Date, ExtensionKey, nearest};
use obvert_model::versions::renamed;

use crate::catalogue::catalogue;
use crate::evidence::{Evidence, is_document_table};
use crate::finding::Severity;
use crate::rule::Rule;

/// How a check is made. The default is the catalogue as it is, the built-in lists, and no date of
/// today.
#[derive(Clone, Debug)]
pub struct Settings {
    /// The profile of the receiving office.
    pub profile: Option<Profile>,
    /// Severities by rule, which override the profile's; `None` for rules that are not run.
    pub severities: BTreeMap<String, Option<Severity>>,
    /// Limits by rule and limit, which override the profile's, in the limit's unit.
    pub limits: BTreeMap<(String, String), f64>,
    /// Rules of your own, beside those of the catalogue. Their findings are reported, weighed,
    /// limited and suppressed like any others: see [`Rule::new`].
    pub rules: Vec<&'static Rule>,
    /// Code lists besides the built-in ones.
    pub code_lists: Vec<CodeList>,
    /// Grade schemes besides the built-in ones.
    pub grade_schemes: Vec<GradeScheme>,
    /// The names of the formats that a profile can ask for under `deliver`. If there are none, they
    /// are not compared.
    pub formats: Vec<String>,
    /// The date of today, which rules about the future need. It is never taken from a clock, so
    /// that the same document and settings give the same report.
    pub today: Option<Date>,
    /// How many findings of one rule are kept; further ones are counted.
    pub keep: usize,
    /// Whether [`Checker::check`](crate::Checker::check) may start a thread that reads the next
    /// runs while the rules check the last ones. The report is the same, and it takes a few hundred
    /// kilobytes more. If the system has no threads, as in a browser, none is started.
    pub read_ahead: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            profile: None,
            severities: BTreeMap::new(),
            limits: BTreeMap::new(),
            rules: Vec::new(),
            code_lists: Vec::new(),
            grade_schemes: Vec::new(),
            formats: Vec::new(),
            today: None,
            keep: 1000,
            read_ahead: false,
        }
    }
}

impl Settings {
    /// Every rule that can be run: the catalogue, then your own.
    pub(crate) fn all_rules(&self) -> impl Iterator<Item = &'static Rule> + '_ {
        catalogue().iter().copied().chain(self.rules.iter().copied())
    }

    /// The rule of a name.
    pub(crate) fn rule(&self, name: &str) -> Result<&'static Rule, SettingsError> {
        if let Some(rule) = self.all_rules().find(|rule| rule.name == name) {
            return Ok(rule);
        }
        let name = name.to_owned();
        if ProblemKind::ALL.iter().any(|kind| kind.as_str() == name) {
            return Err(SettingsError::Structural { name });
        }
        Err(match renamed(&name) {
            Some(new) => SettingsError::Renamed { name, new },
            None => {
                let near =
                    nearest(&name, self.all_rules().map(|rule| rule.name)).map(str::to_owned);
                SettingsError::Rule { name, near }
            }
        })
    }

    /// Why the declaration of a rule of your own cannot be used; `None` where it can.
    pub(crate) fn problem_of(&self, rule: &Rule) -> Option<String> {
        if !is_own_name(rule.name) {
            return Some(
                "the name is not like org.example/street-missing, in lower case".to_owned(),
            );
        }
        if self.rules.iter().filter(|other| other.name == rule.name).count() > 1 {
            return Some("two rules have the name".to_owned());
        }
        if rule.summary().is_empty() {
            return Some("its documentation does not say what it checks".to_owned());
        }
        if let Some(limit) =
            rule.limits.iter().find(|limit| !limit.default.is_finite() || limit.default < 0.0)
        {
            return Some(format!(
                "the limit {} is {}; a limit is 0 or more",
                limit.name, limit.default
            ));
        }
        if let Some(table) = rule.refers_to.filter(|table| !is_document_table(table)) {
            return Some(format!("it refers to {table:?}, which is no table"));
        }
        let unknown = rule.concludes_from().find(|text| Evidence::parse(text).is_none());
        unknown.map(|text| format!("it concludes from {text:?}, which no document has"))
    }
}

/// Whether a name has a reverse domain name, a slash, and words in kebab case.
fn is_own_name(name: &str) -> bool {
    let plain = |text: &str| {
        text.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-')
    };
    name.split_once('/').is_some_and(|(domain, own)| {
        domain.parse::<ExtensionKey>().is_ok() && !own.is_empty() && plain(own)
    })
}

/// Why settings cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SettingsError {
    /// The profile cannot be used.
    #[error("the profile {id} cannot be used: {first}{}", if *.more > 0 { format!("; and {more} more") } else { String::new() })]
    Profile {
        /// The profile's id.
        id: String,
        /// The first of its problems.
        first: String,
        /// How many more there are.
        more: usize,
    },
    /// Without the date of today it is unknown whether a suppression has ended.
    #[error("the profile {id} has suppressions that end; give the date of today")]
    ProfileNeedsToday {
        /// The profile's id.
        id: String,
    },
    /// A rule of your own cannot be used.
    #[error("the rule {name:?} cannot be used: {why}")]
    OwnRule {
        /// The rule's name.
        name: String,
        /// Why not.
        why: String,
    },
    /// There is no such rule.
    #[error("no rule is called {name:?}{}", .near.as_ref().map(|near| format!("; did you mean {near:?}?")).unwrap_or_default())]
    Rule {
        /// The name given.
        name: String,
        /// The nearest name.
        near: Option<String>,
    },
    /// The rule, or the problem of structure, was renamed.
    #[error("{name:?} was renamed to {new:?}")]
    Renamed {
        /// The name given.
        name: String,
        /// Its name now.
        new: &'static str,
    },
    /// It is a structural problem and not a rule: its severity cannot be changed.
    #[error(
        "{name:?} is a problem of the document's structure, always an error; only rules can be weighed"
    )]
    Structural {
        /// The name given.
        name: String,
    },
    /// A limit must be a number from 0.
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
