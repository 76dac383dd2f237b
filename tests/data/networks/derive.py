#!/usr/bin/env python3
"""Derives an obvert document from a storm water model's input file (SWMM 5 text form).

Real geometry is rare among test data: lengths, sizes, elevations and positions that were not made up to fit. This
script takes them from the sample model of a Python package and changes none of them beyond the arithmetic named in
README.md; the runs on top are invented.

    python3 derive.py MODEL.inp OUT.obvert.json [--crs EPSG:2817]

Plain Python 3, nothing to install. The same input gives the same bytes, in the layout that the model crate writes.
"""

import argparse
import json
from pathlib import Path

# The file states feet (FLOW_UNITS MGD) for lengths, depths and section sizes.
INCHES_A_FOOT = 12


def sections(text):
    """The rows of each section, split at blanks; comments begin with a semicolon."""
    found, name = {}, None
    for line in text.splitlines():
        line = line.split(";", 1)[0].strip()
        if line.startswith("["):
            name = line.strip("[]").upper()
            found[name] = []
        elif line and name:
            found[name].append(line.split())
    return found


def tidy(value, places):
    """Drops what binary arithmetic adds; a whole number is written without a fraction."""
    value = round(value, places)
    return int(value) if value == int(value) else value


def structures(model):
    positions = {row[0]: [tidy(float(row[1]), 6), tidy(float(row[2]), 6)] for row in model["COORDINATES"]}
    rows = []
    # A storage node of this model is a chamber of a few square feet, and its junctions have a depth to the rim.
    for table, kind in (("JUNCTIONS", "manhole"), ("STORAGE", "manhole"), ("OUTFALLS", "outfall")):
        for row in model[table]:
            invert = float(row[1])
            structure = {"id": row[0], "kind": kind, "position": positions[row[0]]}
            if table != "OUTFALLS":
                structure["ground"] = tidy(invert + float(row[2]), 6)
            structure["invert"] = tidy(invert, 6)
            if table != "OUTFALLS":
                structure["depth"] = tidy(float(row[2]), 6)
            rows.append(structure)
    return sorted(rows, key=lambda row: row["id"])


def pipes(model, nodes):
    node = {row["id"]: row for row in nodes}
    offsets_are_depths = ["LINK_OFFSETS", "DEPTH"] in model["OPTIONS"]
    if not offsets_are_depths:
        raise SystemExit("this script reads models whose LINK_OFFSETS are DEPTH")
    section = {row[0]: row for row in model["XSECTIONS"]}
    between = {}
    for name, x, y in model["VERTICES"]:
        between.setdefault(name, []).append([tidy(float(x), 6), tidy(float(y), 6)])
    rows = []
    for name, start, finish, length, _roughness, start_offset, finish_offset, *_ in model["CONDUITS"]:
        if section[name][1] != "CIRCULAR":
            raise SystemExit(f"{name}: only circular conduits are read, not {section[name][1]}")
        ends = [
            (start, node[start]["invert"] + float(start_offset)),
            (finish, node[finish]["invert"] + float(finish_offset)),
        ]
        path = [node[start]["position"], *between.get(name, []), node[finish]["position"]]
        if ends[0][1] < ends[1][1]:
            ends.reverse()
            path.reverse()
        rows.append(
            {
                "id": name,
                "upstream": ends[0][0],
                "downstream": ends[1][0],
                "shape": "circular",
                "height": tidy(float(section[name][2]) * INCHES_A_FOOT, 3),
                "size_basis": "inside",
                "length": tidy(float(length), 6),
                "length_between": "centres",
                "inverts": {"upstream": tidy(ends[0][1], 6), "downstream": tidy(ends[1][1], 6)},
                "path": path,
            }
        )
    return rows


