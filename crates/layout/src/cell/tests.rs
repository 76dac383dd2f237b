use serde_json::json;

use super::*;

fn read(cell: &str, column: &Column, layout: &Layout) -> Result<CellValue, String> {
    CellFormat::of(column, layout).read(cell)
}

fn write(value: &Value, column: &Column, layout: &Layout) -> Option<String> {
    CellFormat::of(column, layout).write(value)
}

/// The timestamp of a date and a time of day as texts.
fn moment(date: Option<&str>, time: Option<&str>) -> CellValue {
    CellValue::Moment(
        date.map(|date| date.parse().unwrap()),
        time.map(|time| time.parse().unwrap()),
    )
}

fn layout(decimal: &str, thousands: Option<&str>) -> Layout {
    let mut layout = json!({
        "layout": "0.1", "id": "l", "version": "1", "title": "l",
        "table": {"encoding": "utf-8", "delimiter": ";", "decimal_mark": decimal},
        "units": [{"text": " in", "unit": "in"}, {"text": " m", "unit": "m"}, {"text": " mm", "unit": "mm"}, {"text": "%", "unit": "percent"}]
    });
    if let Some(mark) = thousands {
        layout["table"]["thousands_mark"] = mark.into();
    }
    Layout::read(layout.to_string().as_bytes()).unwrap()
}

fn column(kind: &str, more: &Value) -> Column {
    let mut column = json!({"heading": "h", "to": "runs.observations.at", "kind": kind});
    for (key, value) in more.as_object().into_iter().flatten() {
        column[key] = value.clone();
    }
    serde_json::from_value(column).unwrap()
}

/// Both directions: the value of a cell, and the cell of that value.
#[test]
fn cells_become_values_and_cells_again() {
    let none = json!({});
    let cases = [
        ("number", json!({"decimals": 2}), "1234,50", json!(1234.5)),
        ("number", none.clone(), "-0,3", json!(-0.3)),
        ("number", json!({"digits": 3}), "-007,5", json!(-7.5)),
        ("duration", json!({"digits": 2}), "00:12:02", json!(722)),
        ("clock", json!({"separator": "-", "digits": 2}), "11-01", json!({"from": 11, "to": 1})),
        ("station", none.clone(), "1+64,50", json!(164.5)),
        ("station", none.clone(), "0+00,00", json!(0)),
        ("station", none.clone(), "12+05,07", json!(1205.07)),
        ("station", json!({"decimals": 0}), "0+07", json!(7)),
        ("feet-and-inches", none.clone(), "12'6\"", json!(12.5)),
        ("feet-and-inches", none.clone(), "-3'3\"", json!(-3.25)),
        ("duration", none.clone(), "0:12:02", json!(722)),
        ("duration", none.clone(), "1:00:00.5", json!(3600.5)),
        ("clock", json!({"separator": "-"}), "11-1", json!({"from": 11, "to": 1})),
        ("clock", json!({"separator": "-"}), "2", json!({"at": 2})),
        ("clock", none.clone(), "1101", json!({"from": 11, "to": 1})),
        ("yes-no", json!({"translate": [{"text": "Y", "value": true}]}), "Y", json!(true)),
        ("duration", json!({"pattern": "m:ss"}), "75:09", json!(4509)),
        ("duration", json!({"pattern": "mm:ss"}), "05:20", json!(320)),
        ("station", none.clone(), "'-0+05,00", json!(-5)),
        ("text", none, "'=1+1", json!("=1+1")),
    ];
    let layout = layout(",", None);
    for (kind, more, cell, value) in cases {
        let column = column(kind, &more);
        assert_eq!(
            read(cell, &column, &layout).map(CellValue::into_json),
            Ok(value.clone()),
            "{kind} {cell}"
        );
        assert_eq!(write(&value, &column, &layout).as_deref(), Some(cell), "{kind} {value}");
    }
}

#[test]
fn amounts_have_their_unit() {
    let (layout, column) = (layout(".", None), column("amount", &json!({})));
    for (cell, value, unit) in [
        ("4 in", json!(4), "in"),
        ("0.5 m", json!(0.5), "m"),
        ("5 mm", json!(5), "mm"),
        ("5%", json!(5), "percent"),
    ] {
        assert_eq!(
            read(cell, &column, &layout),
            Ok(CellValue::Amount(value.as_f64().unwrap(), unit.parse().unwrap()))
        );
        assert_eq!(
            write(&json!({"value": value, "unit": unit}), &column, &layout).as_deref(),
            Some(cell)
        );
    }
    assert_eq!(
        read("4 ft", &column, &layout),
        Err("a number with its unit, one of in, m, mm, %".to_owned())
    );
}

