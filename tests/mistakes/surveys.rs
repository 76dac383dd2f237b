//! Mistakes in a whole survey or a whole run, and contradictions between rows of different tables. Each is one
//! mistake, however many rows it affects.

use serde_json::{Value, json};

use super::edit::{Edit, Mistake, inner, to};

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or(0.0)
}

/// Whether a document has enough runs for conclusions from most of them.
fn large(edit: &Edit<'_>) -> bool {
    edit.document["runs"].as_array().is_some_and(|runs| runs.len() >= 10)
}

/// A photo that an observation of its own run shows: its row, the observation and the place in it.
fn shown(edit: &mut Edit<'_>) -> Option<(usize, (usize, usize), usize)> {
    let photos = edit.document["media"].as_array()?.clone();
    let row = edit.row("media", |media| {
        media["kind"] == "photo" && media["run"].is_string() && media["at"].is_number()
    })?;
    let (id, run) = (&photos[row]["id"], &photos[row]["run"]);
    let shows = |observation: &Value| {
        observation["media"].as_array()?.iter().position(|media| media["id"] == *id)
    };
    let at = edit
        .observation(|record, observation| record["id"] == *run && shows(observation).is_some())?;
    let observation = edit.document.pointer(&to(at, ""))?;
    Some((row, at, shows(observation)?))
}

