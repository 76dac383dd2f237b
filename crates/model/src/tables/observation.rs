//! Observations: what was seen, where, and its condition grades.

use crate::extension::Extensions;
use crate::number::{Amount, ClockHour, Grade, Length, Seconds};
use crate::text::{CodeId, MediaId, ObservationId, PipeId, Text};

words! {
    /// The unit of an amount.
    pub QuantityUnit {
        /// Millimetres.
        Millimetre = "mm",
        /// Inches, 25.4 mm exactly.
        Inch = "in",
        /// Metres.
        Metre = "m",
        /// International feet, 0.3048 m exactly.
        Foot = "ft",
        /// US survey feet, 1200/3937 m exactly.
        UsSurveyFoot = "us-ft",
        /// Per cent of the quantity that the code list names: height, area, wall thickness.
        Percent = "percent",
        /// Degrees of angle.
        Degrees = "degrees",
        /// A count.
        Count = "count",
        /// Litres per second.
        LitresPerSecond = "litres-per-second",
        /// Minutes of time.
        Minutes = "minutes",
    }
}

/// What a unit measures. Amounts of one dimension convert to each other exactly.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Dimension {
    /// A length, on the wall or along the pipe.
    Length,
    /// A share.
    Percent,
    /// An angle.
    Angle,
    /// A count.
    Count,
    /// A flow.
    Flow,
    /// A time.
    Time,
}

impl QuantityUnit {
    /// What the unit measures.
    #[must_use]
    pub const fn dimension(self) -> Dimension {
        match self {
            Self::Millimetre | Self::Inch | Self::Metre | Self::Foot | Self::UsSurveyFoot => {
                Dimension::Length
            }
            Self::Percent => Dimension::Percent,
            Self::Degrees => Dimension::Angle,
            Self::Count => Dimension::Count,
            Self::LitresPerSecond => Dimension::Flow,
            Self::Minutes => Dimension::Time,
        }
    }

    /// The factor from this unit to `other`, or `None` if they measure different things.
    #[must_use]
    pub fn factor_to(self, other: Self) -> Option<f64> {
        /// Tenths of a millimetre as a fraction of whole numbers, so that the one division below is
        /// the only rounding: a foot is exactly 12 inches, which 304.8 / 25.4 is not.
        const fn tenths(unit: QuantityUnit) -> (f64, f64) {
            match unit {
                QuantityUnit::Millimetre => (10.0, 1.0),
                QuantityUnit::Inch => (254.0, 1.0),
                QuantityUnit::Metre => (10_000.0, 1.0),
                QuantityUnit::Foot => (3048.0, 1.0),
                QuantityUnit::UsSurveyFoot => (12_000_000.0, 3937.0),
                QuantityUnit::Percent
                | QuantityUnit::Degrees
                | QuantityUnit::Count
                | QuantityUnit::LitresPerSecond
                | QuantityUnit::Minutes => (1.0, 1.0),
            }
        }
        let ((a, b), (c, d)) = (tenths(self), tenths(other));
        (self.dimension() == other.dimension()).then(|| (a * d) / (b * c))
    }
}

words! {
    /// The flow seen, for example from a connection.
    pub FlowState {
        /// None.
        None = "none",
        /// A trickle.
        Trickle = "trickle",
        /// A steady flow.
        Steady = "steady",
        /// Full to the top.
        Surcharged = "surcharged",
    }
}

