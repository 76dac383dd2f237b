//! Mistakes in what rows state about the pipe, and mistakes in whole columns. Each is one mistake,
//! however many rows it affects.

use obvert::model::lists::{ClockExtent, ClockUse};
use serde_json::{Value, json};

use super::edit::{Edit, Mistake, inner, to};

/// Metres in the document's length unit.
fn metres(edit: &Edit<'_>, metres: f64) -> f64 {
    if edit.document["units"]["length"] == "m" { metres } else { metres / 0.3048 }
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or(0.0)
}

/// Whether a row of one of these groups of codes is within so many units of another row.
fn near(run: &Value, row: &Value, groups: &[&str], around: f64) -> bool {
    let ends = |row: &Value| (number(row, "at"), row["to"].as_f64().unwrap_or(number(row, "at")));
    let (from, to) = ends(row);
    run["observations"].as_array().into_iter().flatten().any(|other| {
        let (other_from, other_to) = ends(other);
        let of = |code: &str| groups.iter().any(|group| code.starts_with(group));
        of(other["code"].as_str().unwrap_or_default())
            && other_from <= to + around
            && other_to >= from - around
    })
}

/// A joint or root far from rows of these groups, in a run that `fits`.
fn alone(
    edit: &Edit<'_>,
    random: &mut fastrand::Rng,
    groups: &[&str],
    around: f64,
    fits: impl Fn(&Value, &Value) -> bool,
) -> Option<(usize, usize)> {
    let around = metres(edit, around);
    let pipes = edit.document["pipes"].as_array()?.clone();
    let mut places = Vec::new();
    for (run, record) in edit.document["runs"].as_array()?.iter().enumerate() {
        let Some(pipe) = pipes.iter().find(|pipe| pipe["id"] == record["pipe"]) else { continue };
        if !fits(pipe, record) {
            continue;
        }
        for (row, observation) in record["observations"].as_array()?.iter().enumerate() {
            let point = observation.get("to").is_none() && inner(record, observation);
            let plain = ["joint.", "surface", "infiltration.past", "connection.", "crack."]
                .iter()
                .any(|group| observation["code"].as_str().unwrap_or_default().starts_with(group));
            if point && plain && !near(record, observation, groups, around) {
                places.push((run, row));
            }
        }
    }
    random.choice(&places).copied()
}

/// Inserts rows after another one, at its distance, and removes the ratings, which they change.
/// Returns the place of the last one.
fn insert(edit: &mut Edit<'_>, (run, row): (usize, usize), rows: &[Value]) -> (usize, usize) {
    let at = edit.number_at(&to((run, row), "/at"));
    for (number, record) in rows.iter().enumerate() {
        let mut record = record.clone();
        record["id"] = json!(format!("new-{number}"));
        record["at"] = json!(((at + record["at"].as_f64().unwrap_or(0.0)) * 100.0).round() / 100.0);
        edit.rows(run).insert(row + 1 + number, record);
    }
    edit.remove("/ratings");
    (run, row + rows.len())
}

/// A place for rows, and the rows.
fn planted(
    edit: &mut Edit<'_>,
    groups: &[&str],
    around: f64,
    fits: impl Fn(&Value, &Value) -> bool,
    rows: &[Value],
) -> Option<(usize, usize)> {
    let mut random = fastrand::Rng::with_seed(edit.random.u64(..));
    let place = alone(edit, &mut random, groups, around, fits)?;
    Some(insert(edit, place, rows))
}

fn any(_: &Value, _: &Value) -> bool {
    true
}

fn unlined(pipe: &Value, run: &Value) -> bool {
    let rows = run["observations"].as_array().into_iter().flatten();
    let mut codes = rows.filter_map(|row| row["code"].as_str());
    pipe.get("lining").is_none()
        && !codes.any(|code| code.starts_with("lining.") || code == "repair.patch")
}

