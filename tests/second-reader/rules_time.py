"""The rules of the family time that compare runs."""

from catalogue import rule
from figures import instant
from rules_length import camera


def times(run):
    """When a run began and ended; None for what is not known."""
    return [instant(run.row.get(key, "")) for key in ("started", "finished")]


def concurrent(survey, first, second):
    """Whether the later of two runs of one camera began before the other had finished."""
    if camera(survey, first) is None or camera(survey, first) != camera(survey, second):
        return False
    if None in (times(first)[0], times(second)[0]):
        return False
    earlier, later = sorted((first, second), key=lambda run: (times(run)[0], run.place))
    (began, ended), (next_began, next_ended) = times(earlier), times(later)
    if ended is None or ended < began or (next_ended is not None and next_ended < next_began):
        return False
    return next_began < ended


@rule("warning")
def runs_concurrent(survey):
    of = {}
    for run in survey.runs:
        began, ended = times(run)
        if camera(survey, run) is not None and began is not None:
            if ended is None or ended >= began:
                of.setdefault(camera(survey, run), []).append(run)
    for key, runs in of.items():
        runs.sort(key=lambda run: (times(run)[0], run.place))
        for earlier, later in zip(runs, runs[1:]):
            if concurrent(survey, earlier, later):
                yield later.path("started"), {"other": earlier.row["id"], "equipment": key}
