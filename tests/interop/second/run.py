"""A run with its observations."""

import functools
import math

from .basics import *


def meet(a, b):
    """Whether two clock references are, or may be, on one part of the wall."""
    if a is None or b is None:
        return True
    if clock_reading(a) is None or clock_reading(b) is None:
        return False
    start = lambda clock: clock.get("at", clock.get("from"))
    hours = lambda clock: 0 if "at" in clock else (clock["to"] - clock["from"]) % 12 or 12

    def begins_within(a, b):
        after = (start(b) - start(a)) % 12
        return after <= hours(a) if hours(b) == 0 else after < hours(a) or after == 0

    return begins_within(a, b) or begins_within(b, a)


class Run:
    def __init__(self, survey, run, index):
        self.survey, self.run, self.index, self.at = survey, run, index, f"/runs/{index}"
        self.rows = run.get("observations", [])
        self.counter = run.get("counter", {})
        self.reads = self.counter.get("reads", 0)
        self.pipe = survey.row("pipes", run["pipe"])
        self.codes = [survey.codes.get(row["code"]) for row in self.rows]
        self.roles = [(code or {}).get("role") for code in self.codes]
        self.foot = 0.3048 / survey.length
        self.disordered = self.backwards() or self.shuffled()

    def outcome(self):
        return self.run.get("outcome", {}).get("kind")

    def metres(self, value):
        return value * self.survey.length

    def camera(self):
        for id in self.run.get("equipment", []):
            row = self.survey.row("equipment", id)
            if row and row["kind"] in ("push-rod", "crawler", "pole", "float"):
                return id
        return None

    def turned(self):
        """rules.md, direction-contradicts: by the ends of the pipe."""
        pipe, run = self.pipe or {}, self.run
        upper, lower = pipe.get("upstream"), pipe.get("downstream")
        if upper == lower:
            return False
        if run["direction"] == "downstream":
            return lower is not None and run.get("from") == lower or upper is not None and run.get("to") == upper
        return upper is not None and run.get("from") == upper or lower is not None and run.get("to") == lower

    # checking.md, Order of rows
    def distances(self):
        return [row["at"] for row in self.rows]

    def backwards(self):
        at = self.distances()
        return len(at) >= 3 and at[-1] < at[0] and all(b <= a for a, b in zip(at, at[1:]))

    def numbered_as_text(self):
        ids = [row["id"] for row in self.rows]
        if not all(a < b for a, b in zip(ids, ids[1:])) or not all(id.isascii() and id.isdigit() for id in ids):
            return False
        rows = sorted((int(row["id"]), row["at"]) for row in self.rows)
        return all(a[0] < b[0] and a[1] <= b[1] for a, b in zip(rows, rows[1:]))

    # rules.md, observation-duplicate, Exactly
    @functools.cache
    def repeats(self):
        alike = [{key: value for key, value in row.items() if key != "id"} for row in self.rows]
        at, found = self.distances(), []
        for start in range(1, len(at)):
            if at[start] >= at[start - 1] or any(first <= start < first + rows for first, _, rows in found):
                continue
            best = (0, 0)
            for of in [i for i in range(start) if at[i] == at[start]][:16]:
                rows = 0
                while rows < start - of and start + rows < len(at) and alike[of + rows] == alike[start + rows]:
                    rows += 1
                if rows > best[0]:
                    best = (rows, of)
            rows, of = best
            if rows >= 2 and at[of + rows - 1] > at[of]:
                found.append((start, of, rows))
        in_order = lambda i: (i == 0 or at[i - 1] <= at[i]) and (i + 1 == len(at) or at[i] <= at[i + 1])
        sequences = list(found)
        for i in range(len(at)):
            out = not in_order(i) and not (0 < i < len(at) - 1 and at[i - 1] > at[i + 1])
            if not out or any(first <= i < first + rows for first, _, rows in sequences):
                continue
            for of in [j for j in range(len(at)) if at[j] == at[i]][:16]:
                if of != i and in_order(of) and alike[of] == alike[i]:
                    found.append((i, of, 1))
                    break
        return sorted(found)

    def repeated(self, i):
        return any(first <= i < first + rows for first, _, rows in self.repeats())

    def falls(self):
        at, again = self.distances(), {first for first, _, _ in self.repeats()}
        again |= {first + 1 for first, _, rows in self.repeats() if rows == 1}
        return [i for i in range(1, len(at)) if at[i] < at[i - 1] and i not in again]

    def shuffled(self):
        at = self.distances()
        if self.falls() and self.numbered_as_text():
            return True
        zero = self.reads + self.foot
        falls = [i for i in self.falls() if at[i] > zero or not any(later > zero for later in at[i:])]
        if len(falls) < 2:
            return False
        longest = []
        for i, value in enumerate(at):
            longest.append(1 + max((longest[j] for j in range(i) if at[j] <= value), default=0))
        out = len(at) - max(longest)
        return out >= 3 and out * 4 > len(at)

    def slip(self, i):
        if self.disordered or any(rows == 1 and abs(first - i) <= 1 for first, _, rows in self.repeats()):
            return None
        at = self.distances()
        allowed = lambda value: tolerance(self.metres(value)) / self.survey.length
        if i + 1 < len(at):
            after = at[i + 1]
        elif "surveyed" in self.run:
            after = self.run["surveyed"] + allowed(self.run["surveyed"])
        else:
            return None
        falls = i > 0 and at[i] < at[i - 1] - allowed(at[i - 1])
        if not falls and at[i] <= after + allowed(after):
            return None
        before = at[i - 1] if i > 0 else self.reads
        for moved in (at[i] * 10, at[i] / 10) if at[i] > 0 else ():
            moved = math.floor(moved * 1e6 + 0.5) / 1e6
            if before - 1e-9 <= moved <= after + 1e-9:
                return moved
        return None

    @functools.cache
    def zeroed_again(self):
        if self.disordered:
            return None
        at, zero = self.distances(), self.reads + self.foot
        for i in range(2, len(at) - 1):
            falls = i in self.falls() and self.reads <= at[i] <= zero
            if falls and at[i - 2] > at[i] and at[i] < at[i + 1] < at[i - 1] and any(value > zero for value in at[i:]):
                if self.slip(i) is None:
                    return i
        return None

    def settled(self, i):
        at = self.distances()
        ordered = (i == 0 or at[i - 1] <= at[i]) and (i + 1 == len(at) or at[i] <= at[i + 1])
        return ordered and at[i] >= self.reads and not self.beyond(at[i])

    # checking.md, Ends of a run
    def start_row(self):
        for i, row in enumerate(self.rows):
            if row["at"] != self.rows[0]["at"]:
                return None
            if self.roles[i] == "start":
                return i
        return None

    def closing_row(self):
        for i in range(len(self.rows) - 1, -1, -1):
            if self.rows[i]["at"] != self.rows[-1]["at"]:
                return None
            if self.roles[i] in ("finish", "stopped"):
                return i
        return None

    @functools.cache
    def finish(self):
        closing = None if self.disordered else self.closing_row()
        return None if closing is None else self.rows[closing]["at"]

    @functools.cache
    def end(self):
        surveyed, finish = self.run.get("surveyed"), self.finish()
        return surveyed if surveyed is None or finish is None else max(surveyed, finish)

    def beyond(self, value):
        end = self.end()
        return end is not None and value > end + tolerance(self.metres(end)) / self.survey.length

    @functools.cache
    def end_contradicts(self):
        surveyed, finish = self.run.get("surveyed"), self.finish()
        if surveyed is None or surveyed < self.reads or finish is None or self.zeroed_again() is not None:
            return False
        surveyed, finish = self.metres(surveyed), self.metres(finish)
        return exceeds(abs(finish - surveyed), tolerance(surveyed))

    # checking.md, Lengths
    def travelled(self):
        return None if "surveyed" not in self.run else self.metres(self.run["surveyed"] - self.reads)

    @functools.cache
    def far(self):
        if "launched" in self.run and self.counter.get("zero") not in ("pipe-end", "access-fitting"):
            return None
        if self.zeroed_again() is not None or self.end_contradicts() or "surveyed" not in self.run:
            return None
        travelled = self.run["surveyed"] - self.reads
        return None if travelled < 0 else self.metres(self.counter.get("offset", 0) + travelled)

    def pipe_length(self):
        length = (self.pipe or {}).get("length")
        return self.metres(length) if length is not None and length > 0 else None

    def centred(self):
        return self.counter.get("zero") == "structure-centre" or "offset" in self.counter

    @functools.cache
    def past(self):
        length, far = self.pipe_length(), self.far()
        if length is None or far is None:
            return False
        allowance = 0 if self.pipe.get("length_between") == "centres" else 1.524
        start = None if self.disordered else self.start_row()
        surplus = 0 if start is None else max(0, self.metres(max(0, self.rows[start]["at"] - self.reads)))
        return exceeds(far - surplus, length + 2 * tolerance(length) + allowance)

    # code-lists.md, Cross-section along a run
    @functools.cache
    def bore(self, i):
        pipe = self.pipe or {}
        height = pipe.get("height")
        known = lambda mm: mm if mm is not None and 50 <= mm <= 3657.6 else None
        bore = {
            "class": CLASSES.get(pipe.get("material")),
            "shape": pipe.get("shape"),
            "height": known(None if height is None else height * self.survey.section),
        }
        recorded = dict(bore)
        for role, field in (("material-change", "class"), ("shape-change", "shape"), ("size-change", "height")):
            first = True
            for j, row in enumerate(self.rows):
                if self.roles[j] != role:
                    continue
                if field == "height":
                    to = None
                    for place, meaning in enumerate(amounts(self.codes[j], row)):
                        if meaning["name"] == "height":
                            to = amount(self.codes[j], row, place)
                            to = None if to is None else to * factor(meaning["unit"], "mm")
                            break
                    same = to is not None and recorded[field] is not None and abs(to - recorded[field]) < 1
                    to_known = known(to)
                else:
                    word = (row.get("characterisation") or [None])[0]
                    words = set(CLASSES.values()) if field == "class" else SHAPES
                    to = to_known = word if word in words else None
                    same = to == recorded[field]
                if j <= i:
                    bore[field] = to_known
                elif first and same:
                    bore[field] = None
                first = False
        return bore

    # grade-schemes.md, Entries; Certain grades
    @functools.cache
    def computed(self, i, aspect):
        row, code, scheme = self.rows[i], self.codes[i], self.survey.scheme
        if not scheme or not code:
            return None, False
        bore, certain = self.bore(i), True
        for entry in scheme["entries"]:
            if entry["code"] != code["code"] or entry["aspect"] != aspect:
                continue
            wanted = entry.get("characterisation", [])
            if row.get("characterisation", [])[: len(wanted)] != wanted:
                continue
            material = True if not entry.get("materials") else None if bore["class"] is None else bore["class"] in entry["materials"]
            size = entry.get("size")
            sized = True if size is None else None if bore["height"] is None else within(bore["height"], size.get("from"), size.get("below"))
            if material is False or sized is False:
                continue
            if material is None or sized is None:
                certain = False
                continue
            for band in entry.get("bands", []):
                places = [p for p, meaning in enumerate(amounts(code, row)) if meaning["name"] == band["quantity"]]
                if not places or places[0] >= len(row.get("quantities", [])):
                    continue
                value = amount(code, row, places[0])
                if value is not None and within(value, band["from"], band.get("below")):
                    # A band that does not hold the amount is no sign of anything unsound once another does.
                    return band["grade"], certain and in_range(amounts(code, row)[places[0]], value)
            unsound = any(
                meaning["name"] == band["quantity"] and place < len(row.get("quantities", []))
                for band in entry.get("bands", [])
                for place, meaning in enumerate(amounts(code, row))
            )
            missing = any(
                meaning["name"] == band["quantity"] and meaning.get("required") and place >= len(row.get("quantities", []))
                for band in entry.get("bands", [])
                for place, meaning in enumerate(amounts(code, row))
            )
            return entry.get("grade"), certain and not unsound and not missing
        return None, certain

    def check(self):
        survey, run, at = self.survey, self.run, self.at
        report = survey.report
        if "surveyed" not in run:
            report("surveyed-missing", at)
        if "started" not in run:
            report("run-undated", at)
        if "counter" not in run and run.get("method") != "pole":
            report("counter-missing", at)
        if self.counter.get("zero") == "structure-centre" and self.counter.get("offset", 0) != 0:
            report("counter-offset-contradicts", f"{at}/counter/offset")
        worst = None
        for j, check in enumerate(self.counter.get("checks", [])):
            off = abs(self.metres(check["reading"]) - self.metres(check["known"]))
            if exceeds(off, tolerance(self.metres(check["known"]))) and (worst is None or off > worst[0]):
                worst = (off, j)
        if worst:
            report("counter-drift", f"{at}/counter/checks/{worst[1]}/reading")
        survey.clock_hour(run.get("launched", {}).get("clock"), f"{at}/launched/clock")
        closing = self.closing_row()
        outcome = run.get("outcome", {})
        if outcome.get("kind") == "stopped" and "reason" not in outcome:
            if closing is None or not self.rows[closing].get("characterisation"):
                report("stopped-without-reason", f"{at}/outcome")
        if survey.list:
            self.ends(closing)
        self.overlaps()
        self.levels()
        again = self.zeroed_again()
        if again is not None:
            report("counter-reset", f"{at}/observations/{again}/at")
        for i in range(len(self.rows)):
            self.observation(i, f"{at}/observations/{i}")

    # rules.md, stretch-overlap, Exactly
    # grade-schemes.md, Roll-up
    def recorded(self, i, aspect):
        grade = self.rows[i].get("grades", {}).get(aspect)
        return self.computed(i, aspect)[0] if grade is None else grade

    def extent(self, i):
        row = self.rows[i]
        if row.get("continuous") and "to" not in row:
            return None
        return self.metres(row.get("to", row["at"])) - self.metres(row["at"])

    # rules.md, rating-contradicts, Exactly
    def mended_grade(self, i, aspect):
        grade, code, scheme = self.rows[i].get("grades", {}).get(aspect), self.codes[i], self.survey.scheme
        if grade is None:
            return self.computed(i, aspect)[0]
        if code is None or grade not in [step["grade"] for step in scheme["scale"]["steps"]]:
            return grade
        if not any(entry["code"] == code["code"] and entry["aspect"] == aspect for entry in scheme["entries"]):
            return None
        computed, certain = self.computed(i, aspect)
        return computed if certain else grade

    def mended_extent(self, i):
        row, code, length = self.rows[i], self.codes[i], self.extent(i)
        if not row.get("continuous") and "to" not in row:
            return length
        if code is not None and code["continuous"] == "never":
            return 0
        return None if length is None or length <= 0 or self.beyond(row["to"]) else length

    @functools.cache
    def twice(self):
        rows, found = self.rows, {i for i, _ in self.overlapping()}
        found |= {i for i in range(len(rows)) if self.repeated(i)}
        told = ("code", "characterisation", "quantities", "clock", "joint", "joins", "flow")
        for i, row in enumerate(rows):
            for j in range(i - 1, max(i - 17, -1), -1):
                other = rows[j]
                if other["at"] != row["at"] or row.get("continuous") or "to" in row:
                    break
                if other.get("continuous") or "to" in other or any(row.get(key) != other.get(key) for key in told):
                    continue
                if all(row.get(key) is None or other.get(key) is None or row[key] == other[key] for key in ("remark", "media")):
                    found.add(i)
                    break
        return found

    def short(self):
        length, far = self.pipe_length(), self.far()
        known = length is not None and far is not None and self.outcome() == "reached"
        return known and exceeds(length, far + tolerance(length) + 1.524)

    def length_certain(self):
        return self.zeroed_again() is None and not self.end_contradicts() and not self.past() and not self.short()

    def overlaps(self):
        for i in (i for i, _ in self.overlapping() if not self.repeated(i)):
            self.survey.report("stretch-overlap", f"{self.at}/observations/{i}")

    def overlapping(self):
        stretches = [(i, row) for i, row in enumerate(self.rows) if row.get("to", row["at"]) > row["at"]]
        for n, (i, row) in enumerate(stretches):
            before = [other for _, other in stretches[:n] if other["code"] == row["code"]][-32:]
            for other in before:
                along = other["at"] < row["to"] and row["at"] < other["to"]
                alike = other.get("characterisation", []) == row.get("characterisation", [])
                if along and alike and meet(other.get("clock"), row.get("clock")):
                    yield i, other
                    break

    # rules.md, water-level-jump, Exactly
    def levels(self):
        if self.disordered or not self.survey.list:
            return
        last = None
        for i, row in enumerate(self.rows):
            if self.roles[i] in ("size-change", "shape-change"):
                last = None
            if self.roles[i] != "level":
                continue
            meant = amounts(self.codes[i], row)
            value = amount(self.codes[i], row, 0) if meant and meant[0]["unit"] == "percent" else None
            if value is None or not in_range(meant[0], value):
                continue
            if last is not None:
                way = self.metres(row["at"]) - self.metres(last[0].get("to", last[0]["at"]))
                if 0 <= way <= 1.5 and abs(value - last[1]) > 30 + self.slope() * way * 1000 / (self.bore(i)["height"] or math.inf) * 100:
                    self.survey.report("water-level-jump", f"{self.at}/observations/{i}/quantities/0/value")
            last = (row, value)

    # pipes.md, Gradient
    def slope(self):
        pipe, own = self.pipe or {}, (self.pipe or {}).get("inverts", {})
        of = lambda end: (self.survey.row("structures", pipe.get(end)) or {}).get("invert")
        upper, lower = own.get("upstream", of("upstream")), own.get("downstream", of("downstream"))
        if upper is None or lower is None or not pipe.get("length", 0) > 0:
            return 0
        return abs(upper - lower) / pipe["length"]

    def ends(self, closing):
        survey, at = self.survey, self.at
        roles = {code.get("role") for code in survey.list["codes"]}
        start = self.start_row()
        if start is None:
            if not self.rows:
                survey.report("start-missing", at)
            elif self.codes[0] and "start" in roles and not self.disordered:
                survey.report("start-missing", f"{at}/observations/0")
        if closing is None and self.rows and self.codes[-1] and roles & {"finish", "stopped"} and not self.disordered:
            survey.report("finish-missing", f"{at}/observations/{len(self.rows) - 1}")
        if start is not None and self.rows[start]["at"] > self.reads and self.settled(start):
            step = max(self.metres(self.counter.get("resolution", 0)), 0.03048)
            if exceeds(self.metres(self.rows[start]["at"] - self.reads), step):
                survey.report("counter-not-zeroed", f"{at}/observations/{start}/at")
        if closing is not None and "surveyed" in self.run and not self.disordered and self.end_contradicts():
            if self.settled(closing) and self.slip(closing) is None:
                survey.report("surveyed-contradicts-finish", f"{at}/surveyed")

    def observation(self, i, at):
        survey, row, code = self.survey, self.rows[i], self.codes[i]
        report = survey.report
        if survey.list and code is None:
            report("code-unknown", f"{at}/code")
        # distances
        low = "/at" if row["at"] < self.reads else "/to" if row.get("to", self.reads) < self.reads else None
        slipped = low == "/at" and self.slip(i) is not None
        if low and not slipped and not (i > 0 and self.rows[0]["at"] < self.reads):
            report("distance-negative", at + low)
        if "surveyed" in self.run and max(row["at"], row.get("to", row["at"])) > self.run["surveyed"]:
            field = "/at" if self.beyond(row["at"]) else "/to" if self.beyond(row.get("to", row["at"])) else None
            earlier = i > 0 and self.beyond(self.rows[i - 1]["at"])
            if field and not earlier and not (field == "/at" and self.slip(i) is not None):
                report("observation-past-run-end", at + field)
        # stretches
        never = code is not None and code["continuous"] == "never"
        if never and (row.get("continuous") or "to" in row):
            report("stretch-not-allowed", at + ("/to" if "to" in row else "/continuous"))
        if not never:
            if row.get("continuous") and "to" not in row:
                report("stretch-unfinished", f"{at}/continuous")
            if "to" in row and not row.get("continuous"):
                report("stretch-undeclared", f"{at}/to")
            if row.get("to") == row["at"]:
                report("stretch-zero-length", f"{at}/to")
            if "to" in row and self.reads <= row["to"] < row["at"] and self.settled(i):
                report("stretch-ends-before-start", f"{at}/to")
        self.clock(row, code, at)
        if code is not None:
            self.by_code(i, row, code, at)

    # observations.md and code-lists.md, Clock
    def clock(self, row, code, at):
        report, clock = self.survey.report, row.get("clock")
        use = code["clock"]["use"] if code else None
        if clock is None:
            if use == "required":
                report("clock-required", at)
            return
        if use == "none":
            return report("clock-not-applicable", f"{at}/clock")
        for key in ("at", "from", "to"):
            self.survey.clock_hour(clock.get(key), f"{at}/clock/{key}")
        reading = clock_reading(clock)
        if reading is None:
            return report("clock-form", f"{at}/clock")
        if reading == "arc" and clock["from"] == clock["to"] and valid(clock["from"]):
            report("clock-full-circle", f"{at}/clock")
        extent = code["clock"].get("extent") if code else None
        arc = reading == "arc" and valid(clock["from"]) and valid(clock["to"]) and clock["from"] != clock["to"]
        if extent == "span" and reading == "point" and valid(clock["at"]) or extent == "point" and arc:
            report("clock-extent", f"{at}/clock")

    # code-lists.md
    def by_code(self, i, row, code, at):
        report, survey = self.survey.report, self.survey
        words, places = row.get("characterisation", []), code.get("characterisation", [])
        if any(place["required"] for place in places[len(words) :]):
            report("characterisation-missing", at + ("/characterisation" if words else ""))
        if len(words) > len(places):
            report("characterisation-unexpected", f"{at}/characterisation/{len(places)}")
        listed = lambda place, word: any(value["value"] == word for value in place.get("values", []))
        for j, (word, place) in enumerate(zip(words, places)):
            if not place.get("open") and place.get("values") and not listed(place, word):
                report("characterisation-unknown", f"{at}/characterisation/{j}")
        recorded, meant = row.get("quantities", []), amounts(code, row)
        if any(meaning.get("required") for meaning in meant[len(recorded) :]):
            report("quantity-missing", at + ("/quantities" if recorded else ""))
        if len(recorded) > len(meant) and all(not place.get("open") or listed(place, word) for word, place in zip(words, places)):
            report("quantity-unexpected", f"{at}/quantities/{len(meant)}")
        bore = self.bore(i)
        for j, (quantity, meaning) in enumerate(zip(recorded, meant)):
            value = amount(code, row, j)
            if value is None:
                report("quantity-unit", f"{at}/quantities/{j}/unit")
                continue
            if not in_range(meaning, value):
                report("quantity-range", f"{at}/quantities/{j}/value")
            elif meaning["name"] in ("height", "depth", "offset", "drop", "bulge") and meaning["unit"] in TENTHS:
                if self.roles[i] != "size-change" and bore["height"] is not None and not survey.size_doubtful(self.pipe):
                    if value * factor(meaning["unit"], "mm") > bore["height"] * 1.1:
                        report("quantity-exceeds-pipe", f"{at}/quantities/{j}/value")
        if row.get("joint") and code["joint"] == "never":
            report("joint-impossible", f"{at}/joint")
        if not row.get("joint") and code["joint"] == "required":
            report("joint-required", at + ("/joint" if "joint" in row else ""))
        if code.get("materials") and "lining" not in (self.pipe or {}) and bore["class"] not in (None, "other", *code["materials"]):
            report("material-excludes-code", f"{at}/code")
        if code.get("shapes") and bore["shape"] not in (None, "other", *code["shapes"]):
            report("shape-excludes-code", f"{at}/code")
        if survey.scheme:
            self.grades(i, row, code, at)

    def grades(self, i, row, code, at):
        report, scheme, grades = self.survey.report, self.survey.scheme, row.get("grades", {})
        steps = [step["grade"] for step in scheme["scale"]["steps"]]
        gradable = {entry["aspect"] for entry in scheme["entries"] if entry["code"] == code["code"]}
        misplaced = False
        for aspect in ("structural", "operational"):
            if aspect not in grades:
                continue
            grade = grades[aspect]
            if grade not in steps:
                report("grade-outside-scale", f"{at}/grades/{aspect}")
            if aspect not in gradable:
                misplaced = True
                report("grade-aspect-unexpected", f"{at}/grades/{aspect}")
            elif grade in steps:
                computed, certain = self.computed(i, aspect)
                if certain and computed != grade:
                    report("grade-contradicts", f"{at}/grades/{aspect}")
        for aspect in ("structural", "operational"):
            if not misplaced and aspect not in grades and self.computed(i, aspect)[0] is not None:
                report("grade-missing", at + ("/grades" if "grades" in row else ""))
