#!/usr/bin/env python3
"""Have the `frictionless` implementation of Data Package and Table Schema judge the packages of CSV tables.

    pip install frictionless==5.21.0
    OBVERT=target/debug/obvert python3 tests/interop/test_csv.py [DOCUMENT ...]

Without documents: those of examples/data and two written out below. OBVERT is the command to run (it may have arguments); without it, cargo builds and runs it. Exit status 0 if all is as it should be, 1 if not.

For every document: written as a folder and as a zip, both must be valid to frictionless, types, constraints, primary and foreign keys
included (but for references that lead nowhere in the document itself, of which it must find each), and both must come back byte for byte. For every mutation of a package: frictionless must reject it where it can see it,
naming the error expected, and reading it must end with status 2 and a message that names the file.
"""

import csv
import io
import json
import pathlib
import shutil
import sys
import tempfile
import zipfile

from frictionless import Package, system
from command import FAILED, ROOT, expect, obvert



def errors_of(package):
    """What frictionless has against a package: (type, message) each."""
    with system.use_context(trusted=True):
        report = Package(str(package)).validate()
    return [(error.type, error.message) for task in report.tasks for error in task.errors] + [
        (error.type, error.message) for error in report.errors
    ]


# A survey in which every table has rows and every reference leads somewhere, with texts that a careless tool would change.
WHOLE = {
    "obvert": "0.2",
    "id": "urn:uuid:3a1f6f7e-07a5-4f0b-8e0f-6f8e7d1c2b10",
    "issued": "2026-05-06T16:20:00.25-05:00",
    "language": "en",
    "units": {"length": "ft", "section": "in"},
    "crs": "EPSG:6595",
    "vertical": "NAVD 88",
    "coding": {"list": "obvert-terms", "version": "1"},
    "grading": {"scheme": "obvert-grades", "version": "1"},
    "review": {"status": "checked", "by": "=2", "at": "2026-05-06T16:00:00Z"},
    "assignment": {"owner": "007", "purpose": "routine"},
    "extensions": {"org.example.dispatch": {"truck": "7", "notes": ["a,b", "c\r\nd", None]}},
    "parties": [
        {"id": "007", "name": "Larkmoor Water Department", "role": "owner"},
        {"id": "7", "name": "-Heron; \"Drain\" Survey", "role": "contractor"},
        {"id": "=2", "name": " A. Sample ", "role": "operator", "member_of": "7"},
    ],
    "equipment": [{"id": "crawler", "kind": "crawler", "calibrated": "2026-01-05"}, {"id": "a;b", "kind": "transmitter"}],
    "structures": [
        {"id": "LM-1", "kind": "manhole", "position": [2481000.25, 310000.5], "ground": 101.5, "depth": 9},
        {"id": "LM-2", "kind": "other", "kind_text": "a shaft\nof bricks", "position": [2481100, 310000]},
    ],
    "pipes": [
        {"id": "P1", "upstream": "LM-1", "downstream": "LM-2", "height": 8, "laid": 1962, "path": [[2481000.25, 310000.5], [2481100, 310000]]},
        {"id": "P2", "upstream": "LM-1", "joins": {"pipe": "P1", "at": 12.5, "clock": 3}},
    ],
    "media": [{"id": "m1", "file": "media/r1.mp4", "kind": "video", "type": "video/mp4", "bytes": 9007199254740991, "run": "R1"}],
    "locates": [{"id": "l1", "run": "R1", "at": 10, "position": [2481010, 310000], "depth": 8.25}],
    "ratings": [{"id": "g1", "pipe": "P1", "runs": ["R1", "R2"], "aspect": "structural", "peak": 3, "mean": 2.5}],
    "runs": [
        {
            "id": "R1", "pipe": "P1", "from": "LM-1", "to": "LM-2", "direction": "downstream", "operator": "=2",
            "equipment": ["crawler", "a;b"], "started": "2026-05-06T09:31:00-05:00",
            "counter": {"zero": "structure-centre", "offset": -0.3, "checks": [{"reading": 50, "known": 50.2}]},
            "observations": [
                {"id": "1", "at": 0, "code": "run.start", "clock": {}},
                {
                    "id": "2", "at": 1e-7, "to": 44.2, "continuous": True, "code": "crack.longitudinal",
                    "characterisation": ["A", "+;\\"], "quantities": [{"value": 3, "unit": "mm"}, {"value": 0.1, "unit": "percent"}],
                    "clock": {"from": 11, "to": 1}, "joint": False, "joins": "P2", "grades": {"structural": 3},
                    "remark": "@see \"photo\"\r\n\tTRUE \U0001f6bd", "media": [{"id": "m1", "offset": 63.5}],
                },
            ],
        },
        {"id": "R2", "pipe": "P1", "direction": "upstream", "reverse_of": "R1", "observations": [{"id": "1", "at": 0, "code": "run.start"}]},
    ],
}
MINIMAL = {key: WHOLE[key] for key in ("obvert", "id", "issued", "units", "coding")}

