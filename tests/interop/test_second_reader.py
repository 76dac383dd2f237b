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
import re
import shlex
import subprocess
import sys
import tempfile

# The generator is beside this file, wherever it is run from.
sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
from changes import READER, surveys  # noqa: E402
from claims import CLAIMED, check  # noqa: E402
from run import alike  # noqa: E402
from survey import Survey  # noqa: E402

COMMAND = shlex.split(os.environ.get("OBVERT", "cargo run --quiet --"))


def suite():
    """The reader agrees with the suite, and a reader with a mistake does not."""
    wrong = []
    agrees = subprocess.run(
        [sys.executable, str(READER / "run.py")], capture_output=True, text=True, check=False
    )
    print(agrees.stdout)
    if agrees.returncode != 0:
        wrong.append(f"the reader disagrees with the suite\n{agrees.stderr}")
    slips = {
        "structure": "reading.DEEPEST = 99",
        "vectors": "figures.mirrored = lambda hour: hour",
        "rules": "figures.tolerance = lambda metres: 1.0",
    }
    program = f"import sys; sys.path.insert(0, {str(READER)!r}); import figures, reading; {'; '.join(slips.values())}; import run; sys.exit(run.main([]))"
    mistaken = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False
    )
    counted = dict(re.findall(r"(?m)^(\w+): (\d+ cases run, \d+ agreed)", mistaken.stdout))
    for part, slip in slips.items():
        run, agreed = re.findall(r"\d+", counted.get(part, "0 0"))
        if run == agreed:
            wrong.append(f"a reader with {slip!r} passes")
    return wrong


def against_the_command(count, seed):
    """Both find the same at the same places, with the same facts."""
    wrong, agreed, found_by = [], 0, {}
    with tempfile.TemporaryDirectory() as folder:
        documents = list(surveys(count, seed))
        names = []
        for place, survey in enumerate(documents):
            names.append(f"{place:05}.obvert.json")
            pathlib.Path(folder, names[-1]).write_text(json.dumps(survey), "utf-8")
        report = subprocess.run(
            [*COMMAND, "check", *names, "--today", "2026-06-01", "--format", "json", "--all"],
            cwd=folder,
            capture_output=True,
            text=True,
            check=False,
        )
        theirs = [{} for _ in documents]
        for finding in json.loads(report.stdout)["findings"]:
            if finding["rule"] in CLAIMED:
                found, key = theirs[finding.get("document", 0)], (finding["rule"], finding["path"])
                if key in found:
                    wrong.append(
                        (
                            key[0],
                            f"document {finding.get('document', 0)}: {key[0]} at {key[1]!r}: two findings of the command",
                        )
                    )
                found[key] = finding.get("params", {})
        for place, survey in enumerate(documents):
            ours = {key: facts for key, (_, facts) in check(Survey(survey)).items()}
            for rule, path in ours.keys() ^ theirs[place].keys():
                who = "only the reader" if (rule, path) in ours else "only the command"
                wrong.append((rule, f"{names[place]}: {rule} at {path!r}: {who}"))
            for key in ours.keys() & theirs[place].keys():
                agreed += 1
                found_by[key[0]] = found_by.get(key[0], 0) + 1
                for name in ours[key].keys() | theirs[place][key].keys():
                    one, other = ours[key].get(name), theirs[place][key].get(name)
                    if not alike(one, other):
                        wrong.append(
                            (
                                key[0],
                                f"{names[place]}: {key[0]} at {key[1]!r}: {name} is {one} to the reader and {other} to the command",
                            )
                        )
        if os.environ.get("KEEP"):
            for name in names:
                pathlib.Path(os.environ["KEEP"], name).write_bytes(
                    pathlib.Path(folder, name).read_bytes()
                )
    print(
        f"{count} surveys changed at random: {agreed} findings alike, of {len(found_by)} rules; {len(wrong)} differences"
    )
    if len(found_by) < 60:
        wrong.append(("", f"only {len(found_by)} rules found anything"))
    return wrong


def main(count=1000, seed=14):
    wrong = [("", line) for line in suite()] + against_the_command(count, seed)
    for _, line in wrong[:60]:
        print(line)
    return 1 if wrong else 0


def test_the_specification_is_enough_for_a_second_reader():
    assert main() == 0


if __name__ == "__main__":
    sys.exit(main(*(int(argument) for argument in sys.argv[1:])))
