"""Runs the parts of the conformance suite that this reader claims, and prints what agrees."""

import copy
import functools
import json
import struct
import sys
from collections import Counter

import canonical
import figures
import reading
import rollup
from claims import CLAIMED, check
from grading import SCHEMES
from survey import Survey

CORPUS = reading.ROOT / "tests/corpus"


def load(path):
    return reading.parse((CORPUS / path).read_bytes())


@functools.cache
def bases(path):
    """The text of a base. Every case parses it, so that its patch changes nothing else."""
    return json.dumps(load(path))


def manifest(path):
    return json.loads((CORPUS / path).read_text("utf-8"))


def step(pointer):
    return [part.replace("~1", "/").replace("~0", "~") for part in pointer.split("/")[1:]]


def patched(document, patch):
    """The document, changed by a JSON Patch as far as the suite needs one."""

    def parent(pointer):
        *way, last = step(pointer)
        value = document
        for part in way:
            value = value[int(part)] if isinstance(value, list) else value[part]
        return value, (
            last if isinstance(value, dict) else len(value) if last == "-" else int(last)
        )

    for operation in patch:
        kind = operation["op"]
        if kind in ("move", "copy"):
            owner, key = parent(operation["from"])
            item = copy.deepcopy(owner[key])
            if kind == "move":
                del owner[key]
        elif kind != "remove":
            item = copy.deepcopy(operation["value"])
        owner, key = parent(operation["path"])
        if kind == "remove":
            del owner[key]
        elif kind != "replace" and isinstance(owner, list):
            owner.insert(key, item)
        else:
            owner[key] = item
    return document


def structure():
    for case in manifest("structure/manifest.json")["cases"]:
        wrong = []
        try:
            value = reading.parse((CORPUS / "structure" / case["file"]).read_bytes())
            found = reading.problems(value)
            verdict = "invalid" if found else "valid"
            schema = "valid" if reading.VALIDATOR.is_valid(value) else "invalid"
            if case.get("schema", schema) != schema:
                wrong.append(f"the schema says {schema}")
        except reading.NotJson:
            verdict, found = "not-json", []
        if verdict != case["verdict"]:
            wrong.append(f"{verdict}, and the suite {case['verdict']}")
        else:
            ours = Counter(found)
            theirs = Counter((item["kind"], item["pointer"]) for item in case.get("problems", ()))
            wrong += [f"not in the suite: {item}" for item in (ours - theirs)]
            wrong += [f"only in the suite: {item}" for item in (theirs - ours)]
        yield case["id"], wrong


def _joined(given):
    ends = [
        figures.from_centre(item["surveyed"], item["offset"], item["reads"])
        for item in (given["first"], given["second"])
    ]
    gap = given["length"] - sum(ends)
    room = figures.tolerance(figures.convert(given["length"], given["unit"], "m"))
    found = {"first": ends[0], "second": ends[1], "gap": gap}
    if figures.exceeds(abs(figures.convert(gap, given["unit"], "m")), room):
        found["rule"] = "reverse-gap" if gap > 0 else "reverse-overlap"
    return found


def _instants(given):
    first, second = figures.instant(given["first"]), figures.instant(given["second"])
    return {"first_is": "same" if first == second else "before" if first < second else "after"}


def _hour(given):
    hour = given["hour"]
    return {"mirrored": figures.mirrored(hour)} if figures.hour_valid(hour) else {"valid": False}


def _timestamp(given):
    reads = bool(figures.TIMESTAMP.match(given["text"]))
    return (
        {"reads": True, "possible": figures.instant(given["text"]) is not None}
        if reads
        else {"reads": False}
    )


def _ratio(unit, base):
    exact = figures.TENTHS[unit] / figures.TENTHS[base]
    return [exact.numerator, exact.denominator]


def _stretch(given):
    interval = figures.convert(given["interval"]["value"], given["interval"]["unit"], "m")
    return {
        "count": figures.times_counted(
            figures.convert(given["length"], given["unit"], "m"), interval
        )
    }


KINDS = {
    "clock-hour": _hour,
    "clock-arc": lambda given: {
        "from": figures.mirrored(given["to"]),
        "to": figures.mirrored(given["from"]),
        "hours": figures.covered(given["from"], given["to"]),
    },
    "amount": lambda given: {"value": figures.convert(given["value"], given["from"], given["to"])},
    "length-unit": lambda given: {"metres": _ratio(given["unit"], "m")},
    "section-unit": lambda given: {"millimetres": _ratio(given["unit"], "mm")},
    "stretch": _stretch,
    "place": lambda given: {
        "from_upstream": figures.from_upstream(
            given["at"], given["offset"], given["reads"], given["direction"], given["length"]
        )
    },
    "joined": _joined,
    "timestamp": _timestamp,
    "instants": _instants,
    "ids": lambda given: {
        "same": given["first"] == given["second"],
        "case_clash": figures.case_clash(given["first"], given["second"]),
    },
}


def alike(ours, theirs, room=1e-9):
    """Whether two facts are the same, but for what numbers lose."""
    if isinstance(theirs, dict) and isinstance(ours, dict):
        return ours.keys() == theirs.keys() and all(
            alike(ours[key], theirs[key], room) for key in theirs
        )
    if (
        isinstance(theirs, (int, float))
        and not isinstance(theirs, bool)
        and isinstance(ours, (int, float))
    ):
        return abs(ours - theirs) <= room * max(1.0, abs(theirs))
    return ours == theirs


