//! Checks that a layout maps words only to codes that its code list has. An unknown code would
//! otherwise be reported in every row of every survey; here it is reported once, where it was
//! written.

use super::{Layout, LayoutProblem, Target};
use crate::lists::{Characterisation, Code, CodeList};
use crate::profile::Scalar;
use crate::text::nearest;

impl Layout {
    /// The codes and characterisations of the layout that a code list does not have, in the order
    /// of the layout's keys. Pass the list that `coding.list` is fixed to. Open characterisations
    /// accept any value.
    #[must_use]
    pub fn coding_problems(&self, list: &CodeList) -> Vec<LayoutProblem> {
        let codes = list.by_code();
        let mut problems = Vec::new();
        let mut add =
            |pointer: String, message: String| problems.push(LayoutProblem { pointer, message });
        let unknown = |code: &str| {
            let near =
                nearest(code, list.codes.iter().map(|code| code.code.as_str())).map(str::to_owned);
            let near = near.map(|near| format!("; did you mean {near:?}?")).unwrap_or_default();
            format!("the code list {} {} has no code {code:?}{near}", list.id, list.version)
        };
        for (index, column) in self.columns.iter().enumerate() {
            let texts = column.translate.iter().enumerate().filter_map(|(number, translation)| {
                match &translation.value {
                    Scalar::Text(text) => {
                        Some((format!("/columns/{index}/translate/{number}/value"), text))
                    }
                    _ => None,
                }
            });
            match column.target() {
                Some(Target::CODE) => texts
                    .filter(|(_, code)| !codes.contains_key(code.as_str()))
                    .for_each(|(pointer, code)| add(pointer, unknown(code))),
                Some(Target::CHARACTERISATION) => {
                    let place = column
                        .separator
                        .is_none()
                        .then(|| column.place.unwrap_or(1).max(1) as usize - 1);
                    texts.filter(|(_, value)| !anywhere(list, place, value)).for_each(|(pointer, value)| {
                        let message = format!(
                            "no code of the list {} {} has the characterisation {value:?} there",
                            list.id, list.version
                        );
                        add(pointer, message);
                    });
                }
                _ => {}
            }
        }
        for (index, entry) in self.codes.iter().flat_map(|codes| &codes.words).enumerate() {
            let pointer = format!("/codes/words/{index}");
            let Some(code) = codes.get(entry.code.as_str()) else {
                add(format!("{pointer}/code"), unknown(&entry.code));
                continue;
            };
            for (place, value) in entry.characterisation.iter().enumerate() {
                if let Some(message) = unknown_value(code, place, value) {
                    add(format!("{pointer}/characterisation/{place}"), message);
                }
            }
        }
        for (index, fixed) in
            self.fixed.iter().enumerate().filter(|(_, fixed)| &*fixed.to == Target::CODE.path())
        {
            if let Scalar::Text(code) = &fixed.value
                && !codes.contains_key(code.as_str())
            {
                add(format!("/fixed/{index}/value"), unknown(code));
            }
        }
        problems
    }
}

fn takes(place: &Characterisation, value: &str) -> bool {
    place.open == Some(true)
        || place.values.is_empty()
        || place.values.iter().any(|known| *known.value == *value)
}

/// Whether any code of a list takes a value, in one place or in any place.
fn anywhere(list: &CodeList, place: Option<usize>, value: &str) -> bool {
    list.codes.iter().any(|code| match place {
        Some(place) => code.characterisation.get(place).is_some_and(|place| takes(place, value)),
        None => code.characterisation.iter().any(|place| takes(place, value)),
    })
}

fn unknown_value(code: &Code, place: usize, value: &str) -> Option<String> {
    let Some(known) = code.characterisation.get(place) else {
        let count = code.characterisation.len();
        return Some(format!(
            "{} takes {count} characterisations and this is one more; remove it",
            code.code
        ));
    };
    if takes(known, value) {
        return None;
    }
    let values: Vec<&str> = known.values.iter().map(|known| known.value.as_str()).collect();
    let near = nearest(value, values.iter().copied()).map(str::to_owned);
    let near = near.map_or_else(
        || format!("it can be {}", values.join(", ")),
        |near| format!("did you mean {near:?}?"),
    );
    Some(format!("{} has no {} {value:?}; {near}", code.code, known.name))
}
