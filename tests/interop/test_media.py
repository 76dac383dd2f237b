#!/usr/bin/env python3
"""Whole media files of a real encoder are called whole, and never once they are cut off; what is told about them is what
ffprobe and ExifTool tell.

    OBVERT_WHOLENESS=target/debug/examples/wholeness python3 tests/interop/test_media.py [--every]

OBVERT_WHOLENESS is the example of that name in crates/check; without it, cargo builds and runs it. Needs ffmpeg with
ffprobe, and exiftool. Prints a table, and exits with 1 if a whole file is called damaged, a file that was cut off is
called whole, or a fact differs. --every cuts the small files at every byte, and makes a film of over a gigabyte.
"""

import argparse
import json
import os
import pathlib
import shlex
import signal
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor

ROOT = pathlib.Path(__file__).resolve().parents[2]
COMMAND = shlex.split(
    os.environ.get("OBVERT_WHOLENESS", "cargo run --quiet -p obvert-check --example wholeness --")
)
FFMPEG = ["ffmpeg", "-nostdin", "-hide_banner", "-loglevel", "error", "-y"]
CREATED = "2026-05-17T09:41:03"

# Any beginning of such a file is one too, so that a cut between two of its parts cannot be seen.
OPEN = {
    "mpeg-ps", "mpeg-ps-silent", "mpeg-ps-small", "mpeg-1", "mpeg-ts", "mpeg-ts-small", "mpeg-ts-h264", "m2ts",
    "mp4-fragments", "mp4-fragments-small", "adts", "mp3-no-count", "mp3-pipe",
    "mkv-live", "wav-pipe", "asf-live", "flac-pipe", "avi-pipe",
}

PICTURE = "testsrc2=size={size}:rate=25"
# Noise, so that the files have a few hundred kilobytes.
NOISE = ",noise=alls=12:allf=t"
SOUND = "sine=frequency=440:sample_rate=44100"


def picture(name, extension, *options, size="640x480", filters=""):
    return (name, extension, ["-f", "lavfi", "-i", PICTURE.format(size=size) + NOISE + filters, "-frames:v", "1", *options])


def film(name, extension, *options, seconds=2.4, size="320x240", sound=None, noise=True, rate=None):
    source = PICTURE.format(size=size) + (NOISE if noise else "")
    if rate:
        source = source.replace("rate=25", f"rate={rate}")
    inputs = ["-f", "lavfi", "-i", source]
    if sound:
        inputs += ["-f", "lavfi", "-i", SOUND, "-c:a", sound]
    return (name, extension, [*inputs, "-t", str(seconds), "-metadata", f"creation_time={CREATED}Z", *options])


def sound(name, extension, *options, seconds=6):
    return (name, extension, ["-f", "lavfi", "-i", SOUND, "-t", str(seconds), *options])


X264 = ["-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-g", "25", "-crf", "33"]
MPEG2 = ["-c:v", "mpeg2video", "-q:v", "16"]
FRAGMENTS = "frag_keyframe+empty_moov+default_base_moof"

