//! Lengths and sizes from the units of a document to those of a layout, by the exact factors of the format. This is the one place where
//! a conversion changes a unit: the layout asks for it, and the report says so.

use obvert_model::shape::{ObjectShape, Shape, document, object};
use obvert_model::tables::{Document, LengthUnit, SectionUnit};
use serde_json::Value;

use super::forms::number;
use obvert_convert::{Loss, LossKind, LossReport};

/// The document as a value, in the units that are asked for.
pub(super) fn converted(
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
    if length != units.length {
        let message = format!("lengths are turned from {} into {length}, as the layout has them", units.length);
        report.losses.push(changed("/units/length", message, units.length.as_str(), length.as_str()));
        value["units"]["length"] = length.as_str().into();
    }
    if section != units.section {
        let message = format!("sizes are turned from {} into {section}, as the layout has them", units.section);
        report.losses.push(changed("/units/section", message, units.section.as_str(), section.as_str()));
        value["units"]["section"] = section.as_str().into();
    }
    if length != units.length || section != units.section {
        factors.object(&mut value, document());
    }
    value
}

fn changed(pointer: &str, message: String, was: &str, becomes: &str) -> Loss {
    Loss { was: Some(was.into()), becomes: Some(becomes.into()), ..Loss::new(LossKind::Changed, pointer, message) }
}

/// A number times a factor, without the noise of the division; `None` where there is no number or no factor.
pub(super) fn turned(value: &Value, factor: Option<f64>) -> Option<Value> {
    let turned = value.as_f64()? * factor?;
    // The factors are ratios of decimal fractions; what is beyond a nanometre is noise.
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
                Some("units.length") => Some(self.length),
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
                value.as_array_mut().into_iter().flatten().for_each(|below| self.value(below, item, factor));
            }
            (Shape::Number, Some(factor)) => {
                if let Some(turned) = turned(value, Some(factor)) {
                    *value = turned;
                }
            }
            _ => {}
        }
    }
}
