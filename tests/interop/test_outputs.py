#!/usr/bin/env python3
"""Have general-purpose readers judge the forms of a report: jsonschema with the schema of OASIS the SARIF, junitparser and xmllint the JUnit
XML, Python's csv module the table, its json module the lines.

    pip install jsonschema junitparser
    OBVERT=target/debug/obvert python3 tests/interop/test_outputs.py

OBVERT is the command to run (it may have arguments); without it, cargo builds and runs it. Exit status 0 if all is as it should be, 1 if not.

Each reader must take every form of every report and find in it as many errors, warnings and notes as the JSON report counts.
"""

import collections
import csv
import io
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

import jsonschema
import junitparser
from command import FAILED, ROOT, command, expect

DATA = ROOT / "examples" / "data"


def obvert(*arguments, folder):
    return subprocess.run([*command(), *map(str, arguments)], capture_output=True, cwd=folder)


SARIF = json.loads((ROOT / "tests/interop/sarif/sarif-schema-2.1.0.json").read_text(encoding="utf-8"))
judge = jsonschema.Draft7Validator(SARIF)
# Texts that mean something to one of the forms, or that it has no way to write.
EVIL = ["=1+1", "-1+1|x", "@x", "\"q\"", "<b>&amp;", "\u202ex", "a\nb", "::error::x", "%0A,:", "\u0001\u001b[31m", "\ufffe", "\U0001f6bd"]


def sarif(report, text, name):
    log = json.loads(text)
    errors = [f"{list(error.absolute_path)}: {error.message}" for error in judge.iter_errors(log)]
    expect(not errors, f"{name}: the schema of OASIS takes the SARIF {errors[:3]}")
    run = log["runs"][0]
    rules, artifacts = run["tool"]["driver"]["rules"], run.get("artifacts", [])
    lead = all(rules[result["ruleIndex"]]["id"] == result["ruleId"] for result in run["results"])
    expect(lead, f"{name}: every result leads to its rule")
    places = [result["locations"][0].get("physicalLocation", {}).get("artifactLocation", {}) for result in run["results"]]
    lead = all(artifacts[place["index"]]["location"]["uri"] == place["uri"] for place in places if "index" in place)
    expect(lead, f"{name}: every result leads to its file")
    levels = collections.Counter(result["level"] for result in run["results"])
    listed = collections.Counter(finding["severity"] for finding in report["findings"])
    expect(levels == listed, f"{name}: {dict(levels)} in the SARIF")
    prints = [result["partialFingerprints"]["obvertFinding/v1"] for result in run["results"]]
    expect(len(set(prints)) == len(prints), f"{name}: every result has a fingerprint of its own")


def junit(report, text, name):
    xml = tempfile.NamedTemporaryFile(suffix=".xml", delete=False)
    xml.write(text)
    xml.close()
    lint = subprocess.run(["xmllint", "--noout", "--nonet", xml.name], capture_output=True, text=True)
    expect(lint.returncode == 0, f"{name}: xmllint takes the JUnit XML {lint.stderr[:200]}")
    suites = junitparser.JUnitXml.fromfile(xml.name)
    os.unlink(xml.name)
    expect(len(suites) == len(report["documents"]), f"{name}: a suite a document")
    read = collections.Counter()
    for suite, document in zip(suites, report["documents"]):
        kinds = collections.Counter()
        for case in suite:
            kinds.update(type(outcome).__name__ for outcome in case.result)
        denied = sum(rule["severity"] == "error" for rule in document.get("rules", []))
        expect(suite.failures == kinds["Failure"] == denied, f"{name}: {suite.failures} failures in {suite.name!r}")
        expect(suite.skipped == kinds["Skipped"], f"{name}: {suite.skipped} skipped in {suite.name!r}")
        expect(suite.errors == kinds["Error"] == ("error" in document), f"{name}: {suite.errors} errors in {suite.name!r}")
        expect(suite.tests == len(list(suite)), f"{name}: {suite.tests} cases in {suite.name!r}")
        read["tests"] += suite.tests
    expect(suites.tests == read["tests"] or suites.tests is None, f"{name}: the suites add up")


