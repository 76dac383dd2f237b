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
            if (name, pointer) in found:
                raise ValueError(f"{name} has two findings at {pointer!r}")
            found[name, pointer] = severity, facts
    return {key: finding for key, finding in found.items() if not explained(survey, found, *key)}
