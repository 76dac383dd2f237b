"""The rules of the family distance that look at one run alone."""

import math

from catalogue import rule
from figures import FOOT, exceeds, instant
from reading import SCHEMA
from rules_length import CAMERAS, past_pipe

# Outcomes that go with either way to close a run.
EITHER = ("met", "as-ordered")
REASONS = SCHEMA["$defs"]["StopReason"]["enum"]


@rule("error")
def distance_negative(survey):
    for run in survey.runs:
        for index, row in enumerate(run.rows):
            keys = ("at",) if survey.never_stretch(row) else ("at", "to")
            key = next((key for key in keys if row.get(key, run.reads) < run.reads), None)
            slipped = not run.disordered and run.fits[index] is not None
            if key and not (key == "at" and slipped):
                yield run.path("observations", index, key), {
                    "distance": row[key],
                    "reads": run.reads,
                }
            if index == 0 and key == "at":
                break  # the counter's set-up is wrong, not each row


def falls(run):
    """(index of the wrong row, falling distance, distance before it) of each fall to report."""
    at = run.at
    if run.disordered:
        return
    for index in range(1, len(at)):
        if not run.falls(index) or at[index] < run.reads:
            continue
        if run.reset is not None and (at[index] - run.reads) * run.metre <= FOOT:
            continue
        if run.fits[index] is not None or run.fits[index - 1] is not None:
            continue
        without_upper = index == 1 or at[index] >= at[index - 2]
        if index + 1 == len(at):
            # Of the last two rows, the one that is past the end of the run is the wrong one.
            lower_fits = not run.beyond(at[index - 1]) or run.beyond(at[index])
        else:
            lower_fits = at[index + 1] >= at[index - 1]
        # If removing either row restores the order, the lower one is reported.
        upper = without_upper and not lower_fits
        if not (upper and run.beyond(at[index - 1])):
            yield index - upper, at[index], at[index - 1]


@rule("error")
def distance_decreases(survey):
    for run in survey.runs:
        if run.backwards:
            yield run.path("observations"), {"first": run.at[0], "last": run.at[-1]}
        elif run.disordered:
            yield run.path("observations"), {"misplaced": run.out_of_order, "rows": len(run.at)}
        for place, at, before in falls(run):
            yield run.path("observations", place, "at"), {"at": at, "before": before}


@rule("error")
def decimal_slip(survey):
    for run in survey.runs:
        reported = None
        for index, fits in enumerate(run.fits):
            if fits is not None and not run.disordered and (index == 0 or reported != index - 1):
                reported = index
                yield run.path("observations", index, "at"), {"at": run.at[index], "fits": fits}


@rule("error")
def observation_past_run_end(survey):
    for run in survey.runs:
        for index, row in enumerate(run.rows):
            keys = ("at",) if survey.never_stretch(row) else ("at", "to")
            key = next((key for key in keys if key in row and run.beyond(row[key])), None)
            if key is None or index and run.beyond(run.at[index - 1]):
                continue
            if key == "to" or run.disordered or run.fits[index] is None:
                yield run.path("observations", index, key), {"distance": row[key], "end": run.end}


@rule("warning")
def start_missing(survey):
    if survey.list is None:
        return
    for run in survey.runs:
        if not run.rows:
            yield run.path(), {}
        elif not survey.has_role("start"):
            continue
        elif not run.disordered and run.start is None and run.rows[0]["code"] in survey.codes:
            yield run.path("observations", 0), {"code": run.rows[0]["code"]}


@rule("warning")
def finish_missing(survey):
    if not survey.has_role("finish", "stopped"):
        return
    for run in survey.runs:
        if (
            run.rows
            and not run.disordered
            and run.closing is None
            and run.rows[-1]["code"] in survey.codes
            and not (run.kind in EITHER and survey.role(run.rows[-1]) == "remark")
        ):
            yield run.path("observations", len(run.rows) - 1), {"code": run.rows[-1]["code"]}


@rule("error")
def outcome_contradicts_rows(survey):
    for run in survey.runs:
        if run.closing is None or run.kind is None:
            continue
        row = run.rows[run.closing]
        agrees = {"stopped": ("stopped",), "reached": ("finish",)}
        if survey.role(row) not in agrees.get(run.kind, ("finish", "stopped")):
            yield run.path("outcome", "kind"), {"code": row["code"], "outcome": run.kind}
            continue
        reason = run.row["outcome"].get("reason")
        word = next((word for word in row.get("characterisation", ()) if word in REASONS), None)
        if reason and word and reason != word:
            yield run.path("outcome", "reason"), {"reason": reason, "row_reason": word}


@rule("warning")
def stopped_without_reason(survey):
    for run in survey.runs:
        if run.kind != "stopped" or "reason" in run.row["outcome"] or run.disordered:
            continue
        closing = {} if run.closing is None else run.rows[run.closing]
        if not closing.get("characterisation"):
            yield run.path("outcome"), {}


