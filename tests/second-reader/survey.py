"""What rules and grades share of a document: its list, its rows by id, and what is known of each run."""
import json
import math
from bisect import bisect_right

from figures import FOOT, exceeds, factor, tolerance
from reading import ROOT

LISTS = {}
SCHEMES = {}
for name in ("obvert-terms", "en-13508-2"):
    _list = json.loads((ROOT / f"schema/{name}.json").read_text("utf-8"))
    LISTS[_list["id"], _list["version"]] = _list
_scheme = json.loads((ROOT / "schema/obvert-grades.json").read_text("utf-8"))
SCHEMES[_scheme["id"], _scheme["version"]] = _scheme


class Survey:
    """A document, with references resolved: an id that stands twice is known but leads nowhere."""

    def __init__(self, document, limits=None):
        self.document = document
        self.limits = limits or {}
        self.metre = factor(document["units"]["length"], "m")
        coding = document["coding"]
        self.list = LISTS.get((coding["list"], coding["version"]))
        self.codes = {code["code"]: code for code in self.list["codes"]} if self.list else {}
        self.places = {}
        for table in ("parties", "equipment", "structures", "pipes", "media", "runs"):
            found = self.places[table] = {}
            for place, row in enumerate(document.get(table, ())):
                found.setdefault(row["id"], []).append(place)
        self.runs = [Run(self, place, row) for place, row in enumerate(document.get("runs", ()))]

    def limit(self, rule, name, default):
        return self.limits.get(f"{rule}.{name}", default)

    def known(self, table, key):
        return key in self.places[table]

    def place(self, table, key):
        places = self.places[table].get(key, ())
        return places[0] if len(places) == 1 else None

    def row(self, table, key):
        place = self.place(table, key)
        return None if place is None else self.document[table][place]

    def role(self, row):
        return self.codes.get(row["code"], {}).get("role")

    def has_role(self, *roles):
        return any(code.get("role") in roles for code in self.codes.values())

    def never_stretch(self, row):
        return self.codes.get(row["code"], {}).get("continuous") == "never"

    def no_clock(self, row):
        return self.codes.get(row["code"], {}).get("clock", {}).get("use") == "none"


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
        self.misplaced = 0
        self.repeats = self._repeats()
        self.begin_again = {start for start, rows in self.repeats}
        self.begin_again |= {start + 1 for start, rows in self.repeats if rows == 1}
        self.disordered = self.backwards or self._shuffled()
        self.fits = [self._slipped(index) for index in range(len(self.at))]
        self.reset = None if self.disordered else self._reset()
        self.start = None if self.disordered else self._start()
        self.closing = None if self.disordered else self._closing()
        self.contradicts = self._contradicts()
        self.end = self._end()
        self.far = self._far()

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
        """(first row, number of rows) of each sequence that says again what rows above it say."""
        found, at = [], self.at
        alike = [{key: value for key, value in row.items() if key != "id"} for row in self.rows]
        for start in range(1, len(at)):
            if at[start] >= at[start - 1] or any(first <= start < first + rows for first, rows in found):
                continue
            longest, above = 0, None
            for place in [place for place in range(start) if at[place] == at[start]][:16]:
                rows = 0
                while place + rows < start and start + rows < len(at) and alike[place + rows] == alike[start + rows]:
                    rows += 1
                if rows > longest:
                    longest, above = rows, place
            if longest >= 2 and at[above + longest - 1] > at[above]:
                found.append((start, longest))
        stray = [index for index in range(len(at))
                 if not self._fits_in(index) and (index in (0, len(at) - 1) or at[index - 1] <= at[index + 1])
                 and not any(first <= index < first + rows for first, rows in found)]
        for index in stray:
            level = [place for place in range(len(at)) if at[place] == at[index]][:16]
            if any(place != index and self._fits_in(place) and alike[place] == alike[index] for place in level):
                found.append((index, 1))
        return sorted(found)

    def _fits_in(self, index):
        """Whether a row is in order with the one above it and the one below it."""
        at = self.at
        return at[index] >= at[max(index - 1, 0)] and at[index] <= at[min(index + 1, len(at) - 1)]

    def repeated(self, index):
        """Whether a row is one of those that say again what others say."""
        return any(first <= index < first + rows for first, rows in self.repeats)

    def falls(self, index):
        """Whether a row lies before the one above it, and does not begin rows that are repeated."""
        return self.at[index] < self.at[index - 1] and index not in self.begin_again

    def _shuffled(self):
        tails = []
        for distance in self.at:
            place = bisect_right(tails, distance)
            tails[place:place + 1] = [distance]
        out = len(self.at) - len(tails)
        self.misplaced = out
        if any(self.falls(index) for index in range(1, len(self.at))) and self._sorted_as_texts():
            return True
        if out < 3 or out * 4 <= len(self.at):
            return False
        return sum(self._falls_without_return(index) for index in range(1, len(self.at))) >= 2

    def _sorted_as_texts(self):
        keys = [row["id"] for row in self.rows]
        if not all(key.isascii() and key.isdigit() and int(key) < 2 ** 32 for key in keys) or sorted(set(keys)) != keys:
            return False
        rows = sorted(zip(map(int, keys), self.at))
        return all(upper[0] < lower[0] and upper[1] <= lower[1] for upper, lower in zip(rows, rows[1:]))

    def _falls_without_return(self, index):
        at = self.at
        if not self.falls(index):
            return False
        near = (at[index] - self.reads) * self.metre <= FOOT
        later = any((item - self.reads) * self.metre > FOOT for item in at[index + 1:])
        return not (near and later)

    def _reset(self):
        at = self.at
        for index in range(1, len(at) - 1):
            above = (at[index] - self.reads) * self.metre
            if not (self.falls(index) and 0 <= above <= FOOT):
                continue
            goes_on = at[index] < at[index + 1] < at[index - 1]
            later = any((item - self.reads) * self.metre > FOOT for item in at[index + 1:])
            restored = index == 1 or at[index] >= at[index - 2]
            if goes_on and later and not restored and self.fits[index] is None:
                return index
        return None

    def _slipped(self, index):
        """The number that the row would have with its point moved, where it has slipped."""
        at, last = self.at, len(self.at) - 1
        if index == last and self.surveyed is None or any(rows == 1 and abs(start - index) <= 1 for start, rows in self.repeats):
            return None
        upper = self.reads if index == 0 else at[index - 1]
        lower = self.surveyed + self.slack(self.surveyed) / self.metre if index == last else at[index + 1]
        value = at[index]
        if not (self.away(-value, -upper) or self.away(value, lower)):
            return None
        for moved in (math.floor(moved * 1e6 + 0.5) / 1e6 for moved in (value * 10, value / 10)):
            if upper - 1e-9 <= moved <= lower + 1e-9 and moved != value:
                return moved
        return None

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
        if self.surveyed is None or self.closing is None or self.surveyed < self.reads or self.reset is not None:
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
        if self.surveyed is None or self.surveyed < self.reads or self.contradicts or self.reset is not None:
            return None
        if "launched" in self.row and self.counter.get("zero") not in ("pipe-end", "access-fitting"):
            return None
        return self.offset + self.surveyed - self.reads

    def settled(self, index):
        at = self.at
        return not ((index and at[index] < at[index - 1]) or (index + 1 < len(at) and at[index] > at[index + 1])
                    or at[index] < self.reads or self.beyond(at[index]))

    def centred(self):
        return self.counter.get("zero") == "structure-centre" or "offset" in self.counter

    def past_pipe(self, allowance):
        if self.far is None or self.length is None:
            return False
        surplus = 0 if self.start is None else max(0, self.at[self.start] - self.reads)
        limit = self.length * self.metre + 2 * self.slack(self.length)
        if self.pipe.get("length_between") != "centres":
            limit += allowance
        return exceeds((self.far - surplus) * self.metre, limit)

    def direction_contradicts(self):
        """Whether its own structures say the other direction."""
        if not self.pipe:
            return False
        ends = [self.pipe["upstream"], self.pipe.get("downstream")]
        if self.row["direction"] == "upstream":
            ends.reverse()
        start, end = self.row.get("from"), self.row.get("to")
        return (start is not None and start == ends[1]) or (end is not None and end == ends[0])
