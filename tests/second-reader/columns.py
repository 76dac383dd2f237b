"""Mistakes in a column (checking.md): how many values agree, and which findings they explain."""

from code_lists import coded, places
from figures import convert, in_range
from grading import aspects, computed, grade_of, on_scale

ASPECTS = ("structural", "operational")
COLUMNS = ("grades", "clock", "quantities")
NAMING = (
    "grade-column-suspect",
    "percent-column-suspect",
    "clock-column-suspect",
    "connection-unit-suspect",
    "column-shifted",
)
GRADES = {"grade-contradicts", "grade-outside-scale", "worst-grade-without-photo"}
SHIFTED = GRADES | {
    "clock-required",
    "clock-not-applicable",
    "clock-extent",
    "clock-against-gravity",
    "connection-contradicts-lateral",
    "connection-size-contradicts-lateral",
    "quantity-missing",
    "quantity-unexpected",
    "quantity-unit",
    "quantity-exceeds-pipe",
    "quantity-range",
    "grade-missing",
    "grade-aspect-unexpected",
}


def carries(agree, of, least=5):
    return agree >= least and agree * 5 >= of * 4


def hours(survey):
    """Every clock hour of the observations."""
    for _, _, row in survey.rows():
        for key in ("at", "from", "to"):
            if key in row.get("clock", {}):
                yield row["clock"][key]


def percentages(survey):
    for _, _, row, code, _ in survey.coded_rows:
        taken = len(places(code, row.get("characterisation", [])))
        for quantity in row.get("quantities", ())[:taken]:
            if quantity["unit"] == "percent" and quantity["value"] > 0:
                yield quantity["value"]


def connections(survey, unit):
    """Each size of a connection in a unit, with the height of the pipe there."""
    for run, index, row, code, _ in survey.coded_rows:
        if code.get("role") != "connection":
            continue
        for place, quantity in zip(
            places(code, row.get("characterisation", [])), row.get("quantities", ())
        ):
            if convert(1, place["unit"], "mm") is not None and quantity["unit"] == unit:
                yield quantity["value"], run.cross_sections[index].height


def certain_grades(survey):
    """Each recorded grade with the scheme's, where that is certain."""
    for run, index, row, _, _ in survey.coded_rows:
        code = survey.graded_as(row)
        for aspect in ASPECTS if code is not None else ():
            recorded = row.get("grades", {}).get(aspect)
            if recorded is not None and aspect in aspects(survey.scheme, code):
                grade, certain = computed(run, index, aspect, survey.scheme)
                if certain and grade is not None:
                    yield recorded, grade


def mirrored(scheme, grade):
    return scheme["scale"]["best"] + scheme["scale"]["worst"] - grade


def grade_votes(survey):
    """By mistake, in the order in which they are named: (agree, of)."""
    exchanged = []
    for _, _, row, _, _ in survey.coded_rows:
        code = survey.graded_as(row)
        own = aspects(survey.scheme, code) if code is not None else ()
        if "grades" in row and len(own) == 1:
            recorded = {aspect for aspect in ASPECTS if aspect in row["grades"]}
            exchanged.append(len(recorded) == 1 and recorded != own)
    grades = list(certain_grades(survey))
    other = [
        recorded == mirrored(survey.scheme, grade)
        for recorded, grade in grades
        if mirrored(survey.scheme, grade) != grade
    ]
    less = [recorded + 1 == grade for recorded, grade in grades]
    votes = {"exchanged": exchanged, "reversed": other, "less": less}
    return {name: (sum(vote), len(vote)) for name, vote in votes.items()}


def clock_fits(code, clock):
    usage, extent = code["clock"]["use"], code["clock"].get("extent")
    if clock is None:
        return usage != "required"
    if usage == "none":
        return False
    keys = {key for key in ("at", "from", "to") if key in clock}
    return not (keys == {"at"} and extent == "span" or keys == {"from", "to"} and extent == "point")


def misfits(survey, run, index, values):
    """How many of some values do not fit a row."""
    row = run.rows[index]
    code = survey.codes.get(row["code"])
    if code is None:
        return 0
    taken, quantities = places(code, row.get("characterisation", [])), values["quantities"] or []
    wrong = 0 if clock_fits(code, values["clock"]) else 1
    for place, quantity in zip(taken, quantities):
        amount = convert(quantity["value"], quantity["unit"], place["unit"])
        wrong += amount is None or not in_range(place, amount)
    wrong += sum(place.get("required", False) for place in taken[len(quantities) :])
    wrong += max(0, len(quantities) - len(taken))
    return wrong + misfitting_grades(survey, run, index, values)


