//! Units and their exact factors. Sources: NIST SP 811 (the international foot is 0.3048 m, the
//! inch 25.4 mm, the US survey foot 1200/3937 m, each exactly), as quoted by the documentation of
//! mp-units; GNU units 2.22 gives 0.3048006096012192 m for the survey foot.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_model::tables::{Dimension, LengthUnit, QuantityUnit, SectionUnit};

#[test]
fn lengths_in_metres() {
    assert_eq!(LengthUnit::Foot.metres().to_string(), "0.3048");
    assert_eq!(LengthUnit::UsSurveyFoot.metres().to_string(), "0.3048006096012192");
    assert_eq!(LengthUnit::Metre.metres().to_string(), "1");
    // The survey foot is longer by two parts in a million: 0.6096 m in a million feet, 1.2192 m in
    // two million (computed from the two definitions).
    let apart = |feet: f64| feet * (LengthUnit::UsSurveyFoot.metres() - LengthUnit::Foot.metres());
    assert!((apart(1e6) - 0.6096).abs() < 5e-5, "{}", apart(1e6));
    assert!((apart(2e6) - 1.2192).abs() < 5e-5, "{}", apart(2e6));
}

#[test]
fn sections_in_millimetres() {
    assert_eq!(SectionUnit::Inch.millimetres().to_string(), "25.4");
    assert_eq!(SectionUnit::Millimetre.millimetres().to_string(), "1");
}

/// Tenths of a millimetre as a fraction, from the same definitions in whole numbers.
fn tenths(unit: QuantityUnit) -> (u128, u128) {
    match unit {
        QuantityUnit::Millimetre => (10, 1),
        QuantityUnit::Inch => (254, 1),
        QuantityUnit::Metre => (10_000, 1),
        QuantityUnit::Foot => (3048, 1),
        QuantityUnit::UsSurveyFoot => (12_000_000, 3937),
        other => panic!("{other} is not a length"),
    }
}

#[test]
fn factors_between_units_are_the_nearest_doubles() {
    for (from, to, factor) in [
        (QuantityUnit::Foot, QuantityUnit::Inch, "12"),
        (QuantityUnit::Inch, QuantityUnit::Millimetre, "25.4"),
        (QuantityUnit::Foot, QuantityUnit::Millimetre, "304.8"),
        (QuantityUnit::Foot, QuantityUnit::Metre, "0.3048"),
        (QuantityUnit::Metre, QuantityUnit::Millimetre, "1000"),
        (QuantityUnit::UsSurveyFoot, QuantityUnit::Metre, "0.3048006096012192"),
        (QuantityUnit::Millimetre, QuantityUnit::Metre, "0.001"),
        (QuantityUnit::Metre, QuantityUnit::UsSurveyFoot, "3.2808333333333333"),
    ] {
        assert_eq!(from.factor_to(to).unwrap().to_string(), factor, "{from} to {to}");
    }
    let lengths = QuantityUnit::ALL.iter().filter(|unit| unit.dimension() == Dimension::Length);
    for from in lengths.clone() {
        for to in lengths.clone() {
            let factor = from.factor_to(*to).unwrap();
            // factor = (a·d)/(b·c) to half a unit in the last place: multiplied out in whole
            // numbers, with the factor as an exact fraction.
            let ((a, b), (c, d)) = (tenths(*from), tenths(*to));
            let (mantissa, exponent) = parts(factor);
            let error = |mantissa: u128| {
                // |mantissa · 2^exponent − ad/bc|, scaled by bc · 2^−exponent.
                (mantissa * b * c).abs_diff((a * d) << exponent.unsigned_abs())
            };
            assert!((-70..=0).contains(&exponent), "{from} to {to}: {exponent}");
            assert!(
                error(mantissa) <= error(mantissa - 1) && error(mantissa) <= error(mantissa + 1),
                "{from} to {to}"
            );
            // A round trip gives the same amount, to the rounding of the two factors.
            assert!(
                (factor * to.factor_to(*from).unwrap() - 1.0).abs() <= 2.0 * f64::EPSILON,
                "{from} to {to}"
            );
        }
    }
}

/// A double as a whole number times a power of two (IEEE 754 binary64).
fn parts(value: f64) -> (u128, i32) {
    let bits = value.to_bits();
    let exponent = i32::try_from((bits >> 52) & 0x7FF).unwrap() - 1075;
    (u128::from((bits & ((1 << 52) - 1)) | (1 << 52)), exponent)
}

#[test]
fn amounts_of_different_dimensions_do_not_convert() {
    for from in QuantityUnit::ALL {
        for to in QuantityUnit::ALL {
            assert_eq!(
                from.factor_to(*to).is_some(),
                from.dimension() == to.dimension(),
                "{from} to {to}"
            );
        }
        assert_eq!(from.factor_to(*from), Some(1.0));
    }
    assert_eq!(QuantityUnit::Percent.factor_to(QuantityUnit::Degrees), None);
}

#[test]
fn every_word_has_its_value() {
    for unit in QuantityUnit::ALL {
        assert_eq!(unit.as_str().parse().as_ref(), Ok(unit));
        assert_eq!(unit.to_string(), unit.as_str());
        assert!(!unit.meaning().is_empty());
    }
    assert_eq!("%".parse::<QuantityUnit>().ok(), None);
    assert_eq!("Ft".parse::<LengthUnit>().ok(), None);
}
