//! Owners rank whole networks by grades and ratings, so every step of the arithmetic is compared
//! with figures computed by hand: continuous features, rising and falling scales, and totals.
//!
//! The sources of figures are the worked example of a total and a mean per metre (from memory of
//! common practice, reproduced by computation; no published table) and the exact foot of 0.3048 m
//! (NIST SP 811).

#![allow(clippy::expect_used)]

use obvert_check::grading::{GradeExtent, GradeSettings, GradeTotals, Why};
use obvert_check::{Checker, Finding, MINIMAL, Settings};
use obvert_model::lists::{CodeList, GradeScheme};
use obvert_model::number::Grade;
use obvert_model::tables::Aspect;
use serde_json::{Value, json};

fn grade(value: u8) -> Grade {
    serde_json::from_value(json!(value)).expect("a grade")
}

/// A scheme with its steps, its best and worst grade, its entries and its roll-up.
fn scheme(
    steps: &[u8],
    [best, worst]: [u8; 2],
    entries: &Value,
    interval: &Value,
    per_length: &Value,
) -> GradeScheme {
    let step = |grade: &u8| json!({ "grade": grade, "label": { "en": format!("grade {grade}") } });
    let text = json!({
        "grade_scheme": "0.1", "id": "larkmoor-grades", "version": "1", "title": "Larkmoor grades",
        "code_list": { "list": "obvert-terms", "version": "1" },
        "scale": { "best": best, "worst": worst, "steps": steps.iter().map(step).collect::<Vec<_>>() },
        "aspects": ["structural", "operational"], "entries": entries,
        "rollup": { "interval": interval, "per_length": per_length }
    });
    GradeScheme::read(text.to_string().as_bytes()).expect("a scheme")
}

fn metres() -> Value {
    json!({ "value": 1, "unit": "m" })
}

fn over(metres: f64) -> GradeExtent {
    GradeExtent { at: 0.0, length: Some(metres) }
}

#[test]
fn a_continuous_feature_counts_once_for_every_interval_begun_and_at_least_once() {
    let scheme = GradeScheme::obvert_grades();
    // Intervals of 1 m. 31.8 ft are 9.692 64 m; 44.2 − 12.4 is not quite 31.8 in a double, and 4.4
    // − 1.4 is a little more than 3, which must not begin a fourth interval.
    let stretches = [
        (0.0, 1),
        (0.4, 1),
        (1.0, 1),
        (1.001, 2),
        (9.692_64, 10),
        ((44.2 - 12.4) * 0.3048, 10),
        (4.4 - 1.4, 3),
        (5.0, 5),
    ];
    for (metres, times) in stretches {
        let mut totals = GradeTotals::default();
        totals.add(grade(3), over(metres), scheme);
        assert_eq!(
            (totals.count, totals.total),
            (times, 3.0 * f64::from(u32::try_from(times).expect("few"))),
            "{metres}"
        );
    }
}

#[test]
fn an_interval_in_feet_is_measured_in_feet() {
    let feet = json!({ "value": 5, "unit": "ft" });
    let scheme = scheme(&[1, 2], [1, 2], &json!([]), &feet, &json!({ "value": 100, "unit": "ft" }));
    let mut totals = GradeTotals::default();
    totals.add(grade(2), over(15.0 * 0.3048), &scheme);
    assert_eq!(totals.count, 3, "15 ft are three intervals of 5 ft and not a fourth begun");
    totals.add(grade(1), over(15.1 * 0.3048), &scheme);
    assert_eq!((totals.count, totals.total), (7, 10.0));
    // 10 over 400 ft are 2.5 for each 100 ft.
    let per_length = totals.per_length(400.0 * 0.3048, &scheme).expect("a length");
    assert!((per_length - 2.5).abs() < 1e-9, "{per_length}");
    assert_eq!(totals.per_length(0.0, &scheme), None);
}

#[test]
fn a_scale_may_fall() {
    let scheme = scheme(&[1, 2, 3], [3, 1], &json!([]), &metres(), &metres());
    let mut totals = GradeTotals::default();
    assert_eq!((totals.worst, totals.mean()), (None, None));
    for value in [3, 1, 2] {
        totals.add(grade(value), GradeExtent::point(0.0), &scheme);
    }
    assert_eq!((totals.worst, totals.mean()), (Some(grade(1)), Some(2.0)));
    let mut other = GradeTotals::default();
    other.add(grade(3), GradeExtent::point(0.0), &scheme);
    other.merge(&totals, &scheme);
    assert_eq!((other.worst, other.total, other.count), (Some(grade(1)), 9.0, 4));
}

