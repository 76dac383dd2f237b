#!/usr/bin/env python3
"""Hold the command against a second implementation of the specification, written in another language from the text of spec/ and the
files in schema/ alone: the canonical form with its digest, and the rules listed in CLAIMED.

    OBVERT=target/debug/obvert python3 tests/interop/test_spec.py

OBVERT is the command to run (it may have arguments); without it, cargo builds and runs it. Exit status 0 if all agrees, 1 if not.

Both judge every document of tests/corpus/rules, and the surveys of examples/data, tests/data and tests/corpus. For the rules claimed
they must agree on every finding's rule and pointer, and the second one with what the suite expects, whatever the command says. The
second one also writes the numbers and the texts of tests/corpus/canonical, with their digests. Each function names the chapter that
it follows.
"""

import copy
import hashlib
import json
import os
import pathlib
import re
import shlex
import struct
import subprocess
import sys
import tempfile

# The package is beside this file, wherever it is run from.
sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
from second.basics import canonical, content, number  # noqa: E402
from second.survey import Survey  # noqa: E402

ROOT = pathlib.Path(__file__).resolve().parents[2]
CORPUS = ROOT / "tests" / "corpus"
TODAY = "2026-06-01"
# Whatever the second implementation can report.
SOURCE = "".join(path.read_text(encoding="utf-8") for path in sorted((ROOT / "tests/interop/second").glob("*.py")))
CLAIMED = set(re.findall(r'report\(\s*"([a-z-]+)"', SOURCE))
CLAIMED |= {f"unknown-{kind}" for kind in ("party", "pipe", "structure", "run", "equipment", "media")}


def patched(document, patch):
    """JSON Patch (RFC 6902)."""
    document = copy.deepcopy(document)

    def place(pointer):
        tokens = [token.replace("~1", "/").replace("~0", "~") for token in pointer.split("/")[1:]]
        holder = document
        for token in tokens[:-1]:
            holder = holder[int(token)] if isinstance(holder, list) else holder[token]
        key = tokens[-1]
        if isinstance(holder, list):
            key = len(holder) if key == "-" else int(key)
        return holder, key

    def add(pointer, value):
        holder, key = place(pointer)
        if isinstance(holder, list):
            holder.insert(key, value)
        else:
            holder[key] = value

    def remove(pointer):
        holder, key = place(pointer)
        return holder.pop(key)

    for operation in patch:
        kind, path = operation["op"], operation["path"]
        if kind == "add":
            add(path, copy.deepcopy(operation["value"]))
        elif kind == "replace":
            holder, key = place(path)
            holder[key] = copy.deepcopy(operation["value"])
        elif kind == "remove":
            remove(path)
        elif kind == "move":
            add(path, remove(operation["from"]))
        elif kind == "copy":
            holder, key = place(operation["from"])
            add(path, copy.deepcopy(holder[key]))
        else:
            raise ValueError(kind)
    return document


def documents():
    """Every survey to be judged, by a name, with what the suite expects of it or None."""
    bases = {}
    for path in sorted((CORPUS / "rules").glob("*.json")):
        for case in read(path)["cases"]:
            base = bases.setdefault(case["base"], read(CORPUS / case["base"]))
            expected = {(finding["rule"], finding["pointer"]) for finding in case["expect"]}
            expected |= {(rule, pointer) for rule, pointers in case.get("also", {}).items() for pointer in pointers}
            # Limits, and another date of today, are for whoever can set them.
            plain = not {"limits", "today"} & set(case.get("settings", {}))
            yield case["id"], patched(base, case["patch"]), expected if plain else None
    for folder in ("examples/data", "tests/data", "tests/corpus", "tests/corpus/bases"):
        for path in sorted((ROOT / folder).glob("*.obvert.json")):
            yield path.name, read(path), None


def read(path):
    return json.loads(path.read_text(encoding="utf-8"))


