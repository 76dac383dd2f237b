"""A bad survey is checked at the cost of a good one.

Every rule and every structural problem of the conformance suite is put into large surveys: into
every copy of a small one, into one of 10 and into one of 1,000. Processor time and peak memory
of the command are compared with those of the same survey without the mistake, in the same run.

    OBVERT=target/release/obvert python3 tests/interop/test_cost.py --table --sizes 1 10 100

prints the table; with `--one-line`, for surveys of one line; with `--format csv` or `--format xml`,
for structural problems in those formats. Without --table it judges one size, at limits that allow
for a noisy machine.
Needs nothing beyond Python; peak memory is the kernel's (`getrusage`).
"""

import argparse
import copy
import csv
import itertools
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SUITE = ROOT / "tests" / "corpus"
TABLES = ["parties", "equipment", "structures", "pipes", "media", "locates", "ratings", "runs"]
FREE = {"text", "title", "name", "note", "remark"}


def patched(document, patch):
    """Applies the operations of RFC 6902 that the suite uses."""
    document = copy.deepcopy(document)
    for edit in patch:
        if edit["path"] == "":
            document = edit["value"]
            continue
        *parents, last = [
            token.replace("~1", "/").replace("~0", "~") for token in edit["path"].split("/")[1:]
        ]
        holder = document
        for token in parents:
            holder = holder[int(token)] if isinstance(holder, list) else holder[token]
        if edit["op"] in ("move", "copy", "test"):
            return None
        if isinstance(holder, list):
            index = len(holder) if last == "-" else int(last)
            if edit["op"] == "add":
                holder.insert(index, edit["value"])
            elif edit["op"] == "replace":
                holder[index] = edit["value"]
            else:
                del holder[index]
        elif edit["op"] == "remove":
            del holder[last]
        else:
            holder[last] = edit["value"]
    return document


# A point of a template.
POINT = re.compile("\"\u0002([^|\"]+)\\|([^\"]+)\"")


def is_point(value):
    return isinstance(value, list) and len(value) == 2 and all(isinstance(x, (int, float)) for x in value)