#[test]
fn grades_that_cannot_be_counted_are_doubtful() {
    let scheme = GradeScheme::obvert_grades();
    let mut totals = GradeTotals::default();
    totals.add(grade(22), GradeExtent::point(0.0), scheme);
    totals.add(grade(2), GradeExtent { at: 0.0, length: None }, scheme);
    totals.add(grade(2), over(-3.0), scheme);
    assert_eq!((totals.doubtful, totals.count, totals.total, totals.worst), (3, 0, 0.0, None));
}

// Observations at 3.2, 3.9, 12.0, 12.4 and 30.5 m with scores 10, 20, 80, 5 and 40 on 36.5 m: total
// 155, mean 4.2466 a metre, highest single score 80. The mean a metre of that example is
// `per_length` here; `mean` is 155 ÷ 5 = 31.
#[test]
fn the_worked_example_of_a_total_and_a_mean_per_metre() {
    let scheme = scheme(&[5, 10, 20, 40, 80], [5, 80], &json!([]), &metres(), &metres());
    let mut totals = GradeTotals::default();
    for score in [10, 20, 80, 5, 40] {
        totals.add(grade(score), GradeExtent::point(0.0), &scheme);
    }
    assert_eq!(
        (totals.total, totals.count, totals.worst, totals.mean()),
        (155.0, 5, Some(grade(80)), Some(31.0))
    );
    let per_metre = totals.per_length(36.5, &scheme).expect("a length");
    assert!((per_metre - 4.2466).abs() < 0.000_05, "{per_metre}");
}

/// The scheme of the worked example with another peak.
fn summing(method: &str, metres: f64) -> GradeScheme {
    let mut with =
        scheme(&[5, 10, 20, 25, 40, 80], [5, 80], &json!([]), &self::metres(), &self::metres());
    let peak = json!({ "method": method, "length": { "value": metres, "unit": "m" } });
    with.rollup.peak = Some(serde_json::from_value(peak).expect("a peak"));
    with
}

fn peak_of(scheme: &GradeScheme, places: &[(f64, u8)]) -> Option<f64> {
    let mut totals = GradeTotals::default();
    for (at, score) in places {
        totals.add(grade(*score), GradeExtent::point(*at), scheme);
    }
    totals.end_run(scheme);
    totals.peak(scheme)
}

// The worked example's third figure: peak 85 by metres (12.0 and 12.4 m are in one), while the
// highest single score is 80. It also shows a pitfall: 20 at 3.8 m and 25 at 4.1 m are 25 in fixed
// metres but 45 in a sliding one. From memory of common practice and reproduced by computation; no
// published table.
#[test]
fn a_peak_by_lengths_is_the_greatest_sum_in_one_length() {
    let example = [(3.2, 10), (3.9, 20), (12.0, 80), (12.4, 5), (30.5, 40)];
    let trap = [(3.8, 20), (4.1, 25)];
    for (method, metres, places, peak) in [
        ("fixed-lengths", 1.0, &example[..], 85.0),
        ("sliding-length", 1.0, &example[..], 85.0),
        ("fixed-lengths", 1.0, &trap[..], 25.0),
        ("sliding-length", 1.0, &trap[..], 45.0),
        ("fixed-lengths", 40.0, &example[..], 155.0),
        // Half-open: a distance of exactly one length is in the next one, whatever the rounding.
        ("sliding-length", 1.0, &[(0.1, 20), (1.1, 25)], 25.0),
        ("sliding-length", 0.3, &[(0.1, 20), (0.4, 25)], 25.0),
        ("fixed-lengths", 0.1, &[(0.3, 20), (0.35, 25)], 45.0),
        // The order of rows does not matter.
        ("sliding-length", 1.0, &[(4.1, 25), (9.0, 5), (3.8, 20)], 45.0),
    ] {
        assert_eq!(
            peak_of(&summing(method, metres), places),
            Some(peak),
            "{method} {metres} {places:?}"
        );
    }
    assert_eq!(peak_of(&summing("fixed-lengths", 1.0), &[]), None);
}

