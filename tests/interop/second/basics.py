"""What the whole specification stands on: numbers, units, amounts, clocks, the canonical form; the lists and schemes of schema/."""

import json
import pathlib
import re

LENGTH = {"ft": 0.3048, "us-ft": 1200 / 3937, "m": 1.0}
SECTION = {"in": 25.4, "mm": 1.0}
TENTHS = {"mm": (10, 1), "in": (254, 1), "m": (10_000, 1), "ft": (3048, 1), "us-ft": (12_000_000, 3937)}


ROOT = pathlib.Path(__file__).resolve().parents[3]


def read(path):
    return json.loads((ROOT / path).read_text(encoding="utf-8"))


LISTS = {(one["id"], one["version"]): one for one in (read("schema/obvert-terms.json"), read("schema/en-13508-2.json"))}
SCHEMES = {(one["id"], one["version"]): one for one in (read("schema/obvert-grades.json"),)}
# code-lists.md, Material classes
CLASSES = {}
for line in (ROOT / "spec/codes/code-lists.md").read_text(encoding="utf-8").splitlines():
    cells = re.findall(r"`([a-z-]+)`", line)
    if re.match(r"\| `(clayware|concrete|plastic|metal|masonry|other)` \| `", line):
        CLASSES.update({material: cells[0] for material in cells[1:]})


SHAPES = set(read("schema/document.schema.json")["$defs"]["Shape"]["enum"])


# canonical.md
def canonical(value):
    if isinstance(value, bool) or value is None:
        return {True: "true", False: "false", None: "null"}[value]
    if isinstance(value, (int, float)):
        return number(float(value))
    if isinstance(value, str):
        short = {8: "\\b", 9: "\\t", 10: "\\n", 12: "\\f", 13: "\\r", 34: '\\"', 92: "\\\\"}
        return '"' + "".join(short.get(ord(c), f"\\u{ord(c):04x}" if ord(c) < 32 else c) for c in value) + '"'
    if isinstance(value, list):
        return "[" + ",".join(map(canonical, value)) + "]"
    keys = sorted(value, key=lambda key: key.encode("utf-16-be"))
    return "{" + ",".join(f"{canonical(key)}:{canonical(value[key])}" for key in keys) + "}"


def number(value):
    """ECMAScript's Number::toString, from Python's shortest digits."""
    if value == 0:
        return "0"
    sign, digits = ("-" if value < 0 else ""), repr(abs(value))
    mantissa, _, exponent = digits.partition("e")
    whole, _, fraction = mantissa.partition(".")
    digits = (whole + fraction).lstrip("0")
    point = len(whole) + int(exponent or 0) - (len(whole + fraction) - len((whole + fraction).lstrip("0")))
    digits = digits.rstrip("0")
    if 0 < point <= 21:
        text = digits.ljust(point, "0") if len(digits) <= point else digits[:point] + "." + digits[point:]
    elif -6 < point <= 0:
        text = "0." + "0" * -point + digits
    else:
        power = point - 1
        text = digits[0] + ("." + digits[1:] if len(digits) > 1 else "") + f"e{'+' if power >= 0 else '-'}{abs(power)}"
    return sign + text


def content(value, extension=False):
    """The content with empty lists left out; extensions are kept as they are."""
    if isinstance(value, dict):
        return {k: content(v, extension or k == "extensions") for k, v in value.items() if extension or v != []}
    return [content(item, extension) for item in value] if isinstance(value, list) else value


# conventions.md, Ranges; checking.md, Numbers
def exceeds(value, limit):
    return value > limit + 1e-9 * abs(limit)


def reaches(value, edge):
    return value >= edge - 1e-9 * max(1, abs(edge))


def within(value, low, below):
    return (low is None or reaches(value, low)) and (below is None or not reaches(value, below))


def in_range(meaning, value):
    low, high = meaning.get("min"), meaning.get("max")
    return (low is None or reaches(value, low)) and (high is None or reaches(-value, -high))


def most(some, of):
    return some > 0 and some * 5 >= of * 4


def tolerance(metres):
    return max(0.005 * abs(metres), 0.3048)


# conventions.md, Clock references
def valid(hour):
    return 1 <= hour <= 12.5 and hour * 2 == int(hour * 2)


def clock_reading(clock):
    keys = {key for key in ("at", "from", "to") if key in clock}
    return "point" if keys == {"at"} else "arc" if keys == {"from", "to"} else None


# code-lists.md, Quantities; conventions.md, Units
def amounts(code, row):
    recorded = row.get("characterisation", [])
    return [q for q in code.get("quantities", []) if recorded[: len(q.get("when", []))] == q.get("when", [])]


def factor(unit, other):
    if unit in TENTHS and other in TENTHS:
        (a, b), (c, d) = TENTHS[unit], TENTHS[other]
        return (a * d) / (b * c)
    return 1.0 if unit == other else None


def amount(code, row, place):
    recorded, meant = row.get("quantities", []), amounts(code, row)
    if place >= len(recorded) or place >= len(meant):
        return None
    by = factor(recorded[place]["unit"], meant[place]["unit"])
    return None if by is None else recorded[place]["value"] * by