@rule("warning")
def surveyed_missing(survey):
    for run in survey.runs:
        if run.surveyed is None:
            yield run.path(), {} if run.closing is None else {"finish": run.at[run.closing]}


@rule("error")
def surveyed_contradicts_finish(survey):
    for run in survey.runs:
        if run.contradicts and run.settled(run.closing) and run.fits[run.closing] is None:
            yield run.path("surveyed"), {"finish": run.at[run.closing], "surveyed": run.surveyed}


@rule("warning")
def counter_missing(survey):
    for run in survey.runs:
        if "counter" not in run.row and run.row.get("method") != "pole":
            yield run.path(), {}


@rule("warning")
def counter_not_zeroed(survey):
    slack = survey.limit("counter-not-zeroed", "slack", 0.03048)
    for run in survey.runs:
        if run.start is None or not run.settled(run.start):
            continue
        resolution = run.counter.get("resolution")
        step = max(slack, 0 if resolution is None else resolution * run.metre)
        if exceeds((run.at[run.start] - run.reads) * run.metre, step):
            yield run.path("observations", run.start, "at"), {
                "at": run.at[run.start],
                "reads": run.reads,
            }


@rule("error")
def counter_reset(survey):
    for run in survey.runs:
        if run.reset is not None:
            yield (
                run.path("observations", run.reset, "at"),
                {"at": run.at[run.reset], "before": run.at[run.reset - 1]},
            )


def corrected(survey, run, at):
    """Whether a row states that the counter was corrected at a distance."""
    return any(
        survey.means(row, "run.counter-reset")
        and not exceeds(abs(row["at"] - at) * run.metre, run.slack(at))
        for row in run.rows
    )


@rule("warning")
def counter_drift(survey):
    for run in survey.runs:
        worst = None
        for index, check in enumerate(run.counter.get("checks", ())):
            off = abs(check["reading"] - check["known"]) * run.metre
            if any(corrected(survey, run, check[key]) for key in ("reading", "known")):
                continue
            if exceeds(off, run.slack(check["known"])) and (worst is None or off > worst[0]):
                worst = off, index, check
        if worst:
            yield (
                run.path("counter", "checks", worst[1], "reading"),
                {"known": worst[2]["known"], "reading": worst[2]["reading"]},
            )


@rule("error")
def counter_offset_contradicts(survey):
    for run in survey.runs:
        if run.counter.get("zero") == "structure-centre" and run.offset != 0:
            yield run.path("counter", "offset"), {"offset": run.offset}


@rule("error")
def end_row_misplaced(survey):
    for run in survey.runs:
        if run.disordered or run.reset is not None:
            continue
        for index, row in enumerate(run.rows):
            role = survey.role(row)
            late = role == "start" and run.start is not None and run.at[index] > run.at[0]
            early = (
                role in ("finish", "stopped")
                and run.closing is not None
                and run.at[index] < run.at[-1]
            )
            if late or early:
                yield run.path("observations", index), {"code": row["code"]}


@rule("warning")
@rule("warning")
def joint_spacing_irregular(survey):
    mean = survey.limit("joint-spacing-irregular", "mean", 0.2)
    for run in survey.runs:
        spacing = (run.pipe or {}).get("joint_spacing")
        if (
            spacing is None
            or spacing * run.metre < 0.5
            or run.disordered
            or survey.lengths_doubtful
        ):
            continue
        coarse = run.step * 4 > spacing
        if coarse or any(map(survey.other_pieces, run.rows)):
            continue
        at = [row["at"] for row in run.rows if row.get("joint")]
        parts = [(lower - upper) / spacing for upper, lower in zip(at, at[1:])]
        parts = [abs(part - math.floor(part + 0.5)) for part in parts if 0.25 <= part <= 8]
        if len(parts) >= 8 and sum(parts) / len(parts) > mean:
            place = survey.place("pipes", run.row["pipe"])
            yield (
                f"/pipes/{place}/joint_spacing",
                {"distances": len(parts), "mean": sum(parts) / len(parts)},
            )


@rule("error")
def cable_shorter_than_run(survey):
    for run in survey.runs:
        rows = [survey.row("equipment", key) for key in dict.fromkeys(run.row.get("equipment", ()))]
        if run.surveyed is None or None in rows or run.reset is not None:
            continue
        cameras = [row for row in rows if row["kind"] in CAMERAS]
        if not cameras or not all("cable_length" in row for row in cameras):
            continue
        cable = sum(row.get("cable_length", 0) for row in rows)
        if run.away(run.surveyed - run.reads, cable):
            yield run.path("equipment"), {"cable": cable, "travelled": run.surveyed - run.reads}


def whole_minutes(text):
    return text[17:19] == "00" and text[19:20] != "."