#[test]
fn a_continuous_feature_adds_to_the_lengths_that_it_runs_through() {
    let scheme = summing("fixed-lengths", 1.0);
    let mut totals = GradeTotals::default();
    // 2.5 m count three times: at 0.5, 1.5 and 2.5 m.
    totals.add(grade(20), GradeExtent { at: 0.5, length: Some(2.5) }, &scheme);
    totals.add(grade(5), GradeExtent::point(2.9), &scheme);
    totals.end_run(&scheme);
    assert_eq!((totals.total, totals.peak(&scheme)), (65.0, Some(25.0)));
    // In another run of the pipe the metres start again.
    let mut other = GradeTotals::default();
    other.add(grade(10), GradeExtent::point(2.7), &scheme);
    other.end_run(&scheme);
    totals.merge(&other, &scheme);
    assert_eq!((totals.total, totals.peak(&scheme)), (75.0, Some(25.0)));
}

#[test]
fn a_rating_is_compared_with_the_peak_of_the_scheme() {
    let check = |peak: f64| {
        let mut scheme = summing("fixed-lengths", 1.0);
        scheme.entries = serde_json::from_value(
            json!([{ "code": "porous", "aspect": "structural", "grade": 5 }]),
        )
        .expect("entries");
        let rating = json!({ "id": "G-1", "pipe": "L-101", "aspect": "structural", "peak": peak, "total": 155 });
        let document = example(&rating);
        let mut found = findings(&document, "rating-contradicts", vec![scheme.clone()]);
        found.extend(findings(&document, "rating-outside-scale", vec![scheme]));
        found.into_iter().map(|finding| finding.message).collect::<Vec<_>>()
    };
    assert_eq!(check(85.0), [""; 0]);
    assert_eq!(
        check(80.0),
        ["peak 80 is stated, but the grades in one length of 1 m of R-101 add up to 85 at most"]
    );
}

/// The worked example as a document, with a rating of it.
fn example(rating: &Value) -> Value {
    let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal document");
    let scored = [(3.2, 10), (3.9, 20), (12.0, 80), (12.4, 5), (30.5, 40)];
    let mut rows = vec![json!({ "id": "0", "at": 0, "code": "run.start" })];
    rows.extend(scored.iter().map(
        |(at, score)| json!({ "id": at.to_string(), "at": at, "code": "porous", "grades": { "structural": score } }),
    ));
    rows.push(json!({ "id": "9", "at": 36.5, "code": "run.finish" }));
    document["units"] = json!({ "length": "m", "section": "mm" });
    document["grading"] = json!({ "scheme": "larkmoor-grades", "version": "1" });
    for table in ["ratings", "locates", "media"] {
        document[table] = json!([]);
    }
    document["ratings"] = json!([rating]);
    document["pipes"][0]["length"] = json!(36.5);
    document["runs"] = json!([{ "id": "R-101", "pipe": "L-101", "direction": "downstream", "surveyed": 36.5,
        "outcome": { "kind": "reached" }, "observations": rows }]);
    document
}

fn findings(document: &Value, rule: &str, schemes: Vec<GradeScheme>) -> Vec<Finding> {
    let checker = Checker::new(Settings::default().with_grade_schemes(schemes)).expect("settings");
    let report = checker.check(document.to_string().as_bytes()).expect("json");
    report.findings.into_iter().filter(|finding| finding.rule == rule).collect()
}

fn clay_scheme() -> GradeScheme {
    let entries = json!([{ "code": "porous", "aspect": "structural", "grade": 5 }]);
    scheme(&[5, 10, 20, 40, 80], [5, 80], &entries, &metres(), &metres())
}

fn contradicted(document: &Value) -> Vec<(String, String)> {
    findings(document, "rating-contradicts", vec![clay_scheme()])
        .into_iter()
        .map(|f| (f.subject.path, f.message))
        .collect()
}

#[test]
fn a_rating_that_adds_up_is_not_contradicted() {
    let right = json!({ "id": "G-1", "pipe": "L-101", "aspect": "structural",
        "peak": 80, "total": 155, "count": 5, "mean": 31, "per_length": 4.2466 });
    assert_eq!(contradicted(&example(&right)), []);
}

