"""Surveys that are changed at random, as a slip of the hand or a program might change them."""

import json
import pathlib
import random
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]
READER = ROOT / "tests" / "second-reader"
sys.path.insert(0, str(READER))
import reading  # noqa: E402
from code_lists import LISTS  # noqa: E402

BASES = [
    ROOT / f"tests/corpus/bases/{name}.obvert.json" for name in ("minimal", "metres", "en-13508-2")
]
ASPECTS = ["structural", "operational"]
MATERIALS = reading.SCHEMA["$defs"]["Material"]["enum"]
SHAPES = reading.SCHEMA["$defs"]["Shape"]["enum"]
WORDS = {
    "direction": ["downstream", "upstream"],
    "kind": ["reached", "stopped", "met"],
    "zero": ["structure-centre", "structure-wall", "pipe-end", "access-fitting"],
    "method": ["camera", "pole"],
    "length_between": ["centres", "walls", "ends"],
    "reason": ["collapse", "roots", "obstacle"],
}
NUMBERS = (
    "at",
    "to",
    "surveyed",
    "length",
    "offset",
    "reads",
    "resolution",
    "reading",
    "known",
    "joint_spacing",
    "cable_length",
    "from",
)


def objects(value):
    """Every object of the runs, pipes and equipment, below extensions none."""
    if isinstance(value, dict):
        yield value
        for key, below in value.items():
            if key != "extensions":
                yield from objects(below)
    elif isinstance(value, list):
        for below in value:
            yield from objects(below)


def number(chance, old, others):
    new = chance.choice(
        [
            lambda: old * 10,
            lambda: old / 10,
            lambda: old * 3.28084,
            lambda: old * 0.3048,
            lambda: old + chance.choice([0.1, 1, 1.1, -0.5, -3]),
            lambda: chance.choice(others),
            lambda: 0,
            lambda: -old,
            lambda: chance.uniform(0, 1.2) * max(others, default=1),
            lambda: old * chance.uniform(0.9, 1.1),
        ]
    )()
    return round(new, chance.choice([0, 1, 2, 6]))


def coding(chance, row, codes):
    """One change to what a row records by its code list."""
    code = codes.get(row["code"], {})
    kind = chance.randrange(5)
    if kind == 0:
        row["code"] = chance.choice(list(codes))
    elif kind == 1:
        values = row.setdefault("characterisation", [])
        listed = [
            item["value"]
            for place in code.get("characterisation", [])
            for item in place.get("values", [])
        ]
        word = chance.choice([*listed, *listed, "no-such", "plastic", "egg"])
        if values and chance.random() < 0.6:
            values[chance.randrange(len(values))] = word
        elif values and chance.random() < 0.3:
            values.pop()
        else:
            values.append(word)
    elif kind == 2:
        amounts = row.setdefault("quantities", [])
        unit = chance.choice(
            [item["unit"] for item in code.get("quantities", [])]
            + ["mm", "in", "percent", "degrees"]
        )
        value = round(
            chance.choice([0, 1, 3, 10, 12, 25, 30, 75, 100, 101, 204, 300, -1])
            * chance.choice([1, 1, 0.1, 1.1]),
            2,
        )
        if amounts and chance.random() < 0.7:
            amounts[chance.randrange(len(amounts))][chance.choice(["value", "unit"])] = value
            for amount in amounts:
                amount["unit"], amount["value"] = (
                    (amount["unit"], amount["value"])
                    if isinstance(amount["unit"], str)
                    else (unit, amount["unit"])
                )
        elif amounts and chance.random() < 0.3:
            amounts.pop()
        else:
            amounts.append({"value": value, "unit": unit})
    elif kind == 3:
        grades = row.setdefault("grades", {})
        aspect = chance.choice(ASPECTS)
        if aspect in grades and chance.random() < 0.3:
            del grades[aspect]
        else:
            grades[aspect] = chance.choice([0, 1, 2, 3, 4, 5, 6])
        if not grades:
            del row["grades"]
    elif kind == 4:
        row["joint"] = chance.random() < 0.6


