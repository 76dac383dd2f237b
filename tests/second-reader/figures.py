"""Computes with single values: units, tolerances, distances, clocks, stretches, times, ids."""

import math
import re
from datetime import datetime, timedelta, timezone
from fractions import Fraction

# In tenths of a millimetre, in which every unit but the survey foot is a whole number.
TENTHS = {
    "mm": Fraction(10),
    "in": Fraction(254),
    "ft": Fraction(3048),
    "m": Fraction(10000),
    "us-ft": Fraction(12000000, 3937),
}
FOOT = 0.3048
TIMESTAMP = re.compile(
    r"([0-9]{4})-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])T([01][0-9]|2[0-3]):([0-5][0-9])"
    r":([0-5][0-9]|60)(\.[0-9]+)?(Z|[+-](?:[01][0-9]|2[0-3]):[0-5][0-9])\Z"
)


def decimals(number):
    """How many decimals a number has, up to six."""
    number = abs(number)
    for places in range(6):
        if abs(number - math.floor(number + 0.5)) <= 1e-9 * max(1, number):
            return places
        number *= 10
    return 6


def factor(unit, other):
    """What an amount in `unit` is multiplied by to be in `other`; None between dimensions."""
    if unit == other:
        return 1.0
    if unit not in TENTHS or other not in TENTHS:
        return None
    return float(TENTHS[unit] / TENTHS[other])


def convert(value, unit, other):
    times = factor(unit, other)
    return None if times is None else value * times


def exceeds(value, limit):
    """Of lengths along a pipe, speeds and times."""
    return value > limit + 1e-9 * abs(limit)


def reaches(value, edge):
    return value >= edge - 1e-9 * max(1.0, abs(edge))


def within(value, start, below):
    """Whether a half-open range holds a value; an edge that is None is open."""
    return (start is None or reaches(value, start)) and (below is None or not reaches(value, below))


def in_range(meaning, value):
    """Whether a value lies between the least and the greatest sensible amount."""
    least, greatest = meaning.get("min"), meaning.get("max")
    return (least is None or reaches(value, least)) and (
        greatest is None or reaches(-value, -greatest)
    )


def tolerance(metres):
    return max(0.005 * abs(metres), FOOT)


def most(part, whole):
    return part >= 1 and part * 5 >= whole * 4


def from_centre(at, offset, reads):
    """How far a reading is from the centre of the start structure."""
    return offset + at - reads


def from_upstream(at, offset, reads, direction, length):
    away = from_centre(at, offset, reads)
    return away if direction == "downstream" else length - away


def hour_valid(hour):
    return 1 <= hour <= 12.5 and float(hour * 2).is_integer()


def mirrored(hour):
    """The hour as a camera from the other end sees it."""
    turned = (12 - hour) % 12
    return turned + 12 if turned < 1 else turned


def covered(start, end):
    """The hours of an arc."""
    return (end - start) % 12 or 12


def times_counted(metres, interval):
    return max(1, math.ceil(metres / interval - 1e-9))


def instant(text):
    """The point in time, or None where the calendar has none or the form is another."""
    match = TIMESTAMP.match(text)
    if not match:
        return None
    year, month, day, hour, minute, second = (int(part) for part in match.groups()[:6])
    try:
        # Year 0 is a year to RFC 3339 and none to this library.
        moment = datetime(year, month, day, hour, minute, min(second, 59), tzinfo=timezone.utc)
    except ValueError:
        return None
    zone = match[8]
    away = timedelta()
    if zone != "Z":
        away = timedelta(hours=int(zone[1:3]), minutes=int(zone[4:6]))
        away = -away if zone[0] == "-" else away
    whole = int(
        (moment - datetime(1, 1, 1, tzinfo=timezone.utc)).total_seconds() - away.total_seconds()
    )
    return whole + Fraction("0" + (match[7] or ""))


def case_clash(first, second):
    return first != second and first.lower() == second.lower()
