//! How a table of grades looks, for reading and for a spreadsheet.

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

/// Prints one survey's table.
pub(crate) fn text(
    out: &mut dyn Write,
    name: Option<&String>,
    table: &GradeTable,
    sort: Option<AspectWord>,
    observations: bool,
) -> io::Result<()> {
    let (scheme, unit) = (&table.scheme, &table.length_unit);
    if let Some(name) = name {
        writeln!(out, "{}", super::strong(name))?;
    }
    let counted = if table.computed_only {
        "grades computed for every observation"
    } else {
        "recorded grades, and computed ones where none is recorded"
    };
    let peak = match scheme.peak.as_str() {
        "worst-grade" => "peak is the worst grade".to_owned(),
        other => format!("peak is the greatest sum by {other}"),
    };
    let about = format!(
        "{} {}: {} is best, {} is worst; {counted}; a stretch counts once for each {} begun; {peak}",
        scheme.id, scheme.version, scheme.best, scheme.worst, scheme.interval
    );
    super::wrapped(out, "", &about)?;
    let per = format!("per {}", scheme.per_length);
    let mut rows = vec![
        [
            "pipe",
            "length",
            "surveyed",
            "aspect",
            "peak",
            "total",
            "mean",
            "count",
            per.as_str(),
            "worst observation",
        ]
        .map(str::to_owned),
    ];
    let with_unit =
        |value: Option<f64>| value.map_or_else(String::new, |value| format!("{value} {unit}"));
    let mut below: Vec<Vec<String>> = vec![Vec::new()];
    for pipe in sorted(table, sort) {
        let mut first = true;
        let mut line = |aspect: &str, figures: [String; 5], worst: String, details: Vec<String>| {
            let lead = std::mem::take(&mut first);
            let once = |text: String| if lead { text } else { String::new() };
            let [peak, total, mean, count, per] = figures;
            let (name, length, surveyed) = (
                once(super::plain(&pipe.pipe)),
                once(with_unit(pipe.length)),
                once(with_unit(pipe.surveyed)),
            );
            rows.push([
                name,
                length,
                surveyed,
                aspect.to_owned(),
                peak,
                total,
                mean,
                count,
                per,
                worst,
            ]);
            below.push(details);
        };
        if pipe.runs.is_empty() {
            line("", Default::default(), "no run".to_owned(), Vec::new());
            continue;
        }
        for grades in &pipe.aspects {
            let figures = [
                number(grades.peak),
                grades.total.to_string(),
                number(grades.mean),
                grades.count.to_string(),
                number(grades.per_length),
            ];
            let worst =
                grades.observations.first().map_or_else(|| "none".to_owned(), |row| say(row, unit));
            let shown = if observations { grades.observations.as_slice() } else { &[] };
            let mut details: Vec<String> = shown.iter().map(|row| say(row, unit)).collect();
            if grades.doubtful > 0 {
                let not = "could not be counted: off the scale, or over a stretch that never ends";
                details.push(format!("{} {not}", grades.doubtful));
            }
            let worst = if observations { String::new() } else { worst };
            line(&grades.aspect, figures, worst, details);
        }
    }
    if observations {
        rows[0][9] = String::new();
    }
    let widths: Vec<usize> = (0..9)
        .map(|column| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0))
        .collect();
    for (row, details) in rows.iter().zip(&below) {
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
    for without in &table.ungraded {
        super::wrapped(out, "", &ungraded(without, table))?;
    }
    writeln!(out)
}

/// How many codes of observations without a grade are named.
const NAMED: usize = 8;

fn ungraded(without: &Ungraded, table: &GradeTable) -> String {
    let scheme = &table.scheme.id;
    let why = match without.why {
        Why::CodeUnknown => "whose code is not in the code list".to_owned(),
        Why::NoExactLink => format!("whose code is not exactly one of those that {scheme} grades"),
        Why::NotGraded => format!("whose code {scheme} does not grade"),
        _ => format!("that no entry of {scheme} fits, for want of a material, a size or an amount"),
    };
    let mut codes: Vec<&str> = without.codes.iter().take(NAMED).map(String::as_str).collect();
    let more = format!("{} more", without.codes.len().saturating_sub(NAMED));
    if without.codes.len() > NAMED {
        codes.push(&more);
    }
    let observations = if without.count == 1 { "observation" } else { "observations" };
    format!("no grade: {} {observations}, {why}: {}", without.count, codes.join(", "))
}

fn say(row: &GradedRow, unit: &str) -> String {
    let place = match row.to {
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
    format!("{}{differs} at {place} of {}: {}; {}", row.grade, row.run, row.code, row.because)
}

/// The tables of several surveys as one CSV (RFC 4180): one row a pipe and aspect, or one an
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
    for (survey, table) in tables {
        for pipe in sorted(table, sort) {
            for grades in &pipe.aspects {
                let scheme = format!("{} {}", table.scheme.id, table.scheme.version);
                let lead = [survey.clone(), scheme, pipe.pipe.clone(), grades.aspect.clone()];
                if observations {
                    for row in &grades.observations {
                        out.write_record(
                            lead.iter()
                                .cloned()
                                .chain(of_row(row, table))
                                .map(|cell| harmless(&cell)),
                        )?;
                    }
                } else {
                    out.write_record(
                        lead.into_iter()
                            .chain(of_pipe(pipe, grades, table))
                            .map(|cell| harmless(&cell)),
                    )?;
                }
            }
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
