"""Reads a document: JSON by RFC 8259, and every structural problem by name and place.

What the JSON Schema sees is translated from its errors to the format's names;
duplicate keys and ids, which it cannot see, are found here.
"""

import json
from pathlib import Path

import jsonschema

ROOT = Path(__file__).resolve().parents[2]
SCHEMA = json.loads((ROOT / "schema/document.schema.json").read_text("utf-8"))
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
TABLES = ("parties", "equipment", "structures", "pipes", "media", "locates", "ratings", "runs")
PASSED = {}
# conformance.md, Document, 2.
DEEPEST = 127


class NotJson(Exception):
    """No JSON text, or one that this reader refuses before it looks at its structure."""


class Members(dict):
    """An object that remembers its duplicate keys."""

    duplicates = ()


def escape(part):
    """A part of a JSON Pointer."""
    return str(part).replace("~", "~0").replace("/", "~1")


def pointer(parts):
    return "".join("/" + escape(part) for part in parts)


def _members(pairs):
    found = Members(pairs)
    if len(found) != len(pairs):
        seen, duplicates = set(), []
        for key, _ in pairs:
            if key in seen and key not in duplicates:
                duplicates.append(key)
            seen.add(key)
        found.duplicates = duplicates
    return found


def _refuse(word):
    raise NotJson(word)


def _number(text):
    # A double, as the format says; whole ones as int so that they print without a point.
    value = float(text)
    return int(value) if value.is_integer() and abs(value) <= 2**53 else value


def _depth(text):
    depth = deepest = 0
    inside = escaped = False
    for letter in text:
        if inside:
            if escaped:
                escaped = False
            elif letter == "\\":
                escaped = True
            elif letter == '"':
                inside = False
        elif letter == '"':
            inside = True
        elif letter in "[{":
            depth += 1
            deepest = max(deepest, depth)
        elif letter in "]}":
            depth -= 1
    return deepest


def _texts(value):
    """Every text and key, without recursion: the depth is limited, but not low."""
    stack = [value]
    while stack:
        item = stack.pop()
        if isinstance(item, str):
            yield item
        elif isinstance(item, dict):
            yield from item
            stack.extend(item.values())
        elif isinstance(item, list):
            stack.extend(item)


def parse(data):
    """The value that the bytes hold."""
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise NotJson("encoding") from error
    text = text.removeprefix("\ufeff")
    if not text.strip(" \t\r\n"):
        raise NotJson("empty")
    if _depth(text) > DEEPEST:
        raise NotJson("too deep")
    try:
        value = json.loads(
            text,
            object_pairs_hook=_members,
            parse_constant=_refuse,
            parse_int=_number,
            parse_float=_number,
        )
    except ValueError as error:
        raise NotJson("syntax") from error
    for item in _texts(value):
        if any("\ud800" <= letter <= "\udfff" for letter in item):
            raise NotJson("lone surrogate")
    return value


def _duplicate_keys(value, path, problems):
    if isinstance(value, dict):
        for key in getattr(value, "duplicates", ()):
            problems.append(("duplicate-key", pointer(path + [key])))
        for key, item in value.items():
            _duplicate_keys(item, path + [key], problems)
    elif isinstance(value, list):
        for place, item in enumerate(value):
            _duplicate_keys(item, path + [place], problems)


def _duplicate_ids(rows, path, problems):
    seen = set()
    for place, row in enumerate(rows if isinstance(rows, list) else ()):
        if not isinstance(row, dict) or not isinstance(row.get("id"), str):
            continue
        if row["id"] in seen:
            problems.append(("duplicate-id", pointer(path + [place, "id"])))
        seen.add(row["id"])


def _named(error):
    """The problems, by the format's names, that an error of the schema means."""
    path, value = list(error.absolute_path), error.instance
    keyword = error.validator
    if keyword == "additionalProperties":
        known = error.schema.get("properties", {})
        return [("unknown-key", pointer(path + [key])) for key in value if key not in known]
    if "propertyNames" in error.absolute_schema_path:
        return [("text-form", pointer(path + [value]))]
    kind = {
        "required": "missing-key",
        "minProperties": "missing-key",
        "minLength": "empty-text",
        "minimum": "number-range",
        "maximum": "number-range",
        "minItems": "wrong-type",
        "maxItems": "wrong-type",
    }.get(keyword)
    if keyword == "type":
        number = isinstance(value, (int, float)) and not isinstance(value, bool)
        if value is None:
            kind = "null-value"
        else:
            kind = "number-range" if number and error.validator_value == "integer" else "wrong-type"
    if keyword == "enum":
        if not isinstance(value, str):
            return []  # the type has been spoken of
        kind = "unknown-word" if value else "empty-text"
    if keyword == "pattern":
        kind = "text-form" if value else "empty-text"
    return [(kind, pointer(path))]


def _schema_errors(value):
    """The schema's errors; rows that have passed once are not looked at again."""
    if isinstance(value, dict):
        rows = [
            (table, row)
            for table in TABLES
            if isinstance(value.get(table), list)
            for row in value[table]
        ]
        if all(_passes(table, row) for table, row in rows):
            value = {
                key: [] if key in TABLES and isinstance(item, list) else item
                for key, item in value.items()
            }
    return VALIDATOR.iter_errors(value)


def _passes(table, row):
    key = table, json.dumps(row)
    if key not in PASSED:
        PASSED[key] = VALIDATOR.evolve(schema=SCHEMA["properties"][table]["items"]).is_valid(row)
    return PASSED[key]


def problems(value):
    """All structural problems of a JSON value, as (kind, pointer)."""
    found = []
    _duplicate_keys(value, [], found)
    if isinstance(value, dict):
        for table in TABLES:
            _duplicate_ids(value.get(table), [table], found)
        runs = value.get("runs")
        for place, run in enumerate(runs if isinstance(runs, list) else ()):
            if isinstance(run, dict):
                _duplicate_ids(run.get("observations"), ["runs", place, "observations"], found)
    once = set()
    for error in _schema_errors(value):
        for item in _named(error):
            # One place can break two keywords by one mistake; missing keys are one each.
            if item[0] == "missing-key" or item not in once:
                found.append(item)
            once.add(item)
    # The schema of one version says nothing about a document of another.
    version = ("unknown-word", "/obvert")
    return [version] if version in once else found
