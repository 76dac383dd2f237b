//! What a draft must not be silent about: rows that nobody could read, and what it takes for one thing that can as well be another.

use obvert_convert::layout::{self, Draft};

use super::{json, read, refused};

fn draft(table: &str) -> Draft {
    layout::draft(table.as_bytes(), "t.csv").unwrap()
}

/// What is open and begins so.
fn open<'d>(draft: &'d Draft, start: &str) -> Vec<&'d str> {
    draft.open.iter().map(String::as_str).filter(|open| open.starts_with(start)).collect()
}

/// Two runs of a pipe, of which the first row alone says what they are of.
const FIRST_ONLY: &str = "Pipe;Upstream;Downstream;Date;Time;Distance;Code;Remark\n\
                          P1;A;B;13.05.2026;09:30;0,0;run.start;\n;;;;;1,5;crack.longitudinal;fine\n;;;;;9,0;run.finish;\n\
                          P1;A;B;14.05.2026;10:15;0,0;run.start;\n;;;;;2,5;roots.fine;\n;;;;;7,0;run.finish;\n";

/// What stands in the first row of a run alone is not taken for the rows below it, and the draft says how many rows that is and in
/// which columns, all at once.
#[test]
fn rows_that_say_nothing_of_their_pipe_are_counted() {
    let first_only = draft(FIRST_ONLY);
    let said = "4 of 6 rows, the first of them in line 3, have nothing under \"Pipe\", \"Date\", \"Time\", so that nothing tells which pipe and run \
                they are of, and none of them can be read: a blank cell is not taken for what stands above it; fill in those columns in every row";
    assert_eq!(first_only.open[0], said, "{:#?}", first_only.open);
    assert_eq!(refused(FIRST_ONLY.as_bytes(), &first_only.layout).len(), 4);
    // As it says, filled in, all is read; the columns that it does not name may stay blank.
    let mut above = Vec::new();
    let filled: String = FIRST_ONLY
        .lines()
        .map(|line| {
            let mut cells: Vec<&str> = line.split(';').collect();
            if cells[0].is_empty() {
                [0, 3, 4].iter().for_each(|column| cells[*column] = above[*column]);
            }
            above.clone_from(&cells);
            cells.join(";") + "\n"
        })
        .collect();
    let whole = draft(&filled);
    assert!(!whole.open[0].contains("have nothing under"), "{:#?}", whole.open);
    let (survey, _) = read(filled.as_bytes(), &first_only.layout);
    assert_eq!(survey.document.runs.iter().map(|run| run.observations.len()).sum::<usize>(), 6);

    let one = draft(&filled.replace("P1;;;14.05.2026;10:15;7,0", ";;;14.05.2026;10:15;7,0"));
    let said = "1 of 6 rows, in line 7, has nothing under \"Pipe\", so that nothing tells which pipe and run it is of, and it cannot be read";
    assert!(one.open[0].starts_with(said), "{:#?}", one.open);
}

/// In a workbook it is said where blank cells look filled, since they are merged with the one above.
#[cfg(feature = "xlsx")]
#[test]
fn merged_cells_below_the_headings_are_told() {
    let source = |merged: bool| {
        let mut book = rust_xlsxwriter::Workbook::new();
        let sheet = book.add_worksheet();
        let plain = rust_xlsxwriter::Format::new();
        for (line, row) in (0..).zip(FIRST_ONLY.lines()) {
            for (column, cell) in (0..).zip(row.split(';')).filter(|(_, cell)| !cell.is_empty()) {
                sheet.write_string(line, column, cell).unwrap();
                if merged && column < 5 && (line == 1 || line == 4) {
                    sheet.merge_range(line, column, line + 2, column, cell, &plain).unwrap();
                }
            }
        }
        book.save_to_buffer().unwrap()
    };
    let said = "4 of 6 rows, the first of them in line 3, have nothing under \"Pipe\", \"Date\", \"Time\", so that nothing tells which pipe and run \
                they are of, and none of them can be read: ";
    for (merged, why) in [
        (
            true,
            "cells of the sheet are merged over several rows, and only the first of these holds what is shown; take the cells apart, and fill in \
             those columns in every row",
        ),
        (false, "a blank cell is not taken for what stands above it; fill in those columns in every row"),
    ] {
        let draft = layout::draft(&source(merged), "t.xlsx").unwrap();
        assert_eq!(draft.open[0], format!("{said}{why}"), "{:#?}", draft.open);
    }
}

/// Whole numbers in one table say nothing of the next one, and decimals that all values have are said to round.
#[test]
fn whole_numbers_are_no_reason_to_round() {
    let table = |distances: [&str; 3]| {
        let rows = distances.iter().zip(["run.start", "crack.longitudinal", "run.finish"]);
        let rows: String = rows.map(|(at, code)| format!("P1;A;B;{at};{code}\n")).collect();
        format!("Pipe;Upstream;Downstream;Distance;Code\n{rows}")
    };
    let stations = ["0+00.0", "1+64.25", "2+00"];
    for (distances, decimals) in [
        (["0", "7", "30"], None),
        (["0,0", "7,5", "30,0"], Some(1)),
        (["0,0", "7,25", "30"], None),
        (["0+00", "1+64", "2+00"], None),
        (stations, Some(2)),
    ] {
        let draft = draft(&table(distances));
        assert_eq!(draft.layout.columns[3].decimals, decimals, "{distances:?}");
        let said = decimals.map(|decimals| {
            format!(
                "as many decimals as all values have are written, and more of them are rounded: \"Distance\" to {decimals}; take decimals out of a \
                 column to have none rounded"
            )
        });
        let start = "as many decimals as all values have are written";
        assert_eq!(open(&draft, start), said.iter().map(String::as_str).collect::<Vec<_>>(), "{distances:?}");
    }
    // Another survey comes out of the layout of the first as it was.
    let whole = draft(&table(["0", "7", "30"]));
    let other = table(["0.35", "7.25", "30.5"]);
    let (survey, _) = read(other.as_bytes(), &whole.layout);
    let (written, losses) = layout::write(&survey.document, &whole.layout, &[]).unwrap();
    assert!(losses.losses.iter().all(|loss| !loss.pointer.ends_with("/at")), "{losses:#?}");
    let again = read(&written, &whole.layout).0.document;
    assert_eq!(json(&again)["runs"][0]["observations"][0]["at"], 0.35);
    let feet = draft(&table(stations));
    let (survey, _) = read(table(stations).as_bytes(), &feet.layout);
    assert_eq!(json(&survey.document)["runs"][0]["observations"][1]["at"], 164.25);
}
