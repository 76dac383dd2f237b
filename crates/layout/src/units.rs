//! Conversion of lengths and sizes from the units of a document to those of a layout, by the exact
//! factors of the format. No other conversion changes units: the layout requires it, and the report
//! mentions it.

use obvert_convert::{Loss, LossKind, LossReport};
use obvert_model::layout::Target;
use obvert_model::shape::{ObjectShape, Shape, document, object};
use obvert_model::tables::{Document, LengthUnit, QuantityUnit, SectionUnit};
use serde_json::Value;

use crate::cell::number;

/// The document as a value, in other units.
pub(crate) fn document_in(
    from: &Document,
    length: Option<LengthUnit>,
    section: Option<SectionUnit>,
    report: &mut LossReport,
) -> Value {
    let mut value = serde_json::to_value(from).unwrap_or_default();
    let units = &from.head.units;
    let (length, section) = (length.unwrap_or(units.length), section.unwrap_or(units.section));
    let factors = Factors {
        length: units.length.metres() / length.metres(),
        section: units.section.millimetres() / section.millimetres(),
    };
    let mut change = |what: &str, target: Target, was: &str, becomes: &str| {
        if was == becomes {
            return;
        }
        let message =
            format!("{what} are converted from {was} to {becomes}, the unit of the layout");
        let loss = Loss::new(LossKind::Changed, target.pointer(), message);
        report.losses.push(loss.with_values(Some(was.into()), Some(becomes.into())));
        if let Some(document) = value.as_object_mut() {
            target.put(document, becomes.into());
        }
    };
    change("lengths", Target::LENGTH_UNIT, units.length.as_str(), length.as_str());
    change("sizes", Target::SECTION_UNIT, units.section.as_str(), section.as_str());
    if length != units.length || section != units.section {
        factors.object(&mut value, document());
    }
    value
}

/// A number in another unit; `None` if it is not a number, a unit is missing, or the units are
/// incompatible.
pub(crate) fn converted(
    value: &Value,
    from: Option<QuantityUnit>,
    to: Option<QuantityUnit>,
) -> Option<Value> {
    turned(value, from?.factor_to(to?)?)
}

/// A number times a factor, without rounding noise.
fn turned(value: &Value, factor: f64) -> Option<Value> {
    let turned = value.as_f64()? * factor;
    // The factors are ratios of decimal fractions; digits below a nanometre are noise.
    Some(number(format!("{turned:.9}").parse().unwrap_or(turned)))
}

struct Factors {
    length: f64,
    section: f64,
}

impl Factors {
    fn object(&self, value: &mut Value, shape: &ObjectShape) {
        for field in &shape.fields {
            let Some(below) = value.get_mut(&field.name) else { continue };
            let factor = match field.measures() {
                Some(unit) if unit == Target::LENGTH_UNIT.path() => Some(self.length),
                Some(_) => Some(self.section),
                None => None,
            };
            self.value(below, &field.shape, factor);
        }
    }

    fn value(&self, value: &mut Value, shape: &Shape, factor: Option<f64>) {
        match (shape, factor) {
            (Shape::Object(name), _) => self.object(value, object(name)),
            (Shape::List(item), _) => {
                value
                    .as_array_mut()
                    .into_iter()
                    .flatten()
                    .for_each(|below| self.value(below, item, factor));
            }
            (Shape::Number, Some(factor)) => {
                if let Some(turned) = turned(value, factor) {
                    *value = turned;
                }
            }
            _ => {}
        }
    }
}
