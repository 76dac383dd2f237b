"""The command that is judged, and how what it does is held against what is expected; shared by the judges beside this file."""

import os
import pathlib
import shlex
import subprocess

ROOT = pathlib.Path(__file__).resolve().parents[2]
FAILED = []


def command():
    """OBVERT, which may have arguments; without it, cargo builds and runs the command."""
    if "OBVERT" in os.environ:
        return shlex.split(os.environ["OBVERT"])
    return ["cargo", "run", "--quiet", "--manifest-path", str(ROOT / "Cargo.toml"), "--bin", "obvert", "--"]


def run(*arguments):
    return subprocess.run([*map(str, arguments)], capture_output=True, text=True)


def obvert(*arguments):
    return run(*command(), *arguments)


def expect(condition, what):
    """Says whether something holds; a script with anything in FAILED ends with 1."""
    print(f"{'ok  ' if condition else 'FAIL'} {what}")
    if not condition:
        FAILED.append(what)
