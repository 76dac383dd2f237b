"""The rules of the family identity that compare pipes and structures."""

from catalogue import rule
from figures import case_clash, exceeds, tolerance

# What distinguishes two pipes of the same ends, if both state it.
DISTINCT = ("asset", "carries", "height", "width", "shape", "material", "lining", "laid", "path")


@rule("error")
def pipe_ends(survey):
    for place, pipe in survey.table("pipes"):
        if "downstream" not in pipe and "joins" not in pipe:
            yield f"/pipes/{place}", {}
        elif "downstream" in pipe and "joins" in pipe:
            facts = {"downstream": pipe["downstream"], "joins": pipe["joins"]["pipe"]}
            yield f"/pipes/{place}/joins", facts


def joined(survey, start):
    """The places of the pipes that a pipe leads to by `joins`, through up to 50 others."""
    found, place = [], start
    while len(found) <= 50 and place is not None:
        place = survey.place("pipes", survey.document["pipes"][place].get("joins", {}).get("pipe"))
        found.append(place)
        if place == start:
            return found
    return []


def ring(survey, pipe):
    """Whether the runs of a pipe that ends where it begins agree with it. The map is not read."""
    runs = [run for run in survey.runs if run.pipe is pipe]
    ends = [run.row.get(key, pipe["upstream"]) for run in runs for key in ("from", "to")]
    return bool(runs) and all(end == pipe["upstream"] for end in ends)


@rule("error")
def pipe_loop(survey):
    for place, pipe in survey.table("pipes"):
        if pipe["upstream"] == pipe.get("downstream"):
            if ring(survey, pipe):
                continue
            yield f"/pipes/{place}/downstream", {"structure": pipe["upstream"]}
        elif place == min(joined(survey, place), default=None):
            yield f"/pipes/{place}/joins/pipe", {}


def distinct(survey, one, other):
    """Whether the record distinguishes two pipes of the same ends."""
    pairs = [(one.get(key), other.get(key)) for key in DISTINCT]
    pairs.append((one.get("joins", {}).get("clock"), other.get("joins", {}).get("clock")))
    if any(None not in pair and pair[0] != pair[1] for pair in pairs):
        return True
    for end in ("upstream", "downstream"):
        levels = [row.get("inverts", {}).get(end) for row in (one, other)]
        if None not in levels and abs(levels[0] - levels[1]) * survey.metre > 0.05 + 1e-6:
            return True
    lengths = [(one.get("length"), other.get("length"))]
    lengths.append((one.get("joins", {}).get("at"), other.get("joins", {}).get("at")))
    for first, second in lengths:
        if None not in (first, second):
            apart = abs(first - second) * survey.metre
            if exceeds(apart, tolerance(first * survey.metre)):
                return True
    return False


@rule("warning")
def pipe_duplicate(survey):
    first = {}
    for place, pipe in survey.table("pipes"):
        if "downstream" in pipe:
            ends = frozenset((pipe["upstream"], pipe["downstream"]))
        elif "joins" in pipe:
            ends = pipe["upstream"], pipe["joins"]["pipe"]
        else:
            continue
        other = first.setdefault(ends, pipe)
        if other is not pipe and not distinct(survey, other, pipe):
            yield f"/pipes/{place}", {"other": other["id"]}


@rule("warning")
def outfall_upstream(survey):
    for place, pipe in survey.table("pipes"):
        ends = [survey.row("structures", pipe.get(end)) for end in ("upstream", "downstream")]
        outfalls = [bool(end) and end["kind"] == "outfall" for end in ends]
        if outfalls == [True, False]:
            yield f"/pipes/{place}/upstream", {"upstream": pipe["upstream"]}


def ends_of(pipe):
    return {pipe["upstream"], pipe.get("downstream")} - {None}


def together(table, rows):
    """Whether rows of one asset number are parts of one asset."""
    if table == "structures":
        return all(row["kind"] in ("other", "pump-station", "outfall") for row in rows)
    if all("downstream" in row and ends_of(row) == ends_of(rows[0]) for row in rows):
        return True
    return 3 <= len(rows) <= 100 and all(
        any(row is not other and ends_of(row) & ends_of(other) for other in rows) for row in rows
    )


@rule("warning")
def asset_duplicate(survey):
    for table in ("structures", "pipes"):
        numbered = {}
        for _, row in survey.table(table):
            if "asset" in row:
                numbered.setdefault(row["asset"], []).append(row)
        for place, row in survey.table(table):
            rows = numbered.get(row.get("asset"), [row])
            if not together(table, rows):
                other = rows[0]
                if other["id"] != row["id"]:
                    yield f"/{table}/{place}/asset", {"other": other["id"]}


@rule("warning")
def id_case_clash(survey):
    for table in ("parties", "equipment", "structures", "pipes", "runs"):
        ids = {}
        for place, row in survey.table(table):
            kind = row.get("kind", row.get("name", "joins" in row))
            earlier = ids.setdefault((row["id"].lower(), kind), [])
            other = next((key for key in earlier if case_clash(key, row["id"])), None)
            if other is not None and row["id"] not in earlier:
                yield f"/{table}/{place}/id", {"other": other}
            earlier.append(row["id"])


def missing(survey, *tables):
    """Whether the document names a row that is in none of its tables."""
    return any(name in tables and not survey.known(name, key) for name, _, key in survey.references)


def few(table, places, of):
    """A finding for each place, or one for the table if there are more than five."""
    if len(places) > 5:
        yield f"/{table}", {table: len(places), "of": of}
    else:
        for place in places:
            yield f"/{table}/{place}", {}


@rule("note")
def pipe_not_surveyed(survey):
    if not survey.runs or missing(survey, "runs", "pipes"):
        return
    surveyed = {run.row["pipe"] for run in survey.runs}
    ways = {frozenset((run.row.get("from"), run.row.get("to"))) for run in survey.runs}
    pipes = survey.document.get("pipes", [])
    places = [
        place
        for place, pipe in enumerate(pipes)
        if pipe["id"] not in surveyed
        and frozenset((pipe["upstream"], pipe.get("downstream"))) not in ways
    ]
    yield from few("pipes", places, len(pipes))


@rule("note")
def structure_unconnected(survey):
    if missing(survey, "structures"):
        return
    ends = {key for name, _, key in survey.references if name == "structures"}
    structures = survey.document.get("structures", [])
    places = [place for place, row in enumerate(structures) if row["id"] not in ends]
    yield from few("structures", places, len(structures))
