//! A table of grades, as text and as CSV.

use std::collections::BTreeMap;
use std::io::{self, Write};

use obvert::check::grading::{AspectGrades, GradeTable, GradedRow, PipeGrades, Ungraded, Why};
use obvert::check::output::csv::harmless;
use obvert::model::tables::Aspect;

use crate::Failure;
use crate::args::AspectWord;

fn sorted(table: &GradeTable, by: Option<AspectWord>) -> Vec<&PipeGrades> {
    match by {
        None => table.pipes.iter().collect(),
        Some(AspectWord::Structural) => table.worst_first(Aspect::Structural),
        Some(AspectWord::Operational) => table.worst_first(Aspect::Operational),
    }
}

fn number(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

/// The columns of the table: ten cells, and lines with details below them.
type Row = ([String; 10], Vec<String>);

/// Prints the table of one survey.
pub(crate) fn text(
    out: &mut dyn Write,
    name: Option<&String>,
    table: &GradeTable,
    sort: Option<AspectWord>,
    observations: bool,
) -> io::Result<()> {
    if let Some(name) = name {
        writeln!(out, "{}", super::strong(name))?;
    }
    super::wrapped(out, "", &about(table))?;
    let per = format!("per {}", table.scheme.per_length);
    let last = if observations { "" } else { "worst observation" };
    let headings =
        ["pipe", "length", "surveyed", "aspect", "peak", "total", "mean", "count", &per, last];
    let mut rows: Vec<Row> = vec![(headings.map(str::to_owned), Vec::new())];
    for pipe in sorted(table, sort) {
        rows.extend(rows_of(pipe, &table.length_unit, observations));
    }
    print_rows(out, &rows)?;
    for without in &table.ungraded {
        super::wrapped(out, "", &ungraded(without, table))?;
    }
    writeln!(out)
}

/// How the grades of a table were computed.
fn about(table: &GradeTable) -> String {
    let scheme = &table.scheme;
    let counted = if table.computed_only {
        "all grades are computed"
    } else {
        "recorded grades, or computed ones if none is recorded"
    };
    let peak = match scheme.peak.as_str() {
        "worst-grade" => "the peak is the worst grade".to_owned(),
        other => format!("the peak is the highest sum by {other}"),
    };
    format!(
        "{} {}: {} is best, {} is worst; {counted}; a stretch counts once for each {} or part of \
         it; \
         {peak}",
        scheme.id, scheme.version, scheme.best, scheme.worst, scheme.interval
    )
}

/// The rows of a pipe, one for each aspect. Its name and lengths are in the first.
fn rows_of(pipe: &PipeGrades, unit: &str, observations: bool) -> Vec<Row> {
    let length =
        |value: Option<f64>| value.map_or_else(String::new, |value| format!("{value} {unit}"));
    let mut lead = [super::plain(&pipe.pipe), length(pipe.length), length(pipe.surveyed)];
    if pipe.runs.is_empty() {
        let [name, length, surveyed] = lead;
        let mut row: [String; 10] = Default::default();
        (row[0], row[1], row[2], row[9]) = (name, length, surveyed, "no run".to_owned());
        return vec![(row, Vec::new())];
    }
    let mut rows = Vec::new();
    for grades in &pipe.aspects {
        let [name, length, surveyed] = std::mem::take(&mut lead);
        let worst = match grades.observations.first() {
            _ if observations => String::new(),
            Some(row) => reason(row, unit),
            None => "none".to_owned(),
        };
        let listed = if observations { grades.observations.as_slice() } else { &[] };
        let mut details: Vec<String> = listed.iter().map(|row| reason(row, unit)).collect();
        details.extend(cautions(&grades.observations, unit));
        if grades.doubtful > 0 {
            details.push(format!(
                "{} could not be counted: outside the scale, or in an unfinished stretch",
                grades.doubtful
            ));
        }
        let row = [
            name,
            length,
            surveyed,
            grades.aspect.clone(),
            number(grades.peak),
            grades.total.to_string(),
            number(grades.mean),
            grades.count.to_string(),
            number(grades.per_length),
            worst,
        ];
        rows.push((row, details));
    }
    rows
}

/// Prints rows with aligned columns.
fn print_rows(out: &mut dyn Write, rows: &[Row]) -> io::Result<()> {
    let widths: Vec<usize> = (0..9)
        .map(|column| rows.iter().map(|(row, _)| row[column].chars().count()).max().unwrap_or(0))
        .collect();
    for (row, details) in rows {
        let cells = row.iter().enumerate().map(|(column, cell)| match column {
            0 | 3 => format!("{cell:<width$}", width = widths[column]),
            9 => super::plain(cell),
            _ => format!("{cell:>width$}", width = widths[column]),
        });
        let line = cells.collect::<Vec<_>>().join("  ");
        writeln!(out, "{}", line.trim_end())?;
        for detail in details {
            super::wrapped(out, "    ", detail)?;
        }
    }
    Ok(())
}

/// What people who work in the pipe must know, each caution once with its places.
fn cautions(rows: &[GradedRow], unit: &str) -> Vec<String> {
    let mut places: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for row in rows {
        let place = || format!("{} {unit} of {}", row.at, super::plain(&row.run));
        row.caution.iter().for_each(|text| places.entry(text).or_default().push(place()));
    }
    let places = places.into_iter();
    places.map(|(text, places)| format!("caution at {}: {text}", places.join(", "))).collect()
}

/// How many codes of observations without a grade are listed.
const LISTED: usize = 8;

fn ungraded(without: &Ungraded, table: &GradeTable) -> String {
    let scheme = &table.scheme.id;
    let why = match without.why {
        Why::CodeUnknown => "the code is not in the code list".to_owned(),
        Why::NoExactLink => format!("the code has no exact equivalent that {scheme} grades"),
        Why::NotGraded => format!("{scheme} does not grade the code"),
        _ => format!("no entry of {scheme} applies without a material, a size or a quantity"),
    };
    let mut codes: Vec<&str> = without.codes.iter().take(LISTED).map(String::as_str).collect();
    let more = format!("{} more", without.codes.len().saturating_sub(LISTED));
    if without.codes.len() > LISTED {
        codes.push(&more);
    }
    let observations = super::count(without.count, "observation");
    format!("no grade: {observations}, because {why}: {}", codes.join(", "))
}

/// The grade of an observation, and what it is based on.
fn reason(row: &GradedRow, unit: &str) -> String {
    let at = match row.to {
        Some(to) => format!("{} to {to} {unit}", row.at),
        None => format!("{} {unit}", row.at),
    };
    let differs = match (row.recorded, row.computed) {
        (true, Some(computed)) if computed != row.grade => {
            format!(" (recorded; the scheme gives {computed})")
        }
        (true, None) => " (recorded; the scheme gives none)".to_owned(),
        _ => String::new(),
    };
    let again = row.counted_as.as_ref().map_or_else(String::new, |same| {
        format!("; the same defect as in {}, so not counted again", same.run)
    });
    format!("{}{differs} at {at} of {}: {}; {}{again}", row.grade, row.run, row.code, row.because)
}

/// The tables of several surveys as one CSV (RFC 4180): one row per pipe and aspect, or per
/// observation.
pub(crate) fn csv(
    tables: &[(String, GradeTable)],
    sort: Option<AspectWord>,
    observations: bool,
) -> Result<Vec<u8>, Failure> {
    let mut out =
        ::csv::WriterBuilder::new().terminator(::csv::Terminator::CRLF).from_writer(Vec::new());
    let shared = ["survey", "scheme", "pipe", "aspect"];
    let own: &[&str] = if observations {
        &[
            "run",
            "observation",
            "at",
            "to",
            "length_unit",
            "code",
            "grade",
            "recorded",
            "computed",
            "counted_in_run",
            "because",
        ]
    } else {
        &[
            "length",
            "surveyed",
            "length_unit",
            "runs",
            "peak",
            "total",
            "mean",
            "count",
            "per_length",
            "per",
            "doubtful",
            "worst_run",
            "worst_at",
            "worst_code",
            "worst_because",
        ]
    };
    out.write_record(shared.iter().chain(own))?;
    let grades = tables.iter().flat_map(|(survey, table)| {
        let pipes = sorted(table, sort).into_iter();
        pipes.flat_map(move |pipe| pipe.aspects.iter().map(move |of| (survey, table, pipe, of)))
    });
    for (survey, table, pipe, grades) in grades {
        let scheme = format!("{} {}", table.scheme.id, table.scheme.version);
        let lead = [survey.clone(), scheme, pipe.pipe.clone(), grades.aspect.clone()];
        let rows: Vec<Vec<String>> = if observations {
            grades.observations.iter().map(|row| of_row(row, table)).collect()
        } else {
            vec![of_pipe(pipe, grades, table)]
        };
        for row in rows {
            out.write_record(lead.iter().chain(&row).map(|cell| harmless(cell)))?;
        }
    }
    Ok(out.into_inner()?)
}

fn of_row(row: &GradedRow, table: &GradeTable) -> Vec<String> {
    vec![
        row.run.clone(),
        row.observation.clone(),
        row.at.to_string(),
        number(row.to),
        table.length_unit.clone(),
        row.code.clone(),
        row.grade.to_string(),
        row.recorded.to_string(),
        row.computed.map_or_else(String::new, |grade| grade.to_string()),
        row.counted_as.as_ref().map_or_else(|| row.run.clone(), |same| same.run.clone()),
        row.because.clone(),
    ]
}

fn of_pipe(pipe: &PipeGrades, grades: &AspectGrades, table: &GradeTable) -> Vec<String> {
    let worst = grades.observations.first();
    let of = |text: fn(&GradedRow) -> String| worst.map_or_else(String::new, text);
    vec![
        number(pipe.length),
        number(pipe.surveyed),
        table.length_unit.clone(),
        pipe.runs.join(" "),
        number(grades.peak),
        grades.total.to_string(),
        number(grades.mean),
        grades.count.to_string(),
        number(grades.per_length),
        table.scheme.per_length.clone(),
        grades.doubtful.to_string(),
        of(|row| row.run.clone()),
        of(|row| row.at.to_string()),
        of(|row| row.code.clone()),
        of(|row| row.because.clone()),
    ]
}
