//! What a draft must report: unreadable rows, and values with more than one possible reading.

use obvert_layout::{self as layout, Draft};

use super::{json, read, refused};

fn draft(table: &str) -> Draft {
    layout::draft(table.as_bytes(), "t.csv").unwrap()
}

/// The open points that begin with `start`.
fn open<'d>(draft: &'d Draft, start: &str) -> Vec<&'d str> {
    draft.open.iter().map(String::as_str).filter(|open| open.starts_with(start)).collect()
}

/// Two runs of a pipe, whose first row alone names the pipe.
const FIRST_ONLY: &str = "Pipe;Upstream;Downstream;Date;Time;Distance;Code;Remark\n\
                          P1;A;B;13.05.2026;09:30;0,0;run.start;\n;;;;;1,5;crack.longitudinal;fine\n;;;;;9,0;run.finish;\n\
                          P1;A;B;14.05.2026;10:15;0,0;run.start;\n;;;;;2,5;roots.fine;\n;;;;;7,0;run.finish;\n";

/// A value in only the first row of a run is not applied to the rows below it. The draft reports
/// once how many rows that affects and in which columns.
#[test]
fn rows_without_their_pipe_are_counted() {
    let first_only = draft(FIRST_ONLY);
    let message = "4 of 6 rows, the first of them in line 3, have no value in \"Pipe\", \"Date\", \"Time\", so they cannot be assigned to a pipe \
                and a run: a blank cell does not repeat the value above it; fill in those columns in every row";
    assert_eq!(first_only.open[0], message, "{:#?}", first_only.open);
    assert_eq!(refused(FIRST_ONLY.as_bytes(), &first_only.layout).len(), 4);
    // Filled in as advised, all rows are read. Columns that the draft does not name may stay blank.
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
    let complete = draft(&filled);
    assert!(!complete.open[0].contains("have no value in"), "{:#?}", complete.open);
    let (survey, _) = read(filled.as_bytes(), &first_only.layout);
    assert_eq!(survey.document.runs.iter().map(|run| run.observations.len()).sum::<usize>(), 6);

    let one = draft(&filled.replace("P1;;;14.05.2026;10:15;7,0", ";;;14.05.2026;10:15;7,0"));
    let message = "1 of 6 rows, in line 7, has no value in \"Pipe\", so it cannot be assigned to a pipe and a run";
    assert!(one.open[0].starts_with(message), "{:#?}", one.open);
}

/// In a workbook, the draft reports blank cells that look filled because they are merged with the
/// cell above.
#[cfg(feature = "xlsx")]
#[test]
fn merged_cells_below_the_headings_are_reported() {
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
    let message = "4 of 6 rows, the first of them in line 3, have no value in \"Pipe\", \"Date\", \"Time\", so they cannot be assigned to a pipe \
                and a run: ";
    for (merged, why) in [
        (
            true,
            "cells of the sheet are merged over several rows, and only the first of these rows holds the value; unmerge the cells, and fill in \
             those columns in every row",
        ),
        (
            false,
            "a blank cell does not repeat the value above it; fill in those columns in every row",
        ),
    ] {
        let draft = layout::draft(&source(merged), "t.xlsx").unwrap();
        assert_eq!(draft.open[0], format!("{message}{why}"), "{:#?}", draft.open);
    }
}

