//! Mistakes that people of the trade would see at once: dangers, and limits of pipes and cameras.

use serde_json::{Value, json};

use super::codes::recode;
use super::distances::{reached, scale};
use super::edit::{Mistake, inner, to};
use super::records::later;

pub(crate) const ALL: &[Mistake] = &[
    Mistake {
        about: "a gas pipe through the sewer, graded by its size",
        rules: &["grade-contradicts"],
        by_catch: 1,
        make: |edit| {
            let place = edit.observation(|run, row| {
                inner(run, row) && row.get("grades").is_none() && row.get("to").is_none()
            })?;
            let loss = edit.between(1.0, 20.0).round();
            let service = json!({ "code": "obstacle.crossing-pipe", "characterisation": ["gas"],
                "quantities": [{ "value": loss, "unit": "percent" }], "clock": { "at": 3 },
                "grades": { "operational": edit.random.u8(1..5) } });
            recode(edit, place, &service);
            Some(to(place, "/grades/operational"))
        },
    },
    Mistake {
        about: "a crack that gapes",
        rules: &["quantity-range"],
        by_catch: 1,
        make: |edit| {
            let place = edit.observation(|_, row| {
                row["code"].as_str().is_some_and(|code| code.starts_with("crack."))
            })?;
            let width = edit.between(3.0, 30.0).round();
            edit.set(&to(place, "/quantities"), json!([{ "value": width, "unit": "mm" }]));
            Some(to(place, "/quantities/0/value"))
        },
    },
    Mistake {
        about: "a run a little longer than the map",
        rules: &["run-slightly-longer-than-pipe"],
        by_catch: 4,
        make: |edit| {
            let factor = 1.035 + 0.01 * edit.random.f64();
            let run = edit.row("runs", |run| {
                let far = run["surveyed"].as_f64().is_some_and(|far| far >= 199.0);
                reached(run) && far && run.get("reverse_of").is_none()
            })?;
            scale(edit, run, factor);
            let pipe = edit.document["runs"][run]["pipe"].clone();
            let pipes = edit.document["pipes"].as_array()?;
            let between = &pipes.iter().find(|row| row["id"] == pipe)?["length_between"];
            (between == "centres").then(|| format!("/runs/{run}/surveyed"))
        },
    },
    Mistake {
        about: "a run longer than a working day",
        rules: &["run-duration-implausible"],
        by_catch: 2,
        make: |edit| {
            let run = edit.row("runs", |run| run["finished"].is_string())?;
            let hours = edit.random.i64(13..23);
            later(edit, &format!("/runs/{run}/finished"), hours)?;
            Some(format!("/runs/{run}/finished"))
        },
    },
    Mistake {
        about: "a person in a pipe of two feet",
        rules: &["camera-does-not-fit"],
        by_catch: 1,
        make: |edit| {
            let low: Vec<Value> = edit.document["pipes"].as_array()?.clone();
            let fits = |run: &Value| {
                let pipe = low.iter().find(|pipe| pipe["id"] == run["pipe"]);
                pipe.is_some_and(|pipe| pipe["height"].as_f64().is_some_and(|high| high < 25.0))
            };
            let run = edit.row("runs", fits)?;
            edit.set(&format!("/runs/{run}/method"), "walk-through");
            Some(format!("/runs/{run}/method"))
        },
    },
    Mistake {
        about: "a locate at a depth that no transmitter reaches",
        rules: &["locate-depth"],
        by_catch: 2,
        make: |edit| {
            let locate = edit.row("locates", |locate| locate["depth"].is_number())?;
            let depth = edit.between(50.0, 90.0);
            edit.set(&format!("/locates/{locate}/depth"), depth);
            Some(format!("/locates/{locate}/depth"))
        },
    },
];