CASES = [
    picture("jpeg", "jpg", "-q:v", "3"),
    picture("jpeg-444", "jpg", "-q:v", "3", "-pix_fmt", "yuvj444p"),
    picture("jpeg-small", "jpg", size="64x48"),
    picture("png", "png"),
    picture("png-small", "png", size="40x30"),
    picture("tiff", "tif"),
    picture("tiff-lzw", "tif", "-compression_algo", "lzw"),
    picture("tiff-small", "tif", size="40x30"),
    picture("webp", "webp", "-c:v", "libwebp", "-quality", "95"),
    picture("webp-lossless", "webp", "-c:v", "libwebp", "-lossless", "1", size="320x240"),
    picture("gif", "gif"),
    ("gif-film", "gif", ["-f", "lavfi", "-i", PICTURE.format(size="160x120"), "-t", "1"]),
    picture("bmp", "bmp", size="320x240"),
    picture("bmp-odd", "bmp", size="33x31"),
    picture("avif", "avif", "-c:v", "libaom-av1", "-still-picture", "1", "-cpu-used", "8", size="160x120"),
    film("mp4", "mp4", *X264, sound="aac"),
    film("mp4-silent", "mp4", *X264),
    film("mp4-first", "mp4", *X264, "-movflags", "+faststart", sound="aac"),
    film("mp4-small", "mp4", *X264, seconds=0.4, size="64x48", noise=False),
    film("mp4-mpeg4", "mp4", "-c:v", "mpeg4", "-q:v", "16", sound="aac", rate="30000/1001"),
    film("mp4-turned", "mp4", *X264, "-metadata:s:v", "rotate=90", seconds=1),
    film("mp4-hevc", "mp4", "-c:v", "libx265", "-preset", "ultrafast", "-x265-params", "log-level=none", seconds=2),
    film("mp4-fragments", "mp4", *X264, "-movflags", FRAGMENTS + "+skip_trailer", sound="aac"),
    film("mp4-fragments-closed", "mp4", *X264, "-movflags", FRAGMENTS, sound="aac"),
    film("mov", "mov", *X264, sound="pcm_s16le"),
    film("mov-mjpeg", "mov", "-c:v", "mjpeg", "-q:v", "16", "-pix_fmt", "yuvj420p", seconds=2),
    film("3gp", "3gp", "-c:v", "h263", "-s", "176x144", sound="aac"),
    film("mkv", "mkv", *X264, sound="aac"),
    film("mkv-silent", "mkv", *X264),
    film("mkv-live", "mkv", *X264, "-live", "1", sound="aac"),
    film("mkv-small", "mkv", *X264, seconds=0.4, size="64x48", noise=False),
    film("webm", "webm", "-c:v", "libvpx", "-deadline", "realtime", "-cpu-used", "8", "-b:v", "600k", sound="libopus"),
    film("avi", "avi", "-c:v", "mpeg4", "-q:v", "16", sound="libmp3lame"),
    film("avi-mjpeg", "avi", "-c:v", "mjpeg", "-q:v", "16", "-pix_fmt", "yuvj420p", sound="pcm_s16le", seconds=2),
    film("avi-silent", "avi", "-c:v", "mpeg4", "-q:v", "16"),
    film("mpeg-ps", "mpg", *MPEG2, "-f", "vob", sound="mp2"),
    film("mpeg-ps-silent", "mpg", *MPEG2, "-f", "vob"),
    film("mpeg-1", "mpg", "-c:v", "mpeg1video", "-q:v", "16", "-f", "mpeg", sound="mp2"),
    film("mpeg-ts", "ts", *MPEG2, sound="mp2"),
    film("mpeg-ps-small", "mpg", *MPEG2, "-f", "vob", seconds=0.4, size="64x48", noise=False),
    film("mpeg-ts-small", "ts", *MPEG2, seconds=0.4, size="64x48", noise=False),
    film("mp4-fragments-small", "mp4", *X264, "-g", "2", "-movflags", FRAGMENTS + "+skip_trailer", seconds=0.4, size="64x48", noise=False),
    film("mp4-fragments-closed-small", "mp4", *X264, "-g", "2", "-movflags", FRAGMENTS, seconds=0.4, size="64x48", noise=False),
    film("avi-small", "avi", "-c:v", "mpeg4", seconds=0.4, size="64x48", noise=False),
    film("webm-small", "webm", "-c:v", "libvpx", seconds=0.4, size="64x48", noise=False),
    film("mpeg-ts-h264", "ts", *X264, sound="aac"),
    film("m2ts", "m2ts", *X264, "-mpegts_m2ts_mode", "1", sound="aac"),
    film("wmv", "wmv", "-c:v", "wmv2", "-b:v", "600k", sound="wmav2"),
    sound("wav", "wav"),
    sound("wav-odd", "wav", "-c:a", "pcm_u8", "-metadata", "title=odd", seconds=1.0001),
    sound("wav-rf64", "wav", "-rf64", "always", seconds=2),
    sound("mp3", "mp3", "-b:a", "192k"),
    sound("mp3-vbr", "mp3", "-q:a", "4"),
    sound("mp3-no-count", "mp3", "-write_xing", "0", "-b:a", "192k"),
    sound("adts", "aac", "-b:a", "192k"),
    sound("flac", "flac"),
    sound("ogg-vorbis", "ogg", "-c:a", "libvorbis", "-q:a", "6"),
    sound("ogg-opus", "opus", "-c:a", "libopus"),
    sound("m4a", "m4a", "-c:a", "aac"),
    sound("wma", "wma", "-c:a", "wmav2"),
]

