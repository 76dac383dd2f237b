"""What a code list says of a row: its code, the places for its quantities, its links."""

import json
from typing import NamedTuple

from figures import convert, in_range
from reading import ROOT, SCHEMA

LISTS = {}
for _name in ("obvert-terms", "en-13508-2"):
    _list = json.loads((ROOT / f"schema/{_name}.json").read_text("utf-8"))
    LISTS[_list["id"], _list["version"]] = _list
# code-lists.md, Material classes
CLASSES = {
    "clayware": ("vitrified-clay",),
    "concrete": ("concrete", "reinforced-concrete", "asbestos-cement"),
    "plastic": ("pvc", "polyethylene", "polypropylene", "abs", "glass-reinforced-plastic"),
    "metal": ("cast-iron", "ductile-iron", "steel", "corrugated-metal"),
    "masonry": ("brick", "stone"),
    "fibre": ("bituminised-fibre",),
    "other": ("other",),
}
CLASS = {material: name for name, materials in CLASSES.items() for material in materials}
SHAPES = SCHEMA["$defs"]["Shape"]["enum"]


class Coded(NamedTuple):
    """A row as a grade scheme's code list has it."""

    code: str
    characterisation: list
    # By name, in the list's units: None if the dimension is another.
    amounts: dict
    # The names of the amounts that are outside a code list's range.
    outside: set
    # The names of the quantities that the list requires.
    required: set
    # Whether the row was coded in another list.
    linked: bool
    # Whether the link dropped a characterisation or a quantity.
    dropped: bool


def begins(values, start):
    return values[: len(start)] == start


def places(code, characterisation):
    """The quantities that the code has for a characterisation, in order."""
    return [
        item
        for item in code.get("quantities", ())
        if begins(characterisation, item.get("when", []))
    ]


def measured(code, row):
    """(place, recorded quantity, amount in the list's unit) of each quantity that has a place."""
    for place, quantity in zip(
        places(code, row.get("characterisation", [])), row.get("quantities", ())
    ):
        yield place, quantity, convert(quantity["value"], quantity["unit"], place["unit"])


def amounts(code, row):
    """The amounts by name, in the list's units: None if the dimension is another."""
    return {place["name"]: amount for place, _, amount in measured(code, row)}


def _outside(code, row):
    return {
        place["name"]
        for place, _, amount in measured(code, row)
        if amount is not None and not in_range(place, amount)
    }


def _required(code, characterisation):
    return {place["name"] for place in places(code, characterisation) if place.get("required")}


def _links(survey, row, own, other):
    """(length of the condition, exact, code, characterisation, names) of each link."""
    recorded = row.get("characterisation", [])
    links = [link for link in own.get("same_as", ()) if link["list"] == other["id"]]
    for link in links:
        condition = link.get("when", [])
        if begins(recorded, condition):
            names = {pair["own"]: pair["other"] for pair in link.get("quantities", ())}
            yield (
                len(condition),
                link.get("fit", "exact") == "exact",
                link["code"],
                link.get("characterisation", []),
                names,
            )
    if links:
        return
    # A code without a link to a list follows that list's exact links backwards.
    for code in other["codes"]:
        for link in code.get("same_as", ()):
            condition = link.get("characterisation", [])
            if (
                (link["list"], link["code"]) == (survey.list["id"], row["code"])
                and link.get("fit", "exact") == "exact"
                and begins(recorded, condition)
            ):
                names = {pair["other"]: pair["own"] for pair in link.get("quantities", ())}
                yield len(condition), True, code["code"], link.get("when", []), names


def coded(survey, row, wanted):
    """The row in another code list, or None without a single best link that is exact."""
    key = id(row), wanted["list"], wanted["version"]
    if key not in survey.coded:
        survey.coded[key] = _coded(survey, row, wanted)
    return survey.coded[key]


def _coded(survey, row, wanted):
    own = survey.codes.get(row["code"])
    if own is None:
        return None
    recorded = row.get("characterisation", [])
    if survey.list["id"] == wanted["list"]:
        return Coded(
            row["code"],
            recorded,
            amounts(own, row),
            _outside(own, row),
            _required(own, recorded),
            False,
            False,
        )
    if "example.obvert.original" in row.get("extensions", {}):
        return None  # translated with a loss: the row does not have what was seen
    other = LISTS.get((wanted["list"], wanted["version"]))
    links = list(_links(survey, row, own, other)) if other else []
    if not links:
        return None
    best = max(link[:2] for link in links)
    fitting = [link for link in links if link[:2] == best]
    if not best[1] or len(fitting) != 1:
        return None
    condition, _, code, characterisation, names = fitting[0]
    target = next(item for item in other["codes"] if item["code"] == code)
    meant = {item["name"]: item for item in places(target, characterisation)}
    found, outside, kept = {}, set(), 0
    for place, quantity, amount in measured(own, row):
        name = names.get(place["name"])
        if name not in meant:
            continue
        kept += 1
        found[name] = convert(quantity["value"], quantity["unit"], meant[name]["unit"])
        if amount is not None and not (
            in_range(place, amount) and in_range(meant[name], found[name])
        ):
            outside.add(name)
    dropped = len(recorded) > condition or len(row.get("quantities", ())) > kept
    return Coded(code, characterisation, found, outside, set(), True, dropped)
