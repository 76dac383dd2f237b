"""The rules of the family stretch."""

from catalogue import rule


@rule("error")
def stretch_unfinished(survey):
    for run, index, row in survey.rows():
        if row.get("continuous") and "to" not in row and not survey.never_stretch(row):
            yield run.path("observations", index, "continuous"), {"code": row["code"]}


@rule("error")
def stretch_ends_before_start(survey):
    for run, index, row in survey.rows():
        if (
            "to" not in row
            or row["to"] >= row["at"]
            or row["to"] < run.reads
            or survey.never_stretch(row)
        ):
            continue
        if run.settled(index):
            yield run.path("observations", index, "to"), {"at": row["at"], "to": row["to"]}


@rule("warning")
def stretch_zero_length(survey):
    for run, index, row in survey.rows():
        if row.get("to") == row["at"] and not survey.never_stretch(row):
            yield run.path("observations", index, "to"), {"at": row["at"]}


@rule("warning")
def stretch_overlap(survey):
    for run in survey.runs:
        for index, other in run.overlaps.items():
            if not run.repeated(index):
                yield run.path("observations", index), {"other": other["id"]}


@rule("error")
def stretch_not_allowed(survey):
    for run, index, row in survey.rows():
        key = "to" if "to" in row else "continuous" if row.get("continuous") else None
        if key and survey.never_stretch(row):
            yield run.path("observations", index, key), {"code": row["code"]}


@rule("warning")
def stretch_undeclared(survey):
    for run, index, row in survey.rows():
        if "to" in row and not row.get("continuous") and not survey.never_stretch(row):
            yield run.path("observations", index, "to"), {"to": row["to"]}
