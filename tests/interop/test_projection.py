#!/usr/bin/env python3
"""Compare the reference systems of obvert-geo with PROJ, through pyproj.

    pip install pyproj==3.7.2
    python3 tests/interop/test_projection.py          # the systems below, 200 places each; seconds
    python3 tests/interop/test_projection.py --write  # the same, and the table of spec/guide/accuracy.md made anew
    python3 tests/interop/test_projection.py --all    # every EPSG system that PROJ knows, one place each; minutes

Exit status 0 if all agree (with --all: if none is 10 m off), 1 if not. OBVERT_TRANSFORM names the built example (target/debug/examples/transform); without it,
cargo builds and runs it.

What is compared: positions [x, y] = [easting or longitude, northing or latitude] (pyproj's `always_xy=True`) in the system,
taken to EPSG:4326 by the operation PROJ chooses for that place with the network off and no grid files. For NAD83 and ETRS89 that
is the null transformation. For EPSG:27700 a PROJ with the OSTN grid would answer up to about 2 m away from both sides here:
this script shows agreement with the seven-parameter transformation (EPSG:1314), not with the grid. The operation that PROJ used is printed
with every system, so that nobody has to guess.
"""

import collections
import math
import os
import pathlib
import random
import re
import shlex
import subprocess
import sys
import warnings

os.environ["PROJ_NETWORK"] = "OFF"
import pyproj  # noqa: E402  (the variable must be set before PROJ wakes up)
from pyproj import CRS, Geod, Transformer  # noqa: E402
from pyproj.database import query_crs_info  # noqa: E402
from pyproj.enums import PJType  # noqa: E402
from pyproj.transformer import TransformerGroup  # noqa: E402

warnings.simplefilter("ignore")
ROOT = pathlib.Path(__file__).resolve().parents[2]
GEOD = Geod(ellps="WGS84")
LIMIT_M = 0.001
PLACES = 200
# The way back is the exact inverse of the way there; PROJ's turns the signs of the constants and lets the height go twice.
REVERSE_LIMIT_M = 0.01
# With --all: in the overlap of two published transformations PROJ may pick the other one. Listed, and a failure beyond this.
CHOICE_LIMIT_M = 10.0

SYSTEMS = [
    (4326, "geographic, WGS 84"),
    (4269, "geographic, NAD83"),
    (6318, "geographic, NAD83(2011)"),
    (4258, "geographic, ETRS89"),
    (4807, "geographic, grads from Paris"),
    (32615, "UTM, metres"),
    (26915, "UTM on NAD83, metres"),
    (25832, "UTM on ETRS89, metres"),
    (25833, "UTM on ETRS89, metres"),
    (31467, "Gauss-Krueger, DHDN"),
    (31256, "Gauss-Krueger, MGI"),
    (6594, "Lambert state plane, metres"),
    (6595, "Lambert state plane, US survey feet"),
    (6494, "Lambert state plane, international feet"),
    (2253, "Lambert state plane, international feet"),
    (2222, "transverse Mercator state plane, international feet"),
    (2817, "transverse Mercator state plane, metres"),
    (3089, "Lambert single zone, US survey feet"),
    (2263, "Lambert state plane, US survey feet"),
    (2229, "Lambert state plane, US survey feet"),
    (2930, "NAD83(HARN), seven parameters"),
    (26934, "transverse Mercator, Alaska zone 4"),
    (26931, "oblique Mercator, Alaska zone 1"),
    (2952, "modified transverse Mercator, Ontario"),
    (2036, "oblique stereographic, New Brunswick"),
    (27700, "transverse Mercator, OSGB36; seven parameters in place of the grid"),
    (29903, "transverse Mercator, TM75"),
    (2157, "transverse Mercator, IRENET95"),
    (2154, "Lambert, RGF93"),
    (27572, "Lambert with one parallel, from Paris"),
    (28992, "oblique stereographic, Amersfoort"),
    (31370, "Lambert, Belgium"),
    (2056, "Swiss oblique Mercator"),
    (21781, "Swiss oblique Mercator"),
    (5514, "Krovak, east and north"),
    (3067, "TM35, Finland"),
    (3006, "SWEREF99 TM"),
    (2180, "CS92, Poland"),
    (3763, "TM06, Portugal"),
    (23700, "EOV, Hungary"),
    (28356, "MGA zone 56, GDA94"),
    (7856, "MGA zone 56, GDA2020"),
    (2193, "NZTM"),
    (6677, "Japan zone IX"),
    (5186, "Korea central belt"),
    (24200, "Lambert with one parallel, JAD69"),
    (5880, "polyconic, Brazil"),
    (3857, "Web Mercator"),
]
# Systems that must be refused, with a word of the reason.
REFUSED = [(32040, "grid"), (26712, "grid"), (27200, "nzmg"), (2048, "west"), (4610, "none is published"), (5703, "vertical"), (999999, "registry")]
# Systems whose well-known text is easily got wrong, and whether it has any here: origins on the equator, meridians other than Greenwich,
# and variants of a method (EPSG 1051, 1102, 9833 and others) that OGC 01-009 has no name for.
DEFINED = {3310: True, 3488: True, 3112: True, 3162: True, 5320: True, 4807: True, 27572: True, 24200: True, 31370: True, 2229: True,
           9549: False, 6201: False, 3139: False, 9311: False, 26931: False, 5514: False, 3857: False}