pub(crate) const ALL: &[Mistake] = &[
    Mistake {
        about: "everything in feet under a heading of metres",
        rules: &["length-unit-suspect"],
        by_catch: 0,
        make: |edit| {
            large(edit).then(|| edit.set("/units/length", "m"))?;
            Some("/units/length".into())
        },
    },
    Mistake {
        about: "the counter of a camera runs fast",
        rules: &["distance-drift"],
        // The runs of another camera and two halves of a pipe are compared with the lengths.
        by_catch: 1,
        make: |edit| {
            large(edit).then_some(())?;
            // Without a map, only the runs show how long the pipes are.
            for (table, key) in
                [("structures", "position"), ("pipes", "path"), ("locates", "position")]
            {
                for row in 0..edit.document[table].as_array()?.len() {
                    edit.remove(&format!("/{table}/{row}/{key}"));
                }
            }
            edit.remove("/crs");
            let factor = 1.0 - edit.between(1.5, 6.0) / 100.0;
            for row in 0..edit.document["pipes"].as_array()?.len() {
                let pointer = format!("/pipes/{row}/length");
                let length = edit.number_at(&pointer);
                edit.set(&pointer, length * factor);
            }
            Some("/equipment/0".into())
        },
    },
    Mistake {
        about: "rows sorted by their code",
        rules: &["distance-decreases"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |run| {
                run["observations"].as_array().is_some_and(|rows| rows.len() > 8)
            })?;
            edit.rows(run).sort_by_key(|row| row["code"].as_str().unwrap_or_default().to_owned());
            Some(format!("/runs/{run}/observations"))
        },
    },
    Mistake {
        about: "a run is lost, but its media and locates are not",
        rules: &["unknown-run"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |run| run.get("reverse_of").is_none())?;
            let id = edit.document["runs"][run]["id"].clone();
            let first =
                edit.document["media"].as_array()?.iter().position(|media| media["run"] == id)?;
            edit.remove(&format!("/runs/{run}"))?;
            Some(format!("/media/{first}/run"))
        },
    },
    Mistake {
        about: "the system of another state",
        rules: &["position-outside-area"],
        by_catch: 0,
        make: |edit| {
            let other = edit.choice(&["EPSG:2263", "EPSG:4326", "EPSG:27700"])?;
            edit.set("/crs", other);
            Some("/crs".into())
        },
    },
    Mistake {
        about: "positions with a false northing that is 500,000 ft too small",
        rules: &["position-near-area"],
        by_catch: 0,
        make: |edit| {
            move_south(edit.document, 500_000.0);
            Some("/crs".into())
        },
    },
    Mistake {
        about: "an observation entered twice",
        rules: &["observation-duplicate"],
        // Grades count twice as well.
        by_catch: 0,
        make: |edit| {
            let (run, row) =
                edit.observation(|run, row| inner(run, row) && row.get("to").is_none())?;
            let mut copy = edit.rows(run)[row].clone();
            copy["id"] = json!("again");
            edit.rows(run).insert(row + 1, copy);
            Some(to((run, row + 1), ""))
        },
    },
    Mistake {
        about: "the distance of a photo is mistyped",
        rules: &["media-distance-contradicts", "media-beyond-run"],
        by_catch: 0,
        make: |edit| {
            let (media, at, place) = shown(edit)?;
            let pointer = format!("/media/{media}/at");
            let taken = edit.number_at(&pointer);
            (taken > 20.0).then_some(())?;
            edit.set(&pointer, taken / 10.0);
            Some(to(at, &format!("/media/{place}")))
        },
    },
    Mistake {
        about: "the photo of another pipe",
        rules: &["media-run-contradicts"],
        by_catch: 0,
        make: |edit| {
            let (media, at, place) = shown(edit)?;
            let own = edit.document["media"][media]["run"].clone();
            let others = edit.document["media"].as_array()?.clone();
            let other =
                edit.row("media", |media| media["run"].is_string() && media["run"] != own)?;
            let run = others[other]["run"].clone();
            // A run that only this file names would be a mistyped one.
            (others.iter().filter(|media| media["run"] == run).count() > 1).then_some(())?;
            edit.set(&format!("/media/{media}/run"), run);
            edit.remove(&format!("/media/{media}/at"));
            edit.remove(&format!("/media/{media}/captured"));
            Some(to(at, &format!("/media/{place}")))
        },
    },
    Mistake {
        about: "a photo of an earlier survey",
        rules: &["media-time-contradicts"],
        by_catch: 0,
        make: |edit| {
            let row = edit
                .row("media", |media| media["kind"] == "photo" && media["captured"].is_string())?;
            let year = edit.random.u16(2010..2024);
            edit.set(&format!("/media/{row}/captured"), format!("{year}-04-11T10:20:00-05:00"));
            Some(format!("/media/{row}/captured"))
        },
    },
    Mistake {
        about: "the year of a run is mistyped",
        rules: &["run-date-outlier"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |run| {
                run["finished"].is_string() && run.get("reverse_of").is_none()
            })?;
            let year = edit.choice(&["2025", "2023", "1926"])?;
            for key in ["started", "finished"] {
                let time = edit.document["runs"][run][key].as_str()?.replace("2026", year);
                edit.set(&format!("/runs/{run}/{key}"), time);
            }
            Some(format!("/runs/{run}/started"))
        },
    },
    Mistake {
        about: "two digits of a year of laying are missing",
        rules: &["year-laid-implausible"],
        by_catch: 0,
        make: |edit| {
            let row = edit.row("pipes", |_| true)?;
            let year = edit.random.u16(1..100);
            edit.set(&format!("/pipes/{row}/laid"), year);
            Some(format!("/pipes/{row}/laid"))
        },
    },
    Mistake {
        about: "a lateral joins the pipe away from its recorded connection",
        rules: &["connection-contradicts-lateral"],
        // A camera that was launched there contradicts it too.
        by_catch: 1,
        make: |edit| {
            let pipes = edit.document["pipes"].as_array()?.clone();
            let at = edit.observation(|_, row| row["joins"].is_string())?;
            let lateral = edit.document.pointer(&to(at, "/joins"))?.clone();
            let row = pipes
                .iter()
                .position(|pipe| pipe["id"] == lateral && pipe["joins"]["at"].is_number())?;
            let off = edit.between(15.0, 60.0);
            edit.set(&format!("/pipes/{row}/joins/at"), number(&pipes[row]["joins"], "at") + off);
            Some(to(at, "/joins"))
        },
    },
    Mistake {
        about: "all letters in the wrong encoding",
        rules: &["text-garbled"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |run| {
                run["observations"].as_array().is_some_and(|rows| rows.len() > 4)
            })?;
            for row in 1..4 {
                edit.set(&to((run, row), "/remark"), "tr\u{c3}\u{a8}s humide");
            }
            let damaged =
                |row: &Value| row["remark"].as_str().is_some_and(|text| text.contains('\u{c3}'));
            let first = edit.rows(run).iter().position(damaged)?;
            Some(to((run, first), "/remark"))
        },
    },
    Mistake {
        about: "an empty file where a photo should be",
        rules: &["media-empty"],
        by_catch: 0,
        make: |edit| {
            let row = edit.row("media", |media| media["state"] != "lost")?;
            edit.set(&format!("/media/{row}/bytes"), 0);
            Some(format!("/media/{row}/bytes"))
        },
    },
    Mistake {
        about: "an impossible number",
        rules: &["number-impossible"],
        by_catch: 0,
        make: |edit| {
            let row =
                edit.row("pipes", |pipe| pipe["height"].is_number() && pipe["length"].is_number())?;
            let key = edit.choice(&["height", "length", "joint_spacing"])?;
            let value = edit.choice(&[0.0, -1.0, -8.0])?;
            edit.set(&format!("/pipes/{row}/{key}"), value);
            Some(format!("/pipes/{row}/{key}"))
        },
    },
    Mistake {
        about: "a receiver at another frequency",
        rules: &["locate-frequency-contradicts"],
        by_catch: 0,
        make: |edit| {
            let row = edit.row("locates", |locate| locate["method"] == "inline-transmitter")?;
            let hertz = edit.choice(&[640, 8192, 33000])?;
            edit.set(&format!("/locates/{row}/frequency"), hertz);
            Some(format!("/locates/{row}/frequency"))
        },
    },
];

/// Takes something from the second number of every position.
fn move_south(value: &mut Value, by: f64) {
    let south = |position: &mut Value| {
        if let Some(northing) = position[1].as_f64() {
            position[1] = (northing - by).into();
        }
    };
    for (key, inner) in value.as_object_mut().into_iter().flatten() {
        match key.as_str() {
            "position" => south(inner),
            "path" => inner.as_array_mut().into_iter().flatten().for_each(south),
            "structures" | "pipes" | "locates" => {
                for row in inner.as_array_mut().into_iter().flatten() {
                    move_south(row, by);
                }
            }
            _ => {}
        }
    }
}