def misfitting_grades(survey, run, index, values):
    row = run.rows[index]
    graded = coded(survey, row, survey.scheme["code_list"]) if survey.scheme else None
    if graded is None:
        return 0
    taken = aspects(survey.scheme, graded.code)
    if not taken:
        return values["grades"] is not None
    if values["quantities"] is not row.get("quantities") and not graded.linked:
        other = {**row, "quantities": values["quantities"] or []}
        survey.kept.append(other)  # the cache of coded rows goes by their identity
        graded = coded(survey, other, survey.scheme["code_list"])
    wrong = 0
    for aspect in ASPECTS:
        recorded = (values["grades"] or {}).get(aspect)
        grade, certain = grade_of(graded, run.cross_sections[index], aspect, survey.scheme)
        wrong += recorded is not None if aspect not in taken else certain and grade != recorded
    return wrong


def shift(survey, run):
    """(column, first row, misfits, misfits left) of a run with a shifted column, or None."""
    if run.place not in survey.shifts:
        survey.shifts[run.place] = _shift(survey, run)
    return survey.shifts[run.place]


def _shift(survey, run):
    def own(index):
        row = run.rows[index]
        return {column: row.get(column) for column in COLUMNS}

    count = len(run.rows)
    here = [misfits(survey, run, index, own(index)) for index in range(count)]
    wrong, best = sum(here), None
    if wrong < 4:
        return None
    for column in COLUMNS:
        for step in (1, -1):
            moved = []
            for index in range(count):
                other = index + step
                value = run.rows[other].get(column) if 0 <= other < count else None
                moved.append(misfits(survey, run, index, own(index) | {column: value}))
            sums = [sum(here[:first]) + sum(moved[first:]) for first in range(count + 1)]
            left = min(sums)
            if best is None or left < best[3]:
                best = column, sums.index(left), wrong, left
    return best if wrong - best[3] >= 4 and best[3] * 5 <= wrong else None


def explained(survey, found, name, pointer):
    """Whether a finding is explained by one that names a mistake in a column."""
    named = {rule for rule, _ in found} & set(NAMING)
    parts = pointer.split("/")
    if not named or parts[1:2] != ["runs"] or len(parts) < 5 or parts[3] != "observations":
        return False
    run, index = survey.runs[int(parts[2])], int(parts[4])
    row = run.rows[index]
    if "column-shifted" in named and name in SHIFTED:
        found_shift = shift(survey, run)
        if found_shift and index >= found_shift[1]:
            return True
    if "clock-column-suspect" in named:
        if name == "clock-range" and not 0 < row["clock"][parts[-1]] < 13:
            return True
        if name in ("clock-against-gravity", "connection-contradicts-lateral"):
            return True
    if "connection-unit-suspect" in named and survey.role(row) == "connection":
        if name in (
            "quantity-exceeds-pipe",
            "quantity-range",
            "connection-size-contradicts-lateral",
        ):
            return True
    if name not in GRADES | {"grade-aspect-unexpected"} or parts[-1] not in ASPECTS:
        return False
    return grade_explained(survey, named, run, index, parts[-1])


def grade_explained(survey, named, run, index, aspect):
    row = run.rows[index]
    code, recorded = survey.graded_as(row), row["grades"][aspect]
    votes = grade_votes(survey) if "grade-column-suspect" in named else {}
    shown = {mistake for mistake, vote in votes.items() if carries(*vote)}
    if code is None or aspect not in aspects(survey.scheme, code):
        return "exchanged" in shown
    grade, certain = computed(run, index, aspect, survey.scheme)
    if not certain or grade is None or grade == recorded:
        return False
    fraction = any(
        quantity["unit"] == "percent" and 0 <= quantity["value"] <= 1
        for quantity in row.get("quantities", ())
    )
    turned = on_scale(survey.scheme, recorded) and recorded == mirrored(survey.scheme, grade)
    return (
        "percent-column-suspect" in named
        and fraction
        or "less" in shown
        and recorded + 1 == grade
        or "reversed" in shown
        and turned
    )
