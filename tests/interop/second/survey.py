"""A survey as a whole: what concerns the document, its tables, and its runs together."""

import math
import re

from .basics import *
from .run import Run

FIRST_YEAR = {
    "reinforced-concrete": 1860, "bituminised-fibre": 1890, "asbestos-cement": 1900, "pvc": 1930, "polyethylene": 1940,
    "glass-reinforced-plastic": 1940, "ductile-iron": 1943, "abs": 1943, "polypropylene": 1954,
}
NOMINAL_INCHES = (1.5, 2, 3, 4, 5, 6, 8, 10, 12, 14, 15, 16, 18, 20, 21, 24, 27, 30, 33, 36, 39)
NOMINAL_MILLIMETRES = (40, 63, 90, 110, 125, 140, 160, 180, 200, 250, 280, 315, 355, 400, 450, 500, 560, 630, 710, 800, 1000)
ENDINGS = {
    ending: types.split(" or ")
    for endings, types in (
        ("jpg jpeg", "image/jpeg"), ("png", "image/png"), ("tif tiff", "image/tiff"), ("bmp", "image/bmp"), ("webp", "image/webp"),
        ("mp4", "video/mp4 or audio/mp4"), ("m4v", "video/mp4 or video/x-m4v"), ("mpg mpeg", "video/mpeg"),
        ("avi", "video/x-msvideo or video/vnd.avi"), ("mov", "video/quicktime"), ("mkv", "video/matroska or video/x-matroska"),
        ("webm", "video/webm or audio/webm"), ("wmv", "video/x-ms-wmv"), ("wav", "audio/wav or audio/x-wav or audio/vnd.wave"),
        ("mp3", "audio/mpeg"), ("m4a", "audio/mp4 or audio/x-m4a"), ("pdf", "application/pdf"),
    )
    for ending in endings.split()
}


def of_kind(kind, stated):
    major = stated.split("/")[0]
    wanted = {"photo": "image", "video": "video", "interval-video": "video", "audio": "audio"}
    if kind in wanted:
        return major == wanted[kind]
    return major != "audio" and not (kind == "document" and major == "video")


def unportable(path):
    if "://" in path or "\\" in path or path.startswith("/") or path[1:2] == ":":
        return True
    for part in path.split("/"):
        stem = part.split(".")[0].rstrip().lower()
        device = re.fullmatch(r"con|prn|aux|nul|(com|lpt)[1-9]", stem)
        control = any(ord(c) < 32 or 127 <= ord(c) < 160 or c in '<>:"|?*' for c in part)
        if part in ("", ".", "..") or part[-1] in ". " or control or len(part.encode()) > 255 or device:
            return True
    return False