def table(report, text, name):
    rows = list(csv.DictReader(io.StringIO(text.decode("utf-8"), newline="")))
    findings = [row for row in rows if row["entry"] == "finding"]
    counted = collections.Counter(row["severity"] for row in findings)
    expect(counted == collections.Counter(f["severity"] for f in report["findings"]), f"{name}: {dict(counted)} in the CSV")
    expect(all(None not in row and None not in row.values() for row in rows), f"{name}: every row has every cell")
    ids = [report["documents"][finding.get("document", 0)].get("id", "") for finding in report["findings"]]
    expect([row["document"].lstrip("'") for row in findings] == [key.lstrip("'") for key in ids], f"{name}: each row has the survey's id")
    same = all(
        row["message"].lstrip("'") == finding["message"].lstrip("'")
        and (row["distance"] == "" or float(row["distance"]) == finding["distance"])
        for row, finding in zip(findings, report["findings"])
    )
    expect(same, f"{name}: messages and distances come back")
    formulas = [cell for row in rows for cell in row.values() if cell[:1] in tuple("=+-@\t\r\n") and cell[:1]]
    expect(all(number(cell) for cell in formulas), f"{name}: no cell is a formula {formulas[:3]}")


def number(cell):
    try:
        return float(cell) == float(cell)
    except ValueError:
        return False


def lines(report, text, name):
    rows = [json.loads(line) for line in text.decode("utf-8").split("\n")[:-1]]
    due = ["report"]
    for index in range(len(report["documents"])):
        due += ["document", *["finding" for finding in report["findings"] if finding.get("document", 0) == index]]
    expect([row["line"] for row in rows] == [*due, "end"], f"{name}: {len(rows)} JSON lines")
    expect(rows[-1]["totals"] == report["totals"], f"{name}: totals at the end")
    ids = [row.get("id") for row in rows if row["line"] == "document"]
    expect(ids == [document.get("id") for document in report["documents"]], f"{name}: the ids of the surveys")


with tempfile.TemporaryDirectory() as folder:
    folder = pathlib.Path(folder)
    for survey in DATA.glob("*.obvert.json"):
        shutil.copy(survey, folder)
    rejected = "larkmoor-rejected.obvert.json"
    for target, form in [("tables", "csv"), ("tables.zip", "csv-zip"), ("survey.xml", "xml"), ("map.geojson", "geojson")]:
        done = obvert("convert", rejected, "-o", target, "--to", form, folder=folder)
        expect(done.returncode == 0, f"converted to {form} {done.stderr.decode()[:200]}")
    evil = json.loads((folder / rejected).read_text(encoding="utf-8"))
    for pipe, text in zip(evil["pipes"], EVIL):
        for run in evil["runs"]:
            run["pipe"] = text if run["pipe"] == pipe["id"] else run["pipe"]
        pipe["id"] = text
    for run, text in zip(evil["runs"], reversed(EVIL)):
        run["id"] = text
    (folder / "evil, 100 %.json").write_text(json.dumps(evil), encoding="utf-8")
    (folder / "broken.json").write_text((folder / rejected).read_text(encoding="utf-8").replace('"height"', '"hieght"'), encoding="utf-8")
    (folder / "empty.json").write_text("", encoding="utf-8")
    reports = [
        ["larkmoor.obvert.json"], [rejected], ["tables"], ["tables.zip"], ["survey.xml"], ["map.geojson"], ["evil, 100 %.json"],
        ["broken.json"], ["empty.json"], ["larkmoor.obvert.json", rejected, "broken.json", "empty.json", "evil, 100 %.json"],
    ]
    for files in reports:
        name = "several" if len(files) > 1 else files[0]
        forms = {"json": None, "sarif": sarif, "junit": junit, "csv": table, "jsonl": lines}
        also = [argument for form in forms for argument in ("--also", f"{form}={form}.out")]
        done = obvert("check", *files, "--today", "2026-06-15", *also, "--replace", folder=folder)
        expect(done.returncode in (0, 1, 2), f"{name}: checked, status {done.returncode}")
        report = json.loads((folder / "json.out").read_text(encoding="utf-8"))
        for form, reader in forms.items():
            if reader:
                reader(report, (folder / f"{form}.out").read_bytes(), name)

# The judges can say no.
expect(any(judge.iter_errors({"version": "2.1.0", "runs": [{"tool": {"driver": {}}}]})), "the schema of OASIS refuses a tool without a name")

print(f"{len(FAILED)} failed")
sys.exit(1 if FAILED else 0)
