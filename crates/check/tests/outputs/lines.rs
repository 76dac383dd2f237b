//! JSON lines.

use obvert_check::output::jsonl::{self, Line};

use crate::fixtures::all;
use crate::{FORMS, text};

#[test]
fn a_line_each_and_totals_at_both_ends() {
    for fixture in all() {
        let (name, report) = (fixture.name, fixture.report);
        let text = text(FORMS[0].1, &report);
        let lines: Vec<Line> = text
            .lines()
            .map(|line| {
                serde_json::from_str(line).unwrap_or_else(|error| panic!("{name}: {error}"))
            })
            .collect();
        assert!(text.ends_with('\n'), "{name}");
        let [Line::Report(head), findings @ .., Line::End(end)] = lines.as_slice() else {
            panic!("{name}: {text}")
        };
        assert_eq!(head.totals, report.totals, "{name}");
        assert_eq!(end.totals, report.totals, "{name}");
        assert_eq!(end.listed, report.findings.len(), "{name}");
        // All lines together give the report again.
        let mut whole = (**head).clone();
        for line in findings {
            let Line::Finding(finding) = line else { panic!("{name}: {line:?}") };
            whole.findings.push((**finding).clone());
        }
        assert_eq!(whole, report, "{name}");
    }
}

#[test]
fn the_schema_knows_every_line() {
    let schema = jsonl::schema().to_string();
    for kind in ["report", "finding", "end"] {
        assert!(schema.contains(&format!("\"const\":\"{kind}\"")), "{kind}");
    }
}
