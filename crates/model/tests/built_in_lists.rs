//! What the built-in code list and grade scheme say: codes from the other end, and grades.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_model::lists::{CodeList, GradeScheme, ListProblem, ListProblemKind};
use serde_json::{Value, json};

const LIST: &str = include_str!("../data/code-lists/obvert-terms.json");

/// Seen from the other end and back, every code with every value is the same again.
#[test]
fn turning_a_code_round_twice_changes_nothing() {
    let mut turned = 0;
    for list in CodeList::built_ins() {
        for code in &list.codes {
            let first = code.characterisation.first();
            let values = first.iter().flat_map(|place| &place.values).map(|value| &*value.value);
            for value in values.map(Some).chain([None]) {
                let values: Vec<&str> = value.into_iter().collect();
                let (other, there) = list.turned(&code.code, &values).expect("a code of the list");
                turned += usize::from(other.code != code.code || there != values);
                let (back, again) = list.turned(&other.code, &there).expect("a code of the list");
                assert_eq!(back.code, code.code);
                if other.code == code.code {
                    assert_eq!(again, values, "{}", code.code);
                }
            }
        }
    }
    // Bends of two kinds and of the standard to the left and right, linings, gradients.
    assert!(turned >= 10, "{turned}");
    let vertical = CodeList::obvert_terms().turned("bend.fitting", &["up"]).expect("a bend");
    assert_eq!(vertical.1, ["up"]);
}

#[test]
fn what_is_turned_must_lead_back() {
    let mut list = json_of(LIST);
    let codes = list["codes"].as_array_mut().expect("codes");
    let start = codes.iter_mut().find(|code| code["code"] == "lining.start").expect("a code");
    start["turned"] = json!("change.size");
    let bend = codes.iter_mut().find(|code| code["code"] == "bend.fitting").expect("a code");
    bend["characterisation"][0]["values"][0]["turned"] = json!("up");
    let list = CodeList::read(list.to_string().as_bytes()).expect("a list");
    let problems: Vec<ListProblem> = list.problems();
    assert!(problems.iter().all(|problem| problem.kind == ListProblemKind::Contradiction));
    // The partners of both no longer lead back either.
    assert_eq!(problems.len(), 4, "{problems:?}");
}

fn json_of(text: &str) -> Value {
    serde_json::from_str(text).expect("json")
}

/// The danger of another service's pipe or cable does not depend on how much room it takes, nor on
/// what the pipe is made of.
#[test]
fn another_service_has_the_worst_grade_whatever_its_size() {
    let (list, scheme) = (CodeList::obvert_terms(), GradeScheme::obvert_grades());
    for name in ["obstacle.crossing-pipe", "obstacle.cable", "void.visible", "collapse"] {
        let entries: Vec<_> = scheme.entries.iter().filter(|e| *e.code == *name).collect();
        assert_eq!(entries.len(), 1, "{name}");
        assert!(entries[0].bands.is_empty() && entries[0].size.is_none(), "{name}");
        assert!(entries[0].materials.is_empty() && entries[0].characterisation.is_empty());
        assert_eq!(entries[0].grade, Some(scheme.scale.worst), "{name}");
        let code = list.codes.iter().find(|code| *code.code == *name).expect("a code");
        let none: [&str; 0] = [];
        assert!(code.caution(&none).is_some(), "{name} has no caution");
    }
    for name in ["obstacle.crossing-pipe", "obstacle.cable"] {
        let code = list.codes.iter().find(|code| *code.code == *name).expect("a code");
        let service = &code.characterisation[0];
        assert!(service.required && service.name.as_str() == "service", "{name}");
        assert!(service.values.iter().any(|value| &*value.value == "unknown"), "{name}");
    }
}

/// More of an amount never gets a better grade, and the same in a smaller pipe never a better one.
#[test]
fn grades_follow_the_amount_and_the_size() {
    let scheme = GradeScheme::obvert_grades();
    let at = |entry: &obvert_model::lists::GradeEntry, amount: f64| {
        let band = entry
            .bands
            .iter()
            .find(|band| amount >= band.from && band.below.is_none_or(|below| amount < below));
        band.map(|band| band.grade).or(entry.grade)
    };
    let below = |entry: &obvert_model::lists::GradeEntry| {
        entry.size.as_ref().and_then(|size| size.below).unwrap_or(f64::INFINITY)
    };
    // The same angle opens a wider gap in a larger pipe.
    let angled = |entry: &&obvert_model::lists::GradeEntry| *entry.code == *"joint.angled";
    for entry in scheme.entries.iter().filter(|entry| !angled(entry)) {
        for two in entry.bands.windows(2) {
            assert!(two[0].grade < two[1].grade, "{} {}", entry.code, two[1].from);
        }
        let larger = scheme.entries.iter().filter(|other| {
            other.code == entry.code
                && other.aspect == entry.aspect
                && other.characterisation == entry.characterisation
                && (other.materials.is_empty() || other.materials == entry.materials)
                && below(other) > below(entry)
        });
        for other in larger {
            let edges = entry.bands.iter().chain(&other.bands).map(|band| band.from);
            for amount in edges {
                assert!(at(entry, amount) >= at(other, amount), "{} {amount}", entry.code);
            }
        }
    }
}

/// Every limit of a range is stated, and each entry of the scheme that names a source has bands.
#[test]
fn sources_belong_to_bands() {
    for entry in GradeScheme::obvert_grades().entries.iter().filter(|e| e.source.is_some()) {
        assert!(!entry.bands.is_empty(), "{}", entry.code);
    }
    let description = GradeScheme::obvert_grades().description.as_deref().expect("a description");
    assert!(description.contains("common practice without a published source"));
}
