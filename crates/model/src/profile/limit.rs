//! Limits of rules in the unit of an office: a rule states its limit in metres, a US office in
//! feet.

use crate::number::Amount;
use crate::text::Text;

words! {
    /// A unit that a limit can be stated in.
    pub complete LimitUnit {
        /// Metres.
        Metre = "m",
        /// International feet, 0.3048 m exactly.
        Foot = "ft",
        /// US survey feet, 1200/3937 m exactly.
        UsSurveyFoot = "us-ft",
        /// Millimetres.
        Millimetre = "mm",
        /// Inches, 25.4 mm exactly.
        Inch = "in",
        /// Metres a minute.
        MetrePerMinute = "m/min",
        /// International feet a minute.
        FootPerMinute = "ft/min",
    }
}

table! {
    /// A limit of a rule, changed by a profile.
    pub LimitSetting {
        /// The limit's name, as `explain RULE` gives it.
        name: Text,
        /// The number.
        value: Amount,
        /// Its unit; the limit's own when absent.
        unit?: LimitUnit,
    }
}

impl LimitUnit {
    /// Converts a number in this unit to a rule's unit, by the exact factor; `None` if the units
    /// measure different things.
    ///
    /// ```
    /// use obvert_model::profile::LimitUnit;
    /// assert_eq!(LimitUnit::FootPerMinute.convert(30.0, "m/min"), Some(9.144));
    /// assert_eq!(LimitUnit::Inch.convert(8.0, "mm"), Some(203.2));
    /// assert_eq!(LimitUnit::Foot.convert(1.0, "h"), None);
    /// ```
    #[must_use]
    pub fn convert(self, value: f64, to: &str) -> Option<f64> {
        let to: Self = to.parse().ok()?;
        let ((a, b), (c, d)) = (self.tenths(), to.tenths());
        // Whole numbers until the one division, so that there is one rounding: 30 ft are exactly
        // 9.144 m.
        (self.is_speed() == to.is_speed()).then(|| value * (a * d) / (b * c))
    }

    const fn is_speed(self) -> bool {
        matches!(self, Self::MetrePerMinute | Self::FootPerMinute)
    }

    /// Tenths of a millimetre (a minute) as a fraction of whole numbers.
    const fn tenths(self) -> (f64, f64) {
        match self {
            Self::Metre | Self::MetrePerMinute => (10_000.0, 1.0),
            Self::Foot | Self::FootPerMinute => (3048.0, 1.0),
            Self::UsSurveyFoot => (12_000_000.0, 3937.0),
            Self::Millimetre => (10.0, 1.0),
            Self::Inch => (254.0, 1.0),
        }
    }
}

impl LimitSetting {
    /// The number in a rule's unit; `None` if the limit's unit measures something else.
    #[must_use]
    pub fn in_unit(&self, unit: &str) -> Option<f64> {
        match self.unit {
            None => Some(self.value.get()),
            Some(own) => own.convert(self.value.get(), unit),
        }
    }
}
