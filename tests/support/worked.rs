//! The worked examples of the specification. Their figures come from the functions that grade,
//! check and write. Figures from outside are compared with their sources in the tests of the crates.

use std::fmt::Write;

use obvert::check::grading::{GradeExtent, GradeTotals};
use obvert::check::{Checker, Settings};
use obvert::model::lists::GradeScheme;
use obvert::model::number::{ClockHour, Grade};
use obvert::model::tables::{ClockReading, LengthUnit, Material, MaterialClass, QuantityUnit};
use obvert::model::write;
use serde_json::{Value, json};

use super::chapters;

/// The block of a worked example in a chapter; `None` if there is no example of that name.
pub(crate) fn example(name: &str, chapter: &str) -> Option<String> {
    Some(match name {
        "clock" => clock(),
        "units" => units(),
        "distance" => distance(chapter),
        "stretches" => stretches(),
        "total" => total(),
        "peaks" => peaks(),
        "canonical" => canonical(),
        "materials" => materials(),
        "tables" => tables(),
        _ => return None,
    })
}

/// Clock references as a camera from the other end sees them.
fn clock() -> String {
    let hour = |hour: f64| ClockHour::new(hour).expect("an hour");
    let mut out =
        String::from("| Hour or arc | From the other end | Hours covered |\n|---|---|---|\n");
    for at in [1.0, 3.0, 6.0, 12.0, 12.5] {
        let mirrored = hour(at).mirrored().expect("a clock has it");
        let _ = writeln!(out, "| {at} | {mirrored} | |");
    }
    for (from, to) in [(11.0, 2.0), (3.0, 9.0), (12.0, 12.0), (12.5, 1.0)] {
        let arc = ClockReading::Arc(hour(from), hour(to));
        let Some(ClockReading::Arc(a, b)) = arc.mirrored() else { panic!("an arc") };
        let _ = writeln!(out, "| {from} to {to} | {a} to {b} | {} |", arc.hours());
    }
    out
}

/// Which materials are of which class.
fn materials() -> String {
    let mut out = String::from("| Class | Materials |\n|---|---|\n");
    for class in MaterialClass::ALL {
        let of = Material::ALL.iter().filter(|material| material.class() == *class);
        let of: Vec<String> = of.map(|material| format!("`{material}`")).collect();
        let _ = writeln!(out, "| `{class}` | {} |", of.join(", "));
    }
    out
}

/// The CSV tables with the columns that identify a row, from the Table Schemas.
fn tables() -> String {
    let mut files: Vec<(String, Vec<String>)> = Vec::new();
    for (name, schema) in obvert::convert::csv::table_schemas() {
        let schema: Value = serde_json::from_str(&schema).expect("a schema");
        let text = |value: &Value| value.as_str().map(|name| format!("`{name}`"));
        let keys: Vec<String> = match &schema["primaryKey"] {
            Value::Array(keys) => keys.iter().filter_map(text).collect(),
            key => text(key).into_iter().collect(),
        };
        let (keys, file) = (keys.join(", "), format!("`{}`", name.replace(".json", ".csv")));
        match files.iter_mut().find(|(known, _)| *known == keys) {
            Some((_, files)) => files.push(file),
            None => files.push((keys, vec![file])),
        }
    }
    let mut out = String::from("| Files | A row is identified by |\n|---|---|\n");
    for (keys, files) in files {
        let _ = writeln!(out, "| {} | {keys} |", files.join(", "));
    }
    out
}

fn units() -> String {
    let mut out = String::from("| Amount | In | Gives |\n|---|---|---|\n");
    for (value, from, to) in [
        (12.0, QuantityUnit::Inch, QuantityUnit::Millimetre),
        (0.5, QuantityUnit::Inch, QuantityUnit::Millimetre),
        (1.0, QuantityUnit::Foot, QuantityUnit::Inch),
        (0.048, QuantityUnit::Metre, QuantityUnit::Millimetre),
        (3937.0, QuantityUnit::UsSurveyFoot, QuantityUnit::Metre),
    ] {
        let factor: f64 = from.factor_to(to).expect("one dimension");
        let _ = writeln!(out, "| {value} {from} | {to} | {} |", value * factor);
    }
    let (metres, ft) = (60.96, LengthUnit::Foot.metres());
    let _ = writeln!(out, "| {metres} m | ft | {} |", metres / ft);
    out
}

