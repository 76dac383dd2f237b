#!/usr/bin/env python3
"""Compare the command with the second reader (tests/second-reader), which was written from spec/ and schema/ alone: the findings of
the rules that it claims, and digests.

    OBVERT=target/debug/obvert python3 tests/interop/test_spec.py

OBVERT is the command to run (it may have arguments); without it, cargo builds and runs it. Exit status 0 if all agrees, 1 if not.

Both check every document of tests/corpus/rules, and the surveys of examples/data, tests/data and tests/corpus. They must agree on
rule, pointer and facts of every finding, and the reader with what the suite expects, whatever the command reports.
"""

import json
import pathlib
import sys
import tempfile

from command import ROOT, command, run

sys.path.insert(0, str(ROOT / "tests" / "second-reader"))
import canonical  # noqa: E402
import reading  # noqa: E402
from claims import CLAIMED, check  # noqa: E402
from run import alike, canonical_forms, cases_of_rules, expected  # noqa: E402
from survey import Survey  # noqa: E402

TODAY = "2026-06-01"
# What the map shows of units is beyond the reader; if it shows that they are wrong, other rules are skipped.
BY_MAP = {"length-unit-suspect", "crs-unit-suspect"}


def documents():
    """Every survey to be checked, by a name, with the rules and pointers that the suite expects of it or None."""
    for case, document in cases_of_rules():
        # Limits, and another date of today, are for those who can set them.
        plain = not {"limits", "today"} & set(case.get("settings", {}))
        yield case["id"], document, set(expected(case)) if plain else None
    for folder in ("examples/data", "tests/data", "tests/corpus", "tests/corpus/bases"):
        for path in sorted((ROOT / folder).glob("*.obvert.json")):
            yield path.name, reading.parse(path.read_bytes()), None


def reported(names, folder):
    """What the command reports of each document: the facts of its findings by rule and pointer, or None if it cannot read it."""
    listed = [pathlib.Path(folder, name) for name in names]
    report = json.loads(
        run(*command(), "check", *listed, "--today", TODAY, "--format", "json", "--all").stdout
    )
    found = [{} for _ in names]
    for finding in report["findings"]:
        found[finding.get("document", 0)][finding["rule"], finding["path"]] = finding.get(
            "params", {}
        )
    for not_run in report.get("not_run", []):
        if len(not_run["rules"]) > 100:
            for place in not_run.get("documents", []):
                found[place] = None
    return found


def differences(ours, theirs, other):
    for rule, path in sorted(ours.keys() ^ theirs.keys()):
        yield f"{rule} at {path!r}: {'only the reader' if (rule, path) in ours else f'only {other}'}"


def facts_differ(ours, theirs):
    for rule, path in sorted(ours.keys() & theirs.keys()):
        one, two = ours[rule, path], theirs[rule, path]
        for name in sorted(one.keys() | two.keys()):
            if not alike(one.get(name), two.get(name)):
                yield f"{rule} at {path!r}: {name} is {one.get(name)} to the reader and {two.get(name)} to the command"


def main():
    wrong, judged, held, found_by = [], 0, 0, {}
    with tempfile.TemporaryDirectory() as folder:
        surveys = list(documents())
        names = [f"{number:04}.obvert.json" for number in range(len(surveys))]
        for name, (_, document, _) in zip(names, surveys):
            pathlib.Path(folder, name).write_text(json.dumps(document), encoding="utf-8")
        for (what, document, suite), theirs in zip(surveys, reported(names, folder)):
            if theirs is None:
                continue
            survey = Survey(document)
            if not survey.lengths_doubtful and {rule for rule, _ in theirs} & BY_MAP:
                continue
            ours = {key: facts for key, (_, facts) in check(survey).items()}
            theirs = {key: facts for key, facts in theirs.items() if key[0] in CLAIMED}
            wrong += [f"{what}: {line}" for line in differences(ours, theirs, "the command")]
            wrong += [f"{what}: {line}" for line in facts_differ(ours, theirs)]
            if suite is not None:
                suite = dict.fromkeys(key for key in suite if key[0] in CLAIMED)
                wrong += [f"{what}: {line}" for line in differences(ours, suite, "the suite")]
                held += 1
            judged += 1
            for rule, _ in ours.keys() & theirs.keys():
                found_by[rule] = found_by.get(rule, 0) + 1
        lines = run(
            *command(), "digest", *(pathlib.Path(folder, name) for name in names)
        ).stdout.splitlines()
        digests = {
            pathlib.Path(line.split("  ", 1)[1]).name: line.split("  ", 1)[0] for line in lines
        }
        for name, (what, document, _) in zip(names, surveys):
            digest = canonical.digest(document)
            if name in digests and digests[name] != digest:
                wrong.append(
                    f"{what}: the digest is {digest} to the reader and {digests[name]} to the command"
                )
    for name, lines in canonical_forms():
        wrong += [f"{name}: {line}" for line in lines or ()]
    silent = sorted(CLAIMED.keys() - found_by.keys())
    if silent:
        wrong.append(f"rules that were claimed and found nothing anywhere: {silent}")
    print("\n".join(wrong))
    print(
        f"{judged} surveys, {held} of them compared with the suite, {len(digests)} digests, {len(CLAIMED)} rules, "
        f"{sum(found_by.values())} findings alike, {len(wrong)} differences"
    )
    return 1 if wrong or judged < 900 or held < 900 or len(digests) < 900 else 0


def test_the_specification_is_enough():
    assert main() == 0


if __name__ == "__main__":
    sys.exit(main())
