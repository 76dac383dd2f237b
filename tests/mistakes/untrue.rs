//! Further mistakes, made without regard to which rule finds them: what matters is what fixes make
//! of them.

use serde_json::{Value, json};

use super::edit::{Edit, inner, to};

/// A mistake, in words, and how it is made; `None` if the document has no suitable place.
pub(crate) type Untrue = (&'static str, fn(&mut Edit<'_>) -> Option<()>);

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or(0.0)
}

/// A random run with at least so many observations.
fn run_of(edit: &mut Edit<'_>, least: usize) -> Option<usize> {
    edit.row("runs", |run| run["observations"].as_array().is_some_and(|rows| rows.len() >= least))
}

/// Subtracts a length from all rows of a run from one on, and from `surveyed`.
fn shift(edit: &mut Edit<'_>, run: usize, first: usize, by: f64) {
    for row in first..edit.rows(run).len() {
        for key in ["at", "to"] {
            let pointer = to((run, row), &format!("/{key}"));
            if let Some(value) = edit.document.pointer(&pointer).and_then(Value::as_f64) {
                edit.set(&pointer, value - by);
            }
        }
    }
}

/// Sets the counter back to a reading in the middle of a run, and puts more rows there.
fn reset(edit: &mut Edit<'_>, reading: f64, more: usize) -> Option<()> {
    let (run, row) = edit.observation(|run, row| inner(run, row) && number(row, "at") > 12.0)?;
    let at = edit.number_at(&to((run, row), "/at"));
    shift(edit, run, row, at - reading);
    for next in row + 1..(row + 1 + more).min(edit.rows(run).len()) {
        edit.set(&to((run, next), "/at"), reading);
    }
    let last = edit.rows(run).len() - 1;
    let end = edit.number_at(&to((run, last), "/at"));
    edit.set(&format!("/runs/{run}/surveyed"), end);
    Some(())
}

/// Changes the distance of a random row.
fn retype(edit: &mut Edit<'_>, change: impl Fn(f64) -> f64) -> Option<()> {
    let place = edit.observation(|_, row| number(row, "at") > 0.5)?;
    let at = edit.number_at(&to(place, "/at"));
    let changed = change(at);
    edit.set(&to(place, "/at"), changed);
    Some(())
}

/// Moves the values of a column by one row.
fn shift_column(edit: &mut Edit<'_>, key: &str) -> Option<()> {
    let run = run_of(edit, 4)?;
    let rows = edit.rows(run);
    let mut before: Option<Value> = None;
    for row in rows.iter_mut().filter_map(Value::as_object_mut) {
        let own = row.remove(key);
        if let Some(value) = before.take() {
            row.insert(key.to_owned(), value);
        }
        before = own;
    }
    Some(())
}

/// Exchanges a value of two neighbouring rows.
fn exchange(edit: &mut Edit<'_>, key: &str, apart: usize) -> Option<()> {
    let run = run_of(edit, 3 + apart)?;
    let last = edit.rows(run).len() - apart;
    let row = edit.random.usize(1..last);
    let rows = edit.rows(run);
    let (one, other) = (rows[row].get(key).cloned()?, rows[row + apart].get(key).cloned()?);
    (rows[row][key], rows[row + apart][key]) = (other, one);
    Some(())
}

/// Multiplies a quantity of a random row, and sets its unit if one is given.
fn quantity(edit: &mut Edit<'_>, factor: f64, unit: Option<&str>) -> Option<()> {
    let place = edit.observation(|_, row| row["quantities"][0]["value"].is_number())?;
    let pointer = to(place, "/quantities/0/value");
    let value = edit.number_at(&pointer);
    edit.set(&pointer, value * factor);
    if let Some(unit) = unit {
        edit.set(&to(place, "/quantities/0/unit"), unit);
    }
    Some(())
}

/// Changes a figure of a rating.
fn figure(edit: &mut Edit<'_>, key: &str) -> Option<()> {
    let row = edit.row("ratings", |row| row[key].is_number())?;
    let pointer = format!("/ratings/{row}/{key}");
    let value = edit.number_at(&pointer);
    let more = edit.random.u8(1..4);
    edit.set(&pointer, value + f64::from(more));
    Some(())
}

/// Removes a value of a random row of a table.
fn without(edit: &mut Edit<'_>, table: &str, key: &str) -> Option<()> {
    let row = edit.row(table, |row| row.get(key).is_some())?;
    edit.remove(&format!("/{table}/{row}/{key}")).map(drop)
}

