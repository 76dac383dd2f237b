"""Random changes that make rows of the tables like each other, or contradict each other."""

import copy

from changes_of_runs import new_id, objects

TABLES = ("parties", "equipment", "structures", "pipes", "runs", "media", "ratings")
TIMES = ("2026-05-06T09:31:00-05:00", "2026-05-06T10:00:00-05:00", "2026-05-06T15:05:00.5Z",
         "2026-05-06T15:12:00Z", "2026-05-05T15:12:00Z")  # fmt: skip


def some(chance, survey, *tables):
    """A row of one of the tables, or an empty object that is in none."""
    return chance.choice([row for table in tables for row in survey.get(table, [])] or [{}])


def pipe_ends(chance, survey):
    row = some(chance, survey, "pipes")
    key = chance.choice(["upstream", "downstream", "joins", "none", "swapped"])
    if key == "joins":
        pipe = some(chance, survey, "pipes").get("id", "no-such")
        row["joins"] = {"pipe": pipe, "at": chance.choice([10, 10.2, 50, 120]), "clock": 2}
        if chance.random() < 0.8:
            row.pop("downstream", None)
    elif key == "none":
        row.pop("downstream", None)
    elif key == "swapped" and "downstream" in row:
        row["upstream"], row["downstream"] = row["downstream"], row["upstream"]
    else:
        row[key] = some(chance, survey, "structures").get("id", "no-such")


def row_copied(chance, survey):
    table = chance.choice(TABLES)
    for _ in range(chance.choice([1, 1, 1, 6])):
        if survey.get(table):
            row = dict(copy.deepcopy(chance.choice(survey[table])), id=new_id(chance))
            if table == "pipes" and chance.random() < 0.6:
                row[chance.choice(["height", "length", "laid"])] = chance.choice([200, 201, 1950])
            survey[table].append(row)


def id_changed(chance, survey):
    row, other = (some(chance, survey, *TABLES[:5]) for _ in range(2))
    if row and other:
        row["id"] = chance.choice([row["id"].lower(), other["id"].lower(), "no-such"])


def asset(chance, survey):
    some(chance, survey, "structures", "pipes")["asset"] = chance.choice(["A-1", "A-2"])


def kind(chance, survey):
    some(chance, survey, "structures")["kind"] = chance.choice(["outfall", "junction"])


def times(chance, survey):
    row = some(chance, survey, "runs")
    row[chance.choice(["started", "finished"])] = chance.choice(TIMES)
    if chance.random() < 0.2:
        row["purpose"] = chance.choice(["routine", "acceptance"])


def equipment(chance, survey):
    row = some(chance, survey, "runs")
    piece = some(chance, survey, "equipment").get("id", "no-such")
    row["equipment"] = [*row.get("equipment", []), piece]


def media(chance, survey):
    row, other = some(chance, survey, "media"), some(chance, survey, "media")
    if row and other:
        row["file"] = chance.choice([other["file"], other["file"].upper(), row["file"]])
        if chance.random() < 0.5:
            row["sha256"] = chance.choice(["0" * 64, "1" * 64])
        if chance.random() < 0.3:
            row.pop("run", None)


def offset(chance, survey):
    named = [item for run in survey["runs"] for item in objects(run.get("observations", []))
             if "offset" in item]  # fmt: skip
    if named:
        chance.choice(named)["offset"] = chance.choice([-1, 0, 40, 380, 500, 801, 801.5])
