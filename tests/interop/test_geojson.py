#!/usr/bin/env python3
"""Hold the GeoJSON form against GDAL, as a reader and an editor of the files, and against PROJ, for where things are.

    apt-get install gdal-bin
    pip install pyproj==3.7.2
    OBVERT=target/debug/obvert python3 tests/interop/test_geojson.py

OBVERT names the built command; without it, cargo builds and runs the example crates/convert/examples/convert.rs, which takes the
same arguments (`convert IN -o OUT`). Exit status 0 if all agree, 1 if not. pytest can run the file too.

The same invented town is placed in each reference system below by pyproj (network off, no grid files), once; the documents hold its
positions in the units of the system. What is expected on WGS 84 is then computed here, from the document's own numbers: positions by pyproj,
distances along pipes by arithmetic in the plane or by geodesics of GeographicLib (pyproj.Geod) on the system's own ellipsoid. GDAL
opens what was written; number of features, extent and every coordinate must agree, to a millimetre.
"""

import json
import math
import os
import pathlib
import shlex
import subprocess
import sys
import tempfile

os.environ["PROJ_NETWORK"] = "OFF"
from pyproj import CRS, Geod, Transformer  # noqa: E402  (the variable must be set before PROJ wakes up)

ROOT = pathlib.Path(__file__).resolve().parents[2]
WGS84 = Geod(ellps="WGS84")
LIMIT_M = 0.001

# Reference system, centre of the town as longitude and latitude on WGS 84, unit of length of the document.
SYSTEMS = [
    ("EPSG:32617", (-81.20, 36.10), "m", "UTM, metres"),
    ("EPSG:26915", (-93.10, 44.90), "ft", "UTM on NAD83, metres, the document in feet"),
    ("EPSG:25832", (9.95, 53.55), "m", "UTM on ETRS89, metres"),
    ("EPSG:31467", (8.70, 50.10), "m", "Gauss-Krueger on DHDN, metres, a datum shift"),
    ("EPSG:27700", (-1.15, 52.95), "m", "transverse Mercator on OSGB36, metres, a datum shift"),
    ("EPSG:2193", (174.80, -41.30), "m", "transverse Mercator on NZGD2000, metres"),
    ("EPSG:6594", (-78.50, 37.30), "ft", "Lambert state plane, metres, the document in feet"),
    ("EPSG:6595", (-78.50, 37.30), "us-ft", "Lambert state plane, US survey feet"),
    ("EPSG:2263", (-73.95, 40.70), "us-ft", "Lambert state plane, US survey feet"),
    ("EPSG:2222", (-110.20, 33.50), "ft", "transverse Mercator state plane, international feet"),
    ("EPSG:2253", (-84.50, 42.70), "ft", "Lambert state plane, international feet"),
    ("EPSG:4326", (-81.20, 36.10), "m", "geographic, degrees"),
    ("OGC:CRS84", (13.40, 52.50), "ft", "geographic, degrees"),
    ("EPSG:6318", (-81.20, 36.10), "us-ft", "geographic on NAD83(2011), degrees"),
    ("EPSG:4807", (2.35, 48.85), "m", "geographic, grads from Paris, a datum shift"),
    ("EPSG:32760", (179.9995, -17.00), "m", "UTM, metres, on both sides of the antimeridian"),
]
METRES = {"m": 1.0, "ft": 0.3048, "us-ft": 1200 / 3937}

# Metres east and north of the centre.
STRUCTURES = {
    "LM-001": (0, 0), "LM-002": (92.4, 3.1), "LM-003": (171.8, -22.6), "007": (171.8, -80.25), "LM-005": (15.5, 61.0),
    "C-1": (45.0, 14.0),
}
BENDS = {"L-103": ["LM-003", (190.0, -40.0), (181.5, -66.0), "007"]}
LOCATES = {"T1": ("R1", 30.0, (30.2, 1.3)), "T2": ("R3", 12.0, (188.0, -37.7))}


