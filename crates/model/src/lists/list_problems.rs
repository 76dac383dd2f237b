//! Checks a code list for what its schema cannot express, before the first survey is checked with
//! it.

use super::code_list::begins;
use super::problems::Problems;
use super::{
    ClockUse, Code, CodeList, ListProblem, ListProblemKind, QuantityMeaning, link_problems,
};
use crate::tables::QuantityUnit;
use crate::text::Text;

impl CodeList {
    /// What does not make sense in the list; empty if all is well. Links are followed within the
    /// list and to the built-in lists.
    ///
    /// ```
    /// use obvert_model::lists::{CodeList, ListProblemKind};
    /// let source = br#"{
    ///   "code_list": "0.1", "id": "larkmoor-terms", "version": "1", "title": "Terms of the town of Larkmoor",
    ///   "codes": [ { "code": "crack", "family": "structural", "label": { "en": "crack" },
    ///     "quantities": [ { "name": "width", "unit": "mm", "min": 5, "max": 0 } ],
    ///     "clock": { "use": "optional" }, "continuous": "allowed", "joint": "allowed" } ]
    /// }"#;
    /// let problems = CodeList::read(source)?.problems();
    /// assert_eq!(problems[0].kind, ListProblemKind::EmptyRange);
    /// assert_eq!(problems[0].to_string(), "/codes/0/quantities/0: the range from 5 to 0 mm is empty; put the lower number in min");
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn problems(&self) -> Vec<ListProblem> {
        self.problems_with(&[])
    }

    /// As [`problems`](Self::problems), with links followed to further lists as well.
    #[must_use]
    pub fn problems_with(&self, others: &[&CodeList]) -> Vec<ListProblem> {
        let mut problems = Problems::default();
        if self.codes.is_empty() {
            problems.add(ListProblemKind::Empty, "/codes", "the list has no code");
        }
        problems.duplicates("/codes", "code", self.codes.iter().map(|code| code.code.as_str()));
        let each = || self.codes.iter().enumerate();
        problems.duplicate_labels(
            each()
                .map(|(index, code)| (format!("/codes/{index}"), code.code.as_str(), &code.label)),
        );
        for (index, code) in each() {
            code_problems(code, &format!("/codes/{index}"), &mut problems);
            self.turned_problems(code, &format!("/codes/{index}"), &mut problems);
        }
        link_problems::add(self, others, &mut problems);
        problems.0
    }
}

impl CodeList {
    /// Reports what is seen from the other end and does not lead back.
    fn turned_problems(&self, code: &Code, at: &str, problems: &mut Problems) {
        let leads_back = |other: &str| {
            let other = self.codes.iter().find(|known| *known.code == *other);
            other.is_some_and(|other| other.turned.as_ref() == Some(&code.code))
        };
        if let Some(other) = code.turned.as_ref().filter(|other| !leads_back(other)) {
            let message = format!(
                "{other:?} is what is seen from the other end, but it does not lead back; set turned in both codes"
            );
            problems.add(ListProblemKind::Contradiction, format!("{at}/turned"), message);
        }
        for (index, place) in code.characterisation.iter().enumerate() {
            for (number, value) in place.values.iter().enumerate() {
                let Some(other) = &value.turned else { continue };
                let back = place.values.iter().find(|known| known.value == *other);
                if back.is_none_or(|back| back.turned.as_ref() != Some(&value.value)) {
                    let at = format!("{at}/characterisation/{index}/values/{number}/turned");
                    let message = format!(
                        "{other:?} is what is seen from the other end, but it does not lead back; set turned in both values"
                    );
                    problems.add(ListProblemKind::Contradiction, at, message);
                }
            }
        }
    }
}