/// Whole numbers in one table do not imply whole numbers in the next, and if all values have
/// decimals, the draft reports that it rounds to them.
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
        let message = decimals.map(|decimals| {
            format!(
                "values are written with as many decimals as in this table, and rounded if they have more: \"Distance\" to {decimals}; increase \
                 decimals of a column, or remove decimals of a column of numbers to avoid rounding"
            )
        });
        let start = "values are written with as many decimals";
        assert_eq!(
            open(&draft, start),
            message.iter().map(String::as_str).collect::<Vec<_>>(),
            "{distances:?}"
        );
    }
    // The layout of the first survey writes another survey unchanged.
    let complete = draft(&table(["0", "7", "30"]));
    let other = table(["0.35", "7.25", "30.5"]);
    let (survey, _) = read(other.as_bytes(), &complete.layout);
    let (written, losses) = layout::write(&survey.document, &complete.layout, &[]).unwrap();
    assert!(losses.losses.iter().all(|loss| !loss.pointer.ends_with("/at")), "{losses:#?}");
    let again = read(&written, &complete.layout).0.document;
    assert_eq!(json(&again)["runs"][0]["observations"][0]["at"], 0.35);
    let feet = draft(&table(stations));
    let (survey, _) = read(table(stations).as_bytes(), &feet.layout);
    assert_eq!(json(&survey.document)["runs"][0]["observations"][1]["at"], 164.25);
}

/// A table of one run with a length and a date in each row.
fn with(lengths: &[&str], dates: &[&str]) -> String {
    let rows = lengths.iter().zip(dates).enumerate();
    let rows: String = rows
        .map(|(number, (length, date))| {
            format!("P{number};A;B;{length};{date};08:00;1;roots.fine\n")
        })
        .collect();
    format!("Pipe;Upstream;Downstream;Length;Date;Time;Distance;Code\n{rows}")
}

/// If a comma or point in a number is ambiguous, the draft reports its choice and the value under
/// the other reading.
#[test]
fn ambiguous_thousands_separators_are_reported() {
    for (lengths, message) in [
        (
            ["1,200", "1,050"],
            Some((
                "1.200 or 1200",
                "','",
                "1.200",
                "if it is 1200, set thousands_mark to it, and decimal_mark to another in table",
            )),
        ),
        (
            ["1.200", "2.500"],
            Some((
                "1.200 or 1200",
                "'.'",
                "1.200",
                "if it is 1200, set thousands_mark to it, and decimal_mark to another in table",
            )),
        ),
        (["1,200", "1,05"], None),
        (["1,200", "0,500"], None),
        (["1.200,5", "2.500"], None),
        (["1200", "950"], None),
    ] {
        let draft = draft(&with(&lengths, &["2026-03-17"; 2]));
        assert!(message.is_none() || draft.layout.columns[3].decimals.is_none(), "{lengths:?}");
        let found = open(&draft, "\"Length\": ");
        // If both are equally likely, the confidence is at most one half.
        assert_eq!(
            draft.columns[3].confidence <= 0.5,
            message.is_some(),
            "{lengths:?}: {}",
            draft.columns[3].confidence
        );
        match message {
            None => assert_eq!(found, [""; 0], "{lengths:?}"),
            Some((can, mark, was, otherwise)) => assert_eq!(
                found,
                [format!(
                    "\"Length\": {:?} on line 2 can be {can}, and no number in the file shows whether {mark} is the decimal mark or the one \
                     between thousands; it was read as {was}; {otherwise}",
                    lengths[0]
                )]
            ),
        }
    }
    // In a file delimited by commas, a comma inside a number was read as a thousands separator.
    let commas = with(&["\"1,200\"", "\"1,050\""], &["2026-03-17"; 2]).replace(';', ",");
    let taken = draft(&commas);
    let message = "it was read as 1200; if it is 1.200, set decimal_mark to it, and leave thousands_mark out in table";
    assert!(open(&taken, "\"Length\": ")[0].ends_with(message), "{:#?}", taken.open);
    assert_eq!(
        json(&read(commas.as_bytes(), &taken.layout).0.document)["pipes"][0]["length"],
        1200
    );
    // Following the advice has the promised result.
    let mut layout = taken.layout.clone();
    let table = layout.table.as_mut().unwrap();
    table.decimal_mark = table.thousands_mark.take();
    assert_eq!(json(&read(commas.as_bytes(), &layout).0.document)["pipes"][0]["length"], 1.2);
}

