#!/usr/bin/env python3
"""Rebuild the tables in src/registry/ from the PROJ database that pyproj carries.

    pip install pyproj==3.7.2        # PROJ 9.5.1, EPSG dataset v11.022
    python3 tools/registry.py        # a few minutes; rewrites src/registry/*.tsv

Why a table of our own: the proj-string collections that exist as crates carry no area of use, miss the newer codes, and
hold the datum shifts of an older PROJ (some of them kilometres away from what PROJ does today). The columns
are explained in src/registry/mod.rs. No grid may be installed and the network must be off, so that the
transformation PROJ picks is the best one that needs no grid.
"""
import collections
import math
import pathlib
import sqlite3
import sys
import warnings

import pyproj
from pyproj import CRS, Geod, Transformer
from pyproj.transformer import TransformerGroup

warnings.simplefilter("ignore")
OUT = pathlib.Path(__file__).resolve().parent.parent / "src" / "registry"
GEOD = Geod(ellps="WGS84")
ELLIPSOIDS = pyproj.get_ellps_map()
# A transformation worse than this is refused when a grid would do better.
GRID_FREE_LIMIT_M = 5.0
# Where PROJ switches between operations inside one area of use by more than this, all of them are kept.
SPREAD_LIMIT_M = 0.001


class Refused(Exception):
    pass


def steps(definition):
    """PROJ pipeline text to [(inverse, {key: value}), ...]."""
    words = definition.split()
    if words[0] != "proj=pipeline":
        words = ["proj=pipeline", "step", *words]
    out = []
    for w in words[1:]:
        if w == "step":
            out.append([False, {}])
        elif w == "inv":
            out[-1][0] = True
        else:
            k, _, v = w.partition("=")
            out[-1][1][k] = v
    return out


def number(v):
    return repr(float(v)).removesuffix(".0")


def ellipsoid(p):
    """Semi-major axis and inverse flattening of the parameters of a step."""
    if "ellps" in p:
        e = ELLIPSOIDS[p["ellps"]]
        a = e["a"]
        return a, (e["rf"] if "rf" in e else (0.0 if a == e["b"] else a / (a - e["b"])))
    if "R" in p:
        return float(p["R"]), 0.0
    a = float(p["a"])
    if "rf" in p:
        return a, float(p["rf"])
    b = float(p.get("b", a))
    return a, (0.0 if a == b else a / (a - b))


def helmert(p, kind):
    """Seven parameters in the position vector convention: metres, arc seconds, parts per million."""
    g = lambda k: float(p.get(k, 0))
    for k in p:
        if k in ("dx", "dy", "dz", "drx", "dry", "drz", "ds", "t_epoch", "exact", "theta"):
            raise Refused(f"unsupported:{kind} with {k}")
    t = [g("x"), g("y"), g("z")]
    sign = -1.0 if p.get("convention") == "coordinate_frame" else 1.0
    r = [sign * g(k) for k in ("rx", "ry", "rz")]
    s = g("s")
    if kind == "molobadekas":
        # X' = T + P + (1+s) R (X - P): the pivot folds into the translation.
        pv = [g("px"), g("py"), g("pz")]
        rx, ry, rz = (v * math.pi / 648000 for v in r)
        k = 1 + s * 1e-6
        rot = [pv[0] - rz * pv[1] + ry * pv[2], rz * pv[0] + pv[1] - rx * pv[2], -ry * pv[0] + rx * pv[1] + pv[2]]
        t = [t[i] + pv[i] - k * rot[i] for i in range(3)]
    return [*t, *r, s]