fn code_problems(code: &Code, at: &str, problems: &mut Problems) {
    if code.label.is_empty() {
        problems.add(
            ListProblemKind::Empty,
            format!("{at}/label"),
            "the code has no name; add a label in at least one language",
        );
    }
    characterisation_problems(code, at, problems);
    let mut optional = None;
    for (index, quantity) in code.quantities.iter().enumerate() {
        let at = format!("{at}/quantities/{index}");
        // Amounts can share a name if their characterisations exclude each other.
        let meets = |other: &&QuantityMeaning| {
            begins(&other.when, &quantity.when) || begins(&quantity.when, &other.when)
        };
        let before = &code.quantities[..index];
        if before.iter().filter(meets).any(|other| other.name == quantity.name) {
            let message = format!("the amount {:?} is a duplicate; keep one", &*quantity.name);
            problems.add(ListProblemKind::Duplicate, &at, message);
        }
        quantity_problems(code, quantity, &at, problems);
        if quantity.required != Some(true) {
            optional.get_or_insert(quantity);
        } else if let Some(earlier) = optional.filter(meets) {
            problems.add(
                ListProblemKind::Order,
                at,
                behind_optional(&quantity.name, &earlier.name),
            );
        }
    }
    if code.clock.usage == ClockUse::None && code.clock.extent.is_some() {
        let message = "the code takes no clock reference but has an extent; remove the extent";
        problems.add(ListProblemKind::Contradiction, format!("{at}/clock"), message);
    }
}

fn behind_optional(name: &str, earlier: &str) -> String {
    format!(
        "{name:?} is required but comes after {earlier:?}, which is optional; put required entries first"
    )
}

fn characterisation_problems(code: &Code, at: &str, problems: &mut Problems) {
    let places = &code.characterisation;
    problems.duplicates(
        &format!("{at}/characterisation"),
        "place",
        places.iter().map(|place| place.name.as_str()),
    );
    let mut optional = None;
    for (index, place) in places.iter().enumerate() {
        let at = format!("{at}/characterisation/{index}");
        if !place.required {
            optional.get_or_insert(place.name.as_str());
        } else if let Some(earlier) = optional {
            problems.add(ListProblemKind::Order, &at, behind_optional(&place.name, earlier));
        }
        if place.values.is_empty() && place.open != Some(true) {
            let message = "the place has no values; list them, or set open";
            problems.add(ListProblemKind::Empty, format!("{at}/values"), message);
        }
        problems.duplicates(
            &format!("{at}/values"),
            "value",
            place.values.iter().map(|value| value.value.as_str()),
        );
        let values = place.values.iter().enumerate();
        problems.duplicate_labels(
            values.map(|(index, v)| (format!("{at}/values/{index}"), v.value.as_str(), &v.label)),
        );
        for (index, value) in place.values.iter().enumerate() {
            if value.label.is_empty() {
                let at = format!("{at}/values/{index}/label");
                problems.add(
                    ListProblemKind::Empty,
                    at,
                    "the value has no name; add a label in at least one language",
                );
            }
        }
    }
}

/// Reports values that a code's characterisation does not have: in a condition, or at the other end
/// of a link.
pub(super) fn values_problems(code: &Code, values: &[Text], at: &str, problems: &mut Problems) {
    for (index, value) in values.iter().enumerate() {
        let place = code.characterisation.get(index);
        let known =
            || place.into_iter().flat_map(|place| &place.values).map(|known| known.value.as_str());
        if place.is_some_and(|place| place.open == Some(true))
            || known().any(|known| *known == **value)
        {
            continue;
        }
        let message = match place {
            Some(place) => {
                let can = known().collect::<Vec<_>>().join(", ");
                format!("{value:?} is not a {} of {:?}, which has: {can}", place.name, &*code.code)
            }
            None => {
                let has = code.characterisation.len();
                format!(
                    "{:?} takes {has} characterisations and {value:?} is number {}; remove it",
                    &*code.code,
                    index + 1
                )
            }
        };
        problems.unknown(
            ListProblemKind::Unknown,
            format!("{at}/{index}"),
            message,
            value,
            known(),
        );
    }
}

fn quantity_problems(code: &Code, quantity: &QuantityMeaning, at: &str, problems: &mut Problems) {
    values_problems(code, &quantity.when, &format!("{at}/when"), problems);
    if let (Some(min), Some(max)) = (quantity.min, quantity.max) {
        if min >= max {
            problems.add(
                ListProblemKind::EmptyRange,
                at,
                format!(
                    "the range from {min} to {max} {} is empty; put the lower number in min",
                    quantity.unit
                ),
            );
        }
    }
    match (quantity.unit, quantity.of) {
        (QuantityUnit::Percent, None) => {
            let message = "the percentage has no reference; state with of what it is a share of, such as the height or the area";
            problems.add(ListProblemKind::Contradiction, at, message);
        }
        (QuantityUnit::Percent, Some(_)) | (_, None) => {}
        (unit, Some(of)) => {
            problems.add(
                ListProblemKind::Contradiction,
                at,
                format!("an amount in {unit} is not a share of {of}; remove of"),
            );
        }
    }
}