/// Multiplies a value in every row of a table.
fn column(edit: &mut Edit<'_>, table: &str, key: &str, factor: f64) -> Option<()> {
    let rows = edit.document[table].as_array()?.len();
    for row in 0..rows {
        let pointer = format!("/{table}/{row}/{key}");
        if let Some(value) = edit.document.pointer(&pointer).and_then(Value::as_f64) {
            edit.set(&pointer, value * factor);
        }
    }
    Some(())
}

fn swap_position(edit: &mut Edit<'_>, row: usize) {
    if let Some(position) = edit.document["structures"][row]["position"].as_array_mut() {
        position.swap(0, 1);
    }
}

/// Copies rows of one run behind a row of a run.
fn paste(edit: &mut Edit<'_>, same: bool) -> Option<()> {
    let from = run_of(edit, 4)?;
    let into = if same { from } else { run_of(edit, 3)? };
    let count = edit.random.usize(1..4);
    let rows = edit.rows(from);
    let start = rows.len().saturating_sub(count + 1);
    let copies: Vec<Value> = rows[start..start + count].to_vec();
    let rows = edit.rows(into).len();
    let place = edit.random.usize(1..=rows);
    for (number, mut copy) in copies.into_iter().enumerate() {
        copy["id"] = json!(format!("copy-{number}"));
        copy.as_object_mut()?.remove("extensions");
        edit.rows(into).insert(place + number, copy);
    }
    Some(())
}

/// Gives a row the code of another row.
fn other_code(edit: &mut Edit<'_>) -> Option<()> {
    let list = edit.list();
    let place = edit.observation(|_, _| true)?;
    let code = edit.random.choice(&list.codes).map(|code| code.code.to_string())?;
    edit.set(&to(place, "/code"), code);
    Some(())
}

fn grade(edit: &mut Edit<'_>, change: impl Fn(f64) -> f64) -> Option<()> {
    let place = edit.observation(|_, row| row["grades"].is_object())?;
    let grades = edit.at(&to(place, "/grades")).as_object_mut()?;
    for grade in grades.values_mut() {
        *grade = json!(change(grade.as_f64()?) as i64);
    }
    Some(())
}

fn clock(edit: &mut Edit<'_>, hour: f64) -> Option<()> {
    let place = edit.observation(|_, row| row["clock"].is_object())?;
    let clock = edit.at(&to(place, "/clock")).as_object_mut()?;
    let key = clock.keys().next_back()?.clone();
    edit.set(&to(place, &format!("/clock/{key}")), hour);
    Some(())
}

fn mirrored(edit: &mut Edit<'_>) -> Option<()> {
    let run = run_of(edit, 3)?;
    let end = edit.number_at(&format!("/runs/{run}/surveyed"));
    for row in 0..edit.rows(run).len() {
        let at = edit.number_at(&to((run, row), "/at"));
        edit.set(&to((run, row), "/at"), (end - at).max(0.0));
    }
    Some(())
}

fn both_ends(edit: &mut Edit<'_>, direction: bool) -> Option<()> {
    let run = edit.row("runs", |run| run["from"].is_string() && run["to"].is_string())?;
    let record = edit.at(&format!("/runs/{run}"));
    (record["from"], record["to"]) = (record["to"].clone(), record["from"].clone());
    if direction {
        let other = if record["direction"] == "upstream" { "downstream" } else { "upstream" };
        record["direction"] = json!(other);
    }
    Some(())
}

