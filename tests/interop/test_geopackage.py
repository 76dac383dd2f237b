#!/usr/bin/env python3
"""Have GDAL, SQLite and PROJ judge the GeoPackages.

    pip install pyproj
    OBVERT=target/debug/obvert python3 tests/interop/test_geopackage.py

OBVERT is the command to run (it may have arguments); without it, cargo builds and runs it. Needs ogrinfo and ogr2ogr. Exit status 0 if all
is as it should be, 1 if not.

GDAL must find every layer with its geometry type, reference system, extent, rows and types of attributes, and use the spatial index; SQLite
must find nothing wrong; the definition of every reference system must give the positions that PROJ gives for its code; and a GeoPackage
that GDAL has copied, or edited with its own functions, must read as the survey that it is, and one that it has taken to another system must not.
"""

import json
import pathlib
import re
import shutil
import sqlite3
import struct
import sys
import tempfile

from pyproj import CRS, Transformer
from command import FAILED, ROOT, expect, obvert, run

LARKMOOR = ROOT / "examples" / "data" / "larkmoor.obvert.json"


def by_gdal(book, survey):
    """What GDAL says of the layers."""
    said = run("ogrinfo", "-so", "-al", book)
    expect(said.returncode == 0 and "ERROR" not in said.stderr, f"GDAL opens it: {said.stderr.strip()}")
    layers = {}
    for part in said.stdout.split("\nLayer name: ")[1:]:
        layers[part.split("\n", 1)[0]] = part
    observations = [row for run_of in survey["runs"] for row in run_of["observations"]]
    stretches = [row for row in observations if "to" in row]
    rows = {
        "structures": ("Point", len(survey["structures"])),
        "pipes": ("Line String", len(survey["pipes"])),
        "locates": ("Point", len(survey["locates"])),
        "runs": ("Line String", len(survey["runs"])),
        "observations": ("Point", len(observations)),
        "stretches": ("Line String", len(stretches)),
        "document": ("None", 1),
        "parties": ("None", len(survey["parties"])),
        "quantities": ("None", sum(len(row.get("quantities", [])) for row in observations)),
        "pipe_paths": ("None", sum(len(row.get("path", [])) for row in survey["pipes"])),
    }
    for name, (geometry, count) in rows.items():
        part = layers.get(name, "")
        expect(f"Geometry: {geometry}\n" in part and f"Feature Count: {count}\n" in part, f"{name}: {count} rows, geometry {geometry}")
        if geometry != "None":
            code = survey["crs"].split(":")[1]
            expect(f'ID["EPSG",{code}]]' in part.replace(" ", "").replace("\n", ""), f"{name}: reference system {survey['crs']}")
    xs, ys = zip(*(row["position"] for row in survey["structures"] if "position" in row))
    extent = re.search(r"Extent: \((.*?), (.*?)\) - \((.*?), (.*?)\)", layers["structures"])
    expect([float(number) for number in extent.groups()] == [min(xs), min(ys), max(xs), max(ys)], "the extent is that of the positions, x first")
    types = [
        ("observations", "at", "Real"), ("observations", "joint", "Integer(Boolean)"), ("observations", "grades.structural", "Integer64"),
        ("observations", "code", "String"), ("structures", "position.x", "Real"), ("equipment", "calibrated", "Date"),
        ("runs", "started", "String"), ("pipes", "laid", "Integer64"), ("media", "bytes", "Integer64"), ("quantities", "order", "Integer64"),
    ]
    for layer, column, kind in types:
        expect(re.search(rf"^{re.escape(column)}: {re.escape(kind)} ", layers[layer], re.M), f"{layer}.{column} is {kind}")
    expect("domain name=runs.direction" in layers["runs"], "GDAL finds the words of a column as a domain")
    # A window around one structure, answered from the index.
    x, y = survey["structures"][0]["position"]
    window = run("ogrinfo", "-so", book, "structures", "-spat", x - 1, y - 1, x + 1, y + 1)
    near = sum(abs(row["position"][0] - x) <= 1 and abs(row["position"][1] - y) <= 1 for row in survey["structures"] if "position" in row)
    expect(f"Feature Count: {near}\n" in window.stdout, f"a window finds {near}")
    expect("HasSpatialIndex" in (sql := run("ogrinfo", book, "-sql", "SELECT HasSpatialIndex('structures', 'geom')")).stdout and "= 1" in sql.stdout, "GDAL takes the index for one of its own kind")


