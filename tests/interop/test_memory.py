#!/usr/bin/env python3
"""What converting a large survey takes of memory, to every form and from every form that is read, as the operating system counts
it: it grows with the file that is read, which is held as it is (and a zip that is written, until it is whole), and with what is
said below of a form, and not with the survey.

    OBVERT=target/release/obvert python3 tests/interop/test_memory.py [MEGABYTES [--table]]

OBVERT is the command to run; without it, cargo builds and runs it. Surveys of a third of MEGABYTES (24 unless given) and of
MEGABYTES are converted; with --table, the peaks are printed for the documentation. Exit status 0 if all holds, 1 if not.
"""

import filecmp
import json
import os
import pathlib
import sys
import tempfile

from command import FAILED, ROOT, command, expect, run

MB = 1e6
# Of these the file is held until it is whole, in buffers that are at most twice as long as what they hold.
HELD = {"csv-zip": 2}
# What is beyond its limit is measured so often at most, and the least counts: what the allocator and the system's own counting
# add differs from run to run, by a megabyte or so.
TIMES = 3
# For each form: its file; what writing it takes for every byte of JSON, beside the file that is read, and what reading it does.
# A zip is unpacked in memory, a workbook is put together there, a database has a spatial index and is copied once by the library
# that reads it, and of forms that do not hold everything the losses are kept until they are told, and of KML the stretches, which
# stand last.
FORMS = {
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
    """The demonstration survey with its runs again and again, under new ids."""
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
    """Exit status and the most memory that the command had, in bytes. That of whoever starts it counts, until it is itself."""
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
    """A survey of a size, in a folder, and what is converted of it there."""

    def __init__(self, megabytes, folder):
        self.megabytes, self.folder = megabytes, folder
        self.source = folder / "source.obvert.json"
        # By another process, so that this one stays small.
        run(sys.executable, __file__, "--make", self.source, megabytes)

    def file(self, form):
        return self.folder / FORMS[form][0]

    def write(self, form):
        """The peak of writing a form from JSON."""
        status, peak_ = peak("convert", self.source, "-o", self.file(form), "--to", form, "--replace")
        expect(status == 0, f"{self.megabytes:g} MB of JSON become {form}")
        return peak_

    def read(self, form):
        """The peak of reading a form to JSON."""
        again = self.folder / "again.obvert.json"
        status, peak_ = peak("convert", self.file(form), "-o", again, "--from", form, "--replace")
        expect(status == 0, f"and {form} becomes JSON")
        same = again.exists() and filecmp.cmp(again, self.file("json"), shallow=False)
        expect(same, "which is that which was written from JSON")
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
    table = ["| Form | file, MB | from JSON, MB | to JSON, MB |", "|---|---|---|---|"]
    for form, (_, writes, reads) in FORMS.items():
        row = {}
        for what, limit, once in (("writing", writes, Survey.write), ("reading", reads, Survey.read)):
            if limit is None:
                continue
            least = [once(small, form), once(large, form)]
            file = size(large.file(form)) - size(small.file(form))
            held = file if what == "reading" else grown + HELD.get(form, 0) * file
            beside = lambda: (least[1] - least[0] - held) / grown
            for _ in range(1, TIMES):
                if beside() <= limit:
                    break
                least = [min(least[0], once(small, form)), min(least[1], once(large, form))]
            expect(beside() <= limit, f"{what} {form}: {beside():.2f} bytes for every byte of JSON beside the files that are held, at most {limit}")
            row[what] = f"{least[1] / MB:.0f}"
        table.append(f"| {form} | {size(large.file(form)) / MB:.1f} | {row['writing']} | {row.get('reading', '')} |")
    if "--table" in sys.argv:
        print("", *table, sep="\n")


if __name__ == "__main__":
    sys.exit(main())
