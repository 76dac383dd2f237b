#!/usr/bin/env python3
"""Have libxml2, with the schema of OGC 07-147r2, and GDAL judge the KML.

    OBVERT=target/debug/obvert python3 tests/interop/test_kml.py

OBVERT is the command to run (it may have arguments); without it, cargo builds and runs it. Needs xmllint, ogrinfo and the Python package pykml,
which brings the schema along. Exit status 0 if all is as it should be, 1 if not.

The file must be valid by the schema; GDAL must find every folder as a layer with as many placemarks as the survey has places; positions must be
those of the GeoJSON form; and a survey with unpleasant texts must be valid too.
"""

import json
import pathlib
import sys
import tempfile

import pykml

from command import FAILED, ROOT, expect, obvert, run

SCHEMA = pathlib.Path(pykml.__file__).parent / "schemas" / "ogckml22.xsd"


def places(features):
    return sorted(json.dumps([[round(n, 7) for n in p[:2]] for p in (c if isinstance(c[0], list) else [c])]) for c in features)


def main():
    with tempfile.TemporaryDirectory() as temporary:
        room = pathlib.Path(temporary)
        for path in ("examples/data/larkmoor.obvert.json", "tests/corpus/nasty.obvert.json"):
            kml, account = room / "survey.kml", room / "account.json"
            made = obvert("convert", ROOT / path, "-o", kml, "--account", account, "--replace")
            expect(made.returncode == 0, f"{path} becomes KML {made.stderr[-200:] if made.returncode else ''}")
            lint = run("xmllint", "--noout", "--nonet", "--schema", SCHEMA, kml)
            expect(lint.returncode == 0, f"xmllint finds it valid by the schema {lint.stderr}")
            wrong = room / "wrong.kml"
            wrong.write_text(kml.read_text(encoding="utf-8").replace("<Folder ", "<Foldr ", 1).replace("</Folder>", "</Foldr>", 1))
            expect(run("xmllint", "--noout", "--nonet", "--schema", SCHEMA, wrong).returncode != 0, "and finds a mistake")
            expect(not json.loads(account.read_text())["lossless"], "the account says that something is lost")
            refused = obvert("convert", ROOT / path, "-o", room / "none.kml", "--lossless")
            expect(refused.returncode == 2 and not (room / "none.kml").exists(), "--lossless refuses it")
            read = obvert("convert", kml, "-o", room / "none.obvert.json")
            expect(read.returncode == 2 and "write-only" in read.stderr, f"it is not read: {read.stderr.strip()}")
        survey = ROOT / "examples/data/larkmoor.obvert.json"
        kml, map_file = room / "l.kml", room / "l.geojson"
        obvert("convert", survey, "-o", kml)
        obvert("convert", survey, "-o", map_file)
        drawn = {}
        for feature in json.loads(map_file.read_text())["features"]:
            table, geometry = feature["properties"]["table"], feature["geometry"]
            if geometry and table != "runs":
                table = "stretches" if table == "observations" and geometry["type"] != "Point" else table
                drawn.setdefault(table, []).append(geometry["coordinates"])
        for layer, features in drawn.items():
            out = run("ogr2ogr", "-f", "GeoJSON", "-lco", "COORDINATE_PRECISION=9", "/vsistdout/", kml, layer)
            found = json.loads(out.stdout or '{"features": []}')["features"]
            expect(places(f["geometry"]["coordinates"] for f in found) == places(features), f"{layer}: {len(features)} placemarks where GeoJSON has them {out.stderr[:200]}")
    print(f"{len(FAILED)} failed" if FAILED else "all as it should be")
    return 1 if FAILED else 0


if __name__ == "__main__":
    sys.exit(main())
