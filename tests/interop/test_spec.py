#!/usr/bin/env python3
"""Hold the command against a second implementation of the specification, written in another language from the text of spec/ and the
files in schema/ alone: the canonical form with its digest, and the rules listed in CLAIMED.

    OBVERT=target/debug/obvert python3 tests/interop/test_spec.py

OBVERT is the command to run (it may have arguments); without it, cargo builds and runs it. Exit status 0 if all agrees, 1 if not.

Both judge every example of every rule in spec/rules.md, the demo survey with each mistake of tests/corpus, and the surveys of
examples/data and tests/data. For the rules claimed they must
agree on every finding's rule and pointer. Each function names the chapter that it follows.
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
    """Every survey to be judged, by a name."""
    text = (ROOT / "spec/rules.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```json\n(.*?)```", text, re.S)
    minimal = json.loads(blocks[-1])
    yield "the small valid survey", minimal
    for section in text.split("\n### ")[1:]:
        rule = section.split("\n", 1)[0]
        for nth, block in enumerate(re.findall(r"```json\n(.*?)```", section.split("\n## ")[0], re.S)):
            value = json.loads(block)
            if isinstance(value, list):
                yield f"{rule}, example {nth + 1}", patched(minimal, value)
    larkmoor = json.loads((ROOT / "examples/data/larkmoor.obvert.json").read_text(encoding="utf-8"))
    for mistake in json.loads((ROOT / "tests/corpus/rules/larkmoor.json").read_text(encoding="utf-8"))["cases"]:
        yield f"larkmoor with: {mistake['about']}", patched(larkmoor, mistake["patch"])
    for folder in ("examples/data", "tests/data", "tests/corpus"):
        for path in sorted((ROOT / folder).glob("*.obvert.json")):
            yield path.name, json.loads(path.read_text(encoding="utf-8"))


def command():
    if "OBVERT" in os.environ:
        return shlex.split(os.environ["OBVERT"])
    return ["cargo", "run", "--quiet", "--manifest-path", str(ROOT / "Cargo.toml"), "--bin", "obvert", "--"]


def main():
    wrong, judged, found_by = [], 0, {}
    with tempfile.TemporaryDirectory() as folder:
        surveys = list(documents())
        names = [f"{number:04}.obvert.json" for number in range(len(surveys))]
        for name, (_, document) in zip(names, surveys):
            (pathlib.Path(folder) / name).write_text(json.dumps(document), encoding="utf-8")
        run = lambda *arguments: subprocess.run([*command(), *arguments], capture_output=True, cwd=folder, encoding="utf-8").stdout
        report = json.loads(run("check", *names, "--today", TODAY, "--format", "json"))
        theirs = [set() for _ in names]
        problems = set()
        for finding in report["findings"]:
            place = finding.get("document", 0)
            theirs[place].add((finding["rule"], finding["path"]))
        unread = {place for not_run in report.get("not_run", []) if len(not_run["rules"]) > 100 for place in not_run.get("documents", [])}
        for place, (what, document) in enumerate(surveys):
            if place in unread:
                continue
            # What the map says of units is beyond this implementation; where it says that they are wrong, other rules stand back.
            if {rule for rule, _ in theirs[place]} & {"length-unit-suspect", "crs-unit-suspect"}:
                continue
            ours = {one for one in Survey(document).check() if one[0] in CLAIMED}
            command_says = {one for one in theirs[place] if one[0] in CLAIMED}
            for rule, path in ours ^ command_says:
                who = "only here" if (rule, path) in ours else "only the command"
                wrong.append(f"{what}: {rule} at {path!r}: {who}")
            judged += 1
            for rule, _ in ours & command_says:
                found_by[rule] = found_by.get(rule, 0) + 1
        digests = dict(reversed(line.split("  ", 1)) for line in run("digest", *names).splitlines())
        for name, (what, document) in zip(names, surveys):
            if name in digests:
                digest = hashlib.sha256(canonical(content(document)).encode()).hexdigest()
                if digests[name] != f"sha-256:{digest}":
                    wrong.append(f"{what}: digest {digests[name]}, here {digest}")
    # RFC 8785, appendix B: doubles by their bits, and how they are written.
    for bits, expected in (
        (0x0000000000000000, "0"), (0x8000000000000000, "0"), (0x0000000000000001, "5e-324"), (0x4340000000000000, "9007199254740992"),
        (0x4430000000000000, "295147905179352830000"), (0x44B52D02C7E14AF5, "9.999999999999997e+22"), (0x44B52D02C7E14AF6, "1e+23"),
        (0x444B1AE4D6E2EF4E, "999999999999999700000"), (0x444B1AE4D6E2EF50, "1e+21"), (0x3EB0C6F7A0B5ED8C, "9.999999999999997e-7"),
        (0x3EB0C6F7A0B5ED8D, "0.000001"), (0x41B3DE4355555553, "333333333.3333332"), (0xBECBF647612F3696, "-0.0000033333333333333333"),
        (0x43143FF3C1CB0959, "1424953923781206.2"),
    ):
        value = struct.unpack(">d", bits.to_bytes(8, "big"))[0]
        if number(value) != expected:
            wrong.append(f"RFC 8785, appendix B: {bits:016x} is {number(value)} here, {expected} there")
    silent = sorted(CLAIMED - set(found_by))
    if silent:
        wrong.append(f"rules that were claimed and found nothing anywhere: {silent}")
    print("\n".join(wrong))
    print(f"{judged} surveys, {len(digests)} digests, {len(CLAIMED)} rules, {sum(found_by.values())} findings alike, {len(wrong)} differences")
    return 1 if wrong or judged < 500 else 0


def test_the_specification_is_enough():
    assert main() == 0


if __name__ == "__main__":
    sys.exit(main())