def command():
    given = os.environ.get("OBVERT_TRANSFORM")
    return shlex.split(given) if given else ["cargo", "run", "-q", "-p", "obvert-geo", "--example", "transform", "--"]


def ask(lines, *words):
    done = subprocess.run([*command(), *words], input="".join(line + "\n" for line in lines), text=True, capture_output=True, cwd=ROOT)
    if done.returncode:
        sys.exit(done.stderr)
    out = done.stdout.splitlines()
    assert len(out) == len(lines), (len(out), len(lines))
    return out


def places(crs, fractions):
    area = crs.area_of_use
    west, south, east, north = area.bounds if area and area.west >= -180 else (-180, -80, 180, 80)
    east += 360 if east < west else 0
    geodetic = crs.geodetic_crs
    pm = geodetic.prime_meridian
    meridian = pm.longitude * pm.unit_conversion_factor * 180 / math.pi
    unit = geodetic.axis_info[0].unit_conversion_factor * 180 / math.pi
    project = Transformer.from_crs(geodetic, crs, always_xy=True) if crs.is_projected else None
    for fx, fy in fractions:
        lon = west + fx * (east - west)
        own = (((lon + 180) % 360 - 180 - meridian) / unit, (south + fy * (north - south)) / unit)
        point = project.transform(*own) if project else own
        if all(map(math.isfinite, point)):
            yield point


def by_proj(to84, point):
    lonlat = to84.transform(*point)
    try:
        used = to84.get_last_used_operation()
    except pyproj.exceptions.ProjError:
        used = to84
    return lonlat, used


def metres(a, b):
    return GEOD.inv(a[0], a[1], b[0], b[1])[2]


def plain(description):
    """The name of an operation without what it does to axes."""
    return description.replace(" + axis order change (2D)", "").replace("axis order change (2D) + ", "")


def nearest(group, point, answer):
    """The distance from the nearest answer that a published transformation gives, other than the one that PROJ prefers here."""
    return min((metres(to84.transform(*point), answer) for to84 in group.transformers if "allpark" not in to84.description), default=math.inf)


def with_grid(group):
    """What PROJ would use if it had the grids that it knows of: the most accurate, where that is better than what it has."""
    have = min((to84.accuracy for to84 in group.transformers if to84.accuracy >= 0), default=math.inf)
    grids = [operation for operation in group.unavailable_operations if 0 <= operation.accuracy < have and operation.grids]
    return min(grids, key=lambda operation: operation.accuracy, default=None)


def bound(worst):
    """The least of a few round numbers that a distance in metres lies below, in millimetres: the last digits are not the same everywhere."""
    return next((f"{limit:g} mm" for limit in (0.001, 0.01, 0.1, 1) if worst * 1000 < limit), f"{worst:.0f} m")


