//! Distances along a line.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

use obvert_geo::{Crs, GeoError};
use proptest::prelude::*;

fn crs(code: u32) -> Crs {
    Crs::from_epsg(code).unwrap()
}

/// A right angle of 30 m and 40 m with a repeated vertex.
const CORNER: [[f64; 2]; 4] =
    [[1000.0, 2000.0], [1030.0, 2000.0], [1030.0, 2000.0], [1030.0, 2040.0]];

#[test]
fn distances_fall_where_the_stated_length_puts_them() {
    let crs = crs(25832);
    let path = crs.path(&CORNER).unwrap();
    assert_eq!(path.length_metres(), 70.0);
    // The counter showed 140 at the end of this pipe.
    let cases = [
        (0.0, [1000.0, 2000.0]),
        (30.0, [1015.0, 2000.0]),
        (60.0, [1030.0, 2000.0]),
        (100.0, [1030.0, 2020.0]),
        (140.0, [1030.0, 2040.0]),
    ];
    for (distance, position) in cases {
        assert_eq!(path.at_stated(distance, 140.0), Ok(position), "at {distance}");
    }
    assert_eq!(path.at_metres(45.0), Ok([1030.0, 2015.0]));
}

#[test]
fn distances_off_the_line_are_refused_or_clamped() {
    let crs = crs(25832);
    let path = crs.path(&CORNER).unwrap();
    assert_eq!(
        path.at_stated(-0.5, 140.0),
        Err(GeoError::OutsideLine { distance: -0.5, length: 140.0 })
    );
    assert_eq!(
        path.at_stated(140.5, 140.0),
        Err(GeoError::OutsideLine { distance: 140.5, length: 140.0 })
    );
    assert_eq!(path.at_metres(70.5), Err(GeoError::OutsideLine { distance: 70.5, length: 70.0 }));
    let before = path.at_stated_clamped(-0.5, 140.0).unwrap();
    assert_eq!((before.position, before.fraction, before.beyond), (CORNER[0], 0.0, -0.5));
    let past = path.at_stated_clamped(140.5, 140.0).unwrap();
    assert_eq!((past.position, past.fraction, past.beyond), (CORNER[3], 1.0, 0.5));
    let on = path.at_stated_clamped(70.0, 140.0).unwrap();
    assert_eq!((on.position, on.fraction, on.beyond), ([1030.0, 2005.0], 0.5, 0.0));
    for length in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert!(matches!(path.at_stated(0.0, length), Err(GeoError::BadLength { .. })), "{length}");
        assert!(
            matches!(path.at_stated_clamped(0.0, length), Err(GeoError::BadLength { .. })),
            "{length}"
        );
    }
    assert!(matches!(path.at_stated_clamped(f64::NAN, 1.0), Err(GeoError::OutsideLine { .. })));
    assert!(matches!(path.at_fraction(f64::NAN), Err(GeoError::OutsideLine { .. })));
    let message = path.at_stated(140.5, 140.0).unwrap_err().to_string();
    assert_eq!(message, "distance 140.5 is outside the line, which runs from 0 to 140");
}

#[test]
fn stretches_keep_the_vertices_between() {
    let crs = crs(25832);
    let path = crs.path(&CORNER).unwrap();
    let stretch = path.sub_line_stated(40.0, 100.0, 140.0).unwrap();
    assert_eq!(stretch, [[1020.0, 2000.0], [1030.0, 2000.0], [1030.0, 2000.0], [1030.0, 2020.0]]);
    assert_eq!(path.sub_line(0.0, 1.0).unwrap(), CORNER);
    assert_eq!(path.sub_line(0.5, 0.5).unwrap(), [[1030.0, 2005.0], [1030.0, 2005.0]]);
    assert_eq!(path.sub_line(0.6, 0.5), Err(GeoError::Backwards { from: 0.6, to: 0.5 }));
    assert_eq!(
        path.sub_line_stated(90.0, 80.0, 140.0),
        Err(GeoError::Backwards { from: 90.0, to: 80.0 })
    );
    assert!(matches!(path.sub_line(0.0, 1.1), Err(GeoError::OutsideLine { .. })));
}

