#!/usr/bin/env python3
"""Run the second reader (tests/second-reader) over the conformance suite, and hold it against the command on surveys that are
changed at random, so that the text of the specification decides also where the suite is silent.

    OBVERT=target/debug/obvert python3 tests/interop/test_second_reader.py [SURVEYS [SEED]]

OBVERT is the command to run (it may have arguments); without it, cargo builds and runs it. Exit status 0 if all agrees, 1 if not.
The random surveys are the same every time; another SEED gives others.
"""

import json
import os
import pathlib
import random
import re
import shlex
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[2]
READER = ROOT / "tests" / "second-reader"
sys.path.insert(0, str(READER))
import reading  # noqa: E402
from claims import CLAIMED, check  # noqa: E402
from survey import Survey  # noqa: E402

COMMAND = shlex.split(os.environ.get("OBVERT", "cargo run --quiet --"))
BASES = [ROOT / "tests/corpus/bases/minimal.obvert.json", ROOT / "tests/corpus/bases/metres.obvert.json"]
WORDS = {
    "direction": ["downstream", "upstream"],
    "kind": ["reached", "stopped", "met"],
    "zero": ["structure-centre", "structure-wall", "pipe-end", "access-fitting"],
    "method": ["camera", "pole"],
    "length_between": ["centres", "walls", "ends"],
    "reason": ["collapse", "roots", "obstacle"],
}
NUMBERS = ("at", "to", "surveyed", "length", "offset", "reads", "resolution", "reading", "known", "joint_spacing", "cable_length", "from")


def suite():
    """The reader agrees with the suite, and a reader with a mistake does not."""
    wrong = []
    agrees = subprocess.run([sys.executable, str(READER / "run.py")], capture_output=True, text=True, check=False)
    print(agrees.stdout)
    if agrees.returncode != 0:
        wrong.append(f"the reader disagrees with the suite\n{agrees.stderr}")
    slips = {"structure": "reading.DEEPEST = 99", "vectors": "figures.mirrored = lambda hour: hour", "rules": "figures.tolerance = lambda metres: 1.0"}
    program = f"import sys; sys.path.insert(0, {str(READER)!r}); import figures, reading; {'; '.join(slips.values())}; import run; sys.exit(run.main([]))"
    mistaken = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False)
    counted = dict(re.findall(r"(?m)^(\w+): (\d+ cases run, \d+ agreed)", mistaken.stdout))
    for part, slip in slips.items():
        run, agreed = re.findall(r"\d+", counted.get(part, "0 0"))
        if run == agreed:
            wrong.append(f"a reader with {slip!r} passes")
    return wrong


def objects(value):
    """Every object of the runs, pipes and equipment, below extensions none."""
    if isinstance(value, dict):
        yield value
        for key, below in value.items():
            if key != "extensions":
                yield from objects(below)
    elif isinstance(value, list):
        for below in value:
            yield from objects(below)


def number(chance, old, others):
    new = chance.choice([
        lambda: old * 10, lambda: old / 10, lambda: old * 3.28084, lambda: old * 0.3048, lambda: old + chance.choice([0.1, 1, 1.1, -0.5, -3]),
        lambda: chance.choice(others), lambda: 0, lambda: -old, lambda: chance.uniform(0, 1.2) * max(others, default=1),
        lambda: old * chance.uniform(0.9, 1.1),
    ])()
    return round(new, chance.choice([0, 1, 2, 6]))