# What the container does not state, or states otherwise than ffprobe, which decodes.
UNSTATED = {
    "duration": {"gif-film", "mkv-live", "wav-pipe", "flac-pipe", "avif", "avi-pipe", "mpeg-ps-small"},
    "frame_rate": {"gif-film", "wmv", "asf-live", "avif"},
    "pixels": {"jpeg-arithmetic"},  # ffprobe does not know it.
}


def run(command, **more):
    return subprocess.run(command, check=True, capture_output=True, **more)


def make(folder, case):
    name, extension, arguments = case
    path = folder / f"{name}.{extension}"
    run([*FFMPEG, *arguments, str(path)])
    return name, path


def piped(folder, name, extension, muxer, *arguments):
    """As a program that cannot go back in what it has written."""
    path = folder / f"{name}.{extension}"
    path.write_bytes(run([*FFMPEG, *arguments, "-f", muxer, "-"]).stdout)
    return name, path


def special(folder, made):
    """Files that other tools and programs make of the first ones."""
    jpeg = made["jpeg"].read_bytes()
    small = made["jpeg-small"]

    def write(name, extension, *parts):
        path = folder / f"{name}.{extension}"
        path.write_bytes(b"".join(parts))
        return path

    yield from (piped(folder, *case) for case in [
        ("wav-pipe", "wav", "wav", "-f", "lavfi", "-i", SOUND, "-t", "2"),
        ("flac-pipe", "flac", "flac", "-f", "lavfi", "-i", SOUND, "-t", "2"),
        ("asf-live", "asf", "asf", "-f", "lavfi", "-i", PICTURE.format(size="160x120"), "-t", "2"),
        ("avi-pipe", "avi", "avi", "-f", "lavfi", "-i", PICTURE.format(size="160x120"), "-t", "2"),
        ("mp3-pipe", "mp3", "mp3", "-f", "lavfi", "-i", SOUND, "-t", "2"),
    ])
    tags = ["-Orientation#=6", "-DateTimeOriginal=2026:05:17 09:41:03", "-OffsetTimeOriginal=+02:00"]
    for kind, more in [("jpeg", [f"-ThumbnailImage<={small}"]), ("tiff", []), ("png", []), ("webp", [])]:
        path = write(f"{kind}-exif", made[kind].suffix[1:], made[kind].read_bytes())
        run(["exiftool", "-q", "-overwrite_original", *tags, *more, str(path)])
        yield f"{kind}-exif", path
    for kind, options in [("progressive", ["-progressive"]), ("restart", ["-restart", "1"]), ("arithmetic", ["-arithmetic"])]:
        yield f"jpeg-{kind}", write(f"jpeg-{kind}", "jpg", run(["jpegtran", *options, str(made["jpeg"])]).stdout)
    film = made["mp4-small"].read_bytes()
    yield "mp4-free", write("mp4-free", "mp4", film, (2008).to_bytes(4, "big"), b"free", bytes(2000))
    yield "mp4-uuid", write("mp4-uuid", "mp4", film, (1024).to_bytes(4, "big"), b"uuid", bytes(range(254)) * 4)
    yield "jpeg-pair", write("jpeg-pair", "jpg", jpeg, small.read_bytes())
    wav = made["wav"].read_bytes()
    chunk = b"note" + (7).to_bytes(4, "little") + b"A pipe."
    for name, pad in [("wav-odd-chunk", b"\0"), ("wav-odd-unpadded", b"")]:
        body = wav[8:36] + chunk + pad + wav[36:]
        yield name, write(name, "wav", b"RIFF", len(body).to_bytes(4, "little"), body)


