//! Hours of clock references, and how far two of them are apart.

use obvert_model::tables::ClockReading;

/// How many hours two positions on a clock are apart.
pub(crate) fn hours_between(a: f64, b: f64) -> f64 {
    let apart = (a - b).rem_euclid(12.0);
    apart.min(12.0 - apart)
}

/// How many hours an hour is outside a reading.
pub(crate) fn hours_outside(reading: ClockReading, hour: f64) -> f64 {
    match reading {
        ClockReading::Point(at) => hours_between(at.get(), hour),
        ClockReading::Arc(from, to) if (hour - from.get()).rem_euclid(12.0) > reading.hours() => {
            hours_between(from.get(), hour).min(hours_between(to.get(), hour))
        }
        ClockReading::Arc(..) => 0.0,
    }
}

/// Whether the ends of two clock references are one hour or less apart.
pub(crate) fn alike(a: ClockReading, b: ClockReading) -> bool {
    let ends = |reading: ClockReading| match reading {
        ClockReading::Point(at) => [at.get(), at.get()],
        ClockReading::Arc(from, to) => [from.get(), to.get()],
    };
    let (a, b) = (ends(a), ends(b));
    hours_between(a[0], b[0]) <= 1.0 && hours_between(a[1], b[1]) <= 1.0
}

#[cfg(test)]
mod tests {
    use obvert_model::number::ClockHour;

    use super::*;

    // Computed by hand on a clock face.
    #[test]
    fn hours_outside_an_arc_are_counted_from_its_nearer_end() {
        let hour = |hour| ClockHour::new(hour).unwrap();
        let arc = ClockReading::Arc(hour(11.0), hour(1.0));
        for (at, hours) in [(12.0, 0.0), (1.0, 0.0), (2.5, 1.5), (9.0, 2.0), (6.0, 5.0)] {
            assert_eq!(hours_outside(arc, at), hours, "{at}");
        }
        assert_eq!(hours_outside(ClockReading::Point(hour(11.0)), 1.0), 2.0);
    }
}