#[test]
fn every_wrong_figure_is_found_with_the_right_one() {
    let wrong = json!({ "id": "G-1", "pipe": "L-101", "aspect": "structural",
        "peak": 40, "total": 150, "count": 6, "mean": 25, "per_length": 4.25 });
    let message = "5 figures differ from what the grades give: peak 40 is stated, but the worst grade in R-101 is 80; \
        total 150 is stated, but the grades in R-101 add up to 155 (5 counted, a stretch once for each 1 m begun); \
        mean 25 is stated, but 155 ÷ 5 = 31 in R-101; \
        count 6 is stated, but 5 grades count in R-101, a stretch once for each 1 m begun; \
        per_length 4.25 is stated, but 155 over 36.5 m in R-101 is 4.2466 for each 1 m";
    let document = example(&wrong);
    assert_eq!(contradicted(&document), [("/ratings/0".to_owned(), message.to_owned())]);
    let found = findings(&document, "rating-contradicts", vec![clay_scheme()]);
    let stated =
        json!({ "peak": 40.0, "total": 150.0, "count": 6.0, "mean": 25.0, "per_length": 4.25 });
    let computed = json!({ "peak": 80.0, "total": 155.0, "count": 5.0, "mean": 31.0, "per_length": 155.0 / 36.5 });
    assert_eq!((&found[0].params["stated"], &found[0].params["computed"]), (&stated, &computed));
}

#[test]
fn a_rating_with_one_wrong_figure_is_found_at_the_figure() {
    let wrong = json!({ "id": "G-1", "pipe": "L-101", "aspect": "structural", "peak": 80, "total": 150, "count": 5 });
    let message = "total 150 is stated, but the grades in R-101 add up to 155 (5 counted, a stretch once for each 1 m begun)";
    assert_eq!(
        contradicted(&example(&wrong)),
        [("/ratings/0/total".to_owned(), message.to_owned())]
    );
}

/// The mistake is in a row, where another rule finds it. The rating follows the corrected row.
#[test]
fn a_rating_that_agrees_with_corrected_rows_is_not_contradicted() {
    let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal document");
    let rows = document["runs"][0]["observations"].as_array().expect("rows").clone();
    let found = |document: &Value| -> Vec<(String, String)> {
        let report = Checker::new(Settings::default())
            .expect("settings")
            .check(document.to_string().as_bytes());
        let weighs = |finding: &Finding| {
            finding.severity > obvert_check::Severity::Note
                && finding.rule != "worst-grade-without-photo"
        };
        let findings = report.expect("JSON").findings.into_iter().filter(weighs);
        findings.map(|finding| (finding.rule.into_owned(), finding.subject.path)).collect()
    };
    assert_eq!(found(&document), []);
    let is = |rule: &str, path: &str| vec![(rule.to_owned(), path.to_owned())];
    // Another grade than the scheme's.
    document["runs"][0]["observations"][4]["grades"]["structural"] = json!(5);
    assert_eq!(
        found(&document),
        is("grade-contradicts", "/runs/0/observations/4/grades/structural")
    );
    // The rating follows the recorded grade, so only the grade is wrong.
    document["ratings"][0] =
        json!({ "id": "G-1", "pipe": "L-101", "aspect": "structural", "peak": 5, "total": 25 });
    assert_eq!(
        found(&document),
        is("grade-contradicts", "/runs/0/observations/4/grades/structural")
    );
    // Neither matches.
    document["ratings"][0]["total"] = json!(23);
    assert!(
        found(&document)
            .contains(&("rating-contradicts".to_owned(), "/ratings/0/total".to_owned()))
    );
    document["ratings"][0]["total"] = json!(22);
    document["ratings"][0]["peak"] = json!(2);
    // A row entered a second time.
    document["runs"][0]["observations"] = json!(rows);
    let mut again = rows[4].clone();
    again["id"] = json!("4-again");
    document["runs"][0]["observations"].as_array_mut().expect("rows").insert(5, again);
    assert_eq!(found(&document), is("observation-duplicate", "/runs/0/observations/5"));
    // A continuous feature entered a second time, starting inside the first.
    document["runs"][0]["observations"] = json!(rows);
    let mut again = rows[2].clone();
    (again["id"], again["at"]) = (json!("2-again"), json!(20));
    document["runs"][0]["observations"].as_array_mut().expect("rows").insert(3, again);
    assert_eq!(found(&document), is("stretch-overlap", "/runs/0/observations/3"));
    // A point feature recorded as a continuous one.
    document["runs"][0]["observations"] = json!(rows);
    document["runs"][0]["observations"][4]["to"] = json!(120);
    document["runs"][0]["observations"][4]["continuous"] = json!(true);
    assert_eq!(found(&document), is("stretch-not-allowed", "/runs/0/observations/4/to"));
}

