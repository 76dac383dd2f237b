//! Units of coordinates. The two feet differ by 2 parts in a million, which is 2 m in a state plane
//! coordinate of a million metres. They must never be confused, so only this module has the
//! factors, and they are exact.

use std::fmt;

/// Metres in an international foot, by definition.
pub const FOOT_METRES: f64 = 0.3048;
/// Metres in a US survey foot, by definition 1200/3937.
pub const US_SURVEY_FOOT_METRES: f64 = 1200.0 / 3937.0;

/// The unit of both coordinates of a reference system.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Unit {
    /// The metre.
    Metre,
    /// The international foot, 0.3048 m.
    Foot,
    /// The US survey foot, 1200/3937 m.
    UsSurveyFoot,
    /// The degree of arc.
    Degree,
    /// The grad (gon), 0.9 degree.
    Grad,
    /// Another length, under the authority's name.
    Other {
        /// The authority's name, for example `Clarke's foot`.
        name: &'static str,
        /// Its length in metres.
        metres: f64,
    },
}

impl Unit {
    /// Metres in one unit; `None` for an angle.
    #[must_use]
    pub fn metres(self) -> Option<f64> {
        match self {
            Self::Metre => Some(1.0),
            Self::Foot => Some(FOOT_METRES),
            Self::UsSurveyFoot => Some(US_SURVEY_FOOT_METRES),
            Self::Other { metres, .. } => Some(metres),
            Self::Degree | Self::Grad => None,
        }
    }

    /// Degrees in one unit; `None` for a length.
    #[must_use]
    pub fn degrees(self) -> Option<f64> {
        match self {
            Self::Degree => Some(1.0),
            Self::Grad => Some(0.9),
            _ => None,
        }
    }

    /// The name in words: `metre`, `international foot`, `US survey foot`, `degree`, `grad`, or the
    /// authority's.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Metre => "metre",
            Self::Foot => "international foot",
            Self::UsSurveyFoot => "US survey foot",
            Self::Degree => "degree",
            Self::Grad => "grad",
            Self::Other { name, .. } => name,
        }
    }

    pub(crate) fn from_registry(text: &'static str) -> Option<Self> {
        Some(match text {
            "m" => Self::Metre,
            "ft" => Self::Foot,
            "us-ft" => Self::UsSurveyFoot,
            "deg" => Self::Degree,
            "grad" => Self::Grad,
            other => {
                let (name, metres) = other.split_once('=')?;
                Self::Other { name, metres: metres.parse().ok()? }
            }
        })
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
