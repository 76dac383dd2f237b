//! Mistakes that only show when rows of different tables are compared: recordings with runs, runs with
//! the other runs of their crew, and the pipes of a line.

use serde_json::{Value, json};

use super::edit::{Edit, Mistake, to};

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or(0.0)
}

/// Inserts a row into a run, in the order of distance.
fn insert(edit: &mut Edit<'_>, run: usize, row: Value) -> usize {
    let rows = edit.rows(run);
    let place = rows.partition_point(|other| number(other, "at") <= number(&row, "at"));
    rows.insert(place, row);
    place
}

fn large(edit: &Edit<'_>) -> bool {
    edit.document["runs"].as_array().is_some_and(|runs| runs.len() >= 10)
}

/// Moves the two times of a run by whole hours.
fn shift(edit: &mut Edit<'_>, run: usize, hours: i64) -> Option<()> {
    for key in ["started", "finished"] {
        let pointer = format!("/runs/{run}/{key}");
        let time: jiff::Timestamp = edit.document.pointer(&pointer)?.as_str()?.parse().ok()?;
        let moved = time.checked_add(jiff::SignedDuration::from_hours(hours)).ok()?;
        edit.set(&pointer, moved.to_string());
    }
    Some(())
}

/// A video of one run that lasts as long as the run, with the number of rows shown in it.
fn video(edit: &mut Edit<'_>, least: usize) -> Option<(usize, usize, usize)> {
    let runs = edit.document["runs"].as_array()?.clone();
    let timed = |run: &Value, id: &Value| {
        let rows = run["observations"].as_array().map_or(&[][..], Vec::as_slice);
        let shown = |row: &&Value| {
            row["media"].as_array().is_some_and(|media| media.iter().any(|one| one["id"] == *id))
        };
        rows.iter().filter(shown).count()
    };
    let run_of = |media: &Value| runs.iter().position(|run| run["id"] == media["run"]);
    let media = edit.row("media", |media| {
        media["kind"] == "video"
            && media["duration"].is_number()
            && run_of(media).is_some_and(|run| timed(&runs[run], &media["id"]) >= least)
    })?;
    let run = run_of(&edit.document["media"][media])?;
    Some((media, run, timed(&runs[run], &edit.document["media"][media]["id"])))
}

/// Writes the times in some recordings in minutes.
fn in_minutes(edit: &mut Edit<'_>, of: impl Fn(&Value) -> bool) {
    let Some(runs) = edit.document["runs"].as_array_mut() else { return };
    for row in runs.iter_mut().filter_map(|run| run["observations"].as_array_mut()).flatten() {
        let shown = row.get_mut("media").and_then(Value::as_array_mut);
        for media in shown.into_iter().flatten().filter(|media| of(media)) {
            if let Some(seconds) = media["offset"].as_f64() {
                media["offset"] = json!((seconds / 6.0).round() / 10.0);
            }
        }
    }
}

