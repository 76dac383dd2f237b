//! Grades observations by a grade scheme, and adds up the grades.
//!
//! The scheme's entries for the code and aspect of an observation are tried in order. The first
//! entry whose conditions hold gives the grade: by the band of the amount, or its plain grade if
//! the amount was not recorded.
//!
//! [`Checker::grades`](crate::Checker::grades) grades a survey, pipe by pipe:
//!
//! ```
//! use obvert_check::{Checker, MINIMAL, Settings, grading::GradeSettings};
//!
//! let checker = Checker::new(Settings::default())?;
//! let table = checker.grades(MINIMAL.as_bytes(), GradeSettings::default())?;
//! let structural = &table.pipes[0].aspects[0];
//! assert_eq!((structural.aspect.as_str(), structural.peak), ("structural", Some(2.0)));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod pipe_totals;
mod table;
#[cfg(test)]
mod tests;
mod totals;

use obvert_model::lists::{
    Band, Code, CodeList, Crosswalk, Fit, GradeEntry, GradeScheme, Lost, ORIGINAL, QuantityMeaning,
};
use obvert_model::number::{Amount, Grade};
use obvert_model::tables::{Aspect, Observation, QuantityUnit};
use rustc_hash::FxHashMap;

pub use self::table::{
    AspectGrades, GradeError, GradeSettings, GradeTable, GradedRow, PipeGrades, SchemeInfo,
    Ungraded, Why,
};
pub use self::totals::{GradeExtent, GradeTotals};
use crate::support::cross_section::CrossSection;

/// A grade scheme, indexed by code.
#[derive(Debug)]
pub(crate) struct Grader<'s> {
    /// The scheme.
    pub(crate) scheme: &'s GradeScheme,
    entries: FxHashMap<&'s str, Entries<'s>>,
    /// The links from the document's code list to the one that the scheme grades, if they differ.
    pub(crate) links: Option<Crosswalk<'s>>,
}

/// A row in the scheme's code list, by an exact link.
#[derive(Debug)]
pub(crate) struct Linked<'s> {
    /// The code in that list.
    pub(crate) code: &'s Code,
    /// The row with that code, its characterisation and amounts.
    pub(crate) row: Observation,
    /// Whether that list can record all of the row.
    pub(crate) complete: bool,
}

/// The entries of a scheme for one code.
#[derive(Clone, Debug, Default)]
pub(crate) struct Entries<'s> {
    by_aspect: [Vec<&'s GradeEntry>; 2],
}

impl<'s> Entries<'s> {
    /// The entries of an aspect, in the scheme's order.
    pub(crate) fn of(&self, aspect: Aspect) -> &[&'s GradeEntry] {
        &self.by_aspect[aspect as usize]
    }
}

impl<'s> Grader<'s> {
    /// Indexes a scheme.
    pub(crate) fn new(scheme: &'s GradeScheme) -> Self {
        let mut entries: FxHashMap<&str, Entries<'_>> = FxHashMap::default();
        for entry in &scheme.entries {
            entries.entry(entry.code.as_str()).or_default().by_aspect[entry.aspect as usize]
                .push(entry);
        }
        Self { scheme, entries, links: None }
    }

    /// Indexes a scheme for another code list than its own; `None` if no code of that list links
    /// exactly to one of the scheme's.
    pub(crate) fn across(
        scheme: &'s GradeScheme,
        coded: &'s CodeList,
        graded: &'s CodeList,
    ) -> Option<Self> {
        let links = Crosswalk::new(coded, graded);
        let exact = |code: &Code| links.links(&code.code).iter().any(|link| link.fit == Fit::Exact);
        coded.codes.iter().any(exact).then_some(())?;
        Some(Self { links: Some(links), ..Self::new(scheme) })
    }