def shift_steps(definition, own):
    """The datum part of a pipeline, as a list of (from ellipsoid, seven parameters, to ellipsoid)."""
    out, pending, source = [], None, None
    for inverse, p in steps(definition):
        kind = p["proj"]
        if kind == "longlat" and "pm" in p:
            # A meridian by name is the system's own; by number it may be a rotation of the whole datum.
            try:
                turned = abs(float(p["pm"]) - meridian_degrees(own)) > 1e-9
            except ValueError:
                turned = False
            if turned:
                raise Refused("unsupported:longitude rotation")
        if kind in ("unitconvert", "axisswap", "push", "pop", "noop", "longlat"):
            continue
        if kind in ("cart", "geocent"):
            if not inverse:
                source, pending = ellipsoid(p), []
            else:
                # Between two steps of a chain the position is put back on the first ellipsoid and its height let
                # go; such chains join modern frames, where that is far below a millimetre.
                pending = pending or [[0.0] * 7]  # only the ellipsoid changes
                for i, parameters in enumerate(pending):
                    out.append((source, parameters, ellipsoid(p) if i == len(pending) - 1 else source))
                source = pending = None
        elif kind in ("helmert", "molobadekas"):
            if pending is None:
                raise Refused("unsupported:" + kind)
            parameters = helmert(p, kind)
            if inverse:
                # Turned signs undo a similarity to the product of its parts: below 0.1 mm within these bounds.
                if max(map(abs, parameters[:3])) > 10 or max(map(abs, parameters[3:6])) > 1:
                    raise Refused("unsupported:inverse " + kind)
                parameters = [-v for v in parameters]
            pending.append(parameters)
        elif kind in ("hgridshift", "gridshift", "xyzgridshift", "deformation", "tinshift", "defmodel"):
            raise Refused("grid:" + p.get("grids", p.get("file", "?")))
        elif kind in ("geogoffset", "affine", "molodensky", "horner"):
            raise Refused("unsupported:" + kind)
        elif inverse and source is None and not out:
            continue  # the projection
        else:
            raise Refused("unsupported:" + kind)
    return tuple((tuple(a), tuple(h), tuple(b)) for a, h, b in out)


def shift_name(description):
    parts = [x for x in description.split(" + ") if not x.startswith("axis order change") and not x.startswith("Inverse of")]
    return " + ".join(parts)


def probes(bounds):
    w, s, e, n = bounds
    if e < w:
        e += 360
    for fx in (0.5, 0.1, 0.3, 0.7, 0.9):
        for fy in (0.5, 0.1, 0.3, 0.7, 0.9):
            lon = w + fx * (e - w)
            yield (lon - 360 if lon > 180 else lon), s + fy * (n - s)


def find_shift(crs, geodetic, bounds, grid_cache):
    forward = Transformer.from_crs(geodetic, crs, always_xy=True) if crs.is_projected else None
    meridian, unit = meridian_degrees(geodetic), unit_degrees(geodetic)
    to84 = Transformer.from_crs(crs, 4326, always_xy=True)
    uses, points, ops = collections.Counter(), [], {}
    for lon, lat in probes(bounds):
        # The bounds count from Greenwich in degrees; the system's own longitudes may not.
        x, y = (lon - meridian) / unit, lat / unit
        if forward:
            x, y = forward.transform(x, y)
        r = to84.transform(x, y)
        if not all(map(math.isfinite, (x, y, *r))):
            continue
        try:
            op = to84.get_last_used_operation()
        except pyproj.exceptions.ProjError:
            op = to84
        ops.setdefault(op.definition, op)
        real = "allpark" not in op.description
        uses[op.definition] += real
        points.append((x, y, r, real))
    if not points:
        raise Refused("unsupported:no finite point")
    best = uses.most_common(1)[0][0]
    spread = 0.0
    for x, y, r, real in points:
        # Where PROJ has nothing and does nothing, the nearest published transformation still is the better guess.
        q = ops[best].transform(x, y)
        if (real or not uses[best]) and all(map(math.isfinite, q)):
            spread = max(spread, GEOD.inv(r[0], r[1], q[0], q[1])[2])
    chosen = [best]
    if spread > SPREAD_LIMIT_M:
        chosen = [k for k in ops if uses[k]]
        if any(ops[k].area_of_use is None for k in chosen):
            raise Refused("unknown")
        chosen.sort(key=lambda k: (ops[k].accuracy if ops[k].accuracy >= 0 else 1e9, extent(ops[k].area_of_use.bounds)))
    return [checked(crs, geodetic, bounds, ops[k], grid_cache) for k in chosen]


