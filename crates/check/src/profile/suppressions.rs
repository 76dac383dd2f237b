//! The suppressions of a profile: findings that an office has decided to accept.

use obvert_model::profile::Suppression;
use obvert_model::text::Date;

use crate::views::Subject;

/// A suppression, prepared for comparison with findings.
#[derive(Clone, Debug)]
pub(crate) struct PreparedSuppression {
    pub(crate) rule: String,
    path: Option<String>,
    pipes: Vec<String>,
    runs: Vec<String>,
    observations: Vec<String>,
    pub(crate) reason: String,
    pub(crate) until: Option<String>,
    /// Whether its last day is over, so that its findings are counted and listed.
    pub(crate) expired: bool,
}

impl PreparedSuppression {
    pub(crate) fn new(suppression: &Suppression, today: Option<&Date>) -> Self {
        fn texts<T: ToString>(items: &[T]) -> Vec<String> {
            items.iter().map(ToString::to_string).collect()
        }
        Self {
            rule: suppression.rule.to_string(),
            path: suppression.path.as_ref().map(ToString::to_string),
            pipes: texts(&suppression.pipes),
            runs: texts(&suppression.runs),
            observations: texts(&suppression.observations),
            reason: suppression.reason.to_string(),
            until: suppression.until.as_ref().map(ToString::to_string),
            expired: suppression
                .until
                .as_ref()
                .zip(today)
                .is_some_and(|(until, today)| until < today),
        }
    }

    /// Whether it covers a finding.
    pub(crate) fn covers(&self, subject: &Subject) -> bool {
        let among = |ids: &[String], id: Option<&str>| {
            ids.is_empty() || id.is_some_and(|id| ids.iter().any(|known| known == id))
        };
        self.path.as_ref().is_none_or(|path| is_within(&subject.path, path))
            && among(&self.pipes, subject.pipe.as_deref())
            && among(&self.runs, subject.run.as_deref())
            && among(&self.observations, subject.observation.as_deref())
    }
}

/// Whether a pointer is that of a field or table, or of something inside it. A pointer has row
/// numbers between its keys.
fn is_within(pointer: &str, path: &str) -> bool {
    let mut keys = pointer.split('/').skip(1).filter(|token| token.parse::<usize>().is_err());
    path.split('.').all(|key| keys.next() == Some(key))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_covers_its_field_and_what_is_inside() {
        assert!(is_within("/pipes/3/joint_spacing", "pipes.joint_spacing"));
        assert!(is_within("/pipes/3", "pipes"));
        assert!(is_within("/runs/0/observations/12/clock/at", "runs.observations"));
        assert!(!is_within("/pipes/3", "pipes.joint_spacing"));
        assert!(!is_within("/pipes/3/joint", "pipes.joint_spacing"));
        assert!(!is_within("", "pipes"));
    }
}