/// A pipe of 200 ft with a run from each end, and the checker's finding.
fn distance(chapter: &str) -> String {
    let catalogue = chapters::path_of("rules")
        .map(|path| chapters::link(chapter, &path))
        .expect("the catalogue");
    let mut out = String::from(
        "| First run: `surveyed`, `offset`, `reads` | Second run | *a* | *b* | *L* − *a* − *b* | \
         Rule |\n|---|---|---|---|---|---|\n",
    );
    for (first, second) in [
        ((120.0, 0.0, 0.0), (75.0, 0.0, 0.0)),
        ((120.0, 2.0, 0.0), (81.0, 0.0, 3.0)),
        ((120.0, 0.0, 0.0), (80.5, 0.0, 0.0)),
        ((120.0, 0.0, 0.0), (90.0, 0.0, 0.0)),
    ] {
        let mut document: Value = serde_json::from_str(obvert::check::MINIMAL).expect("json");
        let run = |id: &str, (surveyed, offset, reads): (f64, f64, f64), downstream: bool| {
            let [from, to] = if downstream { ["LM-014", "LM-015"] } else { ["LM-015", "LM-014"] };
            let zero = if offset == 0.0 { "structure-centre" } else { "structure-wall" };
            let mut run = json!({
                "id": id, "pipe": "L-101", "from": from, "to": to, "surveyed": surveyed,
                "direction": if downstream { "downstream" } else { "upstream" },
                "counter": { "zero": zero, "offset": offset, "reads": reads },
                "outcome": { "kind": if downstream { "stopped" } else { "met" }, "reason": "roots" }
            });
            if !downstream {
                run["reverse_of"] = "R-1".into();
                run["outcome"] = json!({ "kind": "met" });
            }
            run
        };
        document["runs"] = json!([run("R-1", first, true), run("R-2", second, false)]);
        for table in ["media", "locates", "ratings"] {
            document.as_object_mut().expect("a document").remove(table);
        }
        let report = Checker::new(Settings::default()).expect("settings");
        let report = report.check(document.to_string().as_bytes()).expect("json");
        let found = report.findings.iter().find(|found| found.rule.starts_with("reverse-"));
        let far = |(surveyed, offset, reads): (f64, f64, f64)| offset + surveyed - reads;
        let (a, b) = (far(first), far(second));
        let fact = found.and_then(|found| {
            let fact = |name: &str| found.params.get(name).and_then(Value::as_f64);
            fact("gap").or(fact("overlap").map(|overlap| -overlap))
        });
        let gap = 200.0 - a - b;
        // The figure printed is the checker's own, if it has one.
        assert!(fact.is_none_or(|fact| (fact - gap).abs() < 1e-9), "{fact:?} {gap}");
        let said =
            |(surveyed, offset, reads): (f64, f64, f64)| format!("{surveyed}, {offset}, {reads}");
        let rule = found.map_or_else(
            || "none: within the tolerance of 1 ft".to_owned(),
            |found| format!("[`{0}`]({catalogue}#{0})", found.rule),
        );
        let _ =
            writeln!(out, "| {} | {} | {a} | {b} | {gap} | {rule} |", said(first), said(second));
    }
    out
}

fn scheme(peak: Option<&Value>) -> GradeScheme {
    let step = |grade: u8| json!({ "grade": grade, "label": { "en": format!("grade {grade}") } });
    let steps: Vec<Value> = [2, 5, 10, 20, 25, 40, 80].into_iter().map(step).collect();
    let metre = json!({ "value": 1, "unit": "m" });
    let mut text = json!({
        "grade_scheme": "0.1", "id": "worked", "version": "1", "title": "Worked example",
        "code_list": { "list": "obvert-terms", "version": "1" },
        "scale": { "best": 2, "worst": 80, "steps": steps }, "aspects": ["structural"], "entries": [],
        "rollup": { "interval": metre, "per_length": metre }
    });
    if let Some(peak) = peak {
        text["rollup"]["peak"] = peak.clone();
    }
    GradeScheme::read(text.to_string().as_bytes()).expect("a scheme")
}

fn grade(value: u8) -> Grade {
    serde_json::from_value(json!(value)).expect("a grade")
}

