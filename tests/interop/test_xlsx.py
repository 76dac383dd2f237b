#!/usr/bin/env python3
"""Have `openpyxl` and GDAL's XLSX driver judge the workbooks, and fill one in as a person would.

    pip install openpyxl
    OBVERT=target/debug/obvert python3 tests/interop/test_xlsx.py

OBVERT is the command to run (it may have arguments); without it, cargo builds and runs it. Exit status 0 if all is as it should be,
1 if not. ogrinfo is asked only where it is installed.

Workbooks that obvert writes: every cell has the type and the value of the document, headings stay in sight, words are offered, no cell
is a formula. A workbook that openpyxl writes from nothing converts; one that obvert wrote and openpyxl saved anew comes back byte for byte.
"""

import csv
import datetime
import io
import json
import pathlib
import shutil
import subprocess
import sys
import tempfile

import openpyxl
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from openpyxl.utils.escape import unescape
from command import FAILED, ROOT, expect, obvert



def tables_of(folder):
    """The CSV tables of the same document: rows of text by heading, the apostrophes of the CSV form taken off."""
    tables = {}
    for path in folder.glob("*.csv"):
        rows = list(csv.reader(io.StringIO(path.read_bytes().decode("utf-8"), newline="")))
        tables[path.stem] = rows
    return tables


def plain(cell):
    rest = cell[1:]
    return rest if cell.startswith("'") and rest.lstrip("'")[:1] in set("=+-@\t\r\n\0") else cell


def judge(document, room):
    """A document that obvert writes as a workbook and as CSV tables must have the same cells in both, with types in the workbook."""
    book, folder = room / "survey.xlsx", room / "tables"
    for out, to in ((book, "xlsx"), (folder, "csv")):
        run = obvert("convert", document, "-o", out, "--to", to, "--lossless")
        expect(run.returncode == 0, f"{document.name} becomes {to} {run.stderr}")
    work = openpyxl.load_workbook(book)
    tables = tables_of(folder)
    schemas = {path.stem: json.loads(path.read_text()) for path in (ROOT / "schema" / "tables").glob("*.json")}
    expect(work.sheetnames == ["how to fill in", *(name for name in work.sheetnames if name in tables), "choices"], "a guide, tables, choices")
    expect(set(work.sheetnames) - {"how to fill in", "choices"} == set(tables), "a sheet for each table")
    expect(work["choices"].sheet_state == "hidden" and work["how to fill in"].sheet_state == "visible", "only the choices are hidden")
    kinds, wrong, formulas = {}, [], 0
    for name, rows in tables.items():
        sheet, fields = work[name], {field["name"]: field for field in schemas[name]["fields"]}
        expect(sheet.freeze_panes == "A2", f"{name}: the heading row stays in sight")
        headings = [cell.value for cell in sheet[1]]
        expect(headings == rows[0], f"{name}: the headings of the table")
        for heading, cell in zip(headings, sheet[1]):
            required = fields[heading].get("constraints", {}).get("required", False)
            if cell.font.bold is not required:
                wrong.append(f"{name}: {heading} is {'' if required else 'not '}required")
        for number, row in enumerate(rows[1:], start=2):
            for heading, text, cell in zip(headings, row, sheet[number]):
                kind, value = fields[heading]["type"], cell.value
                formulas += cell.data_type == "f"
                kinds[(kind, type(value).__name__)] = kinds.get((kind, type(value).__name__), 0) + 1
                if text == "":
                    same = value is None
                elif kind in ("number", "integer"):
                    same = type(value) in (int, float) and float(value) == float(text)
                elif kind == "boolean":
                    same = value is (text == "true")
                else:
                    same = isinstance(value, str) and unescape(value) == plain(text)
                if not same:
                    wrong.append(f"{name}!{cell.coordinate}: {value!r} is not {text!r}")
        expect(sheet.max_row == len(rows), f"{name}: {len(rows) - 1} rows")
        offered = {}
        for validation in sheet.data_validations.dataValidation:
            for area in validation.sqref.ranges:
                if area.min_row != 2 or area.max_row < len(rows):
                    wrong.append(f"{name}: help for {area} and not from the first row to beyond the last")
                offered[headings[area.min_col - 1]] = validation
        for heading, field in fields.items():
            words = field.get("constraints", {}).get("enum")
            validation = offered.get(heading)
            if validation is None or not validation.prompt or len(validation.prompt) > 255:
                wrong.append(f"{name}: {heading} has no prompt that can be shown")
            elif words:
                chosen = validation.formula1.strip('"').split(",")
                if validation.formula1.startswith("choices!"):
                    chosen = [cell.value for column in work["choices"][validation.formula1.split("!")[1].replace("$", "")] for cell in column]
                if validation.type != "list" or chosen != words:
                    wrong.append(f"{name}: {heading} offers {chosen}, not {words}")
    expect(not wrong, f"cells, headings and lists are as they should be {wrong[:5]}")
    expect(formulas == 0, "no cell is a formula")
    print(f"     cells by type of column and of value: {dict(sorted(kinds.items()))}")

    # A spreadsheet program that opens and saves the workbook must not change the survey.
    again, back = room / "again.xlsx", room / "back.obvert.json"
    work.save(again)
    run = obvert("convert", again, "-o", back, "--replace")
    expect(run.returncode == 0, f"a workbook saved by openpyxl is read {run.stderr[:300]}")
    if run.returncode == 0:
        expect(back.read_bytes() == document.read_bytes(), "and is the same survey, byte for byte")