#[test]
fn rounding_is_accepted_and_larger_differences_are_not() {
    let stated = |per_length: f64| json!({ "id": "G-1", "pipe": "L-101", "aspect": "structural", "per_length": per_length });
    // 155 ÷ 36.5 = 4.246 575…; the tolerance is 0.0005 of it, 0.002 12.
    for (per_length, count) in [(4.247, 0), (4.2445, 0), (4.2486, 0), (4.2444, 1), (4.2488, 1)] {
        assert_eq!(contradicted(&example(&stated(per_length))).len(), count, "{per_length}");
    }
}

#[test]
fn a_rating_of_grades_that_cannot_be_counted_is_not_checked() {
    let rating = json!({ "id": "G-1", "pipe": "L-101", "aspect": "structural", "total": 1 });
    let mut off = example(&rating);
    off["runs"][0]["observations"][1]["grades"]["structural"] = json!(11);
    assert_eq!(contradicted(&off), []);
    let mut open = example(&rating);
    open["runs"][0]["observations"][1]["continuous"] = json!(true);
    assert_eq!(contradicted(&open), []);
    let mut unknown = example(&rating);
    unknown["ratings"][0]["runs"] = json!(["R-1O1"]);
    assert_eq!(contradicted(&unknown), []);
    // Without a surveyed distance only the figure that needs it is not checked.
    let mut short = example(&rating);
    short["ratings"][0]["per_length"] = json!(1);
    let paths = |document: &Value| {
        contradicted(document).into_iter().map(|(path, _)| path).collect::<Vec<_>>()
    };
    assert_eq!(paths(&short), ["/ratings/0"]);
    // It is not checked either if the pipe contradicts that distance.
    short["pipes"][0]["length"] = json!(60);
    assert_eq!(paths(&short), ["/ratings/0/total"]);
    short["pipes"][0]["length"] = json!(36.5);
    assert_eq!(paths(&short), ["/ratings/0"]);
    short["runs"][0].as_object_mut().expect("a run").remove("surveyed");
    assert_eq!(paths(&short), ["/ratings/0/total"]);
}

/// A clay pipe with an inserted length of plastic: after the material change a deformation is
/// graded as in plastic, and after the change back as in clay.
#[test]
fn a_grade_follows_the_material_at_the_row() {
    let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal document");
    let change = |id: &str, at: f64, to: &str| json!({ "id": id, "at": at, "code": "change.material", "characterisation": [to] });
    let dent = |id: &str, at: f64, grade: u8| {
        json!({ "id": id, "at": at, "code": "deformation.vertical", "quantities": [{ "value": 6, "unit": "percent" }],
            "grades": { "structural": grade } })
    };
    document["runs"][0]["observations"] = json!([
        dent("1", 10.0, 4),
        change("2", 20.0, "plastic"),
        dent("3", 25.0, 2),
        dent("4", 26.0, 4),
        change("5", 30.0, "clayware"),
        dent("6", 35.0, 4),
        dent("7", 36.0, 2)
    ]);
    let found = findings(&document, "grade-contradicts", Vec::new());
    let places: Vec<&str> = found.iter().map(|finding| finding.subject.path.as_str()).collect();
    assert_eq!(
        places,
        ["/runs/0/observations/3/grades/structural", "/runs/0/observations/6/grades/structural"]
    );
    assert!(
        found[0]
            .message
            .ends_with("gives 2: reduction 6 percent, from 5 to below 7.5 percent; in plastic")
    );
    // If the run changes to the recorded material, the material before the change is unknown.
    document["runs"][0]["observations"] =
        json!([dent("1", 10.0, 1), change("2", 20.0, "clayware"), dent("3", 25.0, 1)]);
    let found = findings(&document, "grade-contradicts", Vec::new());
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].subject.path, "/runs/0/observations/2/grades/structural");
}

/// A size in the wrong unit is one mistake of the pipe, not one of every grade in it.
#[test]
fn a_size_in_the_wrong_unit_does_not_contradict_grades() {
    let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal document");
    document["pipes"][0]["height"] = json!(200);
    assert_eq!(findings(&document, "grade-contradicts", Vec::new()), []);
}

