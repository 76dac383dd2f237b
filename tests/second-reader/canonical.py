"""Writes the canonical form of a document (RFC 8785, empty lists left out) and its digest."""

import hashlib
import json


def number(value):
    """As ECMAScript writes it; Python's repr has the same shortest digits."""
    value = float(value)
    if value == 0:
        return "0"
    sign, text = ("-", repr(-value)) if value < 0 else ("", repr(value))
    mantissa, _, power = text.partition("e")
    whole, _, part = mantissa.partition(".")
    digits = (whole + part).lstrip("0")
    leading = len(whole + part) - len(digits)
    point = len(whole) - leading + int(power or 0)
    digits = digits.rstrip("0")
    count = len(digits)
    if count <= point <= 21:
        return sign + digits + "0" * (point - count)
    if 0 < point <= 21:
        return sign + digits[:point] + "." + digits[point:]
    if -6 < point <= 0:
        return sign + "0." + "0" * -point + digits
    mantissa = digits[0] + ("." + digits[1:] if count > 1 else "")
    return f"{sign}{mantissa}e{'+' if point > 0 else '-'}{abs(point - 1)}"


def write(value, own=True):
    """`own` is false below extensions, where an empty list is somebody else's content."""
    if isinstance(value, dict):
        members = []
        for key in sorted(value, key=lambda key: key.encode("utf-16-be")):
            item = value[key]
            if own and item == [] and isinstance(item, list):
                continue
            members.append(
                json.dumps(key, ensure_ascii=False) + ":" + write(item, own and key != "extensions")
            )
        return "{" + ",".join(members) + "}"
    if isinstance(value, list):
        return "[" + ",".join(write(item, own) for item in value) + "]"
    if value is None or isinstance(value, bool):
        return json.dumps(value)
    if isinstance(value, (int, float)):
        return number(value)
    return json.dumps(value, ensure_ascii=False)


def digest(value):
    return "sha-256:" + hashlib.sha256(write(value).encode("utf-8")).hexdigest()
