//! The cases that grading can meet.

use super::super::{Code, GradeEntry};
use crate::tables::MaterialClass;

/// One case that grading can meet: what is known of the pipe and the observation, as far as entries
/// depend on it.
#[derive(Clone)]
pub(super) struct Case<'l> {
    material: Option<MaterialClass>,
    /// The lowest size of a range that no entry divides further, in mm.
    size: Option<f64>,
    characterisation: Vec<&'l str>,
}

impl Case<'_> {
    pub(super) fn fits(&self, entry: &GradeEntry) -> bool {
        let material = entry.materials.is_empty()
            || self.material.is_some_and(|class| entry.materials.contains(&class));
        let size = entry.size.as_ref().is_none_or(|range| {
            self.size.is_some_and(|size| {
                range.from.is_none_or(|from| size >= from)
                    && range.below.is_none_or(|below| size < below)
            })
        });
        let characterisation = entry.characterisation.len() <= self.characterisation.len()
            && entry
                .characterisation
                .iter()
                .zip(&self.characterisation)
                .all(|(wanted, value)| **wanted == **value);
        material && size && characterisation
    }
}

impl std::fmt::Display for Case<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if !self.characterisation.is_empty() {
            write!(f, "with {} ", self.characterisation.join(", "))?;
        }
        match self.material {
            Some(class) => write!(f, "in a pipe of {class}")?,
            None => f.write_str("in a pipe of unknown material")?,
        }
        match self.size {
            Some(size) => write!(f, " and {size} mm or more"),
            None => f.write_str(" and size"),
        }
    }
}

pub(super) fn cases<'l>(code: &'l Code, entries: &[&GradeEntry]) -> Vec<Case<'l>> {
    let allowed =
        |class: &&MaterialClass| code.materials.is_empty() || code.materials.contains(class);
    let materials = MaterialClass::ALL.iter().filter(allowed).copied().map(Some).chain([None]);
    let mut bounds: Vec<f64> = vec![0.0];
    let ranges = entries.iter().filter_map(|entry| entry.size.as_ref());
    bounds.extend(ranges.flat_map(|range| [range.from, range.below]).flatten());
    bounds.sort_by(f64::total_cmp);
    bounds.dedup();
    let sizes: Vec<Option<f64>> = bounds.into_iter().map(Some).chain([None]).collect();
    // Every prefix of a characterisation, since later places may be missing.
    let mut characterisations: Vec<Vec<&str>> = vec![vec![]];
    let mut longest: Vec<Vec<&str>> = vec![vec![]];
    let asked = entries.iter().map(|entry| entry.characterisation.len()).max().unwrap_or(0);
    for place in code.characterisation.iter().take(asked) {
        longest = longest
            .iter()
            .flat_map(|before| {
                place
                    .values
                    .iter()
                    .map(|value| [before.as_slice(), &[value.value.as_str()]].concat())
            })
            .collect();
        characterisations.extend(longest.iter().cloned());
    }
    let mut cases = Vec::new();
    for material in materials {
        for size in &sizes {
            for characterisation in &characterisations {
                cases.push(Case {
                    material,
                    size: *size,
                    characterisation: characterisation.clone(),
                });
            }
        }
    }
    cases
}
