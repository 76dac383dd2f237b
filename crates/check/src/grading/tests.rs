//! Grades of single observations, compared with figures that were computed by hand: edges of bands,
//! conditions and units.
//!
//! The exact inch of 25.4 mm is that of NIST SP 811.

#![allow(clippy::expect_used)]

use obvert_model::tables::MaterialClass;
use serde_json::{Value, json};

use super::*;

fn code(name: &str) -> &'static Code {
    CodeList::obvert_terms()
        .codes
        .iter()
        .find(|code| *code.code == *name)
        .expect("a code of the list")
}

fn row(name: &str, quantities: Value) -> Observation {
    serde_json::from_value(json!({ "id": "1", "at": 0, "code": name, "quantities": quantities }))
        .expect("a row")
}

fn section(class: MaterialClass, height: f64) -> CrossSection {
    CrossSection { class: Some(class), height: Some(height), shape: None }
}

fn amount(value: f64, unit: &str) -> Value {
    json!([{ "value": value, "unit": unit }])
}

/// The structural grade of a code with an amount, by `obvert-grades`.
fn structural(name: &str, quantities: Value, section: &CrossSection) -> Option<u8> {
    let grader = Grader::new(GradeScheme::obvert_grades());
    grade(&grader, &row(name, quantities), section, Aspect::Structural)
}

/// The grade of a row with a code of `obvert-terms`.
fn grade(
    grader: &Grader<'_>,
    row: &Observation,
    section: &CrossSection,
    aspect: Aspect,
) -> Option<u8> {
    judgement(grader, row, section, aspect).grade.map(Grade::get)
}

fn judgement<'s>(
    grader: &Grader<'s>,
    row: &Observation,
    section: &CrossSection,
    aspect: Aspect,
) -> Judgement<'s> {
    let entries = grader.entries(&row.code).map_or(&[][..], |entries| entries.of(aspect));
    judge(entries, code(&row.code), row, section)
}

/// A scheme of three grades.
fn scheme(entries: &Value) -> GradeScheme {
    let step = |grade: u8| json!({ "grade": grade, "label": { "en": format!("grade {grade}") } });
    let metre = json!({ "value": 1, "unit": "m" });
    let text = json!({
        "grade_scheme": "0.1", "id": "larkmoor-grades", "version": "1", "title": "Larkmoor grades",
        "code_list": { "list": "obvert-terms", "version": "1" },
        "scale": { "best": 1, "worst": 3, "steps": [step(1), step(2), step(3)] },
        "aspects": ["structural", "operational"], "entries": entries,
        "rollup": { "interval": metre, "per_length": metre }
    });
    GradeScheme::read(text.to_string().as_bytes()).expect("a scheme")
}

// obvert-grades: an offset in a pipe of 200 to below 450 mm goes 10, 24, 48, 90.
#[test]
fn a_band_begins_with_its_first_amount_and_ends_before_the_next() {
    let pipe = section(MaterialClass::Clayware, 203.2);
    for (offset, expected) in [
        (0.0, 1),
        (9.99, 1),
        (10.0, 2),
        (23.999, 2),
        (24.0, 3),
        (47.9, 3),
        (48.0, 4),
        (89.9, 4),
        (90.0, 5),
        (900.0, 5),
    ] {
        assert_eq!(
            structural("joint.displaced", amount(offset, "mm"), &pipe),
            Some(expected),
            "{offset} mm"
        );
    }
}

#[test]
fn amounts_are_converted_exactly_before_they_meet_a_band() {
    let pipe = section(MaterialClass::Clayware, 203.2);
    // 0.5 in = 12.7 mm, 1 in = 25.4 mm, 2 in = 50.8 mm, 4 in = 101.6 mm.
    for (inches, expected) in [(0.25, 1), (0.5, 2), (1.0, 3), (2.0, 4), (4.0, 5)] {
        assert_eq!(
            structural("joint.displaced", amount(inches, "in"), &pipe),
            Some(expected),
            "{inches} in"
        );
    }
    // 0.048 m are 48 mm, and so belong to the band from 48 mm.
    assert_eq!(structural("joint.displaced", amount(0.048, "m"), &pipe), Some(4));
    assert_eq!(structural("joint.displaced", amount(0.0479, "m"), &pipe), Some(3));
}

