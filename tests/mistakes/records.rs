//! Mistakes outside of observations: units, positions, identity, time, media, locates.

use serde_json::{Value, json};

use super::edit::{Edit, Mistake, to};

/// Moves the hour of a timestamp.
pub(crate) fn later(edit: &mut Edit<'_>, pointer: &str, hours: i64) -> Option<()> {
    let text = edit.document.pointer(pointer)?.as_str()?.to_owned();
    let zoned: jiff::Timestamp = text.parse().ok()?;
    let moved = zoned.checked_add(jiff::SignedDuration::from_hours(hours)).ok()?;
    edit.set(pointer, moved.to_string());
    Some(())
}

fn shows(row: &Value, media: &Value) -> bool {
    row["media"].as_array().is_some_and(|shown| shown.iter().any(|shown| shown["id"] == *media))
}

pub(crate) const ALL: &[Mistake] = &[
    Mistake {
        about: "every diameter in the other unit",
        rules: &["size-unit-suspect"],
        by_catch: 0,
        make: |edit| {
            let inches = edit.document["units"]["section"] == "in";
            edit.set("/units/section", if inches { "mm" } else { "in" });
            Some("/units/section".to_owned())
        },
    },
    Mistake {
        about: "one diameter in millimetres among inches",
        rules: &["size-unit-suspect", "size-implausible"],
        by_catch: 0,
        make: |edit| {
            let pipe = edit
                .row("pipes", |pipe| pipe["shape"] == "circular" && pipe["height"].is_number())?;
            let millimetres = edit.choice(&[150, 200, 225, 300, 375, 450])?;
            edit.set(&format!("/pipes/{pipe}/height"), millimetres);
            Some(format!("/pipes/{pipe}/height"))
        },
    },
    Mistake {
        about: "the lengths of all pipes in metres, declared feet",
        rules: &["length-unit-suspect"],
        by_catch: 0,
        make: |edit| {
            for pipe in 0..edit.document["pipes"].as_array()?.len() {
                let pointer = format!("/pipes/{pipe}/length");
                if let Some(length) = edit.document.pointer(&pointer).and_then(Value::as_f64) {
                    edit.set(&pointer, length * 0.3048);
                }
            }
            (edit.document["pipes"].as_array()?.len() > 3).then(|| "/units/length".to_owned())
        },
    },
    Mistake {
        about: "positions in the other unit of the state's map",
        rules: &["crs-unit-suspect"],
        by_catch: 0,
        make: |edit| {
            // The system stays in feet, and the numbers become metres.
            for structure in 0..edit.document["structures"].as_array()?.len() {
                for axis in 0..2 {
                    let pointer = format!("/structures/{structure}/position/{axis}");
                    if let Some(value) = edit.document.pointer(&pointer).and_then(Value::as_f64) {
                        edit.set(&pointer, value * 0.3048);
                    }
                }
            }
            for pipe in 0..edit.document["pipes"].as_array()?.len() {
                let vertices = edit.document["pipes"][pipe]["path"].as_array().map_or(0, Vec::len);
                for vertex in 0..vertices {
                    for axis in 0..2 {
                        let pointer = format!("/pipes/{pipe}/path/{vertex}/{axis}");
                        let value = edit.number_at(&pointer);
                        edit.set(&pointer, value * 0.3048);
                    }
                }
            }
            for locate in 0..edit.document["locates"].as_array()?.len() {
                for axis in 0..2 {
                    let pointer = format!("/locates/{locate}/position/{axis}");
                    let value = edit.number_at(&pointer);
                    edit.set(&pointer, value * 0.3048);
                }
            }
            Some("/crs".to_owned())
        },
    },
    Mistake {
        about: "a shaft far too deep",
        rules: &["depth-implausible", "depth-contradicts-elevations"],
        by_catch: 0,
        make: |edit| {
            let structure = edit.row("structures", |row| row["depth"].is_number())?;
            let depth = edit.between(120.0, 400.0);
            edit.set(&format!("/structures/{structure}/depth"), depth);
            Some(format!("/structures/{structure}/depth"))
        },
    },
    Mistake {
        about: "the invert above the rim",
        rules: &["invert-above-ground"],
        by_catch: 0,
        make: |edit| {
            let structure = edit
                .row("structures", |row| row["invert"].is_number() && row["ground"].is_number())?;
            let ground = edit.number_at(&format!("/structures/{structure}/ground"));
            let more = edit.between(0.5, 9.0);
            edit.set(&format!("/structures/{structure}/invert"), ground + more);
            Some(format!("/structures/{structure}/invert"))
        },
    },
    Mistake {
        about: "the two inverts of a pipe exchanged",
        rules: &["invert-outside-structure", "gradient-uphill"],
        by_catch: 0,
        make: |edit| {
            let pipe = edit.row("pipes", |pipe| {
                let inverts = &pipe["inverts"];
                inverts["upstream"].as_f64() > inverts["downstream"].as_f64().map(|low| low + 0.2)
                    && inverts["downstream"].is_number()
            })?;
            let (up, down) = (
                format!("/pipes/{pipe}/inverts/upstream"),
                format!("/pipes/{pipe}/inverts/downstream"),
            );
            let (high, low) = (edit.number_at(&up), edit.number_at(&down));
            edit.set(&up, low);
            edit.set(&down, high);
            Some(format!("/pipes/{pipe}/inverts"))
        },
    },
    Mistake {
        about: "no datum for the elevations",
        rules: &["vertical-missing"],
        by_catch: 0,
        make: |edit| {
            edit.remove("/vertical");
            Some(String::new())
        },
    },
    Mistake {
        about: "no reference system for the positions",
        rules: &["crs-missing"],
        by_catch: 0,
        make: |edit| {
            edit.remove("/crs");
            Some(String::new())
        },
    },
    Mistake {
        about: "an unknown reference system",
        rules: &["crs-unknown"],
        by_catch: 0,
        make: |edit| {
            let code = edit.choice(&["EPSG:99", "EPSG:65470", "EPSG:1"])?;
            edit.set("/crs", code);
            Some("/crs".to_owned())
        },
    },
    Mistake {
        about: "the reference system of another state",
        rules: &["position-outside-area"],
        by_catch: 0,
        make: |edit| {
            let code = edit.choice(&["EPSG:2263", "EPSG:4326", "EPSG:2225"])?;
            edit.set("/crs", code);
            Some("/crs".to_owned())
        },
    },
    Mistake {
        about: "a size, a length or a distance that is zero or negative",
        rules: &["number-impossible"],
        by_catch: 2,
        make: |edit| {
            let field = edit.choice(&["height", "length", "joint_spacing"])?;
            let pipe = edit.row("pipes", |pipe| pipe[field].is_number())?;
            let value = edit.choice(&[0.0, -8.0, -268.1])?;
            edit.set(&format!("/pipes/{pipe}/{field}"), value);
            Some(format!("/pipes/{pipe}/{field}"))
        },
    },
    Mistake {
        about: "the finish before the start",
        rules: &["time-order"],
        by_catch: 0,
        make: |edit| {
            let run =
                edit.row("runs", |run| run["started"].is_string() && run["finished"].is_string())?;
            let hours = -edit.random.i64(2..30);
            later(edit, &format!("/runs/{run}/finished"), hours)?;
            Some(format!("/runs/{run}/finished"))
        },
    },
    Mistake {
        about: "a run longer than any battery",
        rules: &["run-duration-implausible"],
        by_catch: 1,
        make: |edit| {
            let run = edit.row("runs", |run| run["finished"].is_string())?;
            let hours = edit.random.i64(4..10);
            edit.set(&format!("/runs/{run}/method"), "push-rod");
            edit.set(&format!("/runs/{run}/equipment"), json!([]));
            later(edit, &format!("/runs/{run}/finished"), hours)?;
            Some(format!("/runs/{run}/finished"))
        },
    },
    Mistake {
        about: "dated in the future",
        rules: &["date-in-future"],
        by_catch: 1,
        make: |edit| {
            let run = edit.row("runs", |run| run["finished"].is_string())?;
            let hours = 24 * edit.random.i64(60..900);
            later(edit, &format!("/runs/{run}/started"), hours)?;
            later(edit, &format!("/runs/{run}/finished"), hours)?;
            Some(format!("/runs/{run}/started"))
        },
    },
    Mistake {
        about: "a run after the survey was issued",
        rules: &["issued-before-run"],
        by_catch: 2,
        make: |edit| {
            let run = edit.row("runs", |run| run["finished"].is_string())?;
            let hours = 24 * edit.random.i64(5..25);
            later(edit, &format!("/runs/{run}/started"), hours)?;
            later(edit, &format!("/runs/{run}/finished"), hours)?;
            Some(format!("/runs/{run}/finished"))
        },
    },
    Mistake {
        about: "one camera in two pipes at the same time",
        rules: &["runs-concurrent"],
        by_catch: 1,
        make: |edit| {
            let camera = |run: &Value| run["equipment"][0].clone();
            let first =
                edit.row("runs", |run| run["started"].is_string() && run["equipment"].is_array())?;
            let (with, id) =
                (camera(&edit.document["runs"][first]), edit.document["runs"][first]["id"].clone());
            let second = edit.row("runs", |run| camera(run) == with && run["id"] != id)?;
            let started = edit.at(&format!("/runs/{first}/started")).clone();
            let finished = edit.at(&format!("/runs/{first}/finished")).clone();
            edit.set(&format!("/runs/{second}/started"), started);
            edit.set(&format!("/runs/{second}/finished"), finished);
            Some(format!("/runs/{}/started", first.max(second)))
        },
    },
    Mistake {
        about: "a pipe that the survey does not have",
        rules: &["unknown-pipe"],
        by_catch: 3,
        make: |edit| {
            let run = edit.row("runs", |_| true)?;
            edit.set(&format!("/runs/{run}/pipe"), "P-9O9");
            Some(format!("/runs/{run}/pipe"))
        },
    },
    Mistake {
        about: "a structure that the survey does not have",
        rules: &["unknown-structure"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |run| run["from"].is_string())?;
            edit.set(&format!("/runs/{run}/from"), "MH-9O9");
            Some(format!("/runs/{run}/from"))
        },
    },
    Mistake {
        about: "the direction reversed",
        rules: &["direction-contradicts"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |run| run["from"].is_string() && run["to"].is_string())?;
            let down = edit.at(&format!("/runs/{run}/direction")) == "downstream";
            edit.set(
                &format!("/runs/{run}/direction"),
                if down { "upstream" } else { "downstream" },
            );
            Some(format!("/runs/{run}/direction"))
        },
    },
    Mistake {
        about: "a run that starts at a structure of another pipe",
        rules: &["run-structure-mismatch"],
        by_catch: 0,
        make: |edit| {
            let run =
                edit.row("runs", |run| run["from"].is_string() && run.get("launched").is_none())?;
            let pipe = edit.at(&format!("/runs/{run}/pipe")).clone();
            let pipe =
                edit.document["pipes"].as_array()?.iter().find(|row| row["id"] == pipe)?.clone();
            let other = edit.row("structures", |row| {
                row["id"] != pipe["upstream"] && row["id"] != pipe["downstream"]
            })?;
            let other = edit.at(&format!("/structures/{other}/id")).clone();
            edit.set(&format!("/runs/{run}/from"), other);
            Some(format!("/runs/{run}/from"))
        },
    },
    Mistake {
        about: "one pipe under two ids",
        rules: &["pipe-duplicate"],
        by_catch: 0,
        make: |edit| {
            let pipe = edit.row("pipes", |pipe| pipe["downstream"].is_string())?;
            let again = edit.again("pipes", pipe, "P-new");
            Some(format!("/pipes/{again}"))
        },
    },
    Mistake {
        about: "a pipe from a structure to itself",
        rules: &["pipe-loop"],
        by_catch: 4,
        make: |edit| {
            let pipe = edit.row("pipes", |pipe| pipe["downstream"].is_string())?;
            let up = edit.at(&format!("/pipes/{pipe}/upstream")).clone();
            edit.set(&format!("/pipes/{pipe}/downstream"), up);
            Some(format!("/pipes/{pipe}/downstream"))
        },
    },
    Mistake {
        about: "a duplicate id",
        rules: &["duplicate-id"],
        by_catch: 1,
        make: |edit| {
            let first = edit.row("structures", |_| true)?;
            let id = edit.at(&format!("/structures/{first}/id")).clone();
            let second = edit.row("structures", |row| row["id"] != id)?;
            edit.set(&format!("/structures/{second}/id"), id);
            Some(format!("/structures/{}/id", first.max(second)))
        },
    },
    Mistake {
        about: "a photo that is not in the table",
        rules: &["unknown-media"],
        by_catch: 0,
        make: |edit| {
            let place = edit.observation(|_, row| row["media"].is_array())?;
            edit.set(&to(place, "/media/0/id"), "S-9O9");
            Some(to(place, "/media/0/id"))
        },
    },
    Mistake {
        about: "the extension contradicts the type",
        rules: &["media-type-contradicts"],
        by_catch: 0,
        make: |edit| {
            let media = edit.row("media", |media| media["type"] == "image/jpeg")?;
            let kind = edit.choice(&["image/png", "image/tiff", "image/webp"])?;
            edit.set(&format!("/media/{media}/type"), kind);
            Some(format!("/media/{media}/file"))
        },
    },
    Mistake {
        about: "two rows with one file",
        rules: &["media-file-duplicate"],
        by_catch: 0,
        make: |edit| {
            let media = edit.row("media", |_| true)?;
            let again = edit.again("media", media, "S-new");
            Some(format!("/media/{again}/file"))
        },
    },
    Mistake {
        about: "two names that are one on another file system",
        rules: &["media-case-clash"],
        by_catch: 0,
        make: |edit| {
            let media = edit.row("media", |media| media["kind"] == "photo")?;
            let again = edit.again("media", media, "S-new");
            let file = edit.at(&format!("/media/{media}/file")).as_str()?.to_owned();
            let (folder, name) = file.rsplit_once('/')?;
            edit.set(&format!("/media/{again}/file"), format!("{folder}/{}", name.to_uppercase()));
            edit.remove(&format!("/media/{again}/sha256"));
            (name.to_uppercase() != name).then(|| format!("/media/{again}/file"))
        },
    },
    Mistake {
        about: "a name that Windows does not allow",
        rules: &["media-path-unportable"],
        by_catch: 0,
        make: |edit| {
            let media = edit.row("media", |media| media["kind"] == "photo")?;
            let name = edit.choice(&[
                "photos/a:b.jpg",
                "photos\\x.jpg",
                "/srv/x.jpg",
                "../x.jpg",
                "photos/con.jpg",
                "photos/what?.jpg",
            ])?;
            edit.set(&format!("/media/{media}/file"), name);
            Some(format!("/media/{media}/file"))
        },
    },
    Mistake {
        about: "two pictures with the same content",
        rules: &["media-same-content"],
        by_catch: 0,
        make: |edit| {
            let digest = json!("a".repeat(64));
            let first = edit.row("media", |media| media["kind"] == "photo")?;
            let second = edit.row("media", |media| media["kind"] == "photo")?;
            if first == second {
                return None;
            }
            for media in [first, second] {
                edit.set(&format!("/media/{media}/sha256"), digest.clone());
                edit.set(&format!("/media/{media}/bytes"), 1000);
            }
            Some(format!("/media/{}/sha256", first.max(second)))
        },
    },
    Mistake {
        about: "a photo that was lost",
        rules: &["media-incomplete"],
        by_catch: 0,
        make: |edit| {
            let media = edit.row("media", |media| media["kind"] == "photo")?;
            let id = edit.at(&format!("/media/{media}/id")).clone();
            edit.set(&format!("/media/{media}/state"), "lost");
            // The first observation that names it.
            let runs = edit.document["runs"].as_array()?;
            let (run, row) = runs.iter().enumerate().find_map(|(run, record)| {
                Some((
                    run,
                    record["observations"].as_array()?.iter().position(|row| shows(row, &id))?,
                ))
            })?;
            let shown = edit
                .at(&to((run, row), "/media"))
                .as_array()?
                .iter()
                .position(|shown| shown["id"] == id)?;
            Some(to((run, row), &format!("/media/{shown}")))
        },
    },
    Mistake {
        about: "a place in a video past its end",
        rules: &["media-offset-past-end"],
        by_catch: 2,
        make: |edit| {
            let place = edit.observation(|_, row| row["media"][0]["offset"].is_number())?;
            let offset = edit.between(20_000.0, 90_000.0);
            edit.set(&to(place, "/media/0/offset"), offset);
            Some(to(place, "/media/0/offset"))
        },
    },
    Mistake {
        about: "the video runs backwards while the camera goes forward",
        rules: &["media-offset-decreases"],
        by_catch: 0,
        make: |edit| {
            let place = edit.observation(|run, row| {
                super::edit::inner(run, row) && row["media"][0]["offset"].as_f64() > Some(60.0)
            })?;
            edit.set(&to(place, "/media/0/offset"), 1);
            Some(to(place, "/media/0/offset"))
        },
    },
    Mistake {
        about: "two locates farther apart than the cable between them",
        rules: &["locates-too-far-apart"],
        by_catch: 0,
        make: |edit| {
            let locates = edit.document["locates"].as_array()?.clone();
            // The last of a run, since the mistake is reported at the later one of two.
            let locate = edit.row("locates", |row| {
                let of_run = || locates.iter().filter(|other| other["run"] == row["run"]);
                row["position"].is_array()
                    && of_run().count() > 1
                    && of_run().all(|other| other["at"].as_f64() <= row["at"].as_f64())
            })?;
            let east = edit.number_at(&format!("/locates/{locate}/position/0"));
            let off = edit.between(400.0, 900.0);
            edit.set(&format!("/locates/{locate}/position/0"), east + off);
            Some(format!("/locates/{locate}/position"))
        },
    },
    Mistake {
        about: "a locate above the ground",
        rules: &["number-impossible"],
        by_catch: 0,
        make: |edit| {
            let locate = edit.row("locates", |row| row["depth"].is_number())?;
            let depth = -edit.between(0.5, 8.0);
            edit.set(&format!("/locates/{locate}/depth"), depth);
            Some(format!("/locates/{locate}/depth"))
        },
    },
    Mistake {
        about: "located past the end of the run",
        rules: &["locate-past-run"],
        by_catch: 0,
        make: |edit| {
            let locate = edit.row("locates", |_| true)?;
            let at = edit.between(900.0, 2000.0);
            edit.set(&format!("/locates/{locate}/at"), at);
            Some(format!("/locates/{locate}/at"))
        },
    },
    Mistake {
        about: "the transmitter's offset was forgotten",
        rules: &["transmitter-offset-missing"],
        by_catch: 0,
        make: |edit| {
            let locate = edit.row("locates", |row| row["transmitter_offset"].is_number())?;
            edit.remove(&format!("/locates/{locate}/transmitter_offset"));
            Some(format!("/locates/{locate}"))
        },
    },
    Mistake {
        about: "`other` without a text",
        rules: &["other-without-text"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |_| true)?;
            edit.set(&format!("/runs/{run}/weather"), "other");
            Some(format!("/runs/{run}/weather"))
        },
    },
    Mistake {
        about: "an operator who is not in the table",
        rules: &["unknown-party"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |run| run["operator"].is_string())?;
            edit.set(&format!("/runs/{run}/operator"), "op-nobody");
            Some(format!("/runs/{run}/operator"))
        },
    },
    Mistake {
        about: "a camera that is not in the table",
        rules: &["unknown-equipment"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |run| run["equipment"].is_array())?;
            edit.set(&format!("/runs/{run}/equipment/0"), "crawler-99");
            Some(format!("/runs/{run}/equipment/0"))
        },
    },
    Mistake {
        about: "a time without its zone",
        rules: &["text-form"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |run| run["started"].is_string())?;
            let time = edit.at(&format!("/runs/{run}/started")).as_str()?[..19].to_owned();
            edit.set(&format!("/runs/{run}/started"), time);
            Some(format!("/runs/{run}/started"))
        },
    },
    Mistake {
        about: "a rectangular pipe without its width",
        rules: &["width-missing"],
        by_catch: 0,
        make: |edit| {
            let pipe = edit
                .row("pipes", |pipe| pipe["shape"] == "circular" && pipe["height"].is_number())?;
            edit.set(&format!("/pipes/{pipe}/shape"), "rectangular");
            edit.remove(&format!("/pipes/{pipe}/width"));
            Some(format!("/pipes/{pipe}"))
        },
    },
];