#[test]
fn the_nearest_place_on_the_line() {
    let crs = crs(25832);
    let path = crs.path(&CORNER).unwrap();
    let cases = [
        ([1015.0, 1990.0], [1015.0, 2000.0], 15.0 / 70.0, 10.0),
        ([1040.0, 2020.0], [1030.0, 2020.0], 50.0 / 70.0, 10.0),
        ([1033.0, 1996.0], [1030.0, 2000.0], 30.0 / 70.0, 5.0),
        ([990.0, 2000.0], [1000.0, 2000.0], 0.0, 10.0),
        ([1030.0, 2050.0], [1030.0, 2040.0], 1.0, 10.0),
        // As near to the first leg as to the second: the first counts.
        ([1025.0, 2005.0], [1025.0, 2000.0], 25.0 / 70.0, 5.0),
    ];
    for (point, position, fraction, offset) in cases {
        let found = path.nearest(point).unwrap();
        assert_eq!(found.position, position, "{point:?}");
        assert!(
            (found.fraction - fraction).abs() < 1e-12
                && (found.offset_metres - offset).abs() < 1e-9,
            "{point:?}: {found:?}"
        );
    }
    assert!(matches!(path.nearest([f64::NAN, 0.0]), Err(GeoError::OutOfDomain { .. })));
}

#[test]
fn offsets_are_in_metres_whatever_the_unit() {
    let feet = crs(6595);
    let line = [[11_482_900.0, 3_647_000.0], [11_482_900.0, 3_647_100.0]];
    let found = feet.path(&line).unwrap().nearest([11_482_910.0, 3_647_025.0]).unwrap();
    assert!(
        (found.offset_metres - 10.0 * 1200.0 / 3937.0).abs() < 1e-9
            && (found.fraction - 0.25).abs() < 1e-12,
        "{found:?}"
    );
}

#[test]
fn a_geographic_line_is_a_geodesic_and_has_a_foot_on_it() {
    // 120 m due east and 85.34 m at azimuth 37.5 from one place, computed with geographiclib 2.1.
    // On a plane the second leans 85.34 sin 37.5 = 51.951 m along the first and 85.34 cos 37.5 =
    // 67.705 m off it.
    let crs = crs(4326);
    let line = [[-6.2603, 53.3498], [-6.258_498_018, 53.349_799_986]];
    let found = crs.path(&line).unwrap().nearest([-6.259_519_856, 53.350_408_345]).unwrap();
    assert!((found.fraction * 120.0 - 51.951).abs() < 2e-3, "{found:?}");
    assert!((found.offset_metres - 67.705).abs() < 2e-3, "{found:?}");
}

#[test]
fn a_line_over_the_antimeridian_stays_on_its_side() {
    let crs = crs(4326);
    let line = [[179.9995, -40.0], [180.0005, -40.0]];
    let path = crs.path(&line).unwrap();
    assert!(path.length_metres() < 100.0);
    let [lon, _] = path.at_fraction(0.75).unwrap();
    assert!((lon - 180.000_25).abs() < 1e-9, "{lon}");
}

#[test]
fn invalid_lines_are_refused() {
    let (plane, globe) = (crs(25832), crs(4326));
    assert_eq!(plane.path(&[]).unwrap_err(), GeoError::TooFewVertices { found: 0 });
    assert_eq!(plane.path(&[[1.0, 2.0]]).unwrap_err(), GeoError::TooFewVertices { found: 1 });
    assert_eq!(plane.path(&[[1.0, 2.0]; 3]).unwrap_err(), GeoError::ZeroLength { vertices: 3 });
    assert_eq!(plane.line_length_metres(&[[1.0, 2.0]]), Ok(0.0));
    assert_eq!(plane.line_length_metres(&[]), Ok(0.0));
    let error = globe.path(&[[-118.5, 37.3], [37.3, -118.5]]).unwrap_err();
    assert!(
        matches!(error, GeoError::BadVertex { code: 4326, index: 1, swapped: true, .. }),
        "{error:?}"
    );
    assert!(
        error.to_string().contains("vertex 1") && error.to_string().contains("swapped"),
        "{error}"
    );
    let error = plane.line_length_metres(&[[1.0, 2.0], [f64::NAN, 0.0]]).unwrap_err();
    assert!(matches!(error, GeoError::BadVertex { index: 1, swapped: false, .. }), "{error:?}");
}

