#!/usr/bin/env python3
"""Hold the schema, read by Python's jsonschema, to the verdict of the reader on some thousand generated cases.

    pip install 'jsonschema>=4.20'
    OBVERT_CASES=cases.jsonl cargo test -p obvert-model --test properties generated_cases
    OBVERT_CASES=cases.jsonl python3 tests/interop/test_cases.py

Without OBVERT_CASES, cargo makes the cases. Each line is one: what kind, where, the source, the verdict of the reader, and what the
schema alone has to say. The two verdicts differ only in the kinds that spec/format/conformance.md lists as beyond a schema. `tests/interop/cases.mjs` does the same with Ajv. Exit status 0 if all agree, 1 if not. pytest can run the file too.
"""

import collections
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile

from jsonschema import Draft202012Validator

ROOT = pathlib.Path(__file__).resolve().parents[2]
# Python counts frames where other validators count levels: 130 lists in each other are not many.
sys.setrecursionlimit(20_000)


def cases():
    path = os.environ.get("OBVERT_CASES")
    if path:
        return pathlib.Path(path).read_text("utf-8").rstrip("\n").split("\n")
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder) / "cases.jsonl"
        command = ["cargo", "test", "--quiet", "-p", "obvert-model", "--test", "properties", "generated_cases"]
        environment = {**os.environ, "OBVERT_CASES": str(path)}
        subprocess.run(command, cwd=ROOT, env=environment, check=True, stdout=subprocess.DEVNULL)
        return path.read_text("utf-8").rstrip("\n").split("\n")


def documented():
    """The kinds that the specification lists as beyond a schema."""
    text = (ROOT / "spec" / "format" / "conformance.md").read_text("utf-8")
    part = text.split("## Beyond the schema", 1)[1].split("\n## ", 1)[0]
    return set(re.findall(r"^\| `([a-z-]+)` ", part, re.MULTILINE))


def judge(lines, schema):
    """Complaints, and per kind how many cases there are and how many the schema accepts and refuses."""
    validator = Draft202012Validator(schema)
    beyond = documented()
    complaints = []
    counts = collections.defaultdict(collections.Counter)
    for line in lines:
        case = json.loads(line)
        verdict = "valid" if validator.is_valid(json.loads(case["source"])) else "invalid"
        counts[case["kind"]][verdict] += 1
        if verdict != case["schema"]:
            complaints.append(f"{case['kind']} at {case['at']}: {verdict}, expected {case['schema']}: {case['source']}")
        # Anything may come to be one of the others.
        if case["schema"] != case["reader"] and case["kind"] not in beyond | {"anything"}:
            complaints.append(f"{case['kind']} is beyond a schema, and spec/format/conformance.md does not say so")
    complaints += [f"no case of {kind}, which spec/format/conformance.md lists" for kind in sorted(beyond - set(counts))]
    return complaints, counts


def noticed(lines, schema):
    """Whether any case gets another verdict by a schema than it should."""
    validator = Draft202012Validator(schema)
    for line in lines:
        case = json.loads(line)
        if validator.is_valid(json.loads(case["source"])) != (case["schema"] == "valid"):
            return True
    return False


def schema():
    return json.loads((ROOT / "schema" / "document.schema.json").read_text("utf-8"))


def careless(whole):
    """The schema with one thing left out that a schema may well lack: the judge has to notice each."""
    def without(change):
        copy = json.loads(json.dumps(whole))
        change(copy)
        return copy

    def everywhere(node, change):
        if isinstance(node, dict):
            change(node)
            for value in node.values():
                everywhere(value, change)
        elif isinstance(node, list):
            for value in node:
                everywhere(value, change)

    def drop(*keywords):
        return lambda copy: everywhere(copy, lambda node: [node.pop(key, None) for key in keywords])

    yield "unknown keys pass", without(drop("additionalProperties", "unevaluatedProperties"))
    yield "empty texts pass", without(drop("minLength"))
    yield "forms pass", without(drop("pattern"))
    yield "large numbers pass", without(drop("maximum"))
    yield "long positions pass", without(drop("maxItems"))
    yield "a version of its own passes", without(lambda copy: copy["$defs"]["FormatVersion"].pop("enum"))
    yield "an observation needs no code", without(lambda copy: copy["$defs"]["Observation"]["required"].remove("code"))
    yield "the grade is needed", without(lambda copy: copy["$defs"]["Observation"]["required"].append("grades"))
    yield "a whole number is needed", without(lambda copy: copy["$defs"]["Observation"]["properties"].update(at={"type": "integer"}))


def test_cases():
    complaints, counts = judge(cases(), schema())
    assert complaints == []
    assert sum(counts.total() for counts in counts.values()) >= 2_000


def main():
    lines = cases()
    complaints, counts = judge(lines, schema())
    total = sum(counter.total() for counter in counts.values())
    print(f"{'kind':<22} {'valid':>8} {'invalid':>8}")
    for kind, counter in sorted(counts.items()):
        print(f"{kind:<22} {counter['valid']:>8} {counter['invalid']:>8}")
    if total < 2_000:
        complaints.append(f"only {total} cases")
    for what, spoilt in careless(schema()):
        if not noticed(lines, spoilt):
            complaints.append(f"no case shows that {what}")
    for complaint in complaints[:20]:
        print(complaint[:400])
    print(f"{total} cases judged, {len(complaints)} complaints")
    return 1 if complaints else 0


if __name__ == "__main__":
    sys.exit(main())
