"""What rules share of a run: the order of its rows, its ends, and how far it came."""

import math
from bisect import bisect_right
from functools import cached_property
from typing import NamedTuple

import clocks
import cross_section
from figures import FOOT, decimals, exceeds, tolerance

# checking.md, Lengths: the structure allowance by default.
ALLOWANCE = 5 * FOOT

ENDS = ("upstream", "downstream")


class Repeat(NamedTuple):
    """Consecutive rows that repeat rows above them."""

    start: int
    rows: int
    # The first of the rows that are repeated.
    above: int

    def holds(self, index):
        return self.start <= index < self.start + self.rows


class Run:
    """One run: its order, its ends, and how far it came."""

    def __init__(self, survey, place, row):
        self.survey, self.place, self.row = survey, place, row
        self.rows = row.get("observations", [])
        self.at = [item["at"] for item in self.rows]
        self.counter = row.get("counter", {})
        self.reads = self.counter.get("reads", 0)
        self.offset = self.counter.get("offset", 0)
        self.surveyed = row.get("surveyed")
        self.kind = row.get("outcome", {}).get("kind")
        self.pipe = survey.row("pipes", row["pipe"])
        length = self.pipe.get("length") if self.pipe else None
        self.length = length if length is not None and length > 0 else None
        self.metre = survey.metre
        self.backwards = self._backwards()
        self.out_of_order = 0
        self.repeats = self._repeats()
        self.begin_again = {repeat.start for repeat in self.repeats}
        self.begin_again |= {repeat.start + 1 for repeat in self.repeats if repeat.rows == 1}
        self.disordered = self.backwards or self._shuffled()
        self.fits = [self._slipped(index) for index in range(len(self.at))]
        self.reset = None if self.disordered else self._reset()
        self.start = None if self.disordered else self._start()
        self.closing = None if self.disordered else self._closing()
        self.contradicts = self._contradicts()
        self.end = self._end()
        self.far = self._far()

    @cached_property
    def step(self):
        """The smallest step of the counter; 0 if it is unknown."""
        rows = [self.survey.row("equipment", key) or {} for key in self.row.get("equipment", ())]
        steps = [row["counter_resolution"] for row in rows if "counter_resolution" in row]
        return self.counter.get("resolution", max(steps, default=0))

    def path(self, *parts):
        return "/".join(("/runs", str(self.place)) + tuple(str(part) for part in parts))

    def slack(self, distance):
        """The tolerance, in metres, of a recorded distance."""
        return tolerance(distance * self.metre)

    def away(self, first, second):
        """Whether two readings lie apart by more than the tolerance of the second."""
        return exceeds((first - second) * self.metre, self.slack(second))

    def _backwards(self):
        at = self.at
        return len(at) >= 3 and at[-1] < at[0] and all(b <= a for a, b in zip(at, at[1:]))

    def _repeats(self):
        """The sequences of rows, and the single rows, that repeat others."""
        found, at = [], self.at
        alike = [{key: value for key, value in row.items() if key != "id"} for row in self.rows]
        for start in range(1, len(at)):
            if at[start] >= at[start - 1] or any(repeat.holds(start) for repeat in found):
                continue
            longest, above = 0, None
            for place in [place for place in range(start) if at[place] == at[start]][:16]:
                rows = 0
                while (
                    place + rows < start
                    and start + rows < len(at)
                    and alike[place + rows] == alike[start + rows]
                ):
                    rows += 1
                if rows > longest:
                    longest, above = rows, place
            if longest >= 2 and at[above + longest - 1] > at[above]:
                found.append(Repeat(start, longest, above))
        stray = [
            index
            for index in range(len(at))
            if not self._fits_in(index)
            and (index in (0, len(at) - 1) or at[index - 1] <= at[index + 1])
            and not any(repeat.holds(index) for repeat in found)
        ]
        for index in stray:
            level = [place for place in range(len(at)) if at[place] == at[index]][:16]
            alone = [
                place
                for place in level
                if place != index and self._fits_in(place) and alike[place] == alike[index]
            ]
            if alone:
                found.append(Repeat(index, 1, alone[0]))
        return sorted(found)

    def _fits_in(self, index):
        """Whether a row is in order with the one above it and the one below it."""
        at = self.at
        return at[index] >= at[max(index - 1, 0)] and at[index] <= at[min(index + 1, len(at) - 1)]

    def repeated(self, index):
        """Whether a row is one of those that repeat others."""
        return any(repeat.holds(index) for repeat in self.repeats)

    def falls(self, index):
        """Whether a row lies before the one above it, and does not begin rows that are repeated."""
        return self.at[index] < self.at[index - 1] and index not in self.begin_again

    def _shuffled(self):
        tails = []
        for distance in self.at:
            place = bisect_right(tails, distance)
            tails[place : place + 1] = [distance]
        out = len(self.at) - len(tails)
        self.out_of_order = out
        if any(self.falls(index) for index in range(1, len(self.at))) and self._sorted_as_texts():
            return True
        if out < 3 or out * 4 <= len(self.at):
            return False
        return sum(self._falls_without_return(index) for index in range(1, len(self.at))) >= 2

    def _sorted_as_texts(self):
        keys = [row["id"] for row in self.rows]
        if (
            not all(key.isascii() and key.isdigit() and int(key) < 2**32 for key in keys)
            or sorted(set(keys)) != keys
        ):
            return False
        rows = sorted(zip(map(int, keys), self.at))
        return all(
            upper[0] < lower[0] and upper[1] <= lower[1] for upper, lower in zip(rows, rows[1:])
        )

    def _falls_without_return(self, index):
        at = self.at
        if not self.falls(index):
            return False
        near = (at[index] - self.reads) * self.metre <= FOOT
        later = any((item - self.reads) * self.metre > FOOT for item in at[index + 1 :])
        return not (near and later)

    def _reset(self):
        at = self.at
        for index in range(1, len(at) - 1):
            above = (at[index] - self.reads) * self.metre
            if not (self.falls(index) and 0 <= above <= FOOT):
                continue
            # Several rows may be recorded where the counter was set to zero.
            then = next((item for item in at[index + 1 :] if item != at[index]), None)
            goes_on = then is not None and at[index] < then < at[index - 1]
            later = any((item - self.reads) * self.metre > FOOT for item in at[index + 1 :])
            restored = index == 1 or at[index] >= at[index - 2]
            if goes_on and later and not restored and self.fits[index] is None:
                return index
        return None

    def _slipped(self, index):
        """The number that the row would have with its point moved, where it has slipped."""
        at, last = self.at, len(self.at) - 1
        if (
            index == last
            and self.surveyed is None
            or any(repeat.rows == 1 and abs(repeat.start - index) <= 1 for repeat in self.repeats)
        ):
            return None
        upper = self.reads if index == 0 else at[index - 1]
        lower = (
            self.surveyed + self.slack(self.surveyed) / self.metre
            if index == last
            else at[index + 1]
        )
        value = at[index]
        if value <= 0 or not (self.away(-value, -upper) or self.away(value, lower)):
            return None
        shown = self._decimals_shown(index)
        if decimals(value) <= shown and any(map(self._exchanged, (index, index + 1))):
            return None
        for moved in (math.floor(moved * 1e6 + 0.5) / 1e6 for moved in (value * 10, value / 10)):
            if upper - 1e-9 <= moved <= lower + 1e-9 and moved != value:
                if decimals(moved) <= shown:
                    return moved
        return None

    def _decimals_shown(self, index):
        others = [*self.at[:index], *self.at[index + 1 :]]
        return max(decimals(item) for item in [self.counter.get("resolution", 0.1), *others])

    def _exchanged(self, index):
        """Whether a row and the one above it are in order once they change places."""
        at = self.at
        if not 0 < index < len(at):
            return False
        above = self.reads if index == 1 else at[index - 2]
        if index + 1 < len(at) and at[index - 1] > at[index + 1]:
            return False
        if self.surveyed is not None and self.away(at[index - 1], self.surveyed):
            return False
        return above <= at[index] < at[index - 1]

    def _start(self):
        for index, distance in enumerate(self.at):
            if distance != self.at[0]:
                break
            if self.survey.role(self.rows[index]) == "start":
                return index
        return None

    def _closing(self):
        for index in reversed(range(len(self.at))):
            if self.at[index] != self.at[-1]:
                break
            if self.survey.role(self.rows[index]) in ("finish", "stopped"):
                return index
        return None

    def _contradicts(self):
        if (
            self.surveyed is None
            or self.closing is None
            or self.surveyed < self.reads
            or self.reset is not None
        ):
            return False
        apart = abs(self.surveyed - self.at[self.closing]) * self.metre
        return exceeds(apart, self.slack(self.surveyed))

    def _end(self):
        if self.surveyed is None:
            return None
        return self.surveyed if self.closing is None else max(self.surveyed, self.at[self.closing])

    def beyond(self, distance):
        return self.end is not None and self.away(distance, self.end)

    def _far(self):
        if (
            self.surveyed is None
            or self.surveyed < self.reads
            or self.contradicts
            or self.reset is not None
        ):
            return None
        if "launched" in self.row and self.counter.get("zero") not in (
            "pipe-end",
            "access-fitting",
        ):
            return None
        return self.offset + self.surveyed - self.reads

    def settled(self, index):
        at = self.at
        return not (
            (index and at[index] < at[index - 1])
            or (index + 1 < len(at) and at[index] > at[index + 1])
            or at[index] < self.reads
            or self.beyond(at[index])
        )

    def centred(self):
        return self.counter.get("zero") == "structure-centre" or "offset" in self.counter

    def changes(self, role):
        """Whether a row records this change of the cross-section."""
        return any(self.survey.role(row) == role for row in self.rows)

    def elsewhere(self, role):
        """Whether the run may have begun in what another run says that the pipe changes to."""
        others = (run for run in self.survey.runs if run.row["pipe"] == self.row["pipe"])
        return (
            self.kind != "reached"
            and not self.changes(role)
            and any(run.changes(role) for run in others)
        )

    @property
    def excess(self):
        """By which share of its length the run exceeds the pipe."""
        surplus = 0 if self.start is None else max(0, self.at[self.start] - self.reads)
        return (self.far - surplus) * self.metre / (self.length * self.metre) - 1

    def past_pipe(self, allowance):
        if self.far is None or self.length is None:
            return False
        surplus = 0 if self.start is None else max(0, self.at[self.start] - self.reads)
        limit = self.length * self.metre + 2 * self.slack(self.length)
        limit += (self.slope_length() - self.length) * self.metre
        limit += self._chambers(allowance)
        return exceeds((self.far - surplus) * self.metre, limit)

    def slope_length(self):
        """The length along the slope, by the inverts, where they fall by at most 40 %."""
        inverts = []
        for end in ENDS:
            structure = self.survey.row("structures", self.pipe.get(end)) or {}
            inverts.append(self.pipe.get("inverts", {}).get(end, structure.get("invert")))
        fall = 0 if None in inverts else abs(inverts[0] - inverts[1])
        return math.hypot(self.length, fall if fall <= 0.4 * self.length else 0)

    def _chambers(self, allowance):
        """What a run may cover of the two structures, in metres. The map is not read."""
        between, offset = self.pipe.get("length_between"), max(0, self.offset) * self.metre
        if between == "centres":
            return 0
        if between is None:
            return max(allowance, offset)
        ends = [self.survey.row("structures", self.pipe.get(key)) for key in ENDS]
        large = sum(6 for end in ends if end and end["kind"] in ("other", "pump-station"))
        return max(allowance, large, offset + allowance)

    def short_of_pipe(self, allowance):
        if self.kind != "reached" or self.far is None or self.length is None:
            return False
        return exceeds(
            self.length * self.metre, self.far * self.metre + self.slack(self.length) + allowance
        )

    def length_certain(self):
        """Whether nothing contradicts the length of the run, by the default limits."""
        return not (
            self.reset is not None
            or self.contradicts
            or self.past_pipe(ALLOWANCE)
            or self.short_of_pipe(ALLOWANCE)
        )

    @cached_property
    def cross_sections(self):
        return cross_section.along(self)

    @cached_property
    def duplicates(self):
        """The nearest row above it that is the same, for each row that is the same as another."""
        found = {}
        if self.step * self.metre >= 0.3:
            return found
        for index, row in enumerate(self.rows):
            for place in range(index - 1, max(index - 17, -1), -1):
                other = self.rows[place]
                if other["at"] != row["at"] or not _is_point(row):
                    break
                if _is_point(other) and same(other, row):
                    found[index] = place
                    break
        return found

    @cached_property
    def overlaps(self):
        """The nearest earlier stretch that it overlaps, for each stretch that overlaps one."""
        found, before = {}, {}
        for index, row in enumerate(self.rows):
            if row.get("to", row["at"]) <= row["at"] or self.survey.never_stretch(row):
                continue
            earlier = before.setdefault(row["code"], [])
            other = next((other for other in reversed(earlier[-32:]) if _overlap(other, row)), None)
            if other is not None:
                found[index] = other
            earlier.append(row)
        return found

    @cached_property
    def surplus(self):
        """The rows that are in the record a second time."""
        repeated = {index for index in range(len(self.rows)) if self.repeated(index)}
        return repeated | self.duplicates.keys() | self.overlaps.keys()

    def direction_contradicts(self):
        """Whether its own structures are in the order of the other direction."""
        if not self.pipe or self.pipe["upstream"] == self.pipe.get("downstream"):
            return False
        ends = [self.pipe["upstream"], self.pipe.get("downstream")]
        if self.row["direction"] == "upstream":
            ends.reverse()
        start, end = self.row.get("from"), self.row.get("to")
        pairs = [(start, ends[1]), (end, ends[0])]
        known = [(named, own) for named, own in pairs if named is not None and own is not None]
        return bool(known) and all(named == own for named, own in known)


def _is_point(row):
    return not (row.get("continuous") or "to" in row)


def same(first, second):
    """Whether two points at one distance are the same observation."""
    for key in ("characterisation", "quantities"):
        if first.get(key, []) != second.get(key, []):
            return False
    for key in ("code", "clock", "joint", "joins", "flow"):
        if first.get(key) != second.get(key):
            return False
    return all(
        first.get(key) in (None, [], second.get(key)) or second.get(key) in (None, [])
        for key in ("remark", "media")
    )


def _overlap(first, second):
    """Whether two stretches of one code overlap along the pipe and on the wall."""
    return (
        first.get("characterisation", []) == second.get("characterisation", [])
        and first["at"] < second["to"]
        and second["at"] < first["to"]
        and clocks.meet(first.get("clock"), second.get("clock"))
    )