# Everything from here to `runs` is invented: pipe, direction, start and finish of the run, distance of the last
# reading, and between the first and the last row what was seen.
INVENTED = [
    ("J1-025.1", "downstream", "08:20:00", "08:47:40", 309.2, [
        {"at": 1, "code": "water.level", "quantities": [{"value": 10, "unit": "percent"}]},
        {"at": 44.6, "code": "crack.circumferential", "clock": {"from": 9, "to": 2}, "grades": {"structural": 1}},
        {"at": 96.5, "code": "joint.open", "quantities": [{"value": 22, "unit": "mm"}], "joint": True, "grades": {"structural": 2}},
        {"at": 131, "to": 158.5, "continuous": True, "code": "deposit.grease", "quantities": [{"value": 8, "unit": "percent"}], "clock": {"from": 8, "to": 4}, "grades": {"operational": 2}},
        {"at": 203.3, "code": "connection.saddle", "quantities": [{"value": 6, "unit": "in"}], "clock": {"at": 10}, "flow": "trickle"},
        {"at": 271.9, "code": "infiltration", "characterisation": ["dripping"], "clock": {"at": 2}, "grades": {"operational": 2}},
    ]),
    ("J2-093.1", "upstream", "09:30:00", "10:02:10", 327.4, [
        {"at": 1, "code": "water.level", "quantities": [{"value": 6, "unit": "percent"}]},
        {"at": 58.2, "code": "roots.fine", "quantities": [{"value": 5, "unit": "percent"}], "clock": {"at": 11}, "joint": True, "grades": {"operational": 1}},
        {"at": 120.7, "code": "roots.mass", "quantities": [{"value": 20, "unit": "percent"}], "joint": True, "grades": {"operational": 3}},
        {"at": 188, "to": 205.6, "continuous": True, "code": "fracture.longitudinal", "quantities": [{"value": 3, "unit": "mm"}], "clock": {"at": 12}, "grades": {"structural": 3}},
        {"at": 296.1, "code": "joint.displaced", "quantities": [{"value": 12, "unit": "mm"}], "joint": True, "grades": {"structural": 2}},
    ]),
    ("J4-001.1", "downstream", "10:50:00", "11:44:30", 628.1, [
        {"at": 1, "code": "water.level", "quantities": [{"value": 15, "unit": "percent"}]},
        {"at": 88.7, "code": "bend.curved", "characterisation": ["left"], "quantities": [{"value": 45, "unit": "degrees"}]},
        {"at": 176.4, "code": "bend.curved", "characterisation": ["right"], "quantities": [{"value": 90, "unit": "degrees"}]},
        {"at": 240.2, "to": 262, "continuous": True, "code": "deposit.settled", "characterisation": ["coarse"], "quantities": [{"value": 11, "unit": "percent"}], "grades": {"operational": 2}},
        {"at": 437.5, "code": "bend.curved", "characterisation": ["left"], "quantities": [{"value": 90, "unit": "degrees"}]},
        {"at": 533.8, "code": "hole", "quantities": [{"value": 2, "unit": "in"}], "clock": {"at": 1}, "grades": {"structural": 3}},
    ]),
    ("J1-188.1", "downstream", "13:05:00", "13:13:20", 67.1, [
        {"at": 1, "code": "water.level", "quantities": [{"value": 3, "unit": "percent"}]},
        {"at": 21.4, "code": "joint.angled", "quantities": [{"value": 5, "unit": "degrees"}], "joint": True, "grades": {"structural": 2}},
        {"at": 49.9, "code": "deposit.encrusted", "quantities": [{"value": 6, "unit": "percent"}], "clock": {"at": 8}, "grades": {"operational": 1}},
    ]),
    ("J1-278.1", "upstream", "14:10:00", "15:01:50", 596.8, [
        {"at": 1, "code": "water.level", "quantities": [{"value": 20, "unit": "percent"}]},
        {"at": 77, "code": "roots.tap", "quantities": [{"value": 9, "unit": "percent"}], "joint": True, "grades": {"operational": 3}},
        {"at": 310.6, "code": "water.sag", "quantities": [{"value": 12, "unit": "percent"}], "grades": {"operational": 2}},
        {"at": 455.2, "code": "crack.helical", "quantities": [{"value": 1, "unit": "mm"}], "clock": {"from": 10, "to": 2}, "grades": {"structural": 2}},
    ]),
]


