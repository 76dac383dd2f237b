//! Mistakes in codes, quantities and grades.

use obvert::model::lists::{ClockExtent, ClockUse, JointUse, StretchUse};
use serde_json::{Value, json};

use super::edit::{Edit, Mistake, inner, to};

/// Whether a row has amounts in a unit.
fn measured(row: &Value, unit: &str) -> bool {
    row["quantities"][0]["unit"] == unit
}

fn graded(row: &Value, aspect: &str) -> bool {
    row["grades"][aspect].is_number()
}

/// Replaces the code of a row, with everything that depends on it.
pub(crate) fn recode(edit: &mut Edit<'_>, place: (usize, usize), with: &Value) {
    let row = edit.at(&to(place, ""));
    let keep = ["id", "at", "media"];
    row.as_object_mut().expect("a row").retain(|key, _| keep.contains(&key.as_str()));
    for (key, value) in with.as_object().expect("keys") {
        row[key] = value.clone();
    }
}

pub(crate) const ALL: &[Mistake] = &[
    Mistake {
        about: "a typing error in a code",
        rules: &["code-unknown"],
        by_catch: 0,
        make: |edit| {
            let place = edit.coded(|code, _| code.role.is_none())?;
            let code = edit.at(&to(place, "/code")).as_str()?.to_owned();
            let cut = 1 + edit.random.usize(1..code.len() - 1);
            edit.set(&to(place, "/code"), format!("{}{}", &code[..cut - 1], &code[cut..]));
            Some(to(place, "/code"))
        },
    },
    Mistake {
        about: "a code for brick in a pipe of clay or plastic",
        rules: &["material-excludes-code"],
        // The row may have been the connection of a lateral.
        by_catch: 2,
        make: |edit| {
            let smooth: Vec<Value> = edit.document["pipes"].as_array()?.clone();
            let fits = |run: &Value| {
                let pipe = smooth.iter().find(|pipe| pipe["id"] == run["pipe"]);
                let material = pipe.and_then(|pipe| pipe["material"].as_str()).unwrap_or_default();
                ["vitrified-clay", "pvc", "hdpe"].contains(&material)
                    && pipe.is_some_and(|pipe| pipe.get("lining").is_none())
            };
            let place = edit.observation(|run, row| {
                fits(run)
                    && inner(run, row)
                    && row.get("grades").is_none()
                    && row.get("to").is_none()
                    && row["code"] != "change.material"
            })?;
            let brick = json!({ "code": "brick.missing", "quantities": [{ "value": 4, "unit": "count" }],
                "clock": { "at": 10 }, "grades": { "structural": 4 } });
            recode(edit, place, &brick);
            Some(to(place, "/code"))
        },
    },
    Mistake {
        about: "a joint defect that is not at a joint",
        rules: &["joint-required"],
        by_catch: 0,
        make: |edit| {
            let place =
                edit.coded(|code, row| code.joint == JointUse::Required && row["joint"] == true)?;
            edit.remove(&to(place, "/joint"));
            Some(to(place, ""))
        },
    },
    Mistake {
        about: "at a joint, with a code that cannot be at one",
        rules: &["joint-impossible"],
        by_catch: 0,
        make: |edit| {
            let place = edit.coded(|code, _| code.joint == JointUse::Never)?;
            edit.set(&to(place, "/joint"), true);
            Some(to(place, "/joint"))
        },
    },
    Mistake {
        about: "the characterisation was left out",
        rules: &["characterisation-missing"],
        by_catch: 1,
        make: |edit| {
            let place = edit.coded(|code, row| {
                code.characterisation.first().is_some_and(|first| first.required)
                    && row.get("characterisation").is_some()
            })?;
            edit.remove(&to(place, "/characterisation"));
            Some(to(place, ""))
        },
    },
    Mistake {
        about: "a characterisation that the code does not have",
        rules: &["characterisation-unknown"],
        by_catch: 1,
        make: |edit| {
            let place = edit.coded(|code, row| {
                code.characterisation.first().is_some_and(|first| !first.values.is_empty())
                    && row.get("characterisation").is_some()
            })?;
            edit.set(&to(place, "/characterisation/0"), "sideways");
            Some(to(place, "/characterisation/0"))
        },
    },
    Mistake {
        about: "one characterisation too many",
        rules: &["characterisation-unexpected"],
        by_catch: 0,
        make: |edit| {
            let place = edit.coded(|code, _| code.characterisation.is_empty())?;
            edit.set(&to(place, "/characterisation"), json!(["fine"]));
            Some(to(place, "/characterisation/0"))
        },
    },
    Mistake {
        about: "no clock reference with a code that requires one",
        rules: &["clock-required"],
        by_catch: 1,
        make: |edit| {
            let place = edit.coded(|code, row| {
                code.clock.usage == ClockUse::Required && row.get("clock").is_some()
            })?;
            edit.remove(&to(place, "/clock"));
            Some(to(place, ""))
        },
    },
    Mistake {
        about: "a clock reference with a code that takes none",
        rules: &["clock-not-applicable"],
        by_catch: 0,
        make: |edit| {
            let place = edit.coded(|code, _| code.clock.usage == ClockUse::None)?;
            edit.set(&to(place, "/clock"), json!({ "at": 6 }));
            Some(to(place, "/clock"))
        },
    },
    Mistake {
        about: "an invalid clock hour",
        rules: &["clock-range"],
        by_catch: 0,
        make: |edit| {
            let place = edit.observation(|_, row| row["clock"]["at"].is_number())?;
            let hour = edit.choice(&[0.0, 13.0, 24.0, 0.5, 7.3, -3.0])?;
            edit.set(&to(place, "/clock/at"), hour);
            Some(to(place, "/clock/at"))
        },
    },
    Mistake {
        about: "from twelve to twelve",
        rules: &["clock-full-circle"],
        by_catch: 0,
        make: |edit| {
            let place = edit.observation(|_, row| row["clock"]["from"].is_number())?;
            let hour = edit.choice(&[12, 12, 6, 3])?;
            edit.set(&to(place, "/clock"), json!({ "from": hour, "to": hour }));
            Some(to(place, "/clock"))
        },
    },
    Mistake {
        about: "an arc without an end",
        rules: &["clock-form"],
        by_catch: 0,
        make: |edit| {
            let place = edit.observation(|_, row| row["clock"]["from"].is_number())?;
            edit.remove(&to(place, "/clock/to"));
            Some(to(place, "/clock"))
        },
    },
    Mistake {
        about: "an arc with a code for a point",
        rules: &["clock-extent"],
        by_catch: 0,
        make: |edit| {
            let place = edit.coded(|code, row| {
                code.clock.extent == Some(ClockExtent::Point) && row["clock"]["at"].is_number()
            })?;
            edit.set(&to(place, "/clock"), json!({ "from": 2, "to": 5 }));
            Some(to(place, "/clock"))
        },
    },
    Mistake {
        about: "the amount was left out",
        rules: &["quantity-missing"],
        by_catch: 1,
        make: |edit| {
            let place = edit.coded(|code, row| {
                code.quantities.first().is_some_and(|first| first.required == Some(true))
                    && row.get("quantities").is_some()
            })?;
            edit.remove(&to(place, "/quantities"));
            Some(to(place, ""))
        },
    },
    Mistake {
        about: "a percentage instead of a length",
        rules: &["quantity-unit"],
        by_catch: 0,
        make: |edit| {
            let place = edit.observation(|_, row| measured(row, "mm") || measured(row, "in"))?;
            edit.set(&to(place, "/quantities/0/unit"), "percent");
            Some(to(place, "/quantities/0/unit"))
        },
    },
    Mistake {
        about: "more than 100 percent",
        rules: &["quantity-range"],
        by_catch: 0,
        make: |edit| {
            let place = edit.observation(|_, row| measured(row, "percent"))?;
            let amount = edit.between(101.0, 900.0);
            edit.set(&to(place, "/quantities/0/value"), amount);
            Some(to(place, "/quantities/0/value"))
        },
    },
    Mistake {
        about: "an amount that the code does not have",
        rules: &["quantity-unexpected"],
        by_catch: 0,
        make: |edit| {
            let place = edit.coded(|code, _| code.quantities.is_empty())?;
            edit.set(&to(place, "/quantities"), json!([{ "value": 5, "unit": "percent" }]));
            Some(to(place, "/quantities/0"))
        },
    },
    Mistake {
        about: "the water level jumps",
        rules: &["water-level-jump"],
        by_catch: 0,
        make: |edit| {
            let (run, row) =
                edit.observation(|run, row| inner(run, row) && row.get("to").is_none())?;
            let at = edit.number_at(&to((run, row), "/at"));
            let high = edit.between(60.0, 90.0);
            let level = |id: &str, value: f64| {
                json!({ "id": id, "at": (at * 10.0).round() / 10.0, "code": "water.level",
                    "quantities": [{ "value": value, "unit": "percent" }] })
            };
            let two = [level("w1", 5.0), level("w2", high)];
            for (offset, record) in two.into_iter().enumerate() {
                edit.rows(run).insert(row + 1 + offset, record);
            }
            Some(to((run, row + 2), "/quantities/0/value"))
        },
    },
    Mistake {
        about: "a grade was left out",
        rules: &["grade-missing"],
        by_catch: 0,
        make: |edit| {
            let place = edit
                .observation(|_, row| graded(row, "structural") && !graded(row, "operational"))?;
            edit.remove(&to(place, "/grades"));
            Some(to(place, ""))
        },
    },
    Mistake {
        about: "a grade off the scale",
        rules: &["grade-outside-scale"],
        by_catch: 0,
        make: |edit| {
            let place = edit.observation(|_, row| graded(row, "structural"))?;
            let grade = edit.choice(&[0, 6, 9, 44])?;
            edit.set(&to(place, "/grades/structural"), grade);
            Some(to(place, "/grades/structural"))
        },
    },
    Mistake {
        about: "a grade that does not follow from what was coded",
        rules: &["grade-contradicts"],
        by_catch: 1,
        make: |edit| {
            let place = edit.observation(|_, row| graded(row, "structural"))?;
            let grade = edit.number_at(&to(place, "/grades/structural"));
            let others: Vec<f64> =
                [1.0, 2.0, 3.0, 4.0, 5.0].into_iter().filter(|other| *other != grade).collect();
            let other = edit.choice(&others)?;
            edit.set(&to(place, "/grades/structural"), other);
            Some(to(place, "/grades/structural"))
        },
    },
    Mistake {
        about: "a structural grade for an operational defect",
        rules: &["grade-aspect-unexpected"],
        by_catch: 0,
        make: |edit| {
            let place = edit
                .observation(|_, row| graded(row, "operational") && !graded(row, "structural"))?;
            let grade = edit.remove(&to(place, "/grades/operational"))?;
            edit.set(&to(place, "/grades/structural"), grade);
            Some(to(place, "/grades/structural"))
        },
    },
    Mistake {
        about: "a rating that does not add up",
        rules: &["rating-contradicts"],
        by_catch: 0,
        make: |edit| {
            let rating = edit.row("ratings", |rating| rating["total"].is_number())?;
            let total = edit.number_at(&format!("/ratings/{rating}/total"));
            let more = edit.choice(&[1.0, 2.0, 10.0, -1.0])?;
            edit.set(&format!("/ratings/{rating}/total"), total + more);
            Some(format!("/ratings/{rating}/total"))
        },
    },
    Mistake {
        about: "two ratings of one pipe",
        rules: &["rating-duplicate"],
        by_catch: 0,
        make: |edit| {
            let rating = edit.row("ratings", |_| true)?;
            let again = edit.again("ratings", rating, "again");
            Some(format!("/ratings/{again}/aspect"))
        },
    },
    Mistake {
        about: "a peak that is not a grade",
        rules: &["rating-outside-scale"],
        by_catch: 0,
        make: |edit| {
            let rating = edit.row("ratings", |rating| rating["peak"].is_number())?;
            let peak = edit.choice(&[0, 6, 12, 55])?;
            edit.set(&format!("/ratings/{rating}/peak"), peak);
            Some(format!("/ratings/{rating}/peak"))
        },
    },
    Mistake {
        about: "the worst grade without a photo",
        rules: &["worst-grade-without-photo"],
        by_catch: 0,
        make: |edit| {
            let place = edit.observation(|_, row| {
                row["grades"]["structural"] == 5 || row["grades"]["operational"] == 5
            })?;
            edit.remove(&to(place, "/media"));
            Some(to(place, ""))
        },
    },
    Mistake {
        about: "a code that is never continuous, opened and never closed",
        rules: &["stretch-not-allowed"],
        by_catch: 0,
        make: |edit| {
            let place = edit.coded(|code, row| {
                code.continuous == StretchUse::Never
                    && code.role.is_none()
                    && row.get("to").is_none()
            })?;
            edit.set(&to(place, "/continuous"), true);
            Some(to(place, "/continuous"))
        },
    },
];
