//! The patterns that the values of a column can have.

use std::fmt;

use obvert_model::tables::QuantityUnit;

/// A pattern of all or most values of a column.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum CellPattern {
    Number,
    Station,
    FeetAndInches,
    Duration,
    /// Minutes and seconds.
    Minutes,
    Date(&'static str),
    Time(&'static str),
    DateTime(String),
    /// Numbers followed by a unit: each unit as it is written.
    Amount(Vec<(String, QuantityUnit)>),
    /// Clock positions, with the separator of two hours; `None` if two are four digits.
    Clock(Option<&'static str>),
    Hour,
    /// Whole numbers of a grade scale.
    Grade,
    Year,
    Picture,
    Recording,
    /// Marks of the start and the end of a stretch, with # for the number.
    Stretch(String, String),
    /// Codes of EN 13508-2: a letter for the family and two more.
    StandardCode,
    SingleLetter,
}

impl CellPattern {
    /// Whether it is a date, a time of day or both.
    pub(crate) const fn is_moment(&self) -> bool {
        matches!(self, Self::Date(_) | Self::Time(_) | Self::DateTime(_))
    }
}

impl fmt::Display for CellPattern {
    /// The name of values with this pattern, in the plural.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number => f.write_str("numbers"),
            Self::Station => f.write_str("stations"),
            Self::FeetAndInches => f.write_str("feet and inches"),
            Self::Duration => f.write_str("durations (h:mm:ss)"),
            Self::Minutes => f.write_str("durations (m:ss)"),
            Self::Date(pattern) => write!(f, "dates ({pattern})"),
            Self::Time(pattern) => write!(f, "times of day ({pattern})"),
            Self::DateTime(pattern) => write!(f, "dates with a time of day ({pattern})"),
            Self::Amount(_) => f.write_str("amounts with their unit"),
            Self::Clock(Some(separator)) => {
                write!(f, "clock positions, separated by {separator:?}")
            }
            Self::Clock(None) => f.write_str("clock positions, two as four digits"),
            Self::Hour => f.write_str("hours of a clock"),
            Self::Grade => f.write_str("whole numbers up to 10"),
            Self::Year => f.write_str("years"),
            Self::Picture => f.write_str("files of pictures"),
            Self::Recording => f.write_str("files of recordings"),
            Self::Stretch(start, finish) => write!(f, "marks of stretches ({start} and {finish})"),
            Self::StandardCode => f.write_str("codes of EN 13508-2"),
            Self::SingleLetter => f.write_str("single letters"),
        }
    }
}