def chosen():
    bad, rows = 0, collections.defaultdict(list)
    for code, what in SYSTEMS:
        crs = CRS.from_epsg(code)
        group = TransformerGroup(crs, 4326, always_xy=True)
        to84 = Transformer.from_crs(crs, 4326, always_xy=True)
        from84 = Transformer.from_crs(4326, crs, always_xy=True)
        chance = random.Random(code)
        points = list(places(crs, [(chance.uniform(0.02, 0.98), chance.uniform(0.02, 0.98)) for _ in range(PLACES)]))
        expected, worst, used, compared = [], 0.0, collections.Counter(), 0
        other, apart, undecided = 0, 0.0, 0
        for point in points:
            lonlat, operation = by_proj(to84, point)
            expected.append(lonlat)
            used[plain(operation.description)] += 1
        for point, lonlat, answer in zip(points, expected, ask([f"EPSG:{code} {x!r} {y!r}" for x, y in points])):
            if answer.startswith("!"):
                # Where two published transformations are equally good and differ, the crate takes neither.
                undecided += "could apply, and they differ" in answer
                compared -= "could apply, and they differ" not in answer
                continue
            mine = tuple(map(float, answer.split()))
            distance = metres(lonlat, mine)
            if distance >= LIMIT_M:
                other, apart = other + 1, max(apart, distance)
                distance = nearest(group, point, mine)
            worst = max(worst, distance)
            compared += 1
        back, factor = 0.0, crs.axis_info[0].unit_conversion_factor if crs.is_projected else None
        for lonlat, answer in zip(expected, ask([f"EPSG:{code} {lon!r} {lat!r}" for lon, lat in expected], "reverse")):
            if answer.startswith("!"):
                continue
            mine, proj = tuple(map(float, answer.split())), from84.transform(*lonlat)
            # Six decimals of a degree are 0.1 m: the way back is compared where they are lengths, and where both chose alike.
            if factor and not other:
                back = max(back, math.dist(mine, proj) * factor)
        grid = with_grid(group)
        verdict = worst < LIMIT_M and back < REVERSE_LIMIT_M and compared + undecided == len(points) == PLACES and compared > PLACES * 0.75
        bad += not verdict
        print(f"{'ok  ' if verdict else 'FAIL'} EPSG:{code:<6} {worst * 1000:9.6f} mm, back {back * 1000:9.6f} mm, {compared} places; {what}")
        for name, count in used.items():
            print(f"       {count} by {name}")
        remarks = []
        if other:
            remarks.append(f"at {other} place{'s' * (other > 1)} PROJ prefers another published transformation, up to {apart:.1f} m away")
        if undecided:
            remarks.append(f"{undecided} places are refused, since two published transformations could apply and differ")
        if grid:
            have = min(to84.accuracy for to84 in group.transformers if to84.accuracy >= 0)
            remarks.append(f"with {', '.join(grid.grids[0].short_name.split())} PROJ would be within {grid.accuracy:g} m instead of {have:g} m")
        for remark in remarks:
            print(f"       {remark}")
        rows[(bound(worst), "; ".join(remarks))].append(f"EPSG:{code}")
    # Systems with the same result share a row.
    cells = [f"| {', '.join(systems)} | {below} | {remarks} |" for (below, remarks), systems in rows.items()]
    table = "\n".join(["| System | Worst case below | Remarks |", "|---|---|---|", *cells])
    bad += fresh(table, sum(map(len, rows.values())))
    for code, word in REFUSED:
        answer = ask([f"EPSG:{code} 1000.0 2000.0"])[0]
        good = answer.startswith("!") and f"EPSG:{code}" in answer and word in answer
        bad += not good
        print(f"{'ok  ' if good else 'FAIL'} {answer}")
    return bad


def greenwich(crs):
    """Degrees from Greenwich of the zero of a system's longitudes, and degrees in one unit of them."""
    meridian, globe = crs.prime_meridian, crs.geodetic_crs
    return meridian.longitude * meridian.unit_conversion_factor * 180 / math.pi, globe.axis_info[0].unit_conversion_factor * 180 / math.pi


def in_metres(crs, lon, lat):
    """The coordinates of a place on the system's own datum, in metres."""
    zero, unit = greenwich(crs)
    own = (((lon - zero + 180) % 360 - 180) / unit, lat / unit)
    if not crs.is_projected:
        return [value * unit * 111_320 for value in own]
    factor = crs.axis_info[0].unit_conversion_factor
    return [value * factor for value in Transformer.from_crs(crs.geodetic_crs, crs, always_xy=True).transform(*own)]


