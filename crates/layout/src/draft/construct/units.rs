//! The units of lengths and of sizes that a draft fixes, and the reasons.

use obvert_model::layout::Target;
use obvert_model::tables::QuantityUnit;

use super::super::analysis::Analysis;
use super::super::statistics::CellPattern;
use super::super::vocabulary;

/// A unit, and the reason for it.
#[derive(Clone, Debug)]
pub(super) struct Guess {
    pub(super) unit: QuantityUnit,
    /// `None` if the file does not show it.
    why: Option<String>,
}

impl Guess {
    fn new(unit: QuantityUnit, why: impl Into<String>) -> Self {
        Self { unit, why: Some(why.into()) }
    }

    pub(super) const fn is_known(&self) -> bool {
        self.why.is_some()
    }

    pub(super) fn why(&self) -> &str {
        self.why.as_deref().unwrap_or("the file does not show")
    }
}

/// The units of a draft.
pub(super) struct Units {
    pub(super) length: Guess,
    pub(super) section: Guess,
}

const LENGTHS: [QuantityUnit; 2] = [QuantityUnit::Metre, QuantityUnit::Foot];
const SECTIONS: [QuantityUnit; 2] = [QuantityUnit::Millimetre, QuantityUnit::Inch];

impl Units {
    pub(super) fn of(analysis: &Analysis<'_>) -> Self {
        let section = section(analysis);
        let length = length(analysis, section.as_ref().map(|guess| guess.unit));
        let section = section.unwrap_or_else(|| match length.unit {
            QuantityUnit::Foot => Guess::new(QuantityUnit::Inch, "lengths are in feet"),
            _ => Guess::new(QuantityUnit::Millimetre, "lengths are in metres"),
        });
        Self {
            length: by_column(analysis, Target::LENGTH_UNIT).unwrap_or(length),
            section: by_column(analysis, Target::SECTION_UNIT).unwrap_or(section),
        }
    }

    /// Each unit with its field.
    pub(super) fn each(&self) -> [(Target, &Guess); 2] {
        [(Target::LENGTH_UNIT, &self.length), (Target::SECTION_UNIT, &self.section)]
    }
}

/// The unit in a column, if it is always the same.
fn by_column(analysis: &Analysis<'_>, target: Target) -> Option<Guess> {
    let column = analysis.column_of(target)?;
    let [(value, line)] = analysis.statistics(column).distinct.as_slice() else { return None };
    let unit = vocabulary::unit_of(value)?;
    Some(Guess::new(
        unit,
        format!("{:?} on line {line} shows it", analysis.columns[column].heading),
    ))
}

/// One of two units, if the heading of a column names it.
fn by_heading(
    analysis: &Analysis<'_>,
    target: Target,
    units: [QuantityUnit; 2],
) -> Option<QuantityUnit> {
    analysis.named_unit(analysis.column_of(target)?).filter(|unit| units.contains(unit))
}

/// One of two units, if it follows all values of a column.
fn by_values(
    analysis: &Analysis<'_>,
    target: Target,
    units: [QuantityUnit; 2],
) -> Option<QuantityUnit> {
    let own = analysis.statistics_of(target)?.units()?;
    units.into_iter().find(|known| own.iter().all(|(_, unit)| unit == known))
}

/// The unit of sizes, by the heading of the size, by the unit after each, or by their values.
fn section(analysis: &Analysis<'_>) -> Option<Guess> {
    if let Some(unit) = by_heading(analysis, Target::PIPE_HEIGHT, SECTIONS) {
        return Some(Guess::new(unit, "the heading of the size shows it"));
    }
    if let Some(unit) = by_values(analysis, Target::PIPE_HEIGHT, SECTIONS) {
        return Some(Guess::new(unit, "it follows each size"));
    }
    let sizes = analysis
        .statistics_of(Target::PIPE_HEIGHT)
        .into_iter()
        .flat_map(|statistics| &statistics.distinct);
    let numbers: Vec<f64> = sizes.filter_map(|(value, _)| analysis.marks.number(value)).collect();
    let least = numbers.iter().copied().reduce(f64::min)?;
    let most = numbers.iter().copied().reduce(f64::max)?;
    Some(if least >= 50.0 {
        Guess::new(
            QuantityUnit::Millimetre,
            format!("sizes from {least} on cannot be in another unit"),
        )
    } else {
        Guess::new(QuantityUnit::Inch, format!("sizes up to {most} cannot be in millimetres"))
    })
}

/// The unit of lengths, by a heading, by the unit after each, by their notation, or by the unit of
/// sizes.
fn length(analysis: &Analysis<'_>, section: Option<QuantityUnit>) -> Guess {
    let [at, long] = [Target::DISTANCE, Target::PIPE_LENGTH];
    // If the heading of a length names the unit of something else, that of a distance is not used.
    let column =
        |target: Target| analysis.column_of(target).and_then(|column| analysis.named_unit(column));
    if let Some(unit) = column(long).or_else(|| column(at)).filter(|unit| LENGTHS.contains(unit)) {
        return Guess::new(unit, "a heading shows it");
    }
    if let Some(unit) =
        by_values(analysis, at, LENGTHS).or_else(|| by_values(analysis, long, LENGTHS))
    {
        return Guess::new(unit, "it follows each length");
    }
    let has = |target: Target, pattern: &CellPattern| {
        analysis.statistics_of(target).is_some_and(|statistics| statistics.has(pattern))
    };
    let are_feet = [at, long].into_iter().any(|target| has(target, &CellPattern::FeetAndInches));
    if are_feet || has(at, &CellPattern::Station) {
        return Guess::new(QuantityUnit::Foot, "distances are stations, or feet and inches");
    }
    match section {
        Some(QuantityUnit::Millimetre) => {
            Guess::new(QuantityUnit::Metre, "sizes are in millimetres")
        }
        Some(_) => Guess::new(QuantityUnit::Foot, "sizes are in inches"),
        None => Guess { unit: QuantityUnit::Metre, why: None },
    }
}