/// A finding states a computed grade only if the scheme gives one, and no placeholder otherwise.
#[test]
fn a_finding_has_no_computed_grade_if_the_scheme_gives_none() {
    let entries =
        json!([{ "code": "porous", "aspect": "structural", "materials": ["masonry"], "grade": 5 }]);
    let scheme = scheme(&[5, 10, 20, 40, 80], [5, 80], &entries, &metres(), &metres());
    let document = example(&json!({ "id": "G-1", "pipe": "L-101", "aspect": "structural" }));
    let found = findings(&document, "grade-contradicts", vec![scheme]);
    assert_eq!(found.len(), 5);
    assert_eq!(json!(found[0].params), json!({ "recorded": 10 }));
    let found = findings(&document, "grade-contradicts", vec![clay_scheme()]);
    assert_eq!(json!(found[0].params), json!({ "recorded": 10, "computed": 5 }));
}

/// A scheme for another list grades nothing, which is reported once.
#[test]
fn a_scheme_for_another_code_list_is_one_finding() {
    let mut other = scheme(&[1, 2, 3, 4, 5], [1, 5], &json!([]), &metres(), &metres());
    other.code_list.list = "larkmoor-codes".parse().expect("text");
    let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal document");
    document["grading"]["scheme"] = json!("larkmoor-grades");
    let found = findings(&document, "grade-scheme-unknown", vec![other.clone()]);
    assert_eq!(found.len(), 1);
    assert_eq!(
        found[0].message,
        "larkmoor-grades 1 grades the codes of larkmoor-codes 1, but the document is coded in obvert-terms 1"
    );
    assert_eq!(findings(&document, "grade-aspect-unexpected", vec![other]), []);
}

#[test]
fn a_table_counts_recorded_grades_unless_told_to_compute() {
    let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal document");
    document["ratings"] = json!([]);
    // Recorded as 4, while the scheme gives 2.
    document["runs"][0]["observations"][4]["grades"]["structural"] = json!(4);
    let source = document.to_string();
    let checker = Checker::new(Settings::default()).expect("settings");
    let structural = |by: GradeSettings<'_>| {
        let table = checker.grades(source.as_bytes(), by).expect("grades");
        let aspect = table.pipes[0].aspects[0].clone();
        (
            table.computed_only,
            aspect.peak,
            aspect.observations[0].recorded,
            aspect.observations[0].computed,
        )
    };
    assert_eq!(structural(GradeSettings::default()), (false, Some(4.0), true, Some(2)));
    assert_eq!(
        structural(GradeSettings::default().with_computed_only(true)),
        (true, Some(2.0), false, Some(2))
    );
    // Grades recorded with another scheme do not apply to the scale of this one.
    let mut own = GradeScheme::obvert_grades().clone();
    own.version = serde_json::from_value(json!("2")).expect("a text");
    assert_eq!(
        structural(GradeSettings::default().with_scheme(&own)),
        (true, Some(2.0), false, Some(2))
    );
}

#[test]
fn a_table_has_pipes_without_runs_and_runs_without_pipes() {
    let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal document");
    document["ratings"] = json!([]);
    for run in document["runs"].as_array_mut().expect("runs") {
        if run["pipe"] == "L-102" {
            run["pipe"] = json!("L-999");
        }
    }
    let checker = Checker::new(Settings::default()).expect("settings");
    let table =
        checker.grades(document.to_string().as_bytes(), GradeSettings::default()).expect("grades");
    let found: Vec<(&str, usize, bool)> = table
        .pipes
        .iter()
        .map(|pipe| (pipe.pipe.as_str(), pipe.runs.len(), pipe.length.is_some()))
        .collect();
    assert_eq!(found, [("L-101", 1, true), ("L-102", 0, true), ("L-999", 2, false)]);
    let worst: Vec<&str> =
        table.worst_first(Aspect::Structural).iter().map(|pipe| pipe.pipe.as_str()).collect();
    assert_eq!(worst.last(), Some(&"L-102"), "{worst:?}");
}

