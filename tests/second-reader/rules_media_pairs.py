"""The rules of the family media that compare files with each other and with observations."""

from catalogue import rule
from figures import case_clash

RECORDINGS = ("video", "interval-video", "audio")


@rule("warning")
def media_file_duplicate(survey):
    first = {}
    for place, media in survey.table("media"):
        other = first.setdefault(media["file"], media)
        if other is not media:
            yield f"/media/{place}/file", {"first": other["id"]}


@rule("warning")
def media_case_clash(survey):
    paths = {}
    for place, media in survey.table("media"):
        earlier = paths.setdefault(media["file"].lower(), [])
        other = next((path for path in earlier if case_clash(path, media["file"])), None)
        if other is not None and media["file"] not in earlier:
            yield f"/media/{place}/file", {"other": other}
        earlier.append(media["file"])


@rule("warning")
def media_same_content(survey):
    first = {}
    for place, media in survey.table("media"):
        if "sha256" in media:
            other = first.setdefault(media["sha256"], media)
            if other["file"] != media["file"]:
                yield f"/media/{place}/sha256", {"first": other["id"]}


@rule("note")
def media_unused(survey):
    named = {key for table, _, key in survey.references if table == "media"}
    for place, media in survey.table("media"):
        if media["id"] not in named and "run" not in media:
            yield f"/media/{place}", {}


def shown(survey):
    """(run, index, pointer, reference) of each place in a recording that a row names."""
    for run, index, row in survey.rows():
        for number, media in enumerate(row.get("media", ())):
            if "offset" in media:
                yield run, index, run.path("observations", index, "media", number, "offset"), media


@rule("error")
def media_offset_past_end(survey):
    rounding = survey.limit("media-offset-past-end", "rounding", 1)
    found, late = [], {}
    for run, _, path, item in shown(survey):
        media = survey.row("media", item["id"])
        duration = media.get("duration") if media else None
        place = run.place
        if duration is not None and item["offset"] > duration + 1:
            of_run = late.setdefault(place, {})
            of_run[item["id"]] = of_run.get(item["id"], 0) + 1
        past = duration is not None and item["offset"] > duration + rounding
        if item["offset"] < 0 or past:
            found.append((place, path, item["offset"]))
    for place, path, offset in found:
        # From three in one recording on, the duration is taken to be wrong: duration-contradicts-offsets.
        if offset < 0 or max(late.get(place, {"": 0}).values()) < 3:
            yield path, {"offset": offset}


def least_offsets(run, index, row):
    """The least offset of a row in each recording, with its pointer."""
    found = {}
    for number, media in enumerate(row.get("media", ())):
        if "offset" in media:
            path = run.path("observations", index, "media", number, "offset")
            if media["id"] not in found or media["offset"] < found[media["id"]][0]:
                found[media["id"]] = media["offset"], path
    return found


@rule("warning")
def media_offset_decreases(survey):
    for run in survey.runs:
        # By recording: the last distance, the latest offset there, and that at the one before.
        last = {}
        for index, row in enumerate(run.rows):
            if row["at"] < max(run.at[: index + 1]):
                continue
            for key, (offset, path) in least_offsets(run, index, row).items():
                if offset < 0:
                    continue
                at, latest, before = last.get(key, (row["at"], offset, None))
                if row["at"] > at:
                    at, before, latest = row["at"], latest, offset
                if before is not None and offset < before:
                    yield path, {"offset": offset, "before": before}
                    latest = offset
                last[key] = at, max(latest, offset), before