DOCUMENT = {
    "obvert": "0.2",
    "id": "urn:uuid:5a0c2b1e-58a6-4d5b-9df2-6b8f0c7f4a12",
    "issued": "2026-05-06T16:20:00-05:00",
    "units.length": "ft",
    "units.section": "in",
    "coding.list": "obvert-terms",
    "coding.version": "1",
}


def by_hand(epoch=None):
    """A workbook as somebody fills one in: columns as they like them, blank rows, numbers as text, ids as numbers, dates as dates."""
    book = openpyxl.Workbook()
    if epoch:
        book.epoch = epoch
    sheet = book.active
    sheet.title = "document"
    sheet.append(list(DOCUMENT))
    sheet.append(list(DOCUMENT.values()))
    sheet = book.create_sheet("structures")
    sheet.append(["kind", "id", "depth", None, None])
    sheet.append(["manhole", 101, "9.5"])
    sheet.append([])
    sheet.append(["manhole", "0102", 8.25])
    sheet = book.create_sheet("equipment")
    sheet.append(["id", "calibrated", "kind"])
    sheet.append(["crawler 2", datetime.date(2026, 1, 5), "crawler"])
    sheet = book.create_sheet("pipes")
    sheet.append(["upstream", "downstream", "id", "height", "length"])
    sheet.append([101, "0102", "P1", 8, 312.4])
    sheet = book.create_sheet("runs")
    sheet.append(["id", "pipe", "from", "to", "direction", "equipment", "started"])
    sheet.append(["R1", "P1", 101, "0102", "downstream", "crawler 2", "2026-05-06T09:31:00-05:00"])
    sheet = book.create_sheet("observations")
    sheet.append(["run", "id", "at", "code", "joint", "remark"])
    sheet.append(["R1", 1, 0, "run.start", None, None])
    sheet.append([None] * 6)
    sheet.append(["R1", 2, "12.5", "crack.longitudinal", True, "=not a formula"])
    sheet["F4"].data_type = "s"
    book.create_sheet("Sheet7")
    return book


# What somebody can get wrong: the cell, what stands in it, and what must be said of it.
MISTAKES = [
    ("structures", "C2", "9,5", "structures:2:3 (column depth)"),
    ("structures", "A4", "Manhole", "structures:4:1 (column kind)"),
    ("structures", "E2", "stray", "structures:1:5"),
    ("equipment", "B2", 46027, "equipment:2:2 (column calibrated)"),
    ("runs", "G2", datetime.datetime(2026, 5, 6, 9, 31), "runs:2:7 (column started)"),
    ("runs", "B2", None, "runs:2:2 (column pipe)"),
    ("observations", "C4", "=C2+12.5", "observations:4:3 (column at)"),
    ("observations", "C4", datetime.date(2026, 12, 5), "observations:4:3 (column at)"),
    ("observations", "A4", "R9", "observations:4:1 (column run)"),
    ("observations", "E4", "yes", "observations:4:5 (column joint)"),
    ("observations", "D1", "codes", "observations:1:4 (column codes)"),
]


def hand_filled(room):
    for name, epoch in (("1900", None), ("1904", CALENDAR_MAC_1904)):
        book, out = room / f"{name}.xlsx", room / f"{name}.obvert.json"
        by_hand(epoch).save(book)
        run = obvert("convert", book, "-o", out)
        expect(run.returncode == 0, f"a workbook made by openpyxl converts, {name} dates {run.stderr}")
        if run.returncode != 0:
            continue
        survey = json.loads(out.read_text())
        expect(survey["structures"] == [{"id": "101", "kind": "manhole", "depth": 9.5}, {"id": "0102", "kind": "manhole", "depth": 8.25}], f"{name}: structures")
        expect(survey["equipment"][0]["calibrated"] == "2026-01-05", f"{name}: a date")
        row = survey["runs"][0]["observations"][1]
        expect(row == {"id": "2", "at": 12.5, "code": "crack.longitudinal", "joint": True, "remark": "=not a formula"}, f"{name}: an observation {row}")
        checked = obvert("check", book, "--today", "2026-06-15", "--format", "json")
        places = {finding["at"]["file"] for finding in json.loads(checked.stdout)["findings"]}
        expect(places and all(place.startswith(f"{book}/") for place in places), f"{name}: findings name the sheets {places}")
    for sheet, cell, value, said in MISTAKES:
        work = by_hand()
        work[sheet][cell] = value
        if type(value) is int:
            work[sheet][cell].number_format = "General"
        book = room / "mistake.xlsx"
        work.save(book)
        run = obvert("convert", book, "-o", room / "none.obvert.json")
        expect(run.returncode == 2 and f"mistake.xlsx/{said}" in run.stderr, f"{sheet}!{cell} = {value!r}: {run.stderr.strip().splitlines()[:1]}")


def gdal(room):
    """What GDAL takes each column for."""
    if not shutil.which("ogrinfo"):
        print("     ogrinfo is not installed; not asked")
        return
    run = subprocess.run(["ogrinfo", "-so", room / "survey.xlsx", "observations"], capture_output=True, text=True)
    for line in ("at: Real", "id: String", "code: String", "grades.structural: Integer"):
        expect(line in run.stdout, f"ogrinfo: {line} {run.stderr}")


def main():
    with tempfile.TemporaryDirectory() as temporary:
        for number, path in enumerate(("examples/data/larkmoor.obvert.json", "tests/corpus/nasty.obvert.json")):
            room = pathlib.Path(temporary) / str(number)
            room.mkdir()
            judge(ROOT / path, room)
        gdal(pathlib.Path(temporary) / "0")
        hand_filled(pathlib.Path(temporary))
    print(f"{len(FAILED)} failed" if FAILED else "all as it should be")
    return 1 if FAILED else 0


if __name__ == "__main__":
    sys.exit(main())
