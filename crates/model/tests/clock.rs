//! Clock references seen from the other end of the pipe, and the hours that they cover.

#![allow(clippy::expect_used, clippy::panic, clippy::unwrap_used)]

use obvert_model::number::ClockHour;
use obvert_model::tables::{Clock, ClockReading};
use proptest::prelude::*;

fn hour(value: f64) -> ClockHour {
    ClockHour::new(value).unwrap()
}

fn hours() -> impl Strategy<Value = ClockHour> {
    (2..=25_u8).prop_map(|halves| hour(f64::from(halves) / 2.0))
}

/// The hours clockwise from one to another, in half hours, counted by stepping.
fn clockwise_extent(from: ClockHour, to: ClockHour) -> f64 {
    let halves = |hour: ClockHour| (hour.get() * 2.0) as i32 % 24;
    let mut steps = 0;
    let mut at = halves(from);
    while at != halves(to) || steps == 0 {
        at = (at + 1) % 24;
        steps += 1;
    }
    f64::from(steps) / 2.0
}

// Common practice, no source: 3 o'clock seen downstream is 9 o'clock seen upstream; the top and the
// bottom stay.
#[test]
fn hours_seen_from_the_other_end() {
    for (seen, mirrored) in [
        (12.0, 12.0),
        (6.0, 6.0),
        (3.0, 9.0),
        (9.0, 3.0),
        (1.0, 11.0),
        (11.0, 1.0),
        (11.5, 12.5),
        (12.5, 11.5),
        (1.5, 10.5),
        (5.5, 6.5),
    ] {
        assert_eq!(hour(seen).mirrored(), Some(hour(mirrored)), "{seen}");
    }
}

#[test]
fn an_invalid_hour_has_no_mirror_image() {
    for value in [0.0, 0.5, 13.0, 12.75, 3.25, -3.0, 24.0, 1e9] {
        assert!(!hour(value).is_valid(), "{value}");
        assert_eq!(hour(value).mirrored(), None, "{value}");
        assert_eq!(ClockReading::Point(hour(value)).mirrored(), None, "{value}");
        assert_eq!(ClockReading::Arc(hour(3.0), hour(value)).mirrored(), None, "{value}");
    }
}

#[test]
fn arcs_go_clockwise() {
    for (from, to, hours, mirrored) in [
        (11.0, 1.0, 2.0, (11.0, 1.0)),
        (1.0, 11.0, 10.0, (1.0, 11.0)),
        (2.0, 4.5, 2.5, (7.5, 10.0)),
        (9.0, 3.0, 6.0, (9.0, 3.0)),
        (12.0, 12.0, 12.0, (12.0, 12.0)),
        (12.5, 11.5, 11.0, (12.5, 11.5)),
    ] {
        let arc = ClockReading::Arc(hour(from), hour(to));
        assert!((arc.hours() - hours).abs() < 1e-12, "{from} {to}");
        let (from, to) = mirrored;
        assert_eq!(arc.mirrored(), Some(ClockReading::Arc(hour(from), hour(to))));
    }
    assert!(ClockReading::Point(hour(3.0)).hours().abs() < 1e-12);
}

#[test]
fn only_two_forms_are_readings() {
    let clock = |at: Option<f64>, from: Option<f64>, to: Option<f64>| {
        let mut clock = Clock::new();
        (clock.at, clock.from, clock.to) = (at.map(hour), from.map(hour), to.map(hour));
        clock
    };
    assert_eq!(clock(Some(3.0), None, None).reading(), Some(ClockReading::Point(hour(3.0))));
    assert_eq!(
        clock(None, Some(9.0), Some(3.0)).reading(),
        Some(ClockReading::Arc(hour(9.0), hour(3.0)))
    );
    for (at, from, to) in [
        (None, None, None),
        (Some(1.0), Some(1.0), None),
        (Some(1.0), None, Some(1.0)),
        (Some(1.0), Some(1.0), Some(1.0)),
        (None, Some(1.0), None),
        (None, None, Some(1.0)),
    ] {
        assert_eq!(clock(at, from, to).reading(), None);
    }
}

proptest! {
    #[test]
    fn the_mirror_image_of_the_mirror_image_is_the_hour(hour in hours()) {
        let mirrored = hour.mirrored().unwrap();
        prop_assert!(mirrored.is_valid());
        prop_assert_eq!(mirrored.mirrored(), Some(hour));
        // Mirrored about the vertical: both are equally far from the top, on opposite sides.
        prop_assert_eq!((hour.get() + mirrored.get()) % 12.0, 0.0);
    }

    #[test]
    fn an_arc_stays_clockwise_and_keeps_its_extent(from in hours(), to in hours()) {
        let arc = ClockReading::Arc(from, to);
        let mirrored = arc.mirrored().unwrap();
        prop_assert_eq!(mirrored.mirrored(), Some(arc));
        prop_assert_eq!(mirrored.hours(), arc.hours());
        prop_assert_eq!(arc.hours(), clockwise_extent(from, to));
        let ClockReading::Arc(start, end) = mirrored else { panic!("an arc became a point") };
        prop_assert_eq!(clockwise_extent(start, end), clockwise_extent(from, to));
        // Seen from the other end, the arc covers the same hours as the mirrored arc.
        for halves in 2..=25_u8 {
            let place = hour(f64::from(halves) / 2.0);
            let within = |from, to, place| from == place || to == place || clockwise_extent(from, place) < clockwise_extent(from, to);
            prop_assert_eq!(within(from, to, place), within(start, end, place.mirrored().unwrap()));
        }
    }
}