def content(chance, survey, rows, kind):
    """One change to what rows, ratings, pipes, media files or the document state, kind by kind."""
    codes = {
        code["code"]: code
        for code in LISTS[survey["coding"]["list"], survey["coding"]["version"]]["codes"]
    }
    if kind < 19 and rows:
        coding(chance, chance.choice(rows), codes)
    elif kind == 19 and survey.get("ratings"):
        rating = chance.choice(survey["ratings"])
        key = chance.choice(
            ["peak", "total", "mean", "count", "per_length", "runs", "pipe", "aspect"]
        )
        rating[key] = {
            "runs": lambda: chance.choice(
                [
                    [],
                    [chance.choice(survey["runs"])["id"]],
                    [run["id"] for run in survey["runs"]],
                    ["nobody"],
                ]
            ),
            "pipe": lambda: chance.choice(survey["pipes"])["id"] if survey["pipes"] else "nobody",
            "aspect": lambda: chance.choice(ASPECTS),
            "count": lambda: chance.choice([0, 1, 2, 11, rating.get("count", 0) + 1]),
        }.get(
            key,
            lambda: chance.choice(
                [
                    0,
                    1,
                    2,
                    3,
                    22,
                    22.011,
                    round(rating.get(key, 1) * chance.uniform(0.998, 1.002), 4),
                ]
            ),
        )()
    elif kind == 20 and survey["pipes"]:
        pipe = chance.choice(survey["pipes"])
        key = chance.choice(
            [
                "height",
                "height",
                "height",
                "width",
                "laid",
                "laid",
                "material",
                "material",
                "shape",
                "size_basis",
                "lining",
                "inverts",
            ]
        )
        pipe[key] = {
            "height": lambda: chance.choice(
                [
                    8,
                    8.2,
                    6,
                    10.4,
                    42,
                    44,
                    48,
                    150,
                    200,
                    203,
                    205,
                    250,
                    300,
                    330,
                    600,
                    1020,
                    2.5,
                    0,
                    -8,
                    7.9,
                    3500,
                ]
            ),
            "width": lambda: chance.choice([0, -1, 8, 200, 205]),
            "laid": lambda: chance.choice(
                [31, 1599, 1600, 1859, 1912, 1929, 1930, 1942, 1953, 1987]
            ),
            "material": lambda: chance.choice(MATERIALS),
            "shape": lambda: chance.choice(SHAPES),
            "size_basis": lambda: chance.choice(["nominal", "inside"]),
            "lining": lambda: "cured in place",
            "inverts": lambda: {"upstream": 100, "downstream": chance.choice([99, 100, 90])},
        }[key]()
        if chance.random() < 0.2:
            del pipe[key]
        elif key == "height" and chance.random() < 0.3:
            for other in survey["pipes"]:
                other["height"] = pipe["height"]
    elif kind == 21 and survey.get("media"):
        media = chance.choice(survey["media"])
        media[chance.choice(["file", "file"])] = chance.choice(
            [
                "a/b.jpg",
                "a/b.JPEG",
                "a/b.mp4",
                "/a.jpg",
                "c:a.jpg",
                "a//b.jpg",
                "a./b.jpg",
                "con.jpg",
                "Lpt1 .x.jpg",
                "a/com0.jpg",
                "a/b",
                "b.",
                "x" * 256 + ".mp4",
                "a\\b.jpg",
                "http://x/y.png",
                "a.wav",
                "a.pdf",
                "é" * 126 + ".mp4",
                "a/b?.m4v",
                "a/b\x85.mov",
            ]
        )
        if chance.random() < 0.5:
            media["kind"] = chance.choice(
                ["photo", "video", "interval-video", "audio", "document", "scan"]
            )
        if chance.random() < 0.5:
            media["type"] = chance.choice(
                [
                    "image/jpeg",
                    "IMAGE/JPEG",
                    "video/mp4",
                    "audio/mp4",
                    "application/pdf",
                    "image/png",
                ]
            )
        elif chance.random() < 0.3:
            media.pop("type", None)
    elif kind == 22:
        places = [
            (item, key)
            for table in ("equipment", "structures", "media", "pipes")
            for item in objects(survey.get(table, []))
            for key in item
            if key
            in (
                "depth",
                "duration",
                "frame_rate",
                "frequency",
                "counter_resolution",
                "cable_length",
                "length",
                "joint_spacing",
            )
        ]
        if places:
            holder, key = chance.choice(places)
            holder[key] = chance.choice([0, -1, 0.5])
    elif kind == 23:
        if chance.random() < 0.3:
            survey["runs"] = []
        elif chance.random() < 0.5:
            survey["review"] = {"status": chance.choice(["draft", "checked", "released"])}
            if chance.random() < 0.5 and survey["parties"]:
                survey["review"] |= {"by": survey["parties"][0]["id"], "at": "2026-05-08T09:00:00Z"}
        else:
            survey["revises"] = {
                "id": chance.choice([survey["id"], "urn:uuid:00000000-0000-4000-8000-000000000000"])
            }
    elif kind == 24 and rows:
        role = chance.choice(["material-change", "size-change", "shape-change", "level", "level"])
        code = chance.choice(
            [code for code in codes.values() if code.get("role") == role] or [{"code": "no.such"}]
        )
        place = chance.randrange(len(rows))
        row = {
            "id": f"{chance.randrange(10**6)}y",
            "at": round(rows[place]["at"] + chance.choice([0, 0, 1, 3]), 2),
            "code": code["code"],
        }
        if role == "level":
            row["quantities"] = [{"value": chance.choice([5, 20, 36, 50, 101]), "unit": "percent"}]
        elif role == "size-change":
            row["quantities"] = [
                {
                    "value": chance.choice([200, 203.2, 204.2, 8, 10, 300]),
                    "unit": chance.choice(["mm", "in"]),
                }
            ]
        else:
            row["characterisation"] = [
                chance.choice(
                    ["clayware", "plastic", "concrete", "other", "egg", "circular", "no-such"]
                )
            ]
        rows.insert(place + 1, row)
    elif kind == 25 and rows:
        start = chance.randrange(len(rows))
        block = [
            dict(row, id=f"{chance.randrange(10**6)}z")
            for row in rows[start : start + chance.randrange(1, 4)]
        ]
        place = chance.randrange(start, len(rows)) + 1
        rows[place:place] = json.loads(json.dumps(block))


