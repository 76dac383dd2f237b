#!/usr/bin/env python3
"""Run the second reader (tests/second-reader) over the conformance suite, and compare it with the
command on surveys that are changed at random: the text of the specification also decides where
the suite has no case.

    OBVERT=target/debug/obvert python3 tests/interop/test_second_reader.py [SURVEYS [SEED]]

OBVERT is the command to run (it may have arguments); without it, cargo builds and runs it. Exit
status 0 if all agrees, 1 if not. The random surveys are the same every time; another SEED gives
others. With KEEP=FOLDER they are written there.
"""

import json
import os
import pathlib
import re
import sys
import tempfile

from changes import READER, surveys
from command import command, run
from comparison import agreeing, differences, reported

from claims import CLAIMED, check  # noqa: E402, since `changes` makes the reader importable
from survey import Survey  # noqa: E402

# Mistakes that the suite must find, by the part that finds them.
MISTAKES = {
    "structure": "reading.DEEPEST = 99",
    "vectors": "figures.mirrored = lambda hour: hour",
    "grades": "rollup.times_counted = lambda metres, interval: 1",
    "rules": "figures.tolerance = lambda metres: 1.0",
}


def suite():
    """The reader agrees with the suite, and a reader with a mistake does not."""
    wrong = []
    agrees = run(sys.executable, READER / "run.py")
    print(agrees.stdout)
    if agrees.returncode != 0:
        wrong.append(f"the reader disagrees with the suite\n{agrees.stderr}")
    program = (
        f"import sys; sys.path.insert(0, {str(READER)!r}); import figures, reading, rollup; "
        f"{'; '.join(MISTAKES.values())}; import run; sys.exit(run.main([]))"
    )
    mistaken = run(sys.executable, "-c", program)
    counted = dict(re.findall(r"(?m)^(\w+): (\d+ cases run, \d+ agreed)", mistaken.stdout))
    for part, mistake in MISTAKES.items():
        cases, agreed = re.findall(r"\d+", counted.get(part, "0 0"))
        if cases == agreed:
            wrong.append(f"a reader with {mistake!r} passes")
    return wrong


def against_the_command(count, seed):
    """Both find the same at the same pointers, with the same facts."""
    wrong, found_by = [], {}
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(os.environ.get("KEEP", folder))
        documents = list(surveys(count, seed))
        names = [f"{place:05}.obvert.json" for place in range(count)]
        for name, survey in zip(names, documents):
            (folder / name).write_text(json.dumps(survey), "utf-8")
        for name, survey, theirs in zip(names, documents, reported(names, folder)):
            ours = {key: facts for key, (_, facts) in check(Survey(survey)).items()}
            theirs = {key: facts for key, facts in theirs.items() if key[0] in CLAIMED}
            wrong += [f"{name}: {line}" for line in differences(ours, theirs, "the command")]
            for rule in agreeing(ours, theirs):
                found_by[rule] = found_by.get(rule, 0) + 1
    print(
        f"{count} surveys changed at random: {sum(found_by.values())} findings alike, "
        f"of {len(found_by)} rules; {len(wrong)} differences"
    )
    if len(found_by) < 80:
        wrong.append(f"only {len(found_by)} rules found anything")
    return wrong


def main(count=1000, seed=14):
    wrong = suite() + against_the_command(count, seed)
    print("\n".join(wrong[:60]))
    return 1 if wrong else 0


def test_the_specification_is_enough_for_a_second_reader():
    assert main() == 0


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:])))