fn class(pipe: &Value) -> Option<&'static str> {
    Some(match pipe["material"].as_str()? {
        "vitrified-clay" => "clayware",
        "concrete" | "reinforced-concrete" | "asbestos-cement" => "concrete",
        "brick" | "stone" => "masonry",
        "pvc" | "polyethylene" => "plastic",
        "cast-iron" | "ductile-iron" | "steel" => "metal",
        _ => return None,
    })
}

/// Changes every recorded grade.
fn every_grade(edit: &mut Edit<'_>, change: impl Fn(i64) -> i64) -> Option<()> {
    every_row(edit, |row| {
        let grades = row.get_mut("grades").and_then(Value::as_object_mut);
        for grade in grades.into_iter().flat_map(|grades| grades.values_mut()) {
            *grade = json!(change(grade.as_i64().unwrap_or(3)));
        }
    })
}

/// Changes the values of every row of every run.
fn every_row(edit: &mut Edit<'_>, change: impl Fn(&mut Value)) -> Option<()> {
    let runs = edit.document["runs"].as_array_mut()?;
    (runs.len() >= 10).then_some(())?;
    for run in runs {
        run["observations"].as_array_mut().into_iter().flatten().for_each(&change);
    }
    edit.remove("/ratings");
    Some(())
}

/// The amounts of a row.
fn amounts(row: &mut Value) -> impl Iterator<Item = &mut Value> {
    row.get_mut("quantities").and_then(Value::as_array_mut).into_iter().flatten()
}

fn every_hour(row: &mut Value, change: fn(f64) -> f64) {
    let Some(clock) = row.get_mut("clock").and_then(Value::as_object_mut) else { return };
    for hour in clock.values_mut() {
        if let Some(value) = hour.as_f64() {
            *hour = json!(change(value));
        }
    }
}

/// A run with so many values in a column.
fn run_with(edit: &mut Edit<'_>, key: &str, least: usize) -> Option<usize> {
    edit.row("runs", |run| {
        let rows = run["observations"].as_array().into_iter().flatten();
        rows.filter(|row| row.get(key).is_some()).count() >= least
    })
}

/// Moves the values of a column of a run one row down, from the third row on.
fn shift_down(edit: &mut Edit<'_>, run: usize, key: &str) -> Option<String> {
    let mut last = None;
    for row in edit.rows(run).iter_mut().skip(2) {
        let keys = row.as_object_mut()?;
        let own = keys.remove(key);
        if let Some(before) = last.take() {
            keys.insert(key.to_owned(), before);
        }
        last = own;
    }
    edit.remove("/ratings");
    Some(format!("/runs/{run}/observations"))
}

/// The runs whose clock references show that they are shifted. Where every code may have one,
/// nothing shows it.
fn runs_with_strict_clocks(edit: &mut Edit<'_>) -> Vec<usize> {
    let runs = edit.document["runs"].as_array().map_or(0, Vec::len);
    let shows = |run: &usize| {
        let (mut document, mut random) = (edit.document.clone(), fastrand::Rng::with_seed(1));
        let mut copy = Edit { document: &mut document, random: &mut random };
        let observations = shift_down(&mut copy, *run, "clock");
        observations.is_some_and(|observations| wrong_clocks(&copy, &observations) >= 5)
    };
    (0..runs).filter(shows).collect()
}

/// How many rows of a run have a clock reference that their code does not take, or none where it is
/// required, or an hour for an arc or the reverse.
fn wrong_clocks(edit: &Edit<'_>, observations: &str) -> usize {
    let codes = edit.list().by_code();
    let rows = edit.document.pointer(observations).and_then(Value::as_array);
    let is_wrong = |row: &&Value| {
        let Some(code) = codes.get(row["code"].as_str().unwrap_or_default()) else { return false };
        let Some(clock) = row.get("clock") else { return code.clock.usage == ClockUse::Required };
        let extent = match clock.get("at") {
            Some(_) => ClockExtent::Span,
            None => ClockExtent::Point,
        };
        code.clock.usage == ClockUse::None || code.clock.extent == Some(extent)
    };
    rows.into_iter().flatten().filter(is_wrong).count()
}