# What is changed in the package of WHOLE: what it is, the file, and how its rows (dictionaries by heading) are changed; then the error that
# frictionless must name (None where Table Schema has no means to see it), and what our reader must say (None where the document stays
# a valid one, since a reference to something that is not in the document is a finding of `obvert check`, not an error in the tables).


def put(row, heading, value):
    return lambda rows: rows[row].__setitem__(heading, value)


def double(row, **changes):
    return lambda rows: rows.append({**rows[row], **changes})


# Lines are those of the file: a cell with a line break in it takes two.
MUTATIONS = [
    ("text in place of a number", "observations.csv", put(0, "at", "start"), "type-error", "observations.csv:2:3 (column at)"),
    ("a decimal comma", "observations.csv", put(1, "to", "44,2"), "type-error", "observations.csv:3:4 (column to)"),
    ("a fraction in place of a whole number", "pipes.csv", put(0, "laid", "1962.5"), "type-error", "pipes.csv:2:"),
    ("a truth that is none", "observations.csv", put(1, "joint", "no"), "type-error", "observations.csv:3:"),
    ("extensions that are not JSON", "document.csv", put(0, "extensions", "{org.example}"), "type-error", "document.csv:2:"),
    ("an unknown word", "runs.csv", put(0, "direction", "down"), "constraint-error", "runs.csv:2:5 (column direction)"),
    ("a word in capitals", "structures.csv", put(0, "kind", "Manhole"), "constraint-error", "structures.csv:2:2 (column kind)"),
    ("a grade above what can stand there", "observations.csv", put(1, "grades.structural", "256"), "constraint-error", "observations.csv:3:"),
    ("a number that JSON readers differ on", "observations.csv", put(1, "to", "9007199254740993"), "constraint-error", "observations.csv:3:4 (column to)"),
    ("a time without its offset", "runs.csv", put(0, "started", "2026-05-06T09:31:00"), "constraint-error", "runs.csv:2:"),
    ("a date of another form", "equipment.csv", put(0, "calibrated", "05/01/2026"), "constraint-error", "equipment.csv:2:"),
    ("a required value is missing", "runs.csv", put(1, "pipe", ""), "constraint-error", "runs.csv:3:2 (column pipe)"),
    ("a required unit is missing", "document.csv", put(0, "units.length", ""), "constraint-error", "document.csv:2:"),
    ("a quantity without a unit", "quantities.csv", put(0, "unit", ""), "constraint-error", "quantities.csv:2:5 (column unit)"),
    ("an order of nothing", "quantities.csv", put(0, "order", "0"), "constraint-error", "quantities.csv:2"),
    ("an id twice", "structures.csv", double(0, kind="outfall"), "primary-key", "structures.csv:5:1 (column id)"),
    ("an observation twice", "observations.csv", double(0, at="1.5"), "primary-key", "observations.csv:6:2 (column id)"),
    ("a row twice", "structures.csv", double(0), "primary-key", "structures.csv:5: the row is a duplicate of row 2"),
    ("a row of a run twice", "observations.csv", double(0), "primary-key", "observations.csv:6: the row is a duplicate of row 2"),
    ("an order twice", "quantities.csv", double(0), "primary-key", "quantities.csv:4"),
    ("an observation of a run that is not there", "observations.csv", put(2, "run", "R9"), "foreign-key", "observations.csv:5"),
    ("a quantity of an observation that is not there", "quantities.csv", put(0, "observation", "9"), "foreign-key", "quantities.csv:2"),
    ("a path of a pipe that is not there", "pipe_paths.csv", put(0, "pipe", "P9"), "foreign-key", "pipe_paths.csv:2"),
    ("a check of a run that is not there", "counter_checks.csv", put(0, "run", "R9"), "foreign-key", "counter_checks.csv:2"),
    ("a run of a pipe that is not there", "runs.csv", put(0, "pipe", "P9"), "foreign-key", None),
    ("a pipe to a structure that is not there", "pipes.csv", put(0, "downstream", "LM-9"), "foreign-key", None),
    ("a run that completes none", "runs.csv", put(1, "reverse_of", "R9"), "foreign-key", None),
    ("media that are not there", "observation_media.csv", put(0, "id", "m9"), "foreign-key", None),
    ("half of a position", "structures.csv", put(0, "position.y", ""), None, "structures.csv:2:5 (column position.y)"),
    ("a counter without its zero", "runs.csv", put(0, "counter.zero", ""), None, "runs.csv:2:"),
    ("two documents", "document.csv", double(0, id="another"), None, "document.csv:3"),
]

