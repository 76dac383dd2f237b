"""Doubtful units: lengths and sizes that were probably recorded in another unit."""

from figures import FOOT, most


def lengths(survey):
    """Whether runs show that lengths are in two units. The map is not consulted."""
    ratios = [
        run.far / run.length
        for run in survey.runs
        if run.kind == "reached" and run.far is not None and run.far > 0 and run.length is not None
    ]
    for turned in (False, True):
        agree = sum(abs((1 / ratio if turned else ratio) * FOOT - 1) <= 0.1 for ratio in ratios)
        if agree >= 3 and most(agree, len(ratios)):
            return True
    return False


def _sensible(millimetres):
    return 40 <= millimetres <= 6000


LARGE = (
    "vitrified-clay",
    "concrete",
    "reinforced-concrete",
    "asbestos-cement",
    "brick",
    "stone",
    "ductile-iron",
    "corrugated-metal",
    "bituminised-fibre",
)


def _waste(pipe):
    """Whether a height in millimetres may be that of a waste."""
    circular = pipe.get("shape", "circular") == "circular"
    return circular and 25 <= pipe["height"] <= 50 and pipe.get("material") not in LARGE


def sizes(survey):
    """Whether the section unit is wrong; the places of the pipes whose height makes sense only in
    the other; and the number of those whose height makes sense in one unit only."""
    inches = survey.document["units"]["section"] == "in"
    only_other, only_declared = [], 0
    for place, pipe in survey.table("pipes"):
        height = pipe.get("height")
        if height is None:
            continue
        here, there = height * survey.millimetre, height * (1.0 if inches else 25.4)
        if inches:
            circular = pipe.get("shape", "circular") == "circular"
            wrong = here > 6000 or circular and height > 144 and height in (150, 160, 200, 225)
            tunnel = pipe.get("material") in ("brick", "stone", "corrugated-metal")
            wrong = wrong and not (tunnel and here <= 12000)
        else:
            wrong = (here < 40 or height in (42, 48)) and not _waste(pipe)
        if wrong and _sensible(there):
            only_other.append(place)
        elif _sensible(here) and not _sensible(there):
            only_declared += 1
    of = len(only_other) + only_declared
    return len(only_other) >= 2 and most(len(only_other), of), only_other, of
