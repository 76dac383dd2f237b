//! Lengths on the ellipsoid, against published geodesics.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail by panicking")]

use obvert_geo::Crs;

/// `[lon1, lat1, lon2, lat2, metres]`: the 20 test cases of GeographicLib (C. F. F. Karney), as
/// published in geographiclib 2.1 for Python (MIT licence), file
/// `geographiclib/test/test_geodesic.py`, columns lat1, lon1, lat2, lon2 and s12.
const GEOGRAPHICLIB: [[f64; 5]; 20] = [
    [-139.44815, 35.60777, -69.95921, -11.17491, 8935244.56048183],
    [106.05087, 55.52454, 197.18234, 77.03196, 4105086.171392441],
    [142.59065, -21.97856, 98.56635, 41.84138, 8394328.894657671],
    [112.2363, -66.99028, 285.90344, -12.70631, 11150344.231208025],
    [173.34268, -17.42761, 5.93557, -15.84784, 16076603.163118068],
    [48.28919, 32.84994, 202.29132, -56.28556, 16727068.943816446],
    [52.74123, 6.96833, 206.17291, -7.39675, 17102477.249695837],
    [-16.30485, -50.56724, -94.97412, -33.56571, 6455670.511866869],
    [-8.90775, -58.93002, 133.13503, -8.91104, 11756066.021986462],
    [-74.28391, -68.82867, -8.36685, -50.63005, 3956936.926063544],
    [-32.0898, -10.62672, -134.31681, 5.883, 11470869.386456301],
    [166.90563, -21.76221, 213.97627, 48.72884, 9098627.398655491],
    [-174.47484, -19.79938, -154.35109, -11.99349, 2319004.860116939],
    [-116.94513, -11.95887, 7.16501, 4.57352, 13834722.580140138],
    [85.66836, -87.85331, 16.09921, 66.48646, 17286615.314714465],
    [128.32011, 1.74708, 11.87109, -11.16617, 12942901.124134742],
    [-144.90758, -25.72959, -269.17879, -57.70581, 9413446.745245311],
    [122.32875, -41.22777, 130.37946, -7.57291, 3812686.035106021],
    [138.25278, 11.01307, 247.05981, 6.62726, 11911190.819018409],
    [95.14681, -29.47124, -69.15955, -27.46601, 13487015.838114548],
];

fn wgs84() -> Crs {
    Crs::parse("EPSG:4326").unwrap()
}

#[test]
fn the_twenty_cases_of_geographiclib() {
    for [lon1, lat1, lon2, lat2, metres] in GEOGRAPHICLIB {
        let found = wgs84().distance_metres([lon1, lat1], [lon2, lat2]).unwrap();
        // GeographicLib's own test asks for 1e-8 m.
        assert!((found - metres).abs() < 1e-8, "{found} against {metres}");
    }
}

#[test]
fn places_along_the_twenty_cases_divide_them_in_proportion() {
    for [lon1, lat1, lon2, lat2, metres] in GEOGRAPHICLIB {
        let crs = wgs84();
        let ends = [[lon1, lat1], [lon2, lat2]];
        let middle = crs.point_along(&ends, 0.375).unwrap();
        let (before, after) = (
            crs.distance_metres(ends[0], middle).unwrap(),
            crs.distance_metres(middle, ends[1]).unwrap(),
        );
        assert!((before - 0.375 * metres).abs() < 2e-8, "{before} of {metres}");
        assert!((after - 0.625 * metres).abs() < 2e-8, "{after} of {metres}");
    }
}

/// First line of the GeodTest data set (C. F. F. Karney, 2010, doi:10.5281/zenodo.32156): from the
/// equatorial meridian to a point half a world away.
#[test]
fn the_first_line_of_geodtest() {
    let found = wgs84()
        .distance_metres([0.0, 36.530_042_355_041], [5.762_344_694_676_51, -48.164_270_779_097_77])
        .unwrap();
    assert!((found - 9_398_502.043_468_7).abs() < 1e-7, "{found}");
}

/// Computed with geographiclib 2.1; short lines like a pipe's, and two hard ones.
#[test]
fn lines_computed_with_geographiclib() {
    let cases = [
        ([0.0, 0.0], [1.0, 0.0], 111_319.490_793),
        ([0.0, 0.0], [0.0, 1.0], 110_574.388_558),
        ([0.0, 45.0], [0.001, 45.0], 78.846_835),
        ([0.0, 45.0], [0.0, 45.001], 111.131_787),
        ([0.0, 0.0], [179.5, 0.5], 19_936_288.578_965),
        ([-6.2603, 53.3498], [-6.258_498_018, 53.349_799_986], 120.0),
        ([-6.2603, 53.3498], [-6.259_519_856, 53.350_408_345], 85.34),
    ];
    for (from, to, metres) in cases {
        let found = wgs84().distance_metres(from, to).unwrap();
        // The end points are given to 9 decimals, which is 0.1 mm; the lengths to 6.
        let tolerance = if metres == 120.0 || metres == 85.34 { 1e-4 } else { 1e-6 };
        assert!((found - metres).abs() < tolerance, "{from:?} to {to:?}: {found} against {metres}");
    }
}

#[test]
fn a_system_in_grads_measures_the_same_ground() {
    // NTF (Paris) counts grads from Paris; NTF counts degrees from Greenwich; one ellipsoid. EPSG
    // gives Paris as 2.5969213 grad.
    let (paris, greenwich) = (Crs::parse("EPSG:4807").unwrap(), Crs::parse("EPSG:4275").unwrap());
    let in_grads = [[0.5, 54.0], [0.51, 54.02]];
    let in_degrees = in_grads.map(|[lon, lat]| [(lon + 2.596_921_3) * 0.9, lat * 0.9]);
    let (a, b) = (
        paris.line_length_metres(&in_grads).unwrap(),
        greenwich.line_length_metres(&in_degrees).unwrap(),
    );
    assert!((a - b).abs() < 1e-6 && a > 1000.0, "{a} against {b}");
    for (at_grads, at_degrees) in in_grads.iter().zip(in_degrees) {
        let (a, b) = (paris.to_wgs84(*at_grads).unwrap(), greenwich.to_wgs84(at_degrees).unwrap());
        assert!((a[0] - b[0]).abs() < 1e-11 && (a[1] - b[1]).abs() < 1e-11, "{a:?} against {b:?}");
    }
}

/// The scale factor of a projection is in a length on its plane and not in one on the ground. UTM
/// has 0.9996 on its central meridian by definition, and Web Mercator the secant of the latitude on
/// the sphere.
#[test]
fn plane_and_ground_lengths_differ_by_the_scale_factor() {
    let utm = Crs::parse("EPSG:32615").unwrap();
    let line = [[500_000.0, 4_000_000.0], [500_000.0, 4_000_100.0]];
    assert_eq!(utm.line_length_metres(&line).unwrap(), 100.0);
    let ground = utm.ground_length_metres(&line).unwrap();
    assert!((ground - 100.0 / 0.9996).abs() < 1e-6, "{ground}");

    let web = Crs::parse("EPSG:3857").unwrap();
    let [from, to] = [[10.0, 60.0], [10.001, 60.0]].map(|p| web.from_wgs84(p).unwrap());
    let (plane, ground) =
        (web.distance_metres(from, to).unwrap(), web.ground_length_metres(&[from, to]).unwrap());
    assert!((plane / ground - 2.0).abs() < 0.01, "{plane} against {ground}");
}
