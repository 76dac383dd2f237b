//! The marks of numbers, told from the numbers themselves.

use super::doubt;

/// The decimal mark, and the mark between thousands where there is one.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Marks {
    pub(super) decimal: char,
    pub(super) thousands: Option<char>,
}

/// The marks of the numbers of a file, why, and the one of which no number tells which of the two it is.
pub(super) struct NumberMarks {
    pub(super) marks: Marks,
    pub(super) said: Vec<String>,
    pub(super) unsettled: Option<char>,
}

impl NumberMarks {
    /// As [`Marks::of`].
    pub(super) fn of<'c>(values: impl Iterator<Item = &'c str> + Clone, comma: bool) -> Self {
        let (marks, said) = Marks::of(values.clone(), comma);
        Self { marks, said, unsettled: doubt::unsettled(values) }
    }
}

/// What can stand between thousands.
const BETWEEN: &[char] = &[' ', '\u{a0}', '\u{202f}', '\'', '\u{2019}', '.', ','];

/// Whether a text is thousands in groups of three with a mark between.
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

impl Marks {
    /// The marks of values, and for each that is more than a default, why. A comma is a decimal mark only if `comma` says so, since it
    /// cannot be one where it stands between cells.
    pub(super) fn of<'c>(values: impl Iterator<Item = &'c str> + Clone, comma: bool) -> (Self, Vec<String>) {
        let with = |mark: char, either: bool| {
            let is = |text: &&str| {
                text.trim().split_once(mark).is_some_and(|(whole, rest)| {
                    let plain = whole.trim_start_matches('-');
                    let plain = !plain.is_empty() && plain.bytes().all(|byte| byte.is_ascii_digit());
                    let whole = plain || BETWEEN.iter().any(|between| *between != mark && grouped(whole, *between));
                    whole && !rest.is_empty() && rest.bytes().all(|byte| byte.is_ascii_digit())
                })
            };
            values.clone().filter(is).filter(|text| either || !doubt::is_either(text, mark)).count()
        };
        let (commas, points) = (with(',', true), with('.', true));
        // What can as well stand between thousands decides only where nothing else does.
        let more = match (with(',', false), with('.', false)) {
            (0, 0) => commas > points,
            (commas, points) => commas > points,
        };
        let (decimal, why) = match () {
            () if comma && more => (',', format!("{commas} values are numbers with a comma")),
            () if points > 0 => ('.', format!("{points} values are numbers with a point")),
            () => ('.', "no number has another".to_owned()),
        };
        let mut said = vec![format!("{decimal:?} as the decimal mark: {why}")];
        let thousands = |mark: char| {
            let is = |text: &&str| {
                let text = text.trim();
                let (whole, rest) = text.split_once(decimal).unwrap_or((text, ""));
                grouped(whole, mark) && rest.bytes().all(|byte| byte.is_ascii_digit())
            };
            values.clone().filter(is).count()
        };
        let most = BETWEEN.iter().filter(|mark| **mark != decimal).map(|mark| (thousands(*mark), *mark));
        let most = most.max_by_key(|(count, _)| *count).filter(|(count, _)| *count > 0);
        said.extend(most.map(|(count, mark)| format!("{mark:?} between thousands: {count} values have it")));
        (Self { decimal, thousands: most.map(|(_, mark)| mark) }, said)
    }

    /// The number that a text is, as a layout with these marks reads it.
    pub(super) fn number(self, text: &str) -> Option<f64> {
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
}