# The same, as a change of the file's text.
TEXT_MUTATIONS = [
    ("an unknown column", "pipes.csv", lambda text: text.replace("upstream", "upstraem", 1), "extra-label", "pipes.csv:1:2 (column upstraem)"),
    ("a column twice", "quantities.csv", lambda text: text.replace("unit", "value", 1), "error", "quantities.csv:1:5 (column value)"),
    ("a cell too many", "quantities.csv", lambda text: text.replace("\r\nR1", "\r\nR1,R1", 1), "extra-cell", "quantities.csv:2"),
    ("a cell too few", "quantities.csv", lambda text: text.replace(",mm,", ",mm", 1), "missing-cell", "quantities.csv:2"),
    ("semicolons", "quantities.csv", lambda text: text.replace(",", ";"), "missing-label", "quantities.csv:1"),
]


# Which keys hold the id of a row elsewhere, as the specification says; written down here again so that the foreign keys of a package
# are compared with something that does not come from it. Lists of ids stand in one cell, where Table Schema has no foreign keys.
REFERENCES = {
    "parties": {"member_of": "parties"},
    "pipes": {"upstream": "structures", "downstream": "structures", "joins.pipe": "pipes"},
    "media": {"run": "runs"},
    "locates": {"run": "runs"},
    "ratings": {"pipe": "pipes"},
    "runs": {"pipe": "pipes", "from": "structures", "to": "structures", "operator": "parties", "launched.pipe": "pipes", "reverse_of": "runs"},
}


def dangling(document):
    """The ids in a document that name no row, each as often as it stands."""
    ids = {table: {row["id"] for row in document.get(table, [])} for table in [*REFERENCES, "structures"]}
    found = []

    def look(holder, path, table):
        for key in path.split("."):
            holder = holder.get(key, {}) if isinstance(holder, dict) else {}
        if isinstance(holder, str) and holder not in ids[table]:
            found.append(holder)

    look(document, "review.by", "parties")
    look(document, "assignment.owner", "parties")
    for table, paths in REFERENCES.items():
        for row in document.get(table, []):
            for path, target in paths.items():
                look(row, path, target)
    for run in document.get("runs", []):
        for observation in run.get("observations", []):
            look(observation, "joins", "pipes")
            for shown in observation.get("media", []):
                look(shown, "id", "media")
    return found


def rewrite(path, change):
    with open(path, newline="", encoding="utf-8") as file:
        reader = csv.DictReader(file)
        rows, headings = list(reader), reader.fieldnames
    change(rows)
    sink = io.StringIO()
    writer = csv.DictWriter(sink, headings)
    writer.writeheader()
    writer.writerows(rows)
    path.write_bytes(sink.getvalue().encode())


def edit(path, change):
    text = path.read_bytes().decode()
    changed = change(text)
    assert changed != text, path
    path.write_bytes(changed.encode())