const BROKEN: [&str; 7] =
    ["crack", "fracture", "surface-crack", "break", "hole", "collapse", "deformation"];

const WATER: [&str; 12] = [
    "water",
    "infiltration",
    "fitting",
    "obstacle",
    "collapse",
    "blockage",
    "change",
    "exfiltration",
    "hole",
    "break",
    "bend",
    "void",
];

pub(crate) const ALL: &[Mistake] = &[
    Mistake {
        about: "sediment recorded at the crown",
        rules: &["clock-against-gravity"],
        by_catch: 1,
        make: |edit| {
            let row = json!({ "code": "deposit.settled", "characterisation": ["fine"],
                "clock": { "from": 10.5, "to": 1 }, "quantities": [{ "value": 10, "unit": "percent" }] });
            Some(to(planted(edit, &["fitting"], 6.0, any, &[row])?, "/clock"))
        },
    },
    Mistake {
        about: "the worn invert at twelve",
        rules: &["clock-against-gravity"],
        by_catch: 1,
        make: |edit| {
            let row = json!({ "code": "surface.invert-worn", "clock": { "at": 12 } });
            Some(to(planted(edit, &["fitting"], 6.0, any, &[row])?, "/clock"))
        },
    },
    Mistake {
        about: "a hole wider than its pipe",
        rules: &["quantity-exceeds-pipe"],
        by_catch: 2,
        make: |edit| {
            let row = json!({ "code": "hole", "clock": { "at": 9 },
                "quantities": [{ "value": 1500, "unit": "mm" }] });
            Some(to(planted(edit, &["change"], 900.0, any, &[row])?, "/quantities/0/value"))
        },
    },
    Mistake {
        about: "a rigid pipe deformed without a crack",
        rules: &["deformation-without-crack"],
        by_catch: 2,
        make: |edit| {
            let row = json!({ "code": "deformation.vertical",
                "quantities": [{ "value": 9, "unit": "percent" }] });
            let rigid = |pipe: &Value, run: &Value| {
                matches!(class(pipe), Some("clayware" | "concrete")) && unlined(pipe, run)
            };
            let groups: Vec<&str> = BROKEN.into_iter().chain(["change"]).collect();
            Some(to(planted(edit, &groups, 3.0, rigid, &[row])?, "/code"))
        },
    },
    Mistake {
        about: "the rows between the start and the end were lost",
        rules: &["nothing-observed"],
        by_catch: 1,
        make: |edit| {
            let least = metres(edit, 51.0);
            let run = edit.row("runs", |run| {
                number(run, "surveyed") >= least && run["outcome"]["kind"] == "reached"
            })?;
            edit.rows(run).retain(|row| {
                matches!(row["code"].as_str(), Some("run.start" | "run.finish" | "run.stopped"))
            });
            edit.remove("/ratings");
            Some(format!("/runs/{run}/observations"))
        },
    },
    Mistake {
        about: "a blistered lining in an unlined pipe",
        rules: &["lining-not-recorded"],
        by_catch: 1,
        make: |edit| {
            let row = json!({ "code": "lining.blistered" });
            Some(to(planted(edit, &[], 0.0, unlined, &[row])?, "/code"))
        },
    },
    Mistake {
        about: "bare bricks in a lined pipe",
        rules: &["lining-hides-code"],
        by_catch: 3,
        make: |edit| {
            let row = json!({ "code": "brick.missing", "clock": { "at": 3 } });
            let open = ["lining", "break", "hole", "collapse"];
            let place = planted(edit, &open, 3.0, unlined, &[row])?;
            let pipe = edit.at(&format!("/runs/{}/pipe", place.0)).clone();
            let pipe = edit.row("pipes", |record| record["id"] == pipe)?;
            edit.set(&format!("/pipes/{pipe}/lining"), "cured in place, 2016");
            Some(to(place, "/code"))
        },
    },
    Mistake {
        about: "dry and 60 percent full at one place",
        rules: &["water-contradicts"],
        by_catch: 0,
        make: |edit| {
            let rows = [
                json!({ "code": "water.level", "quantities": [{ "value": 60, "unit": "percent" }] }),
                json!({ "code": "water.dry" }),
            ];
            Some(to(planted(edit, &WATER, 4.0, any, &rows)?, "/code"))
        },
    },
    Mistake {
        about: "water gushes in, and the pipe is dry downstream",
        rules: &["dry-after-inflow"],
        by_catch: 2,
        make: |edit| {
            let rows = [
                json!({ "code": "infiltration", "characterisation": ["gushing"] }),
                json!({ "code": "water.dry", "at": 1 }),
            ];
            let down = |_: &Value, run: &Value| run["direction"] == "downstream";
            let place = planted(edit, &WATER, 6.0, down, &rows)?;
            // The rows after it may be nearer than 1.
            edit.rows(place.0).sort_by(|a, b| number(a, "at").total_cmp(&number(b, "at")));
            let row = edit.rows(place.0).iter().position(|row| row["id"] == "new-1")?;
            Some(to((place.0, row), "/code"))
        },
    },
    Mistake {
        about: "80 percent full with the flow bypassed",
        rules: &["flow-control-contradicts"],
        by_catch: 1,
        make: |edit| {
            let row = json!({ "code": "water.level", "quantities": [{ "value": 80, "unit": "percent" }] });
            let holding = [
                "water",
                "roots",
                "obstacle",
                "blockage",
                "collapse",
                "gradient",
                "fitting",
                "access.building-trap",
                "deposit.settled",
                "deposit.hardened",
            ];
            let place = planted(edit, &holding, 16.0, any, &[row])?;
            let run = format!("/runs/{}/flow_control", place.0);
            edit.set(&run, "bypassed");
            Some(run)
        },
    },
    Mistake {
        about: "a change to the material that the pipe has",
        rules: &["change-to-same"],
        by_catch: 0,
        make: |edit| {
            let words = ["clayware", "concrete", "masonry", "plastic", "metal"];
            let word = edit.choice(&words)?;
            let row = json!({ "code": "change.material", "characterisation": [word] });
            let same = |pipe: &Value, _: &Value| class(pipe) == Some(word);
            Some(to(planted(edit, &["change"], 900.0, same, &[row])?, "/characterisation/0"))
        },
    },
    Mistake {
        about: "four fractures at one place instead of the combined code",
        rules: &["combined-code-fits"],
        by_catch: 4,
        make: |edit| {
            let rows = [12, 3, 6, 9]
                .map(|hour| json!({ "code": "fracture.longitudinal", "clock": { "at": hour } }));
            Some(to(planted(edit, &BROKEN, 1.0, any, &rows)?, "/code"))
        },
    },
    Mistake {
        about: "roots that fill the pipe, which the camera passed",
        rules: &["loss-too-large"],
        by_catch: 1,
        make: |edit| {
            let place = edit.observation(|run, row| {
                let code = row["code"].as_str().unwrap_or_default();
                (code == "roots.mass" || code == "roots.fine" || code == "deposit.grease")
                    && row["quantities"][0]["unit"] == "percent"
                    && inner(run, row)
            })?;
            edit.set(&to(place, "/quantities/0/value"), 100);
            edit.remove("/ratings");
            Some(to(place, "/quantities/0/value"))
        },
    },
    Mistake {
        about: "a remark about grease at a displaced joint",
        rules: &["remark-contradicts-code"],
        by_catch: 0,
        make: |edit| {
            let place = edit.observation(|run, row| {
                let code = row["code"].as_str().unwrap_or_default();
                matches!(code, "joint.displaced" | "joint.open" | "joint.angled")
                    && !near(run, row, &["deposit", "obstacle"], 2.0)
            })?;
            let remark =
                edit.choice(&["Grease", "grease!", "sediment", "Ablagerung, verfestigt"])?;
            let remark = if remark.starts_with('A') { "silt" } else { remark };
            edit.set(&to(place, "/remark"), remark);
            Some(to(place, "/remark"))
        },
    },
    Mistake {
        about: "no defect, says the remark of a defect",
        rules: &["remark-contradicts-code"],
        by_catch: 0,
        make: |edit| {
            let place = edit.observation(|_, row| row["grades"].is_object())?;
            let remark = edit.choice(&["no defect", "OK.", "ohne Befund", "Rien à signaler"])?;
            edit.set(&to(place, "/remark"), remark);
            Some(to(place, "/remark"))
        },
    },
    Mistake {
        about: "every grade on the reversed scale",
        rules: &["grade-column-suspect"],
        by_catch: 0,
        make: |edit| {
            every_grade(edit, |grade| 6 - grade)?;
            Some("/grading".into())
        },
    },
    Mistake {
        about: "every grade counted from zero",
        rules: &["grade-column-suspect"],
        by_catch: 0,
        make: |edit| {
            every_grade(edit, |grade| grade - 1)?;
            Some("/grading".into())
        },
    },
    Mistake {
        about: "structural and operational grades exchanged",
        rules: &["grade-column-suspect"],
        by_catch: 0,
        make: |edit| {
            every_row(edit, |row| {
                let Some(grades) = row.get("grades").cloned() else { return };
                let mut other = json!({});
                for (from, to) in [("structural", "operational"), ("operational", "structural")] {
                    if let Some(grade) = grades.get(from) {
                        other[to] = grade.clone();
                    }
                }
                row["grades"] = other;
            })?;
            Some("/grading".into())
        },
    },
    Mistake {
        about: "percentages as parts of one",
        rules: &["percent-column-suspect"],
        by_catch: 0,
        make: |edit| {
            every_row(edit, |row| {
                for amount in amounts(row) {
                    if amount["unit"] == "percent" {
                        amount["value"] = json!(amount["value"].as_f64().unwrap_or(1.0) / 100.0);
                    }
                }
            })?;
            Some("/runs".into())
        },
    },
    Mistake {
        about: "clock references in degrees",
        rules: &["clock-column-suspect"],
        by_catch: 0,
        make: |edit| {
            every_row(edit, |row| every_hour(row, |hour| hour % 12.0 * 30.0))?;
            Some("/runs".into())
        },
    },
    Mistake {
        about: "clock references on a dial of 24 hours",
        rules: &["clock-column-suspect"],
        by_catch: 0,
        make: |edit| {
            every_row(edit, |row| every_hour(row, |hour| hour % 12.0 * 2.0))?;
            Some("/runs".into())
        },
    },
    Mistake {
        about: "connections in inches under a heading of millimetres",
        rules: &["connection-unit-suspect"],
        by_catch: 0,
        make: |edit| {
            every_row(edit, |row| {
                let code = row["code"].as_str().unwrap_or_default().to_owned();
                for amount in amounts(row) {
                    if code.starts_with("connection.") && amount["unit"] == "in" {
                        amount["unit"] = json!("mm");
                    }
                }
            })?;
            Some("/runs".into())
        },
    },
    Mistake {
        about: "the grades of a run one row too low",
        rules: &["column-shifted"],
        by_catch: 1,
        make: |edit| {
            let run = run_with(edit, "grades", 8)?;
            shift_down(edit, run, "grades")
        },
    },
    Mistake {
        about: "the clock references of a run one row too low",
        rules: &["column-shifted"],
        by_catch: 1,
        make: |edit| {
            let runs = runs_with_strict_clocks(edit);
            let run = edit.choice(&runs)?;
            shift_down(edit, run, "clock")
        },
    },
    Mistake {
        about: "the quantities of a run one row too low",
        rules: &["column-shifted"],
        by_catch: 1,
        make: |edit| {
            let run = run_with(edit, "quantities", 8)?;
            shift_down(edit, run, "quantities")
        },
    },
];
