#!/usr/bin/env python3
"""Checks layouts, and the tables and XML files written by them, with independent readers.

    pip install 'jsonschema>=4.20' 'lxml>=5' 'openpyxl>=3.1'
    OBVERT=target/debug/obvert python3 tests/interop/test_layouts.py

OBVERT names the built command; without it, cargo builds it. Exit status 0 if all agree, 1 if not. pytest can run the file too.

jsonschema validates the example layouts, and drafted ones, by schema/layout.schema.json. Python's csv module reads from a table that
was read and written again the same cells as from the office's own table, and lxml reads from an XML file the same elements and
attributes. openpyxl converts the day numbers of spreadsheets, in both date systems, to the same timestamps as our reader.
"""

import csv
import datetime
import io
import json
import os
import pathlib
import random
import shlex
import subprocess
import sys
import tempfile

from jsonschema import Draft202012Validator
from lxml import etree
from openpyxl.utils.datetime import CALENDAR_MAC_1904, CALENDAR_WINDOWS_1900, from_excel

ROOT = pathlib.Path(__file__).resolve().parents[2]
LAYOUTS = ROOT / "examples" / "layouts"


def run(*arguments):
    command = shlex.split(os.environ.get("OBVERT", "cargo run --quiet --bin obvert --"))
    return subprocess.run([*command, *map(str, arguments)], cwd=ROOT, capture_output=True)


def done(*arguments):
    result = run(*arguments)
    assert result.returncode == 0, result.stderr.decode()
    return result.stdout


def again(office, ending, folder):
    """The office's file after it was read and written by its layout."""
    layout = LAYOUTS / f"{office}.layout.json"
    document, written = folder / f"{office}.obvert.json", folder / f"{office}{ending}"
    done("convert", LAYOUTS / f"{office}{ending}", "--layout", layout, "-o", document)
    done("convert", document, "--layout", layout, "-o", written)
    return written


def test_layouts_fit_their_schema():
    schema = json.loads((ROOT / "schema" / "layout.schema.json").read_text("utf-8"))
    Draft202012Validator.check_schema(schema)
    validator = Draft202012Validator(schema)
    texts = [path.read_text("utf-8") for path in sorted(LAYOUTS.glob("*.layout.json"))]
    assert len(texts) == 3
    texts += [done("layout", "draft", LAYOUTS / f"office-{office}.csv").decode() for office in "ab"]
    for text in texts:
        errors = [error.message for error in validator.iter_errors(json.loads(text))]
        assert errors == [], errors
    broken = json.loads(texts[0])
    broken["columns"][0]["kind"] = "figure"
    assert list(validator.iter_errors(broken))


def cells(path, encoding, delimiter):
    with open(path, encoding=encoding, newline="") as file:
        return list(csv.reader(file, delimiter=delimiter, strict=True))


def test_tables_hold_the_cells_of_the_offices():
    with tempfile.TemporaryDirectory() as folder:
        for office, encoding, delimiter in [("office-a", "windows-1252", ","), ("office-b", "iso-8859-1", ";")]:
            before = cells(LAYOUTS / f"{office}.csv", encoding, delimiter)
            after = cells(again(office, ".csv", pathlib.Path(folder)), encoding, delimiter)
            assert len(before) == len(after) and len(before) > 10
            for line, (one, other) in enumerate(zip(before, after), 1):
                for heading, old, new in zip(before[0], one, other):
                    assert old == new, (office, line, heading, old, new)


def test_xml_holds_the_elements_of_the_office():
    def tree(path):
        parser = etree.XMLParser(resolve_entities=False, no_network=True, remove_comments=True)
        elements = etree.parse(str(path), parser).getroot().iter()
        return [(element.tag, dict(element.attrib), element.getparent().tag if element.getparent() is not None else None) for element in elements]

    with tempfile.TemporaryDirectory() as folder:
        before, after = tree(LAYOUTS / "office-c.xml"), tree(again("office-c", ".xml", pathlib.Path(folder)))
    assert [tag for tag, _, _ in before] == [tag for tag, _, _ in after]
    for (tag, old, parent), (_, new, other) in zip(before, after):
        assert parent == other and old.keys() == new.keys(), (tag, old, new)
        for name in old:
            number = old[name].replace(".", "", 1).isdigit()
            assert float(old[name]) == float(new[name]) if number else old[name] == new[name], (tag, name, old, new)


def test_days_are_counted_as_openpyxl_counts():
    dice = random.Random(5)
    layout = {
        "layout": "0.1", "id": "s", "version": "1", "title": "s", "table": {"delimiter": ","},
        "columns": [
            {"heading": "Pipe", "to": "pipes.id"}, {"heading": "A", "to": "pipes.upstream"}, {"heading": "B", "to": "pipes.downstream"},
            {"heading": "At", "to": "runs.observations.at", "kind": "number"}, {"heading": "Code", "to": "runs.observations.code"},
            {"heading": "When", "to": "runs.started", "kind": "date-time"},
        ],
        "fixed": [{"to": to, "value": value} for to, value in [
            ("id", "x"), ("issued", "2026-05-06T16:20:00Z"), ("units.length", "m"), ("units.section", "mm"),
            ("coding.list", "obvert-terms"), ("coding.version", "1"), ("structures.kind", "manhole"), ("runs.direction", "downstream"),
        ]],
        "made": [{"to": "runs.id", "text": "R {pipes.id}"}], "zone": "Z",
    }
    counts = [("serial-1900", CALENDAR_WINDOWS_1900), ("serial-1904", CALENDAR_MAC_1904)]
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        for pattern, epoch in counts:
            days = [61, 62, 365, 366, 367, 1462, 45_000, 60_000] + [dice.randint(61, 90_000) for _ in range(192)]
            numbers = [day + dice.randrange(86_400) / 86_400 for day in days]
            table = io.StringIO()
            writer = csv.writer(table)
            writer.writerow(["Pipe", "A", "B", "At", "Code", "When"])
            for index, number in enumerate(numbers):
                writer.writerow([f"P{index}", "a", "b", 0, "run.start", repr(number)])
            (folder / "t.csv").write_text(table.getvalue(), "utf-8")
            layout["columns"][5]["pattern"] = pattern
            (folder / "l.json").write_text(json.dumps(layout), "utf-8")
            document = json.loads(done("convert", folder / "t.csv", "--layout", folder / "l.json", "--to", "json", "-o", "-"))
            assert len(document["runs"]) == len(numbers)
            for run_of_table, number in zip(document["runs"], numbers):
                expected = from_excel(number, epoch)
                second = datetime.timedelta(seconds=1)
                rounded = (expected + second / 2).replace(microsecond=0)
                assert run_of_table["started"] == rounded.strftime("%Y-%m-%dT%H:%M:%SZ"), (pattern, number, expected)


if __name__ == "__main__":
    failures = 0
    for name, test in list(globals().items()):
        if name.startswith("test_"):
            try:
                test()
                print(f"ok   {name}")
            except AssertionError as error:
                failures += 1
                print(f"FAIL {name}: {error}")
    sys.exit(1 if failures else 0)