    /// A row in the scheme's code list; `None` if it is coded in that list, or has no exact link.
    pub(crate) fn linked(&self, row: &Observation) -> Option<Linked<'s>> {
        // A row that was translated with a loss has its original code in an extension. It is
        // incomplete, so it is not graded.
        if row.extensions.as_ref().is_some_and(|extensions| {
            extensions.entries().keys().any(|key| key.as_str() == ORIGINAL)
        }) {
            return None;
        }
        let carried =
            self.links.as_ref()?.carry(&row.code, &row.characterisation, &row.quantities).ok()?;
        if carried.lost.iter().any(|lost| matches!(lost, Lost::Meaning | Lost::Choice(_))) {
            return None;
        }
        let complete = carried.lost.is_empty();
        let code = carried.code;
        let mut row = row.clone();
        row.code = code.code.clone();
        (row.characterisation, row.quantities) = (carried.characterisation, carried.quantities);
        Some(Linked { code, row, complete })
    }

    /// The entries for a code.
    pub(crate) fn entries(&self, code: &str) -> Option<&Entries<'s>> {
        self.entries.get(code)
    }

    /// Whether a grade is on the scale.
    pub(crate) fn on_scale(&self, grade: Grade) -> bool {
        on_scale(self.scheme, grade)
    }

    /// Whether a peak must be a grade of the scale and is not.
    pub(crate) fn off_scale(&self, peak: Amount) -> bool {
        let is = |grade: Grade| f64::from(grade.get()) == peak.get();
        self.scheme.rollup.peak_over().is_none()
            && !self.scheme.scale.steps.iter().any(|step| is(step.grade))
    }
}

/// The grade that the entries of one code and aspect give an observation.
pub(crate) fn judge<'s>(
    entries: &[&'s GradeEntry],
    code: &Code,
    row: &Observation,
    section: &CrossSection,
) -> Judgement<'s> {
    let mut judgement = Judgement { grade: None, entry: None, band: None, certain: true };
    for entry in entries {
        match holds(entry, row, section) {
            Some(false) => {}
            None => judgement.certain = false,
            Some(true) => {
                judgement.entry = Some(entry);
                let (band, certain) = banded(entry, code, row);
                judgement.grade = band.map(|banded| banded.band.grade).or(entry.grade);
                judgement.band = band;
                judgement.certain &= certain;
                break;
            }
        }
    }
    judgement
}

/// A computed grade with its reasons.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Judgement<'s> {
    /// The grade; `None` if the scheme gives none.
    pub(crate) grade: Option<Grade>,
    /// The entry of the scheme that gave it.
    pub(crate) entry: Option<&'s GradeEntry>,
    /// The band of that entry; `None` if the grade is its plain grade.
    pub(crate) band: Option<Banded<'s>>,
    /// Whether no missing or doubtful value could change the grade. Such values are an unknown
    /// material or size that an earlier entry needs, and an amount in the wrong unit or outside the
    /// code list's range.
    pub(crate) certain: bool,
}

/// The band of an amount.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Banded<'s> {
    /// The band.
    pub(crate) band: &'s Band,
    /// The amount, in the code list's unit.
    pub(crate) amount: f64,
    /// That unit.
    pub(crate) unit: QuantityUnit,
}

impl Judgement<'_> {
    /// The reasons in words: `offset 50 mm, from 48 mm to below 90 mm; height 203.2 mm, below 450
    /// mm`.
    pub(crate) fn reason(&self, section: &CrossSection) -> String {
        let Some(entry) = self.entry else {
            return "no entry of the scheme applies".to_owned();
        };
        let mut parts = Vec::new();
        if let Some(Banded { band, amount, unit }) = self.band {
            let from = (band.from > 0.0 || band.below.is_none()).then_some(band.from);
            // A count has no unit.
            let unit = if unit == QuantityUnit::Count { "" } else { unit.as_str() };
            parts.push(format!(
                "{} {}, {}",
                band.quantity,
                measured(tidy(amount), unit),
                range(from, band.below, unit)
            ));
        } else if let Some(band) = entry.bands.first() {
            parts.push(format!("no {} is recorded", band.quantity));
        }
        if !entry.characterisation.is_empty() {
            parts.push(
                entry
                    .characterisation
                    .iter()
                    .map(|word| word.as_str())
                    .collect::<Vec<_>>()
                    .join(" "),
            );
        }
        if let Some(class) = section.class.filter(|_| !entry.materials.is_empty()) {
            parts.push(format!("in {class}"));
        }
        if let (Some(size), Some(height)) = (&entry.size, section.height) {
            let from = size.from.filter(|from| *from > 0.0 || size.below.is_none());
            parts.push(format!("height {} mm, {}", tidy(height), range(from, size.below, "mm")));
        }
        if parts.is_empty() { "by its code alone".to_owned() } else { parts.join("; ") }
    }
}

