"""The rules of the family reference."""

from catalogue import rule

TABLES = {
    "pipe": "pipes",
    "structure": "structures",
    "media": "media",
    "run": "runs",
    "party": "parties",
    "equipment": "equipment",
}


def unknown(table):
    def check(survey):
        found = {}
        for name, path, key in survey.references:
            if name == table and not survey.known(table, key):
                # The missing ids of an empty table have one finding together.
                found.setdefault(key if survey.places[table] else None, []).append((path, key))
        for places in found.values():
            yield places[0][0], {"id": places[0][1], "rows": len(places)}

    return check


for _name, _table in TABLES.items():
    rule("error", f"unknown-{_name}")(unknown(_table))
