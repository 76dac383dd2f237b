"""The rules of the family identity."""

from catalogue import rule
from rules_time import concurrent


@rule("warning")
def observation_duplicate(survey):
    for run in survey.runs:
        for repeat in run.repeats:
            facts = {"other": run.rows[repeat.above]["id"]}
            if repeat.rows > 1:
                facts["rows"] = repeat.rows
            yield run.path("observations", repeat.start), facts
        starts = {repeat.start for repeat in run.repeats}
        for index, other in run.duplicates.items():
            if index not in starts:
                yield run.path("observations", index), {"other": run.rows[other]["id"]}


def turned_streets(survey):
    """The streets whose pipes are recorded against the flow: (street, first, turned, compared)."""
    streets = {}
    for place, pipe in survey.table("pipes"):
        runs = [run for run in survey.runs if run.row["pipe"] == pipe["id"]]
        named = [run for run in runs if "from" in run.row or "to" in run.row]
        if named:
            turned = all(run.direction_contradicts() for run in named)
            streets.setdefault(pipe.get("street"), []).append((place, turned))
    for street, pipes in streets.items():
        turned = [place for place, wrong in pipes if wrong]
        if len(turned) >= 3 and len(turned) * 5 >= len(pipes) * 4:
            yield street, turned[0], len(turned), len(pipes)


@rule("error")
def direction_contradicts(survey):
    streets = {street: rest for street, *rest in turned_streets(survey)}
    for first, turned, compared in streets.values():
        yield f"/pipes/{first}", {"pipes": turned, "of": compared}
    for run in survey.runs:
        if run.direction_contradicts() and run.pipe.get("street") not in streets:
            facts = {"direction": run.row["direction"], "upstream": run.pipe["upstream"]}
            yield run.path("direction"), facts


@rule("error")
def run_structure_mismatch(survey):
    for run in survey.runs:
        if run.pipe is None:
            continue
        ends = (run.pipe["upstream"], run.pipe.get("downstream"))
        free = {"downstream": "to", "upstream": "from"}[run.row["direction"]]
        wrong = {}
        for key in ("from", "to"):
            structure = run.row.get(key)
            if structure is None or structure in ends or not survey.known("structures", structure):
                continue
            # The end of a lateral at its main, or one that is not recorded.
            if "downstream" in run.pipe or key != free:
                wrong[key] = structure
        if len(set(wrong.values())) == 2:
            yield run.path("pipe"), wrong
        elif wrong:
            key = next(iter(wrong))
            yield run.path(key), {key: wrong[key]}


@rule("warning")
def equipment_duplicate(survey):
    for run in survey.runs:
        named = run.row.get("equipment", [])
        for place, key in enumerate(named):
            if named.index(key) < place:
                yield run.path("equipment", place), {"equipment": key}


@rule("note")
def run_duplicate(survey):
    for run in survey.runs:
        other = next(
            (other for other in survey.runs[: run.place] if repeats(survey, other, run)), None
        )
        if other:
            yield run.path(), {"other": other.row["id"]}


def repeats(survey, first, second):
    """Whether a run was made again on the same day."""
    for key in ("pipe", "direction"):
        if first.row[key] != second.row[key]:
            return False
    if (first.kind, second.kind) != ("reached", "reached"):
        return False
    days = [run.row.get("started", "")[:10] for run in (first, second)]
    if not days[0] or days[0] != days[1]:
        return False
    purposes = [run.row.get("purpose") for run in (first, second)]
    return (None in purposes or purposes[0] == purposes[1]) and not concurrent(
        survey, first, second
    )