/// Dates of which some have the day first and others the month: the draft counts both, and gives
/// both readings of an ambiguous one.
#[test]
fn dates_in_two_orders_are_reported() {
    let lengths = ["10"; 6];
    let dates =
        ["17/03/2026", "17/03/2026", "03/25/2026", "03/25/2026", "03/04/2026", "03/04/2026"];
    let message = "\"Date\": 4 values can be dd/mm/yyyy and 4 can be mm/dd/yyyy, such as \"17/03/2026\" on line 2 and \"03/25/2026\" on line 4; \
                \"03/04/2026\" on line 6 is 2026-04-03 by the one and 2026-03-04 by the other; they were read as dd/mm/yyyy; find out which it \
                is, and write all dates that way";
    assert_eq!(open(&draft(&with(&lengths, &dates)), "\"Date\": 4"), [message]);
    let confidence = |draft: &Draft| {
        draft.columns.iter().find(|column| column.heading == "Date").unwrap().confidence
    };
    assert!(confidence(&draft(&with(&lengths, &dates))) <= 0.5);
    // A date that is invalid in both orders is a slip; dates in the other order are not.
    let slip = ["17/03/2026", "17/03/2026", "18/03/2026", "03/25/2026", "17 March", "03/04/2026"];
    let slip = draft(&with(&lengths, &slip));
    assert_eq!(
        open(&slip, "\"Date\": line 6 has \"17 March\", which is not like the others").len(),
        1,
        "{:#?}",
        slip.open
    );
    let sound =
        ["17/03/2026", "17/03/2026", "25/03/2026", "25/03/2026", "03/04/2026", "03/04/2026"];
    assert_eq!(open(&draft(&with(&lengths, &sound)), "\"Date\""), [""; 0]);
    assert!(confidence(&draft(&with(&lengths, &sound))) > 0.9);
    let few = ["17/03/2026", "17/03/2026", "18/03/2026", "03/25/2026", "05/05/2026", "05/05/2026"];
    let few = draft(&with(&lengths, &few));
    assert!(
        open(&few, "\"Date\": 5 values can be dd/mm/yyyy and 3 can be mm/dd/yyyy")[0]
            .contains("on line 5; they were read")
    );
    // In a table with am and pm, the month comes first if the counts are equal.
    let american = with(&lengths, &dates).replace(";08:00;", ";8:00 AM;");
    assert!(open(&draft(&american), "\"Date\": 4")[0].contains("they were read as mm/dd/yyyy"));
    let timed =
        with(&lengths, &dates.map(|date| [date, " 08:30"].concat()).each_ref().map(String::as_str))
            .replace(";08:00;", ";;");
    let timed = draft(&timed);
    assert_eq!(
        open(&timed, "\"Date\": 4 values can be dd/mm/yyyy and 4 can be mm/dd/yyyy").len(),
        1,
        "{:#?}",
        timed.open
    );
}

/// A blank yes/no column does not affect the rest of the draft.
#[test]
fn a_blank_column_of_yes_and_no_is_left() {
    let rows = "P1;A;B;0;run.start;\nP1;A;B;7,5;joint.open;\nP1;A;B;9;run.finish;\n";
    let draft = draft(&format!("Pipe;Upstream;Downstream;Distance;Code;Joint\n{rows}"));
    assert_eq!(draft.layout.problems(), []);
    let drafted = &draft.columns[5];
    let reason = "the heading is a word for whether it is at a joint, and there are no values, but its words for yes and no are not \
                  known";
    assert_eq!((drafted.to.as_deref(), drafted.reason.as_str()), (None, reason));
    assert_eq!(
        draft.layout.columns[5].drop.as_deref(),
        Some("its words for yes and no are not known")
    );
    let end = "set `to` to its field and `translate` to the meaning of those words, or set drop to the reason for leaving it out";
    assert!(open(&draft, "\"Joint\": the heading")[0].ends_with(end), "{:#?}", draft.open);
}

