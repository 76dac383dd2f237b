"""Collects the rules of all families, and applies them."""

import importlib
from pathlib import Path

from catalogue import CLAIMED
from columns import explained

for module in sorted(Path(__file__).parent.glob("rules_*.py")):
    importlib.import_module(module.stem)


def check(survey):
    """The severity and facts of every finding, by rule and pointer."""
    found = {}
    for name, (severity, rule) in CLAIMED.items():
        for pointer, facts in rule(survey):
            key = (name, pointer)
            if key in found:
                # A row can lack both of its grades.
                if "aspect" not in facts:
                    raise ValueError(f"{name} has two findings at {pointer!r}")
                key = (name, f"{pointer}/operational-too")
            found[key] = severity, facts
    return {key: finding for key, finding in found.items() if not explained(survey, found, *key)}