def by_sqlite(book):
    base = sqlite3.connect(book)
    expect(base.execute("PRAGMA integrity_check").fetchall() == [("ok",)], "SQLite finds the file whole")
    expect(base.execute("PRAGMA foreign_key_check").fetchall() == [], "and every row with the row that holds it")
    header = pathlib.Path(book).read_bytes()[:100]
    expect(header[68:72] == b"GPKG" and struct.unpack(">I", header[60:64]) == (10400,), "application id and version (OGC 12-128r19, 1.1.1.1.1)")
    layers = [row[0] for row in base.execute("SELECT table_name FROM gpkg_geometry_columns")]
    for layer in layers:
        drawn = base.execute(f"SELECT count(geom) FROM {layer}").fetchone()
        indexed = base.execute(f"SELECT count(*) FROM rtree_{layer}_geom").fetchone()
        checked = base.execute(f"SELECT rtreecheck('rtree_{layer}_geom')").fetchone()
        expect(drawn == indexed and checked == ("ok",), f"{layer}: {drawn[0]} geometries, all in a sound index")
    base.close()


# Systems of every kind of projection that the definition is written for, with a place in each.
SYSTEMS = [
    (27700, 400000, 300000), (2193, 1750000, 5420000), (25832, 500000, 5500000), (32633, 500000, 5400000), (32756, 330000, 6250000),
    (6594, 3600000, 1100000), (6595, 11800000, 3500000), (6547, 2547000, 349000), (2276, 2400000, 7000000), (2229, 6500000, 1850000),
    (31370, 150000, 170000), (2154, 650000, 6860000), (27572, 600000, 2430000), (3448, 770000, 650000), (28992, 155000, 463000),
    (3035, 4321000, 3210000), (5070, 0, 1900000), (31467, 3500000, 5500000), (4326, -80.5, 37.25), (4258, 9.5, 49.25), (4807, 0.5, 54.5),
    (3310, 0, 0), (3112, 1000000, -3000000), (6201, 609601, 100000),
    (3067, 400000, 6700000), (2263, 980000, 200000), (29902, 200000, 250000), (5514, -600000, -1050000), (3857, 1000000, 6000000),
]


def definitions(room):
    survey = json.loads(LARKMOOR.read_text())
    written = 0
    for code, x, y in SYSTEMS:
        small = {key: survey[key] for key in ("obvert", "id", "issued", "units", "coding")}
        small |= {"crs": f"EPSG:{code}", "structures": [{"id": "A", "kind": "manhole", "position": [x, y]}]}
        document, book = room / "small.obvert.json", room / "small.gpkg"
        document.write_text(json.dumps(small))
        made = obvert("convert", document, "-o", book, "--replace")
        expect(made.returncode == 0, f"EPSG:{code} {made.stderr}")
        base = sqlite3.connect(book)
        (definition,) = base.execute("SELECT definition FROM gpkg_spatial_ref_sys WHERE srs_id = ?", (code,)).fetchone()
        base.close()
        if definition == "undefined":
            print(f"     EPSG:{code} has no definition here; GDAL goes by the code")
        else:
            # Both to their own longitude and latitude, so that only the projection is compared.
            # By the text alone, without the code at its end.
            alone = re.sub(r',AUTHORITY\["EPSG","\d+"\]\]$', "]", definition)
            expect("AUTHORITY" not in alone, f"EPSG:{code}: only the whole has a code")
            ours, theirs = CRS.from_wkt(alone), CRS.from_epsg(code)
            places = []
            for system in (ours, theirs):
                globe = system.geodetic_crs
                lonlat = Transformer.from_crs(system, globe, always_xy=True).transform(x, y)
                # Longitudes in degrees from Greenwich, whatever unit and meridian.
                axis = globe.axis_info[0].unit_conversion_factor * 180 / 3.141592653589793
                meridian = system.prime_meridian
                from_greenwich = meridian.longitude * meridian.unit_conversion_factor * 180 / 3.141592653589793
                places.append([lonlat[0] * axis + from_greenwich, lonlat[1] * axis])
            apart = max(abs(a - b) for a, b in zip(*places)) * 111_320
            expect(apart < 0.001, f"EPSG:{code}: the definition is within a millimetre of PROJ's, {apart:.6f} m")
            written += 1
        said = run("ogrinfo", "-so", book, "structures")
        expect(f'ID["EPSG",{code}]' in said.stdout, f"EPSG:{code}: GDAL knows the system")
    expect(written >= 20, f"{written} of {len(SYSTEMS)} systems have a definition")