/// Day numbers under a heading for a date or a time are read as such. Under any other heading they
/// are numbers.
#[test]
fn day_numbers_of_a_spreadsheet_are_dates_under_a_heading_for_dates() {
    let table = "Pipe;Upstream;Downstream;Date;Time;Distance;Code\nP1;A;B;46098;0,3965;0,0;run.start\nP1;A;B;46098;0,3965;7,5;roots.fine\n";
    let both = draft(table);
    let kinds: Vec<_> = both.layout.columns[3..5]
        .iter()
        .map(|column| (column.kind.unwrap().as_str(), column.pattern.as_deref()))
        .collect();
    assert_eq!(kinds, [("date", Some("serial-1900")), ("time", Some("serial-1900"))]);
    assert_eq!(
        json(&read(table.as_bytes(), &both.layout).0.document)["runs"][0]["started"],
        "2026-03-17T09:30:58+00:00"
    );
    let message = "\"Date\": the values are day numbers of a spreadsheet, by which \"46098\" on line 2 is 2026-03-17; if that is four years and a day too \
                early, write serial-1904 in pattern";
    assert_eq!(open(&both, "\"Date\""), [message]);
    let one = table.replace("Date;Time;", "Date;").replace(";46098;0,3965;", ";46098,3965;");
    let drafted = draft(&one);
    assert_eq!(drafted.layout.columns[3].kind.unwrap().as_str(), "date-time");
    assert_eq!(
        json(&read(one.as_bytes(), &drafted.layout).0.document)["runs"][0]["started"],
        "2026-03-17T09:30:58+00:00"
    );
    // Manholes have such numbers, and "start" is also a word for a manhole.
    let other = draft(&table.replace("Date;Time", "Start;Zq"));
    let to: Vec<_> = other.columns[3..5].iter().map(|column| column.to.as_deref()).collect();
    assert!(!to.contains(&Some("runs.started")), "{to:?}");
}

/// Two blocks, each with its own title and headings.
const BLOCKS: &str = "Survey of P1;;;;;\nPipe;Upstream;Downstream;Distance;Code;Remark\nP1;A;B;0,0;run.start;\nP1;A;B;1,5;roots.fine;\nP1;A;B;9,0;run.finish;\n\
                      ;;;;;\nSurvey of P2;;;;;\nPipe;Upstream;Downstream;Distance;Code;Remark\nP2;C;D;0,0;run.start;\nP2;C;D;4,5;roots.fine;\n\
                      P2;C;D;7,0;run.finish;\n";

/// A table in blocks is reported once, and its columns are judged by their rows alone. With the
/// lines removed as advised, all rows are read.
#[test]
fn repeated_headings_are_reported_once() {
    let blocks = draft(BLOCKS);
    let message = "line 8 repeats the headings; keep the first headings, and remove the other lines, and the titles above headings are not read (line 1 has \
                \"Survey of P1\", line 7 has \"Survey of P2\"): put their pipe or run into columns, in every row";
    assert_eq!(blocks.open[0], message, "{:#?}", blocks.open);
    assert!(
        !blocks.open[1..].iter().any(|open| open.contains("line 7") || open.contains("line 8")),
        "{:#?}",
        blocks.open
    );
    assert!(
        blocks.columns.iter().all(|column| column.to.is_some() && column.outliers.is_empty()),
        "{:#?}",
        blocks.columns
    );
    let plain: Vec<&str> = BLOCKS
        .lines()
        .enumerate()
        .filter(|(at, _)| ![5, 6, 7].contains(at))
        .map(|(_, line)| line)
        .collect();
    assert_eq!(read(plain.join("\n").as_bytes(), &blocks.layout).0.document.runs.len(), 2);
    // Titles need not have all delimiters, and a block need not have a title.
    let bare = BLOCKS
        .replace("Survey of P1;;;;;", "Survey of P1")
        .replace("Survey of P2;;;;;", "Survey of P2");
    assert_eq!(draft(&bare).open, blocks.open);
    let untitled = BLOCKS.replace("Survey of P1;;;;;\n", "").replace("Survey of P2;;;;;\n", "");
    let message =
        "line 6 repeats the headings; keep the first headings, and remove the other lines";
    assert_eq!(draft(&untitled).open[0], message);
    let third = untitled.clone() + &untitled.replace("P1", "P3").replace("P2", "P4");
    assert!(
        draft(&third).open[0].starts_with("lines 6, 10 and 15 repeat the headings"),
        "{:#?}",
        draft(&third).open
    );
    // A single title is skipped and reported.
    let one = BLOCKS.lines().take(5).map(|line| format!("{line}\n")).collect::<String>();
    let guess = "headings in row 2; the lines above are skipped: line 1 has \"Survey of P1\"";
    assert!(draft(&one).guesses.iter().any(|one| one == guess), "{:#?}", draft(&one).guesses);
}

