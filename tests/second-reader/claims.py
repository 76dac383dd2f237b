"""Collects the rules of all families, and applies them."""

import importlib
from pathlib import Path

from catalogue import CLAIMED
from columns import explained

for module in sorted(Path(__file__).parent.glob("rules_*.py")):
    importlib.import_module(module.stem)


def together(one, two):
    """The facts of two findings at one place: a row can lack both of its grades."""
    by_aspect = {facts.get("aspect"): facts for facts in (one, two)}
    if len(by_aspect) < 2 or None in by_aspect:
        raise ValueError(f"two findings at one place: {one} and {two}")
    return {fact: [by_aspect[aspect].get(fact) for aspect in sorted(by_aspect)] for fact in one}


def check(survey):
    """The severity and facts of every finding, by rule and pointer."""
    found = {}
    for name, (severity, rule) in CLAIMED.items():
        for pointer, facts in rule(survey):
            if (name, pointer) in found:
                facts = together(found[name, pointer][1], facts)
            found[name, pointer] = severity, facts
    return {key: finding for key, finding in found.items() if not explained(survey, found, *key)}
