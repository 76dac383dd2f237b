"""The rules of the family identity that compare pipes and structures."""

from catalogue import rule
from figures import case_clash, exceeds, tolerance

# What distinguishes two pipes of the same ends, if both state it.
DISTINCT = ("asset", "height", "width", "shape", "material", "lining", "laid")


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


@rule("error")
def pipe_loop(survey):
    for place, pipe in survey.table("pipes"):
        if pipe["upstream"] == pipe.get("downstream"):
            yield f"/pipes/{place}/downstream", {"structure": pipe["upstream"]}
        elif place == min(joined(survey, place), default=None):
            yield f"/pipes/{place}/joins/pipe", {}


def distinct(survey, one, other):
    """Whether the record distinguishes two pipes of the same ends."""
    pairs = [(one.get(key), other.get(key)) for key in DISTINCT]
    pairs.append((one.get("joins", {}).get("clock"), other.get("joins", {}).get("clock")))
    if any(None not in pair and pair[0] != pair[1] for pair in pairs):
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
        structure = survey.row("structures", pipe["upstream"])
        if structure and structure["kind"] == "outfall":
            yield f"/pipes/{place}/upstream", {"upstream": pipe["upstream"]}


@rule("warning")
def asset_duplicate(survey):
    for table in ("structures", "pipes"):
        first = {}
        for place, row in survey.table(table):
            if "asset" in row:
                other = first.setdefault(row["asset"], row)
                if other is not row:
                    yield f"/{table}/{place}/asset", {"other": other["id"]}


@rule("warning")
def id_case_clash(survey):
    for table in ("parties", "equipment", "structures", "pipes", "runs"):
        ids = {}
        for place, row in survey.table(table):
            earlier = ids.setdefault(row["id"].lower(), [])
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