/// Lines of two to eight vertices in a town: in metres, in US survey feet, and in degrees.
fn lines() -> impl Strategy<Value = (u32, Vec<[f64; 2]>)> {
    let steps = || prop::collection::vec((-150.0..150.0f64, -150.0..150.0f64), 2..8);
    prop_oneof![
        (Just(25832), Just([500_000.0, 5_700_000.0]), Just([1.0, 1.0]), steps()),
        (Just(6595), Just([11_482_900.0, 3_647_000.0]), Just([3.0, 3.0]), steps()),
        (Just(4326), Just([-78.5, 37.3]), Just([1e-5, 1e-5]), steps()),
        (Just(4326), Just([25.0, 65.0]), Just([2e-5, 1e-5]), steps()),
    ]
    .prop_map(|(code, origin, scale, steps)| {
        let mut at: [f64; 2] = origin;
        let line = steps
            .into_iter()
            .map(|(dx, dy)| {
                at = [at[0] + scale[0] * dx, at[1] + scale[1] * dy];
                at
            })
            .collect();
        (code, line)
    })
}

proptest! {
    #[test]
    fn a_stretch_is_as_long_as_its_distances_say((code, line) in lines(), a in 0.0..=1.0f64, b in 0.0..=1.0f64) {
        let crs = crs(code);
        let path = crs.path(&line).unwrap();
        let (from, to) = (a.min(b), a.max(b));
        let stretch = crs.line_length_metres(&path.sub_line(from, to).unwrap()).unwrap();
        // Coordinates of some millions in an f64 are good to 1e-9; a few vertices add up.
        prop_assert!((stretch - (to - from) * path.length_metres()).abs() < 1e-7, "{stretch}");
    }

    #[test]
    fn three_stretches_make_the_whole_line((code, line) in lines(), a in 0.0..=1.0f64, b in 0.0..=1.0f64) {
        let crs = crs(code);
        let path = crs.path(&line).unwrap();
        let (from, to) = (a.min(b), a.max(b));
        let parts = [(0.0, from), (from, to), (to, 1.0)].map(|(x, y)| path.sub_line(x, y).unwrap());
        prop_assert_eq!(parts[0][0], line[0]);
        prop_assert_eq!(parts[0].last(), parts[1].first());
        prop_assert_eq!(parts[1].last(), parts[2].first());
        prop_assert_eq!(parts[2].last(), line.last());
    }

    #[test]
    fn a_place_on_the_line_is_found_again((code, line) in lines(), fraction in 0.0..=1.0f64) {
        let crs = crs(code);
        let path = crs.path(&line).unwrap();
        let place = path.at_fraction(fraction).unwrap();
        let found = path.nearest(place).unwrap();
        prop_assert!(found.offset_metres < 1e-6, "{found:?}");
        // A line may cross itself, so the fraction need not be the same; it is never behind a
        // nearer one.
        let again = path.at_fraction(found.fraction).unwrap();
        prop_assert!(crs.distance_metres(place, again).unwrap() < 1e-6, "{found:?}");
    }

    #[test]
    fn no_vertex_and_no_other_place_is_nearer_than_the_nearest((code, line) in lines(), fraction in 0.0..=1.0f64, dx in -1.0..1.0f64, dy in -1.0..1.0f64) {
        let crs = crs(code);
        let path = crs.path(&line).unwrap();
        let reach = if code == 4326 { 0.001 } else { 100.0 };
        let point = [line[0][0] + dx * reach, line[0][1] + dy * reach];
        let found = path.nearest(point).unwrap();
        let other = path.at_fraction(fraction).unwrap();
        prop_assert!(found.offset_metres <= crs.distance_metres(point, other).unwrap() + 1e-6, "{found:?} against {other:?}");
        for &vertex in &line {
            prop_assert!(found.offset_metres <= crs.distance_metres(point, vertex).unwrap() + 1e-6, "{found:?} against {vertex:?}");
        }
    }

    #[test]
    fn farther_along_is_never_a_smaller_fraction((code, line) in lines(), a in -50.0..450.0f64, b in -50.0..450.0f64) {
        let crs = crs(code);
        let path = crs.path(&line).unwrap();
        let (near, far) = (a.min(b), a.max(b));
        let (first, second) = (path.at_stated_clamped(near, 400.0).unwrap(), path.at_stated_clamped(far, 400.0).unwrap());
        prop_assert!(first.fraction <= second.fraction && first.beyond <= second.beyond);
        // A chord cannot exceed its arc.
        let chord = crs.distance_metres(first.position, second.position).unwrap();
        prop_assert!(chord <= (second.fraction - first.fraction) * path.length_metres() + 1e-7);
    }
}
