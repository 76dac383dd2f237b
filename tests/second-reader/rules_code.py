"""The rules of the family code but for those about clock references."""

from catalogue import rule
from code_lists import measured, places
from figures import factor, in_range

# code-lists.md, Quantities: what is measured across the pipe.
ACROSS = ("height", "width", "depth", "offset", "drop", "bulge", "size")
LENGTHS = ("mm", "in", "m", "ft", "us-ft")


@rule("error")
def code_unknown(survey):
    if survey.list is None:
        return
    for run, index, row in survey.rows():
        if row["code"] not in survey.codes:
            facts = {"code": row["code"], "list": survey.list["id"]}
            yield run.path("observations", index, "code"), facts


def foreign_wall(survey, run, row):
    """Whether the wall at a row may be that of a lining or a repair that the run records."""
    start, end = row["at"] * run.metre, row.get("to", row["at"]) * run.metre
    lined = within = False
    for other in run.rows:
        first, last = other["at"] * run.metre, other.get("to", other["at"]) * run.metre
        if survey.means(other, "lining.start") and first <= start + 0.5:
            lined = True
        elif survey.means(other, "lining.finish"):
            within = within or first >= start - 0.5 and not lined
            lined = lined and first >= start - 0.5
        elif survey.means(other, "repair.", "lining."):
            reach = 3.0
            for meaning, _, amount in measured(survey.codes[other["code"]], other):
                if meaning["name"] == "length" and amount is not None:
                    reach = max(reach, amount * factor(meaning["unit"], "m"))
            if other.get("continuous") or "to" in other:
                reach = 0.5
            if first - reach <= end and start <= last + reach:
                return True
    return lined or within


@rule("error")
def material_excludes_code(survey):
    for run, index, row, code, path in survey.coded_rows:
        material = run.cross_sections[index].material
        if "lining" in (run.pipe or {}) or material in (None, "other"):
            continue
        if run.elsewhere("material-change"):
            continue
        if code.get("materials") and material not in code["materials"]:
            if foreign_wall(survey, run, row):
                continue
            yield f"{path}/code", {"material": material, "materials": code["materials"]}


@rule("error")
def shape_excludes_code(survey):
    for run, index, row, code, path in survey.coded_rows:
        shape = run.cross_sections[index].shape
        if run.elsewhere("shape-change"):
            continue
        if code.get("shapes") and shape not in (None, "other", *code["shapes"]):
            yield f"{path}/code", {"shape": shape, "shapes": code["shapes"]}


@rule("warning")
def joint_required(survey):
    for _, _, row, code, path in survey.coded_rows:
        if code["joint"] == "required" and not row.get("joint"):
            yield path + ("/joint" if "joint" in row else ""), {}


@rule("warning")
def joint_impossible(survey):
    for _, _, row, code, path in survey.coded_rows:
        if code["joint"] == "never" and row.get("joint"):
            yield f"{path}/joint", {}


@rule("error")
def characterisation_missing(survey):
    for _, _, row, code, path in survey.coded_rows:
        recorded = row.get("characterisation", [])
        missing = [
            place["name"]
            for place in code.get("characterisation", [])[len(recorded) :]
            if place["required"]
        ]
        if missing:
            yield path + ("/characterisation" if recorded else ""), {"missing": missing[0]}


def listed(place, value):
    return any(item["value"] == value for item in place.get("values", ()))


def characterised(row, code):
    """(index, value, place) of each characterisation that has a place."""
    pairs = zip(row.get("characterisation", ()), code.get("characterisation", ()))
    for index, (value, place) in enumerate(pairs):
        yield index, value, place


@rule("error")
def characterisation_unknown(survey):
    for _, _, row, code, path in survey.coded_rows:
        for index, value, place in characterised(row, code):
            if place.get("values") and not place.get("open") and not listed(place, value):
                yield f"{path}/characterisation/{index}", {"value": value}


@rule("warning")
def characterisation_unexpected(survey):
    for _, _, row, code, path in survey.coded_rows:
        recorded, taken = len(row.get("characterisation", ())), len(
            code.get("characterisation", ())
        )
        if recorded > taken:
            yield f"{path}/characterisation/{taken}", {"recorded": recorded, "places": taken}


