"""The rules of the family distance that hold runs against their pipes and against each other."""

from catalogue import rule
from figures import exceeds, instant, most, tolerance
from references import names_missing_run
from runs import ALLOWANCE

CAMERAS = ("push-rod", "crawler", "pole", "float")


def drifting(survey, least=0.01):
    """(camera, share, runs that agree, runs) for each camera whose runs drift."""
    shares = {}
    for run in survey.runs:
        if run.kind != "reached" or run.far is None or run.length is None or not run.centred():
            continue
        if run.length * run.metre < 20 or run.pipe.get("length_between", "centres") != "centres":
            continue
        length = run.far if run.length <= run.far <= run.slope_length() else run.length
        shares.setdefault(camera(survey, run), []).append(run.far / length - 1)
    for key, found in shares.items():
        share = sorted(found)[len(found) // 2]
        if not least <= abs(share) <= 0.1:
            continue
        agree = sum(0.5 <= item / share <= 1.5 for item in found)
        if agree >= 4 and most(agree, len(found)):
            yield key, share, agree, len(found)


def camera(survey, run):
    for key in run.row.get("equipment", ()):
        row = survey.row("equipment", key)
        if row and row["kind"] in CAMERAS:
            return key
    return None


@rule("warning")
def distance_drift(survey):
    if survey.lengths_doubtful:
        return
    least = survey.limit("distance-drift", "least", 1) / 100
    for key, share, agree, runs in drifting(survey, least):
        path = "/runs" if key is None else f"/equipment/{survey.place('equipment', key)}"
        yield path, {"agree": agree, "runs": runs, "share": share}


def past_pipe(survey, rule="run-longer-than-pipe"):
    """The places of the runs that are past their pipes."""
    allowance = survey.limit(rule, "structure_allowance", ALLOWANCE)
    return {run.place for run in survey.runs if run.past_pipe(allowance)}


@rule("warning")
def run_shorter_than_pipe(survey):
    if survey.lengths_doubtful:
        return
    allowance = survey.limit("run-shorter-than-pipe", "structure_allowance", ALLOWANCE)
    drift = {item[0] for item in drifting(survey)}
    for run in survey.runs:
        if run.short_of_pipe(allowance) and camera(survey, run) not in drift:
            yield run.path("surveyed"), {"far": run.far, "length": run.length}


def other_of(survey, run):
    """The run that a run names in `reverse_of`."""
    place = survey.place("runs", run.row.get("reverse_of"))
    return None if place is None else survey.runs[place]


@rule("error")
def reverse_mismatch(survey):
    for run in survey.runs:
        other = other_of(survey, run)
        if other is None:
            continue
        if other is not run and other.row["pipe"] == run.row["pipe"]:
            if other.row["direction"] != run.row["direction"]:
                continue
            if run.direction_contradicts() or other.direction_contradicts():
                continue
        yield run.path("reverse_of"), {"reverse_of": run.row["reverse_of"]}


def pairs(survey):
    """(naming run, other run) for each pair that can be compared with its pipe."""
    seen, past = set(), past_pipe(survey)
    if survey.lengths_doubtful:
        return
    for run in survey.runs:
        other = other_of(survey, run)
        if (
            other is None
            or other.row["pipe"] != run.row["pipe"]
            or frozenset((run.place, other.place)) in seen
        ):
            continue
        if other.row["direction"] == run.row["direction"] or run.length is None:
            continue
        if run.far is None or other.far is None or past & {run.place, other.place}:
            continue
        seen.add(frozenset((run.place, other.place)))
        yield run, other


@rule("warning")
def reverse_gap(survey):
    allowance = survey.limit("reverse-gap", "structure_allowance", ALLOWANCE)
    for run, other in pairs(survey):
        gap = run.length - run.far - other.far
        room = 0 if run.centred() and other.centred() else allowance
        if not exceeds(gap * run.metre, run.slack(run.length) + room):
            continue
        gap = unseen_between(survey, run, other, allowance)
        if gap is not None and exceeds(gap * run.metre, run.slack(run.length) + room):
            yield run.path("reverse_of"), {"gap": gap, "reverse_of": run.row["reverse_of"]}


@rule("note")
def reverse_overlap(survey):
    allowance = survey.limit("reverse-overlap", "structure_allowance", ALLOWANCE)
    for run, other in pairs(survey):
        overlap = run.far + other.far - run.length
        room = 0 if run.pipe.get("length_between") == "centres" else allowance
        if exceeds(overlap * run.metre, run.slack(run.length) + room):
            yield run.path("reverse_of"), {"overlap": overlap, "reverse_of": run.row["reverse_of"]}


def covered(run, past):
    """What a run saw of its pipe, from the upstream structure; None if it cannot be told."""
    if run.length is None or run.far is None or "launched" in run.row or run.place in past:
        return None
    walled = run.counter.get("zero") in ("structure-wall", "pipe-end")
    begin = 0 if walled and run.offset * run.metre <= 20 else run.offset
    end = run.length if run.kind == "reached" else run.far
    if run.row["direction"] == "downstream":
        return begin, end
    return run.length - end, run.length - begin


def widest(seen, start, end):
    """The longest part of start to end that nothing covers."""
    reached, part = start, (start, start)
    for first, last in sorted(seen) + [(end, end)]:
        if min(first, end) - reached > part[1] - part[0]:
            part = reached, min(first, end)
        reached = max(reached, last)
    return part


def unseen_between(survey, run, other, allowance):
    """How much of the gap between two runs no other run saw, or None."""
    first, second = (run, other) if run.row["direction"] == "downstream" else (other, run)
    past = {one.place for one in survey.runs if one.past_pipe(allowance)}
    others = [one for one in survey.runs if one.row["pipe"] == run.row["pipe"]]
    if any(one.kind == "as-ordered" for one in others):
        return None
    seen = [covered(one, past) for one in others if one not in (run, other)]
    if None in seen:
        return None
    start, end = widest(seen, first.far, run.length - second.far)
    return end - start


def unseen(survey, rule):
    """(place of the pipe, its runs, from, to) for each pipe with a part that no run saw."""
    allowance = survey.limit(rule, "structure_allowance", ALLOWANCE)
    past = past_pipe(survey)
    for place, pipe in enumerate(survey.document.get("pipes", ())):
        runs = [run for run in survey.runs if run.pipe is pipe]
        if not runs or runs[0].length is None or survey.lengths_doubtful:
            continue
        if any(
            "reverse_of" in run.row
            or run.kind in (None, "as-ordered")
            or run.direction_contradicts()
            for run in runs
        ):
            continue
        length, seen = runs[0].length, [covered(run, past) for run in runs]
        if None in seen:
            continue
        part, metre = widest(seen, 0.0, length), runs[0].metre
        if exceeds((part[1] - part[0]) * metre, tolerance(length * metre) + allowance):
            yield place, runs, part


@rule("warning")
def run_gap(survey):
    for place, runs, part in unseen(survey, "run-gap"):
        if any(run.kind != "stopped" for run in runs):
            yield f"/pipes/{place}", {"from": part[0], "to": part[1]}


@rule("note")
def pipe_partly_surveyed(survey):
    if names_missing_run(survey):
        return
    for place, runs, part in unseen(survey, "pipe-partly-surveyed"):
        if all(run.kind == "stopped" for run in runs):
            yield f"/pipes/{place}", {"from": part[0], "to": part[1]}


@rule("warning")
def met_run_missing(survey):
    if names_missing_run(survey):
        return
    for run in survey.runs:
        if run.kind != "met" or "reverse_of" in run.row:
            continue
        if not any(
            other is not run and other.row["pipe"] == run.row["pipe"] for other in survey.runs
        ):
            yield run.path("outcome", "kind"), {}


@rule("note")
def reverse_of_missing(survey):
    for run in survey.runs:
        if run.kind != "met" or "reverse_of" in run.row:
            continue
        if any(other.row.get("reverse_of") == run.row["id"] for other in survey.runs):
            continue
        other = next(
            (
                other
                for other in survey.runs
                if other.row["pipe"] == run.row["pipe"]
                and other.row["direction"] != run.row["direction"]
            ),
            None,
        )
        if other:
            yield run.path(), {"other": other.row["id"]}


@rule("warning")
def reverse_run_too_early(survey):
    for run in survey.runs:
        other = other_of(survey, run)
        if run.kind != "met" or other is None or other.kind == "met":
            continue
        if other.row["pipe"] != run.row["pipe"]:
            continue
        began, first = instant(run.row.get("started", "")), instant(other.row.get("started", ""))
        ended = instant(run.row.get("finished", ""))
        if None in (began, first) or began >= first:
            continue
        used = camera(survey, run)
        same = used is not None and used == camera(survey, other)
        if same or ended is None or ended <= first:
            yield run.path("started"), {"reverse_of": run.row["reverse_of"]}
