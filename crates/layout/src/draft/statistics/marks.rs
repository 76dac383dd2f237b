//! The decimal and thousands separators of numbers, found from the numbers.

/// The decimal separator, and the thousands separator if there is one.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Marks {
    pub(crate) decimal: char,
    pub(crate) thousands: Option<char>,
}

/// The separators in the numbers of a file, the reasons, and the separator that no number
/// identifies as one or the other.
pub(crate) struct NumberMarks {
    pub(crate) marks: Marks,
    pub(crate) reasons: Vec<String>,
    pub(crate) unsettled: Option<char>,
}

impl NumberMarks {
    /// As [`Marks::of`].
    pub(crate) fn of<'c>(values: impl Iterator<Item = &'c str> + Clone, comma: bool) -> Self {
        let (marks, reasons) = Marks::of(values.clone(), comma);
        Self { marks, reasons, unsettled: unsettled(values) }
    }
}

/// Possible thousands separators.
const BETWEEN: &[char] = &[' ', '\u{a0}', '\u{202f}', '\'', '\u{2019}', '.', ','];

/// Whether a text is a number in groups of three digits with a separator.
fn grouped(text: &str, mark: char) -> bool {
    let digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    let mut parts = text.trim_start_matches('-').split(mark);
    let first = parts.next().unwrap_or_default();
    let mut rest = parts.peekable();
    (1..=3).contains(&first.len())
        && digits(first)
        && rest.peek().is_some()
        && rest.all(|part| part.len() == 3 && digits(part))
}

/// Whether a text is a number with that decimal separator.
fn has_decimals(text: &str, mark: char) -> bool {
    let are_digits =
        |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    text.trim().split_once(mark).is_some_and(|(whole, rest)| {
        let is_grouped =
            || BETWEEN.iter().any(|between| *between != mark && grouped(whole, *between));
        (are_digits(whole.trim_start_matches('-')) || is_grouped()) && are_digits(rest)
    })
}

impl Marks {
    /// The separators of values, with the reason for each that is not a default. A comma is a
    /// decimal separator only if `comma` allows it, since it cannot be one if it separates cells.
    pub(crate) fn of<'c>(
        values: impl Iterator<Item = &'c str> + Clone,
        comma: bool,
    ) -> (Self, Vec<String>) {
        let (decimal, why) = decimal(values.clone(), comma);
        let mut reasons = vec![format!("{decimal:?} as the decimal separator: {why}")];
        let count = |mark: char| {
            let is = |text: &&str| {
                let text = text.trim();
                let (whole, rest) = text.split_once(decimal).unwrap_or((text, ""));
                grouped(whole, mark) && rest.bytes().all(|byte| byte.is_ascii_digit())
            };
            values.clone().filter(is).count()
        };
        let most =
            BETWEEN.iter().filter(|mark| **mark != decimal).map(|mark| (count(*mark), *mark));
        let most = most.max_by_key(|(count, _)| *count).filter(|(count, _)| *count > 0);
        reasons.extend(most.map(|(count, mark)| {
            format!("{mark:?} as the thousands separator: {count} values have it")
        }));
        (Self { decimal, thousands: most.map(|(_, mark)| mark) }, reasons)
    }

    /// The number of decimals of a number.
    pub(crate) fn decimals(self, text: &str) -> usize {
        text.split_once(self.decimal).map_or(0, |(_, rest)| rest.len())
    }

    /// The number in a text, as a layout with these separators reads it.
    pub(crate) fn number(self, text: &str) -> Option<f64> {
        let mut plain = text.to_owned();
        if let Some(mark) = self.thousands.filter(|mark| text.contains(*mark)) {
            if !grouped(text.split(self.decimal).next().unwrap_or_default(), mark) {
                return None;
            }
            plain.retain(|letter| letter != mark);
        }
        if self.decimal != '.' {
            if plain.contains('.') {
                return None;
            }
            plain = plain.replacen(self.decimal, ".", 1);
        }
        let only = plain.bytes().all(|byte| byte.is_ascii_digit() || b".-+eE".contains(&byte));
        plain.parse::<f64>().ok().filter(|number| only && number.is_finite())
    }
}