class Town:
    """The document of the town in one system, and where everything in it must be."""

    def __init__(self, system, centre, unit):
        self.system, self.unit = system, METRES[unit]
        self.crs = CRS.from_user_input(system)
        self.out = Transformer.from_crs(self.crs, "EPSG:4326", always_xy=True)
        into = Transformer.from_crs("EPSG:4326", self.crs, always_xy=True)
        decimals = 9 if self.crs.is_geographic else 3

        def place(east, north):
            lon, lat, _ = WGS84.fwd(*centre, math.degrees(math.atan2(east, north)), math.hypot(east, north))
            return [round(v, decimals) for v in into.transform(lon, lat, errcheck=True)]

        self.position = {name: place(*offset) for name, offset in STRUCTURES.items()}
        path = [self.position[v] if isinstance(v, str) else place(*v) for v in BENDS["L-103"]]
        # Stated lengths differ from those on the map, as they always do; one is not stated.
        stated = {"L-101": 93.0, "L-102": None, "L-103": 71.2, "L-104": 61.9, "L-105": None}
        length = {name: metres and round(metres / self.unit, 1) for name, metres in stated.items()}
        self.pipes = {
            "L-101": dict(upstream="LM-001", downstream="LM-002", length=length["L-101"]),
            "L-102": dict(upstream="LM-002", downstream="LM-003", length=length["L-102"]),
            "L-103": dict(upstream="LM-003", downstream="007", length=length["L-103"], path=path),
            "L-104": dict(upstream="LM-005", downstream="LM-001", length=length["L-104"], length_between="walls"),
            "L-105": dict(upstream="C-1", joins={"pipe": "L-101", "at": round(45.5 / self.unit, 1)}),
        }

        def d(metres):
            return round(metres / self.unit, 2)

        def rows(*rows):
            keys = ("id", "at", "to")
            return [
                {k: v for k, v in zip(keys, row)} | {"code": "crack.longitudinal"} | ({"continuous": True} if len(row) > 2 else {})
                for row in rows
            ]

        self.runs = {
            "R1": dict(pipe="L-101", direction="downstream", surveyed=d(92.6),
                       counter={"zero": "structure-centre"},
                       observations=rows(("1", 0), ("2", d(12.34)), ("3", d(20), d(33.3)), ("4", d(92.6)))),
            "R2": dict(pipe="L-102", direction="upstream", surveyed=d(60),
                       counter={"zero": "pipe-end", "reads": d(1.5), "offset": d(0.6)},
                       observations=rows(("1", d(1.5)), ("2", d(31.07)), ("3", d(40), d(58.5)))),
            "R3": dict(pipe="L-103", direction="downstream", surveyed=d(71),
                       observations=rows(("007", d(5)), ("08", d(10), d(65)), ("9", d(73)))),
            "R4": dict(pipe="L-103", direction="upstream", surveyed=d(30), observations=rows(("1", d(3), d(29)))),
            "R5": dict(pipe="L-104", direction="downstream", counter={"zero": "structure-wall", "offset": d(0.5)},
                       surveyed=d(40), observations=rows(("1", d(17.5)))),
            "R6": dict(pipe="L-105", direction="upstream", launched={"pipe": "L-101", "at": d(45.5)}, surveyed=d(9),
                       observations=rows(("1", d(4.2)))),
        }
        self.locates = {
            name: dict(run=run, at=d(at), position=place(*offset)) for name, (run, at, offset) in LOCATES.items()
        }
        self.document = {
            "obvert": "0.2", "id": "urn:uuid:2b1f6a50-5d0e-4a70-9a3c-0f5a7c1d9e11", "issued": "2026-05-06T16:20:00-05:00",
            "units": {"length": unit, "section": "mm"}, "crs": system, "vertical": "town datum",
            "coding": {"list": "obvert-terms", "version": "1"},
            "assignment": {"title": "Larkmoor, annual survey", "contract": "0012"},
            "parties": [{"id": "heron", "name": "Heron Drain Survey", "role": "contractor"}],
            "structures": [
                {"id": name, "kind": "cleanout" if name == "C-1" else "manhole", "position": xy, "ground": 12.5}
                for name, xy in self.position.items()
            ],
            "pipes": [
                {"id": name, **{k: v for k, v in pipe.items() if v is not None}, "material": "vitrified-clay", "height": 200}
                for name, pipe in self.pipes.items()
            ],
            "media": [{"id": "v1", "file": "R1/0001.mp4", "kind": "video", "run": "R1"}],
            "locates": [{"id": name, **row} for name, row in self.locates.items()],
            "runs": [{"id": name, "started": "2026-05-06T09:31:00-05:00", **run} for name, run in self.runs.items()],
        }

    # Lines in the system's own coordinates: in the plane, or by geodesics on its ellipsoid.

    def degrees(self, xy):
        factor = math.degrees(self.crs.axis_info[0].unit_conversion_factor)
        return [v * factor for v in xy]

    def span(self, a, b):
        if self.crs.is_geographic:
            return self.crs.get_geod().inv(*self.degrees(a), *self.degrees(b))[2]
        return math.hypot(b[0] - a[0], b[1] - a[1]) * self.crs.axis_info[0].unit_conversion_factor

    def between(self, a, b, share):
        if not self.crs.is_geographic:
            return [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]
        geod, factor = self.crs.get_geod(), math.degrees(self.crs.axis_info[0].unit_conversion_factor)
        azimuth, _, metres = geod.inv(*self.degrees(a), *self.degrees(b))
        lon, lat, _ = geod.fwd(*self.degrees(a), azimuth, share * metres)
        return [lon / factor, lat / factor]

    def line(self, pipe):
        row = self.pipes[pipe]
        if "path" in row:
            return row["path"]
        start = self.position[row["upstream"]]
        if "downstream" in row:
            return [start, self.position[row["downstream"]]]
        main = row["joins"]["pipe"]
        share = row["joins"]["at"] / self.length(main)
        return [start, self.cut(self.line(main), share, share)[0]]

    def metres(self, line):
        return sum(self.span(a, b) for a, b in zip(line, line[1:]))

    def length(self, pipe):
        """In the document's unit: as stated, or as drawn."""
        return self.pipes[pipe].get("length") or self.metres(self.line(pipe)) / self.unit

    def cut(self, line, first, last):
        """The part of a line between two shares of its length."""
        total, done, found = self.metres(line), 0.0, []
        low, high = first * total, last * total
        for a, b in zip(line, line[1:]):
            span = self.span(a, b)
            for where in (low, high):
                if done <= where <= done + span and not (where == high and len(found) == 0 and low != high):
                    point = self.between(a, b, (where - done) / span)
                    if where == low and not found:
                        found.append(point)
                    elif where == high and found and len(found) < 99:
                        found.append(point)
                        return found
            done += span
            if found and done < high:
                found.append(b)
        # A share of 1 that rounding has put past the last vertex.
        return found + [line[-1]] if found else [line[-1], line[-1]]

    def seen(self, run, start, end):
        """Where a run was between two readings, in its direction."""
        row = self.runs[run]
        counter, length = row.get("counter", {}), self.length(row["pipe"])
        outside = self.pipes[row["pipe"]].get("length_between") == "walls" and counter.get("zero") == "structure-wall"
        shift = (0 if outside else counter.get("offset", 0)) - counter.get("reads", 0)
        start, end = (min(max((v + shift) / length, 0), 1) for v in (start, end))
        if row["direction"] == "downstream":
            return self.cut(self.line(row["pipe"]), start, end)
        return self.cut(self.line(row["pipe"]), 1 - end, 1 - start)[::-1]

    def expected(self):
        """Longitude and latitude of everything, by table, run and id."""
        places = {("structures", None, name): [xy] for name, xy in self.position.items()}
        places |= {("pipes", None, name): self.line(name) for name in self.pipes}
        places |= {("locates", None, name): [row["position"]] for name, row in self.locates.items()}
        for name, run in self.runs.items():
            start = run.get("counter", {}).get("reads", 0)
            places["runs", None, name] = self.seen(name, start, run["surveyed"])
            for row in run["observations"]:
                line = self.seen(name, row["at"], row.get("to", row["at"]))
                places["observations", name, row["id"]] = line if "to" in row else line[:1]
        return {key: [self.out.transform(*xy, errcheck=True) for xy in line] for key, line in places.items()}


