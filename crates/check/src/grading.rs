//! Grades as a scheme computes them, and how they roll up.
//!
//! For an observation, the scheme's entries for its code and aspect are tried in order; the first whose conditions hold
//! decides, by the band of its amount, or by its plain grade where the amount was not recorded.
//!
//! Rolled up over runs: a grade at a point counts once, a grade over a stretch once for every interval begun and at
//! least once. `total` is the sum, `count` how many were counted, `mean` = total ÷ count, `peak` the worst,
//! `per_length` = total ÷ surveyed length × the scheme's length.

use obvert_model::lists::{Code, GradeEntry, GradeScheme};
use obvert_model::number::Grade;
use obvert_model::tables::{Aspect, MaterialClass, Observation, Pipe, SectionUnit};
use rustc_hash::FxHashMap;

/// A grade scheme, indexed by code.
#[derive(Debug)]
pub struct Grader<'s> {
    /// The scheme.
    pub scheme: &'s GradeScheme,
    entries: FxHashMap<&'s str, Vec<&'s GradeEntry>>,
}

impl<'s> Grader<'s> {
    /// Indexes a scheme.
    #[must_use]
    pub fn new(scheme: &'s GradeScheme) -> Self {
        let mut entries: FxHashMap<&str, Vec<&GradeEntry>> = FxHashMap::default();
        for entry in &scheme.entries {
            entries.entry(entry.code.as_str()).or_default().push(entry);
        }
        Self { scheme, entries }
    }

    /// Whether the scheme grades a code in an aspect at all.
    #[must_use]
    pub fn grades(&self, code: &str, aspect: Aspect) -> bool {
        self.entries.get(code).is_some_and(|entries| entries.iter().any(|entry| entry.aspect == aspect))
    }

    /// Whether the scheme grades a code in any aspect.
    #[must_use]
    pub fn knows(&self, code: &str) -> bool {
        self.entries.contains_key(code)
    }

    /// Whether a grade is on the scale.
    #[must_use]
    pub fn on_scale(&self, grade: Grade) -> bool {
        self.scheme.scale.steps.iter().any(|step| step.grade == grade)
    }

    /// Whether `a` is worse than `b` on the scheme's scale, which may run either way.
    #[must_use]
    pub fn is_worse(&self, a: Grade, b: Grade) -> bool {
        if self.scheme.scale.worst >= self.scheme.scale.best { a > b } else { a < b }
    }

    /// The grade of an observation in an aspect; `None` where the scheme gives it none. `pipe` is the pipe that it is
    /// in, whose sizes are in `section` units.
    #[must_use]
    pub fn grade(
        &self,
        code: &Code,
        row: &Observation,
        pipe: Option<&Pipe>,
        section: SectionUnit,
        aspect: Aspect,
    ) -> Option<Grade> {
        let class = pipe.and_then(|pipe| pipe.material).map(obvert_model::tables::Material::class);
        let height = pipe.and_then(|pipe| pipe.height).map(|height| height.get() * section.millimetres());
        let entries = self.entries.get(code.code.as_str())?;
        let entry = entries.iter().find(|entry| entry.aspect == aspect && holds(entry, row, class, height))?;
        banded(entry, code, row).or(entry.grade)
    }
}

fn holds(entry: &GradeEntry, row: &Observation, class: Option<MaterialClass>, height: Option<f64>) -> bool {
    let characterised = entry
        .characterisation
        .iter()
        .enumerate()
        .all(|(place, value)| row.characterisation.get(place).is_some_and(|recorded| recorded == value));
    let material = entry.materials.is_empty() || class.is_some_and(|class| entry.materials.contains(&class));
    let sized = entry.size.as_ref().is_none_or(|size| {
        height.is_some_and(|mm| size.from.is_none_or(|from| mm >= from) && size.below.is_none_or(|below| mm < below))
    });
    characterised && material && sized
}

fn banded(entry: &GradeEntry, code: &Code, row: &Observation) -> Option<Grade> {
    entry.bands.iter().find_map(|band| {
        let place = code.quantities.iter().position(|meaning| meaning.name == band.quantity)?;
        let recorded = row.quantities.get(place)?;
        let value = recorded.value.get() * recorded.unit.factor_to(code.quantities[place].unit)?;
        (value >= band.from && band.below.is_none_or(|below| value < below)).then_some(band.grade)
    })
}

/// Grades rolled up.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tally {
    /// The worst grade.
    pub peak: Option<Grade>,
    /// The sum of the grades, a stretch counted once an interval.
    pub total: f64,
    /// How many were counted.
    pub count: u64,
}

impl Tally {
    /// Counts one grade over a stretch of `metres` (0 for a point).
    pub fn add(&mut self, grade: Grade, metres: f64, scheme: &GradeScheme) {
        let interval = scheme.rollup.interval.value * scheme.rollup.interval.unit.metres();
        // A stretch of exactly n intervals counts n times, whatever a conversion leaves in the last digit.
        let times = (metres / interval - 1e-9).ceil().max(1.0);
        self.total += f64::from(grade.get()) * times;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        {
            self.count += times as u64;
        }
        self.take_peak(Some(grade), scheme);
    }

    /// Adds another tally to this one.
    pub fn join(&mut self, other: &Self, scheme: &GradeScheme) {
        self.total += other.total;
        self.count += other.count;
        self.take_peak(other.peak, scheme);
    }

    fn take_peak(&mut self, grade: Option<Grade>, scheme: &GradeScheme) {
        let rising = scheme.scale.worst >= scheme.scale.best;
        self.peak = match (self.peak, grade) {
            (Some(a), Some(b)) => Some(if rising { a.max(b) } else { a.min(b) }),
            (a, b) => a.or(b),
        };
    }

    /// The sum divided by the count.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn mean(&self) -> Option<f64> {
        (self.count > 0).then(|| self.total / self.count as f64)
    }

    /// The sum for each of the scheme's lengths, over `metres` surveyed.
    #[must_use]
    pub fn per_length(&self, metres: f64, scheme: &GradeScheme) -> Option<f64> {
        let unit = scheme.rollup.per_length.value * scheme.rollup.per_length.unit.metres();
        (metres > 0.0).then(|| self.total / metres * unit)
    }
}