def command():
    if "OBVERT" in os.environ:
        return shlex.split(os.environ["OBVERT"])
    return ["cargo", "run", "--quiet", "--manifest-path", str(ROOT / "Cargo.toml"), "--bin", "obvert", "--"]


def main():
    wrong, judged, held, found_by = [], 0, 0, {}
    with tempfile.TemporaryDirectory() as folder:
        surveys = list(documents())
        names = [f"{number:04}.obvert.json" for number in range(len(surveys))]
        for name, (_, document, _) in zip(names, surveys):
            (pathlib.Path(folder) / name).write_text(json.dumps(document), encoding="utf-8")
        run = lambda *arguments: subprocess.run([*command(), *arguments], capture_output=True, cwd=folder, encoding="utf-8").stdout
        report = json.loads(run("check", *names, "--today", TODAY, "--format", "json"))
        theirs = [set() for _ in names]
        problems = set()
        for finding in report["findings"]:
            place = finding.get("document", 0)
            theirs[place].add((finding["rule"], finding["path"]))
        unread = {place for not_run in report.get("not_run", []) if len(not_run["rules"]) > 100 for place in not_run.get("documents", [])}
        for place, (what, document, expected) in enumerate(surveys):
            if place in unread:
                continue
            # What the map says of units is beyond this implementation; where it says that they are wrong, other rules stand back.
            if {rule for rule, _ in theirs[place]} & {"length-unit-suspect", "crs-unit-suspect"}:
                continue
            survey = Survey(document)
            # It does not grade over links to another code list.
            left_out = {"grade-missing", "rating-contradicts"} if survey.list and not survey.scheme else set()
            claimed = CLAIMED - left_out
            ours = {one for one in survey.check() if one[0] in claimed}
            command_says = {one for one in theirs[place] if one[0] in claimed}
            for rule, path in ours ^ command_says:
                who = "only here" if (rule, path) in ours else "only the command"
                wrong.append(f"{what}: {rule} at {path!r}: {who}")
            if expected is not None:
                for rule, path in ours ^ {one for one in expected if one[0] in claimed}:
                    who = "only here" if (rule, path) in ours else "only the suite"
                    wrong.append(f"{what}: {rule} at {path!r}: {who}")
                held += 1
            judged += 1
            for rule, _ in ours & command_says:
                found_by[rule] = found_by.get(rule, 0) + 1
        digests = dict(reversed(line.split("  ", 1)) for line in run("digest", *names).splitlines())
        for name, (what, document, _) in zip(names, surveys):
            if name in digests:
                digest = hashlib.sha256(canonical(content(document)).encode()).hexdigest()
                if digests[name] != f"sha-256:{digest}":
                    wrong.append(f"{what}: digest {digests[name]}, here {digest}")
    for case in read(CORPUS / "canonical/manifest.json")["cases"]:
        if case["kind"] == "number":
            value = struct.unpack(">d", bytes.fromhex(case["bits"]))[0]
            if number(value) != case["text"]:
                wrong.append(f"{case['id']}: {number(value)} here, {case['text']} in the suite")
        elif case["kind"] == "text":
            text = canonical(content(json.loads(case["input"].removeprefix("\ufeff"))))
            digest = f"sha-256:{hashlib.sha256(text.encode()).hexdigest()}"
            if (text, digest) != (case["canonical"], case["digest"]):
                wrong.append(f"{case['id']}: {text} with {digest} here, {case['canonical']} in the suite")
    silent = sorted(CLAIMED - set(found_by))
    if silent:
        wrong.append(f"rules that were claimed and found nothing anywhere: {silent}")
    print("\n".join(wrong))
    print(f"{judged} surveys, {held} of them held against the suite, {len(digests)} digests, {len(CLAIMED)} rules, {sum(found_by.values())} findings alike, {len(wrong)} differences")
    return 1 if wrong or judged < 700 or held < 700 else 0


def test_the_specification_is_enough():
    assert main() == 0


if __name__ == "__main__":
    sys.exit(main())
