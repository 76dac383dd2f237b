#!/usr/bin/env python3
"""Compare the command with the second reader (tests/second-reader), which was written from spec/
and schema/ alone: the findings of the rules that it claims, and digests.

    OBVERT=target/debug/obvert python3 tests/interop/test_spec.py

OBVERT is the command to run (it may have arguments); without it, cargo builds and runs it. Exit
status 0 if all agrees, 1 if not.

Both check every document of tests/corpus/rules, and the surveys of examples/data, tests/data and
tests/corpus. They must agree on rule, pointer and facts of every finding, and the reader with
what the suite expects, whatever the command reports.
"""

import json
import pathlib
import sys
import tempfile

from command import ROOT, command, run
from comparison import agreeing, differences, reported

import canonical  # noqa: E402, since `comparison` makes the reader importable
import reading  # noqa: E402
from claims import CLAIMED, check  # noqa: E402
from run import canonical_forms, cases_of_rules, expected  # noqa: E402
from survey import Survey  # noqa: E402

# What the map shows of units is beyond the reader. If units are wrong, other rules are skipped.
BY_MAP = {"length-unit-suspect", "crs-unit-suspect"}


def documents():
    """(name, survey, what the suite expects of it or None) of every survey to be checked."""
    for case, document in cases_of_rules():
        # The command is run with the default limits, and one date of today.
        plain = not {"limits", "today"} & set(case.get("settings", {}))
        yield case["id"], document, expected(case) if plain else None
    for folder in ("examples/data", "tests/data", "tests/corpus", "tests/corpus/bases"):
        for path in sorted((ROOT / folder).glob("*.obvert.json")):
            yield path.name, reading.parse(path.read_bytes()), None


def claimed(findings):
    return {key: facts for key, facts in findings.items() if key[0] in CLAIMED}


def digests(names, folder):
    listed = [pathlib.Path(folder, name) for name in names]
    lines = run(*command(), "digest", *listed).stdout.splitlines()
    pairs = (line.split("  ", 1) for line in lines)
    return {pathlib.Path(file).name: digest for digest, file in pairs}


def main():
    wrong, judged, held, found_by = [], 0, 0, {}
    surveys = list(documents())
    names = [f"{number:04}.obvert.json" for number in range(len(surveys))]
    with tempfile.TemporaryDirectory() as folder:
        for name, (_, document, _) in zip(names, surveys):
            pathlib.Path(folder, name).write_text(json.dumps(document), encoding="utf-8")
        findings, digested = reported(names, folder), digests(names, folder)
    for (what, document, suite), theirs in zip(surveys, findings):
        if theirs is None:
            continue
        survey = Survey(document)
        if not survey.lengths_doubtful and {rule for rule, _ in theirs} & BY_MAP:
            continue
        ours = {key: facts for key, (_, facts) in check(survey).items()}
        theirs = claimed(theirs)
        wrong += [f"{what}: {line}" for line in differences(ours, theirs, "the command")]
        if suite is not None:
            lines = differences(ours, claimed(suite), "the suite", facts=False)
            wrong += [f"{what}: {line}" for line in lines]
            held += 1
        judged += 1
        for rule in agreeing(ours, theirs):
            found_by[rule] = found_by.get(rule, 0) + 1
    for name, (what, document, _) in zip(names, surveys):
        ours, theirs = canonical.digest(document), digested.get(name)
        if theirs not in (None, ours):
            wrong.append(f"{what}: the digest is {ours} to the reader and {theirs} to the command")
    for name, lines in canonical_forms():
        wrong += [f"{name}: {line}" for line in lines or ()]
    silent = sorted(CLAIMED.keys() - found_by.keys())
    if silent:
        wrong.append(f"rules that were claimed and found nothing anywhere: {silent}")
    print("\n".join(wrong))
    print(
        f"{judged} surveys, {held} of them compared with the suite, {len(digested)} digests, "
        f"{len(CLAIMED)} rules, {sum(found_by.values())} findings alike, {len(wrong)} differences"
    )
    return 1 if wrong or judged < 900 or held < 900 or len(digested) < 900 else 0


def test_the_specification_is_enough():
    assert main() == 0


if __name__ == "__main__":
    sys.exit(main())
