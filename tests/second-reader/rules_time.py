"""The rules of the family time that compare runs."""

from catalogue import rule
from figures import instant
from rules_length import CAMERAS


def times(run):
    """When a run began and ended; None for what is not known."""
    return [instant(run.row.get(key, "")) for key in ("started", "finished")]


def in_time(run):
    """The order of runs that have a beginning."""
    began, ended = times(run)
    return began, began if ended is None else ended, run.place


def timed(run):
    """Whether a run has a beginning, and no end before it."""
    began, ended = times(run)
    return began is not None and (ended is None or ended >= began)


def cameras(survey, run):
    """The cameras that a run names."""
    rows = ((key, survey.row("equipment", key)) for key in run.row.get("equipment", ()))
    return {key for key, row in rows if row and row["kind"] in CAMERAS}


def concurrent(survey, first, second):
    """Whether the later of two runs of one camera began before the other had finished."""
    shared = cameras(survey, first) & cameras(survey, second)
    if not (shared and timed(first) and timed(second)):
        return False
    earlier, later = sorted((first, second), key=in_time)
    return times(later)[0] < in_time(earlier)[1]


def launched(first, second):
    """Whether one of two runs was launched from the pipe of the other."""
    for one, two in ((first, second), (second, first)):
        pipe = one.row.get("launched", {}).get("pipe")
        for _ in range(5):
            if pipe is not None and pipe == two.row["pipe"]:
                return True
            row = one.survey.row("pipes", pipe) or {}
            pipe = row.get("joins", {}).get("pipe")
    return False


@rule("warning")
def runs_concurrent(survey):
    found = {}
    for row in survey.document.get("equipment", ()):
        runs = [run for run in survey.runs if timed(run) and row["id"] in cameras(survey, run)]
        runs.sort(key=in_time)
        for earlier, later in zip(runs, runs[1:]):
            if times(later)[0] < in_time(earlier)[1] and not launched(later, earlier):
                facts = {"other": earlier.row["id"], "equipment": row["id"]}
                found.setdefault((earlier.place, later.place), (later.path("started"), facts))
    yield from found.values()