def runs(rows, nodes):
    by_id = {row["id"]: row for row in rows}
    kinds = {row["id"]: row["kind"] for row in nodes}
    made = []
    for number, (name, direction, start, finish, surveyed, seen) in enumerate(INVENTED, 1):
        ends = [by_id[name]["upstream"], by_id[name]["downstream"]]
        if direction == "upstream":
            ends.reverse()
        rows_seen = [
            {"at": 0, "code": "run.start"},
            {"at": 0, "code": f"access.{kinds[ends[0]]}"},
            *seen,
            {"at": surveyed, "code": f"access.{kinds[ends[1]]}"},
            {"at": surveyed, "code": "run.finish"},
        ]
        made.append(
            {
                "id": f"R-{number}",
                "pipe": name,
                "from": ends[0],
                "to": ends[1],
                "direction": direction,
                "method": "crawler",
                "operator": "op",
                "equipment": ["crawler"],
                "started": f"2026-05-19T{start}-05:00",
                "finished": f"2026-05-19T{finish}-05:00",
                "preparation": "jetted",
                "weather": "dry",
                "counter": {"zero": "structure-centre", "resolution": 0.1},
                "surveyed": surveyed,
                "outcome": {"kind": "reached"},
                "observations": [{"id": str(index), **row} for index, row in enumerate(rows_seen, 1)],
            }
        )
    return made


def document(model, crs):
    nodes = structures(model)
    conduits = pipes(model, nodes)
    return {
        "obvert": "0.2",
        "id": "urn:uuid:0c7e2d54-6d0a-4a3b-9c5e-7f6f0f1f2817",
        "issued": "2026-05-20T09:00:00-05:00",
        "language": "en",
        "units": {"length": "ft", "section": "in"},
        "crs": crs,
        "vertical": "stated in feet; datum not given",
        "coding": {"list": "obvert-terms", "version": "1"},
        "grading": {"scheme": "obvert-grades", "version": "1"},
        "assignment": {"title": "Network of a sample model (real, anonymised) with invented runs"},
        "parties": [
            {"id": "hds", "name": "Heron Drain Survey", "role": "contractor"},
            {"id": "op", "name": "Jory Ashdown", "role": "operator", "member_of": "hds"},
        ],
        "equipment": [{"id": "crawler", "kind": "crawler", "counter_resolution": 0.1, "cable_length": 980}],
        "structures": nodes,
        "pipes": conduits,
        "runs": runs(conduits, nodes),
    }


def layout(value):
    """A line for each key, each row of a table and each observation, as `obvert_model::write` lays a document out."""

    def inline(value):
        return json.dumps(value, ensure_ascii=False, separators=(", ", ": "))

    def row(value):
        if "observations" not in value:
            return inline(value)
        head = inline({key: part for key, part in value.items() if key != "observations"})
        lines = ",\n".join("      " + inline(part) for part in value["observations"])
        return f'{head[:-1]}, "observations": [\n{lines}\n    ]}}'

    def member(part):
        if isinstance(part, list):
            return "[\n" + ",\n".join("    " + row(item) for item in part) + "\n  ]"
        return inline(part)

    return "{\n" + ",\n".join(f"  {inline(key)}: {member(part)}" for key, part in value.items()) + "\n}\n"


def main():
    options = argparse.ArgumentParser(description="derives an obvert document from a storm water model's input file")
    options.add_argument("model", type=Path, help="the model's input file")
    options.add_argument("out", type=Path, help="the document to write")
    options.add_argument("--crs", default="EPSG:2817", help="the reference system to state (default: the one that the model's title names)")
    given = options.parse_args()
    text = layout(document(sections(given.model.read_text(encoding="utf-8")), given.crs))
    given.out.write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
