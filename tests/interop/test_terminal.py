#!/usr/bin/env python3
"""At a terminal, whoever waits longer than a second is told what is going on, and the line is gone at the end; in a pipe nothing moves.

    OBVERT=target/release/obvert python3 tests/interop/test_terminal.py

OBVERT is the command to run (it may have arguments); without it, cargo builds and runs it. Exit status 0 if all holds, 1 if not.
"""

import json
import os
import pathlib
import pty
import re
import select
import shlex
import subprocess
import sys
import tempfile
import time

ROOT = pathlib.Path(__file__).resolve().parents[2]
COMMAND = shlex.split(os.environ.get("OBVERT", "cargo run --quiet --"))


def at_a_terminal(arguments, folder, slowly):
    """What a terminal gets from a command whose standard input comes in `slowly`, a piece a pause."""
    ours, theirs = pty.openpty()
    process = subprocess.Popen([*COMMAND, *arguments], cwd=folder, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=theirs)
    os.close(theirs)
    for piece in slowly:
        process.stdin.write(piece)
        process.stdin.flush()
        time.sleep(1.2)
    process.stdin.close()
    said = b""
    while select.select([ours], [], [], 30)[0]:
        try:
            piece = os.read(ours, 4096)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        said += piece
    return process.wait(), said.decode()


def main():
    wrong = []
    survey = json.loads((ROOT / "tests/corpus/bases/minimal.obvert.json").read_text("utf-8"))
    lines = [json.dumps({**survey, "id": name}).encode() + b"\n" for name in "abc"]
    with tempfile.TemporaryDirectory() as folder:
        code, said = at_a_terminal(["archive", "unpack", "-", "-o", "out"], folder, lines)
        if code != 0 or not re.search(r"\r\x1b\[2Kunpacking -:[12], [12] surveys? unpacked, [1-3] s", said):
            wrong.append(f"unpacking at a terminal, exit {code}: {said!r}")
        if not re.search(r"s\r\x1b\[2K3 surveys unpacked to out\r\n$", said):
            wrong.append(f"the line that moves is not gone: {said!r}")
        piped = subprocess.run([*COMMAND, "archive", "unpack", "-", "-o", "out", "--replace"], cwd=folder, input=b"".join(lines), capture_output=True, check=False)
        if piped.stderr != b"3 surveys unpacked to out\n":
            wrong.append(f"unpacking in a pipe: {piped.stderr!r}")
    print("\n".join(wrong) or "whoever waits is told what is going on")
    return 1 if wrong else 0


def test_whoever_waits_is_told():
    assert main() == 0


if __name__ == "__main__":
    sys.exit(main())
