"""Random changes to distances, to the order of rows, and to what runs name."""

import copy

WORDS = {
    "direction": ["downstream", "upstream"],
    "kind": ["reached", "stopped", "met"],
    "zero": ["structure-centre", "structure-wall", "pipe-end", "access-fitting"],
    "method": ["camera", "pole"],
    "length_between": ["centres", "walls", "ends"],
    "reason": ["collapse", "roots", "obstacle"],
}
NUMBERS = (
    "at to surveyed length offset reads resolution reading known joint_spacing cable_length from"
).split()
NEVER_NEGATIVE = ("length", "resolution", "joint_spacing", "cable_length")
KEPT = "id pipe direction code at kind zero known reading unit value".split()
HOURS = (1, 3, 6, 9, 12, 12.5, 0, 0.5, 13, 4.25)


def objects(value):
    """The object or list, and every object in it but those below extensions."""
    if isinstance(value, dict):
        yield value
        for key, below in value.items():
            if key != "extensions":
                yield from objects(below)
    elif isinstance(value, list):
        for below in value:
            yield from objects(below)


def fields(survey, tables, names):
    """(object, key) of every field with one of the names."""
    return [(item, key) for table in tables for item in objects(survey.get(table, []))
            for key in item if key in names]  # fmt: skip


def new_id(chance):
    return f"{chance.randrange(10**6)}x"


def rows_of(chance, survey):
    return chance.choice(survey["runs"]).get("observations", [])


def changed(chance, old, others):
    new = chance.choice([
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
    ])()  # fmt: skip
    return round(new, chance.choice([0, 1, 2, 6]))


def number(chance, survey):
    places = [(item, key) for item, key in fields(survey, ("runs", "pipes", "equipment"), NUMBERS)
              if isinstance(item[key], (int, float))]  # fmt: skip
    holder, key = chance.choice(places)
    at = [place for place in places if place[1] == "at"]
    if key in ("at", "from", "to") and at and chance.random() < 0.6:
        holder, key = chance.choice(at)
    others = [item[name] for item, name in places if name == key] or [1]
    holder[key] = changed(chance, holder[key], others)
    if key in NEVER_NEGATIVE and holder[key] <= 0:
        holder[key] = 0.5


def stretch(chance, survey):
    rows = rows_of(chance, survey)
    if rows:
        row = chance.choice(rows)
        row["to"] = chance.choice([row["at"], round(row["at"] + chance.uniform(-5, 40), 1)])
        if chance.random() < 0.7:
            row["continuous"] = True
        if chance.random() < 0.2:
            del row["to"]


def clock(chance, survey):
    rows = rows_of(chance, survey)
    if rows:
        one, other = chance.choice(HOURS), chance.choice(HOURS)
        chance.choice(rows)["clock"] = chance.choice([
            {"at": one},
            {"from": one, "to": other},
            {"from": 3, "to": 3},
            {"at": 3, "from": 3, "to": 3},
        ])  # fmt: skip


def word(chance, survey):
    holder, key = chance.choice(fields(survey, ("runs", "pipes"), WORDS))
    holder[key] = chance.choice(WORDS[key])
    if key == "kind" and "reason" in holder and holder["kind"] != "stopped":
        del holder["reason"]


def row_moved(chance, survey):
    rows = rows_of(chance, survey)
    if rows:
        row = rows.pop(chance.randrange(len(rows)))
        rows.insert(chance.randrange(len(rows) + 1), row)


def row_copied(chance, survey):
    rows = rows_of(chance, survey)
    if rows:
        row = dict(chance.choice(rows), id=new_id(chance))
        codes = [row["code"] for row in rows]
        row["code"] = chance.choice([*codes, "crack.longitudinal", "joint.open", "no.such"])
        if chance.random() < 0.3:
            row["joint"] = True
        rows.insert(chance.randrange(len(rows) + 1), row)


def rows_repeated(chance, survey):
    rows = rows_of(chance, survey)
    if rows:
        start = chance.randrange(len(rows))
        block = copy.deepcopy(rows[start : start + chance.randrange(1, 4)])
        place = chance.randrange(start, len(rows)) + 1
        rows[place:place] = [dict(row, id=new_id(chance)) for row in block]


def field_removed(chance, survey):
    places = [(item, key) for item in objects(survey["runs"]) for key in item if key not in KEPT]
    if places:
        holder, key = chance.choice(places)
        del holder[key]
        if key == "observations":
            holder[key] = []


def reference(chance, survey):
    ids = [row["id"] for table in ("runs", "structures", "pipes") for row in survey[table]]
    key = chance.choice(["reverse_of", "from", "to", "operator", "pipe"])
    chance.choice(survey["runs"])[key] = chance.choice([*ids, "no-such"])


def run_copied(chance, survey):
    run = chance.choice(survey["runs"])
    twin = dict(copy.deepcopy(run), id=f"{run['id']}-{chance.randrange(1000)}")
    if chance.random() < 0.5:
        twin["direction"] = chance.choice(WORDS["direction"])
    survey["runs"].append(twin)


def table_cut(chance, survey):
    table = chance.choice(["parties", "equipment", "media", "structures", "pipes"])
    survey[table] = survey[table][: chance.randrange(len(survey[table]) + 1)]