def whole(name, document, room):
    """Writes a document as a folder and as a zip, has them judged, and reads them back; gives the folder."""
    source, folder, archive = room / "source.obvert.json", room / "tables", room / "tables.zip"
    made = obvert("convert", document, "-o", source, "--to", "json") if document != source else None
    if made is not None and made.returncode != 0:
        expect(False, f"{name}: {made.stderr.strip()}")
        return None
    for kind, target, form in (("folder", folder, "csv"), ("zip", archive, "csv-zip")):
        written = obvert("convert", source, "-o", target, "--to", form)
        expect(written.returncode == 0, f"{name}: written as a {kind} {written.stderr.strip()}")
        if written.returncode != 0:
            return None
        problems = errors_of(target if kind == "zip" else target / "datapackage.json")
        # A reference to nothing can stand in a document, and then the package must be found to have it too.
        lost = dangling(json.loads(source.read_bytes()))
        broken = [problem for problem in problems if problem[0] == "foreign-key"]
        rest = [problem for problem in problems if problem[0] != "foreign-key"]
        expect(not rest, f"{name}: the {kind} is valid to frictionless {rest[:3] or ''}")
        agreed = len(broken) == len(lost) and all(any(f'"{id}"' in message for _, message in broken) for id in lost)
        expect(agreed, f"{name}: frictionless finds the {len(lost)} references that lead nowhere {'' if agreed else (lost, broken)}")
        again = room / f"again-{kind}.obvert.json"
        read = obvert("convert", target, "-o", again, "--to", "json")
        same = read.returncode == 0 and again.read_bytes() == source.read_bytes()
        expect(same, f"{name}: the {kind} comes back byte for byte {read.stderr.strip()}")
    return folder


def mutated(what, package, file, error, ours, change, how):
    copy = package.parent / "mutated"
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(package, copy)
    how(copy / file, change)
    found = errors_of(copy / "datapackage.json")
    kinds = {kind for kind, _ in found}
    if error is None:
        expect(not found, f"{what}: beyond what Table Schema can say {found[:3] or ''}")
    else:
        expect(error in kinds, f"{what}: frictionless says {error} {'' if error in kinds else found[:3]}")
    target = package.parent / "mutated.obvert.json"
    target.unlink(missing_ok=True)
    archive = package.parent / "mutated.zip"
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as sink:
        for path in sorted(copy.iterdir()):
            sink.write(path, path.name)
    for form in (copy, archive):
        read = obvert("convert", form, "-o", target, "--to", "json")
        if ours is None:
            expect(read.returncode == 0, f"{what}: read, as a document that a check would object to {read.stderr.strip()}")
            target.unlink(missing_ok=True)
        else:
            said = read.returncode == 2 and ours in read.stderr and not target.exists()
            expect(said, f"{what}: our reader says {ours} ({form.suffix or 'folder'}) {'' if said else read.stderr.strip()}")


def main():
    documents = [pathlib.Path(name) for name in sys.argv[1:]]
    if not documents:
        documents = sorted((ROOT / "examples" / "data").glob("*.obvert.json"))
    with tempfile.TemporaryDirectory() as temporary:
        room = pathlib.Path(temporary)
        for name, value in (("a survey with every table", WHOLE), ("a minimal survey", MINIMAL)):
            inside = room / name.replace(" ", "-")
            inside.mkdir()
            given = inside / "given.obvert.json"
            given.write_text(json.dumps(value), encoding="utf-8")
            folder = whole(name, given, inside)
            if value is WHOLE and folder is not None:
                for what, file, change, error, ours in MUTATIONS:
                    mutated(what, folder, file, error, ours, change, rewrite)
                for what, file, change, error, ours in TEXT_MUTATIONS:
                    mutated(what, folder, file, error, ours, change, edit)
        for number, document in enumerate(documents):
            inside = room / str(number)
            inside.mkdir()
            whole(document.name, document.resolve(), inside)
    print(f"{len(FAILED)} failed" if FAILED else "all as it should be")
    return 1 if FAILED else 0


if __name__ == "__main__":
    sys.exit(main())
