"""The rules of the family time that compare runs."""

from catalogue import rule
from figures import instant
from rules_length import camera


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


def concurrent(survey, first, second):
    """Whether the later of two runs of one camera began before the other had finished."""
    used = camera(survey, first)
    if used is None or used != camera(survey, second) or not (timed(first) and timed(second)):
        return False
    earlier, later = sorted((first, second), key=in_time)
    ended = times(earlier)[1]
    return ended is not None and times(later)[0] < ended


@rule("warning")
def runs_concurrent(survey):
    runs_of = {}
    for run in survey.runs:
        used = camera(survey, run)
        if used is not None and timed(run):
            runs_of.setdefault(used, []).append(run)
    for used, runs in runs_of.items():
        runs.sort(key=in_time)
        for earlier, later in zip(runs, runs[1:]):
            launched = [
                one.row.get("launched", {}).get("pipe") == other.row["pipe"]
                for one, other in ((earlier, later), (later, earlier))
            ]
            if concurrent(survey, earlier, later) and not any(launched):
                yield later.path("started"), {"other": earlier.row["id"], "equipment": used}