class Survey:
    def __init__(self, document):
        self.head = document
        self.length, self.section = LENGTH[document["units"]["length"]], SECTION[document["units"]["section"]]
        self.list = LISTS.get((document["coding"]["list"], document["coding"]["version"]))
        grading = document.get("grading", {})
        scheme = SCHEMES.get((grading.get("scheme"), grading.get("version")))
        self.scheme = scheme if scheme and self.list and scheme["code_list"]["list"] == self.list["id"] else None
        self.codes = {code["code"]: code for code in self.list["codes"]} if self.list else {}
        self.found = set()

    def report(self, rule, path):
        self.found.add((rule, path))

    def rows(self, table):
        return self.head.get(table, [])

    def row(self, table, id):
        """checking.md, References: an id that stands twice leads to neither row."""
        rows = [row for row in self.rows(table) if row["id"] == id]
        return rows[0] if len(rows) == 1 else None

    # document by document
    def check(self):
        self.references()
        self.numbers()
        self.sizes_wrong = self.sizes()
        runs = [Run(self, run, index) for index, run in enumerate(self.rows("runs"))]
        for run in runs:
            run.check()
        self.trap = self.unit_trap(runs)
        self.past_and_short(runs)
        self.pairs(runs)
        self.ratings(runs)
        for index, pipe in enumerate(self.rows("pipes")):
            self.clock_hour(pipe.get("joins", {}).get("clock"), f"/pipes/{index}/joins/clock")
        if self.head.get("revises", {}).get("id") == self.head["id"]:
            self.report("revises-itself", "/revises/id")
        review = self.head.get("review")
        if review and review["status"] == "draft":
            self.report("review-draft", "/review/status")
        elif review and not ("by" in review and "at" in review):
            self.report("review-incomplete", "/review")
        if not runs:
            self.report("runs-missing", "")
        for index, pipe in enumerate(self.rows("pipes")):
            self.pipe(pipe, f"/pipes/{index}")
        for index, media in enumerate(self.rows("media")):
            self.media(media, f"/media/{index}")
        return self.found

    # rules.md, the paragraphs Exactly
    def pipe(self, pipe, at):
        laid, first = pipe.get("laid"), FIRST_YEAR.get(pipe.get("material"))
        if laid is not None and laid < 1600:
            self.report("year-laid-implausible", f"{at}/laid")
        elif laid is not None and first is not None and laid < first:
            self.report("material-newer-than-pipe", f"{at}/material")
        height = pipe.get("height")
        if pipe.get("size_basis") == "nominal" and pipe.get("shape", "circular") == "circular" and height is not None:
            if 40 <= height * self.section <= 6000 and not self.size_doubtful(pipe):
                whole = lambda step, least: height >= least and height % step == 0
                if self.section == 25.4:
                    nominal = height in NOMINAL_INCHES or whole(6, 42)
                else:
                    nominal = height in NOMINAL_MILLIMETRES or whole(50, 50) or whole(75, 50)
                if not nominal:
                    self.report("size-not-nominal", f"{at}/height")

    def media(self, media, at):
        path, kind, stated = media["file"], media["kind"], media.get("type", "").lower()
        if unportable(path):
            self.report("media-path-unportable", f"{at}/file")
        types = ENDINGS.get(re.split(r"[./]", path)[-1].lower())
        if stated and not of_kind(kind, stated):
            self.report("media-type-contradicts", f"{at}/type")
        elif types and (stated not in types if stated else not any(of_kind(kind, one) for one in types)):
            self.report("media-type-contradicts", f"{at}/file")

    def clock_hour(self, hour, path):
        if hour is not None and not valid(hour):
            self.report("clock-range", path)

    # the References of each chapter; checking.md, References
    def references(self):
        head, named = self.head, []
        add = lambda kind, table, id, path: named.append((kind, table, id, path)) if id is not None else None
        add("party", "parties", head.get("assignment", {}).get("owner"), "/assignment/owner")
        add("party", "parties", head.get("review", {}).get("by"), "/review/by")
        for i, row in enumerate(self.rows("parties")):
            add("party", "parties", row.get("member_of"), f"/parties/{i}/member_of")
        for i, row in enumerate(self.rows("pipes")):
            add("structure", "structures", row["upstream"], f"/pipes/{i}/upstream")
            add("structure", "structures", row.get("downstream"), f"/pipes/{i}/downstream")
            add("pipe", "pipes", row.get("joins", {}).get("pipe"), f"/pipes/{i}/joins/pipe")
        for table in ("media", "locates"):
            for i, row in enumerate(self.rows(table)):
                add("run", "runs", row.get("run"), f"/{table}/{i}/run")
        for i, row in enumerate(self.rows("ratings")):
            add("pipe", "pipes", row["pipe"], f"/ratings/{i}/pipe")
            for j, run in enumerate(row.get("runs", [])):
                add("run", "runs", run, f"/ratings/{i}/runs/{j}")
        for i, run in enumerate(self.rows("runs")):
            at = f"/runs/{i}"
            add("pipe", "pipes", run["pipe"], f"{at}/pipe")
            add("structure", "structures", run.get("from"), f"{at}/from")
            add("structure", "structures", run.get("to"), f"{at}/to")
            add("party", "parties", run.get("operator"), f"{at}/operator")
            add("pipe", "pipes", run.get("launched", {}).get("pipe"), f"{at}/launched/pipe")
            add("run", "runs", run.get("reverse_of"), f"{at}/reverse_of")
            for j, id in enumerate(run.get("equipment", [])):
                add("equipment", "equipment", id, f"{at}/equipment/{j}")
            for j, row in enumerate(run.get("observations", [])):
                add("pipe", "pipes", row.get("joins"), f"{at}/observations/{j}/joins")
                for k, media in enumerate(row.get("media", [])):
                    add("media", "media", media["id"], f"{at}/observations/{j}/media/{k}/id")
        told = set()
        for kind, table, id, path in named:
            if (table, id) not in told and not any(row["id"] == id for row in self.rows(table)):
                told.add((table, id))
                self.report(f"unknown-{kind}", path)

    # the ranges in the tables of fields
    def numbers(self):
        above = {
            "equipment": ("counter_resolution", "cable_length", "frequency"),
            "pipes": ("height", "width", "length", "joint_spacing"),
            "media": ("duration", "frame_rate"),
            "locates": ("frequency",),
        }
        least = {"structures": ("depth",), "locates": ("depth", "accuracy")}
        for wanted, wrong in ((above, lambda v: v <= 0), (least, lambda v: v < 0)):
            for table, fields in wanted.items():
                for i, row in enumerate(self.rows(table)):
                    for field in fields:
                        if field in row and wrong(row[field]):
                            self.report("number-impossible", f"/{table}/{i}/{field}")
        for i, run in enumerate(self.rows("runs")):
            counter = run.get("counter", {})
            if counter.get("resolution", 1) <= 0:
                self.report("number-impossible", f"/runs/{i}/counter/resolution")
            if run.get("surveyed", math.inf) < counter.get("reads", 0):
                self.report("number-impossible", f"/runs/{i}/surveyed")

    # checking.md, Doubtful units, Sizes
    def only_other(self, pipe):
        height = pipe.get("height")
        if height is None:
            return False
        here, there = height * self.section, height * (1.0 if self.section == 25.4 else 25.4)
        if not 40 <= there <= 6000:
            return False
        if self.section == 25.4:
            circular = pipe.get("shape", "circular") == "circular"
            return here > 6000 or circular and height > 144 and height in (150, 160, 200, 225)
        return here < 40 or height in (42, 48)

    def sizes(self):
        other = [i for i, pipe in enumerate(self.rows("pipes")) if self.only_other(pipe)]
        declared = 0
        for pipe in self.rows("pipes"):
            height = pipe.get("height")
            if height is not None:
                here, there = height * self.section, height * (1.0 if self.section == 25.4 else 25.4)
                declared += 40 <= here <= 6000 and not 40 <= there <= 6000
        if len(other) >= 2 and most(len(other), len(other) + declared):
            self.report("size-unit-suspect", "/units/section")
            return True
        for i in other:
            self.report("size-unit-suspect", f"/pipes/{i}/height")
        return False

    def size_doubtful(self, pipe):
        return self.sizes_wrong or pipe is not None and self.only_other(pipe)

    # checking.md, Doubtful units, Lengths
    def unit_trap(self, runs):
        of = long = short = 0
        for run in runs:
            length, far = run.pipe_length(), run.far()
            if run.outcome() == "reached" and length and far and far > 0:
                of += 1
                long += abs(far / length * 0.3048 - 1) <= 0.1
                short += abs(length / far * 0.3048 - 1) <= 0.1
        return max(long, short) >= 3 and most(max(long, short), of)

    # checking.md, Drift
    def drifting(self, runs):
        by = {}
        for run in runs:
            length, far, pipe = run.pipe_length(), run.far(), run.pipe or {}
            if run.outcome() == "reached" and run.centred() and length and length >= 20 and far is not None:
                if pipe.get("length_between", "centres") == "centres":
                    by.setdefault(run.camera(), []).append(far / length - 1)
        cameras = set()
        for camera, shares in by.items():
            median = sorted(shares)[len(shares) // 2]
            agree = sum(1 for share in shares if median and 0.5 <= share / median <= 1.5)
            if 0.01 <= abs(median) <= 0.1 and agree >= 4 and most(agree, len(shares)):
                cameras.add(camera)
        return cameras

    # checking.md, Lengths
    def past_and_short(self, runs):
        drifting = self.drifting(runs)
        for camera in drifting:
            rows = [i for i, row in enumerate(self.rows("equipment")) if row["id"] == camera]
            self.report("distance-drift", f"/equipment/{rows[0]}" if rows else "/runs")
        if self.trap:
            return
        for run in runs:
            length, far = run.pipe_length(), run.far()
            if length is None or far is None or run.camera() in drifting:
                continue
            if run.past():
                self.report("run-longer-than-pipe", f"{run.at}/surveyed")
            if run.short():
                self.report("run-shorter-than-pipe", f"{run.at}/surveyed")

    def pairs(self, runs):
        for run in runs:
            others = [other for other in runs if other.run["id"] == run.run.get("reverse_of")]
            if len(others) != 1:
                continue
            other = others[0]
            turned = run.turned() or other.turned()
            alike = other.run["direction"] == run.run["direction"]
            if other.run["pipe"] != run.run["pipe"] or other is run or alike and not turned:
                self.report("reverse-mismatch", f"{run.at}/reverse_of")
            again = other.run.get("reverse_of") == run.run["id"] and other.index < run.index
            if again or other.run["pipe"] != run.run["pipe"] or alike or self.trap:
                continue
            length, a, b = run.pipe_length(), run.far(), other.far()
            if None in (length, a, b) or run.past() or other.past():
                continue
            gap = 0 if run.centred() and other.centred() else 1.524
            if exceeds(length - a - b, tolerance(length) + gap):
                self.report("reverse-gap", f"{run.at}/reverse_of")
            between = 0 if run.pipe.get("length_between") == "centres" else 1.524
            if exceeds(a + b - length, tolerance(length) + between):
                self.report("reverse-overlap", f"{run.at}/reverse_of")

    # grade-schemes.md, Roll-up
    def ratings(self, runs):
        if not self.scheme or self.trap:
            return
        rollup, steps = self.scheme["rollup"], [step["grade"] for step in self.scheme["scale"]["steps"]]
        assert rollup.get("peak", {"method": "worst-grade"})["method"] == "worst-grade"
        for index, rating in enumerate(self.rows("ratings")):
            if "peak" in rating and rating["peak"] not in steps:
                self.report("rating-outside-scale", f"/ratings/{index}/peak")
            if self.row("pipes", rating["pipe"]) is None:
                continue
            if "runs" in rating:
                of = [run for run in runs if run.run["id"] in rating["runs"]]
                ids = [run.run["id"] for run in of]
                if set(ids) != set(rating["runs"]) or len(ids) != len(set(ids)):
                    continue
            else:
                of = [run for run in runs if run.run["pipe"] == rating["pipe"]]
            through = [run.run["id"] for run in runs if run.run["pipe"] == rating["pipe"]]
            if len(through) != len(set(through)):
                continue
            foreign = [j for j, id in enumerate(rating.get("runs", [])) for run in of if run.run["id"] == id and run.run["pipe"] != rating["pipe"]]
            if foreign:
                self.report("rating-contradicts", f"/ratings/{index}/runs/{foreign[0]}")
                continue
            if not of:
                if not any(rule == "unknown-run" for rule, _ in self.found):
                    self.report("rating-contradicts", f"/ratings/{index}/pipe")
                continue
            sums = self.rolled(of, rating["aspect"], lambda run, i: (run.recorded(i, rating["aspect"]), run.extent(i)))
            mended = self.rolled(of, rating["aspect"], lambda run, i: (run.mended_grade(i, rating["aspect"]), run.mended_extent(i)), True)
            if sums is None or mended is None:
                continue
            differing = self.differing(rating, sums, steps)
            if differing and self.differing(rating, mended, steps):
                field = f"/{differing[0]}" if len(differing) == 1 else ""
                self.report("rating-contradicts", f"/ratings/{index}{field}")

    def rolled(self, runs, aspect, what, mended=False):
        """The figures of some runs, or None where a grade cannot be counted."""
        rollup, steps = self.scheme["rollup"], [step["grade"] for step in self.scheme["scale"]["steps"]]
        span = lambda value: value["value"] * LENGTH[value["unit"]]
        total = count = 0
        worst = None
        for run in runs:
            twice = run.twice() if mended else set()
            for i in (i for i in range(len(run.rows)) if i not in twice):
                grade, length = what(run, i)
                if grade is None:
                    continue
                if grade not in steps or length is None or length < 0:
                    return None
                n = max(1, math.ceil(length / span(rollup["interval"]) - 1e-9))
                total, count = total + grade * n, count + n
                rising = self.scheme["scale"]["worst"] >= self.scheme["scale"]["best"]
                worst = grade if worst is None else max(worst, grade) if rising else min(worst, grade)
        figures = {"peak": worst, "total": total, "count": count, "mean": total / count if count else None}
        travelled = [run.travelled() for run in runs]
        surveyed = None if None in travelled else sum(travelled)
        if surveyed and surveyed > 0 and all(run.length_certain() for run in runs):
            figures["per_length"] = total / surveyed * span(rollup["per_length"])
        return figures

    def differing(self, rating, figures, steps):
        fields = []
        for field in ("peak", "total", "mean", "count", "per_length"):
            if field not in rating or field not in figures or field == "peak" and rating[field] not in steps:
                continue
            stated, value = rating[field], figures[field]
            slack = 0 if field == "count" or value is None else 0.0005 * max(1, abs(value)) + 1e-12
            if value is None or abs(stated - value) > slack:
                fields.append(field)
        return fields
