//! Prepares a submission profile for a check: resolves its paths, compiles its patterns, and adds
//! its severities and limits to the settings. The rules of the family `profile` report demands that
//! are not met.

mod fields;
mod media;
mod suppressions;

use obvert_model::lists::{CodeList, GradeScheme};
use obvert_model::profile::{AtHand, Profile, ProfileProblem, RuleAtHand, Weight};

use crate::finding::Severity;
use crate::report::{ProfileIdentity, Suppressed};
use crate::settings::{Settings, SettingsError};

pub(crate) use fields::{FieldDemands, Violation, Violations, report, when};
pub(crate) use media::{
    MediaKinds, add_demand, applies_to, graded, kinds_in_words, kinds_of, of_observations, of_runs,
};
pub(crate) use suppressions::PreparedSuppression;

/// The demands of a profile, prepared.
#[derive(Clone, Debug)]
pub(crate) struct Demands {
    pub(crate) profile: Profile,
    pub(crate) fields: FieldDemands,
    pub(crate) identity: ProfileIdentity,
    suppressions: Vec<PreparedSuppression>,
}

/// The problems of a profile, given the catalogue, the available lists and the date of the settings,
/// in the order of the profile.
#[doc(alias = "lint_profile")]
///
/// ```
/// use obvert_check::{Settings, profile_problems};
/// use obvert_model::profile::Profile;
/// let profile = Profile::read(br#"{ "profile": "0.1", "id": "p", "version": "1", "title": "t",
///   "rules": [ { "rule": "camera-sped", "severity": "error" } ] }"#)?;
/// let problems = profile_problems(&profile, &Settings::default());
/// let expected = r#"/rules/0/rule: no rule is called "camera-sped"; did you mean "camera-speed"?"#;
/// assert_eq!(problems[0].to_string(), expected);
/// # Ok::<(), obvert_model::profile::ProfileError>(())
/// ```
#[must_use]
pub fn profile_problems(profile: &Profile, settings: &Settings) -> Vec<ProfileProblem> {
    let rules = settings.all_rules().map(|rule| RuleAtHand {
        name: rule.name,
        limits: rule.limits.iter().map(|limit| (limit.name, limit.unit)).collect(),
    });
    profile.problems(&AtHand {
        rules: rules.collect(),
        code_lists: settings.code_lists.iter().chain(CodeList::built_ins()).collect(),
        grade_schemes: settings
            .grade_schemes
            .iter()
            .chain([GradeScheme::obvert_grades()])
            .collect(),
        formats: settings.formats.iter().map(String::as_str).collect(),
        today: settings.today.as_ref(),
    })
}

impl Demands {
    /// Prepares a profile. Settings override it.
    pub(crate) fn new(profile: Profile, settings: &mut Settings) -> Result<Self, SettingsError> {
        let mut problems =
            profile_problems(&profile, settings).into_iter().filter(|problem| problem.kind.stops());
        if let Some(first) = problems.next() {
            let (first, more) = (first.to_string(), problems.count());
            return Err(SettingsError::Profile { id: profile.id.to_string(), first, more });
        }
        if settings.today.is_none()
            && profile.suppressions.iter().any(|suppression| suppression.until.is_some())
        {
            return Err(SettingsError::ProfileNeedsToday { id: profile.id.to_string() });
        }
        for setting in &profile.rules {
            let rule = setting.rule.to_string();
            if let Some(weight) = setting.severity {
                settings.severities.entry(rule.clone()).or_insert(severity(weight));
            }
            let of_rule = settings.rule(&rule).ok();
            for limit in &setting.limits {
                let known = of_rule
                    .and_then(|of| of.limits.iter().find(|known| *known.name == *limit.name));
                if let Some(value) = known.and_then(|known| limit.in_unit(known.unit)) {
                    settings.limits.entry((rule.clone(), limit.name.to_string())).or_insert(value);
                }
            }
        }
        let digest = profile.digest().map_err(|error| SettingsError::Profile {
            id: profile.id.to_string(),
            first: error.to_string(),
            more: 0,
        })?;
        let identity = ProfileIdentity {
            id: profile.id.to_string(),
            version: profile.version.to_string(),
            title: profile.title.to_string(),
            digest: digest.to_string(),
        };
        let suppressions = profile
            .suppressions
            .iter()
            .map(|suppression| PreparedSuppression::new(suppression, settings.today.as_ref()));
        let suppressions = suppressions.collect();
        Ok(Self { fields: FieldDemands::new(&profile), identity, suppressions, profile })
    }

    /// The suppressions of a rule.
    pub(crate) fn suppressions_of(&self, rule: &str) -> Vec<PreparedSuppression> {
        self.suppressions.iter().filter(|suppression| suppression.rule == rule).cloned().collect()
    }
}

fn severity(weight: Weight) -> Option<Severity> {
    match weight {
        Weight::Error => Some(Severity::Error),
        Weight::Warning => Some(Severity::Warning),
        Weight::Note => Some(Severity::Note),
        Weight::Off => None,
    }
}

/// The allowed names, in words: `obvert-terms 1, en-13508-2`.
pub(crate) fn list_of<'a>(allowed: impl Iterator<Item = (&'a str, Option<&'a str>)>) -> String {
    let names: Vec<String> = allowed
        .map(|(name, version)| {
            version.map_or_else(|| name.to_owned(), |version| format!("{name} {version}"))
        })
        .collect();
    names.join(", ")
}

/// The suppressed findings of a rule, in the order of the profile.
pub(crate) fn suppressed(
    suppressions: &[PreparedSuppression],
    counts: &[usize],
) -> impl Iterator<Item = Suppressed> {
    let counted = suppressions.iter().zip(counts).filter(|(_, count)| **count > 0);
    counted.map(|(suppression, count)| Suppressed {
        rule: suppression.rule.clone(),
        reason: suppression.reason.clone(),
        count: *count,
        until: suppression.until.clone(),
        expired: suppression.expired,
        document: 0,
    })
}
