"""Random changes to what rows, ratings, pipes, media files and the document state."""

from changes_of_runs import fields, new_id, rows_of
from code_lists import LISTS
from reading import SCHEMA

ASPECTS = ["structural", "operational"]
FIGURES = "peak total mean count per_length runs pipe aspect".split()
PIPE = (
    "height height height width laid laid material material shape size_basis lining inverts"
).split()
SIZES = (8, 8.2, 6, 10.4, 42, 44, 48, 150, 200, 203, 205, 250, 300, 330, 600, 1020, 2.5, 0, -8, 7.9,
         3500)  # fmt: skip
YEARS = (31, 1599, 1600, 1859, 1912, 1929, 1930, 1942, 1953, 1987)
FILES = (
    "a/b.jpg a/b.JPEG a/b.mp4 /a.jpg c:a.jpg a//b.jpg a./b.jpg con.jpg a/com0.jpg a/b b. a\\b.jpg "
    "http://x/y.png a.wav a.pdf a/b?.m4v"
).split() + ["Lpt1 .x.jpg", "a/b\x85.mov", "x" * 256 + ".mp4", "\u00e9" * 126 + ".mp4"]
TYPES = "image/jpeg IMAGE/JPEG video/mp4 audio/mp4 application/pdf image/png".split()
IMPOSSIBLE = (
    "depth duration frame_rate frequency counter_resolution cable_length length joint_spacing"
).split()
AMOUNTS = (0, 1, 3, 10, 12, 25, 30, 75, 100, 101, 204, 300, -1)
UNITS = ["mm", "in", "percent", "degrees"]


def words(name):
    return SCHEMA["$defs"][name]["enum"]


def codes_of(survey):
    coding = survey["coding"]
    return {code["code"]: code for code in LISTS[coding["list"], coding["version"]]["codes"]}


def coding(chance, survey):
    rows, codes = rows_of(chance, survey), codes_of(survey)
    if rows:
        row = chance.choice(rows)
        what = chance.choice([code_replaced, characterised, measured, graded, at_joint])
        what(chance, row, codes.get(row["code"], {}), list(codes))


def code_replaced(chance, row, _, codes):
    row["code"] = chance.choice(codes)


def characterised(chance, row, code, _):
    values = row.setdefault("characterisation", [])
    listed = [item["value"] for place in code.get("characterisation", [])
              for item in place.get("values", [])]  # fmt: skip
    value = chance.choice([*listed, *listed, "no-such", "plastic", "egg"])
    if values and chance.random() < 0.6:
        values[chance.randrange(len(values))] = value
    elif values and chance.random() < 0.3:
        values.pop()
    else:
        values.append(value)


def measured(chance, row, code, _):
    amounts = row.setdefault("quantities", [])
    unit = chance.choice([item["unit"] for item in code.get("quantities", [])] + UNITS)
    value = round(chance.choice(AMOUNTS) * chance.choice([1, 1, 0.1, 1.1]), 2)
    if amounts and chance.random() < 0.7:
        key, new = chance.choice([("value", value), ("unit", unit)])
        chance.choice(amounts)[key] = new
    elif amounts and chance.random() < 0.3:
        amounts.pop()
    else:
        amounts.append({"value": value, "unit": unit})


def graded(chance, row, *_):
    grades = row.setdefault("grades", {})
    aspect = chance.choice(ASPECTS)
    grades[aspect] = chance.randrange(7)
    if chance.random() < 0.2:
        del grades[aspect]
    if not grades:
        del row["grades"]


def at_joint(chance, row, *_):
    row["joint"] = chance.random() < 0.6


def cross_section(chance, survey):
    """A row that changes the cross-section, or a water level."""
    rows, codes = rows_of(chance, survey), codes_of(survey)
    role = chance.choice(["material-change", "size-change", "shape-change", "level", "level"])
    named = [code["code"] for code in codes.values() if code.get("role") == role]
    if not rows or not named:
        return
    place = chance.randrange(len(rows))
    at = round(rows[place]["at"] + chance.choice([0, 0, 1, 3]), 2)
    row = {"id": new_id(chance), "at": at, "code": chance.choice(named)}
    if role == "level":
        row["quantities"] = [{"value": chance.choice([5, 20, 36, 50, 101]), "unit": "percent"}]
    elif role == "size-change":
        value, unit = chance.choice([200, 203.2, 204.2, 8, 10, 300]), chance.choice(["mm", "in"])
        row["quantities"] = [{"value": value, "unit": unit}]
    else:
        values = "clayware plastic concrete other egg circular no-such".split()
        row["characterisation"] = [chance.choice(values)]
    rows.insert(place + 1, row)


def rating(chance, survey):
    if not survey.get("ratings"):
        return
    row = chance.choice(survey["ratings"])
    key = chance.choice(FIGURES)
    runs = [run["id"] for run in survey["runs"]]
    pipes = [pipe["id"] for pipe in survey["pipes"]]
    figures = [0, 1, 2, 3, 22, 22.011, round(row.get(key, 1) * chance.uniform(0.998, 1.002), 4)
               if key not in ("runs", "pipe", "aspect") else 1]  # fmt: skip
    row[key] = {
        "runs": lambda: chance.choice([[], [chance.choice(runs)], runs, ["no-such"]]),
        "pipe": lambda: chance.choice([*pipes, "no-such"]),
        "aspect": lambda: chance.choice(ASPECTS),
        "count": lambda: chance.choice([0, 1, 2, 11, row.get("count", 0) + 1]),
    }.get(key, lambda: chance.choice(figures))()


def pipe(chance, survey):
    if not survey["pipes"]:
        return
    row = chance.choice(survey["pipes"])
    key = chance.choice(PIPE)
    row[key] = {
        "height": lambda: chance.choice(SIZES),
        "width": lambda: chance.choice([0, -1, 8, 200, 205]),
        "laid": lambda: chance.choice(YEARS),
        "material": lambda: chance.choice(words("Material")),
        "shape": lambda: chance.choice(words("Shape")),
        "size_basis": lambda: chance.choice(words("SizeBasis")),
        "lining": lambda: "cured in place",
        "inverts": lambda: {"upstream": 100, "downstream": chance.choice([99, 100, 90])},
    }[key]()
    if chance.random() < 0.2:
        del row[key]
    elif key == "height" and chance.random() < 0.3:
        for other in survey["pipes"]:
            other["height"] = row["height"]


def media_file(chance, survey):
    if survey.get("media"):
        row = chance.choice(survey["media"])
        row["file"] = chance.choice(FILES)
        if chance.random() < 0.5:
            row["kind"] = chance.choice(words("MediaKind"))
        if chance.random() < 0.5:
            row["type"] = chance.choice(TYPES)
        elif chance.random() < 0.3:
            row.pop("type", None)


def impossible(chance, survey):
    places = fields(survey, ("equipment", "structures", "media", "pipes"), IMPOSSIBLE)
    if places:
        holder, key = chance.choice(places)
        holder[key] = chance.choice([0, -1, 0.5])


def document(chance, survey):
    kind = chance.randrange(3)
    if kind == 0:
        survey["runs"] = []
    elif kind == 1:
        survey["review"] = {"status": chance.choice(words("ReviewStatus"))}
        if survey["parties"] and chance.random() < 0.5:
            survey["review"] |= {"by": survey["parties"][0]["id"], "at": "2026-05-08T09:00:00Z"}
    else:
        other = "urn:uuid:00000000-0000-4000-8000-000000000000"
        survey["revises"] = {"id": chance.choice([survey["id"], other])}