def obvert(*arguments):
    command = os.environ.get("OBVERT")
    if command:
        command = shlex.split(command)
    else:
        command = ["cargo", "run", "-q", "-p", "obvert-convert", "--no-default-features", "--features", "geojson",
                   "--example", "convert", "--"]
    return subprocess.run([*command, *map(str, arguments)], cwd=ROOT, capture_output=True, text=True)


def convert(source, target):
    result = obvert("convert", source, "-o", target)
    assert result.returncode == 0, result.stderr
    return target


def run(*command):
    result = subprocess.run([str(word) for word in command], capture_output=True, text=True)
    assert result.returncode == 0, f"{command}: {result.stderr}"
    return result.stdout


def write(folder, document):
    path = pathlib.Path(folder) / "town.obvert.json"
    path.write_text(json.dumps(document))
    return path


def canonical(folder, source):
    """The document as it comes back when nobody has touched the collection."""
    folder = pathlib.Path(folder)
    return convert(convert(source, folder / "plain.geojson"), folder / "plain.obvert.json").read_text()


def geometry_positions(geometry):
    kind, coordinates = geometry["type"], geometry["coordinates"]
    if kind == "Point":
        return [coordinates]
    if kind == "LineString":
        return coordinates
    assert kind == "MultiLineString", kind
    joined = []
    for part in coordinates:
        # The cuts at the antimeridian are no vertices of the document.
        joined += [xy for xy in part if abs(xy[0]) != 180]
    return joined