def examined(paths, *options):
    """What the example tells about each file, in one process."""
    names = "".join(f"{path}\n" for path in paths)
    told = run([*COMMAND, *options], input=names.encode(), cwd=ROOT).stdout.decode()
    return [json.loads(line) for line in told.splitlines()]


def probed(path):
    command = ["ffprobe", "-v", "error", "-show_format", "-show_streams", "-of", "json", str(path)]
    told = json.loads(subprocess.run(command, check=False, capture_output=True).stdout)
    # Where a chunk is not filled up to an even length, ffprobe finds nothing.
    return told if told.get("streams") else None


def fraction(text):
    over, _, under = (text or "0/0").partition("/")
    return float(over) / float(under or 1) if float(under or 1) else None


def differences(name, told, probe):
    """What is told otherwise than by ffprobe."""
    if probe is None:
        return
    streams = {}
    for stream in probe["streams"]:
        streams.setdefault(stream["codec_type"], stream)
    video, audio = streams.get("video"), streams.get("audio")
    still = (told["type"] or "").startswith("image/") and name != "gif-film"
    if video and name not in UNSTATED["pixels"]:
        if told["pixels"] != [video["width"], video["height"]]:
            yield f"pixels {told['pixels']}, not {video['width']} x {video['height']}"
    if still:
        return
    rate = fraction(video["avg_frame_rate"]) if video else None
    each = 1 / rate if rate else 2 * 1152 / 44100
    wanted = (video or audio).get("duration") or probe["format"].get("duration")
    if name not in UNSTATED["duration"] and wanted is not None:
        if told["duration"] is None or abs(told["duration"] - float(wanted)) > each + 1e-3:
            yield f"duration {told['duration']}, not {wanted}"
    if video and name not in UNSTATED["frame_rate"]:
        if told["frame_rate"] is None or abs(told["frame_rate"] / rate - 1) > 0.01:
            yield f"frame rate {told['frame_rate']}, not {rate}"
    turned = [data["rotation"] for data in (video or {}).get("side_data_list", []) if "rotation" in data]
    if turned and told["orientation"] != {0: 1, -90: 6, 90: 8, 180: 3, -180: 3}[turned[0]]:
        yield f"orientation {told['orientation']}, not a turn of {turned[0]} degrees"
    if created := probe["format"].get("tags", {}).get("creation_time"):
        if name.split("-")[0] in {"mp4", "mov", "3gp", "mkv", "webm"} and (told["captured"] or "")[:19] != created[:19]:
            yield f"captured {told['captured']}, not {created}"
    if video and audio and "duration" in audio and told["sound"] is not None:
        # In a transport stream a packet holds a third of a second.
        if abs(told["sound"] - float(audio["duration"])) > (0.35 if path_is_stream(told) else 0.06):
            yield f"sound {told['sound']}, not {audio['duration']}"


def path_is_stream(told):
    return told["type"] == "video/mp2t"


def exif_differences(path, told):
    found = json.loads(run(["exiftool", "-j", "-n", "-Orientation", "-DateTimeOriginal", "-OffsetTimeOriginal", str(path)]).stdout)[0]
    if told["orientation"] != found.get("Orientation"):
        yield f"orientation {told['orientation']}, not {found.get('Orientation')}"
    captured = (told["captured"] or "").replace("T", " ").replace("-", ":")[:19]
    if captured != (found.get("DateTimeOriginal") or ""):
        yield f"captured {told['captured']}, not {found.get('DateTimeOriginal')}"