def change(chance, survey):
    """One change to a survey, as a slip of the hand or a program might make it."""
    runs = survey["runs"]
    run = chance.choice(runs)
    rows = run.get("observations", [])
    kind = chance.randrange(13)
    if kind < 4:
        places = [(item, key) for table in ("runs", "pipes", "equipment") for item in objects(survey[table]) for key in item
                  if key in NUMBERS and isinstance(item[key], (int, float))]
        holder, key = chance.choice(places)
        if key in ("at", "from", "to") and chance.random() < 0.6:
            holder, key = chance.choice([(holder, key) for holder, key in places if key == "at"])
        others = [item[name] for item, name in places if name == key] or [1]
        holder[key] = number(chance, holder[key], others)
        if key in ("length", "resolution", "joint_spacing", "cable_length") and holder[key] <= 0:
            holder[key] = 0.5
    elif kind == 4 and rows:
        row = chance.choice(rows)
        row["to"] = chance.choice([row["at"], round(row["at"] + chance.uniform(-5, 40), 1)])
        if chance.random() < 0.7:
            row["continuous"] = True
        if chance.random() < 0.2:
            del row["to"]
    elif kind == 5 and rows:
        row = chance.choice(rows)
        hour = lambda: chance.choice([1, 3, 6, 9, 12, 12.5, 0, 0.5, 13, 4.25])
        row["clock"] = chance.choice([{"at": hour()}, {"from": hour(), "to": hour()}, {"from": 3, "to": 3}, {"at": 3, "from": 3, "to": 3}])
    elif kind == 6:
        holder, key = chance.choice([(item, key) for table in ("runs", "pipes") for item in objects(survey[table]) for key in item if key in WORDS])
        holder[key] = chance.choice(WORDS[key])
        if key == "kind" and "reason" in holder and holder["kind"] != "stopped":
            del holder["reason"]
    elif kind == 7 and rows:
        first, second = chance.randrange(len(rows)), chance.randrange(len(rows))
        rows.insert(second, rows.pop(first))
    elif kind == 8 and rows:
        copied = dict(chance.choice(rows), id=f"{chance.randrange(10**6)}x")
        copied["code"] = chance.choice([row["code"] for row in rows] + ["crack.longitudinal", "joint.open", "no.such"])
        if chance.random() < 0.3:
            copied["joint"] = True
        rows.insert(chance.randrange(len(rows) + 1), copied)
    elif kind == 9:
        holder, key = chance.choice([(item, key) for item in objects(runs) for key in item if key not in ("id", "pipe", "direction", "code", "at", "kind", "zero", "known", "reading", "unit", "value")])
        del holder[key]
        if key == "observations":
            holder[key] = []
    elif kind == 10:
        ids = [row["id"] for table in ("runs", "structures", "pipes") for row in survey[table]]
        run[chance.choice(["reverse_of", "from", "to", "operator", "pipe"])] = chance.choice([*ids, "nobody"])
    elif kind == 11:
        twin = json.loads(json.dumps(run))
        twin["id"] = f"{run['id']}-{chance.randrange(1000)}"
        if chance.random() < 0.5:
            twin["direction"] = chance.choice(WORDS["direction"])
        runs.append(twin)
    elif kind == 12:
        table = chance.choice(["parties", "equipment", "media", "structures", "pipes"])
        survey[table] = survey[table][: chance.randrange(len(survey[table]) + 1)] if survey[table] else []


def surveys(count, seed):
    chance = random.Random(seed)
    bases = [path.read_text("utf-8") for path in BASES]
    while count:
        survey = json.loads(chance.choice(bases))
        # What positions say of lengths is beyond the reader.
        survey.pop("crs", None)
        for table in ("structures", "pipes", "locates"):
            for row in survey.get(table, []):
                row.pop("position", None)
                row.pop("path", None)
        survey.pop("locates", None)
        if chance.random() < 0.15:
            for row in survey["pipes"]:
                row["length_between"] = "centres"
        for _ in range(chance.choice([1, 1, 2, 2, 3, 4, 6])):
            change(chance, survey)
        if all(kind == "duplicate-id" for kind, _ in reading.problems(survey)):
            count -= 1
            yield survey


def against_the_command(count, seed):
    """Both find the same at the same places, with the same facts."""
    wrong, alike, found_by = [], 0, {}
    with tempfile.TemporaryDirectory() as folder:
        documents = list(surveys(count, seed))
        names = []
        for place, survey in enumerate(documents):
            names.append(f"{place:05}.obvert.json")
            pathlib.Path(folder, names[-1]).write_text(json.dumps(survey), "utf-8")
        report = subprocess.run([*COMMAND, "check", *names, "--today", "2026-06-01", "--format", "json", "--all"],
                                cwd=folder, capture_output=True, text=True, check=False)
        theirs = [{} for _ in documents]
        for finding in json.loads(report.stdout)["findings"]:
            if finding["rule"] in CLAIMED:
                theirs[finding.get("document", 0)][finding["rule"], finding["path"]] = finding.get("params", {})
        for place, survey in enumerate(documents):
            ours = {key: facts for key, (_, facts) in check(Survey(survey)).items()}
            for rule, path in ours.keys() ^ theirs[place].keys():
                who = "only the reader" if (rule, path) in ours else "only the command"
                wrong.append((rule, f"{names[place]}: {rule} at {path!r}: {who}"))
            for key in ours.keys() & theirs[place].keys():
                alike += 1
                found_by[key[0]] = found_by.get(key[0], 0) + 1
                for name in ours[key].keys() | theirs[place][key].keys():
                    one, other = ours[key].get(name), theirs[place][key].get(name)
                    numbers = all(isinstance(value, (int, float)) for value in (one, other))
                    if one != other and not (numbers and abs(one - other) <= 1e-9 * max(1.0, abs(other))):
                        wrong.append((key[0], f"{names[place]}: {key[0]} at {key[1]!r}: {name} is {one} to the reader and {other} to the command"))
        if os.environ.get("KEEP"):
            for name in names:
                pathlib.Path(os.environ["KEEP"], name).write_bytes(pathlib.Path(folder, name).read_bytes())
    print(f"{count} surveys changed at random: {alike} findings alike, of {len(found_by)} rules; {len(wrong)} differences")
    if len(found_by) < 30:
        wrong.append(("", f"only {len(found_by)} rules found anything"))
    return wrong


def main(count=600, seed=14):
    wrong = [("", line) for line in suite()] + against_the_command(count, seed)
    for _, line in wrong[:60]:
        print(line)
    return 1 if wrong else 0


def test_the_specification_is_enough_for_a_second_reader():
    assert main() == 0


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:])))
