//! Mistakes that only show when rows of different tables are compared: locates with structures and
//! pipes, runs of one pipe with each other, and the rows of runs.

use serde_json::{Value, json};

use super::edit::{Edit, Mistake, to};

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or(0.0)
}

/// The table's row with an id.
fn row_of<'v>(edit: &'v Edit<'_>, table: &str, id: &Value) -> Option<&'v Value> {
    edit.document[table].as_array()?.iter().find(|row| row["id"] == *id)
}

/// A locate that is the only one of its run, of those for which `fits` is true. The others are
/// removed.
fn only_locate(edit: &mut Edit<'_>, fits: impl Fn(&Edit<'_>, &Value) -> bool) -> Option<usize> {
    let locates = edit.document["locates"].as_array()?.clone();
    let fitting: Vec<usize> =
        (0..locates.len()).filter(|index| fits(edit, &locates[*index])).collect();
    let kept = edit.choice(&fitting)?;
    let run = &locates[kept]["run"];
    let left: Vec<Value> = locates
        .iter()
        .enumerate()
        .filter(|(index, row)| *index == kept || row["run"] != *run)
        .map(|(_, row)| row.clone())
        .collect();
    let place = left.iter().position(|row| row["id"] == locates[kept]["id"]);
    edit.set("/locates", left);
    place
}

/// The pipe that a locate is in.
fn pipe_of(edit: &Edit<'_>, locate: &Value) -> Option<Value> {
    let run = row_of(edit, "runs", &locate["run"])?;
    row_of(edit, "pipes", &run["pipe"]).cloned()
}

fn is_lateral(edit: &Edit<'_>, locate: &Value) -> bool {
    pipe_of(edit, locate).is_some_and(|pipe| pipe["joins"].is_object())
}

fn move_locate(edit: &mut Edit<'_>, locate: usize, by: [f64; 2]) {
    for (axis, by) in by.into_iter().enumerate() {
        let pointer = format!("/locates/{locate}/position/{axis}");
        let value = edit.number_at(&pointer);
        edit.set(&pointer, value + by);
    }
}

/// Two runs of one pipe, the second of which completes the first, with the length of the pipe.
fn two_halves(edit: &mut Edit<'_>) -> Option<(usize, usize, f64)> {
    let second = edit.row("runs", |run| {
        run["reverse_of"].is_string()
            && run.get("launched").is_none()
            && run["counter"]["zero"] == "structure-centre"
    })?;
    let run = &edit.document["runs"][second];
    let (other, pipe) = (run["reverse_of"].clone(), run["pipe"].clone());
    let length = row_of(edit, "pipes", &pipe)?["length"].as_f64()?;
    let runs = edit.document["runs"].as_array()?;
    let first = runs.iter().position(|run| run["id"] == other)?;
    (runs[first].get("launched").is_none() && runs[first]["counter"]["zero"] == "structure-centre")
        .then_some((first, second, length))
}

/// Inserts a row into a run, in the order of distance.
fn insert(edit: &mut Edit<'_>, run: usize, row: Value) -> usize {
    let rows = edit.rows(run);
    let place = rows.partition_point(|other| number(other, "at") <= number(&row, "at"));
    rows.insert(place, row);
    place
}

/// A place 6 ft before the end of the first half, and far enough into the second one.
fn seen_from_both(edit: &mut Edit<'_>, rows: [Value; 2]) -> Option<(usize, usize)> {
    let (first, second, length) = two_halves(edit)?;
    let far = number(&edit.document["runs"][first], "surveyed");
    let place = far - 3.0;
    let [mut a, mut b] = rows;
    a["at"] = json!(place);
    b["at"] = json!(length - place);
    // The second half is driven a little farther.
    let end = length - place + 2.0;
    let last = number(&edit.document["runs"][second], "surveyed");
    if end > last {
        for row in 0..edit.rows(second).len() {
            if number(&edit.rows(second)[row], "at") >= last {
                edit.set(&to((second, row), "/at"), end);
            }
        }
        edit.set(&format!("/runs/{second}/surveyed"), end);
    }
    insert(edit, first, a);
    Some((second, insert(edit, second, b)))
}