fn stretches() -> String {
    let scheme = scheme(None);
    let mut out =
        String::from("| Length | *s* ∕ *interval* | *n* | Grade 2 adds |\n|---|---|---|---|\n");
    let feet = |feet: f64| (format!("{feet} ft"), feet * LengthUnit::Foot.metres());
    let metres = |metres: f64| (format!("{metres} m"), metres);
    for (said, length) in
        [metres(0.0), metres(0.4), metres(1.0), metres(1.001), metres(2.5), feet(31.8), feet(1.0)]
    {
        let mut totals = GradeTotals::default();
        totals.add(grade(2), GradeExtent { at: 0.0, length: Some(length) }, &scheme);
        let _ =
            writeln!(out, "| {said} | {} | {} | {} |", tidy(length), totals.count, totals.total);
    }
    out
}

fn tidy(value: f64) -> f64 {
    (value * 10_000.0).round() / 10_000.0
}

const PLACES: [(f64, u8); 5] = [(3.2, 10), (3.9, 20), (12.0, 80), (12.4, 5), (30.5, 40)];

fn rolled(places: &[(f64, u8)], peak: Option<&Value>) -> (GradeTotals, GradeScheme) {
    let scheme = scheme(peak);
    let mut totals = GradeTotals::default();
    for (at, value) in places {
        totals.add(grade(*value), GradeExtent::point(*at), &scheme);
    }
    totals.end_run(&scheme);
    (totals, scheme)
}

fn total() -> String {
    let (totals, scheme) = rolled(&PLACES, None);
    let mut out = String::from("| Figure | Computed | Is |\n|---|---|---|\n");
    let grades: Vec<String> = PLACES.iter().map(|(_, grade)| grade.to_string()).collect();
    let (total, count) = (totals.total, totals.count);
    let per = totals.per_length(36.5, &scheme).map_or(0.0, tidy);
    let _ = writeln!(out, "| `total` | {} | {total} |", grades.join(" + "));
    let _ = writeln!(out, "| `count` | five points, 1 each | {count} |");
    let _ = writeln!(out, "| `mean` | {total} ∕ {count} | {} |", totals.mean().map_or(0.0, tidy));
    let _ = writeln!(out, "| `per_length` | {total} ∕ 36.5 m × 1 m | {per} |");
    out
}

fn peaks() -> String {
    let mut out = String::from(
        "| Grades | `worst-grade` | `fixed-lengths` of 1 m | `sliding-length` of 1 m |\n|---|---|---|---|\n",
    );
    let trap = [(3.8, 20), (4.1, 25)];
    for places in [&PLACES[..], &trap] {
        let said: Vec<String> =
            places.iter().map(|(at, grade)| format!("{grade} at {at} m")).collect();
        let peak = |method: &str| {
            let peak = json!({ "method": method, "length": { "value": 1, "unit": "m" } });
            let (totals, scheme) = rolled(places, Some(&peak).filter(|_| method != "worst-grade"));
            totals.peak(&scheme).expect("a peak")
        };
        let [worst, fixed, sliding] = ["worst-grade", "fixed-lengths", "sliding-length"].map(peak);
        let _ = writeln!(out, "| {} | {worst} | {fixed} | {sliding} |", said.join(", "));
    }
    out
}

/// The document of the example, not in the layout for files.
const WRITTEN: &str = r#"{
  "obvert": "0.2",
  "issued": "2026-05-06T16:20:00-05:00",
  "id": "LM-2026-014",
  "units": { "section": "in", "length": "ft" },
  "coding": { "list": "obvert-terms", "version": "1" },
  "pipes": [],
  "structures": [ { "id": "LM-014", "kind": "manhole", "depth": 9.50, "street": "Gr\u00fcner Weg" } ]
}
"#;

fn canonical() -> String {
    let document = obvert::read(WRITTEN.as_bytes()).expect("a document");
    let bytes = String::from_utf8(write::canonical(&document).expect("canonical")).expect("UTF-8");
    let digest = write::digest(&document).expect("digest");
    format!(
        "As written:\n\n```json\n{WRITTEN}```\n\nCanonical form, one line without a newline at its end:\n\n```json\n{bytes}\n```\n\nDigest: `{digest}`\n"
    )
}
