"""Grades observations by a scheme, over links between code lists where need be, and rolls grades up."""
import math

from figures import convert, factor, reaches, times_counted
from survey import LISTS

CLASSES = {
    "clayware": ("vitrified-clay",), "concrete": ("concrete", "reinforced-concrete", "asbestos-cement"),
    "plastic": ("pvc", "polyethylene", "polypropylene", "abs", "glass-reinforced-plastic"),
    "metal": ("cast-iron", "ductile-iron", "steel", "corrugated-metal"),
    "masonry": ("brick", "stone"), "other": ("bituminised-fibre", "other"),
}
CLASS = {material: name for name, materials in CLASSES.items() for material in materials}
SHAPES = ("circular", "egg", "oval", "rectangular", "horseshoe", "arch", "u-shaped", "other")


def begins(values, start):
    return values[:len(start)] == start


def places(code, characterisation):
    """The amounts that the code has for a row, in order."""
    return [item for item in code.get("quantities", ()) if begins(characterisation, item.get("when", []))]


def amounts(code, row):
    """The recorded amounts by name, in the list's units; None where the dimension is another."""
    found = {}
    for place, amount in zip(places(code, row.get("characterisation", [])), row.get("quantities", ())):
        found[place["name"]] = convert(amount["value"], amount["unit"], place["unit"])
    return found


def bore(run, index):
    """Material class and height in millimetres where the row stands; None for what is not known."""
    survey, pipe = run.survey, run.pipe or {}
    inch = factor(survey.document["units"]["section"], "mm")
    material = CLASS.get(pipe.get("material"))
    height = pipe["height"] * inch if "height" in pipe else None
    # Before its first change stands the pipe's row, unless the record speaks of what comes after.
    before = {"material": material, "height": height}
    now, changed = dict(before), set()
    for row_index, row in enumerate(run.rows):
        role = survey.role(row)
        kind = {"material-change": "material", "size-change": "height"}.get(role)
        if kind is None:
            continue
        first = row.get("characterisation", [None])[0]
        if kind == "material":
            after = first if first in CLASSES else None
            same = after is not None and after == material
        else:
            after = amounts(survey.codes[row["code"]], row).get("height")
            same = after is not None and height is not None and abs(after - height) <= 1
        if kind not in changed:
            changed.add(kind)
            if same and row_index > index:
                now[kind] = None
        if row_index <= index:
            now[kind] = after
    if now["height"] is not None and not 50 <= now["height"] <= 3657.6:
        now["height"] = None
    return now["material"], now["height"]


def linked(survey, row, scheme):
    """(code, characterisation, amounts) of a row in the scheme's list, or None without an exact link."""
    wanted = scheme["code_list"]
    own = survey.codes.get(row["code"])
    if own is None:
        return None
    if (survey.list["id"], survey.list["version"]) == (wanted["list"], wanted["version"]):
        return row["code"], row.get("characterisation", []), amounts(own, row)
    if "example.obvert.original" in row.get("extensions", {}):
        return None  # translated with a loss: what stands here is not what was seen
    other = LISTS.get((wanted["list"], wanted["version"]))
    if other is None:
        return None
    recorded = row.get("characterisation", [])
    links = [(len(link.get("when", [])), link.get("fit", "exact") == "exact", link["code"],
              link.get("characterisation", []), {pair["own"]: pair["other"] for pair in link.get("quantities", ())})
             for link in own.get("same_as", ())
             if link["list"] == wanted["list"] and begins(recorded, link.get("when", []))]
    if not any(link["list"] == wanted["list"] for link in own.get("same_as", ())):
        for code in other["codes"]:
            for link in code.get("same_as", ()):
                theirs = link.get("characterisation", [])
                if (link["list"], link["code"]) == (survey.list["id"], row["code"]) \
                        and link.get("fit", "exact") == "exact" and begins(recorded, theirs):
                    names = {pair["other"]: pair["own"] for pair in link.get("quantities", ())}
                    links.append((len(theirs), True, code["code"], link.get("when", []), names))
    if not links:
        return None
    best = max(link[:2] for link in links)
    fitting = [link for link in links if link[:2] == best]
    if not best[1] or len(fitting) != 1:
        return None
    _, _, code, characterisation, names = fitting[0]
    target = next(item for item in other["codes"] if item["code"] == code)
    units = {item["name"]: item["unit"] for item in places(target, characterisation)}
    found = {}
    for place, amount in zip(places(own, recorded), row.get("quantities", ())):
        name = names.get(place["name"])
        if name in units:
            found[name] = convert(amount["value"], amount["unit"], units[name])
    return code, characterisation, found


def computed(run, index, aspect, scheme):
    """The grade that the scheme gives to a row, or None."""
    taken = linked(run.survey, run.rows[index], scheme)
    if taken is None:
        return None
    code, characterisation, found = taken
    material, height = bore(run, index)
    for entry in scheme.get("entries", ()):
        if (entry["code"], entry["aspect"]) != (code, aspect):
            continue
        if not begins(characterisation, entry.get("characterisation", [])):
            continue
        if entry.get("materials") and material not in entry["materials"]:
            continue
        size = entry.get("size")
        if size is not None:
            if height is None or ("from" in size and not reaches(height, size["from"])) \
                    or ("below" in size and reaches(height, size["below"])):
                continue
        for band in entry.get("bands", ()):
            amount = found.get(band["quantity"])
            if amount is not None and reaches(amount, band["from"]) \
                    and not ("below" in band and reaches(amount, band["below"])):
                return band["grade"]
        return entry.get("grade")
    return None


def peak(rollup, scale, grades, places_of):
    """The peak of all grades, `places_of` being for each run (place in metres, grade) of every count."""
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
                sums[number] = sum(grade for place, grade in counted
                                   if -1e-9 <= (place - start) / length < 1 - 1e-9)
        for value in sums.values():
            greatest = value if greatest is None else max(greatest, value)
    return greatest


def rolled(survey, scheme, pipe, aspect, only_computed=False, runs=None):
    """The figures of a rating, or None where grades cannot be counted."""
    rollup, metre = scheme["rollup"], survey.metre
    interval = convert(rollup["interval"]["value"], rollup["interval"]["unit"], "m")
    per = convert(rollup["per_length"]["value"], rollup["per_length"]["unit"], "m")
    low, high = sorted((scheme["scale"]["best"], scheme["scale"]["worst"]))
    total = count = 0
    surveyed, grades, places_of = 0.0, [], []
    for run in survey.runs:
        if run.row["pipe"] != pipe or (runs is not None and run.row["id"] not in runs):
            continue
        if run.surveyed is None:
            surveyed = None
        elif surveyed is not None:
            surveyed += (run.surveyed - run.reads) * metre
        counted = []
        for index, row in enumerate(run.rows):
            grade = None if only_computed else row.get("grades", {}).get(aspect)
            if grade is None:
                grade = computed(run, index, aspect, scheme)
            if grade is None:
                continue
            times = 1
            if row.get("continuous") or "to" in row:
                if "to" not in row or row["to"] < row["at"]:
                    return None
                times = times_counted((row["to"] - row["at"]) * metre, interval)
            if not low <= grade <= high:
                return None
            total, count = total + grade * times, count + times
            grades.append(grade)
            place = (row["at"] - run.reads) * metre
            counted += [(place + number * interval, grade) for number in range(times)]
        places_of.append(counted)
    figures = {"total": total, "count": count}
    if surveyed:
        figures["per_length"] = total / surveyed * per
    if count:
        figures["mean"] = total / count
        figures["peak"] = peak(rollup, scheme["scale"], grades, places_of)
    return figures