fn large(edit: &Edit<'_>) -> bool {
    edit.document["runs"].as_array().is_some_and(|runs| runs.len() >= 10)
}

pub(crate) const ALL: &[Mistake] = &[
    Mistake {
        about: "a locate a kilometre from its manhole",
        rules: &["locate-beyond-cable"],
        by_catch: 0,
        make: |edit| {
            let locate = only_locate(edit, |_, row| row["position"].is_array())?;
            let far = edit.between(3000.0, 3600.0);
            move_locate(edit, locate, [-far, far / 9.0]);
            Some(format!("/locates/{locate}/position"))
        },
    },
    Mistake {
        about: "a locate 33 ft along the main",
        rules: &["locate-beyond-cable", "locate-off-course", "locate-off-path"],
        by_catch: 0,
        make: |edit| {
            let locate = only_locate(edit, |_, row| row["position"].is_array())?;
            let off = edit.choice(&[-33.0, 33.0])?;
            move_locate(edit, locate, [off, 0.0]);
            Some(format!("/locates/{locate}/position"))
        },
    },
    Mistake {
        about: "a locate far from a lateral without a path",
        rules: &["locate-beyond-cable", "locate-off-course"],
        by_catch: 0,
        make: |edit| {
            let locate =
                only_locate(edit, |edit, row| row["position"].is_array() && is_lateral(edit, row))?;
            let pipe = pipe_of(edit, &edit.document["locates"][locate])?["id"].clone();
            let row = edit.row("pipes", |row| row["id"] == pipe)?;
            edit.remove(&format!("/pipes/{row}/path"));
            move_locate(edit, locate, [60.0, 0.0]);
            Some(format!("/locates/{locate}/position"))
        },
    },
    Mistake {
        about: "a located depth of 8 in, or of 32 ft",
        rules: &["locate-depth-contradicts-structures", "locate-off-gradient"],
        by_catch: 1,
        make: |edit| {
            let locate = edit.row("locates", |row| row["depth"].is_number())?;
            let depth = edit.choice(&[0.65, 0.3, 32.0])?;
            edit.set(&format!("/locates/{locate}/depth"), depth);
            Some(format!("/locates/{locate}/depth"))
        },
    },
    Mistake {
        about: "two halves of a pipe overlap, and nothing joins them",
        rules: &["overlap-undeclared"],
        // The ratings and a photo at the end do not fit.
        by_catch: 3,
        make: |edit| {
            let (_, second, _) = two_halves(edit)?;
            edit.remove(&format!("/runs/{second}/reverse_of"));
            let end = number(&edit.document["runs"][second], "surveyed");
            let more = edit.between(8.0, 20.0);
            for row in 0..edit.rows(second).len() {
                if number(&edit.rows(second)[row], "at") >= end {
                    edit.set(&to((second, row), "/at"), end + more);
                }
            }
            edit.set(&format!("/runs/{second}/surveyed"), end + more);
            Some(format!("/runs/{second}"))
        },
    },
    Mistake {
        about: "a hole seen from both ends on the same side",
        rules: &["clock-not-mirrored"],
        // The row has no grade, and the ratings do not count it.
        by_catch: 4,
        make: |edit| {
            let hour = edit.choice(&[2.0, 3.0, 4.0, 8.0, 9.0, 10.0])?;
            let row = json!({ "id": "both", "code": "hole", "clock": { "at": hour } });
            let place = seen_from_both(edit, [row.clone(), row])?;
            Some(to(place, "/clock"))
        },
    },
    Mistake {
        about: "a connection seen from both ends in two sizes",
        rules: &["connection-differs-between-runs"],
        // The length that the ratings count has changed.
        by_catch: 2,
        make: |edit| {
            let row = |inches: u32, hour: u32| {
                json!({ "id": "both", "code": "connection.saddle", "clock": { "at": hour },
                        "quantities": [{ "value": inches, "unit": "in" }] })
            };
            let place = seen_from_both(edit, [row(4, 3), row(6, 9)])?;
            Some(to(place, ""))
        },
    },
    Mistake {
        about: "the size of a connection contradicts its lateral",
        rules: &["connection-size-contradicts-lateral"],
        // It may be larger than the pipe.
        by_catch: 1,
        make: |edit| {
            let at = edit.observation(|_, row| {
                row["joins"].is_string() && row["quantities"][0]["value"].is_number()
            })?;
            let factor = edit.choice(&[0.5, 1.5, 2.0])?;
            let pointer = to(at, "/quantities/0/value");
            let value = edit.number_at(&pointer);
            edit.set(&pointer, value * factor);
            Some(pointer)
        },
    },
    Mistake {
        about: "a known lateral was passed without a row",
        rules: &["lateral-connection-missing"],
        by_catch: 0,
        make: |edit| {
            let (run, row) = edit.observation(|_, row| row["joins"].is_string())?;
            edit.rows(run).remove(row);
            Some(format!("/runs/{run}/observations"))
        },
    },
    Mistake {
        about: "rows copied into the run of another pipe",
        rules: &["rows-copied"],
        // Joints, spacing and materials of the other pipe do not fit.
        by_catch: 12,
        make: |edit| {
            large(edit).then_some(())?;
            let code = |row: &Value| {
                let code = row["code"].as_str().unwrap_or_default();
                !["run.", "water.", "note.", "access."].iter().any(|word| code.starts_with(word))
            };
            let from = edit.row("runs", |run| {
                let rows = run["observations"].as_array().map_or(&[][..], Vec::as_slice);
                rows.iter().filter(|row| code(row)).count() >= 10
            })?;
            let mut copied: Vec<Value> =
                edit.rows(from).iter().filter(|row| code(row)).take(10).cloned().collect();
            for row in &mut copied {
                row["id"] = json!(format!("copy-{}", row["id"].as_str()?));
                row.as_object_mut()?.remove("media");
            }
            let far = copied.iter().map(|row| number(row, "at").max(number(row, "to")));
            let far = far.fold(0.0, f64::max);
            let pipe = edit.document["runs"][from]["pipe"].clone();
            let into =
                edit.row("runs", |run| run["pipe"] != pipe && number(run, "surveyed") > far + 5.0)?;
            // The rows between are replaced.
            edit.rows(into).retain(|row| number(row, "at") > far || !code(row));
            let first = copied.first()?.clone();
            copied.into_iter().for_each(|row| {
                insert(edit, into, row);
            });
            let place = edit.rows(into).iter().position(|row| row["id"] == first["id"])?;
            (into > from).then(|| to((into, place), ""))
        },
    },
    Mistake {
        about: "one clock reference and amount filled down",
        rules: &["values-repeated"],
        // The rows have no grades, and the ratings do not count them.
        by_catch: 14,
        make: |edit| {
            let run = edit.row("runs", |run| number(run, "surveyed") > 80.0)?;
            let end = number(&edit.document["runs"][run], "surveyed");
            let codes = ["roots.fine", "deposit.attached", "deposit.grease", "roots.tap"];
            for row in 0..12 {
                let at = ((end * 0.1 + f64::from(row) * end * 0.05) * 10.0).round() / 10.0;
                let code = codes[row as usize % codes.len()];
                let row = json!({ "id": format!("fill-{row}"), "at": at, "code": code,
                    "clock": { "at": 7 }, "quantities": [{ "value": 5, "unit": "percent" }] });
                insert(edit, run, row);
            }
            // Rows between with other values would interrupt them.
            edit.rows(run).retain(|row| {
                let added = row["id"].as_str().is_some_and(|id| id.starts_with("fill-"));
                added || row["clock"].is_null() && row["quantities"].is_null()
            });
            let first = edit.rows(run).iter().position(|row| row["id"] == "fill-0")?;
            Some(to((run, first), ""))
        },
    },
    Mistake {
        about: "a launched run is given up, and the rest not seen",
        rules: &["lateral-partly-surveyed"],
        // The ratings counted the other run.
        by_catch: 2,
        make: |edit| {
            let run = edit.row("runs", |run| run["launched"].is_object())?;
            let other = edit.document["runs"]
                .as_array()?
                .iter()
                .position(|other| other["reverse_of"] == edit.document["runs"][run]["id"])?;
            let id = edit.document["runs"][other]["id"].clone();
            edit.remove(&format!("/runs/{other}"));
            for (table, key) in [("media", "run"), ("locates", "run")] {
                edit.document[table].as_array_mut()?.retain(|row| row[key] != id);
            }
            for rating in edit.document["ratings"].as_array_mut()? {
                if let Some(runs) = rating.get_mut("runs").and_then(Value::as_array_mut) {
                    runs.retain(|run| *run != id);
                }
            }
            Some(format!("/runs/{run}/surveyed"))
        },
    },
    Mistake {
        about: "stopped for something that no row records",
        rules: &["stop-reason-without-row"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |run| {
                run["outcome"]["kind"] == "stopped" && number(run, "surveyed") > 30.0
            })?;
            let reason = edit.document["runs"][run]["outcome"]["reason"].clone();
            let other = if reason == "bend" { "high-water" } else { "bend" };
            edit.set(&format!("/runs/{run}/outcome/reason"), other);
            let last = edit.rows(run).len() - 1;
            edit.set(&to((run, last), "/characterisation"), json!([other]));
            Some(format!("/runs/{run}/outcome/reason"))
        },
    },
    Mistake {
        about: "a collapse that the run went past",
        rules: &["run-past-blockage"],
        by_catch: 2,
        make: |edit| {
            let run = edit.row("runs", |run| {
                run["outcome"]["kind"] == "reached" && number(run, "surveyed") > 60.0
            })?;
            let end = number(&edit.document["runs"][run], "surveyed");
            let code = edit.choice(&["collapse", "blockage"])?;
            let at = (end * 4.0).round() / 10.0;
            let row = insert(edit, run, json!({ "id": "shut", "at": at, "code": code }));
            Some(to((run, row), ""))
        },
    },
    Mistake {
        about: "the cable was used up after a few feet",
        rules: &["cable-end-implausible"],
        by_catch: 1,
        make: |edit| {
            let run = edit.row("runs", |run| {
                run["outcome"]["kind"] == "stopped" && run.get("launched").is_none()
            })?;
            edit.set(&format!("/runs/{run}/outcome/reason"), "cable-end");
            let last = edit.rows(run).len() - 1;
            edit.set(&to((run, last), "/characterisation"), json!(["cable-end"]));
            Some(format!("/runs/{run}/outcome/reason"))
        },
    },
    Mistake {
        about: "one joint off the spacing of the others",
        rules: &["joint-off-spacing"],
        // The rows have no grades, and the ratings do not count them.
        by_catch: 12,
        make: |edit| {
            let run = edit.row("runs", |run| number(run, "surveyed") > 150.0)?;
            let pipe = edit.document["runs"][run]["pipe"].clone();
            let row = edit.row("pipes", |row| row["id"] == pipe && row["material"] != "brick")?;
            edit.set(&format!("/pipes/{row}/joint_spacing"), 6);
            edit.rows(run).retain(|row| row["joint"] != true);
            for joint in 1..10 {
                let off = if joint == 5 { 2.4 } else { 0.1 };
                let at = f64::from(joint) * 12.0 + off;
                insert(
                    edit,
                    run,
                    json!({ "id": format!("joint-{joint}"), "at": at, "code": "joint.unsealed", "joint": true }),
                );
            }
            let place = edit.rows(run).iter().position(|row| row["id"] == "joint-5")?;
            Some(to((run, place), ""))
        },
    },
];