def definitions(codes):
    """Holds the well-known text of systems, without the code at its end, against PROJ's for the code."""
    bad, defined = 0, 0
    for code, text in zip(codes, ask([f"EPSG:{code}" for code in codes], "definition")):
        if text.startswith("!"):
            continue
        known = text != "undefined"
        if DEFINED.get(code, known) != known:
            print(f"FAIL EPSG:{code} {'has' if known else 'has no'} definition")
            bad += 1
        if not known:
            continue
        alone = re.sub(rf',AUTHORITY\["EPSG","{code}"\]\]$', "]", text)
        ours, theirs = CRS.from_wkt(alone), CRS.from_epsg(code)
        area, apart, compared = theirs.area_of_use, 0.0, 0
        for fx, fy in ((0.5, 0.5), (0.25, 0.3), (0.8, 0.7)):
            east = area.east + (360 if area.east < area.west else 0)
            place = (area.west + fx * (east - area.west), area.south + fy * (area.north - area.south))
            here, there = in_metres(ours, *place), in_metres(theirs, *place)
            if all(map(math.isfinite, (*here, *there))):
                apart, compared = max(apart, math.dist(here, there)), compared + 1
        axes = [abs(getattr(ours.ellipsoid, axis) - getattr(theirs.ellipsoid, axis)) for axis in ("semi_major_metre", "semi_minor_metre")]
        # A few withdrawn systems PROJ itself does not project.
        defined += compared > 0
        if "AUTHORITY" in alone or apart >= LIMIT_M or max(axes) >= LIMIT_M or (code in DEFINED and not compared):
            print(f"FAIL EPSG:{code} {theirs.name}: its text puts {compared} places up to {apart:.4f} m from where PROJ has them, its ellipsoid differs by {max(axes):.4f} m")
            bad += 1
    print(f"{defined} definitions held against PROJ, {bad} wrong")
    return bad + (defined < 600)


def fresh(table, systems):
    """Holds the table in the specification to what was measured, or writes it."""
    if systems < 40:
        print("FAIL too few systems")
        return 1
    page = ROOT / "spec" / "guide" / "accuracy.md"
    before, rest = page.read_text("utf-8").split("<!-- measured -->\n")
    _, after = rest.split("<!-- /measured -->")
    text = f"{before}<!-- measured -->\n{table}\n<!-- /measured -->{after}"
    if "--write" in sys.argv[1:]:
        page.write_text(text, "utf-8")
    elif text != page.read_text("utf-8"):
        print("FAIL spec/guide/accuracy.md says otherwise; look at why, and make it anew with --write")
        return 1
    return 0


def everything():
    lines, expected = [], []
    for info in query_crs_info("EPSG", [PJType.PROJECTED_CRS, PJType.GEOGRAPHIC_2D_CRS], allow_deprecated=True):
        try:
            crs = CRS.from_epsg(int(info.code))
            to84 = Transformer.from_crs(crs, 4326, always_xy=True)
            for point in places(crs, [(0.45, 0.55)]):
                lonlat, operation = by_proj(to84, point)
                lines.append(f"EPSG:{info.code} {point[0]!r} {point[1]!r}")
                expected.append((info, lonlat, operation))
        except pyproj.exceptions.ProjError:
            continue
    tally, bad, refused = collections.Counter(), [], collections.Counter()
    for (info, lonlat, operation), answer in zip(expected, ask(lines)):
        if answer.startswith("!"):
            tally["refused"] += 1
            words = ("needs the grid", "method", "axes", "none is published", "apply", "applies", "cannot be transformed")
            refused[next((w for w in words if w in answer), answer)] += 1
            continue
        ballpark = "allpark" in operation.description
        if not all(map(math.isfinite, lonlat)):
            tally["PROJ gives nothing"] += 1
            continue
        d = metres(lonlat, tuple(map(float, answer.split())))
        if d < LIMIT_M:
            tally["agree to 1 mm"] += 1
        elif ballpark:
            tally["PROJ has no transformation at this place, obvert-geo extends a neighbouring one"] += 1
        else:
            tally["differ by more than 1 mm, listed below"] += 1
            bad.append((d, info.code, info.name, operation.description))
    print(f"{len(lines)} systems")
    for what, count in tally.most_common():
        print(f"{count:6} {what}")
    for what, count in refused.most_common():
        print(f"{count:6} refused: {what}")
    for d, code, name, operation in sorted(bad):
        print(f"  EPSG:{code} {name}: {d:.4f} m from {operation}")
    return sum(d > CHOICE_LIMIT_M for d, *_ in bad)


if __name__ == "__main__":
    print(f"pyproj {pyproj.__version__}, PROJ {pyproj.proj_version_str}, network {'on' if pyproj.network.is_network_enabled() else 'off'}")
    infos = query_crs_info("EPSG", [PJType.PROJECTED_CRS, PJType.GEOGRAPHIC_2D_CRS], allow_deprecated=True)
    codes = sorted(int(info.code) for info in infos if info.code.isdigit())
    if "--all" in sys.argv[1:]:
        failures = everything() + definitions(codes)
    else:
        failures = chosen() + definitions(sorted({*codes[::10], *DEFINED}))
    sys.exit(1 if failures else 0)