def through_gdal(book, survey_file, room):
    back = room / "back.obvert.json"
    made = obvert("convert", book, "-o", back, "--replace")
    expect(made.returncode == 0 and back.read_bytes() == survey_file.read_bytes(), f"it comes back byte for byte {made.stderr[:300]}")
    copy = room / "copy.gpkg"
    copied = run("ogr2ogr", copy, book)
    made = obvert("convert", copy, "-o", back, "--replace")
    expect(made.returncode == 0, f"a copy by ogr2ogr is read {copied.stderr} {made.stderr[:300]}")
    expect(back.read_bytes() == survey_file.read_bytes(), "and is the same survey, byte for byte")
    # Points alone say where the structures are: in another system they are other numbers.
    drawn = room / "drawn.gpkg"
    shutil.copy(book, drawn)
    run("ogrinfo", drawn, "-sql", 'UPDATE structures SET "position.x" = NULL, "position.y" = NULL')
    made = obvert("convert", drawn, "-o", back, "--replace")
    expect(made.returncode == 0 and back.read_bytes() == survey_file.read_bytes(), f"points stand for positions {made.stderr[:300]}")
    degrees = room / "degrees.gpkg"
    copied = run("ogr2ogr", "-t_srs", "EPSG:4326", degrees, drawn)
    made = obvert("convert", degrees, "-o", back, "--replace")
    expect(
        made.returncode == 2 and "structures:1: the layer is in EPSG:4326" in made.stderr and "the document in EPSG:6547" in made.stderr,
        f"layers that ogr2ogr has taken to degrees are refused {copied.stderr[:300]} {made.stderr.strip()}",
    )
    again = room / "again.gpkg"
    run("ogr2ogr", "-t_srs", "EPSG:6547", again, degrees)
    made = obvert("convert", again, "-o", back, "--replace")
    expect(made.returncode == 0, f"and taken back are read {made.stderr[:300]}")
    lines = room / "lines.gpkg"
    shutil.copy(book, lines)
    edited = run("ogrinfo", lines, "-sql", "UPDATE structures SET geom = (SELECT geom FROM pipes WHERE fid = 1) WHERE fid = 1")
    made = obvert("convert", lines, "-o", back, "--replace")
    expect(made.returncode == 2 and "structures:1: the geometry is a line" in made.stderr, f"a line for a structure is refused {edited.stderr} {made.stderr.strip()}")
    # GDAL runs the triggers of the index with its own ST_ functions.
    moved = room / "moved.gpkg"
    shutil.copy(book, moved)
    edited = run("ogrinfo", moved, "-sql", "UPDATE structures SET geom = (SELECT geom FROM structures WHERE fid = 2) WHERE fid = 1")
    base = sqlite3.connect(moved)
    boxes = base.execute("SELECT minx, maxx, miny, maxy FROM rtree_structures_geom WHERE id IN (1, 2)").fetchall()
    base.close()
    expect(len(boxes) == 2 and boxes[0] == boxes[1], f"a point that GDAL moves is at its new place in the index {edited.stderr}")
    made = obvert("convert", moved, "-o", back, "--replace")
    expect(made.returncode == 2 and "moved.gpkg/structures:1: the point is at" in made.stderr, f"and is refused: {made.stderr.strip()}")
    removed = run("ogrinfo", moved, "-sql", "DELETE FROM locates WHERE fid = 1")
    base = sqlite3.connect(moved)
    (left,) = base.execute("SELECT count(*) FROM rtree_locates_geom WHERE id = 1").fetchone()
    base.close()
    expect(left == 0, f"a row that is deleted leaves the index {removed.stderr}")


def main():
    survey = json.loads(LARKMOOR.read_text())
    with tempfile.TemporaryDirectory() as temporary:
        room = pathlib.Path(temporary)
        book = room / "survey.gpkg"
        made = obvert("convert", LARKMOOR, "-o", book, "--lossless")
        expect(made.returncode == 0, f"larkmoor becomes a GeoPackage {made.stderr}")
        by_gdal(book, survey)
        by_sqlite(book)
        through_gdal(book, LARKMOOR, room)
        definitions(room)
    print(f"{len(FAILED)} failed" if FAILED else "all as it should be")
    return 1 if FAILED else 0


if __name__ == "__main__":
    sys.exit(main())
