"""The rules of the family grade."""

import functools

import rollup
from catalogue import rule
from grading import aspects, computed, on_scale
from references import names_missing_run

ASPECTS = ("structural", "operational")
FIGURES = ("peak", "total", "mean", "count", "per_length")


def graded_rows(survey):
    """(run, index, row, aspects of its code, pointer) of each row that the scheme can grade."""
    for run, index, row, _, path in survey.coded_rows:
        code = survey.graded_as(row)
        if code is not None:
            yield run, index, row, aspects(survey.scheme, code), path


@rule("warning")
def grade_missing(survey):
    for run, index, row, taken, path in graded_rows(survey):
        grades = row.get("grades", {})
        if any(aspect in grades and aspect not in taken for aspect in ASPECTS):
            continue
        for aspect in ASPECTS:
            grade = computed(run, index, aspect, survey.scheme)[0]
            if aspect not in grades and grade is not None:
                facts = {"aspect": aspect, "computed": grade}
                yield path + ("/grades" if "grades" in row else ""), facts


@rule("error")
def grade_outside_scale(survey):
    if survey.scheme is None:
        return
    for run, index, row in survey.rows():
        for aspect in ASPECTS:
            grade = row.get("grades", {}).get(aspect)
            if grade is not None and not on_scale(survey.scheme, grade):
                yield run.path("observations", index, "grades", aspect), {"grade": grade}


def elsewhere(survey, run, row, aspect):
    """Whether the grade depends on what another run says that the pipe changes to."""
    code = survey.graded_as(row)
    entries = [
        entry
        for entry in survey.scheme.get("entries", ())
        if (entry["code"], entry["aspect"]) == (code, aspect)
    ]
    return (any(entry.get("materials") for entry in entries) and run.elsewhere("material-change")) or (
        any("size" in entry for entry in entries) and run.elsewhere("size-change")
    )


@rule("error")
def grade_contradicts(survey):
    for run, index, row, taken, path in graded_rows(survey):
        for aspect in ASPECTS:
            grade = row.get("grades", {}).get(aspect)
            if grade is None or aspect not in taken or not on_scale(survey.scheme, grade):
                continue
            own, certain = computed(run, index, aspect, survey.scheme)
            if certain and own != grade and not elsewhere(survey, run, row, aspect):
                facts = {"recorded": grade} | ({} if own is None else {"computed": own})
                yield f"{path}/grades/{aspect}", facts


@rule("error")
def grade_aspect_unexpected(survey):
    for _, _, row, taken, path in graded_rows(survey):
        for aspect in ASPECTS:
            if aspect in row.get("grades", {}) and aspect not in taken:
                facts = {"aspect": aspect, "grade": row["grades"][aspect]}
                yield f"{path}/grades/{aspect}", facts


def peak_is_grade(scheme):
    return scheme["rollup"].get("peak", {}).get("method", "worst-grade") == "worst-grade"


@rule("error")
def rating_outside_scale(survey):
    if survey.scheme is None or not peak_is_grade(survey.scheme):
        return
    for place, rating in survey.table("ratings"):
        if "peak" in rating and not on_scale(survey.scheme, rating["peak"]):
            yield f"/ratings/{place}/peak", {"peak": rating["peak"]}


def rated_runs(survey, rating):
    """The runs that a rating is of, or None if they cannot be told."""
    through = [run for run in survey.runs if run.row["pipe"] == rating["pipe"]]
    if len({run.row["id"] for run in through}) != len(through):
        return None
    if not rating.get("runs"):
        return through
    places = [survey.place("runs", key) for key in dict.fromkeys(rating["runs"])]
    return None if None in places else [survey.runs[place] for place in places]


def differing(survey, rating, figures, length_certain):
    """The figures of a rating that are not the computed ones."""
    slack = survey.limit("rating-contradicts", "slack", 0.0005)
    found = []
    for name in FIGURES:
        stated, own = rating.get(name), figures.get(name)
        if stated is None:
            continue
        if name == "per_length" and (own is None or not length_certain):
            continue
        if name == "peak" and peak_is_grade(survey.scheme) and not on_scale(survey.scheme, stated):
            continue
        room = 0 if name == "count" or own is None else slack * max(1, abs(own))
        if own is None or abs(stated - own) > room:
            found.append(name)
    return found


def compared(survey, place, rating, runs):
    """The finding of a rating whose runs are all of its pipe, or None."""
    scheme, certain = survey.scheme, all(run.length_certain() for run in runs)
    rows = [
        functools.partial(rows_of, aspect=rating["aspect"], scheme=scheme)
        for rows_of in (rollup.recorded, rollup.corrected)
    ]
    figures, right = (rollup.rolled(scheme, runs, rows_of) for rows_of in rows)
    if figures is None or right is None:
        return None
    found = differing(survey, rating, figures, certain)
    surplus = rollup.once(scheme, runs, rating["aspect"]) if found else ()
    if surplus:
        once = rollup.rolled(scheme, runs, rows[0], surplus)
        if not differing(survey, rating, once, certain):
            return None
    if not found or not differing(survey, rating, right, certain):
        return None
    path = f"/ratings/{place}" + (f"/{found[0]}" if len(found) == 1 else "")
    own = {name: figures[name] for name in found if name in figures}
    return path, {"stated": {name: rating[name] for name in found}, "computed": own}


@rule("error")
def rating_contradicts(survey):
    if survey.scheme is None or survey.lengths_doubtful:
        return
    for place, rating in survey.table("ratings"):
        runs = rated_runs(survey, rating)
        if survey.row("pipes", rating["pipe"]) is None or runs is None:
            continue
        other = [
            index
            for index, key in enumerate(rating.get("runs", ()))
            if survey.row("runs", key)["pipe"] != rating["pipe"]
        ]
        if other:
            yield f"/ratings/{place}/runs/{other[0]}", {}
        elif not runs:
            if not names_missing_run(survey):
                yield f"/ratings/{place}/pipe", {}
        else:
            finding = compared(survey, place, rating, runs)
            if finding:
                yield finding


@rule("error")
def rating_duplicate(survey):
    first = {}
    for place, rating in survey.table("ratings"):
        named = rating.get("runs") or [
            run.row["id"] for run in survey.runs if run.row["pipe"] == rating["pipe"]
        ]
        if all(survey.known("runs", key) for key in named):
            same = rating["pipe"], rating["aspect"], frozenset(named)
            other = first.setdefault(same, rating)
            if other is not rating:
                yield f"/ratings/{place}/aspect", {"first": other["id"]}