/// A number that a sheet shows as a percentage is read as an amount in percent, without advice to
/// clear the format. In a column of lengths it is an error.
#[cfg(feature = "xlsx")]
#[test]
fn a_percentage_on_a_sheet_need_not_be_corrected() {
    for (heading, fits) in
        [("Amount", true), ("Loss (%)", true), ("Amount mm", false), ("Length", false)]
    {
        let mut book = rust_xlsxwriter::Workbook::new();
        let sheet = book.add_worksheet();
        let headings = ["Pipe", "Upstream", "Downstream", "Distance", "Code", heading];
        sheet.write_row(0, 0, headings).unwrap();
        for (line, (at, amount)) in (1..).zip([(0.0, 5.0), (1.5, 20.0), (2.5, 15.0), (9.0, 0.1)]) {
            sheet.write_row(line, 0, ["P1", "A", "B"]).unwrap().write_number(line, 3, at).unwrap();
            sheet
                .write_string(line, 4, "deposit.settled")
                .unwrap()
                .write_number(line, 5, amount)
                .unwrap();
        }
        let percent = rust_xlsxwriter::Format::new().set_num_format("0%");
        sheet.write_number_with_format(4, 5, 0.1, &percent).unwrap();
        let source = book.save_to_buffer().unwrap();
        let draft = layout::draft(&source, "t.xlsx").unwrap();
        let message = open(
            &draft,
            &format!("{heading:?}: line 5 has \"10 %\", which is not like the others"),
        );
        assert_eq!(
            (message.len(), draft.columns[5].outliers.len()),
            if fits { (0, 0) } else { (1, 1) },
            "{heading}: {:#?}",
            draft.columns[5]
        );
        let end = "line 5 has \"10 %\"; cells that the sheet shows as a percentage are read as percentages";
        assert_eq!(draft.columns[5].reason.ends_with(end), fits, "{}", draft.columns[5].reason);
        if fits {
            let document = json(&read(&source, &draft.layout).0.document);
            let amount = &document["runs"][0]["observations"][3]["quantities"][0];
            assert_eq!(*amount, serde_json::json!({"value": 10, "unit": "percent"}));
        }
    }
}

/// In a workbook, days and times of day without a date format are the same numbers.
#[cfg(feature = "xlsx")]
#[test]
fn day_numbers_of_a_workbook_are_dates() {
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    sheet
        .write_row(0, 0, ["Pipe", "Upstream", "Downstream", "Code", "Date", "Time", "Distance"])
        .unwrap();
    for (line, at) in (1..).zip([0.0, 7.5, 30.0]) {
        sheet.write_row(line, 0, ["P1", "A", "B", "roots.fine"]).unwrap();
        sheet.write_row(line, 4, [46_098.0, 0.3965, at]).unwrap();
    }
    let source = book.save_to_buffer().unwrap();
    let draft = layout::draft(&source, "t.xlsx").unwrap();
    assert_eq!(
        json(&read(&source, &draft.layout).0.document)["runs"][0]["started"],
        "2026-03-17T09:30:58+00:00"
    );
}
