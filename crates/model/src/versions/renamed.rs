//! Rules and structural problems that were renamed. There are no aliases: an old name is an error
//! that names the new one, and [`migrate_profile`] writes the new one into a profile.

#[cfg(feature = "diagnose")]
use serde_json::Value;

#[cfg(feature = "diagnose")]
use super::{AppliedStep, MigrateError, Migrated};
#[cfg(feature = "diagnose")]
use crate::edit::{self, Edit};
#[cfg(feature = "diagnose")]
use crate::profile::ProfileVersion;
#[cfg(feature = "diagnose")]
use crate::read::{self, Subject};

/// Every rule and structural problem that was renamed: the old name and the new one, sorted by the
/// old one.
pub const RENAMED: &[(&str, &str)] = &[
    ("asset-twice", "asset-duplicate"),
    ("characterisation-surplus", "characterisation-unexpected"),
    ("clock-meaningless", "clock-not-applicable"),
    ("counter-zeroed-again", "counter-reset"),
    ("dated-in-future", "date-in-future"),
    ("demanded-field-missing", "required-field-missing"),
    ("distance-falls", "distance-decreases"),
    ("end-row-within-run", "end-row-misplaced"),
    ("equipment-named-twice", "equipment-duplicate"),
    ("grade-aspect", "grade-aspect-unexpected"),
    ("grade-scale", "grade-outside-scale"),
    ("joints-off-spacing", "joint-spacing-irregular"),
    ("laid-after-run", "year-laid-after-run"),
    ("laid-implausible", "year-laid-implausible"),
    ("locate-chord", "locates-too-far-apart"),
    ("media-at-contradicts", "media-distance-contradicts"),
    ("media-file-twice", "media-file-duplicate"),
    ("media-not-whole", "media-incomplete"),
    ("media-offset-falls", "media-offset-decreases"),
    ("met-nobody", "met-run-missing"),
    ("method-does-not-fit", "camera-does-not-fit"),
    ("observation-twice", "observation-duplicate"),
    ("past-run-end", "observation-past-run-end"),
    ("path-ends-elsewhere", "path-end-mismatch"),
    ("pattern-not-met", "pattern-mismatch"),
    ("pipe-part-unseen", "pipe-partly-surveyed"),
    ("pipe-twice", "pipe-duplicate"),
    ("quantity-surplus", "quantity-unexpected"),
    ("rating-scale", "rating-outside-scale"),
    ("rating-twice", "rating-duplicate"),
    ("reverse-before-first", "reverse-run-too-early"),
    ("reverse-unnamed", "reverse-of-missing"),
    ("review-out-of-time", "review-date-implausible"),
    ("row-astray", "orphan-row"),
    ("row-twice", "duplicate-row"),
    ("run-date-astray", "run-date-outlier"),
    ("run-elsewhere", "run-structure-mismatch"),
    ("run-long", "run-duration-implausible"),
    ("run-past-pipe", "run-longer-than-pipe"),
    ("run-short-of-pipe", "run-shorter-than-pipe"),
    ("run-twice", "run-duplicate"),
    ("runs-at-once", "runs-concurrent"),
    ("stretch-never-ends", "stretch-unfinished"),
    ("structure-twice", "structure-duplicate"),
    ("text-damaged", "text-garbled"),
    ("time-impossible", "date-invalid"),
];

/// The new name of a rule or a structural problem that was renamed.
///
/// ```
/// use obvert_model::versions;
/// assert_eq!(versions::renamed("asset-twice"), Some("asset-duplicate"));
/// assert_eq!(versions::renamed("asset-duplicate"), None);
/// ```
#[must_use]
pub fn renamed(old: &str) -> Option<&'static str> {
    RENAMED.iter().find(|(name, _)| *name == old).map(|(_, new)| *new)
}

/// Whether a source is a profile and not a document: a JSON object with the key `profile` and
/// without `obvert`.
#[must_use]
pub fn is_profile(source: &[u8]) -> bool {
    super::stated(source).is_none() && super::top_level_text(source, "profile").is_some()
}

/// Writes the new names of renamed rules into a profile, with one step for each rule. Everything
/// else stays byte for byte.
///
/// ```
/// use obvert_model::versions;
/// let old = br#"{"profile": "0.1", "id": "p", "version": "1", "title": "t",
///   "rules": [{"rule": "asset-twice", "severity": "error"}]}"#;
/// let migrated = versions::migrate_profile(old)?;
/// assert!(migrated.text.contains(r#"{"rule": "asset-duplicate", "severity": "error"}"#));
/// assert_eq!(migrated.steps[0].does, "asset-twice is now asset-duplicate");
/// # Ok::<(), versions::MigrateError>(())
/// ```
///
/// # Errors
/// If the source is not a profile, with every structural problem and its location.
#[cfg(feature = "diagnose")]
pub fn migrate_profile(source: &[u8]) -> Result<Migrated, MigrateError> {
    let version = ProfileVersion::V0_1.as_str();
    let (mark, body) = super::without_mark(source);
    let value = read::validated(body, Subject::Profile)
        .map_err(|source| MigrateError::InvalidInput { version, source })?;
    let mut steps: Vec<AppliedStep> = Vec::new();
    for (pointer, old, new) in old_names(&value) {
        let does = format!("{old} is now {new}");
        let edit = Edit::replace(pointer, new);
        match steps.iter_mut().find(|step| step.does == does) {
            Some(step) => step.edits.push(edit),
            None => steps.push(AppliedStep {
                name: "renamed-rule".into(),
                from: version.into(),
                to: version.into(),
                does,
                lossless: true,
                edits: vec![edit],
            }),
        }
    }
    let edits: Vec<Edit> = steps.iter().flat_map(|step| step.edits.iter().cloned()).collect();
    let text = edit::text(&String::from_utf8_lossy(body), &edits)
        .map_err(|source| MigrateError::Step { step: "renamed-rule", source })?;
    Ok(Migrated {
        from: version,
        to: version,
        text: format!("{mark}{text}"),
        steps,
        shifts: Vec::new(),
    })
}

/// Every use of an old name in a profile: its pointer, the old name and the new one.
#[cfg(feature = "diagnose")]
fn old_names(profile: &Value) -> impl Iterator<Item = (String, &str, &'static str)> {
    ["rules", "suppressions"].into_iter().flat_map(move |list| {
        let rows = profile.get(list).and_then(Value::as_array).into_iter().flatten().enumerate();
        rows.filter_map(move |(index, row)| {
            let old = row.get("rule")?.as_str()?;
            Some((format!("/{list}/{index}/rule"), old, renamed(old)?))
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_sorted_and_has_no_chains() {
        assert!(RENAMED.windows(2).all(|pair| pair[0].0 < pair[1].0));
        for (old, new) in RENAMED {
            assert_eq!(renamed(new), None, "{old}");
        }
    }

    #[test]
    fn a_profile_is_distinguished_from_a_document() {
        assert!(is_profile(br#"{"id": "p", "profile": "0.1"}"#));
        assert!(is_profile(b"\xEF\xBB\xBF{\"profile\": \"0.1\"}"));
        assert!(!is_profile(br#"{"profile": "0.1", "obvert": "0.2"}"#));
        assert!(!is_profile(br#"{"obvert": "0.2"}"#));
        assert!(!is_profile(br#"{"rules": [{"profile": "0.1"}]}"#));
        assert!(!is_profile(b"profile"));
    }
}
