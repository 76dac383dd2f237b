//! The text that a remark gets for a coding that the new list cannot hold.

use obvert_model::lists::{Code, CodeList, Labels};
use obvert_model::tables::QuantityUnit;
use obvert_model::text::Text;

use super::original::Coded;

/// A coding, to be written as text.
pub(super) struct Phrase<'c> {
    pub(super) list: &'c CodeList,
    pub(super) language: &'c str,
    pub(super) coded: &'c Coded,
}

impl Phrase<'_> {
    /// `missing pieces [some-list BAC B], length 30 mm; what the operator said`: the names in the
    /// document's language, the original coding, the amounts that have no column in the new list,
    /// and the remark. It adds no words, since the document may be in any language.
    pub(super) fn remark(
        &self,
        code: Option<&Code>,
        unplaced: impl Fn(usize) -> bool,
    ) -> Option<Text> {
        let mut text = String::new();
        if let Some(code) = code {
            let mut names = vec![self.name(&code.label).unwrap_or_else(|| code.name())];
            for (place, value) in code.characterisation.iter().zip(&self.coded.characterisation) {
                let known = place.values.iter().find(|known| known.value == *value);
                names.extend(known.and_then(|known| self.name(&known.label)));
            }
            text.push_str(&names.join(", "));
            text.push(' ');
        }
        let values: String =
            self.coded.characterisation.iter().map(|value| format!(" {value}")).collect();
        text.push_str(&format!("[{} {}{values}]", self.list.id, self.coded.code));
        for (place, amount) in
            self.coded.quantities.iter().enumerate().filter(|(place, _)| unplaced(*place))
        {
            let meaning =
                code.and_then(|code| code.amounts(&self.coded.characterisation).nth(place));
            let name = meaning.map(|meaning| format!("{} ", meaning.name)).unwrap_or_default();
            let unit = match amount.unit {
                QuantityUnit::Percent => " %",
                QuantityUnit::Degrees => "°",
                QuantityUnit::Count => "",
                QuantityUnit::LitresPerSecond => " l/s",
                QuantityUnit::Minutes => " min",
                unit => &format!(" {unit}"),
            };
            text.push_str(&format!(", {name}{}{unit}", amount.value));
        }
        if let Some(remark) = &self.coded.remark {
            text.push_str("; ");
            text.push_str(remark);
        }
        Text::new(&text).ok()
    }

    /// A name in the document's language, or in English, or in any language.
    fn name<'n>(&self, label: &'n Labels) -> Option<&'n str> {
        let primary = self.language.split('-').next().unwrap_or(self.language);
        let name =
            label.get(self.language).or_else(|| label.get(primary)).or_else(|| label.get("en"));
        name.or_else(|| label.values().next()).map(Text::as_str)
    }
}

/// `a`, `a and b`, `a, b and c`.
pub(super) fn several(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [only] => (*only).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}