/// An edge that is a whole number of inches must not be missed by the last digit of a double: 12 ×
/// 25.4 gives 304.799 999 999 999 95.
#[test]
fn an_edge_in_inches_is_met_by_inches() {
    let entries = json!([{ "code": "joint.displaced", "aspect": "structural", "size": { "from": 304.8 },
        "bands": [{ "quantity": "offset", "from": 0, "below": 304.8, "grade": 1 },
                  { "quantity": "offset", "from": 304.8, "grade": 2 }] },
        { "code": "joint.displaced", "aspect": "structural", "grade": 3 }]);
    let scheme = scheme(&entries);
    let grader = Grader::new(&scheme);
    let graded = |height: f64, inches: f64| {
        let row = row("joint.displaced", amount(inches, "in"));
        let pipe = section(MaterialClass::Clayware, height);
        grade(&grader, &row, &pipe, Aspect::Structural)
    };
    let foot = std::hint::black_box(12.0) * 25.4;
    assert!(foot < 304.8, "the trap that this test is about");
    assert_eq!(graded(foot, 12.0), Some(2));
    assert_eq!(graded(foot, 11.9), Some(1));
    assert_eq!(graded(304.7, 12.0), Some(3));
}

#[test]
fn the_same_offset_counts_for_more_in_a_smaller_pipe() {
    let graded = |height| {
        structural("joint.displaced", amount(30.0, "mm"), &section(MaterialClass::Clayware, height))
    };
    assert_eq!([199.9, 200.0, 449.9, 450.0].map(graded), [Some(4), Some(3), Some(3), Some(2)]);
}

#[test]
fn a_material_decides_before_the_general_entry() {
    let graded =
        |class| structural("fracture.longitudinal", amount(2.0, "mm"), &section(class, 300.0));
    assert_eq!(graded(MaterialClass::Masonry), Some(2));
    assert_eq!(graded(MaterialClass::Clayware), Some(3));
    // Without an amount the plain grade holds.
    let masonry = section(MaterialClass::Masonry, 300.0);
    assert_eq!(structural("fracture.longitudinal", json!([]), &masonry), Some(3));
}

/// Bituminised fibre gives way like plastic, and does not break like clay.
#[test]
fn fibre_is_flexible_and_a_crack_has_no_gap_to_grade() {
    let graded = |class, percent| {
        let amount = amount(percent, "percent");
        structural("deformation.vertical", amount, &section(class, 100.0))
    };
    for percent in [2.0, 6.0, 9.0, 12.0, 20.0] {
        assert_eq!(
            graded(MaterialClass::Fibre, percent),
            graded(MaterialClass::Plastic, percent),
            "{percent}"
        );
    }
    assert_eq!(graded(MaterialClass::Fibre, 6.0), Some(2));
    assert_eq!(graded(MaterialClass::Clayware, 6.0), Some(4));
    let pipe = section(MaterialClass::Clayware, 300.0);
    for width in [0.1, 1.0, 2.0, 4.0, 20.0] {
        assert_eq!(structural("crack.longitudinal", amount(width, "mm"), &pipe), Some(2));
    }
}

#[test]
fn a_characterisation_decides_before_the_general_entry() {
    let grader = Grader::new(GradeScheme::obvert_grades());
    let graded = |words: Value| {
        let row = json!({ "id": "1", "at": 0, "code": "infiltration", "characterisation": words });
        let row: Observation = serde_json::from_value(row).expect("a row");
        grade(&grader, &row, &CrossSection::default(), Aspect::Operational)
    };
    assert_eq!(graded(json!(["dripping"])), Some(2));
    assert_eq!(graded(json!(["gushing"])), Some(5));
    assert_eq!(graded(json!([])), Some(3));
}

#[test]
fn a_grade_has_reasons_and_may_be_uncertain() {
    let grader = Grader::new(GradeScheme::obvert_grades());
    let judged = |quantities: Value, section: &CrossSection| {
        judgement(&grader, &row("joint.displaced", quantities), section, Aspect::Structural)
    };
    let pipe = section(MaterialClass::Clayware, 203.2);
    let judged_row = judged(amount(50.0, "mm"), &pipe);
    assert!(judged_row.certain);
    let reason = judged_row.reason(&pipe);
    assert_eq!(
        reason,
        "offset 50 mm, from 48 to below 90 mm; height 203.2 mm, from 200 to below 450 mm"
    );
    let bare = judged(json!([]), &pipe);
    assert_eq!(
        bare.reason(&pipe),
        "no offset is recorded; height 203.2 mm, from 200 to below 450 mm"
    );
    // The height is not known, the amount is in the wrong unit, the amount is beyond the list's
    // 1000 mm.
    assert!(!judged(amount(50.0, "mm"), &CrossSection::default()).certain);
    assert!(!judged(amount(50.0, "percent"), &pipe).certain);
    assert!(!judged(amount(1001.0, "mm"), &pipe).certain);
    assert!(judged(amount(1000.0, "mm"), &pipe).certain);
    // Nothing is structural about roots.
    let roots = judgement(&grader, &row("roots.fine", json!([])), &pipe, Aspect::Structural);
    assert_eq!((roots.grade, roots.certain), (None, true));
}
