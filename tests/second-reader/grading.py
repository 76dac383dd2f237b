"""Grades observations by a scheme, over links between code lists if need be."""

import json

from code_lists import begins, coded
from figures import within
from reading import ROOT

SCHEMES = {}
_scheme = json.loads((ROOT / "schema/obvert-grades.json").read_text("utf-8"))
SCHEMES[_scheme["id"], _scheme["version"]] = _scheme


def on_scale(scheme, grade):
    return any(step["grade"] == grade for step in scheme["scale"]["steps"])


def aspects(scheme, code):
    """The aspects in which a scheme grades a code of its list."""
    return {entry["aspect"] for entry in scheme.get("entries", ()) if entry["code"] == code}


def _by_band(entry, row):
    """The grade that an entry gives, and whether the quantities make it certain."""
    names = [band["quantity"] for band in entry.get("bands", ())]
    for band in entry.get("bands", ()):
        amount = row.amounts.get(band["quantity"])
        if amount is not None and within(amount, band["from"], band.get("below")):
            return band["grade"], band["quantity"] not in row.outside
    # A recorded quantity is in the wrong unit or in no band.
    certain = not any(name in row.amounts or row.linked or name in row.required for name in names)
    return entry.get("grade"), certain


def computed(run, index, aspect, scheme):
    """The grade that the scheme gives to a row, or None; and whether it is certain."""
    key = run.place, index, aspect, id(scheme)
    if key not in run.survey.grades:
        run.survey.grades[key] = _computed(run, index, aspect, scheme)
    return run.survey.grades[key]


def _computed(run, index, aspect, scheme):
    row = coded(run.survey, run.rows[index], scheme["code_list"])
    return grade_of(row, run.cross_sections[index], aspect, scheme)


def grade_of(row, section, aspect, scheme):
    """The grade of a row that is coded in the scheme's list, and whether it is certain."""
    if row is None:
        return None, False
    certain = not row.dropped
    for entry in scheme.get("entries", ()):
        if (entry["code"], entry["aspect"]) != (row.code, aspect):
            continue
        if not begins(row.characterisation, entry.get("characterisation", [])):
            continue
        material = size = True
        if entry.get("materials"):
            material = None if section.material is None else section.material in entry["materials"]
        if "size" in entry:
            edges = entry["size"].get("from"), entry["size"].get("below")
            size = None if section.height is None else within(section.height, *edges)
        if False in (material, size):
            continue
        if None in (material, size):
            certain = False
            continue
        grade, sound = _by_band(entry, row)
        return grade, certain and sound
    return None, certain