/// A document in `en-13508-2`, graded by a scheme for `obvert-terms`, only through exact links.
#[test]
fn a_list_that_is_linked_to_the_graded_one_is_graded_by_exact_links() {
    let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal document");
    document["coding"] = json!({ "list": "en-13508-2", "version": CodeList::en_13508_2().version });
    document["ratings"] = json!([]);
    let rows = json!([
        // The list calls it exactly `crack.longitudinal`, which the scheme grades by its width.
        { "id": "1", "at": 10, "code": "BAB", "characterisation": ["B", "A"], "quantities": [{ "value": 1, "unit": "mm" }], "clock": { "at": 3 } },
        // A row translated with a loss keeps its original code, and is not graded by its new one.
        { "id": "2", "at": 20, "code": "BAC", "characterisation": ["B"],
          "extensions": { "example.obvert.original": { "list": "obvert-terms", "version": "1", "code": "hole" } } },
        // Not a code of the list.
        { "id": "3", "at": 30, "code": "BZZ" },
    ]);
    document["runs"] = json!([{ "id": "R-101", "pipe": "L-101", "direction": "downstream", "observations": rows }]);
    let source = document.to_string();
    let checker = Checker::new(Settings::default()).expect("settings");
    let table = checker.grades(source.as_bytes(), GradeSettings::default()).expect("grades");
    let rows = &table.pipes[0].aspects[0].observations;
    // The grade of a longitudinal crack 1 mm wide in clayware.
    let expected = 2;
    assert_eq!(rows.len(), 1);
    assert_eq!((rows[0].grade, rows[0].via.as_deref()), (expected, Some("crack.longitudinal")));
    let message = "BAB B A is crack.longitudinal of obvert-terms; ";
    assert!(rows[0].because.starts_with(message), "{}", rows[0].because);
    let without: Vec<_> =
        table.ungraded.iter().map(|row| (row.why, row.count, row.codes.join(" "))).collect();
    assert_eq!(
        without,
        [(Why::CodeUnknown, 1, "BZZ".to_owned()), (Why::NoExactLink, 1, "BAC".to_owned())]
    );
    // A grade from a link can be contradicted; a code without a link cannot.
    document["runs"][0]["observations"][0]["grades"] =
        json!({ "structural": if expected == 5 { 4 } else { 5 } });
    document["runs"][0]["observations"][1]["grades"] = json!({ "structural": 3 });
    let found = |rule: &str| -> Vec<String> {
        findings(&document, rule, Vec::new())
            .into_iter()
            .map(|finding| finding.subject.path)
            .collect()
    };
    assert_eq!(found("grade-contradicts"), ["/runs/0/observations/0/grades/structural"]);
    assert_eq!(found("grade-aspect-unexpected"), [] as [&str; 0]);
    assert_eq!(found("grade-scheme-unknown"), [] as [&str; 0]);
}

/// A link that is wider than the code, or one of several that fit, gives no grade.
#[test]
fn a_wider_link_gives_no_grade() {
    let own = json!({
        "code_list": "0.1", "id": "larkmoor-codes", "version": "1", "title": "Larkmoor codes",
        "codes": [
            { "code": "CRACKED", "family": "structural", "label": { "en": "cracked" }, "clock": { "use": "optional" }, "continuous": "allowed", "joint": "allowed",
              "same_as": [{ "list": "obvert-terms", "code": "crack.longitudinal", "fit": "wider" }] },
            { "code": "LONG", "family": "structural", "label": { "en": "long crack" }, "clock": { "use": "optional" }, "continuous": "allowed", "joint": "allowed",
              "same_as": [{ "list": "obvert-terms", "code": "crack.longitudinal" }] },
        ]
    });
    let list = CodeList::read(own.to_string().as_bytes()).expect("a code list");
    let mut document: Value = serde_json::from_str(MINIMAL).expect("the minimal document");
    document["coding"] = json!({ "list": "larkmoor-codes", "version": "1" });
    document["ratings"] = json!([]);
    let rows = json!([{ "id": "1", "at": 10, "code": "CRACKED" }, { "id": "2", "at": 20, "code": "LONG" }]);
    document["runs"] = json!([{ "id": "R-101", "pipe": "L-101", "direction": "downstream", "observations": rows }]);
    let settings = Settings::default().with_code_lists([list]);
    let table = Checker::new(settings)
        .expect("settings")
        .grades(document.to_string().as_bytes(), GradeSettings::default())
        .expect("grades");
    let graded: Vec<&str> =
        table.pipes[0].aspects[0].observations.iter().map(|row| row.code.as_str()).collect();
    assert_eq!(graded, ["LONG"]);
    assert_eq!(table.ungraded.len(), 1);
    assert_eq!(
        (table.ungraded[0].why, table.ungraded[0].codes.as_slice()),
        (Why::NoExactLink, &["CRACKED".to_owned()][..])
    );
}
