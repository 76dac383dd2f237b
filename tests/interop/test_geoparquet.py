#!/usr/bin/env python3
"""Have pyarrow and PROJ judge the GeoParquet files.

    pip install pyarrow pyproj
    OBVERT=target/debug/obvert python3 tests/interop/test_geoparquet.py

OBVERT is the command to run (it may have arguments); without it, cargo builds and runs it. Exit status 0 if all is as it should be, 1 if not.

pyarrow must read every file with the types and values of the survey; the geometries must be those of the GeoJSON form; the metadata must be
what GeoParquet 1.1 asks for, and its reference system must be OGC:CRS84 to PROJ.
"""

import json
import pathlib
import struct
import sys
import tempfile

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from pyproj import CRS
from command import FAILED, ROOT, expect, obvert

LARKMOOR = ROOT / "examples" / "data" / "larkmoor.obvert.json"


def wkb(blob):
    """A geometry of GeoJSON from well-known binary (OGC 06-103r4, 8.2), little-endian."""
    kind, = struct.unpack_from("<xI", blob)
    if kind == 1:
        return {"type": "Point", "coordinates": list(struct.unpack_from("<dd", blob, 5))}
    count, = struct.unpack_from("<I", blob, 5)
    if kind == 2:
        return {"type": "LineString", "coordinates": [list(struct.unpack_from("<dd", blob, 9 + 16 * i)) for i in range(count)]}
    raise ValueError(kind)


def main():
    survey = json.loads(LARKMOOR.read_text())
    with tempfile.TemporaryDirectory() as temporary:
        room = pathlib.Path(temporary)
        folder, map_file, account = room / "parquet", room / "map.geojson", room / "account.json"
        made = obvert("convert", LARKMOOR, "-o", folder, "--to", "geoparquet", "--account", account)
        expect(made.returncode == 0, f"larkmoor becomes GeoParquet {made.stderr[-300:] if made.returncode else ''}")
        expect(json.loads(account.read_text())["totals"]["dropped"] > 0, "the account says what is left out")
        refused = obvert("convert", LARKMOOR, "-o", room / "none", "--to", "geoparquet", "--lossless")
        expect(refused.returncode == 2 and not (room / "none").exists(), "--lossless refuses it")
        obvert("convert", LARKMOOR, "-o", map_file)
        features = json.loads(map_file.read_text())["features"]
        for layer in ("structures", "pipes", "locates", "observations"):
            table = pq.read_table(folder / f"{layer}.parquet")
            drawn = [feature["geometry"] for feature in features if feature["properties"]["table"] == layer]
            found = [blob and wkb(blob) for blob in table["geometry"].to_pylist()]
            expect(found == drawn, f"{layer}: {len(drawn)} geometries, those of GeoJSON")
            geo = json.loads(table.schema.metadata[b"geo"])
            column = geo["columns"]["geometry"]
            expect(geo["version"] == "1.1.0" and geo["primary_column"] == "geometry" and column["encoding"] == "WKB", f"{layer}: metadata of GeoParquet 1.1")
            expect(sorted(column["geometry_types"]) == sorted({g["type"] for g in drawn if g}), f"{layer}: {column['geometry_types']}")
            flat = [c for g in drawn if g for c in (g["coordinates"] if g["type"] != "Point" else [g["coordinates"]])]
            box = [min(x for x, _ in flat), min(y for _, y in flat), max(x for x, _ in flat), max(y for _, y in flat)]
            expect(column["bbox"] == box, f"{layer}: the box is that of the geometries")
            expect(CRS.from_json_dict(column["crs"]) == CRS.from_user_input("OGC:CRS84"), f"{layer}: the reference system is OGC:CRS84 to PROJ")
            expect(set(table["document"].to_pylist()) == {survey["id"]}, f"{layer}: every row says which survey it is of")
        table = pq.read_table(folder / "observations.parquet")
        types = {
            "at": pa.float64(), "to": pa.float64(), "joint": pa.bool_(), "grades.structural": pa.int64(), "code": pa.string(),
            "quantity1.value": pa.float64(), "quantity1.unit": pa.string(), "run.started": pa.string(), "pipe.height": pa.float64(),
            "pipe.laid": pa.int64(), "geometry": pa.binary(),
        }
        for name, kind in types.items():
            expect(table.schema.field(name).type == kind, f"observations: {name} is {kind}")
        rows = [(run, row) for run in survey["runs"] for row in run["observations"]]
        pipes = {pipe["id"]: pipe for pipe in survey["pipes"]}
        values = {
            "id": [row["id"] for _, row in rows],
            "at": [row["at"] for _, row in rows],
            "to": [row.get("to") for _, row in rows],
            "grades.structural": [row.get("grades", {}).get("structural") for _, row in rows],
            "quantity1.value": [row["quantities"][0]["value"] if row.get("quantities") else None for _, row in rows],
            "run.id": [run["id"] for run, _ in rows],
            "pipe.height": [pipes[run["pipe"]].get("height") for run, _ in rows],
        }
        for name, expected in values.items():
            expect(table[name].to_pylist() == expected, f"observations: {name} of {len(expected)} rows")
        # A question: the worst structural grade by pipe.
        worst = table.group_by("pipe.id").aggregate([("grades.structural", "max")]).to_pydict()
        by_hand = {}
        for run, row in rows:
            grade = row.get("grades", {}).get("structural")
            by_hand[run["pipe"]] = max(filter(None, (by_hand.get(run["pipe"]), grade)), default=None)
        expect(dict(zip(worst["pipe.id"], worst["grades.structural_max"])) == by_hand, "the worst grade by pipe is that of the survey")
        expect(pc.count(table["geometry"]).as_py() == sum(1 for f in features if f["properties"]["table"] == "observations" and f["geometry"]), "rows without a place have no geometry")
        read = obvert("convert", folder / "pipes.parquet", "-o", room / "none.obvert.json")
        expect(read.returncode == 2, f"it is not read: {read.stderr.strip()}")
    print(f"{len(FAILED)} failed" if FAILED else "all as it should be")
    return 1 if FAILED else 0


if __name__ == "__main__":
    sys.exit(main())