@rule("error")
def quantity_missing(survey):
    for _, _, row, code, path in survey.coded_rows:
        recorded = row.get("quantities", [])
        meant = places(code, row.get("characterisation", []))
        missing = [place["name"] for place in meant[len(recorded) :] if place.get("required")]
        if missing:
            yield path + ("/quantities" if recorded else ""), {"missing": missing}


@rule("error")
def quantity_unit(survey):
    for _, _, row, code, path in survey.coded_rows:
        for index, (place, quantity, amount) in enumerate(measured(code, row)):
            if amount is None:
                facts = {"unit": quantity["unit"], "expected": place["unit"]}
                yield f"{path}/quantities/{index}/unit", facts


@rule("error")
def quantity_range(survey):
    for _, _, row, code, path in survey.coded_rows:
        for index, (place, _, amount) in enumerate(measured(code, row)):
            if amount is not None and not in_range(place, amount):
                facts = {"amount": amount, "unit": place["unit"]}
                yield f"{path}/quantities/{index}/value", facts


@rule("warning")
def quantity_unexpected(survey):
    for _, _, row, code, path in survey.coded_rows:
        recorded = len(row.get("quantities", ()))
        taken = len(places(code, row.get("characterisation", [])))
        own = any(
            place.get("open") and not listed(place, value)
            for _, value, place in characterised(row, code)
        )
        if recorded > taken and not own:
            yield f"{path}/quantities/{taken}", {"recorded": recorded, "places": taken}


def slope(survey, pipe):
    """How much the inverts of a pipe differ over its length, or None."""
    if not pipe or not pipe.get("length", 0) > 0:
        return None
    inverts = []
    for end in ("upstream", "downstream"):
        structure = survey.row("structures", pipe.get(end)) or {}
        inverts.append(pipe.get("inverts", {}).get(end, structure.get("invert")))
    return None if None in inverts else abs(inverts[0] - inverts[1]) / pipe["length"]


def level(code, row):
    """The water level that a row records, in percent, or None."""
    for place, _, amount in measured(code, row):
        sensible = place["unit"] == "percent" and amount is not None and in_range(place, amount)
        return amount if sensible else None
    return None


@rule("warning")
def water_level_jump(survey):
    step = survey.limit("water-level-jump", "step", 30)
    most = survey.limit("water-level-jump", "within", 1.5)
    for run in survey.runs:
        if run.disordered or survey.lengths_doubtful:
            continue
        last = None
        for index, row in enumerate(run.rows):
            role = survey.role(row)
            if role in ("size-change", "shape-change"):
                last = None
            now = level(survey.codes[row["code"]], row) if role == "level" else None
            if now is None:
                continue
            before, last = last, (row.get("to", row["at"]), now)
            if before is None:
                continue
            way = (row["at"] - before[0]) * run.metre
            fall, height = slope(survey, run.pipe), run.cross_sections[index].height
            gain = 0 if None in (fall, height) else fall * way * 1000 / height * 100
            if 0 <= way <= most and abs(now - before[1]) > step + gain:
                facts = {"before": before[1], "level": now}
                yield run.path("observations", index, "quantities", 0, "value"), facts


@rule("warning")
def quantity_exceeds_pipe(survey):
    for run, index, row, code, path in survey.coded_rows:
        height = run.cross_sections[index].height
        if height is not None:
            height = max(height, (run.pipe or {}).get("width", 0) * survey.millimetre)
        if height is None or code.get("role") == "size-change":
            continue
        if survey.size_doubtful(survey.place("pipes", run.row["pipe"])):
            continue
        for number, (place, _, amount) in enumerate(measured(code, row)):
            gap = place["name"] == "gap" and code["joint"] == "never"
            if place["name"] not in ACROSS and not gap:
                continue
            if place["unit"] not in LENGTHS or amount is None:
                continue
            limit = height
            pipe = survey.row("pipes", run.row["pipe"]) or {}
            if place["name"] in ("width", "gap") and "width" in pipe:
                limit = max(height, pipe["width"] * survey.millimetre)
            millimetres = amount * factor(place["unit"], "mm")
            if in_range(place, amount) and millimetres > limit * 1.1:
                yield f"{path}/quantities/{number}/value", {"millimetres": millimetres}