table! {
    /// The position on the wall: one hour, or clockwise from one hour to another, as seen in the
    /// direction of travel.
    #[doc(alias = "clock position")]
    #[doc(alias = "clock reference")]
    pub Clock {
        /// The one hour: 1 to 12 in steps of a half, and 12.5 for half past twelve.
        at?: ClockHour,
        /// The first hour of an arc.
        from?: ClockHour,
        /// The last hour of an arc, going clockwise.
        to?: ClockHour,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

/// A valid clock reference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ClockReading {
    /// At one hour.
    Point(ClockHour),
    /// Clockwise from the first hour to the second.
    Arc(ClockHour, ClockHour),
}

impl Clock {
    /// The reading, or `None` when the keys do not form one.
    #[must_use]
    pub const fn reading(&self) -> Option<ClockReading> {
        match (self.at, self.from, self.to) {
            (Some(at), None, None) => Some(ClockReading::Point(at)),
            (None, Some(from), Some(to)) => Some(ClockReading::Arc(from, to)),
            _ => None,
        }
    }
}

impl ClockHour {
    /// Whether it is a valid hour: 1 to 12.5 in steps of a half.
    #[must_use]
    pub fn is_valid(self) -> bool {
        (1.0..=12.5).contains(&self.get()) && (self.get() * 2.0).fract() == 0.0
    }

    /// The same position as seen by a camera that travels in the opposite direction: 3 o'clock
    /// downstream is 9 o'clock upstream; 12 and 6 stay. `None` for an invalid hour.
    #[must_use]
    pub fn mirrored(self) -> Option<Self> {
        if !self.is_valid() {
            return None;
        }
        let hour = (12.0 - self.get()).rem_euclid(12.0);
        Self::new(if hour < 1.0 { hour + 12.0 } else { hour }).ok()
    }
}

impl ClockReading {
    /// The reading as seen by a camera that travels in the opposite direction. An arc stays
    /// clockwise, so its ends are exchanged.
    #[must_use]
    pub fn mirrored(self) -> Option<Self> {
        Some(match self {
            Self::Point(at) => Self::Point(at.mirrored()?),
            Self::Arc(from, to) => Self::Arc(to.mirrored()?, from.mirrored()?),
        })
    }

    /// The number of hours covered: 0 for a point, 12 for an arc with equal ends (the full circle).
    #[must_use]
    pub fn hours(self) -> f64 {
        match self {
            Self::Point(_) => 0.0,
            Self::Arc(from, to) => {
                let hours = (to.get() - from.get()).rem_euclid(12.0);
                if hours == 0.0 { 12.0 } else { hours }
            }
        }
    }
}

table! {
    /// A measured or estimated amount. What it measures follows from the code, since amounts are in
    /// the code list's order.
    pub Quantity {
        /// The amount.
        value: Amount,
        /// Its unit.
        unit: QuantityUnit,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// The condition grades of one observation, on the document's grade scheme.
    #[doc(alias = "condition grade")]
    #[doc(alias = "condition rating")]
    #[doc(alias = "severity")]
    pub Grades {
        /// Structural condition.
        structural?: Grade,
        /// Operational condition.
        operational?: Grade,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// A media file that shows an observation.
    pub MediaRef {
        /// The file.
        id: MediaId,
        /// The time into a video or audio recording, in seconds.
        offset?: Seconds,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

table! {
    /// One observation, at a distance or over a stretch.
    #[doc(alias = "defect")]
    #[doc(alias = "feature")]
    #[doc(alias = "finding code")]
    pub Observation {
        /// Identifies the observation within its run.
        id: ObservationId,
        /// The distance, in length units, as the counter showed it.
        #[doc(alias = "chainage")]
        #[doc(alias = "footage")]
        #[doc(alias = "station")]
        at: Length,
        /// The distance at which a stretch ends, in length units.
        to?: Length,
        /// Whether it is a stretch. The end of a stretch without `to` was not recorded.
        #[doc(alias = "continuous defect")]
        #[doc(alias = "running defect")]
        continuous?: bool,
        /// The code, from the document's code list.
        code: CodeId,
        /// Further detail, in the code list's letters or words and in its order.
        characterisation[]: Text,
        /// Amounts, in the code list's order.
        quantities[]: Quantity,
        /// The position on the wall.
        clock?: Clock,
        /// Whether it is at a joint.
        joint?: bool,
        /// The other pipe of a connection.
        joins?: PipeId,
        /// The flow seen.
        flow?: FlowState,
        /// Whether the water is clear.
        clear?: bool,
        /// Condition grades.
        grades?: Grades,
        /// A remark.
        remark?: Text,
        /// Media that show it.
        media[]: MediaRef,
        /// Data that the format does not define.
        extensions?: Box<Extensions>,
    }
}

impl Observation {
    /// Whether it is recorded as a stretch, finished or not.
    #[must_use]
    pub fn is_stretch(&self) -> bool {
        self.continuous == Some(true) || self.to.is_some()
    }

    /// Whether two observations agree in everything but their ids.
    #[must_use]
    pub fn equals_except_id(&self, other: &Self) -> bool {
        // Names every field, so that the compiler reports a new one.
        let Self {
            id: _,
            at,
            to,
            continuous,
            code,
            characterisation,
            quantities,
            clock,
            joint,
            joins,
            flow,
            clear,
            grades,
            remark,
            media,
            extensions,
        } = self;
        (at, to, continuous, code, characterisation, quantities, clock)
            == (
                &other.at,
                &other.to,
                &other.continuous,
                &other.code,
                &other.characterisation,
                &other.quantities,
                &other.clock,
            )
            && (joint, joins, flow, clear, grades, remark, media, extensions)
                == (
                    &other.joint,
                    &other.joins,
                    &other.flow,
                    &other.clear,
                    &other.grades,
                    &other.remark,
                    &other.media,
                    &other.extensions,
                )
    }

    /// The distance at which it ends: `to`, or `at` if there is none.
    #[must_use]
    pub fn end(&self) -> Length {
        self.to.unwrap_or(self.at)
    }
}