pub(crate) const ALL: &[Mistake] = &[
    Mistake {
        about: "a photo note without its photo",
        rules: &["photo-note-without-photo"],
        by_catch: 0,
        make: |edit| {
            let run = edit.row("runs", |run| number(run, "surveyed") > 40.0)?;
            let at = (number(&edit.document["runs"][run], "surveyed") * 5.3).round() / 10.0;
            // No photo of the run was taken there.
            let id = edit.document["runs"][run]["id"].clone();
            let photos = edit.document["media"].as_array()?;
            let there =
                |media: &&Value| media["run"] == id && (number(media, "at") - at).abs() < 5.0;
            photos.iter().find(there).is_none().then_some(())?;
            let row = insert(edit, run, json!({ "id": "photo", "at": at, "code": "note.photo" }));
            Some(to((run, row), ""))
        },
    },
    Mistake {
        about: "a time in the video of another run",
        rules: &["recording-run-contradicts"],
        by_catch: 1,
        make: |edit| {
            let (media, run, _) = video(edit, 2)?;
            let id = edit.document["media"][media]["id"].clone();
            let own = edit.document["media"][media]["run"].clone();
            let other = edit.row("media", |media| {
                media["kind"] == "video" && media["run"].is_string() && media["run"] != own
            })?;
            let other = edit.document["media"][other]["id"].clone();
            let rows = edit.rows(run).clone();
            let row = rows.iter().position(|row| row["media"][0]["id"] == id)?;
            edit.set(&to((run, row), "/media/0/id"), other);
            edit.set(&to((run, row), "/media/0/offset"), 3);
            Some(to((run, row), "/media/0/id"))
        },
    },
    Mistake {
        about: "the duration of a video in minutes",
        rules: &["duration-contradicts-offsets"],
        by_catch: 1,
        make: |edit| {
            let (media, _, _) = video(edit, 5)?;
            let pointer = format!("/media/{media}/duration");
            let seconds = edit.number_at(&pointer);
            edit.set(&pointer, seconds / 60.0);
            Some(pointer)
        },
    },
    Mistake {
        about: "the durations of all videos in minutes",
        rules: &["duration-contradicts-offsets"],
        by_catch: 0,
        make: |edit| {
            large(edit).then_some(())?;
            for media in 0..edit.document["media"].as_array()?.len() {
                let pointer = format!("/media/{media}/duration");
                if let Some(seconds) = edit.document.pointer(&pointer).and_then(Value::as_f64) {
                    edit.set(&pointer, seconds / 60.0);
                }
            }
            Some("/media".to_owned())
        },
    },
    Mistake {
        about: "the times in all videos in minutes",
        rules: &["offset-unit-suspect"],
        by_catch: 0,
        make: |edit| {
            large(edit).then_some(())?;
            in_minutes(edit, |_| true);
            Some("/runs".to_owned())
        },
    },
    Mistake {
        about: "the times of a run in its video in minutes",
        rules: &["offset-unit-suspect"],
        by_catch: 0,
        make: |edit| {
            let (media, run, _) = video(edit, 5)?;
            let id = edit.document["media"][media]["id"].clone();
            (edit.document["runs"][run]["outcome"]["kind"] == "reached").then_some(())?;
            in_minutes(edit, |media| media["id"] == id);
            Some(format!("/runs/{run}/observations"))
        },
    },
    Mistake {
        about: "a video of half of the run",
        rules: &["video-shorter-than-run", "media-offset-past-end", "duration-contradicts-offsets"],
        by_catch: 0,
        make: |edit| {
            let (media, run, _) = video(edit, 2)?;
            (edit.document["runs"][run]["outcome"]["kind"] == "reached").then_some(())?;
            let pointer = format!("/media/{media}/duration");
            let (seconds, share) = (edit.number_at(&pointer), edit.between(0.1, 0.4));
            edit.set(&pointer, (seconds * share).round());
            // Half of the time, no row says so.
            if edit.random.bool() {
                let id = edit.document["media"][media]["id"].clone();
                for row in edit.rows(run) {
                    if let Some(shown) = row.get_mut("media").and_then(Value::as_array_mut) {
                        shown.retain(|one| one["id"] != id);
                    }
                }
            }
            Some(pointer)
        },
    },
    Mistake {
        about: "a long video in a small file",
        rules: &["bit-rate-implausible"],
        by_catch: 0,
        make: |edit| {
            let media = edit.row("media", |media| {
                media["kind"] == "video" && number(media, "duration") > 60.0
            })?;
            let bytes = edit.random.u32(500..60_000);
            edit.set(&format!("/media/{media}/bytes"), bytes);
            Some(format!("/media/{media}/bytes"))
        },
    },
    Mistake {
        about: "the hour of a run twelve hours off",
        // The pictures may show it before the other runs do.
        rules: &["time-of-day-shifted", "media-time-contradicts"],
        by_catch: 3,
        make: |edit| {
            // A run whose crew made others the same day, before and after it.
            let runs = edit.document["runs"].as_array()?.clone();
            let crew = |run: &Value| (run["operator"].clone(), run["equipment"][0].clone());
            let time =
                |run: &Value| -> Option<jiff::Timestamp> { run["started"].as_str()?.parse().ok() };
            let of_day = |run: &Value| -> Vec<jiff::Timestamp> {
                let same = |other: &&Value| {
                    crew(other) == crew(run)
                        && other["id"] != run["id"]
                        && other["started"].as_str().map(|text| text[..10].to_owned())
                            == run["started"].as_str().map(|text| text[..10].to_owned())
                };
                runs.iter().filter(same).filter_map(time).collect()
            };
            let run = edit.row("runs", |run| {
                let Some(started) = time(run) else { return false };
                let others = of_day(run);
                let (before, after): (Vec<jiff::Timestamp>, Vec<jiff::Timestamp>) =
                    others.iter().copied().partition(|other| *other < started);
                // As it would be, six hours from the last of the day.
                let late = started + jiff::SignedDuration::from_hours(12);
                let apart = |other: &jiff::Timestamp| {
                    late.duration_since(*other) > jiff::SignedDuration::from_secs(23_400)
                };
                others.len() >= 2
                    && !before.is_empty()
                    && !after.is_empty()
                    && others.iter().all(apart)
                    && (others.len() >= 3 || runs.len() < 10)
            })?;
            shift(edit, run, 12)?;
            Some(format!("/runs/{run}/started"))
        },
    },
    Mistake {
        about: "an operator in two places at once",
        rules: &["operator-concurrent"],
        by_catch: 1,
        make: |edit| {
            large(edit).then_some(())?;
            let runs = edit.document["runs"].as_array()?.clone();
            let at_once = |a: &Value, b: &Value| {
                a["started"].as_str() < b["finished"].as_str()
                    && b["started"].as_str() < a["finished"].as_str()
                    && a["operator"] != b["operator"]
                    && a["equipment"][0] != b["equipment"][0]
            };
            let all = 0..runs.len();
            let pairs: Vec<(usize, usize)> = all
                .clone()
                .flat_map(|a| all.clone().map(move |b| (a, b)))
                .filter(|(a, b)| at_once(&runs[*a], &runs[*b]))
                .collect();
            let (first, second) = edit.choice(&pairs)?;
            edit.set(&format!("/runs/{second}/operator"), runs[first]["operator"].clone());
            let later = if runs[second]["started"].as_str() >= runs[first]["started"].as_str() {
                second
            } else {
                first
            };
            Some(format!("/runs/{later}/started"))
        },
    },
    Mistake {
        about: "one pipe of another size than its line",
        rules: &["pipe-size-odd"],
        by_catch: 1,
        make: |edit| {
            let height = edit.choice(&[12, 15, 4])?;
            line(edit, "height", &json!(8), json!(height))
        },
    },
    Mistake {
        about: "one pipe of another material than its line",
        rules: &["pipe-material-odd"],
        by_catch: 1,
        make: |edit| {
            let material = edit.choice(&["steel", "brick", "polyethylene"])?;
            line(edit, "material", &json!("pvc"), json!(material))
        },
    },
    Mistake {
        about: "a street drawn backwards",
        rules: &["direction-contradicts", "gradient-uphill", "path-end-mismatch"],
        // Its outfall may be at the upper end.
        by_catch: 1,
        make: |edit| {
            let pipes = edit.document["pipes"].as_array()?.clone();
            let count =
                |street: &Value| pipes.iter().filter(|pipe| pipe["street"] == *street).count();
            let row = edit.row("pipes", |pipe| {
                pipe["downstream"].is_string()
                    && pipe["street"].is_string()
                    && count(&pipe["street"]) >= 3
            })?;
            let street = pipes[row]["street"].clone();
            for (index, pipe) in pipes.iter().enumerate() {
                if pipe["street"] == street && pipe["downstream"].is_string() {
                    let (up, down) = (pipe["upstream"].clone(), pipe["downstream"].clone());
                    edit.set(&format!("/pipes/{index}/upstream"), down);
                    edit.set(&format!("/pipes/{index}/downstream"), up);
                    let inverts = &pipe["inverts"];
                    if inverts.is_object() {
                        let (high, low) = (&inverts["upstream"], &inverts["downstream"]);
                        let turned = json!({ "upstream": low, "downstream": high });
                        edit.set(&format!("/pipes/{index}/inverts"), turned);
                    }
                    if let Some(path) = pipe["path"].as_array() {
                        let path: Vec<Value> = path.iter().rev().cloned().collect();
                        edit.set(&format!("/pipes/{index}/path"), path);
                    }
                }
            }
            Some(format!("/pipes/{row}"))
        },
    },
];

/// Adds a line of four pipes that are alike but for the third, and returns the pointer of what
/// differs.
fn line(edit: &mut Edit<'_>, key: &str, usual: &Value, odd: Value) -> Option<String> {
    let structure = |name: String| json!({ "id": name, "kind": "manhole" });
    edit.document["structures"].as_array_mut()?.push(structure("LINE-0".to_owned()));
    for step in 1..=4 {
        let mut pipe = json!({ "id": format!("LINE-P{step}"),
            "upstream": format!("LINE-{}", step - 1), "downstream": format!("LINE-{step}") });
        pipe[key] = if step == 3 { odd.clone() } else { usual.clone() };
        edit.document["structures"].as_array_mut()?.push(structure(format!("LINE-{step}")));
        edit.document["pipes"].as_array_mut()?.push(pipe);
    }
    let third = edit.document["pipes"].as_array()?.len() - 2;
    Some(format!("/pipes/{third}/{key}"))
}
