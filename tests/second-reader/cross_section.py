"""The cross-section along a run, from the pipe's row and the changes that the run records."""

from typing import NamedTuple

from code_lists import CLASS, CLASSES, SHAPES, amounts
from figures import factor

CHANGES = {"material-change": "material", "size-change": "height", "shape-change": "shape"}


class CrossSection(NamedTuple):
    """What is known of the cross-section at a row; None for what is not."""

    material: str | None
    height: float | None  # in millimetres
    shape: str | None


def _after(run, row, kind):
    """What a change leads to."""
    first = row.get("characterisation", [None])[0]
    if kind == "material":
        return first if first in CLASSES else None
    if kind == "shape":
        return first if first in SHAPES else None
    code = run.survey.codes[row["code"]]
    unit = next(
        (item["unit"] for item in code.get("quantities", ()) if item["name"] == "height"), None
    )
    height = amounts(code, row).get("height")
    return None if height is None else height * factor(unit, "mm")


def _same(kind, stated, after):
    if stated is None or after is None:
        return False
    return abs(after - stated) <= 1 if kind == "height" else after == stated


def along(run):
    """The cross-section at each row of a run."""
    pipe = run.pipe or {}
    stated = {
        "material": CLASS.get(pipe.get("material")),
        "height": pipe["height"] * run.survey.millimetre if "height" in pipe else None,
        "shape": pipe.get("shape"),
    }
    changes = []
    for index, row in enumerate(run.rows):
        kind = CHANGES.get(run.survey.role(row))
        if kind is not None:
            changes.append((index, kind, _after(run, row, kind)))
    now = dict(stated)
    for kind in stated:
        first = next((after for _, changed, after in changes if changed == kind), None)
        if _same(kind, stated[kind], first):
            # The pipe's row describes what follows the change: before it, nothing is known.
            now[kind] = None
    found = []
    for index in range(len(run.rows)):
        for place, kind, after in changes:
            if place == index:
                now[kind] = after
        height = now["height"]
        sensible = height is not None and 50 <= height <= 3657.6
        found.append(CrossSection(now["material"], height if sensible else None, now["shape"]))
    return found
