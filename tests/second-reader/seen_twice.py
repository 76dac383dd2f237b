"""Defects that two runs of a pipe record."""

from typing import NamedTuple

from clocks import form_right
from figures import FOOT, from_upstream, hour_valid, mirrored, tolerance

# grade-schemes.md, Defects that two runs record: how many runs of a pipe are compared.
MOST_RUNS = 8
# The length taken up by the two structures.
ALLOWANCE = 5 * FOOT

OF_THE_RUN = {"start", "finish", "stopped", "level", "photo", "remark"}


class Place(NamedTuple):
    """A defect at one distance, with its place on the pipe in metres."""

    metres: float
    index: int
    kind: tuple
    clock: tuple | None


def _ends(clock):
    """The ends of a valid clock reference."""
    if clock is None or not form_right(clock):
        return None
    ends = (clock["at"],) * 2 if "at" in clock else (clock["from"], clock["to"])
    return ends if all(hour_valid(hour) for hour in ends) else None


def _alike(first, second):
    apart = [abs(one - other) % 12 for one, other in zip(first, second)]
    return all(min(hours, 12 - hours) <= 1 for hours in apart)


def _places(run):
    """The defects of a run at one distance, along its pipe."""
    found = []
    for index, row in enumerate(run.rows):
        code = run.survey.codes.get(row["code"])
        if code is None or code.get("role") in OF_THE_RUN:
            continue
        if code["family"] not in ("structural", "operational"):
            continue
        if row.get("continuous") and "to" not in row or row.get("to", row["at"]) > row["at"]:
            continue
        along = from_upstream(
            row["at"], run.offset, run.reads, run.row["direction"], run.length
        )
        kind = (row["code"], tuple(row.get("characterisation", ())))
        found.append(Place(along * run.metre, index, kind, _ends(row.get("clock"))))
    return found


def _slack(run):
    centres = run.pipe.get("length_between") == "centres"
    room = 0 if centres or "offset" in run.counter else ALLOWANCE
    return 2 * tolerance(run.length * run.metre) + room


def _one_defect(one, other, turned):
    if one.kind != other.kind:
        return False
    if one.clock is None or other.clock is None:
        return True
    ends = other.clock
    if turned:
        ends = tuple(mirrored(hour) for hour in ends[::-1])
    return _alike(one.clock, ends)


def pairs(earlier, later):
    """The pairs of rows of two runs of a pipe that are one defect."""
    slack = min(_slack(earlier), _slack(later))
    turned = earlier.row["direction"] != later.row["direction"]
    ours, theirs = _places(earlier), _places(later)

    def near(place, rows, fits):
        found = [row for row in rows if abs(row.metres - place) <= slack and fits(row)]
        return found[0] if len(found) == 1 else None

    for one in ours:
        other = near(one.metres, theirs, lambda row: _one_defect(one, row, turned))
        if other and near(other.metres, ours, lambda row: _one_defect(row, other, turned)):
            yield one.index, other.index


def surplus(runs, grade_of, better):
    """The rows of each run, by the place of the run, that do not count in a rating."""
    placed = [
        run
        for run in runs[:MOST_RUNS]
        if run.length is not None and "launched" not in run.row and run.reset is None
    ]
    dropped = {}
    for number, later in enumerate(placed):
        for earlier in placed[:number]:
            for one, other in pairs(earlier, later):
                first, second = grade_of(earlier, one), grade_of(later, other)
                if first is None or second is None:
                    continue
                run, index = (earlier, one) if better(first, second) else (later, other)
                dropped.setdefault(run.place, set()).add(index)
    return dropped
