"""Rolls grades up: the figures of a pipe and aspect."""

import math
from typing import NamedTuple

import seen_twice
from figures import convert, times_counted
from grading import aspects, computed, on_scale


class Counted(NamedTuple):
    """A graded row, ready to be counted."""

    place: float  # in metres from the zero point of the run
    grade: float
    length: float | None  # in metres; None if the row cannot be counted


def _is_stretch(row):
    return row.get("continuous") or "to" in row


def _length(run, row):
    if not _is_stretch(row):
        return 0
    if "to" not in row or row["to"] < row["at"]:
        return None
    return (row["to"] - row["at"]) * run.metre


def recorded(run, aspect, scheme, only_computed=False):
    """Every row of a run with a grade, recorded or else computed."""
    for index, row in enumerate(run.rows):
        grade = None if only_computed else row.get("grades", {}).get(aspect)
        if grade is None:
            grade = computed(run, index, aspect, scheme)[0]
        if grade is not None:
            yield Counted((row["at"] - run.reads) * run.metre, grade, _length(run, row))


def _corrected_grade(run, index, aspect, scheme):
    row = run.rows[index]
    grade = row.get("grades", {}).get(aspect)
    if grade is None:
        return computed(run, index, aspect, scheme)[0]
    code = run.survey.graded_as(row)
    if code is None or not on_scale(scheme, grade):
        return grade
    if aspect not in aspects(scheme, code):
        return None
    own, certain = computed(run, index, aspect, scheme)
    return own if certain else grade


def _corrected_length(run, row):
    if not _is_stretch(row) or run.survey.never_stretch(row):
        return 0
    length = _length(run, row)
    return None if not length or run.beyond(row["to"]) else length


def corrected(run, aspect, scheme):
    """The rows of a run as they are once mistakes that other rules report are corrected."""
    for index, row in enumerate(run.rows):
        if index in run.surplus:
            continue
        grade = _corrected_grade(run, index, aspect, scheme)
        if grade is not None:
            place = (row["at"] - run.reads) * run.metre
            yield Counted(place, grade, _corrected_length(run, row))


def peak(rollup, scale, grades, places_of):
    """The peak of all grades; `places_of` has (place, grade) of every count, run by run."""
    how = rollup.get("peak", {"method": "worst-grade"})
    if how["method"] == "worst-grade":
        return max(grades) if scale["worst"] >= scale["best"] else min(grades)
    length = convert(how["length"]["value"], how["length"]["unit"], "m")
    greatest = None
    for counted in places_of:
        sums = {}
        if how["method"] == "fixed-lengths":
            for place, grade in counted:
                part = math.floor(place / length + 1e-9)
                sums[part] = sums.get(part, 0) + grade
        else:
            for number, (start, _) in enumerate(counted):
                sums[number] = sum(
                    grade
                    for place, grade in counted
                    if -1e-9 <= (place - start) / length < 1 - 1e-9
                )
        for value in sums.values():
            greatest = value if greatest is None else max(greatest, value)
    return greatest


def travelled(runs):
    """How far some runs came together, in metres; None if one of them does not say."""
    if any(run.surveyed is None for run in runs):
        return None
    return sum((run.surveyed - run.reads) * run.metre for run in runs)


def once(scheme, runs, aspect, only_computed=False):
    """The grades that do not count if a defect that two runs record counts once."""

    def grade_of(run, index):
        grade = None if only_computed else run.rows[index].get("grades", {}).get(aspect)
        return computed(run, index, aspect, scheme)[0] if grade is None else grade

    def better(first, second):
        rising = scheme["scale"]["worst"] >= scheme["scale"]["best"]
        return first < second if rising else first > second

    runs = sorted(runs, key=lambda run: run.place)
    dropped = seen_twice.surplus(runs, grade_of, better)
    places = {run.place: run for run in runs}
    grades = [grade_of(places[run], index) for run, rows in dropped.items() for index in rows]
    return [grade for grade in grades if on_scale(scheme, grade)]


def rolled(scheme, runs, rows_of, surplus=()):
    """The figures of what `rows_of` gives of each run without the `surplus` grades at points.

    None if a grade cannot be counted.
    """
    rollup = scheme["rollup"]
    interval = convert(rollup["interval"]["value"], rollup["interval"]["unit"], "m")
    total = count = 0
    grades, places_of = [], []
    for run in runs:
        places = []
        for place, grade, length in rows_of(run):
            if length is None or not on_scale(scheme, grade):
                return None
            times = times_counted(length, interval)
            total, count = total + grade * times, count + times
            grades.append(grade)
            places += [(place + number * interval, grade) for number in range(times)]
        places_of.append(places)
    total, count = total - sum(surplus), count - len(surplus)
    figures = {"total": total, "count": count}
    way = travelled(runs)
    if way is not None and way > 0:
        per = convert(rollup["per_length"]["value"], rollup["per_length"]["unit"], "m")
        figures["per_length"] = total / way * per
    if count:
        figures["mean"] = total / count
        figures["peak"] = peak(rollup, scheme["scale"], grades, places_of)
    return figures