/// ISO 8601 / RFC 3339 for the result; noon and midnight of the 12-hour clock as defined by NIST
/// (12 a.m. is midnight).
#[test]
fn dates_and_times_follow_their_pattern() {
    let layout = layout(".", None);
    let cases = [
        ("date", "dd.mm.yyyy", "17.03.2026", "2026-03-17"),
        ("date", "m/d/yyyy", "5/6/2026", "2026-05-06"),
        ("date", "yyyymmdd", "20280229", "2028-02-29"),
        ("date", "d mmm yy", "7 Mar 26", "2026-03-07"),
        ("time", "h:mm am", "9:31 AM", "09:31:00"),
        ("time", "h:mm am", "12:05 AM", "00:05:00"),
        ("time", "h:mm am", "12:05 PM", "12:05:00"),
        ("time", "hh:mm:ss", "23:59:59", "23:59:59"),
    ];
    for (kind, pattern, cell, part) in cases {
        let column = column(kind, &json!({"pattern": pattern}));
        let read_as =
            if kind == "date" { moment(Some(part), None) } else { moment(None, Some(part)) };
        assert_eq!(read(cell, &column, &layout), Ok(read_as), "{cell}");
        let written = if kind == "date" {
            format!("{part}T00:00:00Z")
        } else {
            format!("2026-01-01T{part}Z")
        };
        assert_eq!(write(&json!(written), &column, &layout).as_deref(), Some(cell));
    }
    for (kind, pattern, cell) in [
        ("date", "dd.mm.yyyy", "29.02.2026"),
        ("date", "dd.mm.yyyy", "17.13.2026"),
        ("date", "m/d/yyyy", "5/6/26"),
        ("time", "h:mm am", "13:05 PM"),
        ("time", "hh:mm:ss", "24:00:00"),
        ("time", "hh:mm", "09:30:00"),
    ] {
        assert!(
            read(cell, &column(kind, &json!({"pattern": pattern})), &layout).is_err(),
            "{cell}"
        );
    }
}

/// The counts of spreadsheets (ECMA-376 part 1, 18.17.4.1, from memory): 1 March 1900 is day 61 of
/// the one, and the two are 1462 days apart.
#[test]
fn days_are_counted_as_spreadsheets_count() {
    let layout = layout(",", None);
    let cases = [
        ("date", "serial-1900", "61", Some("1900-03-01"), None),
        ("date", "serial-1900", "46148", Some("2026-05-06"), None),
        ("date", "serial-1904", "44686", Some("2026-05-06"), None),
        ("date", "serial-1904", "0", Some("1904-01-01"), None),
        ("time", "serial-1900", "0,3965277778", None, Some("09:31:00")),
        ("date-time", "serial-1900", "46148,3965277778", Some("2026-05-06"), Some("09:31:00")),
        ("date-time", "serial-1904", "44686,9999884259", Some("2026-05-06"), Some("23:59:59")),
        ("date-time", "m/d/yyyy h:mm am", "5/6/2026 9:31 PM", Some("2026-05-06"), Some("21:31:00")),
        (
            "date-time",
            "dd.mm.yyyy hh:mm:ss",
            "06.05.2026 09:31:07",
            Some("2026-05-06"),
            Some("09:31:07"),
        ),
    ];
    for (kind, pattern, cell, date, time) in cases {
        let column = column(kind, &json!({"pattern": pattern}));
        let expected = moment(date, time);
        assert_eq!(read(cell, &column, &layout), Ok(expected), "{kind} {cell}");
        let written = format!("{}T{}Z", date.unwrap_or("2026-01-01"), time.unwrap_or("00:00:00"));
        assert_eq!(write(&json!(written), &column, &layout).as_deref(), Some(cell), "{written}");
    }
    for (kind, cell) in
        [("date", "60"), ("date", "46148,5"), ("date", "-1"), ("date", "3000000"), ("time", "1,5")]
    {
        assert!(
            read(cell, &column(kind, &json!({"pattern": "serial-1900"})), &layout).is_err(),
            "{kind} {cell}"
        );
    }
}

/// Prefixes that users of spreadsheets type to keep a cell as it is, and how programs write large
/// and small numbers.
#[test]
fn numbers_that_are_stored_as_text_are_numbers() {
    let (layout, number) = (layout(",", None), column("number", &json!({})));
    for (cell, value) in [
        ("'12,5", json!(12.5)),
        ("=\"12,5\"", json!(12.5)),
        (" \u{a0}12,5\u{a0}", json!(12.5)),
        ("1,25E+01", json!(12.5)),
        ("1,25e2", json!(125)),
        ("'-3", json!(-3)),
    ] {
        assert_eq!(read(cell, &number, &layout).map(CellValue::into_json), Ok(value), "{cell}");
    }
    assert_eq!(
        read("=\"007\"", &column("text", &json!({})), &layout),
        Ok(CellValue::Text("007".to_owned()))
    );
    assert!(read("=12", &number, &layout).is_err());
}

#[test]
fn what_is_no_number_is_refused() {
    let grouped = layout(",", Some("."));
    let plain = column("number", &json!({}));
    assert_eq!(read("1.234.567,5", &plain, &grouped), Ok(CellValue::Number(1_234_567.5)));
    for cell in ["1.23,5", "1.2345", ".123", "1,2,3", "inf", "NaN", "12 m", "1e", "-"] {
        assert_eq!(read(cell, &plain, &grouped), Err("a number such as 12,5".to_owned()), "{cell}");
    }
    // A point is not guessed to be a decimal separator if that is a comma.
    assert!(read("1.5", &plain, &layout(",", None)).is_err());
    for (kind, cells) in [
        ("station", ["164.5", "1+100", "+5", "1+-5"]),
        ("feet-and-inches", ["12", "12'12\"", "12'6", "x'"]),
        ("duration", ["12:02", "0:60:00", "0:00:60", "-1:00:00"]),
        ("clock", ["x", "11-", "11/1", ""]),
    ] {
        for cell in cells {
            let column = column(kind, &json!({"separator": "-"}));
            assert!(read(cell, &column, &layout(".", None)).is_err(), "{kind} {cell}");
        }
    }
}

#[test]
fn a_station_is_rounded_before_it_is_split() {
    let layout = layout(".", None);
    assert_eq!(
        write(&json!(99.999), &column("station", &json!({})), &layout).as_deref(),
        Some("1+00.00")
    );
    assert_eq!(
        write(&json!(11.9999), &column("feet-and-inches", &json!({})), &layout).as_deref(),
        Some("12'0\"")
    );
}
