//! The kinds of cells: which fields each can hold, and what else it needs.

use super::{Column, Target};
use crate::shape::Shape;

words! {
    /// What the cells of a column hold.
    pub complete CellKind {
        /// Text as it is.
        Text = "text",
        /// A number with the table's decimal mark and marks between thousands.
        Number = "number",
        /// A distance as a station: hundreds before the plus sign, `1+64.50` for 164.5.
        Station = "station",
        /// A length in feet and inches, `12'6"` for 12.5 ft.
        FeetAndInches = "feet-and-inches",
        /// A number followed by its unit, `4 in`, `5%`.
        Amount = "amount",
        /// A date in the column's pattern.
        Date = "date",
        /// A time of day in the column's pattern.
        Time = "time",
        /// Date and time of day in the column's pattern.
        DateTime = "date-time",
        /// A duration: `h:mm:ss`, or `m:ss` with the pattern `m:ss`.
        Duration = "duration",
        /// One clock position, or two with a separator, `11-1`; without a separator four digits,
        /// `1101`.
        Clock = "clock",
        /// A word for yes; a word for no, or an empty cell.
        YesNo = "yes-no",
    }
}

/// Patterns for the day numbers of spreadsheets.
const SERIAL: [&str; 2] = ["serial-1900", "serial-1904"];

impl CellKind {
    /// Whether cells of the kind can hold a field. `words` tells whether the column translates
    /// words.
    #[must_use]
    pub fn fits(self, target: Target, words: bool) -> bool {
        let shape = target.shape();
        let number = matches!(shape, Shape::Number | Shape::Whole);
        match self {
            Self::Text => {
                words || matches!(shape, Shape::Text | Shape::Word(_) | Shape::Extensions)
            }
            Self::Number => number || target == Target::GRADES,
            Self::Station | Self::FeetAndInches | Self::Duration => number,
            Self::Amount => target == Target::AMOUNT || target.measured_in().is_some(),
            Self::Date | Self::Time | Self::DateTime => matches!(shape, Shape::Text),
            Self::Clock => target == Target::CLOCK,
            Self::YesNo => *shape == Shape::Bool,
        }
    }

    /// Whether its cells are dates, times of day or both.
    #[must_use]
    pub const fn is_moment(self) -> bool {
        matches!(self, Self::Date | Self::Time | Self::DateTime)
    }

    /// What is wrong with the pattern of a column of the kind, or with a missing pattern: the key,
    /// empty for the column itself, and the message.
    pub(super) fn pattern_problem(self, column: &Column) -> Option<(&'static str, String)> {
        let pattern = column.pattern.as_deref();
        let has = |parts: &[&str]| {
            pattern.is_some_and(|pattern| {
                SERIAL.contains(&pattern) || parts.iter().all(|part| pattern.contains(part))
            })
        };
        let of_column = |message: &str| Some(("", message.to_owned()));
        match self {
            Self::Date if has(&["d", "m", "yy"]) => None,
            Self::Time if has(&["h", "mm"]) => None,
            Self::DateTime if has(&["d", "m", "yy", "h", "mm"]) => None,
            Self::Duration if matches!(pattern, None | Some("m:ss" | "mm:ss")) => None,
            Self::Date => {
                of_column("a date needs a pattern with day, month and year, such as dd.mm.yyyy")
            }
            Self::Time => {
                of_column("a time needs a pattern with hours and minutes, such as h:mm am")
            }
            Self::DateTime => {
                of_column("date and time need a pattern with both, such as yyyy-mm-dd hh:mm")
            }
            Self::Duration => Some((
                "/pattern",
                "a duration is h:mm:ss without a pattern, or m:ss with the pattern m:ss".to_owned(),
            )),
            _ => pattern.map(|_| ("/pattern", format!("{self} takes no pattern; remove it"))),
        }
    }
}