def check_system(system, centre, unit):
    """Returns the number of coordinates compared and the largest difference in metres."""
    town = Town(system, centre, unit)
    expected = town.expected()
    with tempfile.TemporaryDirectory() as folder:
        path = convert(write(folder, town.document), pathlib.Path(folder) / "town.geojson")
        summary = run("ogrinfo", "-ro", "-so", "-al", path)
        assert f"Feature Count: {len(expected)}" in summary, summary
        assert 'GEOGCRS["WGS 84"' in summary, summary
        extent = next(line for line in summary.splitlines() if line.startswith("Extent: "))
        extent = [float(v) for v in extent[8:].replace("(", "").replace(")", "").replace(" - ", ", ").split(", ")]
        read = run("ogr2ogr", "-f", "GeoJSONSeq", "/vsistdout/", path, "-lco", "COORDINATE_PRECISION=12")
        bbox = json.loads(path.read_text())["bbox"]

    longitudes, latitudes = zip(*(xy for line in expected.values() for xy in line))
    across = max(longitudes) - min(longitudes) > 180
    box = [min(longitudes), min(latitudes), max(longitudes), max(latitudes)]
    if across:
        box[0] = min(v for v in longitudes if v > 0)
        box[2] = max(v for v in longitudes if v < 0)
    else:
        # ogrinfo prints six decimals.
        assert all(abs(a - b) <= 0.6e-6 for a, b in zip(extent, box)), (extent, box)
    assert all(abs(a - b) <= 1e-8 for a, b in zip(bbox, box)), (bbox, box)

    worst, count, found = 0.0, 0, set()
    for line in read.splitlines():
        feature = json.loads(line)
        row = feature["properties"]
        key = (row["table"], row.get("run") if row["table"] == "observations" else None, row.get("id", feature.get("id")))
        places = geometry_positions(feature["geometry"])
        assert len(places) == len(expected[key]), (key, places, expected[key])
        for (lon, lat), (x, y) in zip(places, expected[key]):
            worst = max(worst, WGS84.inv(lon, lat, x, y)[2])
            count += 1
        found.add(key)
    assert found == set(expected)
    assert worst <= LIMIT_M, f"{system}: {worst * 1000:.3f} mm"
    return count, worst


def test_positions_agree_with_proj_in_every_system():
    for system, centre, unit, what in SYSTEMS:
        count, worst = check_system(system, centre, unit)
        print(f"  {system:<11} {what:<58} {count} coordinates, at most {worst * 1000:.3f} mm apart")


def test_a_document_survives_gdal():
    """Rewritten by ogr2ogr, with full precision and in its RFC 7946 mode, which rounds to seven decimals."""
    for system, centre, unit, _ in SYSTEMS:
        with tempfile.TemporaryDirectory() as folder:
            folder = pathlib.Path(folder)
            source = write(folder, Town(system, centre, unit).document)
            path = convert(source, folder / "town.geojson")
            whole = canonical(folder, source)
            for number, options in enumerate([[], ["-lco", "RFC7946=YES"]]):
                copy, back = folder / f"copy{number}.geojson", folder / f"back{number}.obvert.json"
                run("ogr2ogr", copy, path, *options, "-oo", "DATE_AS_STRING=YES")
                assert convert(copy, back).read_text() == whole, (system, options)


def test_a_manhole_moved_by_gdal_is_refused_and_can_be_taken_over():
    for system, centre, unit, _ in SYSTEMS:
        town = Town(system, centre, unit)
        with tempfile.TemporaryDirectory() as folder:
            folder = pathlib.Path(folder)
            path = convert(write(folder, town.document), folder / "town.geojson")
            lon, lat = town.out.transform(*town.position["LM-002"])
            lon, lat, _ = WGS84.fwd(lon, lat, 30, 2.5)
            point = f"MakePoint({lon:.10f}, {lat:.10f}, 4326)"
            edit = ["ogrinfo", "-q", path, "-oo", "DATE_AS_STRING=YES", "-dialect", "sqlite", "-sql"]
            run(*edit, f"UPDATE town SET geometry = {point} WHERE id = 'LM-002'")
            result = obvert("convert", path, "-o", folder / "back.obvert.json")
            assert result.returncode != 0 and "LM-002" in result.stderr and "2.5" in result.stderr, result.stderr

            # Without the recorded position there is nothing to contradict.
            run(*edit, "UPDATE town SET position = NULL WHERE id = 'LM-002'")
            back = json.loads(convert(path, folder / "back.obvert.json").read_text())
            row = next(row for row in back["structures"] if row["id"] == "LM-002")
            x, y = town.out.transform(*row["position"])
            assert WGS84.inv(lon, lat, x, y)[2] <= LIMIT_M, (system, row)
            others = [row for row in back["structures"] if row["id"] != "LM-002"]
            assert all(row["position"] == town.position[row["id"]] for row in others)


def main():
    tests = [(name, test) for name, test in globals().items() if name.startswith("test_")]
    failed = 0
    for name, test in tests:
        try:
            test()
            print(f"ok      {name}")
        except AssertionError as error:
            failed += 1
            print(f"FAILED  {name}: {error}")
    print(f"{len(tests) - failed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