KILLED = [
    film("killed-mp4", "mp4", *X264, sound="aac", seconds=90),
    film("killed-mp4-fragments", "mp4", *X264, "-movflags", FRAGMENTS, seconds=90),
    film("killed-mov", "mov", "-c:v", "mjpeg", "-q:v", "16", "-pix_fmt", "yuvj420p", seconds=90),
    film("killed-mkv", "mkv", *X264, seconds=90),
    film("killed-webm", "webm", "-c:v", "libvpx", "-deadline", "realtime", "-cpu-used", "8", "-b:v", "900k", seconds=90),
    film("killed-avi", "avi", "-c:v", "mpeg4", "-q:v", "5", sound="libmp3lame", seconds=90),
    film("killed-wmv", "wmv", "-c:v", "wmv2", "-b:v", "900k", seconds=90),
    film("killed-ps", "mpg", *MPEG2, "-f", "vob", seconds=90),
    film("killed-ts", "ts", *MPEG2, seconds=90),
    sound("killed-wav", "wav", "-c:a", "pcm_s24le", seconds=90),
    sound("killed-mp3", "mp3", "-b:a", "320k", seconds=90),
    sound("killed-flac", "flac", seconds=90),
    sound("killed-ogg", "ogg", "-c:a", "libvorbis", seconds=90),
    sound("killed-aac", "aac", "-b:a", "256k", seconds=90),
]


def killed(folder):
    """Recordings whose program was killed in the middle: as fast as a camera, so that none has ended."""
    started = []
    for name, extension, arguments in KILLED:
        path = folder / f"{name}.{extension}"
        # Before the first input only.
        command = [*FFMPEG, "-threads", "1", "-re", *arguments, "-flush_packets", "1", str(path)]
        started.append((name, path, subprocess.Popen(command, stderr=subprocess.DEVNULL)))
    # A busy machine starts them slowly.
    begun = time.monotonic()
    while time.monotonic() < begun + 60:
        time.sleep(1)
        sizes = [path.stat().st_size if path.exists() else 0 for _, path, _ in started]
        if min(sizes) > 8192 and time.monotonic() > begun + 5:
            break
    for name, path, process in started:
        assert process.poll() is None, f"{name} ended by itself"
        process.send_signal(signal.SIGKILL)
        process.wait()
        yield name, path


def disturbed(folder, made):
    """Whole files with 4,096 bytes of zeros in the middle, and with junk behind their ends."""
    for name, path in made.items():
        content = path.read_bytes()
        if len(content) > 30_000:
            zeroed = folder / f"zeroed-{path.name}"
            middle = len(content) // 2 // 4096 * 4096
            zeroed.write_bytes(content[:middle] + bytes(4096) + content[middle + 4096 :])
            yield name, "zeroed", zeroed
        for kind, junk in [("zeros", bytes(5000)), ("text", b"This is no part of the file.\n" * 9)]:
            behind = folder / f"{kind}-{path.name}"
            behind.write_bytes(content + junk)
            yield name, kind, behind


def long_film(folder):
    """An AVI file of more than a gigabyte, which ffmpeg writes in two parts (OpenDML)."""
    path = folder / "long.avi"
    inputs = ["-f", "lavfi", "-i", "testsrc2=size=1280x720:rate=25", "-f", "lavfi", "-i", SOUND]
    run([*FFMPEG, *inputs, "-t", "34", "-c:v", "rawvideo", "-pix_fmt", "yuv420p", str(path)])
    [told] = examined([path], "--cut", "5000000", "--last", "100")
    path.unlink()
    return told


def judged(told, name):
    """What is wrong with the verdicts on a file and on its cuts."""
    wanted = "cannot tell" if name in OPEN else "whole"
    if told["verdict"] != wanted:
        yield f"{name} is {told['verdict']}: {told['reason']}"
    cuts = told["cuts"]
    unneeded = [length for length in cuts["whole"] if told["bytes"] - length <= SPARE.get(name, 0)]
    if len(unneeded) < len(cuts["whole"]):
        yield f"{name} is whole when cut off at {cuts['whole'][:5]}"
    # A signature that is cut off is none, and that of a transport stream is two packets.
    unknown = min(cuts["reasons"].get(f"cannot tell: {UNKNOWN}", 0), 12)
    if wanted == "whole" and cuts["counts"].get("cannot tell", 0) - unknown > UNSURE.get(name, 0):
        yield f"{name}: cuts are not damaged: {cuts['reasons']}"


