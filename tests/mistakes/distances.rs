//! Mistakes with the distance counter, the order of rows, and stretches.

use serde_json::{Value, json};

use super::edit::{Edit, Mistake, inner, to};

fn length(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or(0.0)
}

fn stretch(row: &Value) -> bool {
    length(row, "to") > length(row, "at")
}

pub(crate) fn reached(run: &Value) -> bool {
    run["outcome"]["kind"] == "reached" && run.get("launched").is_none()
}

/// Multiplies every distance of a run.
pub(crate) fn scale(edit: &mut Edit<'_>, run: usize, factor: f64) {
    let surveyed = edit.number_at(&format!("/runs/{run}/surveyed"));
    edit.set(&format!("/runs/{run}/surveyed"), surveyed * factor);
    for row in 0..edit.rows(run).len() {
        for key in ["at", "to"] {
            let pointer = to((run, row), &format!("/{key}"));
            if let Some(value) = edit.document.pointer(&pointer).and_then(Value::as_f64) {
                edit.set(&pointer, value * factor);
            }
        }
    }
}

/// Makes all distances of a run longer or shorter by a factor, and returns the run.
fn scaled(edit: &mut Edit<'_>, factor: f64) -> Option<usize> {
    let run = edit.row("runs", |run| reached(run) && run.get("reverse_of").is_none())?;
    scale(edit, run, factor);
    Some(run)
}

