"""The families stretch and reference, and what the family code says of clock references."""
from figures import covered, hour_valid


def rows(survey):
    for run in survey.runs:
        for index, row in enumerate(run.rows):
            yield run, index, row


def stretch_unfinished(survey):
    for run, index, row in rows(survey):
        if row.get("continuous") and "to" not in row and not survey.never_stretch(row):
            yield run.path("observations", index, "continuous"), {"code": row["code"]}


def stretch_ends_before_start(survey):
    for run, index, row in rows(survey):
        if "to" not in row or row["to"] >= row["at"] or row["to"] < run.reads or survey.never_stretch(row):
            continue
        if run.settled(index):
            yield run.path("observations", index, "to"), {"at": row["at"], "to": row["to"]}


def stretch_zero_length(survey):
    for run, index, row in rows(survey):
        if row.get("to") == row["at"] and not survey.never_stretch(row):
            yield run.path("observations", index, "to"), {"at": row["at"]}


def clocks_meet(first, second):
    """Whether two clock references meet on the wall."""
    if first is None or second is None:
        return True
    arcs = []
    for clock in (first, second):
        if not clock_form_right(clock):
            return False
        # A point is an arc of no hours.
        arcs.append((clock["at"], 0) if "at" in clock else (clock["from"], covered(clock["from"], clock["to"])))
    (one, wide), (two, broad) = arcs
    if wide == 0 and broad == 0:
        return (one - two) % 12 == 0
    if wide == 0:
        return (one - two) % 12 <= broad
    if broad == 0:
        return (two - one) % 12 <= wide
    return (two - one) % 12 < wide or (one - two) % 12 < broad


def stretch_overlap(survey):
    for run in survey.runs:
        before = {}
        for index, row in enumerate(run.rows):
            if "to" not in row or row["to"] <= row["at"] or survey.never_stretch(row):
                continue
            earlier = before.setdefault(row["code"], [])
            for other in reversed(earlier[-32:]):
                same = other.get("characterisation", []) == row.get("characterisation", [])
                if same and other["at"] < row["to"] and row["at"] < other["to"] \
                        and clocks_meet(other.get("clock"), row.get("clock")):
                    if run.repeated(index):
                        break
                    yield run.path("observations", index), {"other": other["id"]}
                    break
            earlier.append(row)


def stretch_not_allowed(survey):
    for run, index, row in rows(survey):
        key = "to" if "to" in row else "continuous" if row.get("continuous") else None
        if key and survey.never_stretch(row):
            yield run.path("observations", index, key), {"code": row["code"]}


def stretch_undeclared(survey):
    for run, index, row in rows(survey):
        if "to" in row and not row.get("continuous") and not survey.never_stretch(row):
            yield run.path("observations", index, "to"), {"to": row["to"]}


def clock_rule(survey, row):
    return survey.codes.get(row["code"], {}).get("clock", {})


def clock_form_right(clock):
    keys = set(clock) - {"extensions"}
    return keys in ({"at"}, {"from", "to"})


def hours_right(clock):
    return all(hour_valid(clock[key]) for key in ("at", "from", "to") if key in clock)


def clock_required(survey):
    for run, index, row in rows(survey):
        if clock_rule(survey, row).get("use") == "required" and "clock" not in row:
            yield run.path("observations", index), {}


def clock_not_applicable(survey):
    for run, index, row in rows(survey):
        if "clock" in row and survey.no_clock(row):
            yield run.path("observations", index, "clock"), {}


def clocks(survey):
    """The clock references of rows for whose codes they mean something."""
    for run, index, row in rows(survey):
        if "clock" in row and not survey.no_clock(row):
            yield run.path("observations", index, "clock"), row["clock"], row


def clock_range(survey):
    for place, pipe in enumerate(survey.document.get("pipes", ())):
        hour = pipe.get("joins", {}).get("clock")
        if hour is not None and not hour_valid(hour):
            yield f"/pipes/{place}/joins/clock", {"hour": hour}
    for run in survey.runs:
        hour = run.row.get("launched", {}).get("clock")
        if hour is not None and not hour_valid(hour):
            yield run.path("launched", "clock"), {"hour": hour}
    for path, clock, _ in clocks(survey):
        for key in ("at", "from", "to"):
            if key in clock and not hour_valid(clock[key]):
                yield f"{path}/{key}", {"hour": clock[key]}


def clock_form(survey):
    for path, clock, _ in clocks(survey):
        if not clock_form_right(clock):
            yield path, {}


def clock_extent(survey):
    for path, clock, row in clocks(survey):
        extent = clock_rule(survey, row).get("extent")
        if not clock_form_right(clock) or not hours_right(clock) or extent not in ("point", "span"):
            continue
        if "from" in clock and clock["from"] == clock["to"]:
            continue
        if ("at" in clock) != (extent == "point"):
            yield path, {}


def clock_full_circle(survey):
    for path, clock, _ in clocks(survey):
        if clock_form_right(clock) and "from" in clock and clock["from"] == clock["to"] and hours_right(clock):
            yield path, {"hour": clock["from"]}


def names(survey):
    """(table, id, pointer) of every reference, in the order of tables that the document has."""
    document = survey.document
    single = [("parties", "/assignment/owner", document.get("assignment", {}).get("owner")),
              ("parties", "/review/by", document.get("review", {}).get("by"))]

    def table(name):
        return enumerate(document.get(name, ()))

    for place, row in table("parties"):
        single.append(("parties", f"/parties/{place}/member_of", row.get("member_of")))
    for place, row in table("pipes"):
        for key in ("upstream", "downstream"):
            single.append(("structures", f"/pipes/{place}/{key}", row.get(key)))
        single.append(("pipes", f"/pipes/{place}/joins/pipe", row.get("joins", {}).get("pipe")))
    for name in ("media", "locates"):
        for place, row in table(name):
            single.append(("runs", f"/{name}/{place}/run", row.get("run")))
    for place, row in table("ratings"):
        single.append(("pipes", f"/ratings/{place}/pipe", row["pipe"]))
        for item, key in enumerate(row.get("runs", ())):
            single.append(("runs", f"/ratings/{place}/runs/{item}", key))
    for run in survey.runs:
        row = run.row
        single.append(("pipes", run.path("pipe"), row["pipe"]))
        for key in ("from", "to"):
            single.append(("structures", run.path(key), row.get(key)))
        single.append(("parties", run.path("operator"), row.get("operator")))
        for item, key in enumerate(row.get("equipment", ())):
            single.append(("equipment", run.path("equipment", item), key))
        single.append(("pipes", run.path("launched", "pipe"), row.get("launched", {}).get("pipe")))
        single.append(("runs", run.path("reverse_of"), row.get("reverse_of")))
        for index, item in enumerate(run.rows):
            single.append(("pipes", run.path("observations", index, "joins"), item.get("joins")))
            for number, media in enumerate(item.get("media", ())):
                path = run.path("observations", index, "media", number, "id")
                single.append(("media", path, media["id"]))
    return [item for item in single if item[2] is not None]


def unknown(table):
    def rule(survey):
        found = {}
        for name, path, key in names(survey):
            if name == table and not survey.known(table, key):
                # Of a table without a row every id is missing, and that is one finding.
                found.setdefault(key if survey.places[table] else None, []).append((path, key))
        for places in found.values():
            yield places[0][0], {"id": places[0][1], "rows": len(places)}
    return rule
