#!/usr/bin/env python3
"""What converting a large survey takes of memory, to every form and from every form that is read, as the operating system counts
it: it grows with the file that is read, which is held as it is, and with what is said below of a form, and not with the survey.

    OBVERT=target/release/obvert python3 tests/interop/test_memory.py [MEGABYTES [--table]]

OBVERT is the command to run; without it, cargo builds and runs it. Surveys of a third of MEGABYTES (15 unless given) and of
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
# For each form: its file; what writing it takes for every byte of JSON, beside the file that is read, and what reading it does.
# Packed forms are put together, or unpacked, in memory, a database has a spatial index and is copied once by the library that
# reads it, and of forms that do not hold everything the losses are kept until they are told, and of KML the stretches, which stand last.
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


def measured(megabytes, folder):
    """For each form: bytes of its file, peak of writing it from JSON, peak of reading it to JSON."""
    source = folder / "source.obvert.json"
    # By another process, so that this one stays small.
    run(sys.executable, __file__, "--make", source, megabytes)
    found = {"source": source.stat().st_size}
    for form, (name, _, back) in FORMS.items():
        out, again = folder / name, folder / f"again-{form}.obvert.json"
        status, writing = peak("convert", source, "-o", out, "--to", form)
        expect(status == 0, f"{megabytes:g} MB of JSON become {form}")
        reading = None
        if back is not None and status == 0:
            status, reading = peak("convert", out, "-o", again, "--from", form)
            expect(status == 0, f"and {form} becomes JSON")
            same = again.exists() and filecmp.cmp(again, folder / FORMS["json"][0], shallow=False)
            expect(same, "which is that which was written from JSON")
            again.unlink(missing_ok=True)
        found[form] = (size(out) if out.exists() else 0, writing, reading)
    return found


def main():
    if "--make" in sys.argv:
        pathlib.Path(sys.argv[2]).write_bytes(survey(float(sys.argv[3])))
        return 0
    megabytes = float(sys.argv[1]) if len(sys.argv) > 1 else 15.0
    results = []
    for part in (megabytes / 3, megabytes):
        with tempfile.TemporaryDirectory() as folder:
            results.append(measured(part, pathlib.Path(folder)))
    small, large = results
    grown = large["source"] - small["source"]
    for form, (_, writes, reads) in FORMS.items():
        for what, limit, index, held in (("writing", writes, 1, grown), ("reading", reads, 2, large[form][0] - small[form][0])):
            if limit is None:
                continue
            more = (large[form][index] - small[form][index] - held) / grown
            expect(more <= limit, f"{what} {form}: {more:.2f} bytes for every byte of JSON beside the file that is read, at most {limit}")
    if "--table" in sys.argv:
        print(f"\n| Form | file, MB | from JSON, MB | to JSON, MB |\n|---|---|---|---|")
        for form in FORMS:
            file, writing, reading = large[form]
            print(f"| {form} | {file / MB:.1f} | {writing / MB:.0f} | {'' if reading is None else f'{reading / MB:.0f}'} |")
    return 1 if FAILED else 0


if __name__ == "__main__":
    sys.exit(main())
