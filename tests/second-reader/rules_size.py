"""The rules of the family size."""

import itertools

from catalogue import rule

ABOVE_ZERO = {
    "equipment": ("counter_resolution", "cable_length", "frequency"),
    "pipes": ("height", "width", "length", "joint_spacing"),
    "media": ("duration", "frame_rate"),
    "locates": ("frequency",),
}
NOT_NEGATIVE = {"structures": ("depth",), "locates": ("depth", "accuracy")}
FIRST_YEAR = {
    "reinforced-concrete": 1860,
    "bituminised-fibre": 1890,
    "asbestos-cement": 1900,
    "pvc": 1930,
    "polyethylene": 1940,
    "glass-reinforced-plastic": 1940,
    "ductile-iron": 1943,
    "abs": 1943,
    "polypropylene": 1954,
}
INCHES = (1.5, 2, 3, 4, 5, 6, 8, 10, 12, 14, 15, 16, 18, 20, 21, 24, 27, 30, 33, 36, 39)
MILLIMETRES = (
    40,
    63,
    90,
    110,
    125,
    140,
    160,
    180,
    200,
    250,
    280,
    315,
    355,
    400,
    450,
    500,
    560,
    630,
    710,
    800,
    1000,
)


@rule("error")
def number_impossible(survey):
    for fields, least in ((ABOVE_ZERO, 5e-324), (NOT_NEGATIVE, 0)):
        for table, names in fields.items():
            for place, row in survey.table(table):
                for name in names:
                    if name in row and row[name] < least:
                        yield f"/{table}/{place}/{name}", {"value": row[name]}
    for run in survey.runs:
        if run.counter.get("resolution", 1) <= 0:
            yield run.path("counter", "resolution"), {"value": run.counter["resolution"]}
        if run.surveyed is not None and run.surveyed < run.reads:
            yield run.path("surveyed"), {"value": run.surveyed}


@rule("error")
def size_unit_suspect(survey):
    document = survey.document
    wrong, places, of = survey.sizes_doubtful
    fits = {"in": "mm", "mm": "in"}[document["units"]["section"]]
    if wrong:
        yield "/units/section", {"pipes": len(places), "of": of, "fits": fits}
        return
    for place in places:
        yield f"/pipes/{place}/height", {"height": document["pipes"][place]["height"], "fits": fits}


def nominal(unit, size):
    if unit == "in":
        return size in INCHES or size >= 42 and size % 6 == 0
    return size in MILLIMETRES or size >= 50 and (size % 50 == 0 or size % 75 == 0)


def nearest_nominal(unit, size):
    """The nearest whole number that is a nominal size; the smaller of two."""
    for room in itertools.count(1):
        near = [
            whole for whole in range(int(size) - room, int(size) + room + 2) if nominal(unit, whole)
        ]
        near = [whole for whole in near if abs(whole - size) <= room]
        if near:
            return min(near, key=lambda whole: (abs(whole - size), whole))
    return None


@rule("note")
def size_not_nominal(survey):
    unit = survey.document["units"]["section"]
    for place, pipe in survey.table("pipes"):
        height = pipe.get("height")
        if height is None or pipe.get("size_basis") != "nominal" or survey.size_doubtful(place):
            continue
        if (
            pipe.get("shape", "circular") != "circular"
            or not 40 <= height * survey.millimetre <= 6000
        ):
            continue
        if not nominal(unit, height):
            yield f"/pipes/{place}/height", {
                "height": height,
                "nearest": nearest_nominal(unit, height),
            }


@rule("warning")
def material_newer_than_pipe(survey):
    for place, pipe in survey.table("pipes"):
        laid, first = pipe.get("laid"), FIRST_YEAR.get(pipe.get("material"))
        if None not in (laid, first) and 1600 <= laid < first:
            yield f"/pipes/{place}/material", {"laid": laid, "first": first}


@rule("warning")
def year_laid_implausible(survey):
    for place, pipe in survey.table("pipes"):
        built = pipe.get("material") in ("brick", "stone", "bituminised-fibre", "other")
        if "laid" in pipe and pipe["laid"] < (100 if built else 1600):
            yield f"/pipes/{place}/laid", {"laid": pipe["laid"]}