def extent(bounds):
    w, s, e, n = bounds
    return ((e - w) % 360) * (math.sin(math.radians(n)) - math.sin(math.radians(s)))


def checked(crs, geodetic, bounds, op, grid_cache):
    """(name, accuracy, area, steps) of an operation that is good enough."""
    ballpark = "allpark" in op.description
    a, rf = crs.ellipsoid.semi_major_metre, crs.ellipsoid.inverse_flattening
    modern = a == 6378137.0 and abs(rf - 298.257223) < 1e-4
    accuracy = op.accuracy if op.accuracy is not None and op.accuracy >= 0 and not ballpark else None
    if (ballpark and not modern) or (accuracy or 0) > GRID_FREE_LIMIT_M:
        key = (geodetic.to_epsg(), tuple(bounds))
        if key not in grid_cache:
            group = TransformerGroup(crs, 4326, always_xy=True)
            # PROJ's order: the grid it would like best comes first.
            grid_cache[key] = list(dict.fromkeys(g.short_name for o in group.unavailable_operations for g in o.grids))
        grids = grid_cache[key]
        if grids:
            raise Refused(f"grid:{grids[0]}" + (f" (+{len(grids) - 1} more)" if len(grids) > 1 else "") + f":{'' if accuracy is None else number(accuracy)}")
        if ballpark:
            raise Refused("unknown")
    parts = shift_steps(op.definition, geodetic)
    name = "assumed equal to WGS 84" if ballpark else (shift_name(op.description) or "WGS 84")
    if not parts and not modern:
        raise Refused("unknown")
    area = " ".join(map(deg, op.area_of_use.bounds)) if op.area_of_use and not ballpark else ""
    return name, accuracy, area, parts


def unit_degrees(geodetic):
    return geodetic.axis_info[0].unit_conversion_factor * 180 / math.pi


def meridian_degrees(geodetic):
    pm = geodetic.prime_meridian
    return pm.longitude * pm.unit_conversion_factor * 180 / math.pi if pm.longitude else 0.0


def projection(crs, geodetic):
    """`method key=value …` in metres, and what is odd about it."""
    t = Transformer.from_crs(geodetic, crs, always_xy=True)
    if t.definition.startswith("unavailable"):
        raise Refused("several operations")
    found = None
    for inverse, p in steps(t.definition):
        if p["proj"] in ("unitconvert", "longlat", "axisswap"):
            continue
        if found or inverse:
            raise Refused("chained")
        found = p
    if not found:
        raise Refused("none")
    keep = {k: v for k, v in found.items() if k not in ("ellps", "a", "b", "rf", "R", "pm", "axis", "proj")}
    words = [found["proj"]] + [k if v == "" else f"{k}={v}" for k, v in keep.items() if not (k in ("x_0", "y_0", "lat_0", "lon_0") and float(v) == 0)]
    return " ".join(words)


def deg(v):
    return number(round(v, 2))