/// The decimal separator of values, and the reason.
fn decimal<'c>(values: impl Iterator<Item = &'c str> + Clone, comma: bool) -> (char, String) {
    let count = |mark: char| values.clone().filter(|text| has_decimals(text, mark)).count();
    let settled = |mark: char| {
        values.clone().filter(|text| has_decimals(text, mark) && !is_either(text, mark)).count()
    };
    let (commas, points) = (count(','), count('.'));
    // Possible thousands separators count only if nothing else decides.
    let has_more_commas = match (settled(','), settled('.')) {
        (0, 0) => commas > points,
        (commas, points) => commas > points,
    };
    if comma && has_more_commas {
        return (',', format!("{commas} values are numbers with a comma"));
    }
    match points {
        0 => ('.', "no number has another one".to_owned()),
        points => ('.', format!("{points} values are numbers with a point")),
    }
}

/// Possible thousands and decimal separators.
const EITHER: [char; 2] = [',', '.'];
/// The two parts of a number with one separator.
fn parts(text: &str, mark: char) -> Option<(&str, &str)> {
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    let (whole, rest) = text.trim().trim_start_matches('-').split_once(mark)?;
    (digits(whole) && digits(rest)).then_some((whole, rest))
}

/// Whether a text is a number with that separator either way: `1,200` is, `0,200` is not a number
/// with thousands.
pub(crate) fn is_either(text: &str, mark: char) -> bool {
    parts(text, mark)
        .is_some_and(|(whole, rest)| rest.len() == 3 && whole.len() < 4 && !whole.starts_with('0'))
}

/// The separator of numbers that can all be read with decimals or with thousands; `None` if some
/// number decides.
pub(crate) fn unsettled<'c>(mut values: impl Iterator<Item = &'c str> + Clone) -> Option<char> {
    let decides = |text: &str| {
        let alone =
            EITHER.iter().any(|mark| parts(text, *mark).is_some() && !is_either(text, *mark));
        let marks = text.matches(EITHER).count();
        // Several groups of thousands, or a decimal part after them.
        let both = marks > 1
            && EITHER.iter().any(|mark| {
                Marks { decimal: *mark, thousands: EITHER.into_iter().find(|other| other != mark) }
                    .number(text.trim())
                    .is_some()
            });
        alone || both
    };
    let found =
        EITHER.into_iter().find(|mark| values.clone().any(|text| is_either(text, *mark)))?;
    (!values.any(decides)).then_some(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_those_that_the_numbers_have() {
        let cases: [(&[&str], bool, Marks); 9] = [
            (&["1,5", "2,25", "3.1"], true, Marks { decimal: ',', thousands: None }),
            (&["1,5", "2"], false, Marks { decimal: '.', thousands: None }),
            (&["1.234,5", "12,0"], true, Marks { decimal: ',', thousands: Some('.') }),
            (&["1.234.567,5"], true, Marks { decimal: ',', thousands: Some('.') }),
            (&["1,234.5", "12.0"], false, Marks { decimal: '.', thousands: Some(',') }),
            (&["1 205,00", "42,50"], true, Marks { decimal: ',', thousands: Some(' ') }),
            (&["1\u{202f}205,00"], true, Marks { decimal: ',', thousands: Some('\u{202f}') }),
            (&["1.200,5", "2.500", "2.750"], true, Marks { decimal: ',', thousands: Some('.') }),
            (&["12 30", "P 100", "a,b"], true, Marks { decimal: '.', thousands: None }),
        ];
        for (values, comma, marks) in cases {
            assert_eq!(Marks::of(values.iter().copied(), comma).0, marks, "{values:?}");
        }
        let marks = Marks { decimal: ',', thousands: Some(' ') };
        for (text, number) in [
            ("1 205,5", Some(1205.5)),
            ("12 30", None),
            ("-7,5", Some(-7.5)),
            ("1 2345", None),
            ("1.5", None),
            ("inf", None),
        ] {
            assert_eq!(marks.number(text), number, "{text}");
        }
    }

    #[test]
    fn one_number_that_decides_is_enough() {
        for (values, mark) in [
            (&["1,200", "1,050", "950"][..], Some(',')),
            (&["1.200", "2.500", "P1"], Some('.')),
            (&["1,200", "12.5"], None),
            (&["1,200", "0,500"], None),
            (&["1,200", "1,200,300"], None),
            (&["1,200", "1,200.5"], None),
            (&["1.200", "1234.500"], None),
            (&["1.200", "1.5"], None),
            (&["12,5"], None),
            (&["17.03.2026", "a,200"], None),
        ] {
            assert_eq!(unsettled(values.iter().copied()), mark, "{values:?}");
        }
    }
}