UNKNOWN = "its format is not one whose structure is examined"
# How many bytes at the end are not needed, and how many cuts cannot be told from something else.
SPARE = {"tiff-exif": 1, "mp4-free": 2008, "mp4-uuid": 1024}  # ExifTool fills up to an even length.
UNSURE = {"mp4-fragments-closed-small": 8, "mp4-free": 8, "mp4-uuid": 8}
# Zeros behind the end of FLAC have a right check sum; others have something behind their ends already.
NOT_NOTED = {"flac", "jpeg-pair", "tiff-exif", "wav-odd-unpadded"}


def main():
    options = argparse.ArgumentParser()
    options.add_argument("--every", action="store_true")
    options.add_argument("--keep", type=pathlib.Path)
    options = options.parse_args()
    wrong = []
    with tempfile.TemporaryDirectory() as folder:
        folder = options.keep or pathlib.Path(folder)
        folder.mkdir(exist_ok=True)
        with ThreadPoolExecutor(2) as pool:
            made = dict(pool.map(lambda case: make(folder, case), CASES))
        made.update(special(folder, made))
        small = [path for path in made.values() if path.stat().st_size < SMALL]
        told = examined(made.values(), "--cut", "1000", "--last", "1")
        more = {line["file"]: line for line in examined(small, "--last", "5000" if options.every else "1500")}
        print(f"{'kind':28}{'bytes':>9}{'whole file':>13}{'cuts':>7}{'damaged':>9}{'cannot tell':>13}{'whole':>7}")
        for (name, path), line in zip(made.items(), told, strict=True):
            for found in filter(None, [line, more.get(line["file"])]):
                counts = found["cuts"]["counts"]
                row = [counts.get(verdict, 0) for verdict in ("damaged", "cannot tell", "whole")]
                print(f"{name:28}{line['bytes']:9}{line['verdict']:>13}{sum(row):7}{row[0]:9}{row[1]:13}{row[2]:7}")
                wrong += judged(found, name)
            wrong += [f"{name}: {text}" for text in differences(name, line, probed(path))]
            if line["type"].startswith("image/"):
                wrong += [f"{name}: {text}" for text in exif_differences(path, line)]
        if options.every:
            told = long_film(folder)
            print(f"AVI in two parts: {told['bytes']} bytes, {told['verdict']}, cuts {told['cuts']['counts']}")
            wrong += judged(told, "avi-long")
        print("\nrecordings whose program was killed")
        dead = dict(killed(folder))
        for (name, _), line in zip(dead.items(), examined(dead.values()), strict=True):
            print(f"{name:28}{line['bytes']:9}{line['verdict']:>13}  {line['reason']}")
            if line["verdict"] == "whole":
                wrong.append(f"{name} is whole")
        print("\n4,096 bytes of zeros in the middle; junk behind the end: zeros, text")
        cases = list(disturbed(folder, made))
        for (name, kind, _), line in zip(cases, examined([path for *_, path in cases]), strict=True):
            print(f"{name:28}{kind:8}{line['verdict']:>13}{line['trailing']:9}  {line['reason']}")
            if kind == "zeros" and name not in OPEN and (line["verdict"], line["trailing"]) != ("whole", 5000):
                wrong += [] if name in NOT_NOTED else [f"{name} with zeros behind it is {line['verdict']}"]
    print("\n".join(wrong) or "no file that was cut off is called whole, and no whole one damaged")
    return 1 if wrong else 0


# Files whose last bytes are tried one by one.
SMALL = 20_000


def test_media():
    assert main() == 0


if __name__ == "__main__":
    sys.exit(main())