pub(crate) const DISTANCES: &[Untrue] = &[
    ("the counter is set to zero once, one row there", |edit| reset(edit, 0.0, 0)),
    ("the counter is set to zero, two rows there", |edit| reset(edit, 0.0, 1)),
    ("the counter is set to zero, four rows there", |edit| reset(edit, 0.0, 3)),
    ("the counter is set back, but not to zero", |edit| reset(edit, 5.0, 1)),
    ("the counter is set twice", |edit| reset(edit, 0.0, 0).and_then(|()| reset(edit, 0.0, 1))),
    ("the counter is set back twice", |edit| {
        reset(edit, 4.0, 0).and_then(|()| reset(edit, 3.0, 0))
    }),
    ("a distance ten times too great", |edit| retype(edit, |at| at * 10.0)),
    ("a distance ten times too small", |edit| retype(edit, |at| at / 10.0)),
    ("a distance with one more decimal", |edit| retype(edit, |at| at / 10.0 + 7.25)),
    ("a distance a hundred times too great", |edit| retype(edit, |at| at * 100.0)),
    ("a distance without its first digit", |edit| retype(edit, |at| at % 10.0)),
    ("a distance with another first digit", |edit| retype(edit, |at| at + 100.0)),
    ("a distance somewhat too great", |edit| retype(edit, |at| at * 1.4 + 3.0)),
    ("a distance somewhat too small", |edit| retype(edit, |at| (at * 0.6 - 2.0).max(0.1))),
    ("a distance in the other unit", |edit| retype(edit, |at| at * 0.3048)),
    ("two neighbours have each other's distance", |edit| exchange(edit, "at", 1)),
    ("two rows have each other's distance", |edit| exchange(edit, "at", 3)),
    ("two rows have each other's end", |edit| exchange(edit, "to", 2)),
    ("two rows changed places", |edit| {
        let run = run_of(edit, 4)?;
        let last = edit.rows(run).len() - 2;
        let row = edit.random.usize(1..last);
        edit.rows(run).swap(row, row + 1);
        Some(())
    }),
    ("a row was entered late", |edit| {
        let run = run_of(edit, 4)?;
        let row = edit.rows(run).remove(1);
        let rows = edit.rows(run).len();
        let place = edit.random.usize(2..=rows);
        edit.rows(run).insert(place, row);
        Some(())
    }),
    ("all rows are shuffled", |edit| {
        let run = run_of(edit, 5)?;
        let mut rows = std::mem::take(edit.rows(run));
        edit.random.shuffle(&mut rows);
        *edit.rows(run) = rows;
        Some(())
    }),
    ("the rows run backwards", |edit| {
        let run = run_of(edit, 3)?;
        edit.rows(run).reverse();
        Some(())
    }),
    ("the distances are measured from the other end", mirrored),
    ("the distances are shifted by a row", |edit| {
        shift_column(edit, "at").and_then(|()| {
            for run in 0..edit.document["runs"].as_array()?.len() {
                let rows = edit.rows(run);
                rows.retain(|row| row["at"].is_number());
            }
            Some(())
        })
    }),
    ("rows are pasted again into their run", |edit| paste(edit, true)),
    ("rows are pasted into another run", |edit| paste(edit, false)),
    ("the start row is elsewhere", |edit| {
        let run = run_of(edit, 3)?;
        let at = edit.between(0.4, 12.0);
        edit.set(&to((run, 0), "/at"), at);
        Some(())
    }),
    ("the closing row is elsewhere", |edit| {
        let run = run_of(edit, 3)?;
        let last = edit.rows(run).len() - 1;
        let at = edit.number_at(&to((run, last), "/at")) * edit.between(0.2, 1.8);
        edit.set(&to((run, last), "/at"), at);
        Some(())
    }),
    ("the closing row is elsewhere and `surveyed` is missing", |edit| {
        let run = run_of(edit, 3)?;
        let last = edit.rows(run).len() - 1;
        let at = edit.number_at(&to((run, last), "/at")) * 1.6 + 20.0;
        edit.set(&to((run, last), "/at"), at);
        edit.remove(&format!("/runs/{run}/surveyed")).map(drop)
    }),
    ("the end of a run is mistyped", |edit| {
        let run = edit.row("runs", |run| run["surveyed"].is_number())?;
        let end = edit.number_at(&format!("/runs/{run}/surveyed")) * edit.between(0.3, 2.5);
        edit.set(&format!("/runs/{run}/surveyed"), end);
        Some(())
    }),
    ("the end of a run is left out", |edit| without(edit, "runs", "surveyed")),
    ("the distances of a run are too great by as much", |edit| {
        let run = run_of(edit, 3)?;
        let off = edit.between(0.3, 15.0);
        shift(edit, run, 0, -off);
        let end = edit.number_at(&format!("/runs/{run}/surveyed"));
        edit.set(&format!("/runs/{run}/surveyed"), end + off);
        Some(())
    }),
    ("a stretch ends where it begins", |edit| {
        let place = edit.observation(|_, row| row["to"].is_number())?;
        let at = edit.number_at(&to(place, "/at"));
        edit.set(&to(place, "/to"), at);
        Some(())
    }),
    ("a stretch has no end", |edit| {
        let place = edit.observation(|_, row| row["to"].is_number())?;
        edit.remove(&to(place, "/to")).map(drop)
    }),
    ("a stretch is not one", |edit| {
        let place = edit.observation(|_, row| row["to"].is_number())?;
        edit.set(&to(place, "/continuous"), false);
        Some(())
    }),
    ("a point has an end", |edit| {
        let place = edit.observation(|run, row| inner(run, row) && row.get("to").is_none())?;
        let at = edit.number_at(&to(place, "/at"));
        edit.set(&to(place, "/to"), at + 2.0);
        Some(())
    }),
];

