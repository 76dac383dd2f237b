"""The rules of the family identity."""

from catalogue import rule


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
