"""The rules of the family media that look at one file alone."""

import re

from catalogue import rule

TYPES = {
    "jpg jpeg": "image/jpeg",
    "png": "image/png",
    "tif tiff": "image/tiff",
    "bmp": "image/bmp",
    "webp": "image/webp",
    "mp4": "video/mp4 audio/mp4",
    "m4v": "video/mp4 video/x-m4v",
    "mpg mpeg": "video/mpeg",
    "avi": "video/x-msvideo video/vnd.avi",
    "mov": "video/quicktime",
    "mkv": "video/matroska video/x-matroska",
    "webm": "video/webm audio/webm",
    "wmv": "video/x-ms-wmv",
    "wav": "audio/wav audio/x-wav audio/vnd.wave",
    "mp3": "audio/mpeg",
    "m4a": "audio/mp4 audio/x-m4a",
    "pdf": "application/pdf",
}
TYPES = {extension: types.split() for names, types in TYPES.items() for extension in names.split()}
MAJOR = {"photo": "image", "video": "video", "interval-video": "video", "audio": "audio"}
NOT_MAJOR = {"document": ("video", "audio"), "scan": ("audio",)}
DEVICE = re.compile(r"(con|prn|aux|nul|(com|lpt)[1-9])\Z", re.IGNORECASE)


def portable_part(part):
    if part in ("", ".", "..") or part[-1] in ". " or len(part.encode()) > 255:
        return False
    if any(ord(letter) < 32 or 127 <= ord(letter) < 160 or letter in '<>:"|?*' for letter in part):
        return False
    return not DEVICE.match(part.split(".")[0].rstrip(" "))


def portable(path):
    if "://" in path or "\\" in path or path[0] == "/" or path[1:2] == ":":
        return False
    return all(portable_part(part) for part in path.split("/"))


@rule("warning")
def media_path_unportable(survey):
    for place, media in survey.table("media"):
        if not portable(media["file"]):
            yield f"/media/{place}/file", {}


def of_kind(kind, stated):
    """Whether a media type goes with a kind."""
    major = stated.split("/")[0]
    return major not in NOT_MAJOR.get(kind, ()) and major == MAJOR.get(kind, major)


@rule("warning")
def media_type_contradicts(survey):
    for place, media in survey.table("media"):
        kind, stated = media["kind"], media.get("type", "").lower()
        name = media["file"].split("/")[-1]
        types = TYPES.get(name.rpartition(".")[2].lower()) if "." in name else None
        if stated:
            if not of_kind(kind, stated):
                yield f"/media/{place}/type", {"type": stated}
            elif types and stated not in types:
                yield f"/media/{place}/file", {"type": stated}
        elif types and not any(of_kind(kind, item) for item in types):
            yield f"/media/{place}/file", {}