pub(crate) const VALUES: &[Untrue] = &[
    ("an amount in inches for millimetres", |edit| quantity(edit, 1.0, Some("in"))),
    ("an amount in millimetres for inches", |edit| quantity(edit, 1.0, Some("mm"))),
    ("an amount in per cent for a length", |edit| quantity(edit, 1.0, Some("percent"))),
    ("an amount ten times too great", |edit| quantity(edit, 10.0, None)),
    ("an amount ten times too small", |edit| quantity(edit, 0.1, None)),
    ("an amount 25.4 times too great", |edit| quantity(edit, 25.4, None)),
    ("an amount as a fraction", |edit| quantity(edit, 0.01, None)),
    ("an amount in the wrong unit, and no grade", |edit| {
        let place = edit.observation(|_, row| {
            row["grades"].is_object() && row["quantities"][0]["unit"] == "mm"
        })?;
        edit.set(&to(place, "/quantities/0/unit"), "percent");
        edit.remove(&to(place, "/grades")).map(drop)
    }),
    ("an impossible amount, and no grade", |edit| {
        let place = edit.observation(|_, row| {
            row["grades"].is_object() && row["quantities"][0]["unit"] == "percent"
        })?;
        edit.set(&to(place, "/quantities/0/value"), 400);
        edit.remove(&to(place, "/grades")).map(drop)
    }),
    ("a grade is left out", |edit| {
        let place = edit.observation(|_, row| row["grades"].is_object())?;
        edit.remove(&to(place, "/grades")).map(drop)
    }),
    ("a grade one too high", |edit| grade(edit, |grade| (grade + 1.0).min(5.0))),
    ("a grade one too low", |edit| grade(edit, |grade| (grade - 1.0).max(1.0))),
    ("a grade on the reversed scale", |edit| grade(edit, |grade| 6.0 - grade)),
    ("all amounts are shifted by a row", |edit| shift_column(edit, "quantities")),
    ("all grades are shifted by a row", |edit| shift_column(edit, "grades")),
    ("all clocks are shifted by a row", |edit| shift_column(edit, "clock")),
    ("all pictures are shifted by a row", |edit| shift_column(edit, "media")),
    ("two rows have each other's code", |edit| exchange(edit, "code", 1)),
    ("two rows have each other's amount", |edit| exchange(edit, "quantities", 1)),
    ("two rows have each other's grade", |edit| exchange(edit, "grades", 2)),
    ("another code", other_code),
    ("0 o'clock", |edit| clock(edit, 0.0)),
    ("half past zero", |edit| clock(edit, 0.5)),
    ("13 o'clock", |edit| clock(edit, 13.0)),
    ("an arc of one hour", |edit| {
        let place = edit.observation(|_, row| row["clock"]["from"].is_number())?;
        let from = edit.number_at(&to(place, "/clock/from"));
        edit.set(&to(place, "/clock/to"), from);
        Some(())
    }),
    ("at a joint", |edit| {
        let place = edit.observation(|_, row| row.get("joint").is_none())?;
        edit.set(&to(place, "/joint"), true);
        Some(())
    }),
    ("not at a joint", |edit| {
        let place = edit.observation(|_, row| row["joint"] == true)?;
        edit.set(&to(place, "/joint"), false);
        Some(())
    }),
    ("a joint is left out", |edit| {
        let place = edit.observation(|_, row| row["joint"] == true)?;
        edit.remove(&to(place, "/joint")).map(drop)
    }),
    ("the peak of a rating", |edit| figure(edit, "peak")),
    ("the total of a rating", |edit| figure(edit, "total")),
    ("the mean of a rating", |edit| figure(edit, "mean")),
    ("the count of a rating", |edit| figure(edit, "count")),
    ("the total per length of a rating", |edit| figure(edit, "per_length")),
];

