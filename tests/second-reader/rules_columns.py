"""The rules that name a mistake in a whole column."""

from catalogue import rule
from columns import carries, connections, grade_votes, hours, percentages, shift


@rule("error")
def grade_column_suspect(survey):
    if survey.scheme is None:
        return
    for agree, of in grade_votes(survey).values():
        if carries(agree, of):
            yield "/grading", {"agree": agree, "of": of}
            return


@rule("error")
def percent_column_suspect(survey):
    values = list(percentages(survey))
    agree = sum(value <= 1 for value in values)
    if carries(agree, len(values)) and sum(value < 1 for value in values) >= 5:
        yield "/runs", {"agree": agree, "of": len(values)}


@rule("error")
def clock_column_suspect(survey):
    values = [hour for hour in hours(survey) if hour != 0]
    agree, highest = sum(hour >= 13 for hour in values), max(values, default=0)
    if agree >= 3 and agree * (2 if highest > 24 else 4) >= len(values):
        yield "/runs", {"agree": agree, "of": len(values), "highest": highest}


@rule("error")
def connection_unit_suspect(survey):
    small = [0 < size < 25 for size, _ in connections(survey, "mm")]
    large = [
        size >= 25 and size * 25.4 > height * 1.1
        for size, height in connections(survey, "in")
        if height is not None
    ]
    for votes, fits in ((small, "in"), (large, "mm")):
        if carries(sum(votes), len(votes), 3):
            yield "/runs", {"agree": sum(votes), "of": len(votes), "fits": fits}
            return


@rule("error")
def column_shifted(survey):
    for run in survey.runs:
        found = shift(survey, run)
        if found:
            column, first, wrong, left = found
            facts = {"column": column, "misfits": wrong, "left": left}
            yield run.path("observations"), facts | {"from": run.rows[first]["id"]}