pub(crate) const ALL: &[Mistake] = &[
    Mistake {
        about: "the counter was not set to zero",
        rules: &["counter-not-zeroed"],
        by_catch: 3,
        make: |edit| {
            let run = edit.row("runs", reached)?;
            let off = edit.between(3.0, 20.0);
            for row in 0..edit.rows(run).len() {
                for key in ["at", "to"] {
                    let pointer = to((run, row), &format!("/{key}"));
                    if let Some(value) = edit.document.pointer(&pointer).and_then(Value::as_f64) {
                        edit.set(&pointer, value + off);
                    }
                }
            }
            let surveyed = edit.number_at(&format!("/runs/{run}/surveyed"));
            edit.set(&format!("/runs/{run}/surveyed"), surveyed + off);
            Some(to((run, 0), "/at"))
        },
    },
    Mistake {
        about: "the counter was reset during the run",
        rules: &["counter-reset", "distance-decreases", "decimal-slip", "distance-negative"],
        by_catch: 4,
        make: |edit| {
            let (run, row) = edit.observation(|run, row| {
                reached(run) && inner(run, row) && length(row, "at") > 20.0
            })?;
            let zero = edit.number_at(&to((run, row), "/at"));
            for row in row..edit.rows(run).len() {
                for key in ["at", "to"] {
                    let pointer = to((run, row), &format!("/{key}"));
                    if let Some(value) = edit.document.pointer(&pointer).and_then(Value::as_f64) {
                        edit.set(&pointer, value - zero);
                    }
                }
            }
            Some(to((run, row), "/at"))
        },
    },
    Mistake {
        about: "one run in metres among runs in feet",
        rules: &["run-shorter-than-pipe"],
        by_catch: 5,
        make: |edit| Some(format!("/runs/{}/surveyed", scaled(edit, 0.3048)?)),
    },
    Mistake {
        about: "one run 3.28 times too long",
        rules: &["run-longer-than-pipe"],
        by_catch: 4,
        make: |edit| Some(format!("/runs/{}/surveyed", scaled(edit, 1.0 / 0.3048)?)),
    },
    Mistake {
        about: "the run is longer than its pipe",
        rules: &["run-longer-than-pipe"],
        by_catch: 4,
        make: |edit| {
            let factor = edit.between(1.2, 1.9);
            Some(format!("/runs/{}/surveyed", scaled(edit, factor)?))
        },
    },
    Mistake {
        about: "recorded as having reached the far end, but too short",
        rules: &["run-shorter-than-pipe"],
        by_catch: 5,
        make: |edit| {
            let factor = edit.between(0.5, 0.8);
            Some(format!("/runs/{}/surveyed", scaled(edit, factor)?))
        },
    },
    Mistake {
        about: "a distance decreases",
        rules: &["distance-decreases", "decimal-slip"],
        by_catch: 1,
        make: |edit| {
            let (run, row) = edit.observation(|run, row| {
                inner(run, row) && length(row, "at") > 30.0 && !stretch(row)
            })?;
            let before = edit.number_at(&to((run, row - 1), "/at"));
            let at = (before - edit.between(3.0, 15.0)).max(0.4);
            edit.set(&to((run, row), "/at"), at);
            Some(to((run, row), "/at"))
        },
    },
    Mistake {
        about: "a decimal point too far right",
        rules: &["decimal-slip", "observation-past-run-end", "distance-decreases"],
        by_catch: 0,
        make: |edit| {
            let (run, row) = edit.observation(|run, row| {
                inner(run, row) && length(row, "at") > 10.0 && !stretch(row)
            })?;
            let at = edit.number_at(&to((run, row), "/at"));
            edit.set(&to((run, row), "/at"), at * 10.0);
            Some(to((run, row), "/at"))
        },
    },
    Mistake {
        about: "a decimal point too far left",
        rules: &["decimal-slip", "distance-decreases"],
        by_catch: 0,
        make: |edit| {
            let fits = |run: &Value, row: &Value| {
                let rows = run["observations"].as_array().expect("rows");
                let here = rows.iter().position(|other| other["id"] == row["id"]).expect("itself");
                inner(run, row)
                    && here > 0
                    && length(row, "at") / 10.0 < length(&rows[here - 1], "at") - 2.0
            };
            let (run, row) = edit.observation(|run, row| fits(run, row) && !stretch(row))?;
            let at = edit.number_at(&to((run, row), "/at"));
            edit.set(&to((run, row), "/at"), (at * 100.0).round() / 1000.0);
            Some(to((run, row), "/at"))
        },
    },
    Mistake {
        about: "an observation lies past the end of the run",
        rules: &["observation-past-run-end"],
        by_catch: 2,
        make: |edit| {
            let run = edit.row("runs", |run| {
                run["observations"].as_array().is_some_and(|rows| rows.len() > 3)
            })?;
            let last = edit.rows(run).len() - 2;
            let surveyed = edit.number_at(&format!("/runs/{run}/surveyed"));
            let at = surveyed + edit.between(5.0, 60.0);
            edit.remove(&to((run, last), "/to"));
            edit.remove(&to((run, last), "/continuous"));
            edit.set(&to((run, last), "/at"), at);
            Some(to((run, last), "/at"))
        },
    },
    Mistake {
        about: "a distance below zero",
        rules: &["distance-negative"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |_| true)?;
            let at = -edit.between(0.5, 9.0);
            edit.set(&to((run, 0), "/at"), at);
            Some(to((run, 0), "/at"))
        },
    },
    Mistake {
        about: "the first row is not the start",
        rules: &["start-missing"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |_| true)?;
            edit.rows(run).remove(0);
            Some(to((run, 0), ""))
        },
    },
    Mistake {
        about: "the last row is not the finish",
        rules: &["finish-missing"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |run| {
                run["observations"].as_array().is_some_and(|rows| rows.len() > 3)
            })?;
            edit.rows(run).pop();
            let last = edit.rows(run).len() - 1;
            // A manhole row at the far structure may follow the finish.
            let code = edit.code_of(run, last);
            if code.role.is_some() {
                return None;
            }
            Some(to((run, last), ""))
        },
    },
    Mistake {
        about: "the surveyed distance was left out",
        rules: &["surveyed-missing"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |_| true)?;
            edit.remove(&format!("/runs/{run}/surveyed"));
            Some(format!("/runs/{run}"))
        },
    },
    Mistake {
        about: "the surveyed distance was mistyped",
        rules: &["surveyed-contradicts-finish"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", reached)?;
            let factor = edit.between(1.1, 1.6);
            let surveyed = edit.number_at(&format!("/runs/{run}/surveyed"));
            edit.set(&format!("/runs/{run}/surveyed"), surveyed * factor);
            Some(format!("/runs/{run}/surveyed"))
        },
    },
    Mistake {
        about: "the outcome contradicts the last row",
        rules: &["outcome-contradicts-rows"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |run| run["outcome"]["kind"] == "reached")?;
            edit.set(
                &format!("/runs/{run}/outcome"),
                json!({ "kind": "stopped", "reason": "roots" }),
            );
            Some(format!("/runs/{run}/outcome/kind"))
        },
    },
    Mistake {
        about: "abandoned without a reason",
        rules: &["stopped-without-reason"],
        by_catch: 1,
        make: |edit| {
            let run = edit.row("runs", |run| run["outcome"]["kind"] == "stopped")?;
            edit.remove(&format!("/runs/{run}/outcome/reason"));
            for row in 0..edit.rows(run).len() {
                if edit.at(&to((run, row), "/code")) == "run.stopped" {
                    edit.remove(&to((run, row), "/characterisation"));
                }
            }
            Some(format!("/runs/{run}/outcome"))
        },
    },
    Mistake {
        about: "the zero point of the counter is not recorded",
        rules: &["counter-missing"],
        by_catch: 0,
        make: |edit| {
            let run =
                edit.row("runs", |run| run.get("launched").is_none() && run["method"] != "pole")?;
            edit.remove(&format!("/runs/{run}/counter"));
            Some(format!("/runs/{run}"))
        },
    },
    Mistake {
        about: "the counter slips on a wet reel",
        rules: &["counter-drift"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |run| run.get("counter").is_some())?;
            let off = edit.between(2.0, 12.0);
            edit.set(
                &format!("/runs/{run}/counter/checks"),
                json!([{ "reading": 100.0 + off, "known": 100 }]),
            );
            Some(format!("/runs/{run}/counter/checks/0/reading"))
        },
    },
    Mistake {
        about: "the two halves of a pipe leave a gap",
        rules: &["reverse-gap"],
        by_catch: 4,
        make: |edit| {
            let run = edit.row("runs", |run| {
                run.get("reverse_of").is_some() && run["surveyed"].as_f64() > Some(30.0)
            })?;
            let factor = edit.between(0.4, 0.8);
            scale(edit, run, factor);
            Some(format!("/runs/{run}/reverse_of"))
        },
    },
    Mistake {
        about: "a run completes one of another pipe",
        rules: &["reverse-mismatch"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |run| run.get("reverse_of").is_some())?;
            let pipe = edit.at(&format!("/runs/{run}/pipe")).clone();
            let other = edit.row("runs", |other| other["pipe"] != pipe)?;
            let id = edit.at(&format!("/runs/{other}/id")).clone();
            edit.set(&format!("/runs/{run}/reverse_of"), id);
            Some(format!("/runs/{run}/reverse_of"))
        },
    },
    Mistake {
        about: "a stretch never ends",
        rules: &["stretch-unfinished"],
        by_catch: 0,
        make: |edit| {
            let place = edit.observation(|_, row| stretch(row))?;
            edit.remove(&to(place, "/to"));
            Some(to(place, "/continuous"))
        },
    },
    Mistake {
        about: "a stretch ends before it begins",
        rules: &["stretch-ends-before-start"],
        by_catch: 1,
        make: |edit| {
            let place = edit.observation(|run, row| {
                stretch(row) && inner(run, row) && length(row, "at") > 12.0
            })?;
            let end = edit.number_at(&to(place, "/at")) - edit.between(1.0, 10.0);
            edit.set(&to(place, "/to"), end);
            Some(to(place, "/to"))
        },
    },
    Mistake {
        about: "a stretch of no length",
        rules: &["stretch-zero-length"],
        by_catch: 0,
        make: |edit| {
            let place = edit.observation(|_, row| stretch(row))?;
            let at = edit.at(&to(place, "/at")).clone();
            edit.set(&to(place, "/to"), at);
            Some(to(place, "/to"))
        },
    },
    Mistake {
        about: "a stretch recorded twice, overlapping",
        rules: &["stretch-overlap"],
        by_catch: 1,
        make: |edit| {
            let (run, row) = edit.observation(|_, row| stretch(row))?;
            let mut copy = edit.rows(run)[row].clone();
            copy["id"] = json!("again");
            copy["to"] =
                json!(length(&copy, "at") + (length(&copy, "to") - length(&copy, "at")) / 2.0);
            copy.as_object_mut()?.remove("media");
            edit.rows(run).insert(row + 1, copy);
            Some(to((run, row + 1), ""))
        },
    },
    Mistake {
        about: "the end of a stretch without `continuous`",
        rules: &["stretch-undeclared"],
        by_catch: 0,
        make: |edit| {
            let place = edit.observation(|_, row| stretch(row))?;
            edit.remove(&to(place, "/continuous"));
            Some(to(place, "/to"))
        },
    },
    Mistake {
        about: "a point defect recorded over a stretch",
        rules: &["stretch-not-allowed"],
        by_catch: 1,
        make: |edit| {
            let never = obvert::model::lists::StretchUse::Never;
            let place = edit.coded(|code, row| {
                code.continuous == never && code.role.is_none() && length(row, "at") > 1.0
            })?;
            let end = edit.number_at(&to(place, "/at")) + 3.0;
            edit.set(&to(place, "/to"), end);
            edit.set(&to(place, "/continuous"), true);
            Some(to(place, "/to"))
        },
    },
    Mistake {
        about: "the camera moved too fast",
        rules: &["camera-speed"],
        by_catch: 0,
        make: |edit| {
            let run =
                edit.row("runs", |run| reached(run) && run["surveyed"].as_f64() > Some(100.0))?;
            let started = edit.at(&format!("/runs/{run}/started")).as_str()?.to_owned();
            let minutes: u32 = started[14..16].parse().ok()?;
            let finished = format!("{}{:02}{}", &started[..14], minutes + 1, &started[16..]);
            if minutes + 1 > 59 {
                return None;
            }
            edit.set(&format!("/runs/{run}/finished"), finished);
            Some(format!("/runs/{run}/finished"))
        },
    },
];
