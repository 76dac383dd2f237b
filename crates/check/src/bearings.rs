//! Which pipe, run and observation a place of a document lies in, read from the document as a JSON value: one that has
//! structural problems has no typed rows to ask.

use serde_json::Value;

use crate::finding::Finding;

/// Says in a finding which row it is about, as far as that can be read.
pub(crate) fn take(finding: &mut Finding, document: &Value) {
    let tokens: Vec<&str> = finding.path.split('/').skip(1).collect();
    let [table, row, below @ ..] = tokens.as_slice() else { return };
    let of = |table: &str, row: &str| document.get(table)?.get(row.parse::<usize>().ok()?);
    let Some(record) = of(table, row) else { return };
    let run = match *table {
        "pipes" => {
            finding.pipe = text(record, "id");
            return;
        }
        "runs" => Some(record),
        _ => {
            finding.record = text(record, "id");
            finding.run = text(record, "run");
            finding.distance = number(record, "at").filter(|_| finding.run.is_some());
            finding.pipe = text(record, "pipe");
            let runs = document.get("runs").and_then(Value::as_array);
            let same = |run: &&Value| finding.run.is_some() && text(run, "id") == finding.run;
            runs.and_then(|runs| runs.iter().find(same))
        }
    };
    let Some(run) = run else { return };
    finding.pipe = finding.pipe.take().or_else(|| text(run, "pipe"));
    if *table != "runs" {
        return;
    }
    finding.run = text(run, "id");
    let ["observations", row, ..] = below else { return };
    let Some(observation) = row.parse::<usize>().ok().and_then(|row| run.get("observations")?.get(row)) else { return };
    finding.observation = text(observation, "id");
    finding.distance = number(observation, "at");
}

fn text(record: &Value, key: &str) -> Option<String> {
    record.get(key)?.as_str().filter(|text| !text.is_empty()).map(str::to_owned)
}

fn number(record: &Value, key: &str) -> Option<f64> {
    record.get(key)?.as_f64()
}