def moved(point, number):
    """A point of a copy: the copies are side by side, since nothing else is at the same place."""
    x, y = float(point[1]), float(point[2])
    return json.dumps([x + 700 * (number % 150), y + 700 * (number // 150)])


def ids_of(document):
    rows = (row for table in TABLES for row in document.get(table) or [] if isinstance(row, dict))
    return {row["id"] for row in rows if isinstance(row.get("id"), str)}


def template(document):
    """The rows of a survey as text, with a mark at every id that other rows may name."""
    ids = ids_of(document)

    def marked(value, key=None):
        if isinstance(value, dict):
            return {name: marked(item, name) for name, item in value.items()}
        if key in ("position", "path") and is_point(value):
            return f"\u0002{value[0]}|{value[1]}"
        if isinstance(value, list):
            return [marked(item, key) for item in value]
        if isinstance(value, str) and value in ids and key not in FREE:
            return value + "\u0001"
        if isinstance(value, str) and key == "file":
            return "\u0001" + value
        return value

    def text(row):
        row = json.dumps(marked(row), ensure_ascii=False)
        return row.replace("\\u0001", "\u0001").replace("\\u0002", "\u0002")

    return {
        table: [text(row) for row in document.get(table) or []]
        for table in TABLES
        if isinstance(document.get(table) or [], list)
    }


def many(good, bad, copies, every):
    """Copies of a survey in one, of which one in `every` is the bad one."""
    head = copy.deepcopy({key: value for key, value in (bad or good).items() if key not in TABLES})
    for key, value in head.get("assignment", {}).items():
        if value in ids_of(good):
            head["assignment"][key] = f"{value}-0"
    parts = [template(good), template(bad or good)]
    out = [json.dumps(head, ensure_ascii=False)[:-1]]
    for table in TABLES:
        rows = []
        for number in range(copies):
            is_bad = bad is not None and (number + 1) % every == 0
            for row in parts[is_bad].get(table, []):
                row = row.replace("\u0001", f"-{number}")
                rows.append(POINT.sub(lambda point: moved(point, number), row))
        if rows:
            out.append(f', "{table}": [\n' + ",\n".join(rows) + "\n]")
    return "".join(out) + "}\n"


# Starts a command and prints its exit code, processor time in seconds and peak memory in bytes. It
# is a process of its own, since the peak of a child includes the memory that its parent had when it
# started.
MEASURE = """
import os, subprocess, sys
null = subprocess.DEVNULL
child = subprocess.Popen(sys.argv[1:], stdout=null, stderr=null)
_, status, usage = os.wait4(child.pid, 0)
print(os.waitstatus_to_exitcode(status), usage.ru_utime + usage.ru_stime, usage.ru_maxrss * 1024)
"""


def measured(command, path, turns):
    """The least processor time of some turns, and the peak memory; None if it was not checked."""
    check = [command, "check", "--today", "2026-06-15", str(path)]
    least, peak = None, 0
    for _ in range(turns):
        told = subprocess.check_output([sys.executable, "-c", MEASURE, *check], text=True).split()
        code, taken, memory = int(told[0]), float(told[1]), int(told[2])
        if code not in (0, 1):
            return None
        least = taken if least is None else min(least, taken)
        peak = max(peak, memory)
    return least, peak


def suite_cases():
    """A name, the good survey and the bad one, for every rule of the suite."""
    bases = {}
    for path in sorted((SUITE / "rules").glob("*.json")):
        seen = set()
        for case in json.loads(path.read_text(encoding="utf-8"))["cases"]:
            if case["outcome"] != "fails" or case["rule"] in seen or "patch" not in case:
                continue
            if any(key in case for key in ("profile", "code_lists", "grade_schemes", "lists")):
                continue
            base = bases.setdefault(
                case["base"], json.loads((SUITE / case["base"]).read_text(encoding="utf-8"))
            )
            bad = patched(base, case["patch"])
            if bad is not None:
                seen.add(case["rule"])
                yield case["rule"], base, bad


def structural_cases():
    """The same for structural problems: each in every row of the copies that have it."""
    base = json.loads((SUITE / "bases/minimal.obvert.json").read_text(encoding="utf-8"))

    def rows(change):
        bad = copy.deepcopy(base)
        for run in bad["runs"]:
            for row in run["observations"]:
                change(row)
        return bad

    def offsets(row):
        for reference in row.get("media", []):
            reference["offset"] = "1"

    for name, change in {
        "wrong-type": lambda row: row.update(at="x"),
        "wrong-type optional": lambda row: row.update(remark=1),
        "wrong-type inside": offsets,
        "number-range": lambda row: row.update(at=1e20),
        "unknown-key": lambda row: row.update(colour="red"),
        "missing-key": lambda row: row.pop("code"),
        "null-value": lambda row: row.update(code=None),
        "empty-text": lambda row: row.update(code=""),
        "duplicate-id": lambda row: row.update(id="1"),
    }.items():
        yield name, base, rows(change)
    for name, table, values in [
        ("unknown-word", "runs", {"direction": "down stream"}),
        ("unknown-word optional", "runs", {"weather": "dri"}),
        ("text-form", "runs", {"started": "yesterday"}),
        ("not a list", "runs", {"observations": {}}),
        ("unknown-key of a run", "runs", {"colour": "red"}),
        ("wrong-type of a pipe", "pipes", {"length": "x"}),
        ("unknown-word of media", "media", {"kind": "foto"}),
        ("wrong-type of a point", "structures", {"position": ["x"]}),
    ]:
        bad = copy.deepcopy(base)
        for row in bad[table]:
            row.update(values)
        yield name, base, bad


def damaged_files(command, form, folder, copies):
    """The clean survey as XML or CSV tables, and the same with a value of many rows damaged."""
    base = json.loads((SUITE / "bases/minimal.obvert.json").read_text(encoding="utf-8"))
    source, clean = Path(folder) / "clean.obvert.json", Path(folder) / f"clean-{form}"
    source.write_text(many(base, None, copies, 1), encoding="utf-8")
    clean = clean.with_suffix(".xml") if form == "xml" else clean
    subprocess.run(
        [command, "convert", source, "--to", form, "-o", clean], check=True, capture_output=True
    )
    yield "clean", 0, clean
    damage = {
        "wrong-type": ("observations", "at", "x"),
        "number-range": ("observations", "at", "1e20"),
        "empty-text" if form == "xml" else "missing-key": ("observations", "code", ""),
        "unknown-word": ("runs", "direction", "down stream"),
        "text-form": ("runs", "started", "yesterday"),
    }
    for name, (table, key, value) in damage.items():
        for every in (1, 10, 1000):
            bad = Path(folder) / f"bad-{form}"
            shutil.rmtree(bad, ignore_errors=True)
            if form == "xml":
                bad = bad.with_suffix(".xml")
                count = itertools.count(1)
                element = re.compile(f"<{key}>[^<]*</{key}>")
                text = clean.read_text(encoding="utf-8")
                head, runs = text[: text.index("<runs>")], text[text.index("<runs>") :]
                put = lambda found: f"<{key}>{value}</{key}>" if next(count) % every == 0 else found[0]
                bad.write_text(head + element.sub(put, runs), encoding="utf-8")
            else:
                shutil.copytree(clean, bad)
                with open(clean / f"{table}.csv", encoding="utf-8", newline="") as file:
                    rows = list(csv.reader(file))
                column = rows[0].index(key)
                for number, row in enumerate(rows[1:], 1):
                    row[column] = value if number % every == 0 else row[column]
                with open(bad / f"{table}.csv", "w", encoding="utf-8", newline="") as file:
                    csv.writer(file, lineterminator="\n").writerows(rows)
            yield name, every, bad


def table_of_files(command, form, sizes, turns):
    """Prints the table for XML or CSV tables."""
    one = len(many(json.loads((SUITE / "bases/minimal.obvert.json").read_text()), None, 1, 1))
    for size in sizes:
        with tempfile.TemporaryDirectory() as folder:
            clean = None
            for name, every, path in damaged_files(command, form, folder, int(size * 1e6 / one)):
                found = measured(command, path, turns)
                clean = clean or found
                print(
                    f"{form} {name:<24} {size:>5g} MB  1 in {every:<5} {found[0]:>7.3f} s"
                    f"  × {found[0] / clean[0]:<6.2f} {found[1] / 1e6:>7.1f} MB"
                    f"  × {found[1] / clean[1]:.2f}",
                    flush=True,
                )


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--table", action="store_true")
    parser.add_argument("--sizes", type=float, nargs="+", default=[1])
    parser.add_argument("--only", nargs="*")
    parser.add_argument("--turns", type=int, default=2)
    parser.add_argument("--format", choices=["json", "csv", "xml"], default="json")
    parser.add_argument("--one-line", action="store_true", help="the survey as one line")
    parser.add_argument("--time", type=float, default=4.5)
    parser.add_argument("--memory", type=float, default=1.8)
    arguments = parser.parse_args()
    command = os.environ.get("OBVERT", str(ROOT / "target/release/obvert"))
    if arguments.format != "json":
        table_of_files(command, arguments.format, arguments.sizes, arguments.turns)
        return 0
    beyond, compared, worst = [], 0, (0, 0)
    with tempfile.TemporaryDirectory() as folder:
        path, clean = Path(folder) / "bad.obvert.json", {}
        for name, good, bad in itertools.chain(structural_cases(), suite_cases()):
            if arguments.only and name not in arguments.only:
                continue
            for size in arguments.sizes:
                one = len(many(good, None, 1, 1))
                copies = max(1, int(size * 1e6 / one))
                for every in (1, 10, 1000):
                    if every > copies:
                        continue

                    def write(*survey):
                        # In a process of its own: the peak of a child includes the memory that its
                        # parent had when it started.
                        child = os.fork()
                        if child == 0:
                            text = many(*survey)
                            text = text.replace("\n", "") if arguments.one_line else text
                            path.write_text(text, encoding="utf-8")
                            os._exit(0)
                        assert os.waitpid(child, 0)[1] == 0, "the survey was not written"

                    key = (json.dumps(good)[:200], size)
                    if key not in clean:
                        write(good, None, copies, 1)
                        clean[key] = measured(command, path, arguments.turns + 1)
                    write(good, bad, copies, every)
                    found = measured(command, path, arguments.turns)
                    if found is None:
                        print(f"{name:<32} not read", flush=True)
                        break
                    # Below 20 ms, the start of a process is most of what is measured.
                    slower = found[0] / max(clean[key][0], 0.02)
                    more = found[1] / clean[key][1]
                    compared += 1
                    worst = max(worst[0], slower), max(worst[1], more)
                    if slower > arguments.time or more > arguments.memory:
                        beyond.append(f"{name}, {size:g} MB, 1 in {every}: time × {slower:.2f}, memory × {more:.2f}")
                    if arguments.table:
                        print(
                            f"{name:<32} {size:>5g} MB  1 in {every:<5} {found[0]:>7.3f} s  × {slower:<6.2f}"
                            f" {found[1] / 1e6:>7.1f} MB  × {more:.2f}",
                            flush=True,
                        )
    print(f"{compared} surveys compared; the worst: time × {worst[0]:.2f}, memory × {worst[1]:.2f}")
    for line in beyond:
        print("beyond the limit:", line)
    return 1 if beyond and not arguments.table else 0


if __name__ == "__main__":
    sys.exit(main())
