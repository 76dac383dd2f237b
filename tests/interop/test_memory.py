#!/usr/bin/env python3
"""Measures the memory of converting a large survey, to every format and from every format that can be read, as the operating
system counts it. It may grow with the input file, which is kept in memory (as is a zip that is written, until it is complete),
and by the factors below for each format, but not with the survey.

    OBVERT=target/release/obvert python3 tests/interop/test_memory.py [MEGABYTES [--table]]

OBVERT is the command to run; without it, cargo builds and runs it. Surveys of a third of MEGABYTES (default 24) and of MEGABYTES
are converted; --table prints the peaks for the documentation. Exit status: 0 if all limits are kept, 1 if not.
"""

import filecmp
import json
import os
import pathlib
import sys
import tempfile

from command import FAILED, ROOT, command, expect, run

MB = 1e6
# The file of these formats is kept in memory until it is complete, in buffers that are at most twice as long.
HELD = {"csv-zip": 2}
# A value beyond its limit is measured at most this often, and the smallest counts: the allocator and the system add a megabyte or
# so, which differs from run to run.
TIMES = 3
# For each format: its file; the memory for writing per byte of JSON, in addition to the input file, and the memory for reading. A
# zip is unpacked in memory, and a workbook is assembled in memory. A database has a spatial index and is copied once by the library
# that reads it. For lossy formats the losses are kept until they are reported, and for KML the stretches, which come last.
FORMATS = {
    "json": ("x.obvert.json", 0.1, 0.1),
    "xml": ("x.xml", 0.1, 0.1),
    "geojson": ("x.geojson", 0.1, 0.1),
    "csv": ("tables", 0.1, 0.1),
    "csv-zip": ("x.zip", 0.1, 0.8),
    "xlsx": ("x.xlsx", 0.6, 0.1),
    "geopackage": ("x.gpkg", 0.6, 2.1),
    "geoparquet": ("layers", 1.8, None),
    "kml": ("x.kml", 3.8, None),
}


def survey(megabytes):
    """The demonstration survey with its runs repeated under new ids."""
    document = json.loads((ROOT / "examples/data/larkmoor.obvert.json").read_text(encoding="utf-8"))
    runs, document["runs"], size = document["runs"], [], 0
    sizes = [len(json.dumps(run, separators=(",", ":"))) for run in runs]
    round_ = 0
    while size < megabytes * MB:
        for run, length in zip(runs, sizes):
            document["runs"].append({**run, "id": f"{run['id']}-{round_}"})
            size += length
        round_ += 1
    return json.dumps(document, separators=(",", ":")).encode()


def peak(*arguments):
    """Exit status and peak memory of the command, in bytes. Until it is started, the memory of this process counts."""
    full = [*command(), *map(str, arguments)]
    quiet = os.open(os.devnull, os.O_WRONLY)
    actions = [(os.POSIX_SPAWN_DUP2, quiet, 1), (os.POSIX_SPAWN_DUP2, quiet, 2)]
    child = os.posix_spawnp(full[0], full, os.environ, file_actions=actions)
    os.close(quiet)
    _, status, used = os.wait4(child, 0)
    return os.waitstatus_to_exitcode(status), used.ru_maxrss * (1 if sys.platform == "darwin" else 1024)


def size(path):
    return sum(file.stat().st_size for file in path.iterdir()) if path.is_dir() else path.stat().st_size


class Survey:
    """A survey of a given size, in a folder with its conversions."""

    def __init__(self, megabytes, folder):
        self.megabytes, self.folder = megabytes, folder
        self.source = folder / "source.obvert.json"
        # In another process, so that this one stays small.
        run(sys.executable, __file__, "--make", self.source, megabytes)

    def file(self, format_):
        return self.folder / FORMATS[format_][0]

    def write(self, format_):
        """Peak memory of writing a format from JSON."""
        status, peak_ = peak("convert", self.source, "-o", self.file(format_), "--to", format_, "--replace")
        expect(status == 0, f"{self.megabytes:g} MB of JSON become {format_}")
        return peak_

    def read(self, format_):
        """Peak memory of converting a format to JSON."""
        again = self.folder / "again.obvert.json"
        status, peak_ = peak("convert", self.file(format_), "-o", again, "--from", format_, "--replace")
        expect(status == 0, f"and {format_} becomes JSON")
        same = again.exists() and filecmp.cmp(again, self.file("json"), shallow=False)
        expect(same, "which equals the JSON before")
        return peak_


def main():
    if "--make" in sys.argv:
        pathlib.Path(sys.argv[2]).write_bytes(survey(float(sys.argv[3])))
        return 0
    megabytes = float(sys.argv[1]) if len(sys.argv) > 1 else 24.0
    with tempfile.TemporaryDirectory() as folder:
        surveys = []
        for name, part in (("small", megabytes / 3), ("large", megabytes)):
            (pathlib.Path(folder) / name).mkdir()
            surveys.append(Survey(part, pathlib.Path(folder) / name))
        judge(*surveys)
    return 1 if FAILED else 0


def judge(small, large):
    grown = size(large.source) - size(small.source)
    table = ["| Format | file, MB | from JSON, MB | to JSON, MB |", "|---|---|---|---|"]
    for format_, (_, writes, reads) in FORMATS.items():
        row = {}
        for what, limit, once in (("writing", writes, Survey.write), ("reading", reads, Survey.read)):
            if limit is None:
                continue
            least = [once(small, format_), once(large, format_)]
            file = size(large.file(format_)) - size(small.file(format_))
            held = file if what == "reading" else grown + HELD.get(format_, 0) * file
            extra = lambda: (least[1] - least[0] - held) / grown
            for _ in range(1, TIMES):
                if extra() <= limit:
                    break
                least = [min(least[0], once(small, format_)), min(least[1], once(large, format_))]
            expect(extra() <= limit, f"{what} {format_}: {extra():.2f} bytes per byte of JSON in addition to the files in memory, at most {limit}")
            row[what] = f"{least[1] / MB:.0f}"
        table.append(f"| {format_} | {size(large.file(format_)) / MB:.1f} | {row['writing']} | {row.get('reading', '')} |")
    if "--table" in sys.argv:
        print("", *table, sep="\n")


if __name__ == "__main__":
    sys.exit(main())
