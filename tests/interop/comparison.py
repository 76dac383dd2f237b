"""The findings of the command and of the second reader, side by side; shared by two judges."""

import json
import pathlib
import sys

from command import ROOT, command, run

sys.path.insert(0, str(ROOT / "tests" / "second-reader"))
from claims import together  # noqa: E402
from run import alike  # noqa: E402

TODAY = "2026-06-01"


def reported(names, folder):
    """The facts of the command's findings by rule and pointer, document by document.

    None for a document that it cannot check.
    """
    listed = [pathlib.Path(folder, name) for name in names]
    ended = run(*command(), "check", *listed, "--today", TODAY, "--format", "json", "--all")
    if not ended.stdout:
        raise RuntimeError(f"no report, status {ended.returncode}: {ended.stderr}")
    report = json.loads(ended.stdout)
    found = [{} for _ in names]
    for finding in report["findings"]:
        place, key = finding.get("document", 0), (finding["rule"], finding["path"])
        facts = finding.get("params", {})
        if key in found[place]:
            facts = together(found[place][key], facts)
        found[place][key] = facts
    for not_run in report.get("not_run", []):
        if len(not_run["rules"]) > 100:
            for place in not_run.get("documents", []):
                found[place] = None
    return found


def differences(ours, theirs, name, facts=True):
    """What only the reader or only `name` has, and the facts that differ."""
    for rule, path in sorted(ours.keys() ^ theirs.keys()):
        only = "the reader" if (rule, path) in ours else name
        yield f"{rule} at {path!r}: only {only}"
    for rule, path in sorted(ours.keys() & theirs.keys()) if facts else ():
        one, two = ours[rule, path], theirs[rule, path]
        for fact in sorted(one.keys() | two.keys()):
            if not alike(one.get(fact), two.get(fact)):
                states = f"{one.get(fact)} to the reader and {two.get(fact)} to {name}"
                yield f"{rule} at {path!r}: {fact} is {states}"


def agreeing(ours, theirs):
    """The rule of every finding that both have."""
    return [rule for rule, _ in ours.keys() & theirs.keys()]