def change(chance, survey):
    """One change to a survey, as a slip of the hand or a program might make it."""
    runs = survey["runs"]
    if not runs:
        return
    run = chance.choice(runs)
    rows = run.get("observations", [])
    kind = chance.randrange(26)
    if kind > 13:
        content(chance, survey, rows, kind)
    elif kind < 4:
        places = [
            (item, key)
            for table in ("runs", "pipes", "equipment")
            for item in objects(survey[table])
            for key in item
            if key in NUMBERS and isinstance(item[key], (int, float))
        ]
        holder, key = chance.choice(places)
        if key in ("at", "from", "to") and chance.random() < 0.6:
            holder, key = chance.choice([(holder, key) for holder, key in places if key == "at"])
        others = [item[name] for item, name in places if name == key] or [1]
        holder[key] = number(chance, holder[key], others)
        if key in ("length", "resolution", "joint_spacing", "cable_length") and holder[key] <= 0:
            holder[key] = 0.5
    elif kind == 4 and rows:
        row = chance.choice(rows)
        row["to"] = chance.choice([row["at"], round(row["at"] + chance.uniform(-5, 40), 1)])
        if chance.random() < 0.7:
            row["continuous"] = True
        if chance.random() < 0.2:
            del row["to"]
    elif kind == 5 and rows:
        row = chance.choice(rows)
        hour = lambda: chance.choice([1, 3, 6, 9, 12, 12.5, 0, 0.5, 13, 4.25])
        row["clock"] = chance.choice(
            [
                {"at": hour()},
                {"from": hour(), "to": hour()},
                {"from": 3, "to": 3},
                {"at": 3, "from": 3, "to": 3},
            ]
        )
    elif kind == 6:
        holder, key = chance.choice(
            [
                (item, key)
                for table in ("runs", "pipes")
                for item in objects(survey[table])
                for key in item
                if key in WORDS
            ]
        )
        holder[key] = chance.choice(WORDS[key])
        if key == "kind" and "reason" in holder and holder["kind"] != "stopped":
            del holder["reason"]
    elif kind == 7 and rows:
        first, second = chance.randrange(len(rows)), chance.randrange(len(rows))
        rows.insert(second, rows.pop(first))
    elif kind == 8 and rows:
        copied = dict(chance.choice(rows), id=f"{chance.randrange(10**6)}x")
        copied["code"] = chance.choice(
            [row["code"] for row in rows] + ["crack.longitudinal", "joint.open", "no.such"]
        )
        if chance.random() < 0.3:
            copied["joint"] = True
        rows.insert(chance.randrange(len(rows) + 1), copied)
    elif kind == 9:
        holder, key = chance.choice(
            [
                (item, key)
                for item in objects(runs)
                for key in item
                if key
                not in (
                    "id",
                    "pipe",
                    "direction",
                    "code",
                    "at",
                    "kind",
                    "zero",
                    "known",
                    "reading",
                    "unit",
                    "value",
                )
            ]
        )
        del holder[key]
        if key == "observations":
            holder[key] = []
    elif kind == 10:
        ids = [row["id"] for table in ("runs", "structures", "pipes") for row in survey[table]]
        run[chance.choice(["reverse_of", "from", "to", "operator", "pipe"])] = chance.choice(
            [*ids, "nobody"]
        )
    elif kind == 11:
        twin = json.loads(json.dumps(run))
        twin["id"] = f"{run['id']}-{chance.randrange(1000)}"
        if chance.random() < 0.5:
            twin["direction"] = chance.choice(WORDS["direction"])
        runs.append(twin)
    elif kind == 12:
        table = chance.choice(["parties", "equipment", "media", "structures", "pipes"])
        survey[table] = (
            survey[table][: chance.randrange(len(survey[table]) + 1)] if survey[table] else []
        )


def surveys(count, seed):
    chance = random.Random(seed)
    bases = [path.read_text("utf-8") for path in BASES]
    while count:
        survey = json.loads(chance.choice(bases))
        # What positions say of lengths is beyond the reader.
        survey.pop("crs", None)
        for table in ("structures", "pipes", "locates"):
            for row in survey.get(table, []):
                row.pop("position", None)
                row.pop("path", None)
        survey.pop("locates", None)
        if chance.random() < 0.15:
            for row in survey["pipes"]:
                row["length_between"] = "centres"
        for _ in range(chance.choice([1, 1, 2, 2, 3, 4, 6])):
            change(chance, survey)
        if all(kind == "duplicate-id" for kind, _ in reading.problems(survey)):
            count -= 1
            yield survey