def vectors():
    for case in manifest("vectors/manifest.json")["cases"]:
        found = KINDS[case["kind"]](case["given"])
        exact = case["kind"] == "amount"  # the last digit is what such a case is about
        same = found.keys() == case["is"].keys() and all(
            found[key] == value if exact else alike(found[key], value)
            for key, value in case["is"].items()
        )
        yield case["id"], [] if same else [f"{found}, and the suite {case['is']}"]


def grades():
    for case in manifest("grades/manifest.json")["cases"]:
        document = patched(load(case["base"]), case["patch"])
        if "scheme" in case:
            scheme = manifest(case["scheme"])
        else:
            scheme = SCHEMES[document["grading"]["scheme"], document["grading"]["version"]]
        survey, wrong = Survey(document), []
        for rating in case["ratings"]:
            runs = [run for run in survey.runs if run.row["pipe"] == rating["pipe"]]
            only = case.get("computed", False)
            rows_of = functools.partial(
                rollup.recorded, aspect=rating["aspect"], scheme=scheme, only_computed=only
            )
            surplus = rollup.once(scheme, runs, rating["aspect"], only)
            found = rollup.rolled(scheme, runs, rows_of, surplus)
            for key in ("total", "count", "mean", "peak", "per_length"):
                ours, theirs = (found or {}).get(key), rating.get(key)
                if (ours is None) != (theirs is None) or (
                    ours is not None and abs(ours - theirs) > 0.5e-4 + 1e-9
                ):
                    wrong.append(
                        f"{rating['pipe']} {rating['aspect']} {key}: {ours}, and the suite {theirs}"
                    )
        yield case["id"], wrong


def canonical_forms():
    for case in manifest("canonical/manifest.json")["cases"]:
        if case["kind"] == "number":
            value = struct.unpack(">d", bytes.fromhex(case["bits"]))[0]
            pairs = [
                (canonical.number(value), case["text"]),
                (abs(value) <= 2**53 - 1, case["in_format"]),
            ]
        elif case["kind"] == "text":
            value = reading.parse(case["input"].encode("utf-8"))
            pairs = [
                (canonical.write(value), case["canonical"]),
                (canonical.digest(value), case["digest"]),
            ]
        elif not (CORPUS / case["file"]).exists():
            yield case["id"], None
            continue
        else:
            pairs = [(canonical.digest(load(case["file"])), case["digest"])]
        yield case["id"], [
            f"{ours!r}, and the suite {theirs!r}" for ours, theirs in pairs if ours != theirs
        ]


def cases_of_rules():
    """Every case of a rule whose base is there, with its document."""
    for path in sorted((CORPUS / "rules").glob("*.json")):
        for case in manifest(path)["cases"]:
            if (CORPUS / case["base"]).exists():
                yield case, patched(json.loads(bases(case["base"])), case["patch"])
            else:
                yield case, None


def expected(case):
    """What a case expects, by rule and pointer; of what is in `also`, no more is known."""
    theirs = {(item["rule"], item["pointer"]): item for item in case["expect"]}
    theirs.update(
        {(rule, place): {} for rule, places in case.get("also", {}).items() for place in places}
    )
    return theirs


def differing(ours, theirs):
    for rule, place in ours.keys() - theirs.keys():
        yield f"not in the suite: {rule} at {place}"
    for rule, place in theirs.keys() - ours.keys():
        yield f"only in the suite: {rule} at {place}"
    for rule, place in ours.keys() & theirs.keys():
        severity, facts = ours[rule, place]
        wanted = theirs[rule, place]
        if wanted.get("severity", severity) != severity:
            yield f"{rule} at {place}: the severity"
        for name, value in wanted.get("params", {}).items():
            if not alike(facts.get(name), value):
                yield f"{rule} at {place}: {name} is {facts.get(name)}, and in the suite {value}"


def rules():
    for case, document in cases_of_rules():
        if document is None:
            yield case["id"], None
        elif not case.get("by_map"):  # this reader has no data of reference systems
            theirs = {key: item for key, item in expected(case).items() if key[0] in CLAIMED}
            ours = {}
            if all(kind == "duplicate-id" for kind, _ in reading.problems(document)):
                ours = check(Survey(document, case.get("settings", {}).get("limits")))
            yield case["id"], sorted(differing(ours, theirs))


def main(arguments):
    if arguments[:1] == ["--without"]:
        for rule in arguments[1:]:
            del CLAIMED[rule]
    failed = False
    for part, cases in (
        ("structure", structure),
        ("vectors", vectors),
        ("grades", grades),
        ("canonical", canonical_forms),
        ("rules", rules),
    ):
        run = agreed = missing = 0
        for name, wrong in cases():
            if wrong is None:  # the file is missing
                missing += 1
                print(f"  {name}: not run, its file is missing")
                continue
            run, agreed = run + 1, agreed + (not wrong)
            for line in wrong:
                print(f"  {name}: {line}")
        failed = failed or run != agreed
        print(
            f"{part}: {run} cases run, {agreed} agreed"
            + (f", {missing} not run" if missing else "")
        )
    print(f"{len(CLAIMED)} rules claimed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
