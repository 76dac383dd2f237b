"""Surveys that are changed at random, as a slip of the hand or a program might change them."""

import json
import pathlib
import random
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2]
READER = ROOT / "tests" / "second-reader"
sys.path.insert(0, str(READER))
import changes_of_content as content  # noqa: E402
import changes_of_runs as runs  # noqa: E402
import changes_of_tables as tables  # noqa: E402
import reading  # noqa: E402

BASES = [
    ROOT / f"tests/corpus/bases/{name}.obvert.json" for name in ("minimal", "metres", "en-13508-2")
]
CHANGES = [
    *[runs.number] * 4, runs.stretch, runs.clock, runs.word, runs.row_moved, runs.row_copied,
    runs.field_removed, runs.reference, runs.run_copied, runs.rows_repeated, runs.table_cut,
    *[content.coding] * 5, content.rating, content.pipe, content.media_file, content.impossible,
    content.document, content.cross_section,
    *[tables.pipe_ends, tables.row_copied, tables.id_changed, tables.asset, tables.kind],
    *[tables.times, tables.equipment, tables.media, tables.offset],
]  # fmt: skip


def surveys(count, seed):
    """As many changed surveys, the same for a seed every time."""
    chance = random.Random(seed)
    bases = [path.read_text("utf-8") for path in BASES]
    while count:
        survey = json.loads(chance.choice(bases))
        # What positions show of lengths is beyond the reader.
        survey.pop("crs", None)
        for table in ("structures", "pipes", "locates"):
            for row in survey.get(table, []):
                row.pop("position", None)
                row.pop("path", None)
        survey.pop("locates", None)
        if chance.random() < 0.15:
            for row in survey["pipes"]:
                row["length_between"] = "centres"
        for _ in range(chance.choice([1, 1, 2, 2, 3, 4, 6])):
            if survey["runs"]:
                chance.choice(CHANGES)(chance, survey)
        if all(kind == "duplicate-id" for kind, _ in reading.problems(survey)):
            count -= 1
            yield survey