fn measured(value: f64, unit: &str) -> String {
    if unit.is_empty() { value.to_string() } else { format!("{value} {unit}") }
}

fn range(from: Option<f64>, below: Option<f64>, unit: &str) -> String {
    match (from, below) {
        (Some(from), Some(below)) => {
            format!("from {} to below {}", tidy(from), measured(tidy(below), unit))
        }
        (Some(from), None) => format!("from {}", measured(tidy(from), unit)),
        (None, Some(below)) => format!("below {}", measured(tidy(below), unit)),
        (None, None) => "any".to_owned(),
    }
}

/// A number rounded for people.
pub(crate) fn tidy(value: f64) -> f64 {
    (value * 10_000.0).round() / 10_000.0
}

pub(crate) fn on_scale(scheme: &GradeScheme, grade: Grade) -> bool {
    scheme.scale.steps.iter().any(|step| step.grade == grade)
}

/// Whether a value has reached an edge, with a margin for the rounding of conversions: 12 in are
/// 304.8 mm.
pub(crate) fn reaches(value: f64, edge: f64) -> bool {
    value >= edge - 1e-9 * edge.abs().max(1.0)
}

/// Whether a value is at least `from` and below `below`.
fn within(value: f64, from: Option<f64>, below: Option<f64>) -> bool {
    from.is_none_or(|from| reaches(value, from)) && below.is_none_or(|below| !reaches(value, below))
}

/// Whether an entry's conditions hold; `None` if the material or size that it needs is unknown.
fn holds(entry: &GradeEntry, row: &Observation, section: &CrossSection) -> Option<bool> {
    let places = entry.characterisation.iter().enumerate();
    if !places.clone().all(|(place, value)| row.characterisation.get(place) == Some(value)) {
        return Some(false);
    }
    let material = if entry.materials.is_empty() {
        Some(true)
    } else {
        section.class.map(|class| entry.materials.contains(&class))
    };
    let sized = match &entry.size {
        None => Some(true),
        Some(size) => section.height.map(|mm| within(mm, size.from, size.below)),
    };
    match (material, sized) {
        (Some(true), Some(true)) => Some(true),
        (Some(false), _) | (_, Some(false)) => Some(false),
        _ => None,
    }
}

/// The band that one of the row's amounts is in, and whether that is certain: every amount that a
/// band needs is in the right unit, in range and in a band, and no required amount is missing.
fn banded<'s>(entry: &'s GradeEntry, code: &Code, row: &Observation) -> (Option<Banded<'s>>, bool) {
    let mut certain = true;
    for band in &entry.bands {
        let mut amounts = code.amounts(&row.characterisation).enumerate();
        let Some((place, meaning)) = amounts.find(|(_, meaning)| meaning.name == band.quantity)
        else {
            continue;
        };
        if row.quantities.get(place).is_none() {
            certain &= meaning.required != Some(true);
            continue;
        }
        match amount(code, row, place) {
            Some(amount) if within(amount, Some(band.from), band.below) => {
                return (
                    Some(Banded { band, amount, unit: meaning.unit }),
                    in_range(meaning, amount),
                );
            }
            _ => certain = false,
        }
    }
    (None, certain)
}

/// One of a row's amounts in the code list's unit; `None` if it is not recorded or measures
/// something else.
pub(crate) fn amount(code: &Code, row: &Observation, place: usize) -> Option<f64> {
    let (recorded, meaning) =
        (row.quantities.get(place)?, code.amounts(&row.characterisation).nth(place)?);
    Some(recorded.value.get() * recorded.unit.factor_to(meaning.unit)?)
}

/// Whether an amount in the code list's unit is in the code list's range, which includes both ends.
pub(crate) fn in_range(meaning: &QuantityMeaning, amount: f64) -> bool {
    meaning.min.is_none_or(|min| reaches(amount, min))
        && meaning.max.is_none_or(|max| reaches(-amount, -max))
}
