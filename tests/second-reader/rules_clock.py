"""The rules of the family code about clock references."""

from catalogue import rule
from clocks import form_right, hours_right
from figures import hour_valid


def clock_rule(survey, row):
    return survey.codes.get(row["code"], {}).get("clock", {})


@rule("error")
def clock_required(survey):
    for run, index, row in survey.rows():
        if clock_rule(survey, row).get("use") == "required" and "clock" not in row:
            yield run.path("observations", index), {}


@rule("warning")
def clock_not_applicable(survey):
    for run, index, row in survey.rows():
        if "clock" in row and survey.no_clock(row):
            yield run.path("observations", index, "clock"), {}


def clocks(survey):
    """The clock references of rows for whose codes they mean something."""
    for run, index, row in survey.rows():
        if "clock" in row and not survey.no_clock(row):
            yield run.path("observations", index, "clock"), row["clock"], row


@rule("error")
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


@rule("error")
def clock_form(survey):
    for path, clock, _ in clocks(survey):
        if not form_right(clock):
            yield path, {}


@rule("warning")
def clock_extent(survey):
    for path, clock, row in clocks(survey):
        extent = clock_rule(survey, row).get("extent")
        if not form_right(clock) or not hours_right(clock) or extent not in ("point", "span"):
            continue
        if "from" in clock and clock["from"] == clock["to"]:
            continue
        if ("at" in clock) != (extent == "point"):
            yield path, {}


@rule("note")
def clock_full_circle(survey):
    for path, clock, _ in clocks(survey):
        if (
            form_right(clock)
            and "from" in clock
            and clock["from"] == clock["to"]
            and hours_right(clock)
        ):
            yield path, {"hour": clock["from"]}