pub(crate) const RECORDS: &[Untrue] = &[
    ("all sizes in inches for millimetres", |edit| column(edit, "pipes", "height", 1.0 / 25.4)),
    ("all sizes in millimetres for inches", |edit| column(edit, "pipes", "height", 25.4)),
    ("all sizes in centimetres", |edit| column(edit, "pipes", "height", 0.1)),
    ("all sizes, widths too, in inches for millimetres", |edit| {
        column(edit, "pipes", "height", 1.0 / 25.4)?;
        column(edit, "pipes", "width", 1.0 / 25.4)
    }),
    ("all sizes, widths too, in millimetres for inches", |edit| {
        column(edit, "pipes", "height", 25.4)?;
        column(edit, "pipes", "width", 25.4)
    }),
    ("the other unit of sizes", |edit| {
        let unit = if edit.document["units"]["section"] == "in" { "mm" } else { "in" };
        edit.set("/units/section", unit);
        Some(())
    }),
    ("the other unit of lengths", |edit| {
        let unit = if edit.document["units"]["length"] == "m" { "ft" } else { "m" };
        edit.set("/units/length", unit);
        Some(())
    }),
    ("all lengths of pipes in feet", |edit| column(edit, "pipes", "length", 1.0 / 0.3048)),
    ("all lengths of pipes in metres", |edit| column(edit, "pipes", "length", 0.3048)),
    ("all depths in feet", |edit| column(edit, "structures", "depth", 1.0 / 0.3048)),
    ("one size in the other unit", |edit| {
        let row = edit.row("pipes", |row| row["height"].is_number())?;
        let height = edit.number_at(&format!("/pipes/{row}/height"));
        edit.set(&format!("/pipes/{row}/height"), height * 25.4);
        Some(())
    }),
    ("one length in feet", |edit| {
        let row = edit.row("pipes", |row| row["length"].is_number())?;
        let length = edit.number_at(&format!("/pipes/{row}/length"));
        edit.set(&format!("/pipes/{row}/length"), length / 0.3048);
        Some(())
    }),
    ("one position is swapped", |edit| {
        let row = edit.row("structures", |row| row["position"].is_array())?;
        swap_position(edit, row);
        Some(())
    }),
    ("most positions are swapped", |edit| {
        for row in 1..edit.document["structures"].as_array()?.len() {
            swap_position(edit, row);
        }
        Some(())
    }),
    ("a run has the ends of the other direction", |edit| both_ends(edit, false)),
    ("a run has the other direction and its ends", |edit| both_ends(edit, true)),
    ("a run is of another pipe", |edit| {
        let run = edit.row("runs", |_| true)?;
        let pipe = edit.row("pipes", |_| true)?;
        let id = edit.document["pipes"][pipe]["id"].clone();
        edit.set(&format!("/runs/{run}/pipe"), id);
        Some(())
    }),
    ("a run met another", |edit| {
        let run = edit.row("runs", |run| run["outcome"]["kind"] != "met")?;
        edit.set(&format!("/runs/{run}/outcome"), json!({"kind": "met"}));
        Some(())
    }),
    ("a run completes none", |edit| without(edit, "runs", "reverse_of")),
    ("a run completes none, and is of another length", |edit| {
        let run = edit.row("runs", |run| run["reverse_of"].is_string())?;
        edit.remove(&format!("/runs/{run}/reverse_of"));
        edit.set(&format!("/runs/{run}/surveyed"), 7.5);
        Some(())
    }),
    ("the same equipment twice", |edit| {
        let run = edit
            .row("runs", |run| run["equipment"].as_array().is_some_and(|names| names.len() > 1))?;
        let first = edit.document["runs"][run]["equipment"][0].clone();
        edit.document["runs"][run]["equipment"][1] = first;
        Some(())
    }),
    ("a version that is not known", |edit| {
        edit.set("/coding/version", "9");
        Some(())
    }),
    ("a version written differently", |edit| {
        let version = edit.document["coding"]["version"].as_str()?.to_owned();
        edit.set("/coding/version", format!("v{version}"));
        Some(())
    }),
    ("the picture of another row", |edit| exchange(edit, "media", 2)),
    ("a picture was taken elsewhere", |edit| {
        let row = edit.row("media", |row| row["at"].is_number())?;
        let at = edit.number_at(&format!("/media/{row}/at")) * 0.1;
        edit.set(&format!("/media/{row}/at"), at);
        Some(())
    }),
    ("an id in other letters", |edit| {
        let row = edit.row("pipes", |row| row["upstream"].is_string())?;
        let id = edit.document["pipes"][row]["upstream"].as_str()?.to_lowercase();
        edit.set(&format!("/pipes/{row}/upstream"), id);
        Some(())
    }),
];