def main():
    if pyproj.network.is_network_enabled():
        sys.exit("switch PROJ's network off first (PROJ_NETWORK=OFF)")
    db = sqlite3.connect(pathlib.Path(pyproj.datadir.get_data_dir()) / "proj.db")
    meta = dict(db.execute("select key, value from metadata"))
    replaced = collections.defaultdict(list)
    for old, new in db.execute("select deprecated_code, replacement_code from deprecation where deprecated_auth_name='EPSG' and replacement_auth_name='EPSG' and table_name in ('projected_crs','geodetic_crs')"):
        replaced[int(old)].append(int(new))
    kinds = {int(c): (n, t, d) for c, n, t, d in db.execute("select code, name, type, deprecated from crs_view where auth_name='EPSG'")}

    shifts, rows, others, grid_cache, tally = {}, [], [], {}, collections.Counter()
    for code, (name, kind, deprecated) in sorted(kinds.items()):
        if kind not in ("projected", "geographic 2D"):
            see = ""
            if kind == "compound":
                a, c = db.execute("select horiz_crs_auth_name, horiz_crs_code from compound_crs where auth_name='EPSG' and code=?", (str(code),)).fetchone()
                see = c if a == "EPSG" else ""
            elif kind in ("geographic 3D", "geocentric"):
                r = db.execute("select b.code from geodetic_crs a join geodetic_crs b on a.datum_auth_name=b.datum_auth_name and a.datum_code=b.datum_code where a.auth_name='EPSG' and a.code=? and b.auth_name='EPSG' and b.type='geographic 2D' and b.deprecated=0 order by cast(b.code as integer)", (str(code),)).fetchone()
                see = r[0] if r else ""
            others.append((code, kind, name, see))
            continue
        crs = CRS.from_epsg(code)
        geodetic = crs.geodetic_crs
        unit = crs.axis_info[0]
        area = crs.area_of_use
        bounds = area.bounds if area and area.west >= -180 else (-180.0, -90.0, 180.0, 90.0)
        directions = {a.direction for a in crs.axis_info}
        if kind == "projected":
            try:
                proj = projection(crs, geodetic)
            except (Refused, pyproj.exceptions.ProjError) as why:
                proj = f"!{crs.coordinate_operation.method_name}"
                tally[f"projection {why}"] += 1
            if directions != {"east", "north"}:
                proj = "!axes " + ", ".join(a.direction for a in crs.axis_info)
        else:
            proj = ""
        try:
            found = find_shift(crs, geodetic, bounds, grid_cache)
            shift = " ".join(str(shifts.setdefault(one, len(shifts))) for one in found)
            tally["several shifts"] += len(found) > 1
            tally["shift"] += 1
        except Refused as why:
            shift = "!" + str(why)
            tally["refused " + str(why).split(":")[0]] += 1
        except pyproj.exceptions.ProjError as why:
            shift = "!unknown"
            tally[f"error {why}"] += 1
        e = crs.ellipsoid
        factor = 180 / math.pi * unit.unit_conversion_factor if kind != "projected" else unit.unit_conversion_factor
        unit_name = {"foot": "ft", "US survey foot": "us-ft", "metre": "m", "degree": "deg", "degree (supplier to define representation)": "deg", "degree minute second hemisphere": "deg", "grad": "grad"}.get(unit.unit_name, f"{unit.unit_name}={number(factor)}")
        rows.append("\t".join([
            str(code), "P" if kind == "projected" else "G", "" if not deprecated else "d" + ",".join(map(str, replaced[code])), name, unit_name,
            f"{number(e.semi_major_metre)} {number(e.inverse_flattening)}", number(round(meridian_degrees(geodetic), 12)) if meridian_degrees(geodetic) else "",
            " ".join(map(deg, bounds)), proj, shift]))

    (OUT / "systems.tsv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (OUT / "others.tsv").write_text("\n".join("\t".join(map(str, r)) for r in others) + "\n", encoding="utf-8")
    lines = []
    for (name, accuracy, area, parts), _ in sorted(shifts.items(), key=lambda kv: kv[1]):
        stages = ";".join(" ".join(map(number, (*a, *h, *b))) for a, h, b in parts)
        lines.append(f"{name}\t{'' if accuracy is None else number(accuracy)}\t{area}\t{stages}")
    (OUT / "shifts.tsv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"EPSG {meta['EPSG.VERSION']} of {meta['EPSG.DATE']}, PROJ {meta['PROJ.VERSION']}: {len(rows)} systems, {len(shifts)} shifts, {len(others)} of another kind")
    for k, v in tally.most_common():
        print(v, k)


if __name__ == "__main__":
    main()
