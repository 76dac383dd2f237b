//! The settings of a check: profile, severities, limits, your own rules and lists, the date of
//! today.

use std::collections::BTreeMap;

use obvert_model::lists::{CodeList, GradeScheme};
use obvert_model::profile::Profile;
use obvert_model::text::{Date, ExtensionKey, nearest};
use obvert_model::versions::renamed;

use crate::catalogue::catalogue;
use crate::evidence::{Evidence, is_document_table};
use crate::finding::Severity;
use crate::report::is_structural;
use crate::rule::Rule;

/// The settings of a check. By default, all rules of the catalogue are run with their own severities
/// and limits, and the built-in lists are available.
///
/// ```
/// use obvert_check::{Checker, Settings, Severity};
///
/// let settings = Settings::default()
///     .with_today("2026-06-01".parse()?)
///     .with_severity("media-unused", Severity::Warning)
///     .with_limit("run-longer-than-pipe", "structure_allowance", 1.0)
///     .without_rule("review-draft");
/// let checker = Checker::new(settings)?;
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[doc(alias = "config")]
#[doc(alias = "options")]
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Settings {
    /// The profile of the receiving office.
    pub profile: Option<Profile>,
    /// Severities by rule, which override the profile's; `None` for rules that are not run.
    pub severities: BTreeMap<String, Option<Severity>>,
    /// Limits by rule and limit, which override the profile's, in the limit's unit.
    pub limits: BTreeMap<(String, String), f64>,
    /// Rules of your own, in addition to the catalogue: see [`Rule::new`]. Severities, limits and
    /// suppressions apply to them too.
    pub rules: Vec<&'static Rule>,
    /// Code lists in addition to the built-in ones.
    pub code_lists: Vec<CodeList>,
    /// Grade schemes in addition to the built-in ones.
    pub grade_schemes: Vec<GradeScheme>,
    /// The names of the formats that a profile can demand under `deliver`. If empty, the names in a
    /// profile are not checked.
    pub formats: Vec<String>,
    /// The date of today, for rules about the future. No clock is read, so that the same document
    /// and settings always give the same report.
    pub today: Option<Date>,
    /// How many findings of one rule are listed; further ones are only counted.
    pub keep: usize,
    /// Whether [`Checker::check`](crate::Checker::check) may start a thread that checks runs while
    /// the next ones are read. The report is the same, and the check needs a few hundred kilobytes
    /// more. If the system has no threads, as in a browser, none is started.
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
    /// Sets the profile to check against.
    #[must_use]
    pub fn with_profile(self, profile: impl Into<Option<Profile>>) -> Self {
        Self { profile: profile.into(), ..self }
    }

    /// Sets the severity of a rule.
    #[must_use]
    pub fn with_severity(mut self, rule: impl Into<String>, severity: Severity) -> Self {
        self.severities.insert(rule.into(), Some(severity));
        self
    }

    /// Turns a rule off.
    #[must_use]
    pub fn without_rule(mut self, rule: impl Into<String>) -> Self {
        self.severities.insert(rule.into(), None);
        self
    }

    /// Sets a limit of a rule, in the limit's unit.
    #[must_use]
    pub fn with_limit(
        mut self,
        rule: impl Into<String>,
        limit: impl Into<String>,
        value: f64,
    ) -> Self {
        self.limits.insert((rule.into(), limit.into()), value);
        self
    }

    /// Adds rules of your own.
    #[must_use]
    pub fn with_rules(mut self, rules: impl IntoIterator<Item = &'static Rule>) -> Self {
        self.rules.extend(rules);
        self
    }

    /// Adds code lists.
    #[must_use]
    pub fn with_code_lists(mut self, lists: impl IntoIterator<Item = CodeList>) -> Self {
        self.code_lists.extend(lists);
        self
    }

    /// Adds grade schemes.
    #[must_use]
    pub fn with_grade_schemes(mut self, schemes: impl IntoIterator<Item = GradeScheme>) -> Self {
        self.grade_schemes.extend(schemes);
        self
    }

    /// Adds names of formats that a profile can demand.
    #[must_use]
    pub fn with_formats<T: Into<String>>(mut self, names: impl IntoIterator<Item = T>) -> Self {
        self.formats.extend(names.into_iter().map(Into::into));
        self
    }

    /// Sets the date of today.
    #[must_use]
    pub fn with_today(self, today: Date) -> Self {
        Self { today: Some(today), ..self }
    }

    /// Sets how many findings of one rule are listed.
    #[must_use]
    pub fn with_keep(self, keep: usize) -> Self {
        Self { keep, ..self }
    }

    /// Sets whether runs may be checked on another thread while the next ones are read.
    #[must_use]
    pub fn with_read_ahead(self, read_ahead: bool) -> Self {
        Self { read_ahead, ..self }
    }

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
        if is_structural(&name) {
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

    /// Checks the rules of your own, and the names of rules and limits.
    pub(crate) fn validate(&self) -> Result<(), SettingsError> {
        for rule in &self.rules {
            if let Some(why) = self.problem_of(rule) {
                return Err(SettingsError::OwnRule { name: rule.name.to_owned(), why });
            }
        }
        for rule in self.severities.keys() {
            self.rule(rule)?;
        }
        for ((rule, limit), value) in &self.limits {
            let of_rule = self.rule(rule)?;
            let Some(known) = of_rule.limits.iter().find(|known| known.name == limit) else {
                let has: Vec<&str> = of_rule.limits.iter().map(|limit| limit.name).collect();
                let has = if has.is_empty() { "none".to_owned() } else { has.join(", ") };
                return Err(SettingsError::Limit { rule: rule.clone(), name: limit.clone(), has });
            };
            if !value.is_finite() || *value < 0.0 {
                let (rule, name, unit) = (rule.clone(), limit.clone(), known.unit);
                return Err(SettingsError::LimitValue { rule, name, value: *value, unit });
            }
        }
        Ok(())
    }

    /// Why a rule of your own cannot be used; `None` if it can.
    fn problem_of(&self, rule: &Rule) -> Option<String> {
        if !is_own_name(rule.name) {
            return Some(
                "its name needs a reverse domain name, such as org.example/street-missing, all in lower case".to_owned(),
            );
        }
        if self.rules.iter().filter(|other| other.name == rule.name).count() > 1 {
            return Some("another rule has the same name".to_owned());
        }
        if rule.summary().is_empty() {
            return Some("its documentation has no section `What it checks`".to_owned());
        }
        if let Some(limit) =
            rule.limits.iter().find(|limit| !limit.default.is_finite() || limit.default < 0.0)
        {
            return Some(format!(
                "its limit {} is {}; a limit must be 0 or more",
                limit.name, limit.default
            ));
        }
        if let Some(table) = rule.refers_to.filter(|table| !is_document_table(table)) {
            return Some(format!("it refers to {table:?}, which is not a table"));
        }
        let unknown = rule.concludes_from().find(|text| Evidence::parse(text).is_none());
        unknown.map(|text| format!("it concludes from {text:?}, which is not a part of a document"))
    }
}

/// Whether a name is a reverse domain name, a slash, and words in kebab case.
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
    /// Without the date of today it is unknown whether a suppression has expired.
    #[error("the profile {id} has suppressions with an end date; give the date of today")]
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
    #[error("there is no rule {name:?}{}", .near.as_ref().map(|near| format!("; did you mean {near:?}?")).unwrap_or_default())]
    Rule {
        /// The name given.
        name: String,
        /// The nearest name.
        near: Option<String>,
    },
    /// The rule or the kind of structural problem was renamed.
    #[error("{name:?} was renamed to {new:?}")]
    Renamed {
        /// The name given.
        name: String,
        /// Its name now.
        new: &'static str,
    },
    /// It is a kind of structural problem, whose severity cannot be changed.
    #[error(
        "{name:?} is a structural problem, which is always an error; only rules have a severity that can be set"
    )]
    Structural {
        /// The name given.
        name: String,
    },
    /// A limit must be 0 or more.
    #[error("the limit {name} of {rule:?} cannot be {value}; give 0 or more, in {unit}")]
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
        /// Its limits.
        has: String,
    },
}
